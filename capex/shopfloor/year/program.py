"""An alternative as a floor: its machines and people, and a program for every way of an order.

A part-time person leaves during the shift. A machine's work takes longer by its minor stops, its
warm-up and the pace of its ramp-up, each as a share of the year.

Imports numpy, `capex.study` and the files of the shop floor.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from capex.errors import InputError
from capex.shopfloor.batch.dispatch import Step, task_steps
from capex.shopfloor.batch.tasks import Cell, Task, cell_of, one_row, order_tasks
from capex.shopfloor.operations import Role
from capex.shopfloor.routes import Route, Routes
from capex.shopfloor.stations import pace, presence
from capex.shopfloor.year.plan import FloatArray, Floor
from capex.study import Alternative, Study

__all__ = ["Programs", "programs"]


@dataclass(frozen=True)
class Programs:
    """A floor and which program an order takes.

    Parameters
    ----------
    floor : Floor
    cell : Cell
        Names of its machines and people.
    number : dict of (int, bool) to int
        Program by route and whether the order is laminated.
    remade : dict of (int, bool) to float
        Share of started orders that is spoiled on it.
    """

    floor: Floor
    cell: Cell
    number: dict[tuple[int, bool], int]
    remade: dict[tuple[int, bool], float]


def programs(
    study: Study, alternative: Alternative, routes: Routes, first: int, last: int
) -> Programs:
    """Return the floor of an alternative from month `first` to month `last`.

    Parameters
    ----------
    study : Study
        One scenario.
    alternative : Alternative
    routes : Routes
        Of the alternative in that study.
    first, last : int
        Months, from 1.

    Raises
    ------
    InputError
        Several scenarios.
    """
    cell = cell_of(study, alternative, first, last)
    stretch = np.array(
        [_stretch(study, alternative, place, first, last) for place in cell.placements]
    )
    number: dict[tuple[int, bool], int] = {}
    remade: dict[tuple[int, bool], float] = {}
    found: list[tuple[tuple[Task, ...], tuple[Step, ...]]] = []
    for v, route in enumerate(routes.each):
        machines = _numbers(route, cell)
        if machines is None or not bool(one_row("makeable", routes.makeable[:, v : v + 1])[0]):
            continue
        done = routes.contents[v].operations
        for laminated, operations, spoil in (
            (False, done.plain, done.spoil_plain),
            (True, done.laminated, done.spoil_laminated),
        ):
            if laminated and route.laminate is None:
                continue
            tasks = order_tasks(operations, route.job, machines, cell, overnight=route.overnight)
            number[v, laminated] = len(found)
            remade[v, laminated] = float(one_row("spoil", spoil)[route.job])
            found.append((tasks, task_steps(tasks)))
    return Programs(_floor(study, cell, found, stretch), cell, number, remade)


def _numbers(route: Route, cell: Cell) -> dict[Role, int | None] | None:
    """Return the cell's numbers of a route's machines, or None where one is not there."""
    index = {placement: number for number, placement in enumerate(cell.placements)}
    places: dict[Role, int | None] = {
        "print": route.print,
        "laminate": route.laminate,
        "cut": route.cut,
    }
    if not route.machines <= index.keys():
        return None
    return {role: None if place is None else index[place] for role, place in places.items()}


def _stretch(study: Study, alternative: Alternative, number: int, first: int, last: int) -> float:
    """Return how much longer a machine's work takes: minor stops, warm-up, ramp-up."""
    placement = alternative.machines[number]
    machine = study.machines[placement.machine]
    hours = study.shop.hours
    shift = float(one_row("hours", hours.hours_per_day.si - hours.care_per_day.si)[()])
    there = np.broadcast_to(presence(placement, last), (1, last))[0, first - 1 :]
    speed = np.broadcast_to(pace(study, alternative, placement, last), (1, last))[0, first - 1 :]
    mean = float(speed[there].mean())
    stops = float(machine.minor_stop_share.si[0])
    warm = float(machine.warm_up_time.si[0])
    if warm >= shift:
        raise InputError(
            "shop.hours.hours_per_day", f"{shift / 3600:g} h",
            f"must be more than machine care and the warm-up of {machine.name} together",
        )  # fmt: skip
    return 1.0 / ((1.0 - stops) * (1.0 - warm / shift) * mean)


def _floor(
    study: Study,
    cell: Cell,
    found: list[tuple[tuple[Task, ...], tuple[Step, ...]]],
    stretch: FloatArray,
) -> Floor:
    rules = study.shop.dispatching
    steps = [(tasks[step.task], step) for tasks, steps in found for step in steps]
    ends = np.cumsum([len(steps) for _, steps in found])
    machine = np.array([step.machine for _, step in steps], dtype=np.int64)
    wall = np.array([step.wall for _, step in steps], dtype=np.bool_)
    set_up = np.array([task.set_up for task, _ in steps], dtype=np.bool_)
    longer = np.where(machine >= 0, stretch[machine], 1.0)
    duration = np.array([step.duration for _, step in steps]) * longer
    fixed = set_up | wall
    servers = [place.servers for place in cell.machines]
    return Floor(
        group_of=np.repeat(np.arange(len(servers)), servers).astype(np.int64),
        persons=np.array([place.staff for place in cell.people]),
        first=np.append(0, ends[:-1]).astype(np.int64),
        last=(ends - 1).astype(np.int64),
        machine=machine,
        people=np.array([step.people for _, step in steps], dtype=np.int64),
        fixed=np.where(fixed, duration, 0.0),
        scaled=np.where(fixed, 0.0, duration),
        wall=wall,
        alone=np.array(
            [task.alone and step.people < 0 and step.machine >= 0 for task, step in steps],
            dtype=np.bool_,
        ),
        set_up=set_up,
        keeps_machine=np.array([step.keeps_machine for _, step in steps], dtype=np.bool_),
        keeps_person=np.array([step.keeps_person for _, step in steps], dtype=np.bool_),
        machine_rule=rules.machine_rule,
        people_rule=rules.people_rule,
    )
