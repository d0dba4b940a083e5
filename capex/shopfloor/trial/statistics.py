"""What stopwatch readings say: mean and interval, repeats still needed, normal and standard time.

Imports numpy, scipy.special, `capex.errors` and `capex.shopfloor.arrays`. (scipy.special alone
has the quantiles that are needed, and loads much faster than scipy.stats.)
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
import numpy.typing as npt
from scipy import special

from capex.errors import InputError
from capex.shopfloor.arrays import FloatArray, bounded

__all__ = [
    "CONFIDENCE",
    "Basis",
    "SampleMean",
    "charted_repeats",
    "normal_time",
    "repeats_needed",
    "sample_mean",
    "share_interval",
    "standard_time",
    "student_quantile",
]

Basis = Literal["job", "workday"]

#: Confidence of all intervals unless said otherwise.
CONFIDENCE: Final = 0.95


def student_quantile(degrees: npt.ArrayLike, confidence: npt.ArrayLike = CONFIDENCE) -> FloatArray:
    """Return the half width of a two-sided interval, in standard errors.

    Parameters
    ----------
    degrees : array_like (...)
        Degrees of freedom [-], at least 1.
    confidence : array_like (...)
        [-], above 0 and below 1.

    Returns
    -------
    ndarray (...)
        [-].

    Raises
    ------
    InputError
        A value outside its bounds.

    Examples
    --------
    >>> float(student_quantile(9).round(3))
    2.262

    Notes
    -----
    Quantile (1 + confidence)/2 of Student's distribution. Source `derivable`.
    """
    freedom = bounded("degrees of freedom", degrees, at_least=1)
    level = _confidence(confidence)
    result: FloatArray = np.asarray(special.stdtrit(freedom, (1.0 + level) / 2.0))
    return result


def _confidence(confidence: npt.ArrayLike) -> FloatArray:
    level = bounded("confidence", confidence, above=0)
    if np.any(level >= 1.0):
        raise InputError("confidence", float(level.max()), "must be less than 1")
    return level


@dataclass(frozen=True, eq=False)
class SampleMean:
    """Mean of repeated readings with its interval; arrays have the leading shape of the readings.

    Parameters
    ----------
    count : int
        Readings [-].
    mean, standard_deviation : ndarray (...)
        In the unit of the readings; of the sample, n − 1 in the denominator.
    low, high : ndarray (...)
        Interval of the mean.
    confidence : float
        Of the interval [-].
    """

    count: int
    mean: FloatArray
    standard_deviation: FloatArray
    low: FloatArray
    high: FloatArray
    confidence: float


def sample_mean(readings: npt.ArrayLike, *, confidence: float = CONFIDENCE) -> SampleMean:
    """Return mean, standard deviation and Student interval of repeated readings.

    Assumes independent readings that scatter normally about one mean.

    Parameters
    ----------
    readings : array_like (..., n)
        At least two, any unit.
    confidence : float
        [-].

    Returns
    -------
    SampleMean

    Raises
    ------
    InputError
        Fewer than two readings, or a value that is not finite.

    Examples
    --------
    >>> found = sample_mean([7.0, 6.0, 7.0, 7.0, 6.0])
    >>> [float(value.round(3)) for value in (found.mean, found.low, found.high)]
    [6.6, 5.92, 7.28]

    Notes
    -----
    x̄ ± t·s/√n. Source `derivable`.
    """
    values = bounded("readings", readings)
    count = values.shape[-1] if values.ndim else 0
    if count < 2:
        raise InputError("readings", count, "must be at least 2 for an interval")
    mean = values.mean(axis=-1)
    deviation = values.std(axis=-1, ddof=1)
    half = student_quantile(count - 1, confidence) * deviation / np.sqrt(count)
    return SampleMean(
        count, np.asarray(mean), np.asarray(deviation), mean - half, mean + half, confidence
    )


def repeats_needed(
    mean: npt.ArrayLike,
    standard_deviation: npt.ArrayLike,
    *,
    count: npt.ArrayLike,
    share: npt.ArrayLike = 0.05,
    confidence: npt.ArrayLike = CONFIDENCE,
) -> FloatArray:
    """Return the readings needed in all for an interval of ± a share of the mean.

    Assumes that the scatter seen so far goes on. Round up; take off those already made.

    Parameters
    ----------
    mean, standard_deviation : array_like (...)
        Of the readings so far, one unit.
    count : array_like (...)
        Readings so far [-], at least 2.
    share : array_like (...)
        Wanted half width as a share of the mean [-].
    confidence : array_like (...)
        [-].

    Returns
    -------
    ndarray (...)
        [-], not rounded.

    Raises
    ------
    InputError
        A value outside its bounds.

    Examples
    --------
    >>> float(repeats_needed(0.3, 0.03, count=10).round(2))
    20.47

    Notes
    -----
    n = (t·s/(k·x̄))². Source `niebel`, chapter on time study.
    """
    middle = bounded("mean", mean, above=0)
    spread = bounded("standard_deviation", standard_deviation, at_least=0)
    made = bounded("count", count, at_least=2)
    wanted = bounded("share", share, above=0)
    result: FloatArray = (
        student_quantile(made - 1.0, confidence) * spread / (wanted * middle)
    ) ** 2
    return result


def charted_repeats(
    readings: npt.ArrayLike, *, share: npt.ArrayLike = 0.05, deviations: npt.ArrayLike = 2.0
) -> FloatArray:
    """Return the readings needed by the charting formula of work study: ±5 % at 95 % unless given.

    Assumes two standard errors for 95 % and the deviation of the readings themselves, n in the
    denominator; with few readings it asks for too few, so `repeats_needed` decides.

    Parameters
    ----------
    readings : array_like (..., n)
        Any unit.
    share : array_like (...)
        Wanted half width as a share of the mean [-].
    deviations : array_like (...)
        Standard errors in the half width [-].

    Returns
    -------
    ndarray (...)
        [-], not rounded.

    Raises
    ------
    InputError
        A reading that is not positive, or a value outside its bounds.

    Examples
    --------
    >>> float(charted_repeats([7, 6, 7, 7, 6]).round(2))
    8.82

    Notes
    -----
    n = ((z/k)·√(n′Σx² − (Σx)²)/Σx)². Source `ilo-work-study`, chapter on time study.
    """
    values = bounded("readings", readings, above=0)
    if values.ndim == 0 or values.shape[-1] < 2:
        raise InputError("readings", values.size, "must be at least 2")
    factor = bounded("deviations", deviations, above=0) / bounded("share", share, above=0)
    total = values.sum(axis=-1)
    spread = np.maximum(values.shape[-1] * (values**2).sum(axis=-1) - total**2, 0.0)
    result: FloatArray = factor**2 * spread / total**2
    return result


def normal_time(observed: npt.ArrayLike, rating: npt.ArrayLike = 1.0) -> FloatArray:
    """Return the time that an operator of standard pace would have taken.

    Parameters
    ----------
    observed : array_like (...)
        [s].
    rating : array_like (...)
        Pace of the operator who was timed against standard pace [-]; 1 for machine time.

    Returns
    -------
    ndarray (...)
        [s].

    Raises
    ------
    InputError
        A value outside its bounds.

    Examples
    --------
    >>> float(normal_time(18.75, 0.96))
    18.0

    Notes
    -----
    Source `stevenson`, chapter 7.
    """
    seen = bounded("observed", observed, "s", at_least=0)
    result: FloatArray = seen * bounded("rating", rating, above=0)
    return result


def standard_time(
    operator_time: npt.ArrayLike,
    *,
    allowance: npt.ArrayLike,
    basis: Basis = "job",
    machine_time: npt.ArrayLike = 0.0,
) -> FloatArray:
    """Return the time to plan for work with rest, delays and needs allowed for.

    Assumes that people need allowances and machines do not: only operator work is raised.

    Parameters
    ----------
    operator_time : array_like (...)
        Normal time of operator work [s].
    allowance : array_like (...)
        Share of job time ("job") or of the workday ("workday") [-], below 1 for a workday.
    basis : {"job", "workday"}
    machine_time : array_like (...)
        Time that the machine sets [s].

    Returns
    -------
    ndarray (...)
        [s].

    Raises
    ------
    InputError
        A value outside its bounds.

    Examples
    --------
    >>> float(standard_time(18.0, allowance=0.15).round(2))
    20.7
    >>> float(standard_time(18.0, allowance=0.15, basis="workday").round(2))
    21.18
    >>> float(standard_time(18.0, allowance=0.15, machine_time=60.0).round(2))
    80.7

    Notes
    -----
    Factor 1 + A of job time, 1/(1 − A) of the workday. Source `stevenson`, chapter 7.
    """
    work = bounded("operator_time", operator_time, "s", at_least=0)
    machine = bounded("machine_time", machine_time, "s", at_least=0)
    share = bounded("allowance", allowance, at_least=0)
    if basis == "job":
        factor = 1.0 + share
    elif basis == "workday":
        if np.any(share >= 1.0):
            raise InputError("allowance", float(share.max()), "must be less than 1 of a workday")
        factor = 1.0 / (1.0 - share)
    else:
        raise InputError("basis", basis, "must be 'job' or 'workday'")
    result: FloatArray = work * factor + machine
    return result


def share_interval(
    part: npt.ArrayLike, whole: npt.ArrayLike, *, confidence: npt.ArrayLike = CONFIDENCE
) -> tuple[FloatArray, FloatArray]:
    """Return the interval of a share counted in a sample, such as spoiled among timed pieces.

    Assumes independent pieces. Exact in the sense that it covers at least the confidence.

    Parameters
    ----------
    part, whole : array_like (...)
        Counts [-].
    confidence : array_like (...)
        [-].

    Returns
    -------
    low, high : ndarray (...)
        [-], in [0, 1].

    Raises
    ------
    InputError
        A value outside its bounds, or a part larger than the whole.

    Examples
    --------
    >>> low, high = share_interval(0, 30)
    >>> float(low), float(high.round(4))
    (0.0, 0.1157)

    Notes
    -----
    Clopper and Pearson, by quantiles of the beta distribution. Source `derivable`.
    """
    count = bounded("whole", whole, at_least=1)
    found = bounded("part", part, at_least=0)
    if np.any(found > count):
        raise InputError("part", float(found.max()), "must be at most the whole")
    tail = (1.0 - _confidence(confidence)) / 2.0
    some, others = np.maximum(found, 1e-300), np.maximum(count - found, 1e-300)
    low = np.where(found > 0, special.betaincinv(some, count - found + 1.0, tail), 0.0)
    high = np.where(found < count, special.betaincinv(found + 1.0, others, 1.0 - tail), 1.0)
    return low, high
