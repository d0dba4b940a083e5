"""From an input's low, likely and high to the distribution that it is drawn from.

A distribution is a function from ranks between 0 and 1 to values, so that whatever draws the ranks
(Sobol points, a copula) decides what goes together.

Imports numpy, scipy, `capex.errors` and `capex.study`.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any, Final

import numpy as np
import numpy.typing as npt
from scipy import special, stats

from capex.errors import InputError
from capex.study import Quantity, Study
from capex.study.spread import P90

__all__ = ["InputDistribution", "uncertain_inputs"]

FloatArray = npt.NDArray[np.float64]

#: Weight of the mode in a PERT distribution.
_MODE_WEIGHT: Final = 4.0


@dataclass(frozen=True)
class InputDistribution:
    """What an input may turn out to be.

    Parameters
    ----------
    path : str
        Of the input in the study.
    quantity : Quantity
        As entered, with its spread.

    Examples
    --------
    >>> from capex.study import Quantity, default
    >>> from capex.study.quantity import Entry
    >>> from dataclasses import replace
    >>> days = replace(default(55, Entry("number")), low=40.0, high=100.0)
    >>> found = InputDistribution("days", days)
    >>> round(found.mean, 6), round(found.variance, 3)
    (60.0, 114.286)
    >>> found.values([0.0, 1.0]).tolist()
    [40.0, 100.0]

    Source: malcolm-pert (mean and shape); the variance is that of the beta form itself.
    """

    path: str
    quantity: Quantity

    @cached_property
    def _ends(self) -> tuple[float, float]:
        low, high = self.quantity.low, self.quantity.high
        if low is None or high is None:
            raise InputError(self.path, self.quantity.likely, "has no low and high value")
        return low, high

    @cached_property
    def _curve(self) -> Any:
        """The frozen distribution of scipy; None for a discrete one."""
        (low, high), likely = self._ends, self.quantity.likely
        match self.quantity.distribution:
            case "pert":
                weight = _MODE_WEIGHT / (high - low)
                alpha, beta = 1.0 + weight * (likely - low), 1.0 + weight * (high - likely)
                return stats.beta(alpha, beta, loc=low, scale=high - low)
            case "triangular":
                return stats.triang((likely - low) / (high - low), loc=low, scale=high - low)
            case "normal":
                spread = (high - low) / (2.0 * P90)
                ends = [(end - likely) / spread for end in self.quantity.entry.ends]
                return stats.truncnorm(*ends, loc=likely, scale=spread)
            case "lognormal":
                spread = float(np.log(high / low)) / (2.0 * P90)
                least, most = self.quantity.entry.ends
                if least <= 0.0 and np.isinf(most):
                    return stats.lognorm(spread, scale=likely)
                return _CutLognormal(likely, spread, max(least, 0.0), most)
        return None

    def values(self, ranks: npt.ArrayLike) -> FloatArray:
        """Return the values at ranks, canonical unit; whole where only whole numbers count.

        Parameters
        ----------
        ranks : array_like, any shape
            Between 0 and 1.

        Returns
        -------
        ndarray
            Of the same shape.

        Raises
        ------
        InputError
            A rank outside 0 … 1.
        """
        given = np.asarray(ranks, dtype=np.float64)
        fits = (given >= 0.0) & (given <= 1.0)
        if not fits.all():
            raise InputError("ranks", float(given[~fits].flat[0]), "must lie between 0 and 1")
        if self._curve is None:
            can = self._chances > 0.0  # else rank 1 would give a high of chance 0
            limits = np.cumsum(self._chances[can])[:-1]
            return self._three[can][np.searchsorted(limits, given, side="right")]
        found = np.asarray(self._curve.ppf(given), dtype=np.float64)
        return np.round(found) if self.quantity.entry.whole else found

    @cached_property
    def mean(self) -> float:
        """Before rounding to whole numbers, canonical unit."""
        if self._curve is not None:
            return float(self._curve.mean())
        return float(np.dot(self._three, self._chances))

    @cached_property
    def variance(self) -> float:
        """Before rounding to whole numbers, canonical unit squared."""
        if self._curve is not None:
            return float(self._curve.var())
        return float(np.dot((self._three - self.mean) ** 2, self._chances))

    @property
    def _three(self) -> FloatArray:
        return np.array([self._ends[0], self.quantity.likely, self._ends[1]])

    @property
    def _chances(self) -> FloatArray:
        return np.array(self.quantity.chances)


class _CutLognormal:
    """A lognormal distribution that is cut off at the bounds of a field.

    Parameters
    ----------
    median, spread : float
        Before it is cut off: of the value, and of its logarithm (standard deviation).
    least, most : float
        Bounds; the least may be 0, the greatest infinite.
    """

    def __init__(self, median: float, spread: float, least: float, most: float) -> None:
        with np.errstate(divide="ignore"):
            ends = np.log(np.array([least, most]) / median) / spread
        self._median, self._spread, self._ends, self._bounds = median, spread, ends, (least, most)
        self._log = stats.truncnorm(*ends)

    def ppf(self, ranks: FloatArray) -> FloatArray:
        """Return the values at ranks."""
        found = self._median * np.exp(self._spread * self._log.ppf(ranks))
        return np.asarray(np.clip(found, *self._bounds))  # a last digit beyond them is rounding

    def mean(self) -> float:
        return self._moment(1)

    def var(self) -> float:
        return self._moment(2) - self._moment(1) ** 2

    def _moment(self, power: int) -> float:
        """Return the mean of a power: a normal curve's part, moved by the power's slope."""
        moved = self._ends - power * self._spread
        part = np.diff(special.ndtr(moved))[0] / np.diff(special.ndtr(self._ends))[0]
        return float(self._median**power * np.exp(0.5 * (power * self._spread) ** 2) * part)


def uncertain_inputs(study: Study) -> tuple[InputDistribution, ...]:
    """Return the distributions of all inputs of a study that have a spread, in its order.

    Parameters
    ----------
    study : Study

    Examples
    --------
    >>> from capex.study import data_folder, read_study
    >>> found = uncertain_inputs(read_study(data_folder() / "studies" / "quenlow.toml"))
    >>> all(one.quantity.low <= one.mean <= one.quantity.high for one in found)
    True
    """
    return tuple(
        InputDistribution(path, quantity)
        for path, quantity in study.quantities()
        if quantity.low is not None and quantity.low != quantity.high
    )
