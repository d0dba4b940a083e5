"""The smallest joint change of two inputs after which another choice is best.

A map of the two shows where the choice changes; the cells of it that lie near are divided again
and again, so that the nearest point of a curved border is found, not only the border's crossing
with the straight way to a point of the map.

Imports numpy, `capex.study`, `appraise` and, of this folder, `two_way`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from capex.decision.appraise import Lateness, appraise, held_lateness
from capex.decision.risk.two_way import TwoWayMap
from capex.study import Study

__all__ = ["Flip", "nearest_flip"]

FloatArray = npt.NDArray[np.float64]
Places = npt.NDArray[np.intp]

_ROUNDS: Final = 5  # a cell is 1,024 times narrower after them
_PARTS: Final = 4  # of a side of a cell, in each round
_CELLS: Final = 16  # divided in each round, the nearest
_STEPS: Final = 16  # parts of the way back, narrowed three times


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
    so that both inputs count alike: √(one share² + the other share²). The 16 nearest cells of the
    map with more than one choice at their corners are divided, five times by four a side. A part
    that lies within one cell of the map goes unseen.

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
    search = _Search.of(study, found, held or {})
    best = search.nearest(found.across, found.up, found.best)
    if best is None:
        return None
    for _ in range(_ROUNDS):
        best = search.divided(best)
    at = search.on_the_way_back(best.at)
    changes = search.shares(at[None])[0]
    to = int(search.best(at[None])[0])
    return Flip(
        (float(at[0]), float(at[1])), (float(changes[0]), float(changes[1])), search.now, to
    )


@dataclass(frozen=True)
class _Nearest:
    """The nearest point so far that flips, and the cells that may hold a nearer one."""

    at: FloatArray  # shape (2,)
    away: float
    cells: FloatArray  # shape (c, 2 inputs, 2 ends)


@dataclass(frozen=True)
class _Search:
    """Where the study stands, and which choice is best at points about it."""

    study: Study
    map: TwoWayMap
    fixed: dict[str, float]
    late: Lateness | None
    here: FloatArray
    whole: npt.NDArray[np.bool_]
    now: int

    @classmethod
    def of(cls, study: Study, found: TwoWayMap, held: Mapping[str, float]) -> _Search:
        fixed = {path: value for path, value in held.items() if path not in found.paths}
        whole = np.array([study.quantity(path).entry.whole for path in found.paths])
        late, here = held_lateness(study, held), np.array(found.likely)
        start = cls(study, found, fixed, late, here, whole, 0)
        return cls(study, found, fixed, late, here, whole, int(start.best(here[None])[0]))

    def best(self, points: FloatArray) -> Places:
        """Return which alternative is best at points, shape (n, 2)."""
        both = {path: points[:, k] for k, path in enumerate(self.map.paths)}
        return appraise(self.study, {**self.fixed, **both}, keep="cash", lateness=self.late).best

    def shares(self, points: FloatArray) -> FloatArray:
        """Return how far points are on the way to the end of the range on their side, (…, 2)."""
        ends = np.array([[axis[0], axis[-1]] for axis in (self.map.across, self.map.up)])
        to_end = np.where(points < self.here, self.here - ends[:, 0], ends[:, 1] - self.here)
        moved = points - self.here
        return np.asarray(np.divide(moved, to_end, out=np.zeros_like(moved), where=to_end > 0.0))

    def nearest(self, across: FloatArray, up: FloatArray, best: Places) -> _Nearest | None:
        """Return the nearest point of a grid that flips, and its cells that have two choices.

        Where the study stands is one more point, of the cell about it.
        """
        other = best != self.now
        if not other.any():
            return None
        points = np.stack(np.meshgrid(across, up), axis=-1)
        away = np.where(other, np.hypot(*np.moveaxis(self.shares(points), -1, 0)), np.inf)
        row, column = np.unravel_index(int(away.argmin()), away.shape)
        corners = np.stack([other[:-1, :-1], other[:-1, 1:], other[1:, :-1], other[1:, 1:]])
        here = np.outer(_around(up, self.here[1]), _around(across, self.here[0]))
        rows, columns = np.nonzero((corners.any(axis=0) & ~corners.all(axis=0)) | here)
        cells = np.stack([
            np.stack([across[columns], across[columns + 1]], axis=1),
            np.stack([up[rows], up[rows + 1]], axis=1),
        ], axis=1)  # fmt: skip
        return _Nearest(points[row, column], float(away[row, column]), cells)

    def divided(self, known: _Nearest) -> _Nearest:
        """Return the nearest point once the nearest cells are divided."""
        near = self._least_away(known.cells)
        order = np.argsort(near, kind="stable")[:_CELLS]
        axes = [self._parts(cell) for cell in known.cells[order[near[order] < known.away]]]
        if not axes:
            return known
        grids = [np.stack(np.meshgrid(x, y), axis=-1) for x, y in axes]
        points = np.concatenate([grid.reshape(-1, 2) for grid in grids])
        each = np.split(self.best(points), np.cumsum([grid[..., 0].size for grid in grids])[:-1])
        found = [known]
        for (x, y), best in zip(axes, each, strict=True):
            inner = self.nearest(x, y, best.reshape(y.size, x.size))
            found += [inner] if inner is not None else []
        first = min(found, key=lambda one: one.away)
        cells = np.concatenate([one.cells for one in found[1:]] or [known.cells[:0]])
        return _Nearest(first.at, first.away, cells)

    def _parts(self, cell: FloatArray) -> tuple[FloatArray, FloatArray]:
        sides = [np.linspace(low, high, _PARTS + 1) for low, high in cell.tolist()]
        for k in np.flatnonzero(self.whole):
            sides[k] = np.unique(np.round(sides[k]))
        return sides[0], sides[1]

    def _least_away(self, cells: FloatArray) -> FloatArray:
        """Return how near cells come to where the study stands."""
        across, up = self.shares(np.clip(self.here, cells[..., 0], cells[..., 1])).T
        return np.asarray(np.hypot(across, up))

    def on_the_way_back(self, end: FloatArray) -> FloatArray:
        """Return the last point on the way back from a point that flips at which it still does.

        Inputs that count whole numbers stay.
        """
        start = np.where(self.whole, end, self.here)
        for _ in range(3):
            steps = end + np.arange(1, _STEPS + 1)[:, None] / _STEPS * (start - end)
            stays = np.flatnonzero(self.best(steps) == self.now)
            last = int(stays[0]) if stays.size else steps.shape[0]
            end, start = (steps[last - 1] if last else end), steps[min(last, len(steps) - 1)]
        return end


def _around(axis: FloatArray, at: float) -> npt.NDArray[np.bool_]:
    """Return which of the parts between values a value lies in."""
    return np.asarray((axis[:-1] <= at) & (at <= axis[1:]))
