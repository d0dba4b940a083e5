"""The page of costs and prices: what is lost today, what owning costs, what may be paid, when.

Nothing is imported here.
"""
