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
        ("fixed", floor.fixed, "must be a finite time, and not 0 where nothing is scaled [s]",
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
    if luck.until.shape[0] != machines or luck.repair.shape != luck.until.shape:
        raise InputError("luck.until", luck.until.shape, f"must have a row for {machines} machines")
    if luck.night.shape != (machines, days):
        raise InputError("luck.night", luck.night.shape, f"must have shape {(machines, days)}")
    most = floor.first.size - 1
    rises = np.diff(orders.arrival, prepend=-np.inf) >= 0
    rules = (
        ("orders.arrival", orders.arrival, "must be finite and not before the order before it [s]",
         np.isfinite(orders.arrival) & rises),
        ("orders.program", orders.program, f"must be a program, from 0 to {most}",
         (orders.program >= 0) & (orders.program <= most)),
        ("orders.size", orders.size, "must be finite and above 0 times the average order",
         np.isfinite(orders.size) & (orders.size > 0)),
        ("orders.passes", orders.passes, "must be at least 1 pass", orders.passes >= 1),
        ("orders.due", orders.due, "must be a finite working time [s]", np.isfinite(orders.due)),
        ("luck.until", luck.until, "must be at least 0 s, infinite for never", luck.until >= 0),
        ("luck.repair", luck.repair, "must be at least 0 s", luck.repair >= 0),
        ("luck.night", luck.night, "must be at least 0 (a chance)", luck.night >= 0),
    )  # fmt: skip
    for name, values, bound, good in rules:
        if not good.all():
            at = np.unravel_index(int(np.argmin(good)), good.shape)
            where = ", ".join(str(int(number)) for number in at)
            raise InputError(f"{name}[{where}]", values[at].item(), bound)
    if breakdown is not None:
        _check_breakdown(breakdown, machines, days)
    first, after = shifts.counted
    if not 0 <= first <= after:
        raise InputError("shifts.counted", shifts.counted, "must be two days, in order, from 0")
    # what a night spills over an opening would run twice
    room = shifts.shift + shifts.overtime + shifts.night
    if days > 1 and not (np.diff(shifts.opens) >= room * (1.0 - 1e-12)).all():
        raise InputError("shifts.night", f"{room / 3600:g} h", "must end before the next opening")


def _check_breakdown(stop: Breakdown, machines: int, days: int) -> None:
    for name, value, most in (("machine", stop.machine, machines), ("day", stop.day, days)):
        if not 0 <= value < most:
            raise InputError(f"breakdown.{name}", value, f"must be a {name}, from 0 to {most - 1}")
    if not (np.isfinite(stop.length) and stop.length >= 0):
        raise InputError("breakdown.length", stop.length, "must be finite and at least 0 s")
