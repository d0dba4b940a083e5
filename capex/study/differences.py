"""What differs between two studies: entry by entry, in the order of the file.

Imports pydantic and `capex.study.study`.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from pydantic import BaseModel

from capex.study.study import Study

__all__ = ["Difference", "differences"]


@dataclass(frozen=True)
class Difference:
    """One entry that two studies do not share.

    Parameters
    ----------
    path : str
        Of the entry.
    before, after : object
        A `Quantity`, a text, a number, a truth value or a date; None where the entry is missing.
    """

    path: str
    before: object
    after: object


def differences(before: Study, after: Study) -> tuple[Difference, ...]:
    """Return every entry in which two studies differ; what stands only in the second comes last.

    Parameters
    ----------
    before, after : Study

    Returns
    -------
    tuple of Difference
        Empty where both say the same. A quantity differs by its value, spread, source, date or
        note; how it was typed does not count.

    Examples
    --------
    >>> from capex.study import StudyFile, data_folder
    >>> file = StudyFile.read(data_folder() / "studies" / "quenlow.toml")
    >>> other = file.changed({"shop.people.wage": "25 USD/h"})
    >>> (found,) = differences(file.study, other.study)
    >>> found.path, found.after.shown(currency="USD")
    ('shop.people.wage', '25 USD/h')
    """
    old, new = dict(_entries(before, "")), dict(_entries(after, ""))
    paths = [*old, *(path for path in new if path not in old)]
    return tuple(
        Difference(path, old.get(path), new.get(path))
        for path in paths
        if old.get(path) != new.get(path)
    )


def _entries(part: object, path: str) -> Iterator[tuple[str, object]]:
    if isinstance(part, BaseModel):
        for name in type(part).model_fields:
            yield from _entries(getattr(part, name), f"{path}.{name}" if path else name)
    elif isinstance(part, Mapping):
        for name, value in part.items():
            yield from _entries(value, f"{path}.{name}")
    elif isinstance(part, tuple):
        for index, value in enumerate(part):
            yield from _entries(value, f"{path}.{index}")
    elif part is not None:
        yield path, part
