"""The page on which the owner enters the own shop: the study's text, forms over it, saving.

May import: everything of capex above views, and views.
"""
