"""Seconds and metres: stages, routes, stations, and what a month can make.

Imports `capex.study`.
"""
