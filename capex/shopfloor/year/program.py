"""An alternative as a floor: its machines and people, and a program for every way of an order.

A part-time person leaves during the shift. A machine's work takes longer by its minor stops, its
warm-up and the pace of its ramp-up, each as a share of the year; ink dries in it as fast as beside
it, in opening hours or where the machine runs on at night.

Imports numpy, `capex.study` and the files of the shop floor.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from capex.shopfloor.arrays import FloatArray
from capex.shopfloor.batch.dispatch import Step, floor_of, task_steps
from capex.shopfloor.batch.tasks import Cell, Task, cell_of, one_row, order_tasks
from capex.shopfloor.operations import DRY_INSIDE, Role
from capex.shopfloor.routes import Route, Routes
from capex.shopfloor.stations import at_work, machine_day, pace
from capex.shopfloor.year.plan import Floor
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
    shift = float((hours.hours_per_day.si - hours.care_per_day.si)[0])
    there = np.broadcast_to(at_work(study, placement, last), (1, last))[0, first - 1 :]
    speed = np.broadcast_to(pace(study, alternative, placement, last), (1, last))[0, first - 1 :]
    stops = float(machine.minor_stop_share.si[0])
    used = float(machine_day(study, machine)[0]) / shift
    return 1.0 / ((1.0 - stops) * used * float(speed[there].mean()))


def _floor(
    study: Study,
    cell: Cell,
    found: list[tuple[tuple[Task, ...], tuple[Step, ...]]],
    stretch: FloatArray,
) -> Floor:
    """Return the cell's floor with what a year adds: sizes, nights, stretches and part-timers."""
    rules = study.shop.dispatching
    plain = floor_of(cell, [steps for _, steps in found], rules.machine_rule)
    tasks = [tasks[step.task] for tasks, steps in found for step in steps]
    set_up = np.array([task.set_up for task in tasks], dtype=np.bool_)
    alone = np.array([task.alone for task in tasks], dtype=np.bool_)
    dries = np.array([task.name == DRY_INSIDE for task in tasks], dtype=np.bool_)
    # -1, no machine, is the last
    duration = plain.fixed * np.where(dries, 1.0, np.append(stretch, 1.0)[plain.machine])
    fixed = set_up | plain.wall
    return replace(
        plain,
        persons=np.array([place.staff for place in cell.people]),
        fixed=np.where(fixed, duration, 0.0),
        scaled=np.where(fixed, 0.0, duration),
        alone=alone & (plain.people < 0) & (plain.machine >= 0),
        set_up=set_up,
        people_rule=rules.people_rule,
    )
