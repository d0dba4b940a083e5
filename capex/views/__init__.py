"""Results as pages, charts, tables and words.

Widget, plotting and document libraries live here and nowhere else.
"""
