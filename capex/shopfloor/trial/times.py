"""What the model says of timed runs: the same physics that the appraisal uses.

Imports numpy, `capex.errors`, `capex.study` and `arrays`, `artwork`, `contour`, `cutting`,
`printing` of the shop floor.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import lru_cache

import numpy as np
import numpy.typing as npt

from capex.errors import InputError
from capex.shopfloor.arrays import FloatArray
from capex.shopfloor.artwork import parse_artwork
from capex.shopfloor.contour import Contour, circle_contour, rectangle_contour
from capex.shopfloor.cutting import contour_time, segmented_path_time
from capex.shopfloor.printing import print_time, print_time_at_quoted_rate
from capex.shopfloor.trial.parameters import PARAMETERS
from capex.shopfloor.trial.reading import Reading
from capex.study import Knife, Laminator, Machine, PrintEngine, Quantity, Study
from capex.study.catalogue import artwork_text

__all__ = ["modelled_times"]

_Values = Mapping[str, FloatArray]


def modelled_times(
    study: Study,
    machine: str,
    readings: Sequence[Reading],
    values: Mapping[str, npt.ArrayLike] | None = None,
) -> FloatArray:
    """Return how long runs take by the model, with parameters of the study or given ones.

    Assumes printed widths and lengths as laid out in the trial, and as many times the path of a
    piece as there are pieces: travel between pieces is not counted, as in the appraisal. A rest
    below zero, which only a fit asks for, continues the straight line in which time depends on
    rests.

    Parameters
    ----------
    study : Study
    machine : str
        Key in the study.
    readings : sequence of Reading, length r
        Of one kind of work of that machine: "print", "cut" or "laminate".
    values : mapping of str to array_like (n,), optional
        Parameters by name, canonical unit; others as in the study.

    Returns
    -------
    ndarray (n, r)
        [s].

    Raises
    ------
    InputError
        A value outside its bounds, or runs that are not modelled.

    Examples
    --------
    >>> from capex.study import data_folder, read_study
    >>> study = read_study(data_folder() / "studies" / "quenlow.toml")
    >>> run = Reading(2, "mid_contour_cutter", "cut", 1.0, pieces=10, cut="path", cut_length=0.4,
    ...               segments=4)
    >>> modelled_times(study, "mid_contour_cutter", [run], {"lift_time": [0.0, 0.1]}).round(2)
    array([[5.5],
           [6.5]])
    """
    given = {
        name: np.atleast_1d(np.asarray(value, float)) for name, value in (values or {}).items()
    }
    distinct = list(dict.fromkeys(one.setting for one in readings))
    place = {setting: number for number, setting in enumerate(distinct)}
    below = {
        name: value
        for name, value in given.items()
        if name in PARAMETERS and PARAMETERS[name].is_affine and bool((value < 0).any())
    }
    part = study.machines[machine]
    times = _times(study, part, distinct, given | {n: np.maximum(v, 0) for n, v in below.items()})
    if below:
        other = _times(study, part, distinct, given | {n: np.abs(v) for n, v in below.items()})
        times = 2.0 * times - other
    return times[:, [place[one.setting] for one in readings]]


def _times(study: Study, machine: Machine, runs: Sequence[Reading], values: _Values) -> FloatArray:
    """Return the time of each run, shape (n, r)."""
    work = {one.work for one in runs}
    if work == {"print"} and machine.printing is not None:
        columns = [_print_time(machine.printing, run, values) for run in runs]
    elif work == {"cut"} and machine.cutting is not None:
        columns = [_cut_time(study, machine.cutting, run, values) for run in runs]
    elif work == {"laminate"} and machine.laminating is not None:
        columns = [_feed_time(machine.laminating, run, values) for run in runs]
    else:
        raise InputError("work", ", ".join(sorted(work)), f"is not modelled for {machine.name}")
    count = max((value.size for value in values.values()), default=1)
    return np.stack([np.broadcast_to(column, (count,)) for column in columns], axis=1)


def _value(values: _Values, name: str, quantity: Quantity | None) -> FloatArray:
    """Return a parameter as given, or the study's likely value, shape (n,) or (1,)."""
    if name in values:
        return values[name]
    if quantity is None:
        raise InputError(name, None, "is not in the study")
    return quantity.si[:1]


def _print_time(engine: PrintEngine, run: Reading, values: _Values) -> FloatArray:
    width, length = run.printed_size
    if "quoted_rate" in values or ("carriage_speed" not in values and engine.swath_height is None):
        return print_time_at_quoted_rate(
            width,
            length,
            passes=run.passes,
            quoted_rate=_value(values, "quoted_rate", engine.quoted_rate),
            quoted_width=_value(values, "quoted_width", engine.quoted_width),
            quoted_passes=_value(values, "quoted_passes", engine.quoted_passes),
        )
    return print_time(
        width,
        length,
        passes=run.passes,
        swath_height=_value(values, "swath_height", engine.swath_height),
        carriage_speed=_value(values, "carriage_speed", engine.carriage_speed),
        overrun=_value(values, "overrun", engine.overrun),
        turn_time=_value(values, "turn_time", engine.turn_time),
        directions=2.0 if engine.unidirectional else 1.0,
    )


def _feed_time(part: Laminator, run: Reading, values: _Values) -> FloatArray:
    return run.printed_size[1] / _value(values, "feed_speed", part.feed_speed)


def _cut_time(study: Study, knife: Knife, run: Reading, values: _Values) -> FloatArray:
    speed = _value(values, "set_speed", knife.set_speed)
    rate = _value(values, "acceleration", knife.acceleration)
    dwell = _value(values, "corner_dwell", knife.corner_dwell)
    lift = _value(values, "lift_time", knife.lift_time)
    # Multiplied in here: a fitted share may pass above 1, which `speed_factor` does not take.
    share = _value(values, "laminated_speed", knife.laminated_speed) if run.laminated else 1.0
    if run.cut == "path":
        return run.pieces * segmented_path_time(
            run.cut_length,
            run.segments,
            speed=speed * share,
            acceleration=rate,
            corner_dwell=dwell,
            lifts=run.lifts,
            lift_time=lift,
            passes=run.passes,
        )
    lateral, travel = knife.lateral_acceleration, knife.travel_speed
    tied_lateral = lateral is None and "lateral_acceleration" not in values
    tied_travel = travel is None and "travel_speed" not in values
    return run.pieces * contour_time(
        _contour(study, run),
        speed=speed * share,
        acceleration=rate,
        lateral_acceleration=None
        if tied_lateral
        else _value(values, "lateral_acceleration", lateral),
        corner_angle=knife.corner_angle.si[:1],
        corner_dwell=dwell,
        lift_time=lift,
        travel_speed=speed if tied_travel else _value(values, "travel_speed", travel),
        passes=run.passes,
    )


def _contour(study: Study, run: Reading) -> Contour:
    if run.cut == "artwork":
        text = study.artworks.get(run.artwork) or artwork_text(run.artwork)
        return _artwork(text, run.artwork)
    return _shape(run.cut, run.width, run.height, run.radius)


@lru_cache(maxsize=256)
def _shape(cut: str, width: float, height: float, radius: float) -> Contour:
    return circle_contour(width) if cut == "circle" else rectangle_contour(width, height, radius)


@lru_cache(maxsize=64)
def _artwork(text: str, name: str) -> Contour:
    return parse_artwork(text.encode(), name).contour
