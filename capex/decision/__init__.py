"""The decision: one path from study to figures, and the questions asked of it.

Imports `capex.study`, `capex.shopfloor` and `capex.finance`.
"""
