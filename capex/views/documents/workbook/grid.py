"""Sheets with a line a row and a month or a year a column.

A row once written is an expression that other formulas take up, on this sheet or another.

May import: numpy, xlsxwriter and, of this folder, `book` and `formula`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cache
from textwrap import wrap
from typing import Final

import numpy as np
import numpy.typing as npt
from xlsxwriter.utility import xl_col_to_name
from xlsxwriter.worksheet import Worksheet

from capex.views.documents.workbook.book import Book
from capex.views.documents.workbook.formula import Expression, function

__all__ = ["FIRST", "Grid", "Row", "month_grid"]

FloatArray = npt.NDArray[np.float64]

#: Column of the first period; before it stand what a row is, its unit and its total.
FIRST: Final = 3
#: More columns than that are months, with a year on a page.
_YEARS_ON_A_PAGE: Final = 13
#: Rows that fit on a landscape page at full size, and the largest scale that takes in a year.
_ROWS, _SCALE = 31, 50
#: Characters of a line of a note.
_NOTE: Final = 120
_letters = cache(xl_col_to_name)


@dataclass(frozen=True)
class Row(Expression):
    """A row of a grid as an expression, with its place.

    Parameters
    ----------
    sheet : str
        Name.
    row : int
        From 0.
    """

    sheet: str = ""
    row: int = 0

    def _cell(self, period: int) -> str:
        return f"{_letters(FIRST + period)}{self.row + 1}"

    def shifted(self, periods: int) -> Expression:
        """Return each period's cell some periods before; 0 where there is none."""
        values = np.zeros_like(self.values)
        values[periods:] = self.values[: self.values.size - periods]

        def text(period: int) -> str:
            return self.text(period - periods) if period >= periods else "0"

        return Expression(text, values)

    def at(self, period: int) -> Expression:
        """Return one period's cell, the same everywhere."""
        cell = self.text(period)
        return Expression(lambda _: cell, np.asarray(self.values[period]))

    def range(self, first: int = 0, last: int | None = None) -> str:
        """Return the address of the cells from one period to another, the last by default."""
        end = self.values.size - 1 if last is None else last
        return f"'{self.sheet}'!{self._cell(first)}:{self._cell(end)}"

    def summed(self, first: int = 0, last: int | None = None) -> Expression:
        """Return the sum of some periods."""
        end = self.values.size - 1 if last is None else last
        found = self.values[first : end + 1].sum()
        return function("SUM", found, self.range(first, end))

    def by_year(self, years: int) -> Expression:
        """Return the sums of a row of months by project year; month 0 is of the first."""
        horizon = self.values.size - 1
        ends = [(12 * y + bool(y), min(12 * y + 12, horizon)) for y in range(years)]
        values = np.array([self.values[a : b + 1].sum() for a, b in ends])
        return Expression(lambda year: f"SUM({self.range(*ends[year])})", values)

    def at_year_ends(self, horizon: int) -> Expression:
        """Return a row of years as one of months: a year's amount in its last month."""
        ends = {min(12 * year + 12, horizon): year for year in range(self.values.size)}
        values = np.zeros(horizon + 1)
        for month, year in ends.items():
            values[month] = self.values[year]
        return Expression(lambda month: self.text(ends[month]) if month in ends else "0", values)


@dataclass
class Grid:
    """A sheet of rows over periods.

    Parameters
    ----------
    book : Book
    sheet : Worksheet
    periods : int
    next : int
        Row that is written next, from 0.
    """

    book: Book
    sheet: Worksheet
    periods: int
    next: int
    header: int = field(default=0)

    def place(self, row: int, values: npt.ArrayLike = 0.0) -> Row:
        """Return a row by its place, written or not yet, with the values that it will have."""
        full = np.broadcast_to(np.asarray(values, dtype=np.float64), (self.periods,))
        return Row(
            lambda period: f"'{self.sheet.name}'!{_letters(FIRST + period)}{row + 1}",
            full, sheet=self.sheet.name, row=row,
        )  # fmt: skip

    def section(self, words: str) -> None:
        """Write a heading over the rows that follow."""
        self.next += 1
        for column in range(FIRST + self.periods):
            self.sheet.write_blank(self.next, column, None, self.book.look("section"))
        self.sheet.write_string(self.next, 0, words, self.book.look("section"))
        self.next += 1

    def row(
        self, words: str, unit: str, found: Expression, numbers: str = "amount",
        look: str = "plain", *, first: int = 0, summed: bool = True, otherwise: str = "",
    ) -> Row:  # fmt: skip
        """Write a row of formulas and return it.

        Parameters
        ----------
        words, unit : str
        found : Expression
        numbers, look : str
            See `Book.look`.
        first : int
            Period from which there are cells; before it a row is empty and counts as 0.
        summed : bool
            Whether the total stands before the periods.
        otherwise : str
            Text that the formula shows where there is no number, NaN among the values.
        """
        values = np.zeros(self.periods)
        values[first:] = np.broadcast_to(found.values, (self.periods,))[first:]
        style, written = self.book.look(look, numbers), self._started(words, unit, look, values)
        for period in range(first, self.periods):
            shown = otherwise if np.isnan(values[period]) else float(values[period])
            self.book.formula(
                self.sheet, written.row, FIRST + period, found.text(period), style, value=shown
            )
        if summed:
            self.book.formula(self.sheet, written.row, FIRST - 1, written.summed(), style)
        return written

    def carried(
        self, words: str, unit: str, values: FloatArray, numbers: str = "count", *,
        first: int = 0, summed: bool = True,
    ) -> Row:  # fmt: skip
        """Write a row of values that capex worked out, and return it."""
        full = np.asarray(values, dtype=np.float64)
        style, written = (
            self.book.look("carried", numbers),
            self._started(words, unit, "carried", full),
        )
        for period in range(first, self.periods):
            self.sheet.write_number(written.row, FIRST + period, float(full[period]), style)
        if summed:
            self.book.formula(
                self.sheet,
                written.row,
                FIRST - 1,
                written.summed(),
                self.book.look("plain", numbers),
            )
        return written

    def _started(self, words: str, unit: str, look: str, values: FloatArray) -> Row:
        row, self.next = self.next, self.next + 1
        style = self.book.look("total") if look == "total" else self.book.look()
        self.sheet.write_string(row, 0, words, style)
        self.sheet.write_string(row, 1, unit, self.book.look("unit"))
        if self.periods > _YEARS_ON_A_PAGE:
            self.sheet.set_print_scale(max(10, min(_SCALE, 100 * _ROWS // self.next)))
        return self.place(row, values)

    def cumulative(self, words: str, unit: str, of: Row, opening: Expression | None = None) -> Row:
        """Write the running total of a row, from an opening amount, and return it."""
        values = of.values.cumsum() + (0.0 if opening is None else opening.values)
        own = self.place(self.next, values)

        def text(period: int) -> str:
            if period:
                return f"{own.text(period - 1)}+{of.text(period)}"
            return of.text(0) if opening is None else f"{opening.text(0)}+{of.text(0)}"

        return self.row(words, unit, Expression(text, values), summed=False)


def month_grid(
    book: Book, name: str, title: str, notes: Sequence[str], headings: Sequence[str],
    over: str = "Total",
) -> Grid:  # fmt: skip
    """Return a new sheet with a column a period, headings frozen and repeated in print.

    Parameters
    ----------
    book : Book
    name, title : str
    notes : sequence of str
    headings : sequence of str
        Of the periods. A year of months goes on one page.
    over : str
        Heading of the column of totals.
    """
    # notes beside the columns that print repeats, so that they stand on the first page alone
    long = len(headings) > _YEARS_ON_A_PAGE
    lines = [line for note in notes for line in wrap(note, _NOTE)]
    sheet = book.sheet(name, title, tuple(lines), FIRST if long else 0)
    header = len(lines) + 2
    for column, words in enumerate(("", "Unit", over, *headings)):
        style = book.look("heading" if column < FIRST - 1 else "period")
        sheet.write_string(header, column, words, style)
    sheet.set_row(header, 30)
    sheet.set_column(0, 0, 36)
    sheet.set_column(1, 1, 9.5)
    sheet.set_column(2, 2, 12)
    sheet.set_column(FIRST, FIRST + len(headings) - 1, 9.3)
    sheet.freeze_panes(header + 1, FIRST)
    sheet.repeat_rows(header)
    sheet.repeat_columns(0, FIRST - 1)
    if long:
        sheet.set_v_pagebreaks([FIRST + 1 + 12 * year for year in range(1, len(headings) // 12 + 1)
                                if 12 * year + 1 < len(headings)])  # fmt: skip
    else:
        sheet.fit_to_pages(1, 0)
    return Grid(book, sheet, len(headings), header + 1, header)
