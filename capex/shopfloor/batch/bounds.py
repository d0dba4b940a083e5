"""How short a batch could be at best: by its machines, its people and its longest order.

Imports numpy, `tasks` here and `capex.shopfloor.batch.sequences`.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import Final

import numpy as np

from capex.shopfloor.batch.sequences import IntArray, johnson_mitten_sequence, johnson_sequence
from capex.shopfloor.batch.tasks import Cell, Place, Task

__all__ = ["Ways", "batch_lower_bound", "stream_lower_bound", "two_machine_sequence"]

#: What an order takes on each route that it could take.
Ways = Sequence[tuple[Task, ...]]
#: Most kinds of machines that are taken together, beside all of them.
_TOGETHER: Final = 4


@dataclass(frozen=True)
class _Pool:
    """Machines taken together, or the people of one group."""

    places: tuple[Place, ...]
    machines: tuple[int, ...]
    people: int | None = None

    @property
    def servers(self) -> int:
        return sum(place.servers for place in self.places)

    def works(self, tasks: tuple[Task, ...]) -> list[float]:
        """Return what each task brings to them [s]."""
        if self.people is None:
            return [task.busy * (task.machine in self.machines) for task in tasks]
        return [task.attended * (task.people == self.people) for task in tasks]


def _pools(cell: Cell) -> list[_Pool]:
    """Return every kind of machine, every group of people, then machines taken together."""
    count = len(cell.machines)
    sizes = [*range(1, min(count, _TOGETHER) + 1), *([count] if count > _TOGETHER else [])]
    pools = [
        _Pool(tuple(cell.machines[m] for m in chosen), chosen)
        for size in sizes
        for chosen in combinations(range(count), size)
    ]
    people = [_Pool((place,), (), p) for p, place in enumerate(cell.people)]
    return [*pools[:count], *people, *pools[count:]]


def batch_lower_bound(cell: Cell, orders: Sequence[Ways]) -> float:
    """Return a time that no choice of routes and no sequence of a batch beats [s].

    Assumes nothing of routes, sequence and priorities. For every kind of machine, some of them
    together, and every group of people: least time before + least work / servers + least time
    after, over all visits, over first visits, and over last visits, of the orders that have to
    come there whatever route they take; and the order that is longest on its shortest route. For
    one machine that sees every order twice this is `lower_bounds.reentrant_lower_bound`.

    Parameters
    ----------
    cell : Cell
    orders : sequence of sequence of tuple of Task
        What each order takes, on each route that it could take.

    Returns
    -------
    float
        [s].

    Examples
    --------
    >>> frame = Cell((Place("Frame", 1, 1.0),), (), (0,))
    >>> order = (
    ...     Task("print", "print", 0, None, 3.0, 0.0, 0.0),
    ...     Task("outgas", None, None, None, 0.0, 0.0, 60.0),
    ...     Task("cut", "cut", 0, None, 5.0, 0.0, 0.0),
    ... )
    >>> batch_lower_bound(frame, [[order]] * 10)
    113.0

    Two cutters that could do the same are taken together:

    >>> cutters = Cell((Place("A", 1, 1.0), Place("B", 1, 1.0)), (), (0, 1))
    >>> cut = [(Task("cut", "cut", m, None, 5.0, 0.0, 0.0),) for m in (0, 1)]
    >>> batch_lower_bound(cutters, [cut] * 4)
    10.0

    Notes
    -----
    Derivable: source `derivable`. All work of a station lies between the first time that any of
    its orders can reach it and the last time that any of them can still leave it.
    """
    counts = Counter(tuple(ways) for ways in orders)
    longest = max(min(sum(task.elapsed for task in tasks) for tasks in ways) for ways in counts)
    return max([longest, *(bound for pool in _pools(cell) for bound in _bounds(pool, counts))])


def _bounds(pool: _Pool, counts: Counter[tuple[tuple[Task, ...], ...]]) -> Iterator[float]:
    """Yield the bounds of one station: over all, over first and over last visits."""
    ways_visits = [
        (count, [_visits(tasks, pool.works(tasks)) for tasks in ways])
        for ways, count in counts.items()
    ]
    visits = [(count, found) for count, found in ways_visits if all(found)]
    if not visits:
        return
    for chosen in (slice(None), slice(0, 1), slice(-1, None)):
        taken = [(count, [each[chosen] for each in found]) for count, found in visits]
        work = sum(
            count * min(sum(work for _, work, _ in each) for each in found)
            for count, found in taken
        )
        before = min(each[0][0] for _, found in taken for each in found)
        after = min(each[-1][2] for _, found in taken for each in found)
        yield before + work / pool.servers + after


def stream_lower_bound(
    cell: Cell, orders: Sequence[Ways], *, by_shift: bool = False
) -> tuple[str, float]:
    """Return what sets the pace of a long stream of batches, and the least time between two [s].

    Assumes nothing of routes, sequence and priorities: the least work of the batch for machines or
    people, over how many they are: as in a batch, of which it is never longer.

    Parameters
    ----------
    cell, orders
        As for `batch_lower_bound`.
    by_shift : bool
        Whether people count by how much of a shift they are there instead.

    Examples
    --------
    >>> cutters = Cell((Place("A", 1, 1.0), Place("B", 1, 1.0)), (), (0, 1))
    >>> cut = [(Task("cut", "cut", m, None, 5.0, 0.0, 0.0),) for m in (0, 1)]
    >>> stream_lower_bound(cutters, [cut] * 3)
    ('A and B', 7.5)

    Two persons, one of them there for half of a shift:

    >>> bench = Cell((), (Place("Finishers", 2, 1.5),), ())
    >>> pack = [(Task("pack", None, None, 0, 0.0, 6.0, 0.0),)]
    >>> stream_lower_bound(bench, [pack]), stream_lower_bound(bench, [pack], by_shift=True)
    (('Finishers', 3.0), ('Finishers', 4.0))
    """
    counts = Counter(tuple(ways) for ways in orders)
    found = []
    for pool in _pools(cell):
        work = sum(
            count * min(sum(pool.works(tasks)) for tasks in ways) for ways, count in counts.items()
        )
        name = " and ".join(place.name for place in pool.places)
        count = sum(place.staff if by_shift else place.servers for place in pool.places)
        found.append((name, work / count))
    # Of equal ones the first, and so the smallest.
    return max(found, key=lambda one: round(one[1], 6))


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
