"""One rate said in another way: monthly and annual, nominal and real, quoted and effective.

Rates are fractions above −1. Imports numpy and `capex.finance.arrays`.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from capex.errors import InputError
from capex.finance.arrays import FloatArray, parse_finite, parse_positive, parse_rate

__all__ = ["annual_rate", "effective_annual_rate", "monthly_rate", "nominal_rate", "real_rate"]


def annual_rate(monthly_rate: ArrayLike) -> FloatArray:
    """Effective annual rate of a monthly one; NaN (no rate) stays NaN.

    Parameters
    ----------
    monthly_rate : array_like, (...) [1/month]
        Fraction.

    Returns
    -------
    ndarray, (...) [1/year]
        Fraction.

    Raises
    ------
    InputError
        Where a rate is infinite or below −1.

    Examples
    --------
    >>> float(annual_rate(0.015).round(5))
    0.19562

    Source: openstax-finance, section 8.4.
    """
    return np.asarray(np.expm1(_log_growth("monthly_rate", monthly_rate) * 12.0))


def monthly_rate(annual_rate: ArrayLike) -> FloatArray:
    """Monthly rate that compounds to an effective annual one; NaN (no rate) stays NaN.

    Parameters
    ----------
    annual_rate : array_like, (...) [1/year]
        Effective, as a fraction.

    Returns
    -------
    ndarray, (...) [1/month]
        Fraction.

    Raises
    ------
    InputError
        Where a rate is infinite or below −1.

    Examples
    --------
    >>> float(monthly_rate(0.12).round(6))
    0.009489

    Source: openstax-finance, section 8.4, solved for the monthly rate.
    """
    return np.asarray(np.expm1(_log_growth("annual_rate", annual_rate) / 12.0))


def _log_growth(field: str, rate: ArrayLike) -> FloatArray:
    fraction = np.asarray(rate, dtype=np.float64)
    parse_finite(field, fraction[~np.isnan(fraction)])
    if np.any(fraction < -1.0):
        raise InputError(field, float(np.nanmin(fraction)), "must be -1 (total loss) or more")
    growth = np.full(fraction.shape, -np.inf)  # at total loss
    return np.log1p(fraction, out=growth, where=fraction != -1.0)


def effective_annual_rate(nominal_rate: ArrayLike, periods_per_year: ArrayLike = 12) -> FloatArray:
    """Effective annual rate of a nominal annual one compounded several times a year.

    Parameters
    ----------
    nominal_rate : array_like, (...) [1/year]
        Nominal annual rate as a fraction, as lenders quote it.
    periods_per_year : array_like, (...)
        Compounding periods, 12 for monthly.

    Returns
    -------
    ndarray, (...) [1/year]

    Raises
    ------
    InputError
        Where a rate or a number of periods cannot be used.

    Examples
    --------
    >>> float(effective_annual_rate(0.18).round(5))
    0.19562

    Source: openstax-finance, section 8.4.
    """
    periods = parse_positive("periods_per_year", periods_per_year, "periods")
    each = parse_rate("nominal_rate", parse_finite("nominal_rate", nominal_rate) / periods)
    return np.asarray(np.expm1(periods * np.log1p(each)))


def real_rate(nominal_rate: ArrayLike, inflation: ArrayLike) -> FloatArray:
    """Real rate behind a nominal one: ``(1 + nominal)/(1 + inflation) − 1``.

    Parameters
    ----------
    nominal_rate, inflation : array_like, (...) [1/year]
        Fractions, broadcast together.

    Returns
    -------
    ndarray, (...) [1/year]
        Fraction.

    Raises
    ------
    InputError
        Where a rate is not finite, or −1 or less.

    Examples
    --------
    >>> float(real_rate(0.20, 0.10).round(6))
    0.090909

    Source: lecture-inflation.
    """
    nominal = parse_rate("nominal_rate", nominal_rate)
    prices = parse_rate("inflation", inflation)
    return (nominal - prices) / (1.0 + prices)


def nominal_rate(real_rate: ArrayLike, inflation: ArrayLike) -> FloatArray:
    """Nominal rate of a real one: ``(1 + real)·(1 + inflation) − 1``.

    Parameters
    ----------
    real_rate, inflation : array_like, (...) [1/year]
        Fractions, broadcast together.

    Returns
    -------
    ndarray, (...) [1/year]
        Fraction.

    Raises
    ------
    InputError
        Where a rate is not finite, or −1 or less.

    Examples
    --------
    >>> float(nominal_rate(1 / 11, 0.10).round(6))
    0.2

    Source: lecture-inflation.
    """
    real, prices = parse_rate("real_rate", real_rate), parse_rate("inflation", inflation)
    return real + prices + real * prices
