"""The lender's view of an alternative: cover by month and year, loan to value, least cash.

Read off the ledger by line; nothing of it enters the investment's net present value. Ratios come
with a reason: a period without debt service has none. Imports numpy, `capex.study`, and
`coverage`, `depreciation`, `ledger`, `project_years` and `purchases` of this folder.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property
from typing import Final

import numpy as np
import numpy.typing as npt

from capex.errors import InputError
from capex.finance.arrays import FloatArray
from capex.finance.coverage import (
    USUAL_COVER,
    CoverDefinition,
    LowestRatio,
    Ratio,
    RatioReason,
    cover_ratio,
    extreme,
    quotient,
)
from capex.finance.depreciation import tax_payable
from capex.finance.ledger import Ledger
from capex.finance.project_years import by_year
from capex.finance.purchases import Purchases, resale_value
from capex.shopfloor.arrays import over_scenarios
from capex.study import Alternative, Machine, Study
from capex.study.alternatives import Placement

__all__ = ["LenderView", "loan_rate", "machine_values"]

IntArray = npt.NDArray[np.intp]

#: Financing lines that are no debt service: money drawn, fees, what is settled at an early end,
#: and all of a lease but its rents.
_NO_SERVICE: Final = (
    "loan", "loan_fee", "loan_settled", "owner_draws", "lease", "lease_fee", "rent_settled",
    "lease_deposit", "lease_option", "lease_returned", "lease_service",
)  # fmt: skip
_BALANCE: Final = ("loan", "principal", "loan_settled")  # what they add up to is owed
_TAX_SAVED: Final = "_tax"  # ending of the financing lines that are tax
_ROUNDING: Final = 1e-9  # share of the most ever owed below which a balance is rounding


@dataclass(frozen=True)
class LenderView:
    """What a lender reads of one alternative, each part worked out when it is asked for.

    Parameters
    ----------
    study, alternative
        The shop, with the scenarios' values in place, and the choice.
    ledger : Ledger
        Of the alternative under these scenarios.
    month_end_cash : ndarray, shape (n, m + 1) [currency]
        Money in the bank.
    definition : CoverDefinition
        What cover counts as cash.

    Source: farmdoc-repayment.
    """

    study: Study
    alternative: Alternative
    ledger: Ledger
    month_end_cash: FloatArray
    definition: CoverDefinition = USUAL_COVER

    @property
    def horizon(self) -> IntArray:
        """Last month, shape (n,)."""
        return self.ledger.horizon

    def _financing(self, counts: Callable[[str], bool]) -> FloatArray:
        """Return the sum of the financing lines whose key counts, shape (n, m + 1)."""
        total = np.zeros_like(self.month_end_cash)
        for place, line in enumerate(self.ledger.lines):
            if line.group == "financing" and counts(line.key):
                total += self.ledger.table[:, place]
        return total

    @cached_property
    def cash_available(self) -> FloatArray:
        """Cash for debt service by month, shape (n, m + 1); see `CoverDefinition.words`."""
        # the rent pays for the service that a lease covers
        cash = self.ledger.operating_cash_flow + self._financing("lease_service".__eq__)
        if self.definition.after_tax:
            cash += _spread(self._tax, self.horizon)
        if self.definition.after_draws:
            cash += self._financing("owner_draws".__eq__)
        return cash

    @cached_property
    def _tax(self) -> FloatArray:
        """Tax that is paid, less what interest and leasing save of it, shape (n, m + 1)."""
        return self.ledger.group("tax") + self._financing(lambda key: key.endswith(_TAX_SAVED))

    @cached_property
    def debt_service(self) -> FloatArray:
        """Debt service due by month, shape (n, m + 1); see `CoverDefinition.words`."""
        service = -self._financing(
            lambda key: not key.endswith(_TAX_SAVED) and key not in _NO_SERVICE
        )
        service[service <= _ROUNDING * service.max(axis=1, keepdims=True)] = 0.0
        return service

    @cached_property
    def owed(self) -> FloatArray:
        """Owed on loans at each month's end, shape (n, m + 1)."""
        moved = self._financing(_BALANCE.__contains__)
        owed = moved.cumsum(axis=1)
        owed[np.abs(owed) <= _ROUNDING * np.abs(moved).max(axis=1, keepdims=True)] = 0.0
        return owed

    @cached_property
    def machines(self) -> FloatArray:
        """What the bought machines would fetch at each month's end, shape (n, m + 1)."""
        rows, ends = self.month_end_cash.shape
        return over_scenarios(machine_values(self.study, self.alternative, ends - 1), rows)

    @cached_property
    def tax_moved(self) -> FloatArray:
        """What machines take off the tax of each project year, shape (n, years).

        Write-offs of machines, training and machines sold; negative where they add to tax: no
        lender counts on that again. Nothing where cover is before tax.
        """
        ledger, rule = self.ledger, self.study.money.tax
        taxed = np.zeros_like(self.month_end_cash)
        for place, line in enumerate(ledger.lines):
            if line.taxed:
                taxed += ledger.table[:, place]
        income = by_year(taxed)
        if not self.definition.after_tax:
            return np.zeros_like(income)
        income = income * (12 * np.arange(income.shape[1]) < self.horizon[:, None])
        due = tax_payable(income, over_scenarios(rule.rate.si, len(income)), rule.losses)
        return due + by_year(self._tax)

    @cached_property
    def by_month(self) -> Ratio:
        """Cover in months 0 … m, shape (n, m + 1)."""
        return cover_ratio(self.cash_available, self.debt_service)

    @cached_property
    def cash_by_year(self) -> FloatArray:
        """Cash available in each project year, shape (n, years); month 0 is of the first."""
        return by_year(self.cash_available)

    @cached_property
    def debt_service_by_year(self) -> FloatArray:
        """Debt service due in each project year, shape (n, years); month 0 is of the first."""
        return by_year(self.debt_service)

    @cached_property
    def by_year(self) -> Ratio:
        """Cover in each project year, shape (n, years)."""
        return cover_ratio(self.cash_by_year, self.debt_service_by_year)

    @cached_property
    def lowest_month(self) -> LowestRatio:
        """The month with the least cover."""
        return extreme(self.by_month, 0, highest=False)

    @cached_property
    def lowest_year(self) -> LowestRatio:
        """The project year, from 1, with the least cover: what a lender's minimum is held to."""
        return extreme(self.by_year, 1, highest=False)

    @cached_property
    def recurring_by_year(self) -> Ratio:
        """Cover in each project year as if machines moved none of its tax, shape (n, years)."""
        return cover_ratio(self.cash_by_year - self.tax_moved, self.debt_service_by_year)

    @cached_property
    def lowest_recurring_year(self) -> LowestRatio:
        """The project year, from 1, in which that is least."""
        return extreme(self.recurring_by_year, 1, highest=False)

    @cached_property
    def loan_to_value(self) -> Ratio:
        """Owed over what the machines would fetch, shape (n, m + 1); 0 once all is repaid."""
        found = quotient(self.owed, self.machines, RatioReason.NO_MACHINE)
        clear = self.owed == 0.0
        borrowed = ~clear.all(axis=1, keepdims=True)
        reason = np.where(clear, int(RatioReason.FOUND), found.reason)
        ratio = np.where(clear, 0.0, found.ratio)
        return Ratio(
            np.where(borrowed, ratio, np.nan), np.where(borrowed, reason, int(RatioReason.NO_LOAN))
        )

    @cached_property
    def highest_loan_to_value(self) -> LowestRatio:
        """The month with the highest loan to value; no machine for a debt is higher than all."""
        each = self.loan_to_value
        bare = each.reason == RatioReason.NO_MACHINE
        found = extreme(each, 0, highest=True)
        any_bare = bare.any(axis=1)
        return LowestRatio(
            np.where(any_bare, np.nan, found.ratio),
            np.where(any_bare, bare.argmax(axis=1), found.when),
            np.where(any_bare, int(RatioReason.NO_MACHINE), found.reason),
        )

    @cached_property
    def lowest_cash_month(self) -> IntArray:
        """Month at whose end there is least money in the bank, shape (n,)."""
        within = np.arange(self.month_end_cash.shape[1]) <= self.horizon[:, None]
        return np.asarray(np.where(within, self.month_end_cash, np.inf).argmin(axis=1))

    @property
    def lowest_cash(self) -> FloatArray:
        """Least money in the bank at a month's end, shape (n,) [currency]."""
        return self.month_end_cash[np.arange(len(self.horizon)), self.lowest_cash_month]


def loan_rate(study: Study, annual_rate: FloatArray) -> FloatArray:
    """Return the annual rate of what is borrowed, shape (n,): as quoted and the lever's points.

    Parameters
    ----------
    study : Study
    annual_rate : ndarray, shape (n,)
        As quoted, a fraction.

    Raises
    ------
    InputError
        Together they are below 0.
    """
    shift = study.levers.loan_rate_shift.si
    rate = np.asarray(annual_rate + shift)
    if bool((rate < 0.0).any()):
        bound = "together with a loan's own annual rate must be at least 0 %"
        raise InputError("levers.loan_rate_shift", float(shift.min()), bound)
    return rate


def machine_values(study: Study, alternative: Alternative, months: int) -> FloatArray:
    """Return what the bought machines that are there would fetch, shape (n, m + 1) [currency].

    Price × resale curve at their age at the end of each month. Owned machines are left out, as
    their age is not known, and leased ones while they are the lessor's.

    Parameters
    ----------
    study, alternative
        The shop and the choice.
    months : int
        Months 0 … m.
    """
    bought = Purchases(study, alternative, months)
    month = np.arange(months + 1)
    total = np.zeros((bought.rows, months + 1))
    for place, placement in enumerate(alternative.machines):
        if placement.owned:
            continue
        age = month - placement.month.si[:, None].astype(np.intp)
        there = age >= _owned_after(study, placement)[:, None]
        if placement.sold_in_month is not None:
            there = there & (month < placement.sold_in_month.si[:, None])
        share = _resale_by_age(study.machines[placement.machine], months)
        rows = max(len(share), len(age))
        share, age = over_scenarios(share, rows), over_scenarios(age, rows)
        left = np.take_along_axis(share, np.maximum(age, 0), axis=1)
        price = bought.unit_price(place) * placement.count.si
        total += left * there * price[:, None]
    return total


def _owned_after(study: Study, placement: Placement) -> FloatArray:
    """Return months after its purchase from which a machine is the shop's own, shape (n,)."""
    lease = study.offers[placement.offer].lease if placement.offer is not None else None
    if lease is None or lease.at_end == "ownership":  # a lease that ends so is a loan
        return np.zeros(1)
    return lease.term.si if lease.at_end == "purchase" else np.full(1, np.inf)


def _resale_by_age(machine: Machine, months: int) -> FloatArray:
    """Return the resale curve at 0 … m months of age, shape (n, m + 1)."""
    ages = np.arange(months + 1.0)
    if all(share.si.size == 1 for share in machine.resale_by_year):
        return resale_value(machine, ages)[None, :]
    return np.stack([resale_value(machine, age) for age in ages], axis=1)


def _spread(tax: FloatArray, horizon: IntArray) -> FloatArray:
    """Return each year's tax in equal parts over its months, shape (n, m + 1)."""
    each = by_year(tax)
    month = np.arange(1, tax.shape[1])
    year = (month - 1) // 12
    length = np.clip(horizon[:, None] - 12 * np.arange(each.shape[1]), 1, 12)
    spread = np.zeros_like(tax)
    spread[:, 1:] = (each / length)[:, year] * (month <= horizon[:, None])
    return spread
