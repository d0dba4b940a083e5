"""Documents on paper: set by typst, drawn by matplotlib."""
