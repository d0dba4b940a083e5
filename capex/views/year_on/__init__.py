"""The page "A year on": months entered beside the plan, and whether the choice still holds.

Nothing is imported here.
"""
