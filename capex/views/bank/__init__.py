"""The bank page: what a lender reads of every choice.

Each file names what it may import.
"""
