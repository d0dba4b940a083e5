"""Today's date on this computer, for pages that compare with it: one place that tests can set.

Imports nothing from the package.
"""

from __future__ import annotations

from datetime import date

__all__ = ["today"]

#: Stands for today where a test sets it.
_fixed: date | None = None


def today() -> date:
    """Return today's date in this computer's own time zone."""
    return _fixed or date.today()
