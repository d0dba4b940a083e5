"""What it is worth to find out more before signing: of everything, and of one input alone.

Imports numpy, `capex.errors` and, of this folder, `chances` and `draws`.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from capex.decision.risk.chances import FEW, QUANTILE, Estimate, chance, mean
from capex.decision.risk.draws import SETS, Draws

__all__ = ["InputInformation", "perfect_information", "value_of_knowing"]

FloatArray = npt.NDArray[np.float64]

#: What a fit to all sets but one, by its number, says of some draws: leads, shape (some, a).
Fits = Callable[[int, slice], FloatArray]
Places = npt.NDArray[np.intp]

#: Inputs of at most so many values are known by the mean of each value.
_FEW_VALUES: Final = 16
#: Draws in a bin of the others, and the most bins.
_IN_A_BIN: Final = 32
_BINS: Final = 256
#: Degree of the polynomials in the rank, and the rates at which exponentials leave its ends.
_DEGREE: Final = 5
_RATES: Final = (16.0, 64.0, 256.0)
_IN_A_TAIL: Final = 8
#: Keeps a fit apart that the draws do not determine; far below what they say.
_RIDGE: Final = 1e-9


def perfect_information(gains: FloatArray) -> Estimate:
    """Return the expected value of perfect information: E[max] − max E.

    What knowing every input beforehand would be worth, and so the most that any inquiry is.

    Parameters
    ----------
    gains : ndarray, shape (n, a) [currency]
        In the order of the draws; n a multiple of `SETS`.

    Returns
    -------
    Estimate
        At least 0; 0 where one alternative leaves most in every draw [currency].

    Examples
    --------
    A large plant leaves 200 or −180, a small one 100 or −20, none 0, either market as likely.

    >>> gains = np.tile([[200.0, 100.0, 0.0], [-180.0, -20.0, 0.0]], (16, 1))
    >>> perfect_information(gains).value
    60.0

    Source: render-decision-analysis (the example, in thousands).
    """
    best = int(gains.mean(axis=0).argmax())
    return mean(gains.max(axis=1) - gains[:, best])


@dataclass(frozen=True)
class InputInformation:
    """What it is worth to know one input before signing.

    Parameters
    ----------
    path : str
        Of the input.
    worth : Estimate
        Expected value of knowing it [currency]. Where nothing was found it is 0 and its error is
        the most that it may be, 0 only where nothing at all is worth knowing in any draw.
    share : float
        Of the value of knowing everything; 0 where that is 0. Shares do not add up to 1.
    share_error : float
        Half the width of the share's 95 % interval, of the simulation alone; its upper end where
        nothing was found.
    """

    path: str
    worth: Estimate
    share: float
    share_error: float


def value_of_knowing(draws: Draws, gains: FloatArray) -> tuple[InputInformation, ...]:
    """Return what knowing each input alone is worth, most first.

    What each alternative is expected to leave once the input is known is estimated from the draws:
    for an input of a few values the mean of each value, for others a curve over its rank or the
    means of narrow bins. Whoever knows the input chooses by that; the worth is what this choice
    gains over the best one without knowing.

    Parameters
    ----------
    draws : Draws
    gains : ndarray, shape (n, a) [currency]

    Notes
    -----
    Each set of points is judged by what is fitted to all other sets, so that noise is not taken
    for knowledge. No such choice can gain more than the best one: the estimate errs to the low
    side, by some percent where a jump lies between the bins. Where nothing is gained, the worth is
    0 and its error a bound, see `_bound`. The error of a share is that of worth − share × worth of
    everything, draw by draw, as both come from the same draws.

    Source: strong-oakley-2014 (regression for partial perfect information).
    """
    leads = gains - gains[:, [int(gains.mean(axis=0).argmax())]]
    found = [
        _information(one.path, _fits(draws.values[:, k], draws.ranks[:, k], leads), leads)
        for k, one in enumerate(draws.inputs)
    ]
    return tuple(sorted(found, key=lambda known: -known.worth.value))


def _information(path: str, fits: tuple[Fits, ...], leads: FloatArray) -> InputInformation:
    everything = leads.max(axis=1)
    whole, gain = mean(everything).value, _gain_of_knowing(fits, leads)
    worth = mean(gain)
    if worth.value <= 0.0:
        worth = Estimate(0.0, max(worth.error, _bound(fits[0], leads)))
    if whole == 0.0:
        return InputInformation(path, worth, 0.0, 0.0)
    share = worth.value / whole
    off = mean(gain - share * everything).error / whole
    if np.count_nonzero(gain) <= FEW:
        off = max(off, worth.error / whole)
    return InputInformation(path, worth, share, off)


def _fits(values: FloatArray, ranks: FloatArray, leads: FloatArray) -> tuple[Fits, ...]:
    """Return what leads are expected once the input is known, fitted in one way or two.

    By the value alone: where draws have the same value, their ranks say no more.
    """
    known, place = np.unique(values, return_inverse=True)
    if known.size <= _FEW_VALUES:
        return (_means(place, known.size, leads),)
    middle = (np.bincount(place, weights=ranks) / np.bincount(place))[place]
    bins = min(max(len(leads) // _IN_A_BIN, 1), _BINS)
    return (
        _curve(middle, leads),
        _means(np.minimum((middle * bins).astype(np.intp), bins - 1), bins, leads),
    )


def _means(place: Places, groups: int, leads: FloatArray) -> Fits:
    """Return the mean of each group over all sets but one; 0 for a group that they do not have."""
    each = np.arange(len(leads)) // (len(leads) // SETS) * groups + place
    counts = np.bincount(each, minlength=SETS * groups).reshape(SETS, groups, 1)
    columns = [np.bincount(each, lead, SETS * groups) for lead in leads.T]
    sums = np.stack(columns, axis=1).reshape(SETS, groups, -1)
    others = counts.sum(axis=0) - counts
    table = np.where(others > 0, (sums.sum(axis=0) - sums) / np.maximum(others, 1), 0.0)
    return lambda s, some: np.asarray(table[s][place[some]])


def _curve(ranks: FloatArray, leads: FloatArray) -> Fits:
    """Return a polynomial in the rank with exponentials at both ends, fitted to all sets but one.

    The exponentials follow what only the tails turn; the steepest are left out where too few draws
    lie below them.
    """
    tails = [
        np.exp(-rate * end)
        for rate in _RATES if len(ranks) >= _IN_A_TAIL * rate
        for end in (ranks, 1.0 - ranks)
    ]  # fmt: skip
    basis = np.column_stack([np.polynomial.legendre.legvander(2.0 * ranks - 1.0, _DEGREE), *tails])
    sets = basis.reshape(SETS, -1, basis.shape[1])
    products = sets.swapaxes(1, 2) @ sets
    targets = sets.swapaxes(1, 2) @ leads.reshape(SETS, -1, leads.shape[1])
    others = products.sum(axis=0) - products
    others += _RIDGE * len(ranks) * np.eye(basis.shape[1])
    fitted = np.linalg.solve(others, targets.sum(axis=0) - targets)
    return lambda s, some: np.asarray(basis[some] @ fitted[s])


def _gain_of_knowing(fits: tuple[Fits, ...], leads: FloatArray) -> FloatArray:
    """Return what is gained in each draw, shape (n,), by what gains more in the other sets."""
    each = np.stack([_gain_of_choosing(one, leads) for one in fits])
    total = each.sum(axis=2)
    better = (total.sum(axis=1, keepdims=True) - total).argmax(axis=0)
    return np.asarray(each[better, np.arange(SETS)].ravel())


def _gain_of_choosing(fits: Fits, leads: FloatArray) -> FloatArray:
    """Return what is gained by choosing by what the other sets say, shape (SETS, n / SETS)."""
    size = len(leads) // SETS
    expected = np.stack([fits(s, slice(s * size, (s + 1) * size)) for s in range(SETS)])
    chosen = expected.argmax(axis=2)[..., None]
    gained = np.take_along_axis(leads.reshape(expected.shape), chosen, axis=2)[..., 0]
    return np.where(expected.max(axis=2) > 0.0, gained, 0.0)


def _bound(fits: Fits, leads: FloatArray) -> float:
    """Return the most that knowing an input may be worth where choosing by it gains nothing.

    What it would gain if every lead were at the upper end of its interval, by the jackknife over
    the sets (common practice, no source), and in the draws that are rarer than any seen as much as
    knowing everything does in the best draw; at most what knowing everything is worth.
    """
    some = slice(None)
    middle = sum(fits(s, some) for s in range(SETS)) / SETS
    variance = sum((fits(s, some) - middle) ** 2 for s in range(SETS)) / SETS
    end = (middle + QUANTILE * np.sqrt((SETS - 1) * variance)).max(axis=1)
    everything = leads.max(axis=1)
    whole, unseen = mean(everything), chance(np.zeros(len(leads), dtype=bool)).error
    bound = float(np.maximum(end, 0.0).mean() + unseen * everything.max())
    return min(bound, whole.value + whole.error)
