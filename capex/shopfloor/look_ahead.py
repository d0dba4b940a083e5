"""Look-ahead along a contour: nowhere faster than set speed, curve or the next stop allow.

Vectorised over knives; the contour's steps are the last axis inside and never leave this file.

Imports numpy and, of this folder, `arrays`, `contour` and `motion`.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from capex.shopfloor.arrays import FloatArray
from capex.shopfloor.contour import Contour
from capex.shopfloor.motion import rest_to_rest_time

__all__ = ["path_and_travel_times"]

#: Elements of one knife × step block; small enough to stay in the processor's cache.
_BLOCK: Final = 1 << 16
_ANGLE_NOISE: Final = 1e-9


def path_and_travel_times(contour: Contour, knives: FloatArray) -> FloatArray:
    """Return the time along a contour, and between its parts, for each knife.

    Assumes arguments that are already within their bounds. Equal knives are timed once, so that
    scenarios which leave the knife alone cost next to nothing.

    Parameters
    ----------
    contour : Contour
        The cut line.
    knives : ndarray (k, 6)
        Speed [m/s], acceleration and lateral acceleration [m/s²], corner angle [rad], corner
        dwell [s], travel speed [m/s].

    Returns
    -------
    ndarray (2, k)
        Knife down, dwells included, and knife up [s].

    Examples
    --------
    >>> from capex.shopfloor.contour import circle_contour
    >>> knives = np.array([[1.0, 10.0, 10.0, 0.5, 0.0, 1.0]])
    >>> path_and_travel_times(circle_contour(0.05), knives).round(6).tolist()
    [[0.364159], [0.0]]

    Notes
    -----
    With u = v², S = cumsum(2aΔs): f = S + minimum.accumulate(u_cap − S), then the same backward;
    within a step the cap runs straight in u between its ends. Source `derivable`.
    """
    key = np.zeros(len(knives), dtype=np.intp)
    for column in knives.T:
        if column.min() < column.max():
            _, code = np.unique(column, return_inverse=True)
            _, key = np.unique(key * len(knives) + code, return_inverse=True)
    distinct = knives[np.unique(key, return_index=True)[1]]
    size = max(1, _BLOCK // contour.step_length.size)
    blocks = [_block_times(contour, distinct[i : i + size]) for i in range(0, len(distinct), size)]
    return np.concatenate(blocks, axis=1)[:, key]


def _block_times(contour: Contour, knives: FloatArray) -> FloatArray:
    """Return path and travel time of a block of knives, shape (2, n) [s].

    Squared speeds are kept as the way on which they are reached from rest, v²/(2a): the ramps of
    all knives then run along the same positions.
    """
    speed, rate, lateral, angle, dwell, travel_speed = (column[:, None] for column in knives.T)
    ceiling = speed**2 / (2.0 * rate)
    per_radius = lateral / (2.0 * rate)
    start_cap = np.minimum(ceiling, per_radius * contour.start_radius)
    end_cap = np.minimum(ceiling, per_radius * contour.end_radius)
    stop = contour.node_turn > angle + _ANGLE_NOISE
    node_cap = np.zeros(stop.shape)
    np.minimum(end_cap[:, :-1], start_cap[:, 1:], out=node_cap[:, 1:-1])
    if contour.has_soft_corners:
        np.minimum(node_cap, per_radius * contour.node_radius, out=node_cap)
    node_cap[stop] = 0.0
    reach = _reached(node_cap, contour.position)
    time = _step_times(contour.step_length, reach, start_cap, end_cap)
    corners = stop.sum(axis=1) - (contour.subpath_count + 1)
    path = time * np.sqrt(2.0 / rate[:, 0]) + corners * dwell[:, 0]
    moves = rest_to_rest_time(contour.travel, travel_speed, rate)
    return np.stack([path, moves.sum(axis=1)])


def _reached(node_cap: FloatArray, position: FloatArray) -> FloatArray:
    """Return the highest nodes under the cap that ramps of slope ±1 can join [m]."""
    forward = np.minimum.accumulate(node_cap - position, axis=1)
    forward += 2.0 * position
    backward = np.minimum.accumulate(forward[:, ::-1], axis=1)[:, ::-1] - position
    result: FloatArray = np.maximum(backward, 0.0, out=backward)
    return result


def _step_times(
    length: FloatArray, reach: FloatArray, start_cap: FloatArray, end_cap: FloatArray
) -> FloatArray:
    """Return the sum over steps of ramp up, run under the cap and ramp down [√m]."""
    root = np.sqrt(reach)
    before, after = reach[:, :-1], reach[:, 1:]
    # A cap that changes faster than the ramp is never followed; it may as well be the ramp.
    start_cap, end_cap = (
        np.minimum(start_cap, end_cap + length),
        np.minimum(end_cap, start_cap + length),
    )
    slope = (end_cap - start_cap) / length
    meet = (after - before + length) / 2.0
    rise = (start_cap - before) / np.maximum(1.0 - slope, 1e-12)
    fall = (end_cap - after) / np.maximum(1.0 + slope, 1e-12)
    rise = np.clip(rise, 0.0, meet)
    fall = np.clip(fall, 0.0, length - meet)
    top = np.sqrt(before + rise)
    brink = np.sqrt(after + fall)
    run = (length - rise - fall) / (top + brink)
    total = (top + brink + run).sum(axis=1)
    # Ramps telescope: each inner node is left once and entered once.
    inner = root.sum(axis=1) - (root[:, 0] + root[:, -1]) / 2.0
    result: FloatArray = total - 2.0 * inner
    return result
