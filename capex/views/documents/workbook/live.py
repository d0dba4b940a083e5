"""The inputs that the workbook follows, each a named cell; all others are greyed.

An input is live where the ledger's rule for it can be stated in cells with the month's plan held:
prices, rates, wages, what machines cost and fetch. What moves hours, orders, dates or the plan
itself is worked out by capex.

May import: numpy, xlsxwriter, `capex.study`, `capex.units`, `capex.views.wording` and, of this
folder, `book`, `formula` and `quantities`.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Final

import numpy as np
from xlsxwriter.worksheet import Worksheet

from capex.study import Quantity, Study
from capex.units import unit_label
from capex.views.documents.workbook.book import CARRIED, Book
from capex.views.documents.workbook.formula import Expression
from capex.views.documents.workbook.quantities import shown_scale
from capex.views.wording import input_name

__all__ = ["Inputs", "carried_sheet", "inputs_sheet"]

_HEADINGS: Final = ("Input", "Value", "Unit", "Source", "Dated", "Note", "Where in the study")
_WIDTHS: Final = (44, 13, 16, 11, 11, 58, 52)
_GROUPS: Final[Mapping[str, str]] = {
    "money": "Money",
    "shop": "People and premises",
    "levers": "Levers on many inputs at once",
    "films": "Films and laminates",
    "inks": "Inks",
    "jobs": "Prices of work, by job type",
    "machines": "Machines",
    "alternatives": "What is bought and sold",
    "offers": "Offers",
    "room": "The room",
}


class Inputs:
    """The inputs of a study as cells; those that a formula asks for are live.

    Parameters
    ----------
    study : Study
        One value an input.
    """

    def __init__(self, study: Study) -> None:
        self.study = study
        self._known = dict(study.quantities())
        self._asked: set[str] = set()

    @property
    def live(self) -> dict[str, Quantity]:
        """What formulas have asked for so far, in the order of the study."""
        return {path: one for path, one in self._known.items() if path in self._asked}

    @property
    def carried(self) -> dict[str, Quantity]:
        """All others."""
        return {path: one for path, one in self._known.items() if path not in self._asked}

    def __contains__(self, path: str) -> bool:
        return path in self._known

    def __getitem__(self, path: str) -> Expression:
        """Return the cell of an input, in its shown unit; fractions stay fractions."""
        self._asked.add(path)
        value = shown_value(self._known[path])
        return Expression(lambda _: path, np.array(value))


def shown_value(quantity: Quantity) -> float:
    """Return the likely value in the unit that stands beside it; fractions stay fractions."""
    return quantity.likely * shown_scale(quantity.entry.kind)


def _unit(quantity: Quantity, currency: str) -> str:
    kind = quantity.entry.kind
    return "%" if kind == "fraction" else unit_label(kind, "metric", currency)


def _numbers(quantity: Quantity) -> str:
    kind = quantity.entry.kind
    if kind == "fraction":
        return "percent"
    return "whole" if kind == "months" and quantity.entry.whole else "price"


def _grouped(each: Mapping[str, Quantity]) -> Iterator[tuple[str, list[tuple[str, Quantity]]]]:
    for head, words in _GROUPS.items():
        found = [(path, one) for path, one in each.items() if path.split(".")[0] == head]
        if found:
            yield words, found


def inputs_sheet(book: Book, inputs: Inputs) -> None:
    """Write the sheet of live inputs, each cell named by its path; after all formulas."""
    sheet = book.sheet(
        "Inputs", "Inputs that this workbook follows",
        ("Change a value in a yellow cell and every figure that rests on it is recalculated. Each "
         "cell bears the name that stands at the end of its row.",),
    )  # fmt: skip
    row = _headed(book, sheet)
    for words, found in _grouped(inputs.live):
        row = _section(book, sheet, row, words)
        for path, quantity in found:
            _describe(book, sheet, row, (inputs.study, path, quantity), "plain")
            style = book.look("input", _numbers(quantity))
            sheet.write_number(row, 1, shown_value(quantity), style)
            _validate(sheet, row, quantity, _unit(quantity, book.currency))
            book.named(path, sheet, row, 1)
            row += 1


def carried_sheet(book: Book, inputs: Inputs) -> None:
    """Write the sheet of all other inputs, greyed; after all formulas."""
    sheet = book.sheet(
        "Other inputs", f"Inputs that are not followed: {CARRIED}",
        ("They move hours, orders, dates, the plan of the month or tax schedules, which capex "
         "works out order by order; cells cannot. Each is greyed.",),
    )  # fmt: skip
    row = _headed(book, sheet)
    for words, found in _grouped(inputs.carried):
        row = _section(book, sheet, row, words)
        for path, quantity in found:
            _describe(book, sheet, row, (inputs.study, path, quantity), "carried")
            style = book.look("carried", _numbers(quantity))
            sheet.write_number(row, 1, shown_value(quantity), style)
            row += 1


def _headed(book: Book, sheet: Worksheet) -> int:
    for column, (words, width) in enumerate(zip(_HEADINGS, _WIDTHS, strict=True)):
        sheet.write_string(3, column, words, book.look("period" if column == 1 else "heading"))
        sheet.set_column(column, column, width)
    sheet.freeze_panes(4, 1)
    sheet.repeat_rows(3)
    sheet.fit_to_pages(1, 0)
    return 4


def _section(book: Book, sheet: Worksheet, row: int, words: str) -> int:
    for column in range(len(_HEADINGS)):
        sheet.write_blank(row + 1, column, None, book.look("section"))
    sheet.write_string(row + 1, 0, words, book.look("section"))
    return row + 2


def _describe(
    book: Book, sheet: Worksheet, row: int, said: tuple[Study, str, Quantity], look: str
) -> None:
    study, path, quantity = said
    words = input_name(study, path)
    note = quantity.note
    if look == "carried":
        note = f"{CARRIED}. {note}" if note else CARRIED
    texts = {
        0: words[:1].upper() + words[1:],
        2: _unit(quantity, book.currency),
        3: quantity.source,
        4: "" if quantity.on is None else quantity.on.isoformat(),
        5: note,
        6: path,
    }
    for column, text in texts.items():
        style = "note" if column == 5 and look == "plain" else look
        sheet.write_string(row, column, text, book.look("unit" if column == 2 else style))


def _validate(sheet: Worksheet, row: int, quantity: Quantity, unit: str) -> None:
    """Refuse what the study itself would refuse, with the bound and the unit."""
    scale, (least, most) = shown_scale(quantity.entry.kind), quantity.entry.ends
    if not np.isfinite(least):
        return
    kind = "integer" if quantity.entry.whole else "decimal"
    rule = {"validate": kind, "criteria": ">=", "value": least * scale}
    shown, unit = (100.0, "%") if unit == "%" else (scale, f" {unit}" if unit else "")
    words = f"Must be at least {least * shown:g}{unit}."
    if np.isfinite(most):
        rule |= {"criteria": "between", "minimum": least * scale, "maximum": most * scale}
        words = f"Must be {least * shown:g}{unit} to {most * shown:g}{unit}."
    sheet.data_validation(
        row, 1, row, 1, rule | {"error_title": "Outside its bounds", "error_message": words}
    )
