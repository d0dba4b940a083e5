"""Two inputs at once: a map of what every alternative leaves, and the nearest point that flips it.

Imports numpy, `capex.errors`, `capex.study`, `appraise` and, of this folder, `pieces`.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from capex.decision.appraise import Lateness, appraise, held_lateness
from capex.decision.risk.pieces import gains_by_block, last_of
from capex.errors import InputError
from capex.study import Quantity, Study

__all__ = ["Flip", "TwoWayMap", "map_in_pieces", "nearest_flip", "two_way_map"]

FloatArray = npt.NDArray[np.float64]

_NARROWED: Final = 12  # halvings of the way to the nearest flip


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

    Parameters
    ----------
    study : Study
    across, up : str
        Paths of two different inputs.
    held : mapping of str to float, optional
        Other inputs at other values than the study's, canonical units.
    size : int
        Points along each side, 2 to 201.
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
    ends = [_ends(study, path, ranges) for path in (across, up)]
    x, y = (np.linspace(low, high, size) for low, high in ends)
    fixed = {path: value for path, value in (held or {}).items() if path not in (across, up)}
    grid = {across: np.tile(x, size), up: np.repeat(y, size)}
    late = held_lateness(study, held)
    gains = np.empty((size * size, len(study.alternatives)))
    done = 0
    for block in gains_by_block(study, {**fixed, **grid}, size * size, late):
        gains[done : done + len(block)] = block
        done += len(block)
        yield done / len(gains)
    here = tuple(float((held or {}).get(p, study.quantity(p).likely)) for p in (across, up))
    yield TwoWayMap(
        (across, up), tuple(study.alternatives), x, y, gains.reshape(size, size, -1),
        (here[0], here[1]),
    )  # fmt: skip


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


@dataclass(frozen=True)
class Flip:
    """The nearest point at which another alternative is best.

    Parameters
    ----------
    values : tuple of two float
        Of the map's inputs, canonical units.
    changes : tuple of two float
        From where the study stands, as shares of the way to the end of the range on that side.
    from_, to : int
        Places of the alternatives that are best before and after.
    """

    values: tuple[float, float]
    changes: tuple[float, float]
    from_: int
    to: int


def nearest_flip(
    study: Study, found: TwoWayMap, held: Mapping[str, float] | None = None
) -> Flip | None:
    """Return the smallest joint change of a map's inputs after which another choice is best.

    Distance is measured in shares of the way from where the study stands to the end of the range,
    so that both inputs count alike. The nearest point of the map is narrowed along the straight
    way to it.

    Parameters
    ----------
    study : Study
    found : TwoWayMap
    held : mapping of str to float, optional
        As the map was made with.

    Returns
    -------
    Flip or None
        None where the same alternative is best all over the map.
    """
    fixed = {path: value for path, value in (held or {}).items() if path not in found.paths}
    here = np.array(found.likely)
    late = held_lateness(study, dict(held or {}))
    now = int(_best(study, fixed, found.paths, here[None], late)[0])
    shares = [_shares(axis, at) for axis, at in zip((found.across, found.up), here, strict=True)]
    away = np.hypot(shares[0][None, :], shares[1][:, None])
    other = found.best != now
    if not other.any():
        return None
    row, column = np.unravel_index(np.where(other, away, np.inf).argmin(), other.shape)
    end = np.array([found.across[column], found.up[row]])
    low, high = 0.0, 1.0
    for _ in range(_NARROWED):
        steps = np.linspace(low, high, 10)[1:-1]
        best = _best(study, fixed, found.paths, here + steps[:, None] * (end - here), late)
        flips = np.flatnonzero(best != now)
        first = int(flips[0]) if flips.size else steps.size
        low, high = (
            float(steps[first - 1]) if first else low,
            float(steps[first]) if first < steps.size else high,
        )
        if high - low < 1e-6:
            break
    at = here + high * (end - here)
    to = int(_best(study, fixed, found.paths, at[None], late)[0])
    changes = (high * float(shares[0][column]), high * float(shares[1][row]))
    return Flip((float(at[0]), float(at[1])), changes, now, to)


def _shares(axis: FloatArray, at: float) -> FloatArray:
    """Return how far each value is on its way from here to the end of the range on its side."""
    to_end = np.where(axis < at, at - axis[0], axis[-1] - at)
    return np.asarray(np.divide(axis - at, to_end, out=np.zeros_like(axis), where=to_end > 0.0))


def _best(
    study: Study,
    fixed: Mapping[str, float],
    paths: tuple[str, str],
    points: FloatArray,
    late: Lateness | None,
) -> npt.NDArray[np.intp]:
    scenarios = {path: points[:, k] for k, path in enumerate(paths)}
    return appraise(study, {**fixed, **scenarios}, keep="cash", lateness=late).best
