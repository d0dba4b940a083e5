"""Offers for one machine side by side: cash by month, rates, cost, and leasing against owning.

Each offer is followed by the same path as the ledger: purchase, trade-in, resale, service, and
`financing`. What is the same whatever the offer (freight, training, insurance) is left out. Tax
is the study's regime and rate, losses being absorbed by the shop's other income.

Imports numpy, `capex.study`, `capex.shopfloor.prices` and the other files of this folder.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Final

import numpy as np
import numpy.typing as npt

from capex.errors import InputError
from capex.finance.arrays import FloatArray
from capex.finance.depreciation import tax_payable
from capex.finance.discounting import net_present_value, periodic_discount_factors
from capex.finance.financing import financing, service_by_month
from capex.finance.leases import after_tax_rate, net_advantage_to_leasing
from capex.finance.lender import loan_rate
from capex.finance.loans import annual_percentage_rate
from capex.finance.project_years import at_year_ends, by_year
from capex.finance.purchases import Purchases
from capex.finance.rate_of_return import RateOfReturn
from capex.finance.rates import annual_rate
from capex.shopfloor.arrays import over_scenarios
from capex.shopfloor.prices import price_levels
from capex.study import Alternative, LoanOffer, Offer, Placement, Quantity, Study, default
from capex.study.entries import COST_RATE
from capex.study.offers import OfferKind

__all__ = ["OfferView", "SideBySide", "offers_side_by_side"]

#: Key of the purchase with debt that a lease is weighed against; no key of a study begins so.
_WITH_DEBT: Final = "_with_debt"


@dataclass(frozen=True)
class OfferView:
    """One offer followed over the months of the comparison; outflows are negative.

    Parameters
    ----------
    key, name, kind
        Of the offer.
    dated, valid_until : date
        As stated; the latter may be None.
    expired : bool
        Whether it no longer holds on the day of decision.
    cash, after_tax_cash : ndarray, shape (n, m + 1) [currency]
        All that the offer moves, resale at the end included.
    annual_percentage_rate : RateOfReturn, shape (n,) [1/year]
        Nominal, of the offer's own financing before tax; a lease's holds the resale that is given
        up and is no better known than that.
    effective_rate : RateOfReturn, shape (n,) [1/year]
        The same, compounded.
    net_present_cost : ndarray, shape (n,) [currency]
        Of `after_tax_cash` at the after-tax borrowing rate, positive: the least is the cheapest.
    net_advantage : ndarray, shape (n,) [currency], optional
        Of a lease: what it leaves over buying at the same price with a loan at the borrowing
        rate over the term of the lease.
    equity_needed : ndarray, shape (n,) [currency]
        Cash to be brought on the first day.
    """

    key: str
    name: str
    kind: OfferKind
    dated: date
    valid_until: date | None
    expired: bool
    cash: FloatArray
    after_tax_cash: FloatArray
    annual_percentage_rate: RateOfReturn
    effective_rate: RateOfReturn
    net_present_cost: FloatArray
    net_advantage: FloatArray | None
    equity_needed: FloatArray


@dataclass(frozen=True)
class SideBySide:
    """Offers for one machine over the same months.

    Parameters
    ----------
    machine : str
    months : int
        From the purchase to the day on which the machine is sold or goes back.
    borrowing_rate : ndarray, shape (n,) [1/year]
        Nominal, compounded monthly, before tax.
    views : tuple of OfferView
        In the order asked for.
    """

    machine: str
    months: int
    borrowing_rate: FloatArray
    views: tuple[OfferView, ...]


def offers_side_by_side(
    study: Study,
    keys: Sequence[str],
    *,
    borrowing_rate: npt.ArrayLike | None = None,
    months: int | None = None,
) -> SideBySide:
    """Return offers for one machine side by side.

    Parameters
    ----------
    study : Study
        With the scenarios' values in place.
    keys : sequence of str
        Of the offers; all for one machine.
    borrowing_rate : array_like, shape (n,) or scalar, optional [1/year]
        Nominal annual rate at which the shop borrows; by default that of ``money.loan``.
    months : int, optional
        Of the comparison; by default the horizon, or the shortest lease after which a machine
        goes back, if that is shorter.

    Returns
    -------
    SideBySide

    Raises
    ------
    InputError
        No offer, an unknown one, one for another machine, no borrowing rate, or months that are
        none or longer than a lease after which the machine goes back.

    Examples
    --------
    >>> from capex.study import data_folder, read_study
    >>> study = read_study(data_folder() / "studies" / "quenlow.toml")
    >>> keys = [key for key, offer in study.offers.items() if offer.machine == "mid_all_in_one"]
    >>> found = offers_side_by_side(study, keys)
    >>> [view.kind for view in found.views]
    ['cash', 'loan', 'lease']

    Source: worked-lease (leasing against owning at the after-tax borrowing rate).
    """
    machine = _machine(study, keys)
    rate = _borrowing_rate(study, borrowing_rate)
    span = _span(study, keys, months)
    horizon = study.money.horizon.replaced([span], "money.horizon")
    study = study.model_copy(update={"money": study.money.model_copy(update={"horizon": horizon})})
    rows = max(rate.si.size, *(quantity.si.size for _, quantity in study.quantities()))
    views = tuple(_view(study, key, rate, span, rows) for key in keys)
    return SideBySide(machine, span, over_scenarios(loan_rate(study, rate.si), rows), views)


def _machine(study: Study, keys: Sequence[str]) -> str:
    if not keys:
        raise InputError("keys", list(keys), "must name at least one offer")
    for key in keys:
        if key not in study.offers:
            known = ", ".join(study.offers) or "none"
            raise InputError("offer", key, f"is not one of the study; known: {known}")
    first = study.offers[keys[0]].machine
    for key in keys:
        if study.offers[key].machine != first:
            bound = f"is for {study.offers[key].machine}, and {keys[0]} is for {first}"
            raise InputError("offer", key, bound)
    return first


def _borrowing_rate(study: Study, given: npt.ArrayLike | None) -> Quantity:
    if given is not None:
        return default(0, COST_RATE).replaced(given, "borrowing_rate")
    if study.money.loan is None:
        raise InputError("borrowing_rate", None, "is missing, as the study has no money.loan")
    return study.money.loan.annual_rate


def _span(study: Study, keys: Sequence[str], months: int | None) -> int:
    leases = [study.offers[key].lease for key in keys]
    back = [
        int(lease.term.si.min())
        for lease in leases
        if lease is not None and lease.at_end == "return"
    ]
    if months is None:
        return min([int(study.money.horizon.si.min()), *back])
    if not 1 <= months <= min(back, default=months):
        bound = f"must be 1 to {min(back)}" if back else "must be 1 or more"
        raise InputError("months", months, f"{bound} months")
    return months


def _view(study: Study, key: str, rate: Quantity, months: int, rows: int) -> OfferView:
    offer = study.offers[key]
    cash, after_tax, financed = _followed(study, key, months, rows)
    tax = study.money.tax.rate.si
    each = over_scenarios(after_tax_rate(loan_rate(study, rate.si) / 12.0, tax), rows)
    factors = periodic_discount_factors(each, months)
    nominal = annual_percentage_rate(financed)
    effective = RateOfReturn(annual_rate(nominal.rate / 12.0), nominal.reason, nominal.borrowing)
    advantage = None
    if offer.lease is not None:
        _, bought, _ = _followed(*_with_debt(study, offer, rate), months, rows)
        advantage = net_advantage_to_leasing(after_tax, bought, each)
    return OfferView(
        key, offer.name, offer.kind, offer.dated, offer.valid_until,
        offer.expired_on(study.money.start), cash, after_tax, nominal, effective,
        -net_present_value(after_tax, factors), advantage, -cash[:, 0],
    )  # fmt: skip


def _with_debt(study: Study, lease: Offer, rate: Quantity) -> tuple[Study, str]:
    """Return the study with the same machine bought on a loan of its whole price, and its key."""
    assert lease.lease is not None
    loan = LoanOffer(annual_rate=rate, term=lease.lease.term)
    bought = lease.model_copy(update={"lease": None, "loan": loan})
    return study.model_copy(update={"offers": {**study.offers, _WITH_DEBT: bought}}), _WITH_DEBT


def _followed(
    study: Study, key: str, months: int, rows: int
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return cash before and after tax, and the financing in it before tax, each (n, m + 1)."""
    machine = Placement(machine=study.offers[key].machine).model_copy(update={"offer": key})
    choice = Alternative(name="Offer", machines=(machine,))
    bought, prices = Purchases(study, choice, months), price_levels(study, months)
    horizon = np.full(rows, months, dtype=np.intp)
    paid_for = financing(study, choice, bought, prices, horizon)
    zero = np.zeros((rows, months + 1))
    financed = sum(paid_for.lines.values(), zero)
    service = service_by_month(study, choice, 0, months) * prices.overheads
    service = zero + np.pad(service, ((0, 0), (1, 0)))
    cash = bought.sold + bought.salvage - bought.price - bought.sales_tax - service + financed
    income = bought.taxable_by_year(-(-months // 12), horizon) - by_year(service)
    rate = over_scenarios(study.money.tax.rate.si, rows)
    due = at_year_ends(-tax_payable(income, rate, "absorbed"), horizon, months)
    saved = paid_for.tax_lines(income, rate, "absorbed", bought, horizon)
    return cash, cash + sum(saved.values(), due), financed
