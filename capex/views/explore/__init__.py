"""The page for a trade show: what can be paid, at what volume it turns, how sure that is.

Nothing is imported here.
"""
