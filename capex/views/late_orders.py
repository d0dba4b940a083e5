"""What is said of late orders: whether their cost is in the figures, and what is held.

Plain text only. May import: from capex study and shopfloor.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from capex.shopfloor.year.lateness import being_late_costs
from capex.study import Study

__all__ = ["LATENESS_HELD", "LATE_ORDERS", "lateness_note"]

#: What stands for the cost of late orders in the figures shown: nothing, as being late costs
#: nothing; nothing yet; the shares of the last simulation; or those of the years simulated.
LATE_ORDERS: Final[Mapping[str, str]] = {
    "free": "",
    "unknown": (
        "Late orders: being worked out. What they cost is not in these figures yet; every order of "
        "every year is being simulated."
    ),
    "held": (
        "Late orders: being worked out. Until then the figures hold the shares of late orders of "
        "the last simulation."
    ),
    "simulated": (
        "Late orders: in these figures as the simulated years have them, one possible course of "
        "orders and breakdowns. Other volumes and single changes hold these shares."
    ),
}
#: Said where inputs are moved around a scenario and being late costs something.
LATENESS_HELD: Final = "The shares of late orders are held as they are."


def lateness_note(study: Study) -> str:
    """Return what to add where inputs are moved: nothing where being late costs nothing."""
    return f" {LATENESS_HELD}" if being_late_costs(study) else ""
