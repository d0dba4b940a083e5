"""A batch run through its cell by the dispatcher of the simulated year: one endless day.

All orders are there at time 0, nothing fails, and whoever works part of the shift is there. Among
waiting orders the first of the list goes first: list scheduling, unless another rule is given.

Imports numpy and, of this package, `tasks` here and the plan and kernel of the year.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from capex.errors import InputError
from capex.shopfloor.batch.tasks import Cell, Task
from capex.shopfloor.year.kernel import dispatched
from capex.shopfloor.year.plan import Floor, Luck, Orders, Record, Rule, Shifts

__all__ = ["Placed", "Step", "Wait", "batch_makespan", "floor_of", "placed_tasks", "task_steps"]


@dataclass(frozen=True)
class Step:
    """A part of a task that the dispatcher starts as a whole; see `year.plan.Floor`."""

    task: int
    machine: int
    people: int
    duration: float
    wall: bool
    keeps_machine: bool
    keeps_person: bool


@dataclass(frozen=True)
class Wait:
    """Why a task did not start at once: the last thing that had to come free, and whose it was.

    Parameters
    ----------
    place : str
        Machine or people.
    order : int
        Number of the order that had it.
    """

    place: str
    order: int


@dataclass(frozen=True)
class Placed:
    """One task of one order in a batch, with its times from the start of the batch.

    Parameters
    ----------
    order : int
        Number of the order, from 0, in the order of the batch's entries.
    task : Task
    number : int or None
        Of the machine among all single machines of the cell, in its order.
    machine, people : str or None
        Their labels; several of a kind are told apart by a number.
    ready, start, finish : float
        When the order could have gone on, when it did, and when the task was done [s].
    attended_from, attended_until : float
        When somebody was with it; equal where nobody was [s].
    waits_for : Wait or None
    """

    order: int
    task: Task
    number: int | None
    machine: str | None
    people: str | None
    ready: float
    start: float
    finish: float
    attended_from: float
    attended_until: float
    waits_for: Wait | None


def task_steps(tasks: Sequence[Task]) -> tuple[Step, ...]:
    """Return the tasks of an order as steps of the dispatcher.

    An operation that is attended for part of its time is two steps: attended first, then alone.
    An order stays on its machine while its next step is on that machine, and a person goes on
    with it while neither changes.

    Examples
    --------
    >>> steps = task_steps([Task("print", "print", 0, 0, 10.0, 1.0, 0.0)])
    >>> [(step.machine, step.people, step.duration, step.keeps_machine) for step in steps]
    [(0, 0, 1.0, True), (0, -1, 9.0, False)]
    """
    parts: list[tuple[int, int, int, float, bool]] = []
    for number, task in enumerate(tasks):
        machine = -1 if task.machine is None else task.machine
        if task.attended > 0:
            people = -1 if task.people is None else task.people
            parts.append((number, machine, people, task.attended, False))
        if machine >= 0 and task.busy > task.attended:
            parts.append((number, machine, -1, task.busy - task.attended, False))
        if task.wait > 0:
            parts.append((number, -1, -1, task.wait, True))
    steps = []
    for place, (number, machine, people, duration, wall) in enumerate(parts):
        after = parts[place + 1] if place + 1 < len(parts) else (-1, -2, -2, 0.0, True)
        keeps_machine = machine >= 0 and after[1] == machine
        keeps_person = people >= 0 and after[2] == people and after[1] == machine
        steps.append(Step(number, machine, people, duration, wall, keeps_machine, keeps_person))
    return tuple(steps)


@dataclass(frozen=True)
class _Run:
    """A batch that went through the dispatcher, with the program of each order as listed."""

    listed: list[int]
    steps: list[tuple[Step, ...]]
    program: list[int]
    record: Record


def _run(
    cell: Cell,
    orders: Sequence[tuple[Task, ...]],
    sequence: Sequence[int] | None,
    rule: Rule,
) -> _Run:
    listed = list(range(len(orders))) if sequence is None else [int(order) for order in sequence]
    if sorted(listed) != list(range(len(orders))):
        raise InputError("sequence", listed, f"must name each of {len(orders)} orders once")
    if not all(orders):
        raise InputError("orders", "nothing to do", "must have at least one task each")
    numbers: dict[tuple[Task, ...], int] = {}
    for tasks in orders:
        numbers.setdefault(tasks, len(numbers))
    steps = [task_steps(tasks) for tasks in numbers]
    program = [numbers[orders[order]] for order in listed]
    length = 1.0 + sum(step.duration for number in program for step in steps[number])
    floor = floor_of(cell, steps, rule)
    record = dispatched(
        floor, _endless_day(length), _orders(program), _no_luck(floor.group_of.size)
    )
    return _Run(listed, steps, program, record)


def batch_makespan(
    cell: Cell,
    orders: Sequence[tuple[Task, ...]],
    sequence: Sequence[int] | None = None,
    rule: Rule = "first_come",
) -> float:
    """Return when the last order is done [s]; parameters and errors as for `placed_tasks`."""
    return float(_run(cell, orders, sequence, rule).record.finished.max())


def placed_tasks(
    cell: Cell,
    orders: Sequence[tuple[Task, ...]],
    sequence: Sequence[int] | None = None,
    rule: Rule = "first_come",
) -> tuple[Placed, ...]:
    """Return every task of every order with its times, order by order.

    Parameters
    ----------
    cell : Cell
    orders : sequence of tuple of Task
        What each order takes.
    sequence : sequence of int, optional
        Orders by their place in the list; as given unless said.
    rule : Rule
        Who goes first where several wait; ties go to the list.

    Returns
    -------
    tuple of Placed

    Raises
    ------
    InputError
        A sequence that does not name every order once, or an order with nothing to do.
    """
    run = _run(cell, orders, sequence, rule)
    record = run.record
    spans = []
    for place, number in enumerate(run.program):
        first = int(record.offset[place])
        for k, step in enumerate(run.steps[number]):
            times = (float(record.begun[first + k]), float(record.ended[first + k]))
            spans.append(_Span(run.listed[place], step, *times, int(record.on[first + k])))
    return _together(cell, orders, spans)


def floor_of(cell: Cell, programs: Sequence[tuple[Step, ...]], rule: Rule) -> Floor:
    """Return a cell as a floor on which everybody is there all day and no order differs in size.

    Parameters
    ----------
    cell : Cell
    programs : sequence of tuple of Step
        What orders run through; none where nothing can be made.
    rule : Rule
        Of machines and of people.
    """
    steps = [step for program in programs for step in program]
    ends = np.cumsum([0, *(len(program) for program in programs)])
    no = np.zeros(len(steps), dtype=np.bool_)
    servers = [place.servers for place in cell.machines]
    return Floor(
        group_of=np.repeat(np.arange(len(servers)), servers).astype(np.int64),
        persons=np.array([float(place.servers) for place in cell.people], dtype=np.float64),
        first=ends[:-1].astype(np.int64),
        last=(ends[1:] - 1).astype(np.int64),
        machine=np.array([step.machine for step in steps], dtype=np.int64),
        people=np.array([step.people for step in steps], dtype=np.int64),
        fixed=np.array([step.duration for step in steps], dtype=np.float64),
        scaled=np.zeros(len(steps)),
        wall=np.array([step.wall for step in steps], dtype=np.bool_),
        alone=no,
        set_up=no,
        keeps_machine=np.array([step.keeps_machine for step in steps], dtype=np.bool_),
        keeps_person=np.array([step.keeps_person for step in steps], dtype=np.bool_),
        machine_rule=rule,
        people_rule=rule,
    )


def _endless_day(length: float) -> Shifts:
    """Return one day as long as all steps one after the other, which no batch exceeds."""
    return Shifts(
        opens=np.zeros(1), shift=length, overtime=0.0, overtime_left=np.zeros(1),
        month_of=np.zeros(1, dtype=np.int64), trigger=np.inf, night=0.0, completion=0.0,
    )  # fmt: skip


def _orders(program: Sequence[int]) -> Orders:
    count = len(program)
    return Orders(
        arrival=np.zeros(count),
        program=np.array(program, dtype=np.int64),
        size=np.ones(count),
        passes=np.ones(count, dtype=np.int64),
        due=np.zeros(count),
    )


def _no_luck(machines: int) -> Luck:
    never = np.full((machines, 1), np.inf)
    return Luck(until=never, repair=np.zeros((machines, 1)), night=np.ones((machines, 1)))


@dataclass(frozen=True)
class _Span:
    order: int
    step: Step
    begun: float
    ended: float
    on: int


def _together(
    cell: Cell, orders: Sequence[tuple[Task, ...]], spans: Sequence[_Span]
) -> tuple[Placed, ...]:
    """Return the steps as tasks, in the order of the batch."""
    machines = [label for place in cell.machines for label in place.each]
    found = []
    for order, tasks in enumerate(orders):
        mine = [span for span in spans if span.order == order]
        ready = 0.0
        for number, task in enumerate(tasks):
            parts = [span for span in mine if span.step.task == number]
            first, last = parts[0], parts[-1]
            seen = [span for span in parts if span.step.people >= 0]
            on = next((span.on for span in parts if span.on >= 0), None)
            machine = None if on is None else machines[on]
            people = None if task.people is None else cell.people[task.people].name
            wait = _wait(first, ready, spans, machines, cell)
            attended = (seen[0].begun, seen[-1].ended) if seen else (first.begun, first.begun)
            found.append(
                Placed(
                    order, task, on, machine, people, ready, first.begun, last.ended, *attended,
                    wait,
                )
            )  # fmt: skip
            ready = last.ended
    return tuple(found)


def _wait(
    span: _Span, ready: float, spans: Sequence[_Span], machines: Sequence[str], cell: Cell
) -> Wait | None:
    if span.begun <= ready:
        return None
    ending = [one for one in spans if one.ended == span.begun and one.order != span.order]
    # A machine that comes free lets its person go at the same moment: the machine is the cause.
    for one in ending:
        if span.on >= 0 and one.on == span.on and not one.step.keeps_machine:
            return Wait(machines[one.on], one.order)
    for one in ending:
        same = span.step.people >= 0 and one.step.people == span.step.people
        if same and not one.step.keeps_person:
            return Wait(cell.people[one.step.people].name, one.order)
    return None
