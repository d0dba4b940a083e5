"""Some months after the purchase: plan against actual, re-estimated, and whether the choice holds.

Imported on demand, as scipy takes its time.
"""

from capex.decision.year_on.looking_back import YearOn, year_on

__all__ = ["YearOn", "year_on"]
