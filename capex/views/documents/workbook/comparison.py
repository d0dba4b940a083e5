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

__all__ = ["NOT_PAID_BACK", "SEVERAL", "Comparison", "comparison_sheet"]

#: Shown where money is not back by the horizon.
NOT_PAID_BACK: Final = "not within the horizon"

#: Shown where several rates of return may stand for one flow.
SEVERAL: Final = "several: go by the NPV"

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
    without : str
        Text of the cell without one.
    """

    payback: Expression
    discounted_payback: Expression
    rate_of_return: Expression
    no_rate: str
    without: str


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
    total = _running_total(grid, difference)
    simple = _payback(grid, month, difference, total)
    grid.section("Payback, discounted")
    discounted = grid.row("A less B, discounted", currency, difference * one.factor)
    later = _payback(grid, month, discounted, _running_total(grid, discounted))
    found = outcome.internal_rate_of_return
    reason = RateReason(int(found.reason[0]))
    flow, periods = difference, 12
    if study.money.convention == "year_end":
        (flow, total), periods = _by_year(book, difference, year_headings(study)), 1
    rate = _rate_of_return(flow, total, float(found.rate[0]), periods)
    without = SEVERAL if _sign_changes(*total)[0] > 1 else "none"
    return Comparison(simple, later, rate, reason.words, without)


def _running_total(grid: Grid, flow: Row) -> tuple[Row, Row]:
    """Write a row's running total, and how far from 0 it is no more than rounding."""
    currency = grid.book.currency
    so_far = grid.cumulative("Running total", currency, flow)
    moved = function("SUMPRODUCT", np.abs(flow.values).sum(), f"ABS({flow.range()})")
    allowed = grid.row("Less than this from 0 is rounding", currency, number(_ROUNDING) * moved,
                       "count", summed=False)  # fmt: skip
    return so_far, allowed


def _payback(grid: Grid, month: Row, flow: Row, total: tuple[Row, Row]) -> Expression:
    """Write when the running total is behind, and return the years until it never is again."""
    so_far, allowed = total
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


def _by_year(book: Book, difference: Row, headings: list[str]) -> tuple[Row, tuple[Row, Row]]:
    """Write the difference with all money of a year at its end, and its running total."""
    years, months = len(headings), difference.values.size - 1
    grid = month_grid(book, "A less B by year", "A less B, all money of a year at its end", _NOTES,
                      ["Today", *headings])  # fmt: skip
    ends = {y: (12 * y - 11, min(12 * y, months)) for y in range(1, years + 1)}
    later = [difference.values[first : last + 1].sum() for first, last in ends.values()]
    values = np.array([difference.values[0], *later])
    sums = Expression(
        lambda y: f"SUM({difference.range(*ends[y])})" if y else difference.text(0), values
    )
    flow = grid.row("A less B", book.currency, sums)
    return flow, _running_total(grid, flow)


def _rate_of_return(flow: Row, total: tuple[Row, Row], rate: float, periods: int) -> Expression:
    """Return the yearly rate, sought from what capex found.

    Where the running total changes its sign more than once, several rates may stand for one flow
    and the cell says so, unless capex has found that there is but one. Source: norstrom.
    """
    guess = 0.1 / periods if np.isnan(rate) else (1.0 + rate) ** (1.0 / periods) - 1.0
    own = function("IRR", guess, flow.range(), number(round(guess, 6)))
    yearly = own if periods == 1 else (number(1) + own) ** number(periods) - number(1)
    text = f'IFERROR({yearly.text(0)},"none")'
    count, changes = _sign_changes(*total)
    if count <= 1 or np.isnan(rate):
        text = f'IF({changes}>1,"{SEVERAL}",{text})'
    return Expression(lambda _: text, np.array(rate))


def _sign_changes(so_far: Row, allowed: Row) -> tuple[int, str]:
    """Return how often a running total changes its sign between neighbours, and as a formula."""
    end, edge = so_far.values.size - 1, allowed.values[0]
    above, below = so_far.values > edge, so_far.values < -edge
    count = int((above[:-1] & below[1:]).sum() + (below[:-1] & above[1:]).sum())
    one, other, cell = so_far.range(0, end - 1), so_far.range(1, end), allowed.text(0)
    rises = f"SUMPRODUCT(({one}<-{cell})*({other}>{cell}))"
    return count, f"{rises}+SUMPRODUCT(({one}>{cell})*({other}<-{cell}))"
