"""What alternatives come to, and make, at several values of one input, or of many side by side.

Imports numpy, `capex.study` and, of this folder, `appraise` and `input_range`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from capex.decision.appraise import Appraisal, appraise
from capex.decision.input_range import InputRange, pulled_in
from capex.errors import InputError
from capex.study import Study

__all__ = ["InputSweep", "appraised_range", "input_sweeps", "swept_values"]

FloatArray = npt.NDArray[np.float64]

_TOGETHER: Final = 128  # scenarios of different inputs that go the path together


@dataclass(frozen=True)
class InputSweep:
    """What the values of one input come to.

    Parameters
    ----------
    values : ndarray, shape (s,)
        Of the input, ascending, canonical unit.
    gains : ndarray, shape (s, alternatives)
        Net present value less the baseline's [currency].
    asked, made : ndarray, shape (s, alternatives)
        Orders asked for, and made in the house, up to the horizon.
    """

    values: FloatArray
    gains: FloatArray
    asked: FloatArray
    made: FloatArray

    def with_more(self, other: InputSweep) -> InputSweep:
        """Return the sweep with the values of another one among its own."""
        order = np.argsort(np.concatenate([self.values, other.values]), kind="stable")

        def merged(mine: FloatArray, theirs: FloatArray) -> FloatArray:
            return np.concatenate([mine, theirs])[order]

        return InputSweep(
            merged(self.values, other.values),
            merged(self.gains, other.gains),
            merged(self.asked, other.asked),
            merged(self.made, other.made),
        )


def swept_values(reach: InputRange, count: int) -> FloatArray:
    """Return values of an input from end to end, today's among them.

    Parameters
    ----------
    reach : InputRange
    count : int
        How many at even distances; whole numbers come once each.

    Returns
    -------
    ndarray, shape (s,)
        Ascending; today's value alone where the input cannot be moved.

    Examples
    --------
    >>> from capex.decision.input_range import input_range
    >>> from capex.study import data_folder, read_study
    >>> study = read_study(data_folder() / "studies" / "quenlow.toml")
    >>> swept_values(input_range(study, "levers.price", 0.5, 2.0), 4)
    array([0.5, 1. , 1.5, 2. ])
    """
    here = reach.quantity.likely
    if reach.low >= reach.high:
        return np.array([here])
    values = np.linspace(reach.low, reach.high, count)
    if reach.low < here < reach.high:
        values = np.append(values, here)
    return np.unique(np.round(values) if reach.quantity.entry.whole else values)


def input_sweeps(
    study: Study, here: Appraisal, wanted: Sequence[tuple[str, FloatArray]]
) -> list[InputSweep | None]:
    """Return what each input's values come to, each input moved alone.

    Parameters
    ----------
    study : Study
    here : Appraisal
        Of the study as it stands, with its details.
    wanted : sequence of (str, ndarray)
        Paths, and values in canonical units.

    Returns
    -------
    list of InputSweep or None
        In that order; None where a value is refused.

    Examples
    --------
    >>> from capex.study import data_folder, read_study
    >>> study = read_study(data_folder() / "studies" / "quenlow.toml")
    >>> moved = [("levers.price", np.array([0.9, 1.1])), ("levers.demand", np.array([-1.0]))]
    >>> price, demand = input_sweeps(study, appraise(study), moved)
    >>> price.gains.shape, demand
    ((2, 4), None)
    """
    # fields of one name side by side: what they alone set off is not done for all the others
    order = sorted(range(len(wanted)), key=lambda place: wanted[place][0].split(".")[::-1])
    found: dict[int, InputSweep | None] = {}
    while order:
        sizes = np.cumsum([wanted[place][1].size for place in order])
        count = max(int(np.searchsorted(sizes, _TOGETHER, side="right")), 1)
        batch, order = order[:count], order[count:]
        sweeps = _in_one_batch(study, here, [wanted[place] for place in batch])
        found.update(zip(batch, sweeps, strict=True))
    return [found[place] for place in range(len(wanted))]


def appraised_range(study: Study, here: Appraisal, reach: InputRange) -> InputRange:
    """Return a range pulled in to what can be appraised, where fields alone allow more.

    Parameters
    ----------
    study : Study
    here : Appraisal
        Of the study as it stands, with its details.
    reach : InputRange

    Returns
    -------
    InputRange

    Examples
    --------
    >>> from capex.decision.input_range import input_range
    >>> from capex.study import data_folder, read_study
    >>> study = read_study(data_folder() / "studies" / "quenlow.toml")
    >>> asked = input_range(study, "films.banner.roll_width", 0.001, 1.37)  # less than its margins
    >>> found = appraised_range(study, appraise(study), asked)
    >>> 0.02 < found.low < found.high
    True
    """
    return pulled_in(
        reach,
        lambda value: input_sweeps(study, here, [(reach.path, np.array([value]))])[0] is not None,
    )


def _in_one_batch(
    study: Study, here: Appraisal, wanted: list[tuple[str, FloatArray]]
) -> list[InputSweep | None]:
    """Return the sweeps of some inputs; where a value is refused, by halves down to that input."""
    try:
        return list(_swept(study, here, wanted))
    except InputError:
        half = len(wanted) // 2
        if not half:
            return [None]
        return [*_in_one_batch(study, here, wanted[:half]),
                *_in_one_batch(study, here, wanted[half:])]  # fmt: skip


def _swept(study: Study, here: Appraisal, wanted: list[tuple[str, FloatArray]]) -> list[InputSweep]:
    sizes = [values.size for _, values in wanted]
    count = sum(sizes)
    scenarios, start = {}, 0
    for path, values in wanted:
        scenarios[path] = np.full(count, study.quantity(path).likely)
        scenarios[path][start : start + values.size] = values
        start += values.size
    found = appraise(study, scenarios, keep="everything", like=here)
    outputs = [outcome.path.output for outcome in found.outcomes.values()]
    tables = (
        found.net_present_value,
        _orders([output.demand for output in outputs], found.baseline.horizon),
        _orders([output.made for output in outputs], found.baseline.horizon),
    )
    parts = [np.split(table, np.cumsum(sizes)[:-1]) for table in tables]
    return [
        InputSweep(values, gains, asked, made)
        for (_, values), gains, asked, made in zip(wanted, *parts, strict=True)
    ]


def _orders(by_month: list[FloatArray], horizon: npt.NDArray[np.intp]) -> FloatArray:
    """Return orders over all types, up to the horizon, shape (s, alternatives)."""
    within = np.arange(by_month[0].shape[2]) < horizon[:, None]
    return np.stack([(each.sum(axis=1) * within).sum(axis=1) for each in by_month], axis=1)
