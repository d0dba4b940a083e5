"""Seconds that a roll printer's carriage needs, from swaths or from a quoted rate.

A swath is one crossing of the carriage. With several passes each strip of film is crossed that
many times while the film advances by a fraction of the swath height.

Imports numpy and `capex.shopfloor.arrays`.
"""

from __future__ import annotations

from typing import Final

import numpy as np
import numpy.typing as npt

from capex.shopfloor.arrays import FloatArray, bounded

__all__ = [
    "ASSUMED_WIDTH_CONSTANT",
    "long_run_print_rate",
    "print_time",
    "print_time_at_quoted_rate",
    "swath_count",
    "turn_time",
    "width_constant",
]

#: Width lost to overrun and turning [m] where only a rate was quoted: 2 × 50 mm of overrun and
#: 0.3 s of turning at 1 m/s. Common practice, no source; screens say that it is assumed.
ASSUMED_WIDTH_CONSTANT: Final = 0.4

#: Share of a swath by which float noise may exceed a whole number without starting another.
_ROUNDING: Final = 1e-9


def swath_count(
    length: npt.ArrayLike, *, passes: npt.ArrayLike, swath_height: npt.ArrayLike
) -> FloatArray:
    """Return the carriage crossings that a printed length needs.

    Assumes that the film advances by swath height / passes, so that the first and the last strip
    cost passes − 1 crossings more. Nothing printed needs no crossing.

    Parameters
    ----------
    length : array_like (...)
        Printed length along the roll [m].
    passes : array_like (...)
        Crossings over each strip [-], at least 1.
    swath_height : array_like (...)
        Height of one crossing [m].

    Returns
    -------
    ndarray (...)
        Whole numbers [-].

    Raises
    ------
    InputError
        A value outside its bounds.

    Examples
    --------
    >>> float(swath_count(0.6, passes=8, swath_height=0.05))
    103.0

    Notes
    -----
    ceil(L·N/h) + N − 1. Derivable: source `derivable`.
    """
    length = bounded("length", length, "m", at_least=0)
    passes = bounded("passes", passes, at_least=1)
    advances = length * passes / bounded("swath_height", swath_height, "m", above=0)
    crossings = np.ceil(advances * (1.0 - _ROUNDING)) + passes - 1.0
    return np.where(advances > 0, crossings, 0.0)


def turn_time(
    carriage_speed: npt.ArrayLike,
    *,
    acceleration: npt.ArrayLike,
    feed_time: npt.ArrayLike,
    settle_time: npt.ArrayLike,
) -> FloatArray:
    """Return the time from the end of one crossing to the start of the next.

    Assumes that film feed and settling happen while the carriage brakes and speeds up again.

    Parameters
    ----------
    carriage_speed : array_like (...)
        Speed while printing [m/s].
    acceleration : array_like (...)
        Of the carriage [m/s²].
    feed_time, settle_time : array_like (...)
        Film advance, and rest after it [s].

    Returns
    -------
    ndarray (...)
        Turnaround [s].

    Raises
    ------
    InputError
        A value outside its bounds.

    Examples
    --------
    >>> float(turn_time(1.0, acceleration=10.0, feed_time=0.2, settle_time=0.1).round(6))
    0.3

    Notes
    -----
    max(2v/a, feed + settle). Derivable: source `derivable`.
    """
    speed = bounded("carriage_speed", carriage_speed, "m/s", above=0)
    reversal = 2.0 * speed / bounded("acceleration", acceleration, "m/s²", above=0)
    feed = bounded("feed_time", feed_time, "s", at_least=0)
    settle = bounded("settle_time", settle_time, "s", at_least=0)
    result: FloatArray = np.maximum(reversal, feed + settle)
    return result


def print_time(
    width: npt.ArrayLike,
    length: npt.ArrayLike,
    *,
    passes: npt.ArrayLike,
    swath_height: npt.ArrayLike,
    carriage_speed: npt.ArrayLike,
    overrun: npt.ArrayLike,
    turn_time: npt.ArrayLike,
    directions: npt.ArrayLike = 1.0,
) -> FloatArray:
    """Return the time to print a width by a length, swath by swath.

    Assumes that the carriage crosses the printed width only, not the whole roll.

    Parameters
    ----------
    width, length : array_like (...)
        Printed width across and length along the roll [m].
    passes : array_like (...)
        Crossings over each strip [-], at least 1.
    swath_height : array_like (...)
        [m].
    carriage_speed : array_like (...)
        [m/s].
    overrun : array_like (...)
        Travel beyond the print on each side [m].
    turn_time : array_like (...)
        Turnaround after each crossing [s].
    directions : array_like (...)
        1 prints both ways, 2 prints one way and returns empty [-].

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
    >>> float(print_time(1.37, 0.6, passes=8, swath_height=0.05, carriage_speed=1.0,
    ...                  overrun=0.05, turn_time=0.3).round(2))
    182.31

    Notes
    -----
    swaths · d·((W + 2o)/v + t_turn). Derivable: source `derivable`.
    """
    width = bounded("width", width, "m", at_least=0)
    swaths = swath_count(length, passes=passes, swath_height=swath_height)
    speed = bounded("carriage_speed", carriage_speed, "m/s", above=0)
    crossing = width + 2.0 * bounded("overrun", overrun, "m", at_least=0)
    swath_time = crossing / speed + bounded("turn_time", turn_time, "s", at_least=0)
    both = bounded("directions", directions, at_least=1, at_most=2)
    result: FloatArray = swaths * (both * swath_time)
    return result


def width_constant(
    *, carriage_speed: npt.ArrayLike, overrun: npt.ArrayLike, turn_time: npt.ArrayLike
) -> FloatArray:
    """Return the width at which half of each crossing's time is spent beside the print.

    Parameters
    ----------
    carriage_speed : array_like (...)
        [m/s].
    overrun : array_like (...)
        Each side [m].
    turn_time : array_like (...)
        [s].

    Returns
    -------
    ndarray (...)
        W0 = 2o + v·t_turn [m].

    Raises
    ------
    InputError
        A value outside its bounds.

    Examples
    --------
    >>> float(width_constant(carriage_speed=1.0, overrun=0.05, turn_time=0.3))
    0.4
    """
    speed = bounded("carriage_speed", carriage_speed, "m/s", above=0)
    turning = speed * bounded("turn_time", turn_time, "s", at_least=0)
    result: FloatArray = 2.0 * bounded("overrun", overrun, "m", at_least=0) + turning
    return result


def long_run_print_rate(
    width: npt.ArrayLike,
    *,
    passes: npt.ArrayLike,
    swath_height: npt.ArrayLike,
    carriage_speed: npt.ArrayLike,
    overrun: npt.ArrayLike,
    turn_time: npt.ArrayLike,
    directions: npt.ArrayLike = 1.0,
) -> FloatArray:
    """Return the area printed per second over a run so long that its ends do not count.

    Parameters
    ----------
    width : array_like (...)
        Printed width [m]; narrow work prints slower per area.
    passes, swath_height, carriage_speed, overrun, turn_time, directions
        As for `print_time`.

    Returns
    -------
    ndarray (...)
        [m²/s].

    Raises
    ------
    InputError
        A value outside its bounds.

    Examples
    --------
    >>> rate = long_run_print_rate([1.37, 0.30], passes=8, swath_height=0.05,
    ...                            carriage_speed=1.0, overrun=0.05, turn_time=0.3)
    >>> (rate * 3600).round(3)
    array([17.415,  9.643])

    Notes
    -----
    R∞·W/(W + W0), R∞ = (h/N)·v/d, W0 = 2o + v·t_turn. Source `derivable`.
    """
    width = bounded("width", width, "m", above=0)
    lost = width_constant(carriage_speed=carriage_speed, overrun=overrun, turn_time=turn_time)
    advance = bounded("swath_height", swath_height, "m", above=0) / bounded(
        "passes", passes, at_least=1
    )
    both = bounded("directions", directions, at_least=1, at_most=2)
    result: FloatArray = advance * np.asarray(carriage_speed) / both * width / (width + lost)
    return result


def print_time_at_quoted_rate(
    width: npt.ArrayLike,
    length: npt.ArrayLike,
    *,
    quoted_rate: npt.ArrayLike,
    quoted_width: npt.ArrayLike,
    passes: npt.ArrayLike = 1.0,
    quoted_passes: npt.ArrayLike = 1.0,
    width_constant: npt.ArrayLike = ASSUMED_WIDTH_CONSTANT,
) -> FloatArray:
    """Return the print time of a machine of which only a rate at one width is known.

    Assumes the width dependence of `long_run_print_rate` with the given constant, a rate that
    falls in proportion to the passes, and no loss at the ends of the run. The screen that shows
    this says that the width dependence is assumed.

    Parameters
    ----------
    width, length : array_like (...)
        Printed width and length [m].
    quoted_rate : array_like (...)
        [m²/s], at `quoted_width` and `quoted_passes`.
    quoted_width : array_like (...)
        [m].
    passes, quoted_passes : array_like (...)
        Passes of this job, and of the quoted rate [-].
    width_constant : array_like (...)
        W0 [m].

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
    >>> float(print_time_at_quoted_rate(1.3, 10.0, quoted_rate=13.0 / 3600, quoted_width=1.3))
    3600.0
    """
    width = bounded("width", width, "m", at_least=0)
    length = bounded("length", length, "m", at_least=0)
    rate = bounded("quoted_rate", quoted_rate, "m²/s", above=0)
    reference = bounded("quoted_width", quoted_width, "m", above=0)
    lost = bounded("width_constant", width_constant, "m", at_least=0)
    share = bounded("passes", passes, at_least=1) / bounded(
        "quoted_passes", quoted_passes, at_least=1
    )
    result: FloatArray = length * share * (width + lost) * reference / (rate * (reference + lost))
    return result
