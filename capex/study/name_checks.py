"""Rules of names: what stands beside each other on a page must be told apart by its name.

Machines may share one: where two of a name stand, pages number them (`capex.shopfloor.labels`).

Imports `capex.errors` and, for types, the other files of `capex.study`.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING, Final

from capex.errors import Problem

if TYPE_CHECKING:
    from capex.study.study import Study

__all__ = ["NAME_RULES"]

_ONES: Final = {
    "jobs": "job type", "alternatives": "alternative", "offers": "offer", "films": "film",
    "inks": "ink",
}  # fmt: skip


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
