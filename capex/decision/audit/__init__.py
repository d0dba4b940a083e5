"""The headline figures once more, by paths that share no code with the first.

Imported on demand. Imports `capex.shopfloor`, `capex.finance` and `capex.decision`.
"""
