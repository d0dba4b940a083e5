"""What a floor and its orders must be for the dispatcher to make sense of them.

Imports numpy, `capex.errors` and `capex.shopfloor.year.plan`.
"""

from __future__ import annotations

from typing import get_args

import numpy as np

from capex.errors import InputError
from capex.shopfloor.year.plan import Breakdown, Floor, Luck, Orders, Rule, Shifts

__all__ = ["check_floor", "check_orders"]


def check_floor(floor: Floor) -> None:
    """Refuse a floor whose steps contradict each other."""
    for name in ("machine_rule", "people_rule"):
        if getattr(floor, name) not in get_args(Rule):
            raise InputError(
                f"floor.{name}", getattr(floor, name), f"must be one of {', '.join(get_args(Rule))}"
            )
    machine, people = floor.machine, floor.people
    groups = int(floor.group_of[-1]) + 1 if floor.group_of.size else 0
    last = np.zeros(machine.size, dtype=bool)
    last[floor.last] = True
    after = np.minimum(np.arange(machine.size) + 1, machine.size - 1)
    works = (machine >= 0) | (people >= 0)
    alike = (machine >= 0) == (machine[after] >= 0)
    follows = (people >= 0) & (people == people[after]) & alike
    follows &= (machine < 0) | floor.keeps_machine
    rules = (
        ("group_of", np.diff(floor.group_of, prepend=0), "must rise by 0 or 1 from 0",
         np.isin(np.diff(floor.group_of, prepend=0), (0, 1))),
        ("persons", floor.persons, "must be above 0", floor.persons > 0),
        ("machine", machine, "must be a machine group or -1", (machine >= -1) & (machine < groups)),
        ("people", people, "must be a group of people or -1",
         (people >= -1) & (people < floor.persons.size)),
        ("wall", floor.wall, "must be so for steps without machine and people, and only for them",
         floor.wall != works),
        ("fixed", floor.fixed, "must be a time, and not 0 where nothing is scaled",
         np.isfinite(floor.fixed) & (floor.fixed >= 0) & (floor.scaled >= 0)
         & (floor.fixed + floor.scaled > 0)),
        ("alone", floor.alone, "must be of a step with a machine and without people",
         ~floor.alone | ((machine >= 0) & (people < 0))),
        ("keeps_machine", floor.keeps_machine, "must lead to a step on the same machine",
         ~floor.keeps_machine | (~last & (machine >= 0) & (machine == machine[after]))),
        ("keeps_person", floor.keeps_person, "must lead to a step of the same people and machine",
         ~floor.keeps_person | (~last & follows)),
    )  # fmt: skip
    for name, value, bound, good in rules:
        if not good.all():
            at = int(np.argmin(good))
            raise InputError(f"floor.{name}[{at}]", value[at], bound)


def check_orders(
    floor: Floor, shifts: Shifts, orders: Orders, luck: Luck, breakdown: Breakdown | None
) -> None:
    """Refuse orders, luck or a breakdown that the floor and its shifts know nothing of."""
    machines, days = floor.group_of.size, shifts.opens.size
    if not (np.isfinite(orders.arrival).all() and (np.diff(orders.arrival) >= 0).all()):
        raise InputError("orders.arrival", "-", "must be finite and in order of time")
    if orders.program.size and not (
        orders.program.min() >= 0 and orders.program.max() < floor.first.size
    ):
        raise InputError("orders.program", int(orders.program.max()), "must be a program")
    for name, values, low in (("size", orders.size, 0.0), ("passes", orders.passes, 0.5)):
        if not (values > low).all():
            raise InputError(f"orders.{name}", float(values.min()), f"must be above {int(low)}")
    if luck.until.shape[0] != machines or luck.repair.shape != luck.until.shape:
        raise InputError("luck.until", luck.until.shape, f"must have a row for {machines} machines")
    if luck.night.shape != (machines, days):
        raise InputError("luck.night", luck.night.shape, f"must have shape {(machines, days)}")
    if breakdown is not None and not (
        0 <= breakdown.machine < machines and 0 <= breakdown.day < days and breakdown.length >= 0
    ):
        raise InputError("breakdown", breakdown, f"must be of {machines} machines, {days} days")
    # what a night spills over an opening would run twice
    room = shifts.shift + shifts.overtime + shifts.night
    if days > 1 and not (np.diff(shifts.opens) >= room * (1.0 - 1e-12)).all():
        raise InputError("shifts.night", f"{room / 3600:g} h", "must end before the next opening")
