"""Tax on profit by project year, and what borrowing saves of it, in formulas.

What is claimed each year is a share of cost that the tax regime sets; shares are carried, costs,
proceeds and rates are cells.

May import: numpy, `capex.decision`, `capex.finance`, `capex.study` and, of this folder, `book`,
`formula`, `grid`, `ledger`, `live`, `loan`, `orders` and `purchases`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from capex.decision.outcome import Outcome
from capex.finance.allowances import Asset, allowances
from capex.finance.purchases import tax_regime
from capex.study import Study
from capex.views.documents.workbook.book import Book
from capex.views.documents.workbook.formula import Expression, function, total
from capex.views.documents.workbook.grid import Grid, Row, month_grid
from capex.views.documents.workbook.ledger import LedgerSheet
from capex.views.documents.workbook.loan import LoanSheet
from capex.views.documents.workbook.purchases import Purchase

__all__ = ["TaxSheet", "tax_sheet", "year_headings"]

FloatArray = npt.NDArray[np.float64]

_NOTES: Final = (
    "Project years count as tax years; month 0 belongs to the first. Grey shares of cost are "
    "values: capex works them out from the tax regime, the date and the size of what is bought.",
    "They hold while no limit of the regime and no test of its last quarter turns the other way. "
    "Confirm the regime, its rates and its dates with a licensed accountant.",
)


@dataclass(frozen=True)
class TaxSheet:
    """Tax by project year.

    Parameters
    ----------
    payable : Row
        On the investment alone; positive where owed.
    saved : Row or None
        Of it, by interest and fee; where offers finance, carried by month instead.
    """

    payable: Row
    saved: Row | None


def year_headings(study: Study) -> list[str]:
    """Return the heads of the project years."""
    years = -(-int(study.money.horizon.likely) // 12)
    return [f"Year {year + 1}" for year in range(years)]


def tax_sheet(
    book: Book, letter: str, outcome: Outcome, ledger: LedgerSheet, loan: LoanSheet
) -> TaxSheet:
    """Write the sheet of tax.

    Parameters
    ----------
    book : Book
    letter : str
        Of the alternative's sheets.
    outcome : Outcome
        With its details.
    ledger : LedgerSheet
        Down to operating cash.
    loan : LoanSheet
    """
    study = outcome.path.study
    regime = tax_regime(study)
    title = f"{outcome.name}: tax ({regime.title})"
    grid = month_grid(book, f"{letter} Tax", title, _NOTES, year_headings(study))
    grid.section("Taxable income of the investment, as if bought for cash")
    parts: list[Row] = [
        grid.row("Operating cash before tax", book.currency,
                 ledger.rows["operating"].by_year(grid.periods)),
        grid.row("Training", book.currency, _in_years(grid, [
            (one.month // 12, -one.training()) for one in ledger.bought if one.bought
        ])),
    ]  # fmt: skip
    if regime.method != "none":
        parts += _claims(grid, study, ledger)
    income = grid.row("Taxable income", book.currency, total(parts), look="total")
    payable = _payable(grid, study, income, ledger, "Tax on profit (negative: saved)")
    saved = None
    if loan.deducted is not None:
        grid.section("With what is borrowed")
        interest = grid.row("Interest and fee", book.currency, loan.deducted.by_year(grid.periods))
        lower = grid.row("Taxable income with the loan", book.currency, income + interest)
        with_loan = _payable(grid, study, lower, ledger, "Tax with the loan")
        saved = grid.row("Tax saved by interest", book.currency, payable - with_loan, look="total")
    return TaxSheet(payable, saved)


def _in_years(grid: Grid, parts: Sequence[tuple[int, Expression]]) -> Expression:
    """Return amounts in their project years, the last at most."""
    placed = [(min(max(year, 0), grid.periods - 1), amount) for year, amount in parts]
    values = np.zeros(grid.periods)
    for year, amount in placed:
        values[year] += float(amount.values)
    return Expression(
        lambda year: total([amount for at, amount in placed if at == year]).text(year), values
    )


def _claims(grid: Grid, study: Study, ledger: LedgerSheet) -> list[Row]:
    """Write what is claimed for each purchase, and gains on what is sold, and return both."""
    currency = grid.book.currency
    new = [one for one in ledger.bought if one.bought]
    costs = [one.outlay + one.sales_tax + one.installation() for one in new]
    shares = _shares(study, new, costs, grid.periods)
    claims, gains = [], []
    for one, cost, share in zip(new, costs, shares, strict=True):
        last = min(max((one.last_month - 1) // 12, 0), grid.periods - 1)
        kept = np.where(np.arange(grid.periods) <= last, share, 0.0)
        own = grid.carried(f"{one.name}: share of cost claimed", "%", kept, "percent")
        claim = grid.row(f"{one.name}: claimed", currency, -(own * cost))
        claims.append(claim)
        gains.append((last, one.proceeds() - cost - claim.summed()))
    for one in ledger.bought:
        if one.placement.owned and one.sold_early:
            gains.append(((one.last_month - 1) // 12, one.proceeds()))
    for one in new:
        gains += [((one.month - 1) // 12, credit) for credit in one.trade_in()]
    gain = grid.row("Gain on sale, over what is unclaimed", currency,
                    _in_years(grid, gains))  # fmt: skip
    return [*claims, gain]


def _shares(
    study: Study, new: list[Purchase], costs: list[Expression], years: int
) -> list[FloatArray]:
    """Return the share of each cost that the regime lets claim in each year."""
    paid = [float(cost.values) or 1.0 for cost in costs]
    assets = [
        Asset(np.array([amount]), np.array([one.month]), one.placement.second_hand)
        for one, amount in zip(new, paid, strict=True)
    ]
    claims = allowances(tax_regime(study), assets, study.money.start, years)
    return [claim[0] / amount for claim, amount in zip(claims, paid, strict=True)]


def _payable(grid: Grid, study: Study, income: Row, ledger: LedgerSheet, words: str) -> Row:
    """Write the tax on a row of income; losses wait for later profits or are absorbed."""
    currency, rate = grid.book.currency, ledger.inputs["money.tax.rate"]
    if study.money.tax.losses == "absorbed":
        return grid.row(words, currency, income * rate, look="total")
    summed = grid.cumulative("Income so far", currency, income)
    values = np.maximum.accumulate(np.maximum(summed.values, 0.0))
    own = grid.place(grid.next, values)
    before = own.shifted(1)
    peak = grid.row("Highest income so far: losses wait until it is passed", currency,
                    function("MAX", values, summed, before), summed=False)  # fmt: skip
    return grid.row(words, currency, (peak - peak.shifted(1)) * rate, look="total")
