"""The volume at which two alternatives change places, as uncertain as the other inputs make it.

Imports numpy, `capex.errors`, `capex.study`, `appraise` and, of this folder, `chances`,
`draws` and `pieces`.
"""

from __future__ import annotations

from collections.abc import Generator, Iterator, Mapping
from dataclasses import dataclass
from itertools import pairwise
from typing import Final

import numpy as np
import numpy.typing as npt

from capex.decision.appraise import Lateness, held_lateness
from capex.decision.risk.chances import FEW, Estimate, chance, percentile
from capex.decision.risk.draws import Draws
from capex.decision.risk.pieces import gains_by_block, last_of
from capex.errors import InputError
from capex.study import Study

__all__ = ["CrossoverRange", "crossover_in_pieces", "crossover_range"]

FloatArray = npt.NDArray[np.float64]
Rows = npt.NDArray[np.intp]
_DEMAND: Final = "levers.demand"
_LOOKED: Final = np.geomspace(0.4, 2.5, 5)
_HALVINGS: Final = 3  # of the bracket; on the demo the volume is then within 0.4 %
#: With fewer draws all of them may lie on one side of the 5th percentile: 0.95 ** 59 is below 5 %.
_FOR_ENDS: Final = 59


@dataclass(frozen=True)
class CrossoverRange:
    """Where two alternatives first change places along the volume, over the draws.

    Parameters
    ----------
    volumes : ndarray, shape (n,)
        Factor on the orders of the study in each draw [-]; inf where they do not change places.
    crosses : Estimate
        How likely they do within the range.
    extremes : tuple of two float, or None
        Least and most of those that do [-]; None where none does.
    middle : Estimate or None
        50th percentile of those that do [-]; None where they are fewer than `chances.FEW`.
    ends : tuple of two Estimate, or None
        5th and 95th percentile of those that do [-]; None where they are fewer than 59, too few
        to say how sure those are.
    searched : tuple of two float
        Lowest and highest volume looked at [-].
    """

    volumes: FloatArray
    crosses: Estimate
    extremes: tuple[float, float] | None
    middle: Estimate | None
    ends: tuple[Estimate, Estimate] | None
    searched: tuple[float, float]


def crossover_range(
    study: Study,
    draws: Draws,
    one: int,
    other: int,
    held: Mapping[str, float] | None = None,
    *,
    volumes: npt.ArrayLike | None = None,
) -> CrossoverRange:
    """Return the crossover volume of two alternatives in every draw.

    Each draw is looked at from the lowest volume upwards until the lead changes sign; the two
    volumes around it are halved three times, and the lead is straight in what is left. Two
    changes between neighbours of the volumes looked at go unseen.

    Parameters
    ----------
    study : Study
    draws : Draws
        Of the other inputs; a draw of the volume itself is not used.
    one, other : int
        Places of the alternatives.
    held : mapping of str to float, optional
        Inputs at other values than the study's that are not drawn, canonical units.
    volumes : array_like, shape (v,), optional
        Looked at, above 0 and ascending; by default 5 from 0.4 to 2.5 times the orders of the
        study.

    Raises
    ------
    InputError
        Fewer than two volumes, or volumes that do not ascend from above 0.

    Examples
    --------
    >>> from capex.decision.risk.draws import draw
    >>> from capex.study import data_folder, read_study
    >>> study = read_study(data_folder() / "studies" / "quenlow.toml")
    >>> found = crossover_range(study, draw(study, 32), 1, 2, volumes=[0.5, 1.0, 1.5])
    >>> 0.0 <= found.crosses.value <= 1.0
    True
    """
    return last_of(crossover_in_pieces(study, draws, one, other, held, volumes=volumes))


def crossover_in_pieces(
    study: Study,
    draws: Draws,
    one: int,
    other: int,
    held: Mapping[str, float] | None = None,
    *,
    volumes: npt.ArrayLike | None = None,
) -> Iterator[float | CrossoverRange]:
    """Yield the share of the work that is done after each block, and the range at the end.

    Parameters
    ----------
    study, draws, one, other, held, volumes
        As for `crossover_range`.
    """
    looked = _LOOKED if volumes is None else np.asarray(volumes, dtype=float)
    if looked.size < 2 or looked[0] <= 0.0 or not np.all(np.diff(looked) > 0.0):
        raise InputError("volumes", looked.tolist(), "must be at least two, ascending, above 0")
    fixed: dict[str, npt.ArrayLike] = {**(held or {}), **draws.scenarios()}
    lead = _Lead(study, fixed, (one, other), held_lateness(study, held), draws.count)
    found = yield from _first_crossings(lead, looked)
    yield _range(found, (float(looked[0]), float(looked[-1])))


def _range(volumes: FloatArray, searched: tuple[float, float]) -> CrossoverRange:
    crosses = np.isfinite(volumes)
    count, known = np.count_nonzero(crosses), volumes[crosses]
    return CrossoverRange(
        volumes=volumes,
        crosses=chance(crosses),
        extremes=(float(known.min()), float(known.max())) if count else None,
        middle=percentile(volumes, 0.5) if count >= FEW else None,
        ends=(percentile(volumes, 0.05), percentile(volumes, 0.95)) if count >= _FOR_ENDS else None,
        searched=searched,
    )


@dataclass(frozen=True)
class _Lead:
    """By how much one alternative leaves more than another, over draws and volumes."""

    study: Study
    fixed: Mapping[str, npt.ArrayLike]
    pair: tuple[int, int]
    late: Lateness | None
    count: int

    def at(
        self, volumes: npt.ArrayLike, rows: Rows, done: float, step: float
    ) -> Generator[float, None, FloatArray]:
        """Return the leads of some draws at a volume each; yield the share of all that is done."""
        batch = {path: np.broadcast_to(v, self.count)[rows] for path, v in self.fixed.items()}
        batch[_DEMAND] = np.broadcast_to(np.asarray(volumes, dtype=np.float64), rows.size)
        leads = np.empty(rows.size)
        start = 0
        for gains in gains_by_block(self.study, batch, rows.size, self.late):
            stop = start + len(gains)
            leads[start:stop] = gains[:, self.pair[0]] - gains[:, self.pair[1]]
            start = stop
            yield done + step * stop / rows.size
        return leads


def _first_crossings(lead: _Lead, looked: FloatArray) -> Generator[float, None, FloatArray]:
    """Return where each draw first changes sign, shape (n,); inf where it does not."""
    step = 1.0 / (looked.size + _HALVINGS)
    low, high, before, after = (np.full(lead.count, np.inf) for _ in range(4))
    rows = np.arange(lead.count)
    last = yield from lead.at(looked[0], rows, 0.0, step)
    for k, (one, next_) in enumerate(pairwise(looked), start=1):
        if not rows.size:
            break
        leads = yield from lead.at(next_, rows, k * step, step)
        turns = (last != 0.0) & (np.sign(last) * np.sign(leads) <= 0.0)
        at = rows[turns]
        low[at], high[at], before[at], after[at] = one, next_, last[turns], leads[turns]
        rows, last = rows[~turns], leads[~turns]
    at = np.flatnonzero(np.isfinite(low))
    for k in range(_HALVINGS if at.size else 0):
        middle = np.sqrt(low[at] * high[at])
        leads = yield from lead.at(middle, at, (looked.size + k) * step, step)
        same = np.sign(leads) == np.sign(before[at])
        low[at], before[at] = np.where(same, (middle, leads), (low[at], before[at]))
        high[at], after[at] = np.where(same, (high[at], after[at]), (middle, leads))
    found = np.full(lead.count, np.inf)
    found[at] = low[at] + before[at] / (before[at] - after[at]) * (high[at] - low[at])
    return found
