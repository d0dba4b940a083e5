"""Which of its routes each order of a batch takes: choices that even out loads, then small moves.

Imports numpy and `tasks` here.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from itertools import combinations
from typing import Final

import numpy as np

from capex.shopfloor.arrays import FloatArray
from capex.shopfloor.batch.tasks import Cell, Task

__all__ = ["Assignment", "first_assignments", "improved_assignment"]

#: The route of each order, by number.
Assignment = tuple[int, ...]
#: Moves that are tried at most, times orders: each is a run of the whole batch.
_EFFORT: Final = 2000


def first_assignments(
    cell: Cell, ways: Sequence[Sequence[int]], tasks: dict[int, tuple[Task, ...]]
) -> list[Assignment]:
    """Return choices to begin with, each once.

    The first route of every order; and every order on the route that leaves the busiest station
    least to do, once in the order of the list and once the longest first.

    Parameters
    ----------
    cell : Cell
    ways : sequence of sequence of int
        Routes of each order, in order of preference.
    tasks : dict of int to tuple of Task
        What an order takes on each.

    Examples
    --------
    >>> from capex.shopfloor.batch.tasks import Place
    >>> cutters = Cell((Place("A", 1, 1.0), Place("B", 1, 1.0)), (), (0, 1))
    >>> cut = {
    ...     number: (Task("cut", "cut", number % 2, None, time, 0.0, 0.0),)
    ...     for number, time in enumerate((3.0, 3.0, 4.0, 4.0, 7.0, 7.0))
    ... }
    >>> first_assignments(cutters, [[0, 1], [2, 3], [4, 5]], cut)
    [(0, 2, 4), (0, 3, 4), (1, 3, 4)]
    """
    load = _loads(cell, ways, tasks)
    longest = [max(sum(task.elapsed for task in tasks[v]) for v in able) for able in ways]
    listed = list(range(len(ways)))
    falling = sorted(listed, key=lambda order: -longest[order])
    found = [
        tuple(able[0] for able in ways),
        _even(ways, load, listed),
        _even(ways, load, falling),
    ]
    return list(dict.fromkeys(found))


def _even(
    ways: Sequence[Sequence[int]], load: dict[int, FloatArray], listed: Sequence[int]
) -> Assignment:
    total = np.zeros_like(next(iter(load.values()), np.zeros(0)))
    chosen = [0] * len(ways)
    for order in listed:
        after = {v: total + load[v] for v in ways[order]}
        best = min(after, key=lambda v: (after[v].max(), after[v].sum()))
        total, chosen[order] = after[best], best
    return tuple(chosen)


def improved_assignment(
    cell: Cell,
    ways: Sequence[Sequence[int]],
    tasks: dict[int, tuple[Task, ...]],
    chosen: Assignment,
    makespan: Callable[[Assignment], float],
    enough: float,
) -> Assignment:
    """Return a choice that is as short or shorter: moves are made while they help.

    An order is moved to another route, or two orders change theirs. Those moves come first that
    leave the busiest station least to do; only so many are tried.

    Parameters
    ----------
    cell, ways, tasks
        As for `first_assignments`.
    chosen : Assignment
    makespan : callable
        How long the batch takes on a choice [s].
    enough : float
        A time that cannot be beaten [s].
    """
    load = _loads(cell, ways, tasks)
    best, left = makespan(chosen), _EFFORT // len(ways)
    moved = True
    while moved and best > enough:
        moved = False
        for other in _moves(ways, load, chosen):
            if left == 0:
                return chosen
            left -= 1
            found = makespan(other)
            if found < best * (1.0 - 1e-9):
                chosen, best, moved = other, found, True
                break
    return chosen


def _moves(
    ways: Sequence[Sequence[int]], load: dict[int, FloatArray], chosen: Assignment
) -> Iterator[Assignment]:
    """Yield the choices that differ in one order, or two; of orders that are alike only one."""
    total = np.sum([load[v] for v in chosen], axis=0)
    single = {
        (now, v): (order, v)
        for order, (able, now) in reversed(list(enumerate(zip(ways, chosen, strict=True))))
        for v in able
        if v != now
    }
    gain = {move: load[move[1]] - load[move[0]] for move in single}
    steps = [(step,) for step in single]
    pairs = [(one, two) for one, two in combinations(single, 2) if single[one][0] != single[two][0]]
    found = []
    for moves in (*steps, *pairs):
        after = total + sum(gain[move] for move in moves)
        found.append((after.max(), (after**2).sum(), moves))
    for _, _, moves in sorted(found, key=lambda one: one[:2]):
        other = list(chosen)
        for move in moves:
            order, v = single[move]
            other[order] = v
        yield tuple(other)


def _loads(
    cell: Cell, ways: Sequence[Sequence[int]], tasks: dict[int, tuple[Task, ...]]
) -> dict[int, FloatArray]:
    """Return what an order on a route adds to the time of every machine and group of people [s]."""
    return {v: _load(cell, tasks[v]) for v in dict.fromkeys(v for able in ways for v in able)}


def _load(cell: Cell, order: tuple[Task, ...]) -> FloatArray:
    machines, people = np.zeros(len(cell.machines)), np.zeros(len(cell.people))
    for task in order:
        if task.machine is not None:
            machines[task.machine] += task.busy
        if task.people is not None:
            people[task.people] += task.attended
    servers = np.array([place.servers for place in (*cell.machines, *cell.people)])
    return np.asarray(np.concatenate([machines, people]) / servers)
