"""The study's one loan once more, in closed form: what is paid each month, and what is owed.

Imports `capex.decision.outcome`, `capex.study` and, of this folder, `check` and `plain_money`.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from capex.decision.audit import plain_money as plain
from capex.decision.audit.check import Check, skipped
from capex.decision.outcome import Outcome
from capex.study import Placement, Study

__all__ = ["loan_checks"]

_PATH = "annuity formula"
#: Share of what is borrowed that is rounding.
_ROUNDING = 1e-9


@dataclass(frozen=True)
class _Borrowed:
    """A loan of its own for one purchase: month drawn, amount, monthly rate, months."""

    month: int
    amount: float
    rate: float
    term: int

    def paid(self, month: int) -> float:
        """Return interest and repayment together in a month [currency]."""
        if not self.month < month <= self.month + self.term:
            return 0.0
        return plain.annuity_payment(self.amount, self.rate, self.term)

    def owed(self, month: int) -> float:
        """Return what is still owed at a month's end [currency]."""
        return plain.loan_balance(self.amount, self.rate, self.term, month - self.month)


def loan_checks(outcome: Outcome) -> Iterator[Check]:
    """Yield the checks of an alternative's loans, first scenario; none where nothing is borrowed.

    Parameters
    ----------
    outcome : Outcome
        With its details.

    Examples
    --------
    >>> from capex.decision.appraise import appraise
    >>> from capex.study import data_folder, read_study
    >>> found = appraise(read_study(data_folder() / "studies" / "quenlow.toml"))
    >>> [each.holds for each in loan_checks(found.outcomes["staged"])]
    [True, True, True]
    """
    path, end = outcome.path, int(outcome.horizon[0])
    placements = path.study.alternatives[outcome.key].machines
    ledger = {line.key: path.ledger.line(line.key)[0] for line in path.ledger.lines}
    if "loan" not in ledger:
        return
    if any(_has_its_own_loan(path.study, placement) for placement in placements):
        reason = "an offer with a loan of its own shares these lines"
        yield skipped(outcome.key, "Loan payments", _PATH, "money", reason)
        return
    loans = [each for one in placements for each in _borrowed(path.study, one, end)]
    drawn = sum(loan.amount for loan in loans)
    allowed = max(_ROUNDING * drawn, _ROUNDING)
    paid = np.array([sum(loan.paid(month) for loan in loans) for month in range(end + 1)])
    reported = -(ledger["interest"] + ledger["principal"])[: end + 1]
    owed = sum(loan.owed(end) for loan in loans)
    for figure, one, other, worst in (
        ("Loan drawn", float(ledger["loan"].sum()), drawn, None),
        ("Loan payments up to the horizon", float(reported.sum()), float(paid.sum()),
         float(np.abs(reported - paid).max())),
        ("Owed at the horizon", float(0.0 - ledger["loan_settled"].sum()), owed, None),
    ):  # fmt: skip
        tolerance = allowed * (end + 1 if worst is not None else 1)
        yield Check(outcome.key, figure, _PATH, "money", one, other, tolerance, worst)


def _has_its_own_loan(study: Study, placement: Placement) -> bool:
    offer = None if placement.offer is None else study.offers[placement.offer]
    return offer is not None and offer.loan is not None and not placement.owned


def _borrowed(study: Study, placement: Placement, end: int) -> Iterator[_Borrowed]:
    """Yield the loan of a purchase up to the horizon; machines with an offer have none."""
    loan, month = study.money.loan, int(placement.month.si[0])
    if loan is None or placement.owned or placement.offer is not None or month > end:
        return
    price = placement.price or study.machines[placement.machine].price
    each = float(price.si[0] * study.levers.machine_price.si[0])
    amount = each * float(placement.count.si[0] * loan.share.si[0])
    rate = float(loan.annual_rate.si[0] + study.levers.loan_rate_shift.si[0]) / 12
    yield _Borrowed(month, amount, rate, int(loan.term.si[0]))
