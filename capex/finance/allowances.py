"""What tax lets an alternative deduct for its purchases, project year by project year.

Over the method of a regime stand rules that depend on what is bought, when, and how much: a limit
that is deducted at once, a first-year allowance, the quarter of the purchase, a rate that changes
on a date. They are data of the regime (`capex.study.TaxRegime`); here they are only applied, in
the order limit, first-year allowance, method.

A project year counts as the tax year, named by the calendar year in which it begins. A limit is
shared by all purchases of its year in proportion to their cost; the law may let the taxpayer
choose. That a deduction may not exceed the year's business income is not applied here: what is
refused is carried forward as a loss would be. Confirm with your accountant.

Imports numpy, `capex.study.tax`, and `arrays` and `depreciation` of this folder.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from functools import lru_cache

import numpy as np
import numpy.typing as npt

from capex.errors import InputError
from capex.finance.arrays import FloatArray
from capex.finance.depreciation import method_fractions
from capex.study.tax import TaxRegime

__all__ = ["Asset", "allowances", "expensed_share", "pool_rates"]

IntArray = npt.NDArray[np.intp]

#: Row of the schedules that stands for the convention of the whole year.
_WHOLE_YEAR = 4


@dataclass(frozen=True)
class Asset:
    """What is bought at one time.

    Parameters
    ----------
    cost : ndarray, shape (n,) [currency]
        With freight and installation; 0 where it is not bought.
    month : ndarray of int, shape (n,)
        Of the purchase, from 0.
    second_hand : bool
    """

    cost: FloatArray
    month: IntArray
    second_hand: bool = False

    @property
    def quarter(self) -> IntArray:
        """Quarter of the project year, from 0, shape (n,)."""
        return self.month % 12 // 3


def allowances(
    regime: TaxRegime, assets: Sequence[Asset], start: date, years: int
) -> list[FloatArray]:
    """Return what is deducted for each asset in each project year while it is kept.

    Parameters
    ----------
    regime : TaxRegime
    assets : sequence of Asset
        All that one alternative buys, over the same scenarios.
    start : date
        First day of the first project year.
    years : int
        Of the horizon; later claims are cut off. A purchase on its last day counts in its last
        year.

    Returns
    -------
    list of ndarray, each of shape (n, years) [currency]

    Raises
    ------
    InputError
        Where ``years`` is below 1.

    Examples
    --------
    Bought in the last quarter, so that the fourth table holds:

    >>> from capex.study import shipped_tax_regimes
    >>> bought = Asset(np.array([1000.0]), np.array([10]))
    >>> regime = shipped_tax_regimes()["us_macrs_5"]
    >>> allowances(regime, [bought], date(2027, 1, 1), 3)[0].round(2)
    array([[ 50., 380., 228.]])

    Source: irs-pub-946, tables A-1 to A-5; us-cfr-168d (the 40 % test counts cost after
    expensing and before a first-year allowance); uk-caa-2001, section 58(5).
    """
    if years < 1:
        raise InputError("years", years, "must be 1 year or more")
    every = np.arange(assets[0].cost.size if assets else 0)
    bought, late = np.zeros((2, every.size, years))
    whens = [np.minimum(asset.month // 12, years - 1) for asset in assets]
    for asset, year in zip(assets, whens, strict=True):
        bought[every, year] += asset.cost
        late[every, year] += asset.cost * (asset.quarter == 3)
    # all shares of one year's purchases are expensed alike, so that the test's shares stay
    by_quarter = (late > regime.mid_quarter_above * bought) & (regime.mid_quarter is not None)
    at_once = expensed_share(regime, bought, start)
    schedules = _schedules(regime, start, years)
    found = []
    for asset, year in zip(assets, whens, strict=True):
        allowed = _first_year_share(regime, asset, start)
        quarter = np.where(by_quarter[every, year], asset.quarter, _WHOLE_YEAR)
        rest = 1.0 - at_once[every, year]
        waits = (allowed > 0.0).astype(np.intp)
        claims = (rest * (1.0 - allowed))[:, None] * schedules[waits, quarter, year]
        claims[every, year] += (1.0 - rest) + rest * allowed
        found.append(asset.cost[:, None] * claims)
    return found


def expensed_share(regime: TaxRegime, bought: FloatArray, start: date) -> FloatArray:
    """Return the share of each year's purchases that is deducted at once under the limit.

    Parameters
    ----------
    regime : TaxRegime
    bought : ndarray, shape (n, years) [currency]
        Cost of all that is bought in each project year.
    start : date
        First day of the first project year.

    Returns
    -------
    ndarray, shape (n, years)
        Fraction; 0 without a limit in the regime, or before its first tax year.

    Examples
    --------
    >>> from capex.study import shipped_tax_regimes
    >>> regime = shipped_tax_regimes()["us_section_179_bonus_macrs_7"]
    >>> expensed_share(regime, np.array([[1e6], [4.5e6], [7e6]]), date(2025, 1, 1)).round(4)
    array([[1.    ],
           [0.4444],
           [0.    ]])

    Source: us-section-179 (reduced one for one above the phase-out); uk-aia (none).
    """
    limit, phase_out = np.zeros(bought.shape[1]), np.full(bought.shape[1], np.inf)
    for entry in sorted(regime.expensing, key=lambda one: one.tax_year):
        held = np.array([start.year + year >= entry.tax_year for year in range(limit.size)])
        limit[held] = entry.limit
        phase_out[held] = np.inf if entry.phase_out is None else entry.phase_out
    left = np.maximum(limit - np.maximum(bought - phase_out, 0.0), 0.0)
    share: FloatArray = np.divide(
        np.minimum(bought, left), bought, out=np.zeros_like(bought), where=bought > 0
    )
    return share


def pool_rates(regime: TaxRegime, start: date, years: int) -> FloatArray:
    """Return the writing-down rate of each project year, mixed by days where it changes.

    The mixed rate is rounded up to a hundredth of a percent.

    Parameters
    ----------
    regime : TaxRegime
        With `writing_down_rate`, and where it has changed the rate before and the date.
    start : date
        First day of the first project year.
    years : int

    Returns
    -------
    ndarray, shape (years,)

    Examples
    --------
    A year from January 2026, 90 days at 18 % and 275 at 14 %:

    >>> from capex.study import shipped_tax_regimes
    >>> regime = shipped_tax_regimes()["uk_main_pool"]
    >>> pool_rates(regime, date(2026, 1, 1), 2)
    array([0.1499, 0.14  ])

    Source: uk-writing-down-2026 (the rates); uk-ca23711 (days, rounded up to two decimals).
    """
    rate = regime.writing_down_rate or 0.0
    before, since = regime.writing_down_rate_before, regime.writing_down_rate_since
    rates = np.full(years, rate)
    if before is None or since is None:
        return rates
    for year in range(years):
        first, next_year = _years_after(start, year), _years_after(start, year + 1)
        days = (next_year - first).days
        earlier = min(max((since - first).days, 0), days)
        if earlier == days:
            rates[year] = before
        elif earlier > 0:
            mixed = (earlier * before + (days - earlier) * rate) / days
            # a millionth of the last digit keeps an exact figure from being rounded up
            rates[year] = np.ceil(mixed * 1e4 - 1e-6) / 1e4
    return rates


def _first_year_share(regime: TaxRegime, asset: Asset, start: date) -> FloatArray:
    """Return the first-year allowance that an asset gets, shape (n,)."""
    if asset.second_hand and regime.new_only:
        return np.zeros(asset.cost.size)
    since = regime.first_year_allowance_since
    if since is None:
        return np.full(asset.cost.size, regime.first_year_allowance)
    months = (since.year - start.year) * 12 + since.month - start.month + (since.day > start.day)
    return np.where(asset.month >= months, regime.first_year_allowance, 0.0)


def _years_after(start: date, years: int) -> date:
    try:
        return start.replace(year=start.year + years)
    except ValueError:  # 29 February, and the year has none
        return date(start.year + years, 3, 1)


@lru_cache(maxsize=64)
def _schedules(regime: TaxRegime, start: date, years: int) -> FloatArray:
    """Return shares of cost, shape (2, 5, years, years), not to be written to.

    By whether a first-year allowance was claimed, quarter, year of purchase and project year. A
    pool takes in what a first-year allowance leaves a year later.
    """
    table = np.zeros((2, 5, years, years))
    if regime.method == "pool":
        rates = pool_rates(regime, start, years)
        for waits in (0, 1):
            for first in range(years):
                used = rates[first:].copy()
                used[:waits] = 0.0
                left = np.cumprod(1.0 - used)
                table[waits, :, first, first:] = used * np.concatenate([[1.0], left[:-1]])
        return table
    whole_year = method_fractions(regime)
    by_quarter = regime.mid_quarter or (whole_year,) * 4
    for quarter, fractions in enumerate((*by_quarter, whole_year)):
        by_age = np.zeros(years)
        by_age[: len(fractions)] = fractions[:years]
        for first in range(years):
            table[:, quarter, first, first:] = by_age[: years - first]
    return table
