"""What a batch is made of: its entries, the stations they use, and the tasks of each order.

Imports numpy, `capex.errors`, `capex.study` and the routes of this folder's parent.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from capex.errors import InputError
from capex.shopfloor.arrays import FloatArray
from capex.shopfloor.content import can_run_overnight
from capex.shopfloor.labels import machine_labels, told_apart
from capex.shopfloor.operations import Operation, Role
from capex.shopfloor.stations import at_work
from capex.study import Alternative, JobType, Study

__all__ = ["BatchEntry", "Cell", "Place", "Task", "batch_study", "cell_of", "order_tasks"]


@dataclass(frozen=True)
class BatchEntry:
    """Equal orders of one job type in a batch.

    Parameters
    ----------
    job : str
        Key of the type in the study.
    laminated : bool
    orders : int
        How many.
    pieces : int or None
        Pieces of each order; as the study says unless given.
    """

    job: str
    laminated: bool = False
    orders: int = 1
    pieces: int | None = None


@dataclass(frozen=True)
class Place:
    """Machines of a kind, or people: how many work at once, and how many there are.

    `servers` differs from `staff` for people only: somebody who is there for part of the shift is
    there while the batch runs. `name` and `labels`, one a server, are for people to read: no two
    of a cell are alike, and nothing is read back from them.
    """

    name: str
    servers: int
    staff: float
    labels: tuple[str, ...] = ()

    @property
    def each(self) -> tuple[str, ...]:
        """What to call each server."""
        return self.labels or told_apart([self.name] * self.servers)


@dataclass(frozen=True)
class Cell:
    """The machines and the people that a batch runs on; tasks name them by number.

    `placements` are the numbers of the machines in their alternative.
    """

    machines: tuple[Place, ...]
    people: tuple[Place, ...]
    placements: tuple[int, ...]


@dataclass(frozen=True)
class Task:
    """One operation of one order, with something to do.

    Parameters
    ----------
    name : str
    role : {"print", "laminate", "cut"} or None
        What it uses its machine for.
    machine, people : int or None
        Numbers in the cell.
    busy, attended, wait : float
        See `capex.shopfloor.operations.Operation` [s].
    set_up, alone : bool
        Whether it takes as long for a large order, and whether the machine may do it at night.
    """

    name: str
    role: Role | None
    machine: int | None
    people: int | None
    busy: float
    attended: float
    wait: float
    set_up: bool = False
    alone: bool = False

    @property
    def elapsed(self) -> float:
        """How long it takes with nothing in its way [s]."""
        return max(self.busy, self.attended) + self.wait


def batch_study(study: Study, entries: Sequence[BatchEntry]) -> Study:
    """Return the study with the entries of a batch as its job types, in their order.

    Raises
    ------
    InputError
        No entry, an unknown job type, no order, no piece, or lamination of a type that names no
        laminate.
    """
    if not entries:
        raise InputError("batch", "nothing", "must have at least one entry")
    jobs = {f"{entry.job}.{n}": _job(study, entry, n) for n, entry in enumerate(entries)}
    levers = study.levers.model_copy(update={"laminated_share": None})
    return study.model_copy(update={"jobs": jobs, "levers": levers})


def _job(study: Study, entry: BatchEntry, number: int) -> JobType:
    field = f"batch.{number}"
    job = study.jobs.get(entry.job)
    if job is None:
        known = ", ".join(study.jobs)
        raise InputError(f"{field}.job", entry.job, f"is not a job type; known: {known}")
    if entry.orders < 1:
        raise InputError(f"{field}.orders", entry.orders, "must be at least 1")
    if entry.laminated and (job.laminate is None or job.film is None):
        raise InputError(f"{field}.laminated", True, f"needs a print and a laminate: {job.name}")
    share = job.laminated.replaced([float(entry.laminated)], f"{field}.laminated", study.currency)
    pieces = job.pieces_per_order
    if entry.pieces is not None:
        pieces = pieces.replaced([float(entry.pieces)], f"{field}.pieces", study.currency)
    return job.model_copy(update={"laminated": share, "pieces_per_order": pieces})


def cell_of(study: Study, alternative: Alternative, month: int, until: int | None = None) -> Cell:
    """Return the machines of an alternative that work in a month, and the shop's people.

    With `until`, those that work in any month of the span.

    Raises
    ------
    InputError
        A month before 1, or several scenarios.
    """
    if month < 1:
        raise InputError("month", month, "must be at least 1")
    people = study.shop.people
    groups = [("Operators", people.operators), ("Finishers", people.finishers)]
    persons = [(name, float(one_row(name, persons.si[:, None])[0])) for name, persons in groups]
    machines = machine_labels(study, alternative)
    labels = told_apart([*(label for _, label in machines), *(name for name, _ in persons)])
    named = [study.machines[placement.machine].name for placement in alternative.machines]
    names = [name if named.count(name) == 1 else "" for name in named]
    found: list[tuple[int, Place]] = []
    for number, placement in enumerate(alternative.machines):
        works = at_work(study, placement, until or month)[:, month - 1 :]
        there = works.any(axis=1, keepdims=True)
        if one_row("month", there)[0]:
            count = int(one_row("count", placement.count.si[:, None])[0])
            own = [label for label, (k, _) in zip(labels, machines, strict=False) if k == number]
            found.append((number, Place(_of_all(own, names[number]), count, count, tuple(own))))
    return Cell(
        tuple(place for _, place in found),
        tuple(
            Place(name, math.ceil(staff), staff)
            for name, (_, staff) in zip(labels[len(machines) :], persons, strict=True)
            if staff > 0
        ),
        tuple(number for number, _ in found),
    )


def _of_all(labels: Sequence[str], name: str) -> str:
    """Return what to call machines that stand for each other: their name if it is theirs alone."""
    if len(labels) == 1:
        return labels[0]
    return name or f"{', '.join(labels[:-1])} or {labels[-1]}"


def one_row(field: str, table: npt.ArrayLike) -> FloatArray:
    """Return the only row of a table over scenarios.

    Raises
    ------
    InputError
        There are several: a batch is timed for one scenario at a time.
    """
    rows = np.asarray(table, dtype=np.float64)
    if rows.shape[0] != 1:
        raise InputError(field, rows.shape[0], "must be one scenario: a batch is timed for one")
    return np.asarray(rows[0])


def order_tasks(
    operations: Sequence[Operation],
    job: int,
    machines: Mapping[Role, int | None],
    cell: Cell,
    *,
    overnight: bool = False,
) -> tuple[Task, ...]:
    """Return the tasks of one order: operations that take any time, on the machines given.

    Parameters
    ----------
    operations : sequence of Operation
        A route of `capex.shopfloor.operations`, in order.
    job : int
        Its job type.
    machines : mapping of role to int or None
        Number in the cell of the machine for each role.
    cell : Cell
    overnight : bool
        Whether the machines may go on with nobody there.
    """
    stays = machines["print"] is not None and machines["print"] == machines["cut"]
    people = {"operators": 0, "finishers": len(cell.people) - 1}
    tasks = []
    for operation in operations:
        busy, attended, wait = (
            float(one_row(operation.name, table)[job])
            for table in (operation.busy, operation.attended, operation.wait)
        )
        if busy + attended + wait > 0:
            tasks.append(
                Task(
                    operation.name,
                    operation.at,
                    machines[operation.at] if operation.at is not None and busy > 0 else None,
                    people[operation.by] if attended > 0 else None,
                    busy,
                    attended,
                    wait,
                    operation.set_up,
                    overnight and can_run_overnight(operation, stays=stays),
                )
            )
    return tuple(tasks)
