"""Floor that the machines of an alternative take, month by month.

Imports numpy, `capex.study`, and `plan`, `room` and `stations` of this folder.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np

from capex.errors import InputError
from capex.shopfloor.arrays import FloatArray
from capex.shopfloor.plan.spots import Spot, positions_by_hand
from capex.shopfloor.room import Footprint, floor_area, union_area
from capex.shopfloor.stations import presence
from capex.study import Alternative, Study
from capex.study.room import Position, Side

__all__ = ["occupied_area"]

#: Entry in the alternative, left, near and facing of a machine placed by hand.
_Place = tuple[int, float, float, Side]


def occupied_area(study: Study, key: str, months: int) -> FloatArray:
    """Return the floor that an alternative takes in months 1 … m, shape (n, m) [m²].

    Union of the service envelopes of the machines that are there: where the study says that they
    stand, else in one row with their backs to the wall (`capex.shopfloor.room.floor_area`).
    Screening only: local codes govern exits, working space and floor load.

    Parameters
    ----------
    study : Study
    key : str
        Of the alternative.
    months : int

    Returns
    -------
    ndarray, shape (n, m)
        [m²].

    Raises
    ------
    InputError
        A scenario has another number of machines than there are positions.
    """
    alternative = study.alternatives[key]
    by_hand = positions_by_hand(study, key)
    there = [presence(placement, months) for placement in alternative.machines]
    machines = [study.machines[placement.machine] for placement in alternative.machines]
    sizes = [
        (machine.length, machine.depth, machine.clearance_front, machine.clearance_rear,
         machine.clearance_end)
        for machine in machines
    ]  # fmt: skip
    counts = [placement.count for placement in alternative.machines]
    sides = [side for _, place in by_hand or () for side in (place.left, place.near)]
    varying = [quantity.si.size for parts in (*sizes, sides, counts) for quantity in parts]
    rows = max([*varying, *(x.shape[0] for x in there), 1])
    if by_hand is not None:
        _check_counts(key, alternative)
    area = np.zeros((rows, months))
    for row in range(rows):
        prints = tuple(
            Footprint(*(float(part.si[row % part.si.size]) for part in parts)) for parts in sizes
        )
        number = tuple(int(count.si[row % count.si.size]) for count in counts)
        here = b"".join(x[row % x.shape[0]].tobytes() for x in there)
        places = None if by_hand is None else tuple(_place(*one, row) for one in by_hand)
        area[row] = _area_by_month(prints, number, here, months, places)
    return area


def _place(index: int, position: Position, row: int) -> _Place:
    left, near = (float(side.si[row % side.si.size]) for side in (position.left, position.near))
    return index, left, near, position.facing


def _check_counts(key: str, alternative: Alternative) -> None:
    """Refuse scenarios that would put machines nowhere."""
    for index, placement in enumerate(alternative.machines):
        counts = placement.count.si
        if np.any(counts != counts[0]):
            other = int(counts[counts != counts[0]][0])
            bound = f"must stay {int(counts[0])}: room.positions.{key} holds one place a machine"
            raise InputError(f"alternatives.{key}.machines.{index}.count", other, bound)


@lru_cache(maxsize=1024)
def _area_by_month(
    prints: tuple[Footprint, ...],
    number: tuple[int, ...],
    here: bytes,
    months: int,
    places: tuple[_Place, ...] | None,
) -> FloatArray:
    """Return the floor taken by month, (m,), of machines that come and go."""
    there = np.frombuffer(here, dtype=bool).reshape(-1, months)
    patterns, which = np.unique(there, axis=1, return_inverse=True)
    areas = [_area(prints, number, column, places) for column in patterns.T]
    return np.array(areas or [0.0])[which.reshape(-1)]


def _area(
    prints: tuple[Footprint, ...],
    number: tuple[int, ...],
    column: FloatArray,
    places: tuple[_Place, ...] | None,
) -> float:
    if places is None:
        return floor_area([prints[i] for i in np.flatnonzero(column) for _ in range(number[i])])
    return union_area(
        [
            Spot("", prints[index], left, near, facing).envelope
            for index, left, near, facing in places
            if column[index]
        ]
    )
