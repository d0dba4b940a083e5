"""The chosen alternative less the baseline, month by month, down to gain, payback and rate.

May import: numpy, `capex.decision`, `capex.finance` and, of this folder, `book`, `formula`, `grid`,
`ledger`, `live`, `orders` and `summary`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from capex.decision.outcome import Outcome
from capex.finance.rate_of_return import RateReason
from capex.views.documents.workbook.book import Book
from capex.views.documents.workbook.formula import (
    Expression,
    chosen,
    function,
    number,
    words,
)
from capex.views.documents.workbook.grid import Grid, Row, month_grid
from capex.views.documents.workbook.ledger import LedgerSheet
from capex.views.documents.workbook.orders import month_headings
from capex.views.documents.workbook.tax import year_headings

__all__ = ["NOT_PAID_BACK", "Comparison", "comparison_sheet"]

#: Shown where money is not back by the horizon.
NOT_PAID_BACK: Final = "not within the horizon"

_NOTES: Final = (
    "Every figure is a formula over the two ledgers. Without financing: a loan or a lease changes "
    "nothing here.",
)
_ROUNDING: Final = 1e-12


@dataclass(frozen=True)
class Comparison:
    """What choosing the one over the other comes to.

    Parameters
    ----------
    payback, discounted_payback : Expression
        Years; NaN, and a text, where the money is not back.
    rate_of_return : Expression
        Yearly; NaN, and `no_rate`, where there is none.
    no_rate : str
        Why there is none as the study stands.
    """

    payback: Expression
    discounted_payback: Expression
    rate_of_return: Expression
    no_rate: str


def comparison_sheet(
    book: Book, title: str, outcome: Outcome, one: LedgerSheet, other: LedgerSheet
) -> Comparison:
    """Write the sheet of the difference.

    Parameters
    ----------
    book : Book
    title : str
    outcome : Outcome
        The chosen alternative.
    one, other : LedgerSheet
        Its ledger and the baseline's, finished.
    """
    study = outcome.path.study
    grid = month_grid(book, "A less B", title, _NOTES, month_headings(study))
    currency = book.currency
    month = grid.carried(
        "Month", "", np.arange(grid.periods, dtype=np.float64), "whole", summed=False
    )
    grid.section("Net cash flow, without financing")
    net = grid.row("A", currency, one.rows["net"])
    base = grid.row("B", currency, other.rows["net"])
    difference = grid.row("A less B", currency, net - base, look="total")
    grid.section("Payback")
    simple = _payback(grid, month, difference)
    grid.section("Payback, discounted")
    discounted = grid.row("A less B, discounted", currency, difference * one.factor)
    later = _payback(grid, month, discounted)
    found = outcome.internal_rate_of_return
    rate = float(found.rate[0])
    reason = RateReason(int(found.reason[0])).words
    flow, periods = difference, 12
    if study.money.convention == "year_end":
        flow, periods = _by_year(book, difference, year_headings(study)), 1
    return Comparison(simple, later, _rate_of_return(flow, rate, periods), reason)


def _payback(grid: Grid, month: Row, flow: Row) -> Expression:
    """Write when the running total is behind, and return the years until it never is again."""
    currency = grid.book.currency
    so_far = grid.cumulative("Running total", currency, flow)
    size = np.abs(flow.values).sum()
    moved = function("SUMPRODUCT", size, f"ABS({flow.range()})")
    allowed = grid.row("Less than this behind is rounding", currency, number(_ROUNDING) * moved,
                       "count", summed=False)  # fmt: skip
    behind = chosen((so_far + allowed).over(number(0), "<"), month, number(-1))
    last = grid.row("Month, where the total is behind (else -1)", "", behind, "whole", summed=False)
    latest = last.values.max()
    end = grid.periods - 1
    place = int(latest) if 0 <= latest < end else 0
    top = function("MAX", latest, last.range())
    owed = function("INDEX", so_far.values[place], so_far.range(), "1", top + number(1))
    gained = function("INDEX", flow.values[min(place + 1, end)], flow.range(), "1", top + number(2))
    years = (top - owed / gained) / number(12)
    return chosen(
        top.over(number(0), "<"), number(0),
        chosen(top.over(number(end), ">="), words(NOT_PAID_BACK), years),
    )  # fmt: skip


def _by_year(book: Book, difference: Row, headings: list[str]) -> Row:
    """Write the difference with all money of a year at its end."""
    years, months = len(headings), difference.values.size - 1
    grid = month_grid(book, "A less B by year", "A less B, all money of a year at its end", _NOTES,
                      ["Today", *headings])  # fmt: skip
    ends = {y: (12 * y - 11, min(12 * y, months)) for y in range(1, years + 1)}
    later = [difference.values[first : last + 1].sum() for first, last in ends.values()]
    values = np.array([difference.values[0], *later])
    return grid.row("A less B", book.currency, Expression(
        lambda y: f"SUM({difference.range(*ends[y])})" if y else difference.text(0), values
    ))  # fmt: skip


def _rate_of_return(flow: Row, rate: float, periods: int) -> Expression:
    """Return the yearly rate, sought from what capex found; none where a spreadsheet finds none."""
    guess = 0.1 / periods if np.isnan(rate) else (1.0 + rate) ** (1.0 / periods) - 1.0
    own = function("IRR", guess, flow.range(), number(round(guess, 6)))
    yearly = own if periods == 1 else (number(1) + own) ** number(periods) - number(1)
    return Expression(lambda _: f'IFERROR({yearly.text(0)},"none")', np.array(rate))
