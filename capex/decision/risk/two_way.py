"""Two inputs at once: a map of what every alternative leaves.

Imports numpy, `capex.errors`, `capex.study`, `appraise` and, of this folder, `pieces`.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from capex.decision.appraise import held_lateness
from capex.decision.risk.pieces import gains_by_block, last_of
from capex.errors import InputError
from capex.study import Quantity, Study

__all__ = ["TwoWayMap", "map_in_pieces", "two_way_map"]

FloatArray = npt.NDArray[np.float64]


@dataclass(frozen=True)
class TwoWayMap:
    """What the alternatives leave over two inputs, the others at the scenario's values.

    Parameters
    ----------
    paths : tuple of two str
        Of the inputs along and up.
    keys : tuple of str
        Of the alternatives.
    across : ndarray, shape (x,)
        Values of the first input, ascending, canonical unit.
    up : ndarray, shape (y,)
        Of the second.
    gains : ndarray, shape (y, x, a) [currency]
        Zero is the baseline's line; where two are equal is the line at which the choice switches.
    likely : tuple of two float
        Where the study stands.
    """

    paths: tuple[str, str]
    keys: tuple[str, ...]
    across: FloatArray
    up: FloatArray
    gains: FloatArray
    likely: tuple[float, float]

    @property
    def best(self) -> npt.NDArray[np.intp]:
        """Place of the alternative that leaves most, shape (y, x)."""
        return np.asarray(self.gains.argmax(axis=2))


def two_way_map(
    study: Study,
    across: str,
    up: str,
    held: Mapping[str, float] | None = None,
    *,
    size: int = 41,
    ranges: Mapping[str, tuple[float, float]] | None = None,
) -> TwoWayMap:
    """Return the map of two inputs between their low and high values.

    It reaches as far as where the study stands, if that lies beyond. An input that counts whole
    numbers has no more points than there are such numbers.

    Parameters
    ----------
    study : Study
    across, up : str
        Paths of two different inputs.
    held : mapping of str to float, optional
        Other inputs at other values than the study's, canonical units.
    size : int
        Points along each side, at most, 2 to 201.
    ranges : mapping of str to (float, float), optional
        Ends of an input that has no low and high, or other ends.

    Raises
    ------
    InputError
        One input twice, an input without ends, ends that are none, or a size outside its bounds.

    Examples
    --------
    >>> from capex.study import data_folder, read_study
    >>> study = read_study(data_folder() / "studies" / "quenlow.toml")
    >>> two_way_map(study, "shop.people.wage", "money.discount_rate", size=3).gains.shape
    (3, 3, 4)
    """
    return last_of(map_in_pieces(study, across, up, held, size=size, ranges=ranges))


def map_in_pieces(
    study: Study,
    across: str,
    up: str,
    held: Mapping[str, float] | None = None,
    *,
    size: int = 41,
    ranges: Mapping[str, tuple[float, float]] | None = None,
) -> Iterator[float | TwoWayMap]:
    """Yield the share of the map that is done after each block, and the map at the end.

    Parameters
    ----------
    study, across, up, held, size, ranges
        As for `two_way_map`.
    """
    if across == up:
        raise InputError("up", up, "must be another input than the one across")
    if not 2 <= size <= 201:
        raise InputError("size", size, "must be 2 to 201 points a side")
    here = [float((held or {}).get(p, study.quantity(p).likely)) for p in (across, up)]
    x, y = (
        _axis(study.quantity(path), (*_ends(study, path, ranges), at), size)
        for path, at in zip((across, up), here, strict=True)
    )
    fixed = {path: value for path, value in (held or {}).items() if path not in (across, up)}
    grid = {across: np.tile(x, y.size), up: np.repeat(y, x.size)}
    late = held_lateness(study, held)
    gains = np.empty((x.size * y.size, len(study.alternatives)))
    done = 0
    for block in gains_by_block(study, {**fixed, **grid}, len(gains), late):
        gains[done : done + len(block)] = block
        done += len(block)
        yield done / len(gains)
    yield TwoWayMap(
        (across, up), tuple(study.alternatives), x, y, gains.reshape(y.size, x.size, -1),
        (here[0], here[1]),
    )  # fmt: skip


def _axis(quantity: Quantity, reached: tuple[float, ...], size: int) -> FloatArray:
    """Return the values along a side, ascending, whole where only whole numbers count."""
    values = np.linspace(min(reached), max(reached), size)
    return np.unique(np.round(values)) if quantity.entry.whole else values


def _ends(
    study: Study, path: str, ranges: Mapping[str, tuple[float, float]] | None
) -> tuple[float, float]:
    quantity: Quantity = study.quantity(path)
    low, high = (ranges or {}).get(path, (quantity.low, quantity.high))
    if low is None or high is None:
        raise InputError(path, quantity.likely, "has no low and high value; give its range")
    if not low < high:
        raise InputError(path, (low, high), "must have a low below its high")
    return low, high
