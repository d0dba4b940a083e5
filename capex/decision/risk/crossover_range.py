"""The volume at which two alternatives change places, as uncertain as the other inputs make it.

Imports numpy, `capex.errors`, `capex.study`, `appraise` and, of this folder, `chances`,
`draws` and `pieces`.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from capex.decision.appraise import held_lateness
from capex.decision.risk.chances import Estimate, chance, percentiles
from capex.decision.risk.draws import Draws
from capex.decision.risk.pieces import gains_by_block, last_of
from capex.errors import InputError
from capex.study import Study

__all__ = ["CrossoverRange", "crossover_in_pieces", "crossover_range"]

FloatArray = npt.NDArray[np.float64]
_DEMAND: Final = "levers.demand"


@dataclass(frozen=True)
class CrossoverRange:
    """Where two alternatives first change places along the volume, over the draws.

    Parameters
    ----------
    volumes : ndarray, shape (n,)
        Factor on the orders of the study in each draw [-]; inf where they do not change places.
    crosses : Estimate
        How likely they do within the range.
    middle : tuple of three float
        5th, 50th and 95th percentile of those that do [-]; None where none does.
    searched : tuple of two float
        Lowest and highest volume looked at [-].
    """

    volumes: FloatArray
    crosses: Estimate
    middle: tuple[float, float, float] | None
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

    Between neighbouring volumes looked at, the lead is taken as straight.

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
        Looked at, ascending; by default 13 from 0.4 to 2.5 times the orders of the study.

    Raises
    ------
    InputError
        Fewer than two volumes, or volumes that do not ascend.

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
    looked = np.geomspace(0.4, 2.5, 13) if volumes is None else np.asarray(volumes, dtype=float)
    if looked.size < 2 or not np.all(np.diff(looked) > 0.0):
        raise InputError("volumes", looked.tolist(), "must be at least two, ascending")
    fixed: dict[str, npt.ArrayLike] = {**(held or {}), **draws.scenarios()}
    late = held_lateness(study, held)
    leads = np.empty((draws.count, looked.size))
    for k, volume in enumerate(looked):
        batch = {**fixed, _DEMAND: np.full(draws.count, volume)}
        start = 0
        for gains in gains_by_block(study, batch, draws.count, late):
            leads[start : start + len(gains), k] = gains[:, one] - gains[:, other]
            start += len(gains)
            yield (k + start / draws.count) / looked.size
    found = _first_crossing(looked, leads)
    crosses = np.isfinite(found)
    middle = percentiles(found[crosses][:, None])[:, 0].tolist() if crosses.any() else None
    yield CrossoverRange(
        found, chance(crosses), None if middle is None else (middle[0], middle[1], middle[2]),
        (float(looked[0]), float(looked[-1])),
    )  # fmt: skip


def _first_crossing(volumes: FloatArray, leads: FloatArray) -> FloatArray:
    """Return where each row first changes sign, shape (n,); inf where it does not."""
    before, after = leads[:, :-1], leads[:, 1:]
    changes = np.sign(before) * np.sign(after) < 0.0
    first = changes.argmax(axis=1)
    rows = np.arange(len(leads))
    low, high = before[rows, first], after[rows, first]
    share = np.divide(low, low - high, out=np.zeros_like(low), where=changes.any(axis=1))
    found = volumes[first] + share * (volumes[first + 1] - volumes[first])
    return np.where(changes.any(axis=1), found, np.inf)
