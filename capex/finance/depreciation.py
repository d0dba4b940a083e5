"""Tax depreciation by year under a tax regime, and the tax on yearly taxable income.

A regime is data (`capex.study.TaxRegime`): shipped with its source and as-of date, or the
study's own. Rules of law that depend on the taxpayer stay outside; confirm with your accountant.

Year 1 is the tax year of purchase. The year of disposal still claims its whole figure, and the
sale is settled in that year: balancing gain or loss = proceeds − cost not yet claimed
(`capex.finance.measures.after_tax_salvage`). A rule that grants half a year's figure on disposal
only moves the same amount between the two, so that year's taxable income is the same; a pool
that in law goes on writing down after a sale is settled here earlier.

Imports numpy, `capex.study.tax` and `capex.finance.arrays`.
"""

from __future__ import annotations

from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from capex.errors import InputError
from capex.finance.arrays import FloatArray, parse_finite, parse_rate
from capex.study.tax import TaxRegime

__all__ = [
    "declining_balance",
    "depreciation_fractions",
    "straight_line",
    "sum_of_years",
    "tax_payable",
    "undepreciated_share",
    "writing_down",
]

Losses = Literal["carried_forward", "absorbed"]


def _check_life(life: int) -> None:
    if life < 1:
        raise InputError("life", life, "must be 1 year or more")


def straight_line(life: int, salvage_share: float = 0.0) -> FloatArray:
    """Shares of cost claimed when each year of the life claims the same.

    Parameters
    ----------
    life : int [year]
    salvage_share : float [-]
        Share of cost never claimed.

    Returns
    -------
    ndarray, (life,) [-]

    Raises
    ------
    InputError
        Where the life is below 1 year.

    Examples
    --------
    >>> straight_line(4)
    array([0.25, 0.25, 0.25, 0.25])

    Source: openstax-financial-accounting, section 11.3.
    """
    _check_life(life)
    return np.full(life, (1.0 - salvage_share) / life)


def declining_balance(
    life: int, multiple: float = 2.0, salvage_share: float = 0.0, *, switch: bool = True
) -> FloatArray:
    """Shares of cost claimed at ``multiple/life`` of the balance, never below the salvage value.

    Parameters
    ----------
    life : int [year]
    multiple : float [-]
        2 for double declining balance.
    salvage_share : float [-]
        Share of cost never claimed.
    switch : bool
        Straight line over the rest of the life from the year when that claims more.

    Returns
    -------
    ndarray, (life,) [-]

    Raises
    ------
    InputError
        Where the life is below 1 year.

    Examples
    --------
    >>> declining_balance(5).round(4)
    array([0.4  , 0.24 , 0.144, 0.108, 0.108])

    Source: openstax-financial-accounting, section 11.3; the switch is derivable.
    """
    _check_life(life)
    balance, claimed = 1.0, np.zeros(life)
    for year in range(life):
        left = balance - salvage_share
        claim = min(balance * multiple / life, left)
        claimed[year] = max(claim, left / (life - year)) if switch else claim
        balance -= claimed[year]
    return claimed


def sum_of_years(life: int, salvage_share: float = 0.0) -> FloatArray:
    """Shares of cost claimed as years left over the sum of all years' digits.

    Parameters
    ----------
    life : int [year]
    salvage_share : float [-]
        Share of cost never claimed.

    Returns
    -------
    ndarray, (life,) [-]

    Raises
    ------
    InputError
        Where the life is below 1 year.

    Examples
    --------
    >>> (5000 * sum_of_years(5)).round(2)
    array([1666.67, 1333.33, 1000.  ,  666.67,  333.33])

    Source: ut-austin-depreciation.
    """
    _check_life(life)
    digits = np.arange(life, 0, -1.0)
    return np.asarray((1.0 - salvage_share) * digits / digits.sum())


def writing_down(rate: float, years: int) -> FloatArray:
    """Shares of cost claimed from a pool at a rate of the falling balance, for ever.

    Parameters
    ----------
    rate : float [1/year]
    years : int [year]
        How many years to list.

    Returns
    -------
    ndarray, (years,) [-]

    Raises
    ------
    InputError
        Where the rate is outside 0 to 1 or ``years`` is below 0.

    Examples
    --------
    >>> writing_down(0.14, 3).round(4)
    array([0.14  , 0.1204, 0.1035])

    Source: uk-writing-down-2026 (the rate); derivable.
    """
    if not 0.0 <= rate <= 1.0:
        raise InputError("rate", rate, "must be 0 to 1")
    if years < 0:
        raise InputError("years", years, "must be 0 years or more")
    return np.asarray(rate * (1.0 - rate) ** np.arange(years, dtype=np.float64))


def _method_fractions(regime: TaxRegime, years: int) -> FloatArray:
    life = regime.life or 1
    match regime.method:
        case "none":
            return np.zeros(years)
        case "straight_line":
            return straight_line(life)
        case "table":
            return np.array(regime.fractions, dtype=np.float64)
        case "declining_balance":
            return declining_balance(life, regime.multiple or 2.0)
        case "sum_of_years":
            return sum_of_years(life)
        case "pool":
            pooled = writing_down(regime.writing_down_rate or 0.0, years)
            # What a first-year allowance leaves enters the pool a year later.
            wait = 1 if regime.first_year_allowance > 0.0 else 0
            return np.concatenate([np.zeros(wait), pooled])


def depreciation_fractions(regime: TaxRegime, years: int) -> FloatArray:
    """Share of cost claimed in each tax year, from the year of purchase.

    Parameters
    ----------
    regime : TaxRegime
        Shipped or the study's own. A first-year allowance comes off the cost in year 1; the rest
        follows the method, from year 1, or from year 2 for a pool.
    years : int [year]
        Years of the horizon: later claims are cut off, missing ones are 0.

    Returns
    -------
    ndarray, (years,) [-]

    Raises
    ------
    InputError
        Where ``years`` is below 1.

    Examples
    --------
    >>> from capex.study import shipped_tax_regimes
    >>> depreciation_fractions(shipped_tax_regimes()["us_macrs_5"], 3)
    array([0.2  , 0.32 , 0.192])

    Source: the regime's own; uk-caa-2001, section 58(5), for the pool's delay.
    """
    if years < 1:
        raise InputError("years", years, "must be 1 year or more")
    claimed = _method_fractions(regime, years)[:years] * (1.0 - regime.first_year_allowance)
    claimed = np.pad(claimed, (0, years - len(claimed)))
    claimed[0] += regime.first_year_allowance
    return claimed


def undepreciated_share(regime: TaxRegime, years: int) -> FloatArray:
    """Share of cost not yet claimed at the end of each tax year.

    Parameters
    ----------
    regime : TaxRegime
    years : int [year]

    Returns
    -------
    ndarray, (years,) [-]

    Raises
    ------
    InputError
        Where ``years`` is below 1.

    Examples
    --------
    >>> from capex.study import shipped_tax_regimes
    >>> undepreciated_share(shipped_tax_regimes()["us_macrs_7"], 4).round(4)
    array([0.8571, 0.6122, 0.4373, 0.3124])

    Source: derivable.
    """
    return np.asarray(1.0 - depreciation_fractions(regime, years).cumsum())


def tax_payable(
    taxable_income: ArrayLike, tax_rate: ArrayLike, losses: Losses = "carried_forward"
) -> FloatArray:
    """Tax on each year's income, positive where it is owed.

    Carried forward, a loss waits, without limit of time or amount, for the profits that use it
    up: cumulative income is taxed as far as it exceeds every earlier peak. Absorbed, a loss
    saves tax at once on the owner's other income: the tax is then negative.

    Parameters
    ----------
    taxable_income : array_like, (..., years) [currency]
    tax_rate : array_like, (...) [-]
        Fraction from 0 to 1.
    losses : {"carried_forward", "absorbed"}

    Returns
    -------
    ndarray, (..., years) [currency]

    Raises
    ------
    InputError
        Where a value is not finite, a rate is outside 0 to 1 or ``losses`` is unknown.

    Examples
    --------
    >>> tax_payable([-100, 60, 80], 0.25)
    array([ 0.,  0., 10.])
    >>> tax_payable([-100, 60, 80], 0.25, "absorbed")
    array([-25.,  15.,  20.])

    Source: derivable.
    """
    income = parse_finite("taxable_income", taxable_income)
    rate = parse_rate("tax_rate", tax_rate)
    if np.any(rate < 0.0) or np.any(rate > 1.0):
        raise InputError("tax_rate", tax_rate, "must be 0 to 1 (a fraction: 0.25 for 25 %)")
    if losses == "absorbed":
        return np.asarray(income * rate[..., None])
    if losses != "carried_forward":
        raise InputError("losses", losses, 'must be "carried_forward" or "absorbed"')
    peak = np.maximum.accumulate(np.maximum(income.cumsum(axis=-1), 0.0), axis=-1)
    return np.asarray(np.diff(peak, axis=-1, prepend=0.0) * rate[..., None])
