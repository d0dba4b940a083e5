"""What draws say: chances with their simulation error, percentiles, regret, dominance.

Errors come from the spread between the independently scrambled sets of points. That spread says
little of what few draws show: up to `FEW` of them, an error is at least that of a count. With n
draws and none seen, a chance is below 3/n at 95 % confidence.

Imports numpy, scipy, `capex.errors` and, of this folder, `draws`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt
from scipy import special

from capex.decision.risk.draws import SETS
from capex.errors import InputError

__all__ = [
    "FEW",
    "QUANTILE",
    "Estimate",
    "best_shares",
    "chance",
    "dominance",
    "mean",
    "percentile",
    "percentiles",
    "regret",
    "same_distribution",
    "twins",
]

FloatArray = npt.NDArray[np.float64]

_CONFIDENCE: Final = 0.95
#: Factor on the standard error of a mean of `SETS` sets: Student's quantile.
QUANTILE: Final = float(special.stdtrit(SETS - 1, 0.5 + _CONFIDENCE / 2.0))
#: Rule of three: −log(0.05) is about 3; source hanley-1983.
_NONE_SEEN: Final = -float(np.log(1.0 - _CONFIDENCE))
#: Up to how many draws something must be seen in for a count to say how sure it is.
FEW: Final = 20


@dataclass(frozen=True)
class Estimate:
    """A figure from draws and how far the simulation may be off.

    Parameters
    ----------
    value : float
    error : float
        Half the width of its 95 % interval: of the simulation alone, not of the inputs.
    """

    value: float
    error: float


def mean(figures: npt.ArrayLike) -> Estimate:
    """Return the mean of a figure over the draws, with its simulation error.

    Parameters
    ----------
    figures : array_like, shape (n,)
        In the order of the draws; n a multiple of `SETS`. Where at most `FEW` of them, and fewer
        than half, differ from 0, the error is at least that of how many do.

    Raises
    ------
    InputError
        A figure that is not finite, or a length that is no multiple of `SETS`.

    Examples
    --------
    >>> mean([2.0] * 32)
    Estimate(value=2.0, error=0.0)

    Source: owen-1998 (error of randomized sets by their spread), clopper-pearson-1934 (few seen).
    """
    values = np.asarray(figures, dtype=np.float64)
    if values.ndim != 1 or values.size == 0 or values.size % SETS:
        raise InputError("figures", values.shape, f"must have a multiple of {SETS} values")
    if not np.isfinite(values).all():
        raise InputError("figures", float(values[~np.isfinite(values)][0]), "must be finite")
    each = values.reshape(SETS, -1).mean(axis=1)
    spread = float(QUANTILE * each.std(ddof=1) / np.sqrt(SETS))
    return Estimate(float(each.mean()), max(spread, _error_of_few(values)))


def _error_of_few(values: FloatArray) -> float:
    """Return how far a mean may be off for the few values that are not 0; 0 where they are many.

    From the share seen up to the end of its exact 95 % interval, the wider half, times the size of
    what is seen (root mean square).
    """
    seen = values[values != 0.0]
    if not 0 < seen.size <= min(FEW, (values.size - 1) // 2):
        return 0.0
    tail = 0.5 + _CONFIDENCE / 2.0
    end = special.betaincinv(seen.size + 1.0, values.size - seen.size, tail)
    return float((end - seen.size / values.size) * np.sqrt(np.mean(seen**2)))


def chance(happens: npt.ArrayLike) -> Estimate:
    """Return how likely something is, with its simulation error.

    Parameters
    ----------
    happens : array_like of bool, shape (n,)
        In the order of the draws; n a multiple of `SETS`.

    Raises
    ------
    InputError
        A length that is no multiple of `SETS`.

    Examples
    --------
    >>> found = chance([False] * 4096)
    >>> found.value, round(found.error * 4096, 2)
    (0.0, 3.0)

    Source: hanley-1983 (none seen), clopper-pearson-1934 (few seen).
    """
    seen = np.asarray(happens, dtype=bool)
    if seen.size % SETS or not seen.size:
        raise InputError("happens", seen.size, f"must be a multiple of {SETS} draws")
    rarer = ~seen if 2 * np.count_nonzero(seen) > seen.size else seen
    error = mean(rarer.astype(np.float64)).error if rarer.any() else _NONE_SEEN / seen.size
    return Estimate(float(seen.mean()), error)


def best_shares(gains: FloatArray) -> tuple[Estimate, ...]:
    """Return how likely each alternative is to leave most money; the chances add up to 1.

    Alternatives that come to exactly the same share the draw.

    Parameters
    ----------
    gains : ndarray, shape (n, a) [currency]

    Examples
    --------
    >>> [one.value for one in best_shares(np.tile([[1.0, 2.0], [3.0, 3.0]], (16, 1)))]
    [0.25, 0.75]
    """
    first = gains == gains.max(axis=1, keepdims=True)
    shares = first / first.sum(axis=1, keepdims=True)
    found = []
    for column in shares.T:
        whole = bool(np.all((column == 0.0) | (column == 1.0)))
        found.append(chance(column == 1.0) if whole else mean(column))
    return tuple(found)


def twins(gains: FloatArray) -> dict[int, tuple[int, ...]]:
    """Return the alternatives that come to exactly the same as another in every draw.

    Parameters
    ----------
    gains : ndarray, shape (n, a) [currency]

    Returns
    -------
    dict of int to tuple of int
        Place of each such alternative, and those that it equals.

    Examples
    --------
    >>> twins(np.array([[1.0, 2.0, 1.0], [3.0, 3.0, 3.0]]))
    {0: (2,), 2: (0,)}
    """
    places = range(gains.shape[1])
    equal = {
        one: tuple(k for k in places if k != one and np.array_equal(gains[:, one], gains[:, k]))
        for one in places
    }
    return {one: others for one, others in equal.items() if others}


def percentiles(figures: FloatArray, shares: npt.ArrayLike = (0.05, 0.5, 0.95)) -> FloatArray:
    """Return percentiles of figures; inf stays inf where a draw has none.

    Parameters
    ----------
    figures : ndarray, shape (n, a)
    shares : array_like, shape (q,)
        Between 0 and 1.

    Returns
    -------
    ndarray, shape (q, a)
        The least figure that at least that share of the draws does not exceed.

    Raises
    ------
    InputError
        A share outside 0 … 1.

    Examples
    --------
    >>> percentiles(np.arange(1.0, 101.0)[:, None])[:, 0].tolist()
    [5.0, 50.0, 95.0]
    """
    wanted = np.atleast_1d(np.asarray(shares, dtype=np.float64))
    if not np.all((wanted >= 0.0) & (wanted <= 1.0)):
        raise InputError("shares", wanted.tolist(), "must lie between 0 and 1")
    places = np.ceil(wanted * len(figures) - 1e-9).astype(np.intp) - 1
    return np.asarray(np.sort(figures, axis=0)[np.maximum(places, 0)])


def percentile(figures: FloatArray, share: float) -> Estimate:
    """Return a percentile of those draws that have a figure, with its simulation error.

    The error is that of the chance to stay below, turned into figures (Woodruff's interval): half
    the way from the percentile at that chance less its error to the one at that chance and its
    error.

    Parameters
    ----------
    figures : ndarray, shape (n,)
        In the order of the draws, inf where a draw has none; n a multiple of `SETS`.
    share : float
        Between 0 and 1.

    Raises
    ------
    InputError
        No draw has a figure, a share outside 0 … 1, or a length that is no multiple of `SETS`.

    Examples
    --------
    >>> percentile(np.tile([3.0, 3.0, np.inf], 16), 0.5)
    Estimate(value=3.0, error=0.0)

    Source: woodruff-1952.
    """
    has = np.isfinite(figures)
    known = figures[has][:, None]
    if not known.size:
        raise InputError("figures", len(figures), "must be finite in some of the draws")
    value = float(percentiles(known, share)[0, 0])
    below = mean(np.where(has, (figures <= value) - share, 0.0) / has.mean())
    least = max(below.error, 1.0 / len(known))  # draws come one at a time
    ends = percentiles(known, np.clip([share - least, share + least], 0.0, 1.0))[:, 0]
    return Estimate(value, float(ends[1] - ends[0]) / 2.0)


def regret(gains: FloatArray) -> FloatArray:
    """Return what each alternative leaves less than the best of each draw, shape (n, a).

    Parameters
    ----------
    gains : ndarray, shape (n, a) [currency]

    Examples
    --------
    >>> regret(np.array([[1.0, 4.0], [2.0, 0.0]])).tolist()
    [[3.0, 0.0], [0.0, 2.0]]
    """
    return np.asarray(gains.max(axis=1, keepdims=True) - gains)


def dominance(gains: FloatArray, one: int, other: int) -> int:
    """Return the order in which one alternative's distribution dominates another's, or 0.

    First order (1): at every level it is at least as likely to leave that much; whoever wants
    more money prefers it. Second order (2): whoever also shuns risk does. Identical
    distributions dominate each other in neither.

    Parameters
    ----------
    gains : ndarray, shape (n, a) [currency]
    one, other : int
        Places of the alternatives.

    Examples
    --------
    >>> gains = np.array([[1.0, 0.0, 3.0], [2.0, 1.5, -1.0]])
    >>> dominance(gains, 0, 1), dominance(gains, 0, 2), dominance(gains, 1, 0)
    (1, 2, 0)

    Source: hadar-russell-1969 (conditions on the sorted outcomes of equally likely draws).
    """
    if same_distribution(gains, one, other):
        return 0
    ahead, rounding = _ahead(gains, one, other)
    if np.all(ahead >= -rounding):
        return 1
    return 2 if np.all(np.cumsum(ahead) >= -rounding * ahead.size) else 0


def same_distribution(gains: FloatArray, one: int, other: int) -> bool:
    """Return whether two alternatives leave the same at every chance, but for rounding.

    Parameters
    ----------
    gains : ndarray, shape (n, a) [currency]
    one, other : int
        Places of the alternatives.

    Examples
    --------
    >>> gains = np.array([[1.0, 2.0, 3.0], [2.0, 1.0, 3.0]])
    >>> same_distribution(gains, 0, 1), same_distribution(gains, 0, 2)
    (True, False)
    """
    ahead, rounding = _ahead(gains, one, other)
    return bool(np.all(np.abs(ahead) <= rounding))


def _ahead(gains: FloatArray, one: int, other: int) -> tuple[FloatArray, float]:
    """Return by how much one leaves more than another at every chance, and what is rounding."""
    ahead = np.sort(gains[:, one]) - np.sort(gains[:, other])
    return ahead, 1e-9 * max(float(np.abs(gains).max()), 1e-300)
