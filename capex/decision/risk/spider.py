"""One input at a time along its own distribution: what each alternative leaves.

The swing of an input is the largest less the smallest figure at its percentiles and at its likely
value, so that an input whose ends both lie on one side of today counts with what it moves.

Imports numpy, `capex.study`, `appraise` and, of this folder, `distributions` and `pieces`.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from capex.decision.appraise import Lateness, held_lateness
from capex.decision.risk.distributions import InputDistribution, uncertain_inputs
from capex.decision.risk.pieces import gains_by_block, last_of
from capex.study import Study

__all__ = ["InputLine", "Spider", "spider", "spider_in_pieces"]

FloatArray = npt.NDArray[np.float64]


@dataclass(frozen=True)
class InputLine:
    """What the alternatives leave along one input, the others at their likely values.

    Parameters
    ----------
    input : InputDistribution
    values : ndarray, shape (p,)
        At the percentiles, canonical unit.
    gains : ndarray, shape (p, a) [currency]
    """

    input: InputDistribution
    values: FloatArray
    gains: FloatArray


@dataclass(frozen=True)
class Spider:
    """All uncertain inputs.

    Parameters
    ----------
    keys : tuple of str
        Of the alternatives.
    percentiles : ndarray, shape (p,)
        Ascending, between 0 and 1.
    gains : ndarray, shape (a,) [currency]
        At the likely values.
    lines : tuple of InputLine
    """

    keys: tuple[str, ...]
    percentiles: FloatArray
    gains: FloatArray
    lines: tuple[InputLine, ...]

    def swings(self, one: int, other: int | None = None) -> tuple[tuple[InputLine, float], ...]:
        """Return the inputs with the change of a gain, or of a lead, the largest change first.

        Parameters
        ----------
        one, other : int
            Places of the alternatives; without another it is the gain of the one.

        Returns
        -------
        tuple of (InputLine, float)
            Largest less smallest at the percentiles and the likely value [currency].
        """
        likely = self.gains[None]
        found = [
            (line, float(np.ptp(_lead(np.concatenate([likely, line.gains]), one, other))))
            for line in self.lines
        ]
        return tuple(sorted(found, key=lambda item: -item[1]))

    def one_sided(self, line: InputLine, one: int, other: int | None = None) -> bool:
        """Whether both ends of an input's swing lie on the same side of the likely figure.

        Parameters
        ----------
        line : InputLine
        one, other : int
            As for `swings`.
        """
        likely = _lead(self.gains[None], one, other)[0]
        ends = _lead(line.gains, one, other)[[0, -1]] - likely
        return bool(ends[0] * ends[1] > 0.0)

    def overtaken(self, line: InputLine, one: int) -> tuple[int, ...]:
        """Return the alternatives that leave most somewhere along an input, in one's place.

        Parameters
        ----------
        line : InputLine
        one : int
            Place of the alternative that is overtaken; where another is level it is not.
        """
        ahead = line.gains.max(axis=1) > line.gains[:, one]
        return tuple(dict.fromkeys(line.gains[ahead].argmax(axis=1).tolist()))


def _lead(gains: FloatArray, one: int, other: int | None) -> FloatArray:
    return gains[:, one] if other is None else gains[:, one] - gains[:, other]


def spider(
    study: Study,
    percentiles: Sequence[float] = (0.1, 0.3, 0.5, 0.7, 0.9),
    held: Mapping[str, float] | None = None,
    lateness: Lateness | None = None,
) -> Spider:
    """Return what the alternatives leave along every uncertain input, one at a time.

    Parameters
    ----------
    study : Study
    percentiles : sequence of float
        Ascending, between 0 and 1.
    held : mapping of str to float, optional
        Inputs that stand at these values and are not moved, canonical units.
    lateness : mapping of str to ndarray, optional
        Shares of late orders with those inputs, where they are known already.

    Raises
    ------
    InputError
        A percentile outside 0 … 1, or a value that another input does not allow.

    Examples
    --------
    >>> from capex.study import data_folder, read_study
    >>> found = spider(read_study(data_folder() / "studies" / "quenlow.toml"), (0.1, 0.9))
    >>> line, change = found.swings(2, 1)[0]
    >>> line.values.shape, line.gains.shape, change > 0
    ((2,), (2, 4), True)
    """
    return last_of(spider_in_pieces(study, percentiles, held, lateness))


def spider_in_pieces(
    study: Study,
    percentiles: Sequence[float] = (0.1, 0.3, 0.5, 0.7, 0.9),
    held: Mapping[str, float] | None = None,
    lateness: Lateness | None = None,
) -> Iterator[float | Spider]:
    """Yield the share of the work that is done after each block, and the spider at the end.

    Parameters
    ----------
    study, percentiles, held, lateness
        As for `spider`.
    """
    fixed = dict(held or {})
    inputs = [one for one in uncertain_inputs(study) if one.path not in fixed]
    ranks = np.asarray(percentiles, dtype=np.float64)
    count = 1 + len(inputs) * ranks.size
    batch: dict[str, npt.ArrayLike] = {"money.horizon": np.full(count, study.money.horizon.likely)}
    batch |= fixed
    values = [one.values(ranks) for one in inputs]
    for k, one in enumerate(inputs):
        column = np.full(count, one.quantity.likely)
        column[1 + k * ranks.size : 1 + (k + 1) * ranks.size] = values[k]
        batch[one.path] = column
    late = held_lateness(study, fixed) if lateness is None else lateness
    blocks, done = [], 0
    for block in gains_by_block(study, batch, count, late):
        blocks.append(block)
        done += len(block)
        yield done / count
    gains = np.concatenate(blocks)
    each = gains[1:].reshape(len(inputs), ranks.size, -1)
    lines = tuple(InputLine(one, values[k], each[k]) for k, one in enumerate(inputs))
    yield Spider(tuple(study.alternatives), ranks, gains[0], lines)
