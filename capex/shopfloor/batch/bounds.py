"""How short a batch could be at best: by its machines, its people and its longest order.

Imports numpy, `tasks` here and `capex.shopfloor.batch.sequences`.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from capex.shopfloor.batch.sequences import IntArray, johnson_mitten_sequence, johnson_sequence
from capex.shopfloor.batch.tasks import Cell, Task

__all__ = ["batch_lower_bound", "station_work", "two_machine_sequence"]


def batch_lower_bound(cell: Cell, orders: Sequence[tuple[Task, ...]]) -> float:
    """Return a time that no sequence of a batch beats [s].

    Assumes nothing of sequence and priorities. For every kind of machine and group of people:
    least time before + work / servers + least time after, over all visits, over first visits, and
    over last visits; and the longest order. For one machine that sees every order twice this is
    `lower_bounds.reentrant_lower_bound`.

    Parameters
    ----------
    cell : Cell
    orders : sequence of tuple of Task

    Returns
    -------
    float
        [s].

    Examples
    --------
    >>> from capex.shopfloor.batch.tasks import Place
    >>> frame = Cell((Place("Frame", 1, 1.0),), (), (0,))
    >>> order = (
    ...     Task("print", "print", 0, None, 3.0, 0.0, 0.0),
    ...     Task("outgas", None, None, None, 0.0, 0.0, 60.0),
    ...     Task("cut", "cut", 0, None, 5.0, 0.0, 0.0),
    ... )
    >>> batch_lower_bound(frame, [order] * 10)
    113.0

    Notes
    -----
    Derivable: source `derivable`. All work of a station lies between the first time that any of
    its orders can reach it and the last time that any of them can still leave it.
    """
    longest = max(sum(task.elapsed for task in tasks) for tasks in orders)
    held: list[tuple[int, list[list[float]]]] = []
    for m, place in enumerate(cell.machines):
        works = [[one.busy * (one.machine == m) for one in tasks] for tasks in orders]
        held.append((place.servers, works))
    for p, place in enumerate(cell.people):
        works = [[one.attended * (one.people == p) for one in tasks] for tasks in orders]
        held.append((place.servers, works))
    bounds = (bound for servers, works in held for bound in _bounds(servers, works, orders))
    return max([longest, *bounds])


def _bounds(
    servers: int, works: Sequence[Sequence[float]], orders: Sequence[tuple[Task, ...]]
) -> Iterator[float]:
    """Yield the bounds of one station: over all, over first and over last visits."""
    pairs = zip(orders, works, strict=True)
    visits = [found for tasks, work in pairs if (found := _visits(tasks, work))]
    if not visits:
        return
    for chosen in (slice(None), slice(0, 1), slice(-1, None)):
        taken = [found[chosen] for found in visits]
        work = sum(visit[1] for found in taken for visit in found)
        before = min(found[0][0] for found in taken)
        after = min(found[-1][2] for found in taken)
        yield before + work / servers + after


def _visits(tasks: tuple[Task, ...], works: Sequence[float]) -> list[tuple[float, float, float]]:
    """Return time before, work and time after of each unbroken stay of an order at a station."""
    whole = sum(task.elapsed for task in tasks)
    found: list[tuple[float, float, float]] = []
    passed, going_on = 0.0, False
    for task, work in zip(tasks, works, strict=True):
        after = whole - passed - work
        if work > 0 and going_on:
            before, so_far, _ = found[-1]
            found[-1] = (before, so_far + work, after)
        elif work > 0:
            found.append((passed, work, after))
        # A task that outlasts its work at the station ends the stay.
        going_on = work > 0 and work >= task.elapsed
        passed += task.elapsed
    return found


def station_work(cell: Cell, orders: Sequence[tuple[Task, ...]]) -> list[tuple[str, float, float]]:
    """Return name, work and staff of every kind of machine and group of people; work in [s]."""
    tasks = [task for order in orders for task in order]
    machines = [
        (place.name, sum(task.busy for task in tasks if task.machine == m), place.staff)
        for m, place in enumerate(cell.machines)
    ]
    people = [
        (place.name, sum(task.attended for task in tasks if task.people == p), place.staff)
        for p, place in enumerate(cell.people)
    ]
    return machines + people


def two_machine_sequence(
    cell: Cell, orders: Sequence[tuple[Task, ...]]
) -> tuple[str, IntArray] | None:
    """Return the rule for two machines that applies to a batch, and its sequence; else None.

    It applies where every order is held once by the same machine, then once by the same other
    one, each alone of its kind. Work before, after and by people is left out of the rule.
    """
    stays = [_stays(tasks) for tasks in orders]
    routes = {tuple(machine for machine, _, _ in found) for found in stays}
    if len(routes) != 1:
        return None
    route = next(iter(routes))
    if len(route) != 2 or route[0] == route[1] or any(cell.machines[m].servers > 1 for m in route):
        return None
    first = np.array([[found[0][2] - found[0][1] for found in stays]])
    second = np.array([[found[1][2] - found[1][1] for found in stays]])
    lags = np.array([[found[1][1] - found[0][2] for found in stays]])
    if (lags > 0).any():
        return "Johnson's rule with lags", johnson_mitten_sequence(first, second, lags)[0]
    return "Johnson's rule", johnson_sequence(first, second)[0]


def _stays(tasks: tuple[Task, ...]) -> list[tuple[int, float, float]]:
    """Return machine, start and end of each stay on a machine, with nothing in the way."""
    found: list[tuple[int, float, float]] = []
    passed = 0.0
    for task in tasks:
        end = passed + task.elapsed
        if task.machine is not None:
            if found and found[-1][0] == task.machine and found[-1][2] == passed:
                found[-1] = (task.machine, found[-1][1], end)
            else:
                found.append((task.machine, passed, end))
        passed = end
    return found
