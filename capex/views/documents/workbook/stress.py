"""Stress cases of a lender: values of capex, held to the thresholds of the sheet of inputs.

May import: numpy, `capex.decision`, `capex.finance`, `capex.study` and, of this folder, `book`,
`live` and `summary`.
"""

from __future__ import annotations

from typing import Final

import numpy as np
from xlsxwriter.worksheet import Worksheet

from capex.decision.stress import LenderFigures, stress_test
from capex.finance.coverage import RatioReason
from capex.study import Study
from capex.views.documents.workbook.book import Book
from capex.views.documents.workbook.live import Inputs
from capex.views.documents.workbook.summary import Headline

__all__ = ["stress_sheet"]

_HEADINGS: Final = (
    "Case", "Gain over the baseline", "Least cover of a year", "Project year",
    "Highest loan to value", "Least cash at a month's end",
    "Minimum cover", "Highest loan to value allowed", "Least cash allowed",
)  # fmt: skip
_NOTES: Final = (
    "Grey rows are values: fewer orders, a late start or lower prices change what is made in each "
    "month, which capex works out anew for every case.",
    "The first row and the three tests are formulas: they follow the sheet of inputs. The lender's "
    "thresholds stand there too.",
)
#: Column of the figure that a test holds to a threshold, the sign, and the threshold.
_TESTS: Final = (
    ("C", ">=", "money.lender.minimum_cover", 1.0),
    ("E", "<=", "money.lender.highest_loan_to_value", -1.0),
    ("F", ">=", "money.lender.lowest_cash", 1.0),
)
_ROUNDING: Final = "1E-9"


def stress_sheet(book: Book, study: Study, key: str, inputs: Inputs, found: list[Headline]) -> None:
    """Write the sheet of stress cases of one alternative.

    Parameters
    ----------
    book : Book
    study : Study
    key : str
        Of the alternative.
    inputs : Inputs
    found : list of Headline
        Its headline figures.
    """
    name = study.alternatives[key].name
    sheet = book.sheet("Stress", f"{name}: what bad cases do", _NOTES)
    for column, words in enumerate(_HEADINGS):
        figures = 0 < column < 6
        sheet.write_string(4, column, words, book.look("period" if figures else "heading"))
    sheet.set_row(4, 30)
    sheet.set_column(0, 0, 30)
    sheet.set_column(1, len(_HEADINGS) - 1, 15)
    sheet.freeze_panes(5, 1)
    sheet.fit_to_pages(1, 0)
    shown: dict[str, float | str] = _live_row(book, sheet, found)
    _tests(book, sheet, 5, inputs, shown)
    stressed = stress_test(study)
    for place, case in enumerate(stressed.cases):
        row = 6 + place
        said = "As entered, as capex found it" if place == 0 else stressed.amounts.words[case]
        sheet.write_string(row, 0, said, book.look("carried"))
        values = _values(stressed.each[key], place)
        for letter, value in values.items():
            style = book.look("carried", _COLUMNS[letter])
            if isinstance(value, str):
                sheet.write_string(row, ord(letter) - 65, value, style)
            else:
                sheet.write_number(row, ord(letter) - 65, value, style)
        _tests(book, sheet, row, inputs, values)


_COLUMNS: Final = {"B": "money", "C": "ratio", "D": "whole", "E": "share", "F": "money"}


def _live_row(book: Book, sheet: Worksheet, found: list[Headline]) -> dict[str, float | str]:
    """Write the figures of this workbook as the first case."""
    sheet.write_string(5, 0, "As this workbook stands", book.look())
    known = {one.name.removeprefix("headline."): one for one in found}
    shown: dict[str, float | str] = {}
    places = {"B": "gain", "C": "least_cover", "E": "highest_loan_to_value", "F": "lowest_cash"}
    for column, name in places.items():
        one = known.get(name)
        if one is None:
            sheet.write_string(5, ord(column) - 65, "none", book.look())
            shown[column] = "none"
            continue
        value = float(one.found.values)
        shown[column] = one.otherwise if np.isnan(value) else value
        style = book.look("plain", _COLUMNS[column])
        book.formula(sheet, 5, ord(column) - 65, one.name, style, value=shown[column])
    return shown


def _values(figures: LenderFigures, case: int) -> dict[str, float | str]:
    view = figures.view
    cover, ratio = view.lowest_year, view.highest_loan_to_value
    there = cover.reason[case] == RatioReason.FOUND
    bare = ratio.reason[case] == RatioReason.NO_MACHINE
    lent = ratio.reason[case] == RatioReason.FOUND
    return {
        "B": float(figures.gain[case]),
        "C": float(cover.ratio[case]) if there else "none",
        "D": float(cover.when[case]) if there else "none",
        "E": float(ratio.ratio[case]) if lent else "no machine" if bare else "none",
        "F": float(view.lowest_cash[case]),
    }


def _tests(
    book: Book, sheet: Worksheet, row: int, inputs: Inputs, shown: dict[str, float | str]
) -> None:
    """Write whether each threshold is met; where nothing is due or owed, nothing is asked."""
    for place, (column, sign, path, way) in enumerate(_TESTS):
        cell, value, asked = f"{column}{row + 1}", shown[column], float(inputs[path].values)
        allowed = f"{'-' if way > 0 else '+'}{_ROUNDING}*MAX(1,ABS({path}))"
        text = (
            f'IF(ISNUMBER({cell}),IF({cell}{sign}{path}{allowed},"met","not met"),'
            f'IF({cell}="no machine","not met","nothing asked"))'
        )
        if isinstance(value, str):
            said = "not met" if value == "no machine" else "nothing asked"
        else:
            near = 1e-9 * max(1.0, abs(asked))
            said = "met" if way * (value - asked) >= -near else "not met"
        book.formula(sheet, row, 6 + place, text, book.look("words"), value=said)
