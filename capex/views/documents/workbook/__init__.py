"""A workbook of live formulas: a study's money, to be changed and followed without capex.

Each file holds one sheet or one idea; `document` puts them together. May import everything.
"""
