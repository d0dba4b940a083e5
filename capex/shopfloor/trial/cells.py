"""Cells of a table of readings as numbers: units in the heading or in the cell, times as m:ss.

Imports `capex.errors` and `capex.units`.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from datetime import date, datetime, time
from typing import Final

from capex.errors import InputError
from capex.units import KINDS, parse_number, quantity_text

__all__ = [
    "HEADINGS",
    "Heading",
    "parse_cell",
    "parse_clock",
    "parse_date",
    "parse_heading",
    "parse_yes",
]


@dataclass(frozen=True)
class Heading:
    """What a column of readings holds.

    Parameters
    ----------
    name : str
    kind : str
        Kind of quantity (`capex.units.KINDS`), or ``text``, ``date``, ``clock``, ``yes``.
    above, at_least, at_most : float, optional
        Bounds, canonical unit. The upper ones are far beyond any trial and catch slips of the
        hand; the figures are ours.
    whole : bool
        Whether only whole numbers are accepted.
    unit : str
        Of bare numbers in the column; from the heading.
    """

    name: str
    kind: str
    above: float | None = None
    at_least: float | None = None
    at_most: float | None = None
    whole: bool = False
    unit: str = ""


_ALL: Final = (
    Heading("machine", "text"),
    Heading("work", "text"),
    Heading("piece", "text"),
    Heading("run", "number", at_least=1, at_most=9999, whole=True),
    Heading("width", "small_length", above=0, at_most=10),
    Heading("height", "small_length", above=0, at_most=100),
    Heading("pieces", "number", at_least=1, at_most=100_000, whole=True),
    Heading("across", "number", at_least=1, at_most=1000, whole=True),
    Heading("gap", "small_length", at_least=0, at_most=10),
    Heading("passes", "number", at_least=1, at_most=100, whole=True),
    Heading("cut", "text"),
    Heading("cut length", "length", above=0, at_most=10_000),
    Heading("segments", "number", at_least=1, at_most=1_000_000, whole=True),
    Heading("lifts", "number", at_least=1, at_most=100_000, whole=True),
    Heading("radius", "small_length", at_least=0, at_most=5),
    Heading("artwork", "text"),
    Heading("laminated", "yes"),
    Heading("crossings", "number", at_least=1, at_most=1_000_000, whole=True),
    Heading("started", "clock"),
    Heading("media still", "clock"),
    Heading("time", "duration", above=0),
    Heading("attended", "duration", at_least=0),
    Heading("spoiled", "number", at_least=0, at_most=100_000, whole=True),
    *(
        Heading(f"offset {corner}", "small_length", at_least=0, at_most=0.1)
        for corner in range(1, 5)
    ),
    Heading("date", "date"),
    Heading("note", "text"),
)

#: Every column by name.
HEADINGS: Final[dict[str, Heading]] = {heading.name: heading for heading in _ALL}

#: Other words for a column, with the unit that they name.
_OTHER_WORDS: Final = {
    "what": ("work", ""),
    "seconds": ("time", "s"),
    "attended seconds": ("attended", "s"),
    "spoiled pieces": ("spoiled", ""),
    "spoils": ("spoiled", ""),
    "length": ("height", ""),
}

_BRACKETS: Final = re.compile(r"^(.*?)\s*[\[(]\s*([^\])]*?)\s*[\])]\s*$")
_CLOCK: Final = re.compile(r"^(?:(\d+):)?(\d{1,3}):(\d{2}(?:\.\d+)?)$")
_TIME_OF_DAY: Final = re.compile(r"^(\d{1,2}):(\d{2}):(\d{2})(?:\.(\d{1,6}))?$")
_COMMA: Final = re.compile(r"^([-+−]?\d+),(\d+)(?!\d*[.,])")
_LONGEST_TIME: Final = 24 * 3600.0


def parse_heading(text: str) -> Heading:
    """Return the column that a heading names, with the unit in its brackets.

    Parameters
    ----------
    text : str
        ``width [mm]``, ``Cut_length (m)``, ``seconds``.

    Raises
    ------
    InputError
        No column has that name, or the unit is of another kind.

    Examples
    --------
    >>> parse_heading("Width [mm]").unit, parse_heading("seconds").name
    ('mm', 'time')
    """
    found = _BRACKETS.match(text)
    bare, unit = (found[1], found[2]) if found else (text, "")
    name = " ".join(bare.casefold().replace("_", " ").split())
    name, implied = _OTHER_WORDS.get(name, (name, ""))
    heading = HEADINGS.get(name)
    if heading is None:
        raise InputError("heading", text, f"is no column of readings; known: {', '.join(HEADINGS)}")
    unit = unit or implied
    if unit:
        if heading.kind not in KINDS:
            raise InputError("heading", text, "has a unit, but its cells have none")
        parse_number(f"1 {unit}", heading.kind, field=f"heading {name}")
    return replace(heading, unit=unit)


def parse_cell(heading: Heading, value: object) -> float:
    """Return a cell as a number in the canonical unit of its column.

    Parameters
    ----------
    heading : Heading
    value : str, int or float
        A decimal comma is read as one; separators of thousands are not accepted.

    Raises
    ------
    InputError
        Not a number of that kind, without a unit where one is needed, or outside its bounds.

    Examples
    --------
    >>> parse_cell(parse_heading("width [mm]"), "612,5"), parse_cell(HEADINGS["time"], "2:05.5")
    (0.6125, 125.5)
    """
    field, kind = heading.name, heading.kind
    number = _clock_time(value) if kind == "duration" else None
    if number is None:
        text = str(value).strip() if not isinstance(value, bool) else value
        if isinstance(text, str):
            text = _COMMA.sub(r"\1.\2", text)
        if (
            isinstance(text, str)
            and heading.unit
            and re.fullmatch(r"[-+−]?[\d.]+(e[-+]?\d+)?", text, re.IGNORECASE)
        ):
            text = f"{text} {heading.unit}"
        number = parse_number(text, kind, field=field, example=_example(heading))
    bounds = (
        (heading.above, number > (heading.above or 0), "must be greater than"),
        (heading.at_least, number >= (heading.at_least or 0), "must be at least"),
        (heading.at_most, number <= (heading.at_most or 0), "must be at most"),
    )
    for bound, holds, words in bounds:
        if bound is not None and not holds:
            raise InputError(field, value, f"{words} {_in_column_unit(bound, heading)}")
    if heading.whole and number != round(number):
        raise InputError(field, value, "must be a whole number")
    if kind == "duration" and number > _LONGEST_TIME:
        raise InputError(field, value, "must be at most 24 h")
    return number


def _in_column_unit(value: float, heading: Heading) -> str:
    """Return a canonical number in the unit that the column is filled in with."""
    unit = heading.unit or {"duration": "s"}.get(heading.kind, "")
    if not unit:
        return quantity_text(value, heading.kind)
    return f"{value / parse_number(f'1 {unit}', heading.kind):,.6g} {unit}"


def _example(heading: Heading) -> str:
    """Return a well-formed cell of the column, or nothing where the kind's own does."""
    if heading.kind == "duration":
        return f"{_in_column_unit(90.0, heading)} or 1:30"
    return _in_column_unit(0.6, heading) if heading.unit else ""


def _clock_time(value: object) -> float | None:
    """Return m:ss or h:mm:ss in seconds, or None where it is not written so."""
    if isinstance(value, time):
        return value.hour * 3600.0 + value.minute * 60.0 + value.second + value.microsecond / 1e6
    found = _CLOCK.match(str(value).strip().replace(",", "."))
    if found is None or float(found[3]) >= 60.0:
        return None
    return float(found[1] or 0) * 3600.0 + float(found[2]) * 60.0 + float(found[3])


def parse_clock(heading: Heading, value: object) -> time:
    """Return a cell as a time of day.

    Parameters
    ----------
    heading : Heading
    value : str, time or datetime

    Raises
    ------
    InputError
        Not a time of day with its seconds.

    Examples
    --------
    >>> parse_clock(HEADINGS["started"], "9:03:05")
    datetime.time(9, 3, 5)
    """
    if isinstance(value, datetime):
        return value.time()
    if isinstance(value, time):
        return value
    found = _TIME_OF_DAY.match(str(value).strip().replace(",", "."))
    try:
        hour, minute, second, part = found.groups("0") if found else ("24", "0", "0", "0")
        return time(int(hour), int(minute), int(second), int(part.ljust(6, "0")))
    except ValueError:
        raise InputError(
            heading.name, value, "is not a time of day with its seconds, such as 14:03:05"
        ) from None


def parse_date(value: object) -> date:
    """Return a cell as a date.

    Parameters
    ----------
    value : str, date or datetime

    Raises
    ------
    InputError
        Not a date written as 2026-11-25; other orders of day and month are a guess.

    Examples
    --------
    >>> parse_date("2026-11-25")
    datetime.date(2026, 11, 25)
    """
    if isinstance(value, datetime):
        return value.date()
    if isinstance(value, date):
        return value
    try:
        return date.fromisoformat(str(value).strip())
    except ValueError:
        raise InputError("date", value, "is not a date such as 2026-11-25") from None


def parse_yes(heading: Heading, value: object) -> bool:
    """Return a cell as yes or no.

    Parameters
    ----------
    heading : Heading
    value : str or bool

    Raises
    ------
    InputError
        Neither.
    """
    known = {"yes": True, "y": True, "true": True, "1": True, "x": True,
             "no": False, "n": False, "false": False, "0": False}  # fmt: skip
    found = known.get(str(value).strip().casefold())
    if found is None:
        raise InputError(heading.name, value, "must be yes or no")
    return found
