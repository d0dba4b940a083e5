"""The workbook while it is written: formats, names, and sheets set up for print.

Texts of the user are written as texts, whatever they look like.

May import: numpy, xlsxwriter and, of this folder, `formula`.
"""

from __future__ import annotations

import io
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime
from functools import cached_property
from typing import Any, Final

import xlsxwriter
from xlsxwriter.format import Format
from xlsxwriter.worksheet import Worksheet

from capex.views.documents.workbook.formula import Expression

__all__ = ["CARRIED", "Book", "address"]


class _Sheet(Worksheet):  # type: ignore[misc]
    """A worksheet that takes formulas as they stand.

    The library looks each one through for functions newer than Excel 2016, of which there are none
    here: two thirds of the time of writing.
    """

    def _prepare_formula(self, formula: str, expand_future_functions: bool = False) -> str:
        return formula.removeprefix("=")


#: What stands beside an input or a figure that does not follow the formulas.
CARRIED: Final = "worked out by capex: change it there"

_SIGNS: Final = {"USD": "$", "EUR": "€", "GBP": "£", "JPY": "¥"}
_LETTER: Final = ("USD", "CAD", "MXN")  # currencies of countries that print on Letter
_NUMBERS: Final = {
    "count": "#,##0.00;-#,##0.00;–",
    "whole": "0",
    "amount": "#,##0;-#,##0;–",
    "price": "#,##0.00##",
    "cents": "#,##0.00",
    "percent": "0.0##%",
    "share": "0.0%",
    "years": '0.00 "years"',
    "ratio": "0.00",
    "factor": "0.0000",
    "text": "@",
}
_LOOKS: Final[Mapping[str, Mapping[str, Any]]] = {
    "plain": {"valign": "top"},
    "input": {"bg_color": "#FFF7DB", "font_color": "#0B4F8A", "border": 1,
              "border_color": "#C9B458", "locked": False},
    "carried": {"font_color": "#6B6B6B", "bg_color": "#F1F1F1", "valign": "top"},
    "total": {"bold": True, "top": 1, "top_color": "#9DB2C4"},
    "unit": {"font_color": "#6B6B6B", "indent": 1},
    "headline": {"bold": True, "font_size": 12, "valign": "top"},
    "heading": {"bold": True, "bg_color": "#DCE6EE", "text_wrap": True, "valign": "vcenter"},
    "period": {"bold": True, "bg_color": "#DCE6EE", "text_wrap": True, "valign": "vcenter",
               "align": "right"},
    "section": {"bold": True, "font_color": "#1F3B57", "bottom": 1, "bottom_color": "#9DB2C4"},
    "title": {"bold": True, "font_size": 14},
    "note": {"italic": True, "font_color": "#4A4A4A"},
    "words": {"text_wrap": True, "valign": "top", "indent": 1},
}  # fmt: skip


@dataclass
class Book:
    """One workbook in memory.

    Parameters
    ----------
    title, shop_name : str
        As the user typed them.
    currency : str
        ISO 4217 code.
    on : date
        Printed in footers and kept as the day of creation: the same study on the same day gives
        the same bytes.
    names : tuple of str
        Of the sheets in their order, of our own choosing, never a user's text.
    """

    title: str
    shop_name: str
    currency: str
    on: date
    names: tuple[str, ...]
    _file: io.BytesIO = field(default_factory=io.BytesIO, repr=False)
    _formats: dict[tuple[str, str], Format] = field(default_factory=dict, repr=False)

    def __post_init__(self) -> None:
        self.workbook = xlsxwriter.Workbook(
            self._file,
            {"in_memory": True, "strings_to_formulas": False, "strings_to_urls": False,
             "strings_to_numbers": False},
        )  # fmt: skip
        created = datetime(self.on.year, self.on.month, self.on.day)
        self.workbook.set_properties(
            {"title": self.title, "author": self.shop_name, "created": created}
        )
        self._sheets = {
            name: self.workbook.add_worksheet(name, worksheet_class=_Sheet) for name in self.names
        }

    @cached_property
    def money(self) -> str:
        """Number format of amounts of the study's currency."""
        sign = f'"{_SIGNS.get(self.currency, self.currency + " ")}"'
        return f"{sign}#,##0;-{sign}#,##0;{sign}0"

    def look(self, name: str = "plain", numbers: str = "text") -> Format:
        """Return a format by its look and its kind of number.

        Parameters
        ----------
        name : str
            How it looks: ``input``, ``carried``, ``total`` …
        numbers : str
            ``money``, ``amount``, ``percent`` …
        """
        known = self._formats.get((name, numbers))
        if known is None:
            shown = self.money if numbers == "money" else _NUMBERS[numbers]
            chosen: dict[str, Any] = {"font_name": "Calibri", "font_size": 10} | dict(_LOOKS[name])
            if numbers != "text":
                chosen |= {"num_format": shown, "align": "right"}
            known = self._formats[name, numbers] = self.workbook.add_format(chosen)
        return known

    def sheet(
        self, name: str, title: str, notes: tuple[str, ...] = (), beside: int = 0
    ) -> Worksheet:
        """Return a sheet with a title and notes on top, set up for print.

        Parameters
        ----------
        name : str
            One of `names`.
        title : str
        notes : tuple of str
            What is formula and what is carried, and why; one row each.
        beside : int
            Column of the notes.
        """
        sheet = self._sheets[name]
        sheet.hide_gridlines(2)
        sheet.set_landscape()
        sheet.set_paper(1 if self.currency in _LETTER else 9)
        sheet.set_margins(left=0.5, right=0.5, top=0.6, bottom=0.7)
        shop = self.shop_name.replace("&", "&&")
        sheet.set_footer(f"&L&9{_after_size(shop)}&C&9&A · page &P of &N&R&9capex · {self.on}")
        sheet.write_string(0, 0, title, self.look("title"))
        for row, note in enumerate(notes, start=1):
            sheet.write_string(row, beside, note, self.look("note"))
        return sheet

    def formula(
        self, sheet: Worksheet, row: int, column: int, found: Expression | str, style: Format,
        *, period: int = 0, value: float | str | None = None,
    ) -> None:  # fmt: skip
        """Write a formula with the value it comes to.

        Parameters
        ----------
        sheet : Worksheet
        row, column : int
        found : Expression or str
            A text stands as it is, without its sign of equality, and needs a value.
        style : Format
        period : int
            Of the expression.
        value : float or str, optional
            In place of the expression's own.
        """
        if isinstance(found, Expression):
            text = found.text(period)
            values = found.values
            own: float | str = float(values if values.ndim == 0 else values[period])
        else:
            text, own = found, 0.0
        sheet.write_formula(
            row, column, "=" + text.replace(f"'{sheet.name}'!", ""), style,
            own if value is None else value,
        )  # fmt: skip

    def named(self, name: str, sheet: Worksheet, row: int, column: int) -> None:
        """Give a cell a name that formulas and people can use."""
        self.workbook.define_name(name, f"={address(sheet, row, column, fixed=True)}")

    def closed(self) -> bytes:
        """Return the finished file."""
        self.workbook.close()
        return self._file.getvalue()


def _after_size(text: str) -> str:
    """Return a footer's text so that leading digits are not read as part of the font size."""
    return f" {text}" if text[:1].isdigit() else text


def address(sheet: Worksheet, row: int, column: int, *, fixed: bool = False) -> str:
    """Return a cell's address with its sheet; fixed ones do not move when copied."""
    cell = xlsxwriter.utility.xl_rowcol_to_cell(row, column, row_abs=fixed, col_abs=fixed)
    return f"'{sheet.name}'!{cell}"
