"""A table of a spreadsheet file: its rows of cells, and how large one may be.

May import the standard library and `capex.errors`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime, time, timedelta
from typing import Final

from capex.errors import OrderBookError

__all__ = [
    "EXCEL_EPOCH",
    "LONGEST_CELL",
    "Cell",
    "Sheet",
    "UnreadableCell",
    "check_extent",
    "text_cell",
]

EXCEL_EPOCH: Final = datetime(1899, 12, 30)
#: Largest table that is read: more takes longer than anyone waits, and no shop has as many orders.
MOST_ROWS: Final = 60_000
MOST_COLUMNS: Final = 256
MOST_CELLS: Final = 600_000
#: Longest text of a cell [characters].
LONGEST_CELL: Final = 4000


@dataclass(frozen=True)
class UnreadableCell:
    """A cell whose value the file does not hold: what stands there, and the reason."""

    shown: str
    reason: str


Cell = str | int | float | bool | datetime | date | time | timedelta | UnreadableCell | None


@dataclass(frozen=True)
class Sheet:
    """All rows of one table.

    Parameters
    ----------
    name : str
        What it was read from, for messages.
    rows : tuple of tuple of Cell
        Row 1 of the spreadsheet first.
    broken : mapping of int to str
        Row numbers whose cells could not be told apart, with the reason.
    epoch : datetime
        Day 0 of serial dates.
    notes : tuple of str
        How the file was read.
    """

    name: str
    rows: tuple[tuple[Cell, ...], ...]
    broken: Mapping[int, str] = field(default_factory=dict)
    epoch: datetime = EXCEL_EPOCH
    notes: tuple[str, ...] = ()


def check_extent(rows: int, columns: int, cells: int, most_cells: int = MOST_CELLS) -> None:
    """Refuse a table that is larger than any order book.

    Parameters
    ----------
    rows, columns, cells : int
        Number of the last row and column, and of cells.
    most_cells : int
        A workbook's cells take longer to read than those of a text.

    Raises
    ------
    OrderBookError

    Examples
    --------
    >>> check_extent(1_048_576, 12, 30)
    Traceback (most recent call last):
    capex.errors.OrderBookError: holds 1,048,576 rows, at most 60,000: delete what is no part of it
    """
    for count, most, what in (
        (rows, MOST_ROWS, "rows"),
        (columns, MOST_COLUMNS, "columns"),
        (cells, most_cells, "cells"),
    ):
        if count > most:
            raise OrderBookError(
                f"holds {count:,} {what}, at most {most:,}: delete what is no part of it"
            )


def text_cell(text: str) -> str | UnreadableCell | None:
    """Return a text as a cell: stripped, None where nothing is left, refused where it is a book.

    Examples
    --------
    >>> text_cell(" 12,50 "), text_cell(" "), text_cell("x" * 5000).shown[:3]
    ('12,50', None, 'xxx')
    """
    plain = text.strip()
    if len(plain) > LONGEST_CELL:
        return UnreadableCell(
            f"{plain[:40]}…", f"is {len(plain):,} characters long, at most {LONGEST_CELL:,}"
        )
    return plain or None
