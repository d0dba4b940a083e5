"""The financing part of the ledger: loans, leases, and the tax that they move.

The investment stands in the ledger as if it were bought for cash. What is lent, leased and owed
for it stands here, so that net present value holds no interest and no rent. A machine without an
offer follows the study's one loan (`capex.study.money.Loan`); another follows its offer.

Imports numpy, `capex.study`, `capex.shopfloor` and the other files of `capex.finance`.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from capex.errors import InputError
from capex.finance.arrays import FloatArray
from capex.finance.depreciation import tax_payable
from capex.finance.lender import loan_rate
from capex.finance.loans import amortization
from capex.finance.offer_flows import Deal, OfferFlows, offer_flows
from capex.finance.project_years import at_year_ends, by_year
from capex.finance.purchases import Leased, Purchases
from capex.shopfloor.arrays import over_scenarios
from capex.shopfloor.prices import Prices
from capex.shopfloor.stations import presence
from capex.study import Alternative, Study
from capex.study.money import Losses

__all__ = ["LINES", "Financing", "financing", "service_by_month"]

IntArray = npt.NDArray[np.intp]

#: Lines of financing in the order of the ledger: name, and whether tax takes it as it stands.
LINES: Final[Mapping[str, tuple[str, bool]]] = {
    "loan": ("Loan drawn", False),
    "loan_fee": ("Loan fee", True),
    "interest": ("Interest", True),
    "principal": ("Repayment", False),
    "loan_settled": ("Rest of the loan when it ends early", False),
    "lease": ("Price paid by the lessor", False),
    "lease_fee": ("Fee of the lease", True),
    "rent": ("Rent of leased machines", True),
    "rent_settled": ("Rest of the rent when the machine goes", True),
    "lease_deposit": ("Deposit of the lease, and back", False),
    "lease_option": ("Purchase at the end of the lease", False),
    "lease_service": ("Service that the rent covers", True),
    "lease_returned": ("Value of machines given back", False),
    "interest_tax": ("Tax saved by interest", False),
    "lease_tax": ("Tax saved by leasing", False),
}
#: What tax deducts of a loan, and of a lease.
_OF_LOANS: Final = ("interest", "loan_fee")
_OF_LEASES: Final = ("lease_fee", "rent", "rent_settled", "lease_service")


@dataclass(frozen=True)
class Financing:
    """Lines of financing before tax, and what tax sees of leased machines.

    Parameters
    ----------
    lines : dict of str to ndarray, shape (n, m + 1)
        Keys of `LINES`; only those that are needed [currency].
    leased : dict of int to Leased
        By placement.
    """

    lines: dict[str, FloatArray]
    leased: dict[int, Leased]

    def tax_lines(
        self, income: FloatArray, rate: FloatArray, losses: Losses, bought: Purchases,
        horizon: IntArray,
    ) -> dict[str, FloatArray]:  # fmt: skip
        """Return the tax that loans and leases save, month by month, shape (n, m + 1).

        Parameters
        ----------
        income : ndarray, shape (n, years) [currency]
            Taxable income of the investment.
        rate : ndarray, shape (n,)
            Of tax.
        losses : {"carried_forward", "absorbed"}
        bought : Purchases
        horizon : ndarray of int, shape (n,)
        """
        months, years = bought.months, income.shape[1]
        started = 12 * np.arange(years) < horizon[:, None]
        found: dict[str, FloatArray] = {}
        before = tax_payable(income, rate, losses)
        if "interest" in self.lines:
            income = income + self._yearly(_OF_LOANS) * started
            after = tax_payable(income, rate, losses)
            found["interest_tax"] = at_year_ends(before - after, horizon, months)
            before = after
        if self.leased or "lease_service" in self.lines:
            change = self._yearly(_OF_LEASES)
            if self.leased:
                change = change + bought.taxable_by_year(years, horizon, self.leased)
                change = change - bought.taxable_by_year(years, horizon)
            after = tax_payable(income + change * started, rate, losses)
            found["lease_tax"] = at_year_ends(before - after, horizon, months)
        return found

    def _yearly(self, keys: tuple[str, ...]) -> FloatArray:
        """Return what tax takes of some lines by project year; deductions are negative."""
        flows = [self.lines[key] for key in keys if key in self.lines]
        return by_year(np.sum(flows, axis=0)) if flows else np.zeros(1)


def service_by_month(study: Study, alternative: Alternative, place: int, months: int) -> FloatArray:
    """Return the service of a placement at today's prices, positive, shape (n, m) [currency]."""
    placement = alternative.machines[place]
    here = presence(placement, months) * placement.count.si[:, None]
    return here * (study.machines[placement.machine].service.si / 12.0)[:, None]


def financing(
    study: Study, alternative: Alternative, bought: Purchases, prices: Prices, horizon: IntArray
) -> Financing:
    """Return how the machines of an alternative are paid for.

    Parameters
    ----------
    study, alternative
        The shop and the choice.
    bought : Purchases
    prices : Prices
        Price levels by month, of the service that a rent covers.
    horizon : ndarray of int, shape (n,)
        Last month of each scenario.

    Returns
    -------
    Financing

    Raises
    ------
    InputError
        A lease that takes a machine back while the shop still counts on it, or as `offer_flows`.
    """
    lines: dict[str, FloatArray] = {}
    leased: dict[int, Leased] = {}
    if study.money.loan is not None and bought.any_bought:
        lines.update(_plain_loan(study, bought, horizon))
    for place in _offered(alternative):
        month, flows = _offer(study, alternative, bought, place, horizon)
        for key, flow in flows.lines.items():
            _add(lines, key, _from_month(flow, month))
        if flows.service_until is not None:
            cost = service_by_month(study, alternative, place, bought.months) * prices.overheads
            until = (month + flows.service_until)[:, None]
            covered = cost * (np.arange(1, bought.months + 1) <= until)
            _add(lines, "lease_service", np.pad(covered, ((0, 0), (1, 0))))
        if flows.bought_for is not None and flows.bought_in is not None:
            returned = "lease_option" not in flows.lines
            # One row stands for all where no scenario moves a purchase.
            paid, when = flows.bought_for[: bought.rows], (month + flows.bought_in)[: bought.rows]
            leased[place] = Leased(paid, when, returned)
            if returned:
                _add(lines, "lease_returned", -bought.disposal(place))
    return Financing({key: lines[key] for key in LINES if key in lines}, leased)


def _offered(alternative: Alternative) -> Iterator[int]:
    for place, placement in enumerate(alternative.machines):
        if placement.offer is not None and not placement.owned:
            yield place


def _add(lines: dict[str, FloatArray], key: str, flow: FloatArray) -> None:
    lines[key] = lines[key] + flow if key in lines else flow


def _from_month(flow: FloatArray, month: IntArray) -> FloatArray:
    """Return flows counted from a month of their own as flows from month 0, (n, m + 1)."""
    if not month.any():
        return flow
    since = np.arange(flow.shape[1]) - month[:, None]
    return np.where(since >= 0, np.take_along_axis(flow, np.maximum(since, 0), axis=1), 0.0)


def _offer(
    study: Study, alternative: Alternative, bought: Purchases, place: int, horizon: IntArray
) -> tuple[IntArray, OfferFlows]:
    """Return the month of purchase, (n,), and what its offer asks for from then on."""
    placement, rows = alternative.machines[place], len(horizon)
    key = placement.offer or ""
    month = over_scenarios(placement.month.si.astype(np.intp), rows)
    held = over_scenarios(bought.held_until(place), rows) - month
    there = month <= horizon
    lease = study.offers[key].lease
    if lease is not None and lease.at_end == "return":
        short = there & (lease.term.si < held)
        if short.any():
            path, needed = f"offers.{key}.lease.term", int(held[short].max())
            bound = f"must be at least {needed} months, as long as the shop counts on the machine"
            raise InputError(path, int(np.broadcast_to(lease.term.si, rows)[short][0]), bound)
    count = over_scenarios(placement.count.si, rows) * there
    price = over_scenarios(bought.unit_price(place), rows)
    deal = Deal(price, count, np.maximum(held, 0), bought.months)
    return np.minimum(month, bought.months), offer_flows(study, key, deal)


def _plain_loan(study: Study, bought: Purchases, horizon: IntArray) -> dict[str, FloatArray]:
    """Return the lines of the study's one loan, each (n, m + 1).

    Each purchase draws its own loan on its day; what is owed at the horizon is repaid then.
    """
    loan = study.money.loan
    assert loan is not None
    rows, months = len(horizon), bought.months
    drawn, interest, principal, settled = (np.zeros((rows, months + 1)) for _ in range(4))
    for month, amount in bought.drawings(loan.share.si):
        part = amortization(
            over_scenarios(amount, rows),
            over_scenarios(loan_rate(study, loan.annual_rate.si), rows),
            over_scenarios(loan.term.si, rows),
            months,
        )
        span = months + 1 - month
        drawn[:, month] += amount
        interest[:, month:] += part.interest[:, :span]
        principal[:, month:] += part.principal[:, :span]
        left = np.maximum(horizon - month, 0)
        every = np.arange(rows)
        owed = np.where(horizon >= month, part.balance[every, left], 0.0)
        settled[every, horizon] += owed
    within = np.arange(months + 1) <= horizon[:, None]
    return {
        "loan": drawn,
        "loan_fee": -(drawn * loan.fee.si[:, None]),
        "interest": -(interest * within),
        "principal": -(principal * within),
        "loan_settled": -settled,
    }
