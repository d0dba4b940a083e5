"""Kinds of work and how each is drawn: the same on every chart, and no alternative's colour.

May import: nothing but the standard library.
"""

from __future__ import annotations

from typing import Any, Final

__all__ = ["WORK_KINDS", "WORK_MARKERS", "kind_of_work"]

#: Kind of each operation.
WORK_KINDS: Final = {
    "set up the order": "Set up and handle",
    "load and check": "Set up and handle",
    "unload the print": "Set up and handle",
    "sheet and carry": "Set up and handle",
    "load and register": "Set up and handle",
    "rewind": "Set up and handle",
    "take off the machine": "Set up and handle",
    "take off the printer": "Set up and handle",
    "print": "Print",
    "dry in the machine": "Dry in the machine",
    "laminate": "Laminate",
    "find marks": "Find marks",
    "cut": "Cut",
    "weed": "Weed, mask and pack",
    "mask, hem or trim": "Weed, mask and pack",
    "pack": "Weed, mask and pack",
}

#: Marker of each kind's bars.
WORK_MARKERS: Final[dict[str, dict[str, Any]]] = {
    "Set up and handle": {"color": "#6f7a82"},
    "Print": {"color": "#1f7a8c"},
    "Dry in the machine": {"color": "#1f7a8c", "pattern": {"shape": "/", "fillmode": "overlay"}},
    "Laminate": {"color": "#8c6d1f"},
    "Find marks": {"color": "#94527a", "pattern": {"shape": "x", "fillmode": "overlay"}},
    "Cut": {"color": "#94527a"},
    "Weed, mask and pack": {"color": "#6f7a82", "pattern": {"shape": ".", "fillmode": "overlay"}},
}


def kind_of_work(operation: str) -> str:
    """Return the kind of an operation; one that is not known is its own.

    Examples
    --------
    >>> kind_of_work("weed"), kind_of_work("hang up")
    ('Weed, mask and pack', 'Hang up')
    """
    return WORK_KINDS.get(operation, operation.capitalize())
