"""The dates of an order book.

Promises: day-first or month-first is settled by the whole column, never by the single cell; where
the column doesn't settle it the user is asked.

May import the standard library, `capex.errors` and the files of this folder.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from datetime import date, datetime, timedelta
from typing import Final, Literal

from capex.errors import InputError, OrderBookError
from capex.study.orders.sheet import Cell, UnreadableCell

__all__ = ["DateOrder", "date_order", "parse_date"]

DateOrder = Literal["day first", "month first"]

EARLIEST: Final = date(1990, 1, 1)
LATEST: Final = date(2100, 1, 1)

#: Month names by number: English, then German, French, Spanish; any beginning of three letters or
#: more that fits one month only is understood.
_MONTHS: Final[tuple[tuple[str, ...], ...]] = (
    ("january", "januar", "janvier", "enero"),
    ("february", "februar", "février", "fevrier", "febrero"),
    ("march", "märz", "maerz", "mrz", "mars", "marzo"),
    ("april", "avril", "abril"),
    ("may", "mai", "mayo"),
    ("june", "juni", "juin", "junio"),
    ("july", "juli", "juillet", "julio"),
    ("august", "août", "aout", "agosto"),
    ("september", "septembre", "septiembre"),
    ("october", "oktober", "octobre", "octubre"),
    ("november", "novembre", "noviembre"),
    ("december", "dezember", "décembre", "decembre", "diciembre"),
)

_TIME: Final = re.compile(
    r"[T ,]+\d{1,2}:\d{2}(?::\d{2}(?:\.\d+)?)?\s*(?:[ap]\.?m\.?)?\s*(?:Z|[+-]\d{2}:?\d{2})?$", re.I
)
_YEAR_FIRST: Final = re.compile(r"(\d{4})([-/. ])(\d{1,2})\2(\d{1,2})")
_COMPACT: Final = re.compile(r"(\d{4})(\d{2})(\d{2})")
_NUMERIC: Final = re.compile(r"(\d{1,2})\s*([-/. ])\s*(\d{1,2})\s*\2\s*(\d{4}|\d{2})")
_DAY_NAME: Final = re.compile(
    r"(\d{1,2})(?:st|nd|rd|th)?[-./ ]*([^\W\d_]{3,})[-./, ]*(\d{4}|\d{2})"
)
_NAME_DAY: Final = re.compile(r"([^\W\d_]{3,})[-./ ]*(\d{1,2})(?:st|nd|rd|th)?[-/, ]+(\d{4}|\d{2})")
_WEEKDAY: Final = re.compile(r"^[^\W\d_]{2,}\.?,?\s+(?=\d)")
_SERIAL: Final = re.compile(r"\d{5}(?:\.\d+)?")
_FEWEST_FOR_SWAP: Final = 12


def date_order(cells: Sequence[Cell], choice: DateOrder | None = None) -> DateOrder:
    """Return whether dates such as 03/04/2031 name the day or the month first.

    Parameters
    ----------
    cells : sequence of Cell
        The whole date column.
    choice : {"day first", "month first"}, optional
        The user's word, which settles it.

    Returns
    -------
    {"day first", "month first"}
        "day first" also where no cell needs the answer.

    Raises
    ------
    OrderBookError
        The column shows both orders, or neither, or was half converted by a spreadsheet that took
        days for months.

    Examples
    --------
    >>> date_order(["03/04/2031", "04/28/2031"])
    'month first'
    """
    pairs = [
        (int(found[1]), int(found[3]))
        for cell in cells
        if isinstance(cell, str) and (found := _NUMERIC.fullmatch(_TIME.sub("", cell.strip())))
    ]
    day_first = sum(1 for first, second in pairs if first > 12 >= second)
    month_first = sum(1 for first, second in pairs if second > 12 >= first)
    _check_half_converted(cells, day_first + month_first, len(pairs))
    if choice is not None:
        if choice not in ("day first", "month first"):
            raise OrderBookError(f"date_order: {choice!r} must be 'day first' or 'month first'")
        return choice
    if day_first and month_first:
        raise OrderBookError(
            f"date: {day_first} cells can only be day first and {month_first} only month first; "
            "state date_order, and the others are listed as unread"
        )
    if any(first != second for first, second in pairs) and not (day_first or month_first):
        raise OrderBookError(
            "date: no cell shows whether the day or the month comes first; "
            "state date_order, day first or month first"
        )
    return "month first" if month_first else "day first"


def parse_date(field: str, cell: Cell, order: DateOrder, epoch: datetime) -> date:
    """Return the day of an order.

    Parameters
    ----------
    field : str
        For the message.
    cell : Cell
        A date, a serial number, or a text: year first, day or month first, month by name.
    order : {"day first", "month first"}
        For a text that names neither year first nor the month.
    epoch : datetime
        Day 0 of serial numbers.

    Returns
    -------
    date
        From 1990 to 2099.

    Raises
    ------
    InputError
        No date, no such day, or out of bounds.

    Examples
    --------
    >>> parse_date("date", "3-Mar-31", "day first", datetime(1899, 12, 30))
    datetime.date(2031, 3, 3)
    """
    if isinstance(cell, UnreadableCell):
        raise InputError(field, cell.shown, cell.reason)
    if isinstance(cell, datetime):
        day = cell.date()
    elif isinstance(cell, date):
        day = cell
    elif isinstance(cell, (int, float)) and not isinstance(cell, bool):
        day = _serial_day(field, cell, epoch)
    elif isinstance(cell, str):
        day = _text_day(field, cell, order, epoch)
    else:
        raise InputError(field, cell, "is not a date")
    if not EARLIEST <= day < LATEST:
        raise InputError(field, str(cell), f"must lie from {EARLIEST.year} to {LATEST.year - 1}")
    return day


def _check_half_converted(cells: Sequence[Cell], telling: int, texts: int) -> None:
    """Refuse a column in which only dates with a day up to 12 became real dates."""
    real = [cell for cell in cells if isinstance(cell, date)]
    if len(real) < _FEWEST_FOR_SWAP or not texts or telling != texts:
        return
    if all(cell.day <= 12 for cell in real):
        raise OrderBookError(
            f"date: all {len(real)} real dates fall on day 1 to 12 and all {texts} dates left as "
            "text lie above, so the spreadsheet took days for months when it opened the file; "
            "import the column as text and save again"
        )


def _serial_day(field: str, number: float, epoch: datetime) -> date:
    if 19_000_101 <= number <= 21_001_231 and number == int(number):
        return _text_day(field, str(int(number)), "day first", epoch)
    if not 1 <= number < 100_000:
        raise InputError(field, number, "is neither a date nor a spreadsheet's day number")
    return (epoch + timedelta(days=float(number))).date()


def _text_day(field: str, text: str, order: DateOrder, epoch: datetime) -> date:
    bare = _TIME.sub("", text.strip())
    parts = _parts(bare, order) or _parts(_WEEKDAY.sub("", bare), order)
    if parts is None:
        if _SERIAL.fullmatch(bare):
            return _serial_day(field, float(bare), epoch)
        raise InputError(field, text, "is not a date")
    year, month, day = parts
    try:
        return date(year if year > 99 else 2000 + year, month, day)
    except ValueError as error:
        raise InputError(field, text, f"is not a day of the calendar, read {order}") from error


def _parts(text: str, order: DateOrder) -> tuple[int, int, int] | None:
    """Return year, month and day as written, or ``None``."""
    if found := _YEAR_FIRST.fullmatch(text):
        return int(found[1]), int(found[3]), int(found[4])
    if found := _COMPACT.fullmatch(text):
        return int(found[1]), int(found[2]), int(found[3])
    if found := _NUMERIC.fullmatch(text):
        first, second, year = int(found[1]), int(found[3]), int(found[4])
        return (year, second, first) if order == "day first" else (year, first, second)
    if (found := _DAY_NAME.fullmatch(text)) and (month := _month(found[2])):
        return int(found[3]), month, int(found[1])
    if (found := _NAME_DAY.fullmatch(text)) and (month := _month(found[1])):
        return int(found[3]), month, int(found[2])
    return None


def _month(word: str) -> int | None:
    start = word.casefold()
    fits = {
        number
        for number, names in enumerate(_MONTHS, start=1)
        if any(name.startswith(start) for name in names)
    }
    return fits.pop() if len(fits) == 1 else None
