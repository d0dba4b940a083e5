"""Leases: rents by period, an instalment purchase as a loan, and whether leasing beats owning.

A lease that ends in ownership is a purchase by instalments: what it costs beside the price is
interest. Any other lease is weighed against owning at the after-tax borrowing rate, as its rents
displace debt. Periods may be months or years, period 0 first.

Imports numpy and the arrays, discounting and loans files of this folder.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from capex.errors import InputError
from capex.finance.arrays import FloatArray, parse_cash_flow, parse_finite, parse_rate
from capex.finance.discounting import net_present_value, periodic_discount_factors
from capex.finance.loans import Amortization, amortization, annual_percentage_rate

__all__ = [
    "after_tax_cash_flow",
    "after_tax_rate",
    "instalments",
    "lease_rents",
    "net_advantage_to_leasing",
]


def lease_rents(
    rent: ArrayLike, term: ArrayLike, periods: int, in_advance: ArrayLike = 0
) -> FloatArray:
    """Rents of a lease by period, positive.

    Parameters
    ----------
    rent : array_like, (...) [currency/period]
    term : array_like, (...) [period]
        Number of rentals, whole.
    periods : int
        Last period of the result.
    in_advance : array_like, (...)
        How many rentals are paid in period 0; the others follow at the end of each period.

    Returns
    -------
    ndarray, (..., periods + 1) [currency]

    Raises
    ------
    InputError
        Where a value is not finite, or more rentals are paid in advance than there are.

    Examples
    --------
    >>> lease_rents(100, 4, 4)
    array([  0., 100., 100., 100., 100.])
    >>> lease_rents(100, 4, 4, in_advance=2)
    array([200., 100., 100.,   0.,   0.])

    Source: derivable.
    """
    each, count, first = np.broadcast_arrays(
        parse_finite("rent", rent),
        parse_finite("term", term),
        parse_finite("in_advance", in_advance),
    )
    if np.any(first < 0.0) or np.any(first > count):
        raise InputError("in_advance", in_advance, "must be 0 or more and at most the term")
    period = np.arange(periods + 1)
    due = ((period >= 1) & (period <= (count - first)[..., None])).astype(np.float64)
    due[..., 0] = first
    return np.asarray(due * each[..., None])


def instalments(
    price: ArrayLike, rent: ArrayLike, term: ArrayLike, months: int, in_advance: ArrayLike = 0
) -> Amortization:
    """Split a lease that ends in ownership into interest and repayment, as the loan that it is.

    The price is lent; rentals in advance repay it at once, the others at the one rate at which
    they are worth the rest.

    Parameters
    ----------
    price : array_like, (...) [currency]
        For cash.
    rent : array_like, (...) [currency/month]
    term : array_like, (...) [month]
        Number of rentals, whole.
    months : int [month]
        Horizon of the table.
    in_advance : array_like, (...)
        How many rentals are paid in month 0.

    Returns
    -------
    Amortization
        Arrays of shape (..., months + 1).

    Raises
    ------
    InputError
        Where rentals in advance are the price already, or no rental is left after them.

    Examples
    --------
    >>> bought = instalments(1000, 100, 11, months=11, in_advance=1)
    >>> float(bought.principal.sum().round(6)), float(bought.interest.sum().round(6))
    (1000.0, 100.0)

    Source: irs-conditional-sale (payments that bring title are no rent); the split is derivable.
    """
    cost, each, count, first = np.broadcast_arrays(
        parse_finite("price", price), parse_finite("rent", rent), parse_finite("term", term),
        parse_finite("in_advance", in_advance),
    )  # fmt: skip
    lent = cost - each * first
    if np.any(lent <= 0.0) or np.any(first >= count) or np.any(each <= 0.0):
        bound = "must leave a part of the price, and a rental above 0, to be paid later"
        raise InputError("in_advance", in_advance, bound)
    flow = -lease_rents(each, count - first, int((count - first).max()))
    flow[..., 0] = lent
    table = amortization(lent, annual_percentage_rate(flow).rate, count - first, months)
    principal = table.principal.copy()
    principal[..., 0] = each * first
    return Amortization(cost, table.interest, principal, table.balance, table.fee)


def after_tax_rate(rate: ArrayLike, tax_rate: ArrayLike) -> FloatArray:
    """Rate that borrowing costs once interest has saved its tax: ``rate·(1 − tax_rate)``.

    Parameters
    ----------
    rate : array_like, (...) [1/period]
    tax_rate : array_like, (...)
        Fractions, broadcast together.

    Returns
    -------
    ndarray, (...) [1/period]

    Raises
    ------
    InputError
        Where a value is not finite or a tax rate is outside 0 to 1.

    Examples
    --------
    >>> float(after_tax_rate(0.10, 0.4).round(6))
    0.06

    Source: worked-lease.
    """
    tax = parse_finite("tax_rate", tax_rate)
    if np.any(tax < 0.0) or np.any(tax > 1.0):
        raise InputError("tax_rate", tax_rate, "must be 0 to 1 (a fraction: 0.25 for 25 %)")
    return np.asarray(parse_rate("rate", rate) * (1.0 - tax))


def after_tax_cash_flow(
    cash_flow: ArrayLike, deductions: ArrayLike, tax_rate: ArrayLike
) -> FloatArray:
    """Flows with the tax that deductions save, in the same period.

    Parameters
    ----------
    cash_flow : array_like, (..., T+1) [currency]
        Outflows negative.
    deductions : array_like, (..., T+1) [currency]
        What tax deducts, positive; what it adds, negative.
    tax_rate : array_like, (...)
        Fraction.

    Returns
    -------
    ndarray, (..., T+1) [currency]

    Raises
    ------
    InputError
        Where a value is not finite or a tax rate is outside 0 to 1.

    Examples
    --------
    >>> after_tax_cash_flow([-100, 0], [0, 100], 0.25)
    array([-100.,   25.])

    Source: derivable.
    """
    flows = parse_cash_flow("cash_flow", cash_flow)
    kept = after_tax_rate(1.0, tax_rate)
    return np.asarray(flows + (1.0 - kept)[..., None] * parse_finite("deductions", deductions))


def net_advantage_to_leasing(
    lease_cash_flow: ArrayLike, ownership_cash_flow: ArrayLike, rate: ArrayLike
) -> FloatArray:
    """Return what leasing leaves over owning, after tax, at the after-tax borrowing rate.

    Borrowing at that rate changes nothing, so owning may be for cash or with debt.

    Parameters
    ----------
    lease_cash_flow, ownership_cash_flow : array_like, (..., T+1) [currency]
        All cash after tax that differs between the two; outflows negative.
    rate : array_like, (...) [1/period]
        After-tax borrowing rate per period of the flows.

    Returns
    -------
    ndarray, (...) [currency]
        Above 0 where the lease is the cheaper.

    Raises
    ------
    InputError
        Where a flow is not finite, flows differ in length, or a rate is not above −1.

    Examples
    --------
    >>> float(net_advantage_to_leasing([-60, -60], [-120, 0], 0.0))
    0.0

    Source: worked-lease.
    """
    lease = parse_cash_flow("lease_cash_flow", lease_cash_flow)
    own = parse_cash_flow("ownership_cash_flow", ownership_cash_flow)
    if lease.shape[-1] != own.shape[-1]:
        bound = f"must have the {lease.shape[-1]} periods of lease_cash_flow on its last axis"
        raise InputError("ownership_cash_flow", own.shape, bound)
    return net_present_value(lease - own, periodic_discount_factors(rate, lease.shape[-1] - 1))
