"""A simulated year of an alternative, order by order: the floor, its shifts, luck and what came.

The same dispatcher serves a timed batch: all orders there at once, one endless day, no failures.
"""
