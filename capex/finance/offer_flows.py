"""What one offer asks for, month by month from the day its machines are bought.

A loan, or a lease that ends in ownership, is money lent: interest and repayment. Any other lease
is the lessor's machine: the price is paid for the shop, which pays rent. Signs are the shop's:
money in is positive.

Imports numpy, `capex.study` and `arrays`, `leases`, `lender` and `loans` of this folder.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from capex.errors import InputError
from capex.finance.arrays import FloatArray
from capex.finance.leases import instalments, lease_rents
from capex.finance.lender import loan_rate
from capex.finance.loans import Amortization, amortization, flat_rate_apr
from capex.shopfloor.arrays import over_scenarios
from capex.study import LeaseOffer, LoanOffer, Quantity, Study

__all__ = ["Deal", "OfferFlows", "offer_flows"]

IntArray = npt.NDArray[np.intp]


@dataclass(frozen=True)
class Deal:
    """The purchase that an offer is for.

    Parameters
    ----------
    price : ndarray, shape (n,)
        Of one machine, the lever on machine prices in it [currency].
    count : ndarray, shape (n,)
        Machines; 0 where they are not bought.
    held : ndarray of int, shape (n,)
        Months from the purchase to the sale or the horizon, when what is left falls due.
    months : int
        Last month of the flows.
    """

    price: FloatArray
    count: FloatArray
    held: IntArray
    months: int


@dataclass(frozen=True)
class OfferFlows:
    """Flows of an offer by ledger line, month 0 being the day of purchase.

    Parameters
    ----------
    lines : dict of str to ndarray, shape (n, m + 1)
        Keys as in `capex.finance.financing.LINES` [currency].
    service_until : ndarray of int, shape (n,), optional
        Last month in which the rent covers service; None where it does not.
    bought_for, bought_in : ndarray, shape (n,), optional
        What a leased machine is bought for at the end, and in which month; None where tax sees
        the shop as its owner.
    """

    lines: dict[str, FloatArray]
    service_until: IntArray | None = None
    bought_for: FloatArray | None = None
    bought_in: IntArray | None = None


def offer_flows(study: Study, key: str, deal: Deal) -> OfferFlows:
    """Return what an offer asks for.

    The lever on machine prices moves all amounts of an offer alike. Sales tax is lent by nobody:
    it is paid with the price, or with the rents and the purchase at the end of a lease. What is
    owed when the machine is sold, or at the horizon, is paid then: the balance of a loan, all
    rents still to come of a lease.

    Parameters
    ----------
    study : Study
        With the scenarios' values in place.
    key : str
        Of the offer.
    deal : Deal

    Returns
    -------
    OfferFlows

    Raises
    ------
    InputError
        Equity above the price, a balloon above the loan, or rentals in advance that are the price
        already.
    """
    offer = study.offers[key]
    path = f"offers.{key}"
    if offer.loan is not None:
        return OfferFlows(_loan(study, f"{path}.loan", offer.loan, deal))
    if offer.lease is None:
        return OfferFlows({})
    if offer.lease.at_end == "ownership":
        return _instalment_purchase(study, f"{path}.lease", offer.lease, deal)
    return _lease(study, offer.lease, deal)


def _amount(study: Study, quantity: Quantity | None) -> FloatArray:
    """Return an amount of one machine under the lever on machine prices, (n,); 0 without one."""
    scale = study.levers.machine_price.si
    return np.zeros(1) if quantity is None else quantity.si * scale


def _share(quantity: Quantity | None, of: FloatArray) -> FloatArray:
    return np.zeros(1) if quantity is None else quantity.si * of


def _refuse(path: str, broken: npt.NDArray[np.bool_], value: FloatArray, bound: str) -> None:
    if broken.any():
        shown = np.broadcast_to(value, broken.shape)[broken][0]
        raise InputError(path, round(float(shown), 2), bound)


def _loan(study: Study, path: str, loan: LoanOffer, deal: Deal) -> dict[str, FloatArray]:
    equity = _amount(study, loan.equity) + _share(loan.equity_share, deal.price)
    _refuse(f"{path}.equity", equity > deal.price, equity, "must be at most the price")
    lent = deal.price - equity
    balloon = _amount(study, loan.balloon)
    _refuse(f"{path}.balloon", balloon > lent, balloon, "must be at most what is borrowed")
    fee = _amount(study, loan.fee) + _share(loan.fee_share, lent)
    table = amortization(
        lent, loan_rate(study, _quoted_rate(loan)), loan.term.si, deal.months, loan.timing,
        balloon=balloon, interest_only=loan.interest_only_months.si, fee=fee,
    )  # fmt: skip
    return _repaid(table, deal)


def _quoted_rate(loan: LoanOffer) -> FloatArray:
    """Return the annual rate of a loan, of a flat one the rate behind it, (n,)."""
    if loan.flat_rate is not None:
        return flat_rate_apr(loan.flat_rate.si, loan.term.si, loan.timing)
    assert loan.annual_rate is not None  # a study has exactly one of the two
    return loan.annual_rate.si


def _repaid(table: Amortization, deal: Deal) -> dict[str, FloatArray]:
    """Return the lines of money lent on each machine, repaid in full when the machine goes."""
    rows = len(deal.held)
    month = np.arange(deal.months + 1)
    due = (month <= deal.held[:, None]) * deal.count[:, None]
    first, last = (month == 0) * deal.count[:, None], month == deal.held[:, None]
    return {
        "loan": over_scenarios(table.amount, rows)[:, None] * first,
        "loan_fee": -over_scenarios(table.fee, rows)[:, None] * first,
        "interest": -over_scenarios(table.interest, rows) * due,
        "principal": -over_scenarios(table.principal, rows) * due,
        "loan_settled": -over_scenarios(table.balance, rows) * last * deal.count[:, None],
    }


def _rent(study: Study, lease: LeaseOffer, deal: Deal) -> FloatArray:
    return _amount(study, lease.rent) + _share(lease.rate_factor, deal.price)


def _ending(lease: LeaseOffer, deal: Deal) -> IntArray:
    """Return the month in which the lease ends, or the machine goes before, (n,)."""
    return np.minimum(lease.term.si.astype(np.intp), deal.held)


def _deposit(study: Study, lease: LeaseOffer, deal: Deal) -> FloatArray:
    paid = _amount(study, lease.deposit) * deal.count
    month = np.arange(deal.months + 1)
    back = (month == _ending(lease, deal)[:, None]).astype(np.float64)
    return np.asarray((back - (month == 0)) * paid[:, None])


def _fee(study: Study, lease: LeaseOffer, deal: Deal) -> FloatArray:
    each = _amount(study, lease.fee) + _share(lease.fee_share, deal.price)
    return np.asarray((np.arange(deal.months + 1) == 0) * (-each * deal.count)[:, None])


def _service_until(lease: LeaseOffer, deal: Deal) -> IntArray | None:
    return _ending(lease, deal) if lease.maintenance_included else None


def _instalment_purchase(study: Study, path: str, lease: LeaseOffer, deal: Deal) -> OfferFlows:
    rent, first = _rent(study, lease, deal), lease.rentals_in_advance.si
    lent = deal.price - rent * first
    bound = "rentals in advance must be fewer than all, and come to less than the price"
    broken = (lent <= 0.0) | (first >= lease.term.si) | (rent <= 0.0)
    _refuse(f"{path}.rentals_in_advance", broken, first, bound)
    table = instalments(deal.price, rent, lease.term.si, deal.months, first)
    lines = _repaid(table, deal)
    lines["loan_fee"] = _fee(study, lease, deal)
    lines["lease_deposit"] = _deposit(study, lease, deal)
    return OfferFlows(lines, _service_until(lease, deal))


def _lease(study: Study, lease: LeaseOffer, deal: Deal) -> OfferFlows:
    gross = 1.0 + study.money.tax.on_purchases.si  # rents bear the tax in place of the price
    rent, term, rows = _rent(study, lease, deal) * gross, lease.term.si, len(deal.held)
    month = np.arange(deal.months + 1)
    rents = lease_rents(rent, term, deal.months, lease.rentals_in_advance.si)
    paid = over_scenarios(rents, rows) * (month <= deal.held[:, None])
    left = np.maximum(rent * term - paid.sum(axis=1), 0.0)
    left[np.abs(left) <= 1e-9 * np.abs(rent * term)] = 0.0
    ending, last = _ending(lease, deal), month == deal.held[:, None]
    option = np.broadcast_to(_amount(study, lease.residual) * gross, (rows,)) * deal.count
    lines = {
        "lease": (month == 0) * (deal.price * gross * deal.count)[:, None],
        "lease_fee": _fee(study, lease, deal),
        "rent": -paid * deal.count[:, None],
        "rent_settled": -(left * deal.count)[:, None] * last,
        "lease_deposit": _deposit(study, lease, deal),
    }
    if lease.at_end == "purchase":
        lines["lease_option"] = -option[:, None] * (month == ending[:, None])
    return OfferFlows(lines, _service_until(lease, deal), option, ending)
