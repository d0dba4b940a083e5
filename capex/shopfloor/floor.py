"""Floor that the machines of an alternative take, month by month.

Imports numpy, `capex.study`, and `room` and `stations` of this folder.
"""

from __future__ import annotations

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
        prints = [
            Footprint(*(float(part.si[row % part.si.size]) for part in parts)) for parts in sizes
        ]
        number = [int(count.si[row % count.si.size]) for count in counts]
        here = np.array([x[row % x.shape[0]] for x in there], dtype=bool).reshape(-1, months)
        patterns, which = np.unique(here, axis=1, return_inverse=True)
        areas = [
            floor_area([prints[i] for i in np.flatnonzero(column) for _ in range(number[i])])
            for column in patterns.T
        ]
        area[row] = np.array(areas or [0.0])[which.reshape(-1)]
    return area
