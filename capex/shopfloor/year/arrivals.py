"""The orders of a simulated year and the luck they meet, the same for every alternative.

Every job type is a stream of its own, every machine has its own failures; each is drawn from the
seed, the year and its own name, so that two alternatives see the same orders as far as the same
customers come, and a machine that stands in both fails alike.

Imports numpy, `capex.study` and the files of the shop floor.
"""

from __future__ import annotations

import zlib
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from capex.errors import InputError
from capex.shopfloor.arrays import FloatArray
from capex.shopfloor.batch.tasks import Cell
from capex.shopfloor.calendar import DAY, working_calendar
from capex.shopfloor.output import Output
from capex.shopfloor.year.monthly_plan import MonthlyPlan
from capex.shopfloor.year.plan import IntArray, Luck, Orders, Shifts
from capex.shopfloor.year.program import Programs
from capex.study import Alternative, Study

__all__ = ["Arrivals", "Calendar", "arrivals", "luck", "year_calendar"]

#: The first shift of a day begins at eight.
_MORNING = 8 * 3600.0
#: Working days before the year that fill the shop and are not counted, and after it to empty it.
_BEFORE, _AFTER = 21, 120
#: What a year may hold to be simulated one by one: orders of a type, remakes, and failures of a
#: machine (the figures are ours).
_MOST_ORDERS, _MOST_FAILURES = 1_000_000, 500_000


@dataclass(frozen=True)
class Calendar:
    """The days of a simulated year with the month of each.

    Parameters
    ----------
    shifts : Shifts
    first : int
        Day on which counting begins.
    days : int
        Days that are counted; orders come until their end.
    month : ndarray of int, shape (days given,)
        Month of the horizon of each day, from 0; before the year its first month.
    """

    shifts: Shifts
    first: int
    days: int
    month: IntArray


def year_calendar(study: Study, first: int, last: int) -> Calendar:
    """Return the working days from month `first` to `last`, with days before and after.

    Which days are working days is said by `capex.shopfloor.calendar`. A night's run ends where
    the next shift begins.
    """
    hours, rules = study.shop.hours, study.shop.dispatching
    monthly = float(hours.days_per_month.si[0])
    months = last - first + 1
    days = round(monthly * months)
    numbers = np.arange(_BEFORE + days + _AFTER)
    place = np.clip(((numbers - _BEFORE) / monthly).astype(np.int64), 0, months - 1)
    month = np.where(numbers < _BEFORE, 0, place)
    opens = working_calendar(numbers.size, monthly) * DAY + _MORNING
    shift = float(hours.hours_per_day.si[0] - hours.care_per_day.si[0])
    monthly_overtime = float(hours.overtime_per_month.si[0])
    overtime = float(rules.overtime_per_day.si[0]) if monthly_overtime > 0 else 0.0
    overtime = min(overtime, DAY - shift)
    night = min(float(hours.overnight_per_day.si[0]), DAY - shift - overtime)
    shifts = Shifts(
        opens=opens.astype(np.float64),
        shift=shift,
        overtime=overtime,
        overtime_left=np.full(months, monthly_overtime),
        month_of=month,
        trigger=float(rules.overtime_trigger.si[0]),
        night=night,
        completion=float(hours.overnight_completion.si[0]),
    )
    return Calendar(shifts, _BEFORE, days, month + first - 1)


@dataclass(frozen=True)
class Arrivals:
    """The orders that are made in the house, and those that are not.

    Parameters
    ----------
    orders : Orders
    job : ndarray of int, shape (orders,)
        Job type of each.
    counted : ndarray of bool, shape (orders,)
        Whether it came within the year.
    came, bought_in, refused : ndarray of int, shape (j,)
        Orders of the year by type: all, and those that the month's plan buys in or refuses.
    """

    orders: Orders
    job: IntArray
    counted: npt.NDArray[np.bool_]
    came: IntArray
    bought_in: IntArray
    refused: IntArray


def arrivals(
    plan: MonthlyPlan, ways: Programs, calendar: Calendar, seed: tuple[int, int]
) -> Arrivals:
    """Return the orders of a year.

    Orders of a type come as a Poisson stream at each month's rate, in opening hours. The month's
    plan (`Output`) says which share of them takes which route, is bought in or refused.

    Parameters
    ----------
    plan : MonthlyPlan
    ways : Programs
    calendar : Calendar
    seed : tuple of int
        Seed and year.

    Raises
    ------
    InputError
        More orders, or more remakes of them, than are simulated one by one.
    """
    parts = [_stream(plan, j, ways, calendar, seed) for j in range(len(plan.mix.keys))]
    table = np.concatenate([part.rows for part in parts])
    table = table[np.argsort(table[:, 0], kind="stable")]
    arrival, kind, program, size, passes, counted = table.T
    usual = plan.study.shop.promises.lead_time
    promised = np.array([float((j.promised_lead_time or usual).si[0]) for j in plan.mix.jobs])
    job = kind.astype(np.int64)
    due = working_time(calendar.shifts, arrival) + promised[job] * calendar.shifts.shift
    return Arrivals(
        Orders(arrival, program.astype(np.int64), size, passes.astype(np.int64), due),
        job,
        counted > 0,
        *(
            np.array([getattr(part, name) for part in parts], dtype=np.int64)
            for name in ("came", "bought_in", "refused")
        ),
    )


@dataclass(frozen=True)
class _Stream:
    rows: FloatArray
    came: int
    bought_in: int
    refused: int


def _stream(
    plan: MonthlyPlan, j: int, ways: Programs, calendar: Calendar, seed: tuple[int, int]
) -> _Stream:
    """Return one type's orders: arrival, type, program, size, passes, counted."""
    shop, mix, output = plan.study.shop, plan.mix, plan.output
    days = calendar.first + calendar.days
    month = calendar.month[:days]
    rate = output.demand[0, j, month] / float(shop.hours.days_per_month.si[0])
    reach = np.concatenate([[0.0], np.cumsum(rate)])
    _check_number(f"jobs.{mix.keys[j]}.orders_per_month", reach[-1], "orders of a year")
    came = _poisson_times(reach[-1], generator(seed, mix.keys[j], "orders"))
    day = np.clip(np.searchsorted(reach, came, side="right") - 1, 0, days - 1)
    part = (came - reach[day]) / np.where(rate[day] > 0, rate[day], 1.0)
    shifts = calendar.shifts
    arrival = shifts.opens[day] + np.clip(part, 0.0, 1.0) * shifts.shift
    u = generator(seed, mix.keys[j], "luck").random((came.size, 3))
    normal = generator(seed, mix.keys[j], "size").standard_normal(came.size)
    spread = np.log1p(float(shop.dispatching.order_size_variation.si[0]) ** 2)
    size = np.exp(np.sqrt(spread) * normal - spread / 2.0)
    counted = day >= calendar.first
    way = _ways(output, np.flatnonzero(plan.routes.job_of == j), j, month[day], u[:, 1])
    made = way >= 0
    program, spoil = _programs(ways, way[made], u[made, 0] < mix.laminated[0, j])
    passes = _passes(spoil, u[made, 2])
    _check_number(f"jobs.{mix.keys[j]}", float(passes.sum()), "orders and remakes of a year")
    columns = (
        arrival[made],
        np.full(program.size, float(j)),
        program,
        size[made],
        passes,
        counted[made],
    )
    bought_in, refused = ((counted & (way == where)).sum() for where in (_BOUGHT, _REFUSED))
    return _Stream(np.column_stack(columns), int(counted.sum()), int(bought_in), int(refused))


_BOUGHT, _REFUSED = -1, -2


def _ways(
    output: Output, each: npt.NDArray[np.intp], j: int, month: IntArray, u: FloatArray
) -> IntArray:
    """Return the route each order takes by its month's shares, or that it leaves the house."""
    level = u * output.demand[0, j, month]
    way = np.full(u.size, _REFUSED, dtype=np.int64)
    for v in each:
        level = level - output.made[0, v, month]
        way[(level < 0) & (way == _REFUSED)] = v
    way[(level < output.bought_in[0, j, month]) & (way == _REFUSED)] = _BOUGHT
    return way


def _programs(
    ways: Programs, way: IntArray, laminated: npt.NDArray[np.bool_]
) -> tuple[IntArray, FloatArray]:
    """Return the program of each order made and the share of its kind that is spoiled."""
    program, spoil = np.zeros(way.size, dtype=np.int64), np.zeros(way.size)
    for v in np.unique(way).tolist():
        for also in (False, True):
            taken = (v, also and (v, True) in ways.number)
            mine = (way == v) & (laminated == also)
            program[mine], spoil[mine] = ways.number[taken], ways.remade[taken]
    return program, spoil


def _passes(spoil: FloatArray, u: FloatArray) -> IntArray:
    """Return how often orders are started until they are good."""
    with np.errstate(divide="ignore"):  # nothing is spoiled where the share is 0
        again = np.log(u) // np.log(spoil)
    return 1 + np.where(spoil > 0, again, 0.0).astype(np.int64)


def _check_number(path: str, number: float, what: str) -> None:
    """Refuse more of something than is simulated one by one."""
    if number > _MOST_ORDERS:
        bound = f"must be at most {_MOST_ORDERS:,}: they are simulated one by one"
        raise InputError(path, f"{number:,.0f} {what}", bound)


def _poisson_times(reach: float, draw: np.random.Generator) -> FloatArray:
    """Return the points of a unit Poisson stream up to `reach`; a longer one begins alike."""
    blocks, last = [np.zeros(0)], 0.0
    while last <= reach:
        blocks.append(last + np.cumsum(draw.exponential(size=64)))
        last = float(blocks[-1][-1])
    found = np.concatenate(blocks)
    return found[found < reach]


def generator(seed: tuple[int, int], *names: str) -> np.random.Generator:
    """Return the random numbers that belong to a seed, a year and some names."""
    return np.random.default_rng([*seed, *(zlib.crc32(name.encode()) for name in names)])


def _check_failures(machine: str, up: float, most: float) -> None:
    """Refuse a machine that fails more often in a year than is simulated one by one."""
    if most > _MOST_FAILURES:
        path = f"machines.{machine}.mean_time_between_failures"
        least = up * most / _MOST_FAILURES
        bound = f"must be at least {least:.0f} s: failures of a year are simulated one by one"
        raise InputError(path, f"{up:g} s", bound)


def working_time(shifts: Shifts, wall: FloatArray) -> FloatArray:
    """Return the regular working time passed at wall times [s]."""
    day = np.searchsorted(shifts.opens, wall, side="right") - 1
    passed = np.clip(wall - shifts.opens[np.maximum(day, 0)], 0.0, shifts.shift)
    return np.where(day < 0, 0.0, day * shifts.shift + passed)


def luck(
    study: Study, alternative: Alternative, cell: Cell, shifts: Shifts, seed: tuple[int, int]
) -> Luck:
    """Return failures and nights of a cell's machines, by the names of the machines.

    Raises
    ------
    InputError
        A machine that fails more often than is simulated one by one.
    """
    until, repair, night = [], [], []
    seen: dict[str, int] = {}
    days = shifts.opens.size
    for number, place in zip(cell.placements, cell.machines, strict=True):
        key = alternative.machines[number].machine
        machine = study.machines[key]
        up = float(machine.mean_time_between_failures.si[0])
        down = float(machine.mean_time_to_repair.si[0])
        for _ in range(place.servers):
            seen[key] = seen.get(key, 0) + 1
            draw = generator(seed, key, str(seen[key]))
            most = days * (shifts.shift + shifts.overtime + shifts.night) / up
            _check_failures(key, up, most)
            count = 256 * (1 + int((most + 8.0 * np.sqrt(most)) // 256))
            until.append(draw.exponential(up, size=count))
            repair.append(draw.exponential(down, size=count) if down > 0 else np.zeros(count))
            night.append(generator(seed, key, str(seen[key]), "night").random(days))
    if not until:  # no machine, no luck
        return Luck(np.zeros((0, 1)), np.zeros((0, 1)), np.zeros((0, days)))
    widest = max(map(len, until))
    pad = [np.full(widest - len(row), np.inf) for row in until]
    return Luck(
        np.array([np.concatenate(pair) for pair in zip(until, pad, strict=True)]),
        np.array([np.resize(row, widest) for row in repair]),
        np.array(night),
    )
