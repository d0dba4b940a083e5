"""A timed batch: which order goes first, when each operation starts and ends, and why.

`sequences` and `lower_bounds` hold rules and bounds, `assignment` chooses among the routes of the
orders, `streaming` has repeated batches, `timeline` a batch under an alternative of a study, `gap`
why two alternatives take different times. Nothing is imported here.
"""
