"""What the months seen say about the inputs: the ratio of actual to plan, with its interval.

A ratio is the geometric mean of the monthly ratios, so that the season, which the plan has too,
falls out. Its interval is Student's on their logarithms. It takes the months as independent and
alike: a shop that is still growing into its machine, or has lost a large customer, is neither,
and few months make a wide interval. Orders that the plan itself could not make are not seen.

Imports numpy, `capex.errors`, `capex.shopfloor.trial.statistics` and, of this folder, `variances`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from capex.decision.year_on.variances import Compared
from capex.errors import InputError
from capex.shopfloor.trial.statistics import sample_mean, student_quantile

__all__ = ["CONFIDENCE", "LEAST_FOR_TREND", "Ratio", "Trend", "ratio", "ratios", "trend"]

FloatArray = npt.NDArray[np.float64]

#: Of the intervals: their ends are the 10th and the 90th percentile, as a study's low and high are.
CONFIDENCE: Final = 0.8
#: A trend counts only where no trend can be ruled out at this level, and from so many months on.
_TREND_CONFIDENCE: Final = 0.95
LEAST_FOR_TREND: Final = 6


@dataclass(frozen=True)
class Ratio:
    """Actual over plan of one kind of input.

    Parameters
    ----------
    key : str
        Of `inputs.KINDS`.
    value : float
        1 is as planned [-].
    low, high : float or None
        10th and 90th percentile; None without an interval.
    months : int
        How many it rests on.
    note : str
        Why there is no interval, or what else limits it.
    """

    key: str
    value: float
    low: float | None
    high: float | None
    months: int
    note: str = ""


@dataclass(frozen=True)
class Trend:
    """How the ratio of orders to plan moves.

    Parameters
    ----------
    start : float
        Ratio in the first month of the plan [-].
    yearly : float
        Ratio after a year over the ratio before [-]; 1 is the growth that was planned.
    low, high : float
        10th and 90th percentile of `yearly`.
    low_start, high_start : float
        The same of `start`, the trend being what it is.
    counts : bool
        Whether it is used: no trend lies outside its 95 % interval.
    """

    start: float
    yearly: float
    low: float
    high: float
    low_start: float
    high_start: float
    counts: bool


def ratio(key: str, plan: npt.ArrayLike, actual: npt.ArrayLike) -> Ratio | None:
    """Return actual over plan, or None where one of them is nothing.

    Parameters
    ----------
    key : str
    plan, actual : array_like, shape (n,)
        By month, at least one.

    Returns
    -------
    Ratio or None
        The geometric mean of the months; where one of them is zero, the ratio of the sums.

    Examples
    --------
    >>> found = ratio("demand", [100.0, 200.0, 100.0], [90.0, 190.0, 99.0])
    >>> round(found.value, 4), round(found.low, 4), round(found.high, 4)
    (0.9459, 0.898, 0.9965)
    """
    before, after = np.asarray(plan, dtype=np.float64), np.asarray(actual, dtype=np.float64)
    if before.sum() <= 0 or after.sum() <= 0:
        return None
    count = before.size
    if not ((before > 0).all() and (after > 0).all()):
        note = "a month has none: ratio of the sums, without an interval"
        return Ratio(key, float(after.sum() / before.sum()), None, None, count, note)
    logs = np.log(after / before)
    if count < 2:
        return Ratio(key, float(np.exp(logs[0])), None, None, 1, "one month has no interval")
    found = sample_mean(logs, confidence=CONFIDENCE)
    value, low, high = (float(np.exp(x)) for x in (found.mean, found.low, found.high))
    return Ratio(key, value, low, high, count)


def trend(months: npt.ArrayLike, plan: npt.ArrayLike, actual: npt.ArrayLike) -> Trend | None:
    """Return the straight line through the logarithms of the monthly ratios, by least squares.

    Parameters
    ----------
    months : array_like of int, shape (n,)
        Of the plan, from 1.
    plan, actual : array_like, shape (n,)

    Returns
    -------
    Trend or None
        None for fewer than `LEAST_FOR_TREND` months, or where one of them has nothing.

    Examples
    --------
    >>> month = np.arange(1, 13)
    >>> found = trend(month, np.full(12, 100.0), 90.0 * 1.2 ** ((month - 1) / 12))
    >>> round(found.start, 6), round(found.yearly, 6), found.counts
    (0.9, 1.2, True)
    """
    before, after = np.asarray(plan, dtype=np.float64), np.asarray(actual, dtype=np.float64)
    count = before.size
    if count < LEAST_FOR_TREND or not ((before > 0).all() and (after > 0).all()):
        return None
    years = (np.asarray(months) - 1) / 12.0
    logs = np.log(after / before)
    off = years - years.mean()
    slope = float(off @ logs / (off @ off))
    left = logs - logs.mean() - slope * off
    deviation = float(np.sqrt(left @ left / (count - 2)))
    error = deviation / float(np.sqrt(off @ off))
    half = float(student_quantile(count - 2, CONFIDENCE)) * error
    start = float(logs.mean() - slope * years.mean())
    about = float(student_quantile(count - 2, CONFIDENCE)) * deviation / np.sqrt(count)
    enough = float(student_quantile(count - 2, _TREND_CONFIDENCE)) * error
    return Trend(
        start=float(np.exp(start)), yearly=float(np.exp(slope)),
        low=float(np.exp(slope - half)), high=float(np.exp(slope + half)),
        low_start=float(np.exp(start - about)), high_start=float(np.exp(start + about)),
        counts=abs(slope) > max(enough, 1e-9),  # a slope of rounding alone is none
    )  # fmt: skip


#: Kind of input that each figure tells of.
_TOLD_BY: Final = {
    "demand": "orders", "price": "sales", "materials": "materials", "bought_in": "bought_in",
    "wages": "wages", "upkeep": "upkeep", "repair": "downtime",
}  # fmt: skip


def ratios(found: Mapping[str, Compared], scheduled: FloatArray) -> dict[str, Ratio]:
    """Return the ratio of every kind of input that the records tell of.

    Parameters
    ----------
    found : mapping of str to Compared
        By figure.
    scheduled : ndarray, shape (m,)
        Staffed time of the machines by month of the plan [s].

    Returns
    -------
    dict of str to Ratio
        Prices and costs are those of the orders there were, so that a volume is counted once.
        Time to repair moves broken time over time that is not: MTTR/MTBF of one machine.

    Raises
    ------
    InputError
        Machines are broken for longer than they are staffed.
    """
    told = {key: found[figure] for key, figure in _TOLD_BY.items() if figure in found}
    each = {}
    for key, figure in told.items():
        plan, actual = figure.flexed, figure.actual
        if key == "repair":
            time = scheduled[figure.months - 1]
            _check_downtime(figure, time)
            plan, actual = plan / (time - plan), actual / (time - actual)
        each[key] = ratio(key, plan, actual)
    return {key: one for key, one in each.items() if one is not None}


def _check_downtime(figure: Compared, time: FloatArray) -> None:
    over = np.flatnonzero(figure.actual >= time)
    if over.size:
        k = int(over[0])
        raise InputError(
            f"actuals, month {int(figure.months[k])} of the plan: downtime",
            f"{figure.actual[k] / 3600:g} h",
            f"must be less than {time[k] / 3600:g} h, the staffed time of its machines",
        )
