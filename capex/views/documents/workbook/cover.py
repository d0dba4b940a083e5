"""Cover by project year, in formulas, with its definition.

May import: numpy, `capex.finance`, `capex.study` and, of this folder, `book`, `formula`, `grid`,
`ledger`, `loan` and `tax`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from capex.decision.outcome import Outcome
from capex.finance.coverage import USUAL_COVER
from capex.views.documents.workbook.book import Book
from capex.views.documents.workbook.formula import (
    Expression,
    chosen,
    function,
    number,
    total,
    words,
)
from capex.views.documents.workbook.grid import Row, month_grid
from capex.views.documents.workbook.ledger import LedgerSheet
from capex.views.documents.workbook.loan import LoanSheet
from capex.views.documents.workbook.tax import year_headings

__all__ = ["CoverSheet", "cover_sheet"]

_NOTE: Final = "Every figure is a formula over the ledger, the loan and the tax."
_ROUNDING: Final = 1e-9
#: Lines of the ledger that are available too, where it has them.
_ALSO: Final = {
    "interest_tax": "Tax saved by interest",
    "lease_tax": "Tax saved by leasing",
    "lease_service": "Service that the rent covers",
    "owner_draws": "Owner's draws",
}


@dataclass(frozen=True)
class CoverSheet:
    """Cover by project year.

    Parameters
    ----------
    ratio : Row
        Text in a year in which nothing is due.
    service : Row
        Debt service.
    """

    ratio: Row
    service: Row


def cover_sheet(
    book: Book, letter: str, outcome: Outcome, ledger: LedgerSheet, loan: LoanSheet
) -> CoverSheet:
    """Write the sheet of cover.

    Parameters
    ----------
    book : Book
    letter : str
        Of the alternative's sheets.
    outcome : Outcome
    ledger : LedgerSheet
        Finished.
    loan : LoanSheet
    """
    study = outcome.path.study
    first, *others = USUAL_COVER.words.split(". ")
    grid = month_grid(
        book, f"{letter} Cover", f"{outcome.name}: repayment cover by year",
        (_NOTE, *(f"{sentence.rstrip('.')}." for sentence in (first, *others))),
        year_headings(study),
    )  # fmt: skip
    currency, years = book.currency, grid.periods
    grid.section("Cash available")

    def by_year(label: str, key: str) -> Row:
        return grid.row(label, currency, ledger.rows[key].by_year(years))

    parts = [by_year("Operating cash before tax", "operating"), by_year("Tax on profit", "tax")]
    for key, label in _ALSO.items():
        if key in ledger.rows:
            parts.append(by_year(label, key))
    cash = grid.row("Cash available", currency, total(parts), look="total")
    grid.section("Debt service")
    due: list[Expression] = []
    if loan.service is not None:
        due.append(grid.row("Loan or lease", currency, loan.service.by_year(years)))
    if "existing_debt" in ledger.rows:
        standing = -ledger.rows["existing_debt"].by_year(years)
        due.append(grid.row("Earlier debts", currency, standing))
    service = grid.row("Debt service", currency, total(due), look="total")
    grid.section("Cover")
    most = function("MAX", service.values.max(), service.range())
    there = service.over(number(_ROUNDING) * most, ">")
    found = chosen(there, cash / service, words("none"))
    ratio = grid.row("Cover", "", found, "ratio", summed=False, otherwise="none")
    asked = ledger.inputs["money.lender.minimum_cover"]
    grid.row("The lender's minimum", "", asked, "ratio", summed=False)
    return CoverSheet(ratio, service)
