"""Rules of names: what stands beside each other on a page must be told apart by its name.

Machines may share one: where two of a name stand, pages number them (`capex.shopfloor.labels`).

Control characters, which nobody sees, are refused in the name of anything.

Imports `capex.errors` and, for types, the other files of `capex.study`.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import TYPE_CHECKING, Final

from capex.errors import Problem

if TYPE_CHECKING:
    from capex.study.study import Study

__all__ = ["NAME_RULES", "hidden_fault", "without_hidden"]

#: Control characters, and those that turn the direction of the text behind them. The three marks
#: of direction (U+200E, U+200F, U+061C) stay: names written from right to left need them.
_HIDDEN: Final = re.compile(r"[\x00-\x1f\x7f-\x9f\u202a-\u202e\u2066-\u2069]")

_ONES: Final = {
    "jobs": "job type", "alternatives": "alternative", "offers": "offer", "films": "film",
    "inks": "ink",
}  # fmt: skip


def hidden_fault(name: str) -> str:
    """Return why a name cannot be one, empty where it can.

    Examples
    --------
    >>> hidden_fault("Shop\u202egpj"), hidden_fault("看板 Söhne & Co")
    ('must not hold the control character U+202E, which nobody sees: type it anew', '')
    """
    found = _HIDDEN.search(name)
    if found is None:
        return ""
    code = f"U+{ord(found[0]):04X}"
    return f"must not hold the control character {code}, which nobody sees: type it anew"


def without_hidden(text: str) -> str:
    """Return a text without what `hidden_fault` refuses.

    Examples
    --------
    >>> without_hidden("\u202aStickers\u202c")
    'Stickers'
    """
    return _HIDDEN.sub("", text)


def check_names(study: Study, table: str) -> Iterator[Problem]:
    """Yield the parts of a table that have the name of one before them, whatever its capitals."""
    seen: set[str] = set()
    for key, part in getattr(study, table, {}).items():
        name = getattr(part, "name", None)  # one that could not be read is reported already
        if not isinstance(name, str):
            continue
        plain = " ".join(name.split()).casefold()
        if plain in seen:
            bound = f"is the name of another {_ONES[table]} too: call one of them something else"
            yield Problem(f"{table}.{key}.name", name, bound)
        seen.add(plain)


def _tables(study: Study) -> Iterator[tuple[str]]:
    for table in _ONES:
        yield (table,)


#: As `capex.study.checks` takes them.
NAME_RULES: Final = (((check_names,), _tables),)
