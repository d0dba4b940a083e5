"""Motion along one straight segment: a set speed, one acceleration, two end speeds.

Imports numpy, `capex.errors` and `capex.shopfloor.arrays`.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from capex.errors import InputError
from capex.shopfloor.arrays import FloatArray, bounded

__all__ = ["rest_to_rest_time", "segment_time", "speed_matters_above"]


def segment_time(
    length: npt.ArrayLike,
    start_speed: npt.ArrayLike,
    end_speed: npt.ArrayLike,
    *,
    speed: npt.ArrayLike,
    acceleration: npt.ArrayLike,
) -> FloatArray:
    """Return the time along one straight segment between two end speeds.

    Assumes the same acceleration for speeding up and braking, and no limit on its change.

    Parameters
    ----------
    length : array_like (...)
        [m].
    start_speed, end_speed : array_like (...)
        [m/s], at most `speed`, and close enough to each other for the length.
    speed : array_like (...)
        Set speed V [m/s].
    acceleration : array_like (...)
        a [m/s²].

    Returns
    -------
    ndarray (...)
        [s].

    Raises
    ------
    InputError
        A value outside its bounds, or end speeds that the length cannot join.

    Examples
    --------
    >>> segment_time([1.0, 0.05], 0.0, 0.0, speed=1.0, acceleration=10.0).round(6)
    array([1.1     , 0.141421])

    Notes
    -----
    vp = min(V, √(aL + (v0² + v1²)/2)), t = (2vp − v0 − v1)/a + max(0, L − (2vp² − v0² −
    v1²)/(2a))/vp. Derivable: source `derivable`.
    """
    length = bounded("length", length, "m", at_least=0)
    limit = bounded("speed", speed, "m/s", above=0)
    rate = bounded("acceleration", acceleration, "m/s²", above=0)
    first = bounded("start_speed", start_speed, "m/s", at_least=0)
    last = bounded("end_speed", end_speed, "m/s", at_least=0)
    over = np.maximum(first, last) - limit
    if np.any(over > 1e-12 * limit):
        raise InputError("end speeds", float(np.max(over + limit)), "must not exceed the set speed")
    missing = np.abs(last**2 - first**2) - 2.0 * rate * length * (1.0 + 1e-9)
    if np.any(missing > 1e-12 * limit**2):
        raise InputError("length", float(np.min(length)), "is too short to change speed on, in m")
    half = (first**2 + last**2) / 2.0
    peak = np.minimum(limit, np.sqrt(rate * length + half))
    cruise = np.maximum(0.0, length - (peak**2 - half) / rate)
    moving = np.where(peak > 0, peak, 1.0)
    result: FloatArray = (2.0 * peak - first - last) / rate + cruise / moving
    return result


def rest_to_rest_time(length: FloatArray, speed: FloatArray, rate: FloatArray) -> FloatArray:
    """Return the time of a straight move between two stops.

    Assumes arguments that are already within their bounds.

    Parameters
    ----------
    length, speed, rate : ndarray (...)
        Way [m], set speed [m/s] and acceleration [m/s²].

    Returns
    -------
    ndarray (...)
        [s].

    Examples
    --------
    >>> rest_to_rest_time(np.array([1.0, 0.05]), np.float64(1), np.float64(10)).round(6)
    array([1.1     , 0.141421])

    Notes
    -----
    L/V + V/a from L = V²/a on, below it 2√(L/a). Source `derivable`.
    """
    peak = np.minimum(speed, np.sqrt(rate * length))
    moving = np.where(peak > 0, peak, 1.0)
    result: FloatArray = length / moving + peak / rate
    return result


def speed_matters_above(speed: npt.ArrayLike, acceleration: npt.ArrayLike) -> FloatArray:
    """Return the segment length below which the set speed is never reached.

    Parameters
    ----------
    speed : array_like (...)
        Set speed [m/s].
    acceleration : array_like (...)
        [m/s²].

    Returns
    -------
    ndarray (...)
        V²/a, between two stops [m].

    Raises
    ------
    InputError
        A value outside its bounds.

    Examples
    --------
    >>> float(speed_matters_above(1.0, 10.0))
    0.1
    """
    limit = bounded("speed", speed, "m/s", above=0)
    result: FloatArray = limit**2 / bounded("acceleration", acceleration, "m/s²", above=0)
    return result
