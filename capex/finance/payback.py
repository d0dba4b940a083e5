"""How long until the money is back, simple and discounted.

Payback says how long money is at risk, never which alternative is best. Imports numpy and
`capex.finance.arrays`.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from capex.finance.arrays import FloatArray, parse_cash_flow, parse_finite, parse_positive

__all__ = ["discounted_payback_period", "payback_period"]

# A cumulative flow this near zero, as a share of all money moved, is zero but for rounding.
_ROUNDING = 1e-12


def payback_period(cash_flow: ArrayLike, periods_per_year: float = 1.0) -> FloatArray:
    """Time after which the cumulative cash flow is never again below zero.

    With one outlay at the start this is the textbook payback period. Where a second machine is
    bought later, the money is back only when both purchases are: the *last* recovery counts,
    not the first. Inside a period the flow is taken as even (linear interpolation). All cash counts
    when it moves: salvage and working capital released at the end belong to the last period, so
    that a payback there may rest on them alone.

    Parameters
    ----------
    cash_flow : array_like, (..., T+1) [currency]
        Flows from period 0; outflows negative.
    periods_per_year : float
        12 turns months into years; 1 leaves the answer in periods of the flow.

    Returns
    -------
    ndarray, (...) [year, or periods of the flow]
        0 where the cumulative flow is never below zero; ``inf`` where it still is at the end:
        not paid back within the horizon.

    Raises
    ------
    InputError
        Where a flow is not finite or ``periods_per_year`` is not positive.

    Examples
    --------
    >>> float(payback_period([-40000, 10000, 10000, 5000, 5000, 7500, 7500]).round(2))
    5.33

    Source: openstax-finance, section 16.1; openstax-managerial, section 11.2. The rule for
    several outlays is our own choice.
    """
    flows = parse_cash_flow("cash_flow", cash_flow)
    per_year = parse_positive("periods_per_year", periods_per_year, "periods")
    cumulative = flows.cumsum(axis=-1)
    allowance = _ROUNDING * np.abs(flows).sum(axis=-1, keepdims=True)
    short = cumulative < -allowance
    end = flows.shape[-1] - 1
    last_short = end - np.argmax(short[..., ::-1], axis=-1)
    recovery = np.minimum(last_short + 1, end)
    owed = -np.take_along_axis(cumulative, last_short[..., None], axis=-1)[..., 0]
    gained = np.take_along_axis(flows, recovery[..., None], axis=-1)[..., 0]
    ever_short = short.any(axis=-1)
    recovered = ever_short & (last_short < end)
    part = np.divide(owed, gained, out=np.zeros_like(owed), where=recovered)
    periods = np.where(recovered, last_short + part, np.where(ever_short, np.inf, 0.0))
    return np.asarray(periods / per_year)


def discounted_payback_period(
    cash_flow: ArrayLike, discount_factors: ArrayLike, periods_per_year: float = 1.0
) -> FloatArray:
    """Payback period of the discounted cash flow.

    Parameters
    ----------
    cash_flow : array_like, (..., T+1) [currency]
        Flows from period 0; outflows negative.
    discount_factors : array_like, (..., T+1) [-]
        See `capex.finance.measures.discount_factors`.
    periods_per_year : float
        12 turns months into years.

    Returns
    -------
    ndarray, (...) [year, or periods of the flow]
        As `payback_period`; ``inf`` where not paid back within the horizon.

    Raises
    ------
    InputError
        Where a flow or a factor is not finite.

    Examples
    --------
    >>> factors = 1.09 ** -np.arange(7.0)
    >>> flows = [-16000, 2000, 4000, 5000, 5000, 5000, 5000]
    >>> float(discounted_payback_period(flows, factors).round(4))
    5.0489

    Source: openstax-finance, section 16.4.
    """
    flows = parse_cash_flow("cash_flow", cash_flow)
    factors = parse_finite("discount_factors", discount_factors)
    return payback_period(flows * factors, periods_per_year)
