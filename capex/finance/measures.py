"""The measures of an investment, all in one place.

Every kernel works over a leading scenario axis with time on the last axis, period 0 first.
Outflows are negative. An incremental measure is the measure of the difference of two flows:
there is no second path. Discounting, payback, rates of return and rates have files of their own
and are offered here too, so that one import serves all measures.

Imports numpy and the files of this folder named above.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from capex.errors import InputError
from capex.finance.arrays import FloatArray, parse_finite, parse_positive, parse_rate
from capex.finance.discounting import (
    annuity_factor,
    discount_factors,
    net_present_value,
    periodic_discount_factors,
)
from capex.finance.payback import discounted_payback_period, payback_period
from capex.finance.rate_of_return import (
    RateOfReturn,
    RateReason,
    crossover_rate,
    internal_rate_of_return,
    modified_internal_rate_of_return,
    rates_of_return,
    terminal_value,
)
from capex.finance.rates import (
    annual_rate,
    effective_annual_rate,
    monthly_rate,
    nominal_rate,
    real_rate,
)

__all__ = [
    "RateOfReturn",
    "RateReason",
    "after_tax_salvage",
    "annual_rate",
    "annuity_factor",
    "break_even_volume",
    "crossover_rate",
    "discount_factors",
    "discounted_payback_period",
    "effective_annual_rate",
    "equivalent_annual_value",
    "internal_rate_of_return",
    "modified_internal_rate_of_return",
    "monthly_rate",
    "net_present_value",
    "nominal_rate",
    "payback_period",
    "periodic_discount_factors",
    "profitability_index",
    "rates_of_return",
    "real_rate",
    "replacement_chain_value",
    "terminal_value",
]


def profitability_index(present_value: ArrayLike, initial_outlay: ArrayLike) -> FloatArray:
    """Present value of what comes back for each unit of capital spent.

    Parameters
    ----------
    present_value : array_like, (...) [currency]
        Net present value, the outlay included.
    initial_outlay : array_like, (...) [currency]
        Capital spent, as a flow (negative); of a staged purchase, its present value.

    Returns
    -------
    ndarray, (...) [-]
        Above 1 where the net present value is positive.

    Raises
    ------
    InputError
        Where the outlay is not negative: without capital there is no index.

    Examples
    --------
    >>> float(profitability_index(2835.62, -16000).round(3))
    1.177

    Source: openstax-finance, section 16.4.
    """
    spent = parse_positive("-initial_outlay", -parse_finite("initial_outlay", initial_outlay), "")
    return 1.0 + parse_finite("present_value", present_value) / spent


def equivalent_annual_value(
    present_value: ArrayLike, discount_rate: ArrayLike, years: ArrayLike
) -> FloatArray:
    """Level amount at each year's end worth the same as ``present_value``.

    Ranks alternatives of unequal lives, each repeated for ever on the same terms. Of a present
    cost (negative) it is the equivalent annual cost.

    Parameters
    ----------
    present_value : array_like, (...) [currency]
    discount_rate : array_like, (...) [1/year]
        Effective annual rate, above −1.
    years : array_like, (...) [year]
        Life, above 0.

    Returns
    -------
    ndarray, (...) [currency/year]

    Raises
    ------
    InputError
        Where a life is not positive or a rate not above −1.

    Examples
    --------
    >>> equivalent_annual_value([49474.08, 80657.82], 0.10, [3, 6]).round(0)
    array([19894., 18520.])

    Source: openstax-finance, section 16.5 (the alternatives); capital recovery is derivable.
    """
    life = parse_positive("years", years, "years")
    return parse_finite("present_value", present_value) / annuity_factor(discount_rate, life)


def replacement_chain_value(
    present_value: ArrayLike, discount_rate: ArrayLike, life: ArrayLike, horizon: ArrayLike
) -> FloatArray:
    """Net present value of repeating an alternative until a common horizon.

    Each successor costs and earns the same as the first.

    Parameters
    ----------
    present_value : array_like, (...) [currency]
        Net present value of one life.
    discount_rate : array_like, (...) [1/year]
        Effective annual rate, above −1.
    life, horizon : array_like, (...) [year]
        The horizon is a whole number of lives.

    Returns
    -------
    ndarray, (...) [currency]

    Raises
    ------
    InputError
        Where the horizon is not a whole number of lives.

    Examples
    --------
    >>> float(replacement_chain_value(49474.08, 0.10, 3, 6).round(2))
    86644.69

    Source: openstax-finance, section 16.5.
    """
    lives = parse_positive("life", life, "years")
    span = parse_positive("horizon", horizon, "years")
    repeats = span / lives
    if np.any(repeats < 0.5) or np.any(np.abs(repeats - np.round(repeats)) > 1e-9):
        raise InputError("horizon", horizon, f"must be a whole number of lives of {life!r} years")
    level = equivalent_annual_value(present_value, discount_rate, lives)
    return level * annuity_factor(discount_rate, span)


def after_tax_salvage(proceeds: ArrayLike, tax_basis: ArrayLike, tax_rate: ArrayLike) -> FloatArray:
    """Sale proceeds less the tax on the balancing gain (plus the relief on a loss).

    Parameters
    ----------
    proceeds : array_like, (...) [currency]
        What the sale brings.
    tax_basis : array_like, (...) [currency]
        Cost not yet depreciated, after the disposal year's own depreciation.
    tax_rate : array_like, (...) [-]

    Returns
    -------
    ndarray, (...) [currency]

    Raises
    ------
    InputError
        Where a value is not finite.

    Examples
    --------
    >>> float(after_tax_salvage(4624, 30043.82, 0.35).round(2))
    13520.94

    Source: worked-salvage.
    """
    received = parse_finite("proceeds", proceeds)
    gain = received - parse_finite("tax_basis", tax_basis)
    return received - parse_rate("tax_rate", tax_rate) * gain


def break_even_volume(
    fixed_cost: ArrayLike,
    unit_contribution: ArrayLike,
    target_profit: ArrayLike = 0.0,
    tax_rate: ArrayLike = 0.0,
) -> FloatArray:
    """Units whose contribution covers the fixed cost and a target profit after tax.

    Parameters
    ----------
    fixed_cost, target_profit : array_like, (...) [currency]
        Amounts, zero or more.
    unit_contribution : array_like, (...) [currency/unit]
    tax_rate : array_like, (...) [-]
        Fraction below 1.

    Returns
    -------
    ndarray, (...) [unit]
        ``inf`` where a unit contributes nothing or less: no volume is enough.

    Raises
    ------
    InputError
        Where a cost or target is negative, or the tax rate is 1 or more.

    Examples
    --------
    >>> break_even_volume(18000, 80, target_profit=[0, 24000], tax_rate=[0, 0.4])
    array([225., 725.])

    Source: openstax-managerial, section 3.2.
    """
    cost = parse_finite("fixed_cost", fixed_cost)
    profit = parse_finite("target_profit", target_profit)
    if np.any(cost < 0.0) or np.any(profit < 0.0):
        raise InputError("fixed_cost, target_profit", (fixed_cost, target_profit), "must be >= 0")
    kept = parse_positive("1 - tax_rate", 1.0 - parse_finite("tax_rate", tax_rate), "")
    needed, each = np.broadcast_arrays(
        cost + profit / kept, parse_finite("unit_contribution", unit_contribution)
    )
    volume: FloatArray = np.divide(
        needed, each, out=np.full(needed.shape, np.inf), where=each > 0.0
    )
    return volume
