"""shopfloor"""
