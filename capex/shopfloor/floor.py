"""Floor that the machines of an alternative take, month by month.

Imports numpy, `capex.study`, and `room` and `stations` of this folder.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np

from capex.shopfloor.arrays import FloatArray
from capex.shopfloor.room import Footprint, floor_area
from capex.shopfloor.stations import presence
from capex.study import Alternative, Study

__all__ = ["occupied_area"]


def occupied_area(study: Study, alternative: Alternative, months: int) -> FloatArray:
    """Return the floor taken in months 1 … m, shape (n, m) [m²].

    Union of the service envelopes of the machines that are there, in one row with their backs to
    the wall (`capex.shopfloor.room.floor_area`). Screening only: local codes govern exits,
    working space and floor load.
    """
    there = [presence(placement, months) for placement in alternative.machines]
    machines = [study.machines[placement.machine] for placement in alternative.machines]
    sizes = [
        (machine.length, machine.depth, machine.clearance_front, machine.clearance_rear,
         machine.clearance_end)
        for machine in machines
    ]  # fmt: skip
    counts = [placement.count for placement in alternative.machines]
    varying = [quantity.si.size for parts in sizes for quantity in parts]
    rows = max([*varying, *(count.si.size for count in counts), *(x.shape[0] for x in there), 1])
    area = np.zeros((rows, months))
    for row in range(rows):
        prints = tuple(
            tuple(float(part.si[row % part.si.size]) for part in parts) for parts in sizes
        )
        number = tuple(int(count.si[row % count.si.size]) for count in counts)
        here = b"".join(x[row % x.shape[0]].tobytes() for x in there)
        area[row] = _area_by_month(prints, number, here, months)
    return area


@lru_cache(maxsize=1024)
def _area_by_month(
    prints: tuple[tuple[float, ...], ...], number: tuple[int, ...], here: bytes, months: int
) -> FloatArray:
    """Return the floor taken by month, (m,), of machines that come and go."""
    there = np.frombuffer(here, dtype=bool).reshape(-1, months)
    patterns, which = np.unique(there, axis=1, return_inverse=True)
    areas = [
        floor_area(
            [Footprint(*prints[i]) for i in np.flatnonzero(column) for _ in range(number[i])]
        )
        for column in patterns.T
    ]
    return np.array(areas or [0.0])[which.reshape(-1)]
