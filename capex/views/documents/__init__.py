"""Documents that leave the house: what a lender and an accountant keep.

May import everything.
"""
