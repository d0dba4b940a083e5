"""The workbook of a study, all sheets together.

May import: `capex.decision`, `capex.errors`, `capex.finance`, `capex.study` and this folder.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date

import numpy as np

from capex.decision.appraise import Appraisal, appraise
from capex.decision.verdict import verdict
from capex.finance.cash_flows import sales_of_first_month
from capex.finance.financing import LINES
from capex.study import Study
from capex.views.documents.workbook.book import Book
from capex.views.documents.workbook.comparison import comparison_sheet
from capex.views.documents.workbook.cover import cover_sheet
from capex.views.documents.workbook.formula import Expression
from capex.views.documents.workbook.job_mix import job_mix_sheet
from capex.views.documents.workbook.ledger import LedgerSheet, operations, rest
from capex.views.documents.workbook.live import Inputs, carried_sheet, inputs_sheet
from capex.views.documents.workbook.loan import LoanSheet, is_borrowed, loan_sheet
from capex.views.documents.workbook.orders import Carried, orders_sheet
from capex.views.documents.workbook.purchases import (
    financed_by_offers,
    purchases,
)
from capex.views.documents.workbook.quantities import Quantities, quantities
from capex.views.documents.workbook.read_me import fill_read_me
from capex.views.documents.workbook.stress import stress_sheet
from capex.views.documents.workbook.summary import Sheets, fill_summary, headlines
from capex.views.documents.workbook.tax import tax_sheet

__all__ = ["workbook"]


def workbook(study: Study, choice: str | None = None, on: date | None = None) -> bytes:
    """Return the workbook of a choice against the baseline, as an XLSX file.

    Parameters
    ----------
    study : Study
    choice : str, optional
        Key of an alternative; by default the one that leaves most money beside the baseline.
    on : date, optional
        Printed on it, today by default; the same study on the same day gives the same bytes.

    Returns
    -------
    bytes

    Raises
    ------
    InputError
        No such alternative.

    Examples
    --------
    >>> from capex.study import data_folder, read_study
    >>> study = read_study(data_folder() / "studies" / "quenlow.toml")
    >>> workbook(study, "separate", date(2027, 1, 4))[:2]
    b'PK'
    """
    if choice is not None:
        study.alternative(choice)
    found = appraise(study)
    shown = choice or verdict(found).leading_beside(study.baseline)
    return _Writer(found, shown, on or date.today()).written()


@dataclass
class _Part:
    """The sheets of one alternative while they are written; private to `_Writer`."""

    letter: str
    carried: Carried
    ledger: LedgerSheet
    loan: LoanSheet


class _Writer:
    """Writes the sheets in an order in which each finds what it refers to."""

    def __init__(self, found: Appraisal, choice: str, on: date) -> None:
        self.found, self.choice, self.baseline = found, choice, found.study.baseline
        self.study = found.outcomes[choice].path.study
        names = [self.study.alternatives[key].name for key in (choice, self.baseline)]
        self.names = (names[0], names[1])
        title = f"{self.study.shop_name}: {names[0]}"
        self.today = sales_of_first_month(found.baseline.path.ledger)
        self.keys = list(dict.fromkeys((self.baseline, choice)))
        self.carried = {
            key: quantities(key, found.outcomes[key].path, self.today) for key in self.keys
        }
        self.inputs = Inputs(self.study)
        sheets = tuple(self._sheets())
        self.book = Book(title, self.study.shop_name, self.study.currency, on, sheets)
        self.offers = any(financed_by_offers(self.study.alternatives[key]) for key in self.keys)

    def _sheets(self) -> Iterator[str]:
        """Yield the names of the sheets in their order."""
        yield from ("Read me", "Summary", "Inputs", "Job mix")
        for key in reversed(self.keys):
            letter = "A" if key == self.choice else "B"
            loan = ("Loan",) if is_borrowed(self.study, key) else ()
            yield from (f"{letter} {part}" for part in ("Ledger", "Orders", *loan, "Tax", "Cover"))
        yield "A less B"
        if self.study.money.convention == "year_end":
            yield "A less B by year"
        yield from ("Stress", "Other inputs")

    def written(self) -> bytes:
        """Return the file."""
        book = self.book
        title = f"{self.study.shop_name}: {self.names[0]} against {self.names[1]}"
        first = book.sheet("Read me", title)
        summary = book.sheet("Summary", title, (
            "Formulas over the sheets that follow; grey is what capex found when this was written.",
        ))  # fmt: skip
        fill_read_me(book, first, self.study, self.names, offers=self.offers)
        parts: dict[str, _Part] = {}
        finished: dict[str, Sheets] = {}
        for key in self.keys:
            letter = "A" if key == self.choice else "B"
            parts[key] = self._operations(letter, key, self.carried[key])
            # sales of today are the baseline's, which comes first
            today = parts[self.baseline].ledger.rows["price_list"].at(1)
            finished[key] = self._finished(key, parts[key], today)
        one, other = finished[self.choice], finished[self.baseline]
        compared = comparison_sheet(
            book, f"{self.names[0]} less {self.names[1]}", one.outcome, one.ledger, other.ledger
        )
        heads = list(headlines(self.inputs, one, other, compared))
        fill_summary(book, summary, 3, iter(heads), compared)
        job_mix_sheet(book, self.inputs, [
            (parts[key].letter, self.found.outcomes[key], parts[key].carried)
            for key in reversed(self.keys)
        ])  # fmt: skip
        stress_sheet(book, self.found.study, self.choice, self.inputs, heads)
        inputs_sheet(book, self.inputs)
        carried_sheet(book, self.inputs)
        summary.activate()
        return book.closed()

    def _operations(self, letter: str, key: str, found: Quantities) -> _Part:
        outcome, book = self.found.outcomes[key], self.book
        carried = orders_sheet(book, letter, outcome, found)
        bought = purchases(self.study, key, self.inputs)
        ledger = operations(book, letter, outcome, self.inputs, carried, bought)
        return _Part(
            letter, carried, ledger, loan_sheet(book, letter, outcome, self.inputs, bought)
        )

    def _finished(self, key: str, part: _Part, today: Expression) -> Sheets:
        outcome, book, ledger, loan = self.found.outcomes[key], self.book, part.ledger, part.loan
        taxed = tax_sheet(book, part.letter, outcome, ledger, loan)
        lines = dict(loan.lines)
        if taxed.saved is not None:
            lines["interest_tax"] = (
                LINES["interest_tax"][0], taxed.saved.at_year_ends(ledger.horizon)
            )  # fmt: skip
        for name, words, path in (
            ("existing_debt", "Service of earlier debts", "existing_debt_service"),
            ("owner_draws", "Owner's draws", "owner_draws"),
        ):
            lines[name] = (words, _monthly(self.inputs[f"money.lender.{path}"], ledger.horizon))
        rest(ledger, today, -taxed.payable.at_year_ends(ledger.horizon), lines)
        return Sheets(outcome, ledger, loan, cover_sheet(book, part.letter, outcome, ledger, loan))


def _monthly(amount: Expression, horizon: int) -> Expression:
    """Return an amount paid in every month from the first."""
    paid = -amount
    values = np.where(np.arange(horizon + 1) > 0, paid.values, 0.0)
    return Expression(lambda month: paid.text(month) if month else "0", values)
