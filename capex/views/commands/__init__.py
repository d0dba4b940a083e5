"""The commands: thin functions that print what the package finds.

Each imports what it needs when it is called, so that help and errors come at once.
"""
