"""Where a path such as ``jobs.banners.seasonality.3`` leads in a study's tables and lists.

What a list by month counts, by name, and which fields name a part of the study.

Imports `capex.errors`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sized
from typing import Any, Final

from capex.errors import InputError

__all__ = ["MONTHS", "NAMED_IN", "SHORT_MONTHS", "entry_at", "list_place"]

MONTHS: Final = (
    "January", "February", "March", "April", "May", "June", "July", "August", "September",
    "October", "November", "December",
)  # fmt: skip
SHORT_MONTHS: Final = tuple(month[:3] for month in MONTHS)

#: Fields that name a part of the study, and the table in which those parts stand.
NAMED_IN: Final = {
    "film": "films", "laminate": "films", "cut_material": "films", "ink": "inks",
    "machine": "machines", "trade_in_of": "machines", "offer": "offers",
}  # fmt: skip


def entry_at(place: object, name: str) -> Any:
    """Return what a table or a list holds under one name of a path, None where nothing.

    Examples
    --------
    >>> entry_at({"price": 4}, "price"), entry_at([7, 8], "1"), entry_at([7, 8], "²")
    (4, 8, None)
    """
    if isinstance(place, Mapping):
        return place.get(name)
    if isinstance(place, (list, tuple)) and name.isdecimal() and int(name) < len(place):
        return place[int(name)]
    return None


def list_place(listed: Sized, name: str, path: str) -> int:
    """Return the place in a list that one name of a path means.

    Raises
    ------
    InputError
        No number, or one beyond the list's end.
    """
    if not name.isdecimal() or int(name) >= len(listed):
        raise InputError(path, name, f"must be a number from 0 to {len(listed) - 1}")
    return int(name)
