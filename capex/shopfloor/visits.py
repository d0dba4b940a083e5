"""How often an order holds each station on its way, and for how long each time.

A visit is a stretch of operations in one place: a machine from loading to unloading, or people at
a bench. Somebody who stands by a machine during a visit is called once. Arrays have shape
(n, v, k): scenarios × routes × stations; all per order asked for, spoiled orders made again.

Imports numpy, `capex.study` and the files of this folder.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np

from capex.shopfloor.arrays import FloatArray
from capex.shopfloor.content import Content, can_run_overnight, shares_of_orders
from capex.shopfloor.mix import Mix
from capex.shopfloor.operations import Operation, People
from capex.shopfloor.routes import Route, Routes

__all__ = ["Visits", "visits"]

Place = Literal["print", "laminate", "cut", "overnight", "before", "after"]
#: Where, and who of the people; None for the machine itself.
Call = tuple[Place, People | None]
_QUANTITIES: Final = 5


@dataclass(frozen=True)
class Visits:
    """What orders bring to every station, shape (n, v, k).

    Parameters
    ----------
    count : ndarray
        Visits an order [-].
    time : ndarray
        Station time an order [s]; the same as `Routes.load`.
    square : ndarray
        Squares of the times of single visits, summed over an order's visits [s²].
    scaled_square : ndarray
        The same of what grows with the size of the order: no set-ups, nothing that dries [s²].
    own : ndarray
        Time that passes for the order itself [s]: of an operation with a machine and a person,
        the longer of the two, counted at the machine.
    """

    count: FloatArray
    time: FloatArray
    square: FloatArray
    scaled_square: FloatArray
    own: FloatArray


def visits(mix: Mix, routes: Routes) -> Visits:
    """Return the visits of every route of an alternative.

    Times are those of an order of its type's mean size, which is worked with its own share of a
    gang run's set-up, without waiting for the run to fill.
    """
    index: dict[tuple[str, int | None], int] = {
        (place.work, place.placement): k for k, place in enumerate(routes.stations)
    }
    groups: dict[tuple[int, bool, bool], list[int]] = {}
    for v, route in enumerate(routes.each):
        stays = route.print is not None and route.print == route.cut
        groups.setdefault((id(routes.contents[v]), stays, route.overnight), []).append(v)
    parts = []
    for (_, stays, overnight), members in groups.items():
        content = routes.contents[members[0]]
        calls = _calls(mix, content, stays=stays, overnight=overnight)
        own_routes = [routes.each[v] for v in members]
        parts.append((members, _by_station(calls, own_routes, index, len(routes.stations))))
    rows = max((part.shape[1] for _, part in parts), default=1)
    table = np.zeros((_QUANTITIES, rows, len(routes.each), len(routes.stations)))
    for members, part in parts:
        table[:, :, members] = part
    return Visits(*table)


#: Of a call: time at the station, what of it grows with the order, and the order's own time.
Times = tuple[FloatArray, FloatArray, FloatArray]


def _calls(
    mix: Mix, content: Content, *, stays: bool, overnight: bool
) -> list[tuple[Call, FloatArray, Times]]:
    """Return every call of either route, its share of orders and its times."""
    done = content.operations
    found = []
    for share, operations in shares_of_orders(mix, done):
        # laminated work leaves the machine, so only the plain route can stay in it
        one_visit = stays and operations is done.plain
        summed = _summed(operations, one_visit=one_visit, overnight=overnight)
        found += [
            (call, share, times)
            for call, times in summed.items()
            if any(each.any() for each in times)
        ]
    return found


def _summed(
    operations: tuple[Operation, ...], *, one_visit: bool, overnight: bool
) -> Mapping[Call, Times]:
    """Sum the operations of a route by call."""
    found: dict[Call, Times] = {}

    def add(call: Call, time: FloatArray, own: FloatArray) -> None:
        parts = (time, np.zeros(1) if operation.set_up else time, own)
        before = found.get(call, (np.zeros(1),) * 3)
        found[call] = (before[0] + parts[0], before[1] + parts[1], before[2] + parts[2])

    bench: Place = "before"
    for operation in operations:
        if operation.at is None:
            add((bench, operation.by), operation.attended, operation.attended)
            continue
        bench = "after"
        place: Place = "print" if one_visit and operation.at == "cut" else operation.at
        longer = np.maximum(operation.busy, operation.attended)
        if overnight and can_run_overnight(operation, stays=one_visit):
            add(("overnight", None), operation.busy, longer)
        else:
            add((place, None), operation.busy, longer)
            add((place, operation.by), operation.attended, np.zeros(1))
    return found


def _by_station(
    calls: list[tuple[Call, FloatArray, Times]],
    routes: list[Route],
    index: Mapping[tuple[str, int | None], int],
    stations: int,
) -> FloatArray:
    """Return count, time, squares and own time of some routes, shape (5, n, v, k)."""
    jobs = [route.job for route in routes]
    rows = max(part.shape[0] for _, share, times in calls for part in (share, *times))
    count = calls[0][1].shape[1]
    table = np.zeros((len(calls), _QUANTITIES, rows, count))
    at = np.zeros((len(calls), len(routes), stations))
    for place, (call, share, (time, scaled, own)) in enumerate(calls):
        weighed = share * time
        table[place, 0] = share * (time > 0)
        table[place, 1] = weighed
        table[place, 2] = weighed * time
        table[place, 3] = share * scaled**2
        table[place, 4] = share * own
        for v, route in enumerate(routes):
            k = _station(call, route, index)
            if k is not None:
                at[place, v, k] = 1.0
    found: FloatArray = np.einsum("cqnv,cvk->qnvk", table[..., jobs], at)
    return found


def _station(call: Call, route: Route, index: Mapping[tuple[str, int | None], int]) -> int | None:
    """Return the place of the station that a call goes to; None where the route has no such."""
    where, who = call
    if who is not None:
        return index.get((who, None))
    if where == "overnight":
        return index.get(("overnight", route.print))
    machines = {"print": route.print, "laminate": route.laminate, "cut": route.cut}
    machine = machines.get(where)
    return None if machine is None else index["machine", machine]
