"""The figures that decide, on one page: what the formulas come to beside what capex found.

May import: numpy, xlsxwriter, `capex.decision` and, of this folder, `book`, `comparison`, `cover`,
`formula`, `ledger` and `loan`.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

import numpy as np
from xlsxwriter.worksheet import Worksheet

from capex.decision.figures import FIGURES
from capex.decision.outcome import Outcome
from capex.views.documents.workbook.book import Book
from capex.views.documents.workbook.comparison import NOT_PAID_BACK, Comparison
from capex.views.documents.workbook.cover import CoverSheet
from capex.views.documents.workbook.formula import (
    Expression,
    chosen,
    function,
    number,
    words,
)
from capex.views.documents.workbook.grid import Row
from capex.views.documents.workbook.ledger import LedgerSheet
from capex.views.documents.workbook.live import Inputs
from capex.views.documents.workbook.loan import LoanSheet

__all__ = ["Headline", "Sheets", "fill_summary", "headlines"]

_HEADINGS: Final = ("Figure", "As this workbook stands", "As capex found it", "Changed by", "How")
_WIDTHS: Final = (46, 22, 20, 14, 84)


@dataclass(frozen=True)
class Sheets:
    """What one alternative has in the workbook.

    Parameters
    ----------
    outcome : Outcome
    ledger : LedgerSheet
    loan : LoanSheet
    cover : CoverSheet
    """

    outcome: Outcome
    ledger: LedgerSheet
    loan: LoanSheet
    cover: CoverSheet


@dataclass(frozen=True)
class Headline:
    """One headline figure.

    Parameters
    ----------
    name : str
        Of its cell.
    title, how : str
    found : Expression
        NaN where there is none; `otherwise` is then its text.
    engine : float
        What the appraisal says; NaN where there is none.
    numbers : str
        See `Book.look`.
    otherwise : str
    """

    name: str
    title: str
    how: str
    found: Expression
    engine: float
    numbers: str
    otherwise: str = "none"


def headlines(
    inputs: Inputs, chosen_one: Sheets, baseline: Sheets, compared: Comparison
) -> Iterator[Headline]:
    """Yield the headline figures of the chosen alternative, in the order of the page."""
    outcome, ledger = chosen_one.outcome, chosen_one.ledger

    def engine(key: str, of: Outcome = outcome) -> float:
        value = float(FIGURES[key].value(of)[0])
        return value if np.isfinite(value) else float("nan")

    def headline(key: str, found: Expression, numbers: str, otherwise: str = "none") -> Headline:
        figure = FIGURES[key]
        return Headline(f"headline.{key}", figure.title, figure.definition, found, engine(key),
                        numbers, otherwise)  # fmt: skip

    own, other = _worth(ledger), _worth(baseline.ledger)
    gain = own - other
    yield headline("gain", gain, "money")
    yield headline("net_present_value", own, "money")
    yield Headline(
        "headline.baseline_net_present_value", "Net present value of the baseline's own cash",
        "All cash of the baseline, each month discounted, without financing.", other,
        engine("net_present_value", baseline.outcome), "money",
    )  # fmt: skip
    yield headline("equivalent_annual_value", _level(inputs, gain, ledger.horizon), "money")
    yield headline("internal_rate_of_return", compared.rate_of_return, "share",
                   compared.without)  # fmt: skip
    yield headline("payback_period", compared.payback, "years", NOT_PAID_BACK)
    yield headline("discounted_payback_period", compared.discounted_payback, "years", NOT_PAID_BACK)
    bank = ledger.rows["bank"]
    yield headline("lowest_cash", function("MIN", bank.values.min(), bank.range()), "money")
    yield headline("least_cover", _extreme(chosen_one.cover.ratio, "MIN"), "ratio")
    if chosen_one.loan.ratio is not None:
        highest = _highest(chosen_one.loan.ratio, chosen_one.loan.without)
        yield headline("highest_loan_to_value", highest, "share", chosen_one.loan.without)


def _worth(ledger: LedgerSheet) -> Expression:
    net, factor = ledger.rows["net"], ledger.factor
    return function("SUMPRODUCT", net.values @ factor.values, net.range(), factor.range())


def _level(inputs: Inputs, gain: Expression, horizon: int) -> Expression:
    rate, years = inputs["money.discount_rate"], number(horizon) / number(12)
    annuity = (number(1) - (number(1) + rate) ** (number(0) - years)) / rate
    return chosen(rate.over(number(0), "="), gain / years, gain / annuity)


def _extreme(ratio: Row, name: str) -> Expression:
    """Return the least or highest of the numbers of a row; none where there is none."""
    known = ratio.values[~np.isnan(ratio.values)]
    best = float({"MIN": np.min, "MAX": np.max}[name](known)) if known.size else 0.0
    count = function("COUNT", known.size, ratio.range())
    return chosen(count.over(number(0), "="), words("none"), function(name, best, ratio.range()))


def _highest(ratio: Row, without: str) -> Expression:
    """Return the highest loan to value; a debt without a machine is higher than all."""
    count = np.isnan(ratio.values).sum() if without == "no machine" else 0
    bare = function("COUNTIF", count, ratio.range(), '"no machine"')
    return chosen(bare.over(number(0), ">"), words("no machine"), _extreme(ratio, "MAX"))


def fill_summary(
    book: Book, sheet: Worksheet, first: int, found: Iterator[Headline], compared: Comparison
) -> int:
    """Write the headline figures from a row on, each cell named, and return the next row."""
    sheet.fit_to_pages(1, 0)
    for column, (label, width) in enumerate(zip(_HEADINGS, _WIDTHS, strict=True)):
        figures = 0 < column < 4
        sheet.write_string(first, column, label, book.look("period" if figures else "heading"))
        sheet.set_column(column, column, width)
    row = first
    for row, one in enumerate(found, start=first + 1):
        sheet.write_string(row, 0, one.title, book.look())
        value = float(one.found.values)
        text = f"{one.otherwise}" if np.isnan(value) else None
        book.formula(sheet, row, 1, one.found, book.look("headline", one.numbers), value=text)
        book.named(one.name, sheet, row, 1)
        _write_engine(book, sheet, row, one, compared)
        sheet.write_string(row, 4, one.how, book.look("words"))
        sheet.set_row(row, 15 * max(1, -(-len(one.how) // (_WIDTHS[-1] + 8))))
    return row + 1


def _write_engine(
    book: Book, sheet: Worksheet, row: int, one: Headline, compared: Comparison
) -> None:
    """Write what capex found, greyed, and how far the workbook has moved from it."""
    if np.isnan(one.engine):
        rate = one.name.endswith("internal_rate_of_return")
        sheet.write_string(
            row, 2, compared.no_rate if rate else one.otherwise, book.look("carried")
        )
        return
    sheet.write_number(row, 2, one.engine, book.look("carried", one.numbers))
    moved = 0.0 if np.isnan(one.found.values) else float(one.found.values) - one.engine
    # rounding of sums in another order is no change
    cells = f"B{row + 1}-C{row + 1}"
    text = f'IF(ISNUMBER(B{row + 1}),IF(ABS({cells})<1E-7*ABS(C{row + 1}),0,{cells}),"none")'
    small = abs(moved) < 1e-7 * abs(one.engine)
    value: float | str = "none" if np.isnan(one.found.values) else 0.0 if small else moved
    book.formula(sheet, row, 3, text, book.look("plain", one.numbers), value=value)
