"""Money: the monthly ledger of an alternative, and the measures read off it.

Imports `capex.study` and `capex.shopfloor`.
"""
