"""A batch under an alternative: every operation of every order, from first start to last finish.

Timed for one scenario at full speed: no ramp-up, failures or spoil; set-ups count with their share
of a run. What the machines cannot make is named.

Imports `capex.errors`, `capex.study`, the routes of the shop floor, and this folder.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from capex.errors import InputError
from capex.shopfloor.batch.assignment import (
    Assignment,
    first_assignments,
    improved_assignment,
)
from capex.shopfloor.batch.bounds import (
    Ways,
    batch_lower_bound,
    stream_lower_bound,
    two_machine_sequence,
)
from capex.shopfloor.batch.dispatch import Placed, batch_makespan, placed_tasks
from capex.shopfloor.batch.streaming import Streaming
from capex.shopfloor.batch.tasks import (
    BatchEntry,
    Cell,
    Task,
    batch_study,
    cell_of,
    one_row,
    order_tasks,
)
from capex.shopfloor.content import Contents
from capex.shopfloor.mix import job_mix
from capex.shopfloor.operations import Role
from capex.shopfloor.routes import Route, Routes, routes
from capex.shopfloor.trigger import followed_study
from capex.shopfloor.year.plan import Rule
from capex.study import Study

__all__ = ["NotMade", "Timeline", "batch_timeline"]

Sequencing = Literal["as given", "shortest found"]


@dataclass(frozen=True)
class NotMade:
    """An entry that the alternative cannot make, by number, with the reason."""

    entry: int
    job: str
    name: str
    reason: str


@dataclass(frozen=True)
class Timeline:
    """A batch in time.

    Parameters
    ----------
    alternative : str
        Key.
    cell : Cell
        Machines and people.
    entry_of : tuple of int
        Entry of each order.
    routes : tuple of Route
        Machines of each order.
    orders : tuple of tuple of Task
        What each takes.
    ways : tuple of Ways
        What each would take, on every route that it could take.
    tasks : tuple of Placed
        When: order by order, operations in order.
    sequence : tuple of int
        Orders as they were listed for the dispatcher.
    method : str
        How the list was found.
    lower_bound : float
        No choice of routes and no sequence is shorter [s].
    not_made : tuple of NotMade
    """

    alternative: str
    cell: Cell
    entry_of: tuple[int, ...]
    routes: tuple[Route, ...]
    orders: tuple[tuple[Task, ...], ...]
    ways: tuple[Ways, ...]
    tasks: tuple[Placed, ...]
    sequence: tuple[int, ...]
    method: str
    lower_bound: float
    not_made: tuple[NotMade, ...]

    @property
    def makespan(self) -> float:
        """When the last task is done [s]; 0 where nothing can be made."""
        return max((task.finish for task in self.tasks), default=0.0)

    @property
    def streaming(self) -> Streaming:
        """The batch as one of a long stream of its like, at best.

        The pace is that of the busiest machines or people if they never wait, on whatever routes:
        a bound, which waiting for each other keeps a stream from. People are there all the time,
        as in the batch.

        Raises
        ------
        InputError
            Nothing of the batch can be made.
        """
        return self._streaming(by_shift=False)

    @property
    def streaming_by_shift(self) -> Streaming:
        """The same with people who count by how much of a shift they are there."""
        return self._streaming(by_shift=True)

    def _streaming(self, *, by_shift: bool) -> Streaming:
        if not self.orders:
            raise InputError("batch", self.alternative, "can make nothing of it")
        name, seconds = stream_lower_bound(self.cell, self.ways, by_shift=by_shift)
        return Streaming(self.makespan, seconds, name)

    @property
    def is_shortest(self) -> bool:
        """Whether it is proven that none is shorter: it takes as long as the bound."""
        return self.makespan <= self.lower_bound * (1.0 + 1e-9)


def batch_timeline(
    study: Study,
    alternative: str,
    entries: Sequence[BatchEntry],
    *,
    month: int = 1,
    repeats: int = 1,
    sequencing: Sequencing = "shortest found",
) -> Timeline:
    """Return when each operation of a batch starts and ends on each machine and person.

    Assumes that all orders are there at the start, the machines of `month` at full speed, no
    failures and no spoil. Orders go to the first machines that can make them, or to those that
    even out the load, whichever ends the batch sooner; then single orders are moved, or two change
    their machines, while that helps, up to a number of trials.

    Parameters
    ----------
    study : Study
        One scenario.
    alternative : str
        Key.
    entries : sequence of BatchEntry
    month : int
        Whose machines: in a staged alternative they depend on it. One that waits for a trigger
        is there once the month that the trigger finds has passed.
    repeats : int
        How often the batch comes, all at the start.
    sequencing : {"as given", "shortest found"}
        The list as entered; or the shortest of Johnson's rule where the batch is one of two
        machines, of list scheduling by the entered list and by most and least work first, and
        of serving first what is furthest along.

    Returns
    -------
    Timeline

    Raises
    ------
    InputError
        Unknown alternative or job type, a number out of its bounds, or several scenarios.

    Examples
    --------
    >>> from capex.study.files import data_folder, read_study
    >>> study = read_study(data_folder() / "studies" / "quenlow.toml")
    >>> batch = [BatchEntry("sticker_sets", orders=2), BatchEntry("fleet_badges", laminated=True)]
    >>> timeline = batch_timeline(study, "separate", batch)
    >>> timeline.lower_bound <= timeline.makespan
    True
    >>> timeline.not_made
    ()

    Notes
    -----
    Source `pinedo-2016`, list scheduling; `johnson-1954`; `mitten-1959`.
    """
    study.alternative(alternative)
    if repeats < 1:
        raise InputError("repeats", repeats, "must be at least 1")
    batch = batch_study(followed_study(study), entries)
    choice = batch.alternatives[alternative]
    cell = cell_of(batch, choice, month)
    mix = job_mix(batch)
    every = routes(Contents(batch, mix), choice)
    ways = [_ways(every, entry, cell) for entry in range(len(entries))]
    not_made = tuple(
        NotMade(n, entry.job, mix.jobs[n].name, _reason(every, n, cell))
        for n, entry in enumerate(entries)
        if not ways[n]
    )
    made = [
        n for _ in range(repeats) for n, entry in enumerate(entries) if ways[n]
        for _ in range(entry.orders)
    ]  # fmt: skip
    tasks = {
        v: route_tasks(every, v, cell, laminated=entries[n].laminated)
        for n in range(len(entries))
        for v in ways[n]
    }
    able = [ways[n] for n in made]
    chosen, bound = _assignment(cell, able, tasks, sequencing)
    orders = tuple(tasks[v] for v in chosen)
    method, sequence, placed = scheduled(cell, orders, sequencing)
    return Timeline(
        alternative, cell, tuple(made), tuple(every.each[v] for v in chosen), orders,
        tuple([tasks[v] for v in each] for each in able), placed, sequence, method, bound, not_made,
    )  # fmt: skip


def _assignment(
    cell: Cell,
    able: Sequence[Sequence[int]],
    tasks: dict[int, tuple[Task, ...]],
    sequencing: Sequencing,
) -> tuple[Assignment, float]:
    """Return the route of every order, and a time that no choice of routes beats [s]."""
    if not able:
        return (), 0.0
    bound = batch_lower_bound(cell, [[tasks[v] for v in each] for each in able])

    def makespan(chosen: Assignment) -> float:
        return _shortest(cell, [tasks[v] for v in chosen], sequencing)[0]

    begun = min(first_assignments(cell, able, tasks), key=lambda one: round(makespan(one), 6))
    return improved_assignment(cell, able, tasks, begun, makespan, bound), bound


def _ways(every: Routes, entry: int, cell: Cell) -> list[int]:
    """Return the routes that can make an entry by day on machines that are there."""
    makeable = one_row("makeable", every.makeable)
    return [
        v
        for v, route in enumerate(every.each)
        if route.job == entry
        and not route.overnight
        and makeable[v]
        and route.machines <= set(cell.placements)
    ]


def _reason(every: Routes, entry: int, cell: Cell) -> str:
    there = any(
        route.job == entry and route.machines <= set(cell.placements) for route in every.each
    )
    return "too wide or too strong for its machines" if there else "no machine for one of its steps"


def route_tasks(every: Routes, v: int, cell: Cell, *, laminated: bool) -> tuple[Task, ...]:
    """Return the tasks of one order on a route."""
    route, done = every.each[v], every.contents[v].operations
    operations = done.laminated if laminated else done.plain
    return order_tasks(operations, route.job, machines_of(route, cell), cell)


def machines_of(route: Route, cell: Cell) -> dict[Role, int | None]:
    """Return the number in the cell of the machine for each role."""

    def number(place: int | None) -> int | None:
        return None if place is None else cell.placements.index(place)

    return {
        "print": number(route.print),
        "laminate": number(route.laminate),
        "cut": number(route.cut),
    }


_Listed = tuple[str, tuple[int, ...], Rule]


def scheduled(
    cell: Cell, orders: Sequence[tuple[Task, ...]], sequencing: Sequencing
) -> tuple[str, tuple[int, ...], tuple[Placed, ...]]:
    """Return how a batch is listed, the list, and the times that come of it.

    The shortest of several lists; the simplest of those that tie.
    """
    if not orders:
        return "as given", (), ()
    _, (name, sequence, rule) = _shortest(cell, orders, sequencing)
    return name, sequence, placed_tasks(cell, orders, sequence, rule)


def _shortest(
    cell: Cell, orders: Sequence[tuple[Task, ...]], sequencing: Sequencing
) -> tuple[float, _Listed]:
    found = [
        (batch_makespan(cell, orders, one[1], one[2]), one)
        for one in _lists(cell, orders, sequencing)
    ]
    return min(found, key=lambda one: round(one[0], 6))


def _lists(cell: Cell, orders: Sequence[tuple[Task, ...]], sequencing: Sequencing) -> list[_Listed]:
    """Return the lists that are tried: name, sequence and who goes first."""
    given = tuple(range(len(orders)))
    if sequencing == "as given":
        return [("as given", given, "first_come")]
    work = [sum(task.elapsed for task in tasks) for tasks in orders]
    most = tuple(sorted(given, key=lambda k: -work[k]))
    least = tuple(sorted(given, key=lambda k: work[k]))
    lists: list[_Listed] = [
        ("list scheduling, as given", given, "first_come"),
        ("list scheduling, most work first", most, "first_come"),
        ("list scheduling, least work first", least, "first_come"),
        ("furthest along first", given, "furthest_along"),
    ]
    rule = two_machine_sequence(cell, orders)
    if rule is not None:
        lists.insert(0, (rule[0], tuple(int(order) for order in rule[1]), "first_come"))
    return lists
