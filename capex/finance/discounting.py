"""Discount factors and what they make of a flow: net present value, and an annuity's worth.

Every kernel works over a leading scenario axis with time on the last axis, period 0 first.
Imports numpy and `capex.finance.arrays`.
"""

from __future__ import annotations

from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from capex.errors import InputError
from capex.finance.arrays import FloatArray, parse_cash_flow, parse_finite, parse_rate

__all__ = [
    "annuity_factor",
    "discount_factors",
    "net_present_value",
    "periodic_discount_factors",
]

Convention = Literal["monthly", "year_end"]


def _factors(rate: FloatArray, exponents: FloatArray) -> FloatArray:
    # exp and log1p keep full accuracy for small rates and are faster than a power.
    return np.exp(-np.log1p(rate)[..., None] * exponents)


def discount_factors(
    discount_rate: ArrayLike, months: int, convention: Convention = "monthly"
) -> FloatArray:
    """Present worth of 1 received in month 0, 1, …, ``months``.

    Parameters
    ----------
    discount_rate : array_like, (...) [1/year]
        Effective annual rate as a fraction, above −1.
    months : int [month]
        Last month of the horizon.
    convention : {"monthly", "year_end"}
        ``monthly``: month t at ``(1 + r)^(-t/12)``. ``year_end``: every flow of a year at that
        year's end, ``(1 + r)^(-ceil(t/12))``, as the textbooks do.

    Returns
    -------
    ndarray, (..., months + 1) [-]

    Raises
    ------
    InputError
        Where a rate is not above −1, ``months`` is negative or the convention is unknown.

    Examples
    --------
    >>> discount_factors(0.10, 24)[[0, 12, 24]].round(4)
    array([1.    , 0.9091, 0.8264])
    >>> discount_factors(0.10, 24, "year_end")[[0, 1, 12, 13]].round(4)
    array([1.    , 0.9091, 0.9091, 0.8264])

    Source: openstax-finance, section 16.2, for yearly flows; months by the same formula.
    """
    rate = parse_rate("discount_rate", discount_rate)
    if months < 0:
        raise InputError("months", months, "must be 0 months or more")
    years = np.arange(months + 1) / 12.0
    if convention == "year_end":
        years = np.ceil(years)
    elif convention != "monthly":
        raise InputError("convention", convention, 'must be "monthly" or "year_end"')
    return _factors(rate, years)


def periodic_discount_factors(rate: ArrayLike, periods: int) -> FloatArray:
    """Present worth of 1 received in period 0, 1, …, ``periods``, at a rate per period.

    Parameters
    ----------
    rate : array_like, (...) [1/period]
        Fraction above −1.
    periods : int
        Last period.

    Returns
    -------
    ndarray, (..., periods + 1) [-]

    Raises
    ------
    InputError
        Where a rate is not above −1 or ``periods`` is negative.

    Examples
    --------
    >>> periodic_discount_factors([0.0, 0.25], 2)
    array([[1.  , 1.  , 1.  ],
           [1.  , 0.8 , 0.64]])

    Source: openstax-finance, section 16.2.
    """
    fraction = parse_rate("rate", rate)
    if periods < 0:
        raise InputError("periods", periods, "must be 0 periods or more")
    return _factors(fraction, np.arange(periods + 1.0))


def net_present_value(cash_flow: ArrayLike, discount_factors: ArrayLike) -> FloatArray:
    """Sum of the flows, each at its discount factor.

    Parameters
    ----------
    cash_flow : array_like, (..., T+1) [currency]
        Flows from period 0; outflows negative.
    discount_factors : array_like, (..., T+1) [-]
        From `discount_factors` (months) or `periodic_discount_factors` (textbook periods).

    Returns
    -------
    ndarray, (...) [currency]

    Raises
    ------
    InputError
        Where a value is not finite, or flows and factors differ in length.

    Examples
    --------
    >>> flows = [-16000, 2000, 4000, 5000, 5000, 5000, 5000]
    >>> float(net_present_value(flows, periodic_discount_factors(0.09, 6)).round(2))
    2835.62

    Source: openstax-finance, section 16.2.
    """
    flows = parse_cash_flow("cash_flow", cash_flow)
    factors = parse_finite("discount_factors", discount_factors)
    if factors.ndim == 0 or factors.shape[-1] != flows.shape[-1]:
        bound = f"must have the {flows.shape[-1]} periods of cash_flow on its last axis"
        raise InputError("discount_factors", factors.shape, bound)
    return np.asarray(np.einsum("...t,...t->...", flows, factors))


def annuity_factor(rate: ArrayLike, periods: ArrayLike) -> FloatArray:
    """Present worth of 1 at the end of each period; ``periods`` where the rate is 0.

    Parameters
    ----------
    rate : array_like, (...) [1/period]
        Fraction above −1.
    periods : array_like, (...) [period]
        Zero or more.

    Returns
    -------
    ndarray, (...) [-]

    Raises
    ------
    InputError
        Where a rate is not above −1.

    Examples
    --------
    >>> annuity_factor([0.0, 0.10], 5).round(4)
    array([5.    , 3.7908])

    Source: openstax-finance, section 8.1.
    """
    fraction, count = np.broadcast_arrays(
        parse_rate("rate", rate), parse_finite("periods", periods)
    )
    discounted = -np.expm1(-count * np.log1p(fraction))
    factor: FloatArray = np.divide(discounted, fraction, out=count.copy(), where=fraction != 0.0)
    return factor
