"""Seconds that a knife needs along a contour, with acceleration, curves, corners and lifts.

A piece is known by its contour (artwork, rectangle, circle) or only by the length of its path
and the number of its segments. Names of `contour` and `motion` that belong here are exported too.

Imports numpy, `capex.errors` and, of this folder, `arrays`, `contour`, `look_ahead`, `motion`.
"""

from __future__ import annotations

import math
from typing import Final

import numpy as np
import numpy.typing as npt

from capex.errors import InputError
from capex.shopfloor.arrays import FloatArray, bounded
from capex.shopfloor.contour import Contour, circle_contour, rectangle_contour
from capex.shopfloor.look_ahead import path_and_travel_times
from capex.shopfloor.motion import rest_to_rest_time, segment_time, speed_matters_above

__all__ = [
    "CORNER_ANGLE",
    "Contour",
    "blades_used",
    "circle_contour",
    "contour_time",
    "cut_time_per_piece",
    "mark_scan_time",
    "rectangle_contour",
    "segment_time",
    "segmented_path_time",
    "speed_matters_above",
]

#: Turn above which the knife stops at a corner [rad]. Common practice, no source.
CORNER_ANGLE: Final = math.radians(20.0)


def cut_time_per_piece(
    path_time: npt.ArrayLike,
    *,
    passes: npt.ArrayLike = 1.0,
    lifts: npt.ArrayLike = 1.0,
    lift_time: npt.ArrayLike = 0.0,
    travel_time: npt.ArrayLike = 0.0,
) -> FloatArray:
    """Return the knife's time for one piece, from the time along its path.

    Assumes that each pass repeats the path with its lifts and its travel.

    Parameters
    ----------
    path_time : array_like (...)
        Once along the path, knife down [s].
    passes : array_like (...)
        Times over the path, more than 1 for a through-cut [-].
    lifts : array_like (...)
        Parts of the path [-].
    lift_time : array_like (...)
        Lift and lowering together [s].
    travel_time : array_like (...)
        Between the parts, knife up [s].

    Returns
    -------
    ndarray (...)
        [s].

    Raises
    ------
    InputError
        A value outside its bounds.

    Examples
    --------
    >>> float(cut_time_per_piece(0.8, passes=2, lifts=3, lift_time=0.1).round(6))
    2.2
    """
    path = bounded("path_time", path_time, "s", at_least=0)
    lifting = bounded("lifts", lifts, at_least=0) * bounded("lift_time", lift_time, "s", at_least=0)
    once = path + lifting + bounded("travel_time", travel_time, "s", at_least=0)
    result: FloatArray = bounded("passes", passes, at_least=1) * once
    return result


def segmented_path_time(
    path_length: npt.ArrayLike,
    segments: npt.ArrayLike,
    *,
    speed: npt.ArrayLike,
    acceleration: npt.ArrayLike,
    corner_dwell: npt.ArrayLike = 0.0,
    lifts: npt.ArrayLike = 1.0,
    lift_time: npt.ArrayLike = 0.0,
    passes: npt.ArrayLike = 1.0,
    speed_factor: npt.ArrayLike = 1.0,
) -> FloatArray:
    """Return the knife's time for one piece of which only length and segments are known.

    Assumes equal straight segments with a full stop at each end. Where a part of the path
    begins, the stop is a lift instead of a corner with its dwell. Travel between the parts is
    not known and not counted. No path takes no time.

    Parameters
    ----------
    path_length : array_like (...)
        [m].
    segments : array_like (...)
        [-], at least 1 where there is a path.
    speed : array_like (...)
        Set speed [m/s].
    acceleration : array_like (...)
        [m/s²].
    corner_dwell : array_like (...)
        Rest at each corner [s].
    lifts, lift_time, passes
        As for `cut_time_per_piece`.
    speed_factor : array_like (...)
        Share of the set speed used in thick laminate [-].

    Returns
    -------
    ndarray (...)
        [s].

    Raises
    ------
    InputError
        A value outside its bounds, or a path without segments.

    Examples
    --------
    >>> float(segmented_path_time(0.4, 4, speed=1.0, acceleration=10.0).round(6))
    0.8

    Notes
    -----
    Source `derivable`.
    """
    path = bounded("path_length", path_length, "m", at_least=0)
    count = bounded("segments", segments, at_least=0)
    if np.any((path > 0) & (count < 1)):
        raise InputError("segments", float(count.min()), "must be at least 1 where there is a path")
    rate = bounded("acceleration", acceleration, "m/s²", above=0)
    dwell = bounded("corner_dwell", corner_dwell, "s", at_least=0)
    parts = bounded("lifts", lifts, at_least=0)
    each = rest_to_rest_time(path / np.maximum(count, 1.0), _limit(speed, speed_factor), rate)
    cut = count * each + dwell * np.maximum(count - parts, 0.0) * (path > 0)
    return cut_time_per_piece(
        cut, passes=passes, lifts=np.where(path > 0, parts, 0.0), lift_time=lift_time
    )


def _limit(speed: npt.ArrayLike, factor: npt.ArrayLike) -> FloatArray:
    share = bounded("speed_factor", factor, above=0, at_most=1)
    result: FloatArray = bounded("speed", speed, "m/s", above=0) * share
    return result


def contour_time(
    contour: Contour,
    *,
    speed: npt.ArrayLike,
    acceleration: npt.ArrayLike,
    lateral_acceleration: npt.ArrayLike | None = None,
    corner_angle: npt.ArrayLike = CORNER_ANGLE,
    corner_dwell: npt.ArrayLike = 0.0,
    lift_time: npt.ArrayLike = 0.0,
    travel_speed: npt.ArrayLike | None = None,
    passes: npt.ArrayLike = 1.0,
    speed_factor: npt.ArrayLike = 1.0,
) -> FloatArray:
    """Return the knife's time for one piece along its contour.

    Assumes an ideal look-ahead over the whole line and no limit on the change of acceleration.
    Corners that turn by more than the threshold are full stops with a dwell; the ends of each
    part are stops with a lift. Travel runs straight from part to part between two stops.

    Parameters
    ----------
    contour : Contour
        The cut line.
    speed : array_like (...)
        Set speed [m/s].
    acceleration : array_like (...)
        Along the path and for travel [m/s²].
    lateral_acceleration : array_like (...), optional
        Across the path in curves [m/s²]; the same as `acceleration` unless given.
    corner_angle : array_like (...)
        Turn above which the knife stops [rad].
    corner_dwell : array_like (...)
        Rest at each such corner [s].
    lift_time : array_like (...)
        Lift and lowering together, once for each part [s].
    travel_speed : array_like (...), optional
        Knife up [m/s]; the set speed unless given.
    passes : array_like (...)
        Times over the contour [-].
    speed_factor : array_like (...)
        Share of the set speed used in thick laminate [-].

    Returns
    -------
    ndarray (...)
        Broadcast shape of the arguments [s].

    Raises
    ------
    InputError
        A value outside its bounds.

    Examples
    --------
    >>> float(contour_time(circle_contour(0.05), speed=1.0, acceleration=10.0).round(6))
    0.364159

    Notes
    -----
    Source `derivable`; the method is in `look_ahead`.
    """
    rate = bounded("acceleration", acceleration, "m/s²", above=0)
    lateral = rate if lateral_acceleration is None else lateral_acceleration
    travel = speed if travel_speed is None else travel_speed
    knife = np.broadcast_arrays(
        _limit(speed, speed_factor),
        rate,
        bounded("lateral_acceleration", lateral, "m/s²", above=0),
        bounded("corner_angle", corner_angle, "rad", at_least=0, at_most=math.pi),
        bounded("corner_dwell", corner_dwell, "s", at_least=0),
        bounded("travel_speed", travel, "m/s", above=0),
    )
    shape = knife[0].shape
    rows = np.stack([np.ravel(column) for column in knife], axis=1)
    seconds = path_and_travel_times(contour, rows)
    return cut_time_per_piece(
        seconds[0].reshape(shape),
        passes=passes,
        lifts=contour.subpath_count,
        lift_time=lift_time,
        travel_time=seconds[1].reshape(shape),
    )


def mark_scan_time(
    mark_sets: npt.ArrayLike, *, time_per_set: npt.ArrayLike, panels: npt.ArrayLike = 1.0
) -> FloatArray:
    """Return the time to find the registration marks of a job.

    Assumes that every panel carries its own sets of marks.

    Parameters
    ----------
    mark_sets : array_like (...)
        Sets of marks on each panel [-].
    time_per_set : array_like (...)
        [s].
    panels : array_like (...)
        [-].

    Returns
    -------
    ndarray (...)
        [s].

    Raises
    ------
    InputError
        A value outside its bounds.

    Examples
    --------
    >>> float(mark_scan_time(3, time_per_set=6.0, panels=2))
    36.0
    """
    sets = bounded("mark_sets", mark_sets, at_least=0) * bounded("panels", panels, at_least=0)
    result: FloatArray = sets * bounded("time_per_set", time_per_set, "s", at_least=0)
    return result


def blades_used(
    path_length: npt.ArrayLike, *, blade_life: npt.ArrayLike, passes: npt.ArrayLike = 1.0
) -> FloatArray:
    """Return the blades that a cut length wears out.

    Assumes wear in proportion to cut metres, each pass counted.

    Parameters
    ----------
    path_length : array_like (...)
        [m].
    blade_life : array_like (...)
        [m].
    passes : array_like (...)
        Times over the path [-].

    Returns
    -------
    ndarray (...)
        [-].

    Raises
    ------
    InputError
        A value outside its bounds.

    Examples
    --------
    >>> float(blades_used(6000.0, blade_life=3000.0, passes=2))
    4.0
    """
    cut = bounded("path_length", path_length, "m", at_least=0)
    cut = cut * bounded("passes", passes, at_least=1)
    result: FloatArray = cut / bounded("blade_life", blade_life, "m", above=0)
    return result
