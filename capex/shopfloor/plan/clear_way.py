"""The way out: how wide a way stays clear from a machine's operator to a door.

A way of width w is clear where a disc of diameter w can be rolled along it: its centre stays in
the free floor shrunk by w/2. Arcs are polygons of 64 sides, which leaves 0.5 mm in a metre.

Imports numpy, shapely, `fixtures` and `spots`.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any, Final

import shapely

from capex.shopfloor.plan.fixtures import Doorway, Fixtures
from capex.shopfloor.plan.spots import Box, Spot

__all__ = ["clear_floor", "clear_way_width", "free_floor", "operator_floor", "reaches"]

_ARC_STEPS: Final = 16
#: A way exactly as wide as asked for is a line of centres; a tenth of a millimetre on each side
#: keeps it from vanishing, so that ways up to 0.2 mm narrower pass.
_SLACK: Final = 1e-4
_PRECISION: Final = 1e-3
#: How far before a machine its operator's floor begins [m].
_AT_THE_FRAME: Final = 1e-3
#: What a disc of the way leaves on a doorstep that is blocked inside [m²].
_SLIVER: Final = 1e-3


def free_floor(room: Fixtures, standing: Iterable[Box]) -> Any:
    """Return the floor that people can walk on, with what lies beyond the doors to an exit.

    Parameters
    ----------
    room : Fixtures
    standing : iterable of Box
        Footprints of the machines.

    Returns
    -------
    shapely geometry
    """
    taken = [*(solid.box for solid in room.solids), *standing]
    inside = shapely.box(*room.box)
    if taken:
        inside = shapely.difference(inside, shapely.union_all([shapely.box(*box) for box in taken]))
    ways = [shapely.box(*door.passage) for door in _exits(room)]
    return shapely.union_all([inside, *ways])


def operator_floor(free: Any, spot: Spot, reach: float) -> Any:
    """Return the free floor before a machine that its operator can walk on from its front.

    What stands before the machine ends it: the floor behind that is somebody else's.

    Parameters
    ----------
    free : shapely geometry
        Of `free_floor`.
    spot : Spot
    reach : float
        From its frame outwards [m].

    Returns
    -------
    shapely geometry
        Empty where the machine's front is blocked.
    """
    here = shapely.get_parts(shapely.intersection(free, shapely.box(*spot.front(reach))))
    edge = shapely.box(*spot.front(_AT_THE_FRAME))
    sliver = _AT_THE_FRAME**2
    walked = [part for part in here if shapely.area(shapely.intersection(part, edge)) > sliver]
    return shapely.union_all(walked)


def _exits(room: Fixtures) -> list[Doorway]:
    return [door for door in room.doors if door.leads_to_exit]


def _led_out(room: Fixtures, free: Any, width: float) -> list[Any]:
    """Return where the centre of a disc of some width can be on its way to an exit."""
    centres = shapely.buffer(free, -(width / 2 - _SLACK), quad_segs=_ARC_STEPS)
    out = shapely.union_all([shapely.box(*door.beyond) for door in _exits(room)])
    return [part for part in shapely.get_parts(centres) if shapely.intersects(part, out)]


def reaches(room: Fixtures, free: Any, starts: Sequence[Any], width: float) -> list[bool]:
    """Return from which places a way of some width leads to an exit.

    Parameters
    ----------
    room : Fixtures
    free : shapely geometry
        Of `free_floor`.
    starts : sequence of shapely geometry
        Where people stand, of `operator_floor`.
    width : float
        Of the way [m].
    """
    parts = _led_out(room, free, width)
    return [any(shapely.intersects(part, start) for part in parts) for start in starts]


def clear_way_width(room: Fixtures, free: Any, start: Any) -> float:
    """Return how wide the widest way from a place to an exit is at its narrowest point.

    Parameters
    ----------
    room : Fixtures
    free : shapely geometry
        Of `free_floor`.
    start : shapely geometry
        Where someone stands, of `operator_floor`.

    Returns
    -------
    float
        To the millimetre [m]; 0 where there is none.

    Examples
    --------
    >>> from capex.shopfloor.plan.fixtures import fixtures
    >>> from capex.study import Room
    >>> room = fixtures(Room.model_validate({
    ...     "width": "6 m", "depth": "4 m",
    ...     "doors": {"street": {"wall": "near", "position": "1 m", "width": "1 m"}},
    ... }))
    >>> bench = (0.0, 2.0, 5.2, 2.6)
    >>> round(clear_way_width(room, free_floor(room, [bench]), shapely.box(0.0, 2.6, 1.0, 3.6)), 3)
    0.8
    """
    low, high = 0, round(max(door.width for door in _exits(room)) / _PRECISION)
    while low < high:
        middle = (low + high + 1) // 2
        if reaches(room, free, [start], middle * _PRECISION)[0]:
            low = middle
        else:
            high = middle - 1
    return low * _PRECISION


def clear_floor(room: Fixtures, free: Any, width: float) -> tuple[tuple[Any, ...], ...]:
    """Return the floor that a way of some width to an exit can sweep, as rings of points.

    Parameters
    ----------
    room : Fixtures
    free : shapely geometry
        Of `free_floor`.
    width : float
        [m].

    Returns
    -------
    tuple of tuple of (float, float)
        Outer rings and holes inside the room, to be filled by the even-odd rule [m].
    """
    parts = [shapely.buffer(part, width / 2) for part in _led_out(room, free, width)]
    swept = shapely.intersection(shapely.union_all(parts), shapely.box(*room.box))
    rings = []
    for part in shapely.get_parts(swept):
        if part.geom_type == "Polygon" and part.area > _SLIVER:
            rings += [part.exterior, *part.interiors]
    return tuple(tuple(ring.coords) for ring in rings)
