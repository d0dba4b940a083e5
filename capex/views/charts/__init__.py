"""The charts of the pages: each takes results and returns a `Picture`, plain data without widgets.

One file a question. A builder never computes a figure of its own: it shows what the path found.
"""
