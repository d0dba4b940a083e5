"""The table of months as texts: from the study into the page, and from the page into the study.

May import: from capex errors, numerals, study and `views.floor.fields`.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from typing import Final

from capex.errors import StudyError
from capex.numerals import bare_number
from capex.study import Study
from capex.study.actuals import RECORDS, ActualMonth
from capex.views.floor.fields import Column
from capex.views.year_on.words import FIGURE_NAMES

__all__ = ["columns", "entries", "fields_of", "messages_by_cell", "texts"]

_HOURS: Final = ("hours_paid", "downtime")
_JOB: Final = "orders_by_job."


def fields_of(study: Study, *, by_job: bool) -> tuple[str, ...]:
    """Return what the columns of the table hold, in their order."""
    orders = tuple(f"{_JOB}{key}" for key in study.jobs) if by_job else ("orders",)
    return ("month", *orders, *(name for name in RECORDS if name != "orders"))


def columns(study: Study, fields: Sequence[str]) -> list[Column]:
    """Return the columns with their headings and units."""
    found = []
    for field in fields:
        if field == "month":
            found.append(Column("Month (2027-01)".replace("2027-01", _example(study)), "6rem"))
        elif field.startswith(_JOB):
            name = study.jobs[field.removeprefix(_JOB)].name
            found.append(Column(f"Orders: {name}", "4.5rem", numeric=True))
        else:
            unit = "h" if field in _HOURS else "" if field == "orders" else study.currency
            label = FIGURE_NAMES[field] + (f" ({unit})" if unit else "")
            found.append(Column(label, "5.5rem", numeric=True))
    return found


def _example(study: Study) -> str:
    return f"{study.money.start:%Y-%m}"


def texts(study: Study, fields: Sequence[str]) -> list[list[str]]:
    """Return the months of the study as they stand in the table."""
    months = study.actuals.months if study.actuals is not None else ()
    return [[_text(month, field) for field in fields] for month in months]


def _text(month: ActualMonth, field: str) -> str:
    if field == "month":
        return month.month
    if field == "orders":
        return f"{month.volume:.10g}"
    if field.startswith(_JOB):
        number = month.orders_by_job.get(field.removeprefix(_JOB))
        return "" if number is None else f"{number:.10g}"
    value: float | None = getattr(month, field)
    if value is None:
        return ""
    return f"{value / 3600:.6g}" if field in _HOURS else f"{value:.10g}"


def entries(cells: Sequence[Sequence[str]], fields: Sequence[str]
            ) -> tuple[list[dict[str, object]], list[int]]:  # fmt: skip
    """Return the rows as entries of a study, empty ones passed over, and the row of each.

    Parameters
    ----------
    cells : sequence of sequence of str
        As typed or pasted.
    fields : sequence of str
        What the columns hold.

    Examples
    --------
    >>> entries([["2027-01", "18", "9.5"], ["", "", ""]], ["month", "orders", "downtime"])
    ([{'month': '2027-01', 'orders': '18', 'downtime': '9.5 h'}], [0])
    """
    found: list[dict[str, object]] = []
    places = []
    for row, texts_ in enumerate(cells):
        if not any(text.strip() for text in texts_):
            continue
        entry: dict[str, object] = {"month": ""}
        by_job: dict[str, object] = {}
        for field, text in zip(fields, texts_, strict=True):
            plain = text.strip()
            if field.startswith(_JOB):
                if plain:
                    by_job[field.removeprefix(_JOB)] = plain
            elif plain:
                bare = bare_number(plain) if field in _HOURS else None
                entry[field] = plain if bare is None else f"{bare} h"
        if by_job:
            entry["orders_by_job"] = by_job
        found.append(entry)
        places.append(row)
    return found, places


def messages_by_cell(error: StudyError, places: Sequence[int], fields: Sequence[str]
                     ) -> tuple[dict[str, str], list[str]]:  # fmt: skip
    """Return the problems of the table by cell, and in words those that stand elsewhere.

    Parameters
    ----------
    error : StudyError
    places : sequence of int
        Row of each month.
    fields : sequence of str
        What the columns hold.
    """
    said: dict[str, list[str]] = {}
    elsewhere = []
    for problem in error.problems:
        found = re.fullmatch(r"actuals\.months\.(\d+)\.(.+)", problem.path)
        if found is None:
            elsewhere.append(str(problem))
            continue
        row, field = places[int(found[1])], found[2]
        name = _name(field, fields)
        at = f"{row}.{fields.index(field)}" if field in fields else str(row)
        value = f" {problem.value}" if problem.value not in (None, "") else ""
        said.setdefault(at, []).append(f"Row {row + 1}, {name}:{value} {problem.bound}")
    return {at: "; ".join(each) for at, each in said.items()}, elsewhere


def _name(field: str, fields: Sequence[str]) -> str:
    names: Mapping[str, str] = FIGURE_NAMES
    return names.get(field, field.removeprefix(_JOB).replace("_", " "))
