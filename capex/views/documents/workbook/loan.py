"""The study's loan by month, in formulas; where offers say how things are paid for, in values.

May import: numpy, `capex.decision`, `capex.finance` and, of this folder, `book`, `formula`, `grid`,
`live`, `orders` and `purchases`.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Final

import numpy as np
import numpy.typing as npt

from capex.decision.cover import lender_view_of
from capex.decision.outcome import Outcome
from capex.finance.financing import LINES
from capex.finance.loans import amortization
from capex.study import Study
from capex.views.documents.workbook.book import CARRIED, Book
from capex.views.documents.workbook.formula import (
    Expression,
    chosen,
    function,
    number,
    total,
    words,
)
from capex.views.documents.workbook.grid import Grid, Row, month_grid
from capex.views.documents.workbook.live import Inputs
from capex.views.documents.workbook.orders import month_headings
from capex.views.documents.workbook.purchases import Purchase, financed_by_offers

__all__ = ["LoanSheet", "is_borrowed", "loan_sheet"]

FloatArray = npt.NDArray[np.float64]

_LIVE: Final = (
    "Every amount is a formula over the loan's share, rate, term and fee on the sheet of inputs. "
    "The month in which money is drawn is that of the purchase and is carried.",
)
_CARRIED: Final = (
    "Every row here is a value: offers say how machines are paid for, and their flows are "
    f"{CARRIED}. Prices, rates and terms of offers are not followed in financing and cover.",
)
#: Residues below this share of the most ever owed are rounding.
_ROUNDING: Final = 1e-9


@dataclass
class LoanSheet:
    """What is borrowed for an alternative, before tax.

    Parameters
    ----------
    lines : dict of str to (words, Expression)
        For the ledger.
    deducted : Row or None
        What tax deducts, negative, by month.
    service : Row or None
        Interest, repayment and rents due, positive, by month.
    ratio : Row or None
        Owed over what the machines bought would fetch.
    without : str
        Text that stands where there is no such ratio.
    live : bool
        Whether it is formulas.
    """

    lines: dict[str, tuple[str, Expression]] = field(default_factory=dict)
    deducted: Row | None = None
    service: Row | None = None
    ratio: Row | None = None
    without: str = "none"
    live: bool = True


def is_borrowed(study: Study, key: str) -> bool:
    """Return whether anything of an alternative is on loan or lease.

    Parameters
    ----------
    study : Study
        With months in the place of triggers.
    key : str
    """
    choice, horizon = study.alternatives[key], study.money.horizon.likely
    new = any(not one.owned and one.month.likely <= horizon for one in choice.machines)
    return financed_by_offers(choice) or (study.money.loan is not None and new)


def loan_sheet(
    book: Book, letter: str, outcome: Outcome, inputs: Inputs, bought: tuple[Purchase, ...]
) -> LoanSheet:
    """Write the sheet of what is borrowed; none where nothing is.

    Parameters
    ----------
    book : Book
    letter : str
        Of the alternative's sheets.
    outcome : Outcome
        With its details.
    inputs : Inputs
    bought : tuple of Purchase
    """
    study = outcome.path.study
    if not is_borrowed(study, outcome.key):
        return LoanSheet()
    offers = financed_by_offers(study.alternatives[outcome.key])
    new = [one for one in bought if one.bought]
    grid = month_grid(
        book, f"{letter} Loan", f"{outcome.name}: what is borrowed", _CARRIED if offers else _LIVE,
        month_headings(study),
    )  # fmt: skip
    return _carried(grid, outcome) if offers else _live(grid, inputs, new)


def _live(grid: Grid, inputs: Inputs, new: list[Purchase]) -> LoanSheet:
    currency = grid.book.currency
    by_month: dict[int, list[Purchase]] = {}
    for one in new:
        by_month.setdefault(one.month, []).append(one)
    parts = [_drawn(grid, inputs, month, some) for month, some in sorted(by_month.items())]
    grid.section("All together")

    def summed(label: str, key: str) -> Row:
        return grid.row(label, currency, total([part[key] for part in parts]))

    drawn = summed("Drawn", "drawn")
    interest, principal = summed("Interest", "interest"), summed("Repayment", "principal")
    end = grid.periods - 1
    balance = grid.row("Owed before what is settled at the horizon", currency,
                       total([part["balance"] for part in parts]), summed=False)  # fmt: skip
    left = Expression(
        lambda month: balance.text(end) if month == end else "0",
        np.where(np.arange(end + 1) == end, balance.values[end], 0.0),
    )
    settled = grid.row("Rest of the loan, settled at the horizon", currency, left)
    fee = grid.row("Fee", currency, drawn * inputs["money.loan.fee"])
    service = grid.row("Debt service of the loan", currency, interest + principal, look="total")
    grid.section("Loan to value")
    owed = grid.row("Owed at the month's end", currency, balance - settled, summed=False)
    worth = grid.row("What the machines bought would fetch", currency,
                     _worth(grid, inputs, new), summed=False)  # fmt: skip
    ratio = _ratio(grid, owed, worth)
    deducted = grid.row("What tax deducts: interest and fee", currency, -interest - fee)
    lines: dict[str, Expression] = {
        "loan": drawn, "loan_fee": -fee, "interest": -interest, "principal": -principal,
        "loan_settled": -settled,
    }  # fmt: skip
    named = {key: (LINES[key][0], found) for key, found in lines.items()}
    return LoanSheet(named, deducted, service, *ratio)


def _drawn(grid: Grid, inputs: Inputs, month: int, some: list[Purchase]) -> dict[str, Row]:
    """Write the amortization of what is drawn in one month."""
    currency, periods = grid.book.currency, grid.periods
    grid.section("Drawn for " + " and ".join(dict.fromkeys(one.name for one in some)))
    price = total([one.outlay for one in some])
    amount = inputs["money.loan.share"] * price
    annual = inputs["money.loan.annual_rate"] + inputs["levers.loan_rate_shift"]
    rate, term = annual / number(12), inputs["money.loan.term"]
    table = amortization(amount.values, annual.values, term.values, periods - 1 - month)

    def since(values: FloatArray) -> FloatArray:
        return np.concatenate([np.zeros(month), values])

    drawn = grid.row("Drawn", currency, _only(month, amount, periods))
    one = drawn.at(month)
    level = function(
        "PMT", -float(table.payment[1]) if periods - 1 > month else 0.0, rate, term, one
    )
    payment = grid.row("Level payment", currency, -level, first=month + 1, summed=False)
    count = np.maximum(np.arange(periods, dtype=np.float64) - month, 0.0)
    paid = grid.carried("Payments so far, up to the term", "", count, "whole", first=month,
                        summed=False)  # fmt: skip
    balance = grid.place(grid.next + 2, since(table.balance))
    before = balance.shifted(1)
    interest = grid.row("Interest", currency, before * rate, first=month + 1)
    due = chosen(
        paid.over(term, "<"), payment - interest,
        chosen(paid.over(term, "="), before, number(0)),
    )  # fmt: skip
    principal = grid.row("Repayment", currency, due, first=month + 1)

    def left(period: int) -> str:
        if period == month:
            return drawn.text(month)
        return f"{balance.text(period - 1)}-{principal.text(period)}"

    closing = grid.row("Owed at the month's end", currency, Expression(left, balance.values),
                       first=month, summed=False)  # fmt: skip
    return {"drawn": drawn, "interest": interest, "principal": principal, "balance": closing}


def _only(month: int, amount: Expression, periods: int) -> Expression:
    values = np.where(np.arange(periods) == month, amount.values, 0.0)
    return Expression(lambda t: amount.text(t) if t == month else "0", values)


def _worth(grid: Grid, inputs: Inputs, new: list[Purchase]) -> Expression:
    """Return what the machines that are there would fetch at each month's end."""
    each = []
    for month in range(grid.periods):
        there = [
            one for one in new
            if one.month <= month and (one.placement.sold_in_month is None
                                       or month < one.placement.sold_in_month.likely)
        ]  # fmt: skip
        each.append(total([one.outlay * one.resale(month - one.month) for one in there]))
    values = np.array([float(found.values) for found in each])
    return Expression(lambda month: each[month].text(month), values)


def _ratio(grid: Grid, owed: Row, worth: Row) -> tuple[Row, str]:
    """Write what is owed over what the machines would fetch, and return the text without."""
    most = function("MAX", owed.values.max(), owed.range())
    without = "no machine" if most.values > 0 else "none"
    ratio = chosen(worth.over(number(0), ">"), owed / worth, words("no machine"))
    found = chosen(owed.over(number(_ROUNDING) * most, "<="), number(0), ratio)
    lent = chosen(most.over(number(0), "<="), words("none"), found)
    row = grid.row("Loan to value", "", lent, "share", summed=False, otherwise=without)
    return row, without


def _carried(grid: Grid, outcome: Outcome) -> LoanSheet:
    currency, ledger, view = grid.book.currency, outcome.path.ledger, lender_view_of(outcome)
    lines: dict[str, tuple[str, Expression]] = {}
    standing = np.zeros(grid.periods)
    for line in ledger.lines:
        values = ledger.line(line.key)[0]
        if line.key in LINES:
            lines[line.key] = (line.name, grid.carried(line.name, currency, values, "amount"))
        elif line.key == "existing_debt":
            standing = -values
    grid.section("For the sheet of cover")
    service = grid.carried("Debt service", currency, view.debt_service[0] - standing, "amount")
    owed = grid.carried("Owed at the month's end", currency, view.owed[0], "amount", summed=False)
    worth = grid.carried("What the machines bought would fetch", currency, view.machines[0],
                         "amount", summed=False)  # fmt: skip
    return LoanSheet(lines, None, service, *_ratio(grid, owed, worth), live=False)
