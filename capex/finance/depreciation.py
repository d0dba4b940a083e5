"""Methods of depreciation, and the tax on yearly taxable income.

A regime is data (`capex.study.TaxRegime`): shipped with its source and as-of date, or the
study's own. What depends on the date or the amount of a purchase is in
`capex.finance.allowances`. Rules of law that depend on the taxpayer stay outside; confirm with
your accountant.

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
    "method_fractions",
    "straight_line",
    "sum_of_years",
    "tax_payable",
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


def method_fractions(regime: TaxRegime) -> FloatArray:
    """Shares of cost that a regime's method claims, by tax year from that of purchase.

    Parameters
    ----------
    regime : TaxRegime
        Of any method but a pool, whose claims depend on the date
        (`capex.finance.allowances.pool_rates`).

    Returns
    -------
    ndarray, (years of the method,) [-]

    Raises
    ------
    InputError
        Where the method is a pool.

    Examples
    --------
    >>> from capex.study import shipped_tax_regimes
    >>> method_fractions(shipped_tax_regimes()["us_macrs_3"])
    array([0.3333, 0.4445, 0.1481, 0.0741])

    Source: the regime's own.
    """
    life = regime.life or 1
    match regime.method:
        case "none":
            return np.zeros(0)
        case "straight_line":
            return straight_line(life)
        case "table":
            return np.array(regime.fractions, dtype=np.float64)
        case "declining_balance":
            return declining_balance(life, regime.multiple or 2.0)
        case "sum_of_years":
            return sum_of_years(life)
        case "pool":
            raise InputError("regime", regime.title, "must not be a pool: its claims never end")


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
