"""Random shops for the dispatcher, with everything on, so busy that queues form.

Every other shop lives on a grid of five minutes, where arrivals, ends, failures, openings and
closings fall on the same moment again and again; sums of whole seconds are exact there.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np

from capex.shopfloor.year.plan import Breakdown, Floor, Luck, Orders, Shifts

DAY, HOUR = 24 * 3600.0, 3600.0
GRID = 300.0
RULES = ("furthest_along", "first_come", "earliest_due", "shortest")


@dataclass(frozen=True)
class Case:
    """All that the dispatcher takes."""

    floor: Floor
    shifts: Shifts
    orders: Orders
    luck: Luck
    breakdown: Breakdown | None

    @property
    def everything(self) -> tuple[Any, ...]:
        return self.floor, self.shifts, self.orders, self.luck, self.breakdown


def random_case(seed: int) -> Case:
    """Return a shop; any 16 seeds on end have every pair of rules."""
    rng = np.random.default_rng([20, seed])
    on_grid = bool(rng.integers(2))
    groups, staff = int(rng.integers(1, 4)), int(rng.integers(1, 3))
    count = rng.integers(1, 4, groups)
    persons = rng.choice([0.5, 0.75, 1.0, 1.25, 2.5] if on_grid else [0.8, 1.0, 1.2, 2.0], staff)
    steps, first, last = random_programs(rng, groups, staff, on_grid)
    floor = Floor(
        group_of=np.repeat(np.arange(groups), count),
        persons=persons,
        first=first,
        last=last,
        **{name: np.array([step[name] for step in steps]) for name in steps[0]},
        machine_rule=RULES[seed % 4],
        people_rule=RULES[seed // 4 % 4],
    )
    shifts = random_shifts(rng, on_grid)
    orders = random_orders(rng, floor, shifts, count, on_grid)
    machines, days = len(floor.group_of), len(shifts.opens)
    hard = rng.choice([1.0, 12.0], (machines, 400), p=[0.9, 0.1])
    luck = Luck(
        until=rounded(rng.exponential(rng.uniform(4, 12) * HOUR, (machines, 400)), on_grid),
        repair=rounded(hard * rng.exponential(HOUR, (machines, 400)), on_grid),
        night=rng.uniform(size=(machines, days)),
    )
    breakdown = Breakdown(
        machine=int(rng.integers(machines)),
        day=int(rng.integers(1, 4)),
        length=float(rounded(np.exp(rng.uniform(-1.0, 3.0)) * HOUR, on_grid)),
    )
    return Case(floor, shifts, orders, luck, breakdown if rng.uniform() < 0.8 else None)


def rounded(times: Any, on_grid: bool) -> Any:
    """Return times as they are, or as whole five minutes above 0."""
    return np.maximum(np.round(np.asarray(times) / GRID), 1) * GRID if on_grid else times


def random_programs(
    rng: np.random.Generator, groups: int, staff: int, on_grid: bool
) -> tuple[list[dict[str, Any]], Any, Any]:
    """Return the steps of two to four programs, and the first and last of each."""
    steps: list[dict[str, Any]] = []
    first, last = [], []
    for _ in range(rng.integers(2, 5)):
        first.append(len(steps))
        before = -1
        for _ in range(rng.integers(1, 5)):
            dried = len(steps) > first[-1] and steps[-1]["wall"]
            steps += random_operation(rng, groups, staff, on_grid, before, dried)
            before = steps[-1]["machine"] if steps[-1]["machine"] >= 0 else before
        steps[-1]["keeps_machine"] = steps[-1]["keeps_person"] = False
        last.append(len(steps) - 1)
    for this, after in pairwise(steps):
        same_place = (this["machine"] >= 0) == (after["machine"] >= 0) == this["keeps_machine"]
        if not (this["people"] >= 0 and this["people"] == after["people"] and same_place):
            this["keeps_person"] = False
    return steps, np.array(first), np.array(last)


def random_operation(
    rng: np.random.Generator, groups: int, staff: int, on_grid: bool, before: int, dried: bool
) -> list[dict[str, Any]]:
    """Return the steps of one stay at a machine, at a bench, or on the drying rack.

    Work often dries after the machine `before`, and mostly goes back there when it has `dried`.
    """
    rack = 0.5 if before >= 0 and not dried else 0.1
    kind = rng.choice(["machine", "bench", "rack"], p=[0.85 - rack, 0.15, rack])
    machine = int(rng.integers(groups)) if kind == "machine" else -1
    if before >= 0 and dried and rng.uniform() < 0.9:
        kind, machine = "machine", before
    group = int(rng.integers(staff))
    night = bool(rng.uniform() < 0.7)
    steps = []
    number = int(rng.integers(1, 5)) if kind == "machine" else 1 + int(kind == "bench")
    for place in range(number):
        attended = kind == "bench" or (kind == "machine" and bool(rng.uniform() < 0.5))
        alone = kind == "machine" and not attended and night
        longest = HOUR * (6.0 if kind == "rack" else 2.0 if alone else 0.8)
        fixed, scaled = rounded(rng.uniform(0.0, longest, 2), on_grid)
        same = bool(rng.uniform() < 0.2) or dries(kind, place, attended)
        steps.append(
            {
                "machine": machine,
                "people": group if attended else -1,
                "fixed": float(fixed),
                "scaled": 0.0 if same else float(scaled),
                "wall": kind == "rack",
                "alone": alone,
                "set_up": kind == "machine" and (place == 0 or dries(kind, place, attended)),
                "keeps_machine": kind == "machine" and place + 1 < number,
                "keeps_person": attended and bool(rng.uniform() < 0.5),
            }
        )
    return steps


def dries(kind: str, place: int, attended: bool) -> bool:
    """Return whether a step is what dries in its machine: as long for every size, nobody there."""
    return kind == "machine" and place == 1 and not attended


def random_shifts(rng: np.random.Generator, on_grid: bool) -> Shifts:
    """Return days with holes between them, three to a month, overtime in every month."""
    days = int(rng.integers(10, 30))
    shift = float(rng.choice([7.0, 8.0, 8.5])) * HOUR
    overtime = float(rng.choice([0.0, 2.0, 3.0])) * HOUR
    place = np.cumsum(rng.choice([1, 3], days, p=[0.8, 0.2]))
    return Shifts(
        opens=place * DAY + 8 * HOUR,
        shift=shift,
        overtime=overtime,
        overtime_left=rounded(rng.uniform(1, 8, days // 3 + 1) * HOUR, on_grid),
        month_of=np.arange(days) // 3,
        trigger=float(rng.uniform(0.2, 1.5)),
        night=float(rng.choice([2.0, 6.0, 12.0])) * HOUR,
        completion=float(rng.choice([0.7, 1.0])),
    )


def random_orders(
    rng: np.random.Generator, floor: Floor, shifts: Shifts, count: Any, on_grid: bool
) -> Orders:
    """Return orders that keep the busiest station at about its limit while they come."""
    number = int(rng.integers(25, 60))
    program = rng.integers(len(floor.first), size=number)
    size = rng.integers(1, 4, number) * 1.0 if on_grid else rng.lognormal(0.0, 0.4, number)
    passes = 1 + (rng.uniform(size=number) < 0.15) + (rng.uniform(size=number) < 0.05)
    load = np.zeros(len(count) + len(floor.persons))
    for order in range(number):
        for step in range(floor.first[program[order]], floor.last[program[order]] + 1):
            time = (floor.fixed[step] + floor.scaled[step] * size[order]) * passes[order]
            if floor.machine[step] >= 0:
                load[floor.machine[step]] += time
            if floor.people[step] >= 0:
                load[len(count) + floor.people[step]] += time
    days = float((load / [*count, *floor.persons]).max()) / shifts.shift / rng.uniform(0.7, 1.4)
    spread = min(max(days, 2.0) * 1.3, len(shifts.opens) - 1.0) * DAY
    arrival = np.sort(
        shifts.opens[0] - 12 * HOUR + rounded(rng.uniform(0, spread, number), on_grid)
    )
    promise = rounded(rng.uniform(0.5, 4.0, number) * shifts.shift, on_grid)
    due = rounded((arrival - shifts.opens[0]) * shifts.shift / DAY, on_grid) + promise
    return Orders(arrival=arrival, program=program, size=size, passes=passes, due=due)
