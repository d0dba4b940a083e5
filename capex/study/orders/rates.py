"""How often orders come: level, seasonality and growth of monthly counts.

The model is Poisson: in month t, ``E[orders] = exposure · level · seasonality · exp(slope · t)``,
exposure being the covered share of the month's days and t the years from the middle of the span.

Promises: a part of a month counts as a part; what the span cannot tell is ``None`` with the reason,
or stays at the average it was measured against.

May import numpy and `capex.errors`.
"""

from __future__ import annotations

import calendar
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from functools import cached_property
from typing import Final

import numpy as np
import numpy.typing as npt

from capex.errors import OrderBookError

__all__ = ["Growth", "Span", "growth", "monthly_level", "pooled_growths", "seasonality"]

FloatArray = npt.NDArray[np.float64]

#: Growth needs at least one calendar month seen twice.
FEWEST_MONTHS_FOR_GROWTH: Final = 13
_FEWEST_FREEDOM: Final = 6
_DAYS_PER_YEAR: Final = 365.25


@dataclass(frozen=True)
class Span:
    """The days that an order book covers, both ends included.

    Examples
    --------
    >>> span = Span(date(2031, 1, 16), date(2031, 3, 31))
    >>> span.exposure.round(3).tolist(), round(span.months, 3)
    ([0.516, 1.0, 1.0], 2.516)
    """

    first: date
    last: date

    def __post_init__(self) -> None:
        if self.last < self.first:
            raise OrderBookError(f"span: last day {self.last} must not lie before {self.first}")

    @cached_property
    def _parts(self) -> list[tuple[int, date, date]]:
        """Calendar month (0 January), first and last covered day of each month."""
        parts, day = [], self.first
        while day <= self.last:
            ending = day.replace(day=calendar.monthrange(day.year, day.month)[1])
            parts.append((day.month - 1, day, min(ending, self.last)))
            day = ending + timedelta(days=1)
        return parts

    @cached_property
    def calendar_month(self) -> npt.NDArray[np.int_]:
        """Calendar month of each month, 0 January, shape (m,)."""
        return np.array([month for month, _, _ in self._parts])

    @cached_property
    def exposure(self) -> FloatArray:
        """Covered share of the days of each month, shape (m,)."""
        return np.array(
            [
                ((last - first).days + 1) / calendar.monthrange(first.year, first.month)[1]
                for _, first, last in self._parts
            ]
        )

    @cached_property
    def years(self) -> FloatArray:
        """Middle of the covered part of each month, from the middle of the span [year], (m,)."""
        middle = (self.last - self.first).days / 2
        days = [
            (first - self.first).days + (last - first).days / 2 - middle
            for _, first, last in self._parts
        ]
        return np.array(days) / _DAYS_PER_YEAR

    @property
    def months(self) -> float:
        """Length [month], parts of months by days."""
        return float(self.exposure.sum())

    def counts(self, days: Sequence[date]) -> FloatArray:
        """Return the number of days that fall in each month, shape (m,)."""
        outside = [day for day in days if not self.first <= day <= self.last]
        if outside:
            raise OrderBookError(
                f"span: {len(outside)} orders, the first on {min(outside)}, lie outside "
                f"{self.first} to {self.last}"
            )
        start = self.first.year * 12 + self.first.month
        places = [day.year * 12 + day.month - start for day in days]
        return np.bincount(places, minlength=len(self._parts)).astype(np.float64)


@dataclass(frozen=True)
class Growth:
    """Growth of the number of orders, or why it cannot be told.

    Parameters
    ----------
    rate : float or None
        Growth per year, a fraction.
    standard_error : float or None
        Of the rate.
    slope, slope_error : float or None
        The same as a continuous rate, ``log(1 + rate)``, on which intervals are symmetric.
    reason : str
        Why there is no rate; empty where there is one.
    """

    rate: float | None
    standard_error: float | None
    slope: float | None
    slope_error: float | None
    reason: str = ""

    def quantile_range(self, score: float = 1.2816) -> tuple[float, float] | None:
        """Return the rate at -score and +score standard errors; by default P10 and P90."""
        if self.slope is None or self.slope_error is None:
            return None
        low, high = np.expm1(self.slope + score * self.slope_error * np.array([-1.0, 1.0]))
        return float(low), float(high)


def _growth_of(slope: float, error: float) -> Growth:
    rate = float(np.expm1(slope))
    return Growth(rate, float((1 + rate) * error), float(slope), float(error))


def growth(counts: FloatArray, span: Span) -> Growth:
    """Return the growth per year that the counts show beyond seasonality.

    Poisson regression on time with one free level for each calendar month: each month is compared
    with the same month of other years only, so seasonality cannot pass for growth. Given the total
    of a calendar month its counts are multinomial, which leaves one unknown, the slope; the
    maximum-likelihood estimate and its error are those of the full regression. With at least six
    degrees of freedom the error is widened by the square root of Pearson's chi-square over them,
    where that exceeds 1 (orders that come in bunches).

    Parameters
    ----------
    counts : ndarray, shape (m,)
        Orders in each month of the span [1].
    span : Span
        Covered days.

    Returns
    -------
    Growth
        Without a rate if the span is under 13 months, no calendar month was seen twice with
        orders, or all orders fall in one year.

    Examples
    --------
    >>> span = Span(date(2030, 1, 1), date(2031, 12, 31))
    >>> round(growth(np.repeat([100.0, 110.0], 12), span).rate, 3)
    0.1
    """
    if span.months < FEWEST_MONTHS_FOR_GROWTH:
        reason = f"the span of {span.months:.1f} months is shorter than {FEWEST_MONTHS_FOR_GROWTH}"
        return Growth(None, None, None, None, reason)
    month, years, exposure = span.calendar_month, span.years, span.exposure
    total: FloatArray = np.bincount(month, counts, 12).astype(np.float64)
    first, last = np.full(12, np.inf), np.full(12, -np.inf)
    np.minimum.at(first, month, years)
    np.maximum.at(last, month, years)
    telling = (first < last)[month] & (total > 0)[month]
    if not telling.any():
        return Growth(None, None, None, None, "no calendar month has orders in two years")
    y, t, e, m = counts[telling], years[telling], exposure[telling], month[telling]
    for edge, word in ((last, "last"), (first, "first")):
        if not ((y > 0) & (t != edge[m])).any():
            reason = f"in the months seen twice, all orders are in the {word}"
            return Growth(None, None, None, None, reason)
    slope, information, share = _conditional_slope(y, t, e, m, total)
    expected = total[m] * share
    freedom = y.size - np.unique(m).size - 1
    spread = 1.0
    if freedom >= _FEWEST_FREEDOM:
        spread = max(1.0, float(((y - expected) ** 2 / expected).sum()) / freedom)
    return _growth_of(slope, float(np.sqrt(spread / information)))


def _conditional_slope(
    y: FloatArray, t: FloatArray, e: FloatArray, m: npt.NDArray[np.int_], total: FloatArray
) -> tuple[float, float, FloatArray]:
    """Return the slope, its information, and each month's share of its calendar month's orders.

    Newton's method on a concave log-likelihood, steps held to 1 so that it cannot overshoot.
    """
    slope = 0.0
    for _ in range(200):
        weight = e * np.exp(slope * t)
        share = weight / np.bincount(m, weight, 12)[m]
        mean = np.bincount(m, share * t, 12)
        score = float(y @ t - total[m] @ (share * t))
        information = float((total[m] * share * (t - mean[m]) ** 2).sum())
        step = float(np.clip(score / information, -1.0, 1.0))
        slope += step
        if abs(step) < 1e-12:
            break
    return slope, information, share


def pooled_growths(own: Sequence[Growth], whole: Growth) -> tuple[Growth, ...]:
    """Return each group's growth drawn toward the whole shop's as far as its own is uncertain.

    Random effects: the variance between groups is estimated by moments (DerSimonian and Laird);
    each group's slope is then the precision-weighted mean of its own and the shop's.

    Parameters
    ----------
    own : sequence of Growth
        Of the groups.
    whole : Growth
        Of all orders together.

    Returns
    -------
    tuple of Growth
        As `own`; all without a rate if the shop has none.

    Examples
    --------
    >>> whole = _growth_of(0.05, 0.02)
    >>> vague = _growth_of(-0.25, 0.30)
    >>> [round(one.rate, 3) for one in pooled_growths([vague, whole], whole)]
    [0.051, 0.051]
    """
    if whole.slope is None or whole.slope_error is None:
        return tuple(whole for _ in own)
    known = [(one.slope, one.slope_error) for one in own if one.slope is not None]
    slopes = np.array([slope for slope, _ in known], dtype=np.float64)
    variances = np.array([error or 0.0 for _, error in known], dtype=np.float64) ** 2
    between = _variance_between(slopes, variances)
    pooled = []
    for one in own:
        if one.slope is None or one.slope_error is None:
            pooled.append(_growth_of(whole.slope, float(np.hypot(between**0.5, whole.slope_error))))
            continue
        trust = between / (between + one.slope_error**2)
        slope = trust * one.slope + (1 - trust) * whole.slope
        variance = trust * one.slope_error**2 + ((1 - trust) * whole.slope_error) ** 2
        pooled.append(_growth_of(slope, float(variance**0.5)))
    return tuple(pooled)


def _variance_between(values: FloatArray, variances: FloatArray) -> float:
    """Return DerSimonian and Laird's moment estimate of the variance between groups."""
    if values.size < 2:
        return 0.0
    weight = 1 / variances
    centre = (weight @ values) / weight.sum()
    excess = weight @ (values - centre) ** 2 - (values.size - 1)
    return max(0.0, float(excess / (weight.sum() - (weight @ weight) / weight.sum())))


def seasonality(
    counts: FloatArray, span: Span, slope: float = 0.0, prior: FloatArray | None = None
) -> FloatArray:
    """Return twelve factors that average 1, drawn toward the prior as far as the counts are few.

    The prior stands unless the counts depart from it beyond chance (Pearson's chi-square over the
    k calendar months seen, at 5 %). Then Gamma-Poisson (empirical Bayes): the spread τ² of the true
    factors about the prior is estimated by moments, ``Σ((Y − μ)²·k/(k − 1) − μ) / Σμ²``, and a
    factor is ``prior · (Y + 1/τ²) / (μ + 1/τ²)``. A month never seen stays at the prior.

    Parameters
    ----------
    counts : ndarray, shape (m,)
        Orders in each month of the span [1].
    span : Span
        Covered days.
    slope : float
        Continuous growth to take out [1/year].
    prior : ndarray, shape (12,), optional
        Factors of the whole shop; 1 by default.

    Returns
    -------
    ndarray, shape (12,)
        January first, mean exactly 1 to rounding.

    Examples
    --------
    >>> span = Span(date(2031, 1, 1), date(2031, 12, 31))
    >>> factors = seasonality(np.array([50.0] * 6 + [150.0] * 6), span)
    >>> factors[[0, 11]].round(2).tolist(), round(float(factors.mean()), 12)
    ([0.52, 1.48], 1.0)
    """
    base = np.ones(12) if prior is None else prior
    month = span.calendar_month
    reach = np.bincount(month, span.exposure * np.exp(slope * span.years), 12)
    seen = reach > 0
    orders = np.bincount(month, counts, 12)
    expected = base * reach * (orders.sum() / (base * reach).sum())
    number = int(seen.sum())
    factors = base.copy()
    apart = (orders - expected)[seen] ** 2
    if number > 1 and orders.sum() > 0:
        beyond_chance = (apart / expected[seen]).sum() > _chi_square_95(number - 1)
        excess = apart.sum() * number / (number - 1) - expected.sum()
        if beyond_chance and excess > 0:
            spread = float(excess / (expected[seen] ** 2).sum())
            factors = base * (1 + spread * orders) / (1 + spread * expected)
    return np.asarray(factors / factors.mean())


def _chi_square_95(freedom: int) -> float:
    """Return the 95 % point of chi-square, by Wilson and Hilferty (within 1 % from 2 freedoms)."""
    part = 2 / (9 * freedom)
    return float(freedom * (1 - part + 1.6448536 * part**0.5) ** 3)


def monthly_level(counts: FloatArray, span: Span, factors: FloatArray, slope: float = 0.0) -> float:
    """Return orders per month of an average month, in the middle of the span.

    Seasonality is taken out: a book of 15 months that holds two springs is not an average year.

    Examples
    --------
    >>> span = Span(date(2031, 1, 1), date(2031, 6, 15))
    >>> monthly_level(np.array([20.0, 20, 20, 20, 20, 10]), span, np.ones(12))
    20.0
    """
    expected = span.exposure * factors[span.calendar_month] * np.exp(slope * span.years)
    return float(counts.sum() / expected.sum())
