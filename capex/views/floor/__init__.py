"""The parts of the shop floor page: fields, tables to fill in, files in and out, four sections.

May import the widget libraries and, from capex, everything below `capex.views`.
"""
