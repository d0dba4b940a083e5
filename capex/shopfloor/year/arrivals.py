"""The orders of a simulated year and the luck they meet, the same for every alternative.

Every job type is a stream of its own, every machine has its own failures; each is drawn from the
seed, the year and its own name. An order comes at the same moment, of the same size and with the
same luck wherever it comes: where more come, they come beside it. A machine that stands in
several alternatives fails alike.

Imports numpy, `capex.study` and the files of the shop floor.
"""

from __future__ import annotations

import zlib
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from capex.errors import InputError
from capex.shopfloor.arrays import FloatArray
from capex.shopfloor.batch.tasks import Cell
from capex.shopfloor.calendar import DAY, working_calendar
from capex.shopfloor.demand import demand
from capex.shopfloor.mix import over_jobs
from capex.shopfloor.output import Output
from capex.shopfloor.year.monthly_plan import MonthlyPlan
from capex.shopfloor.year.plan import IntArray, Luck, Orders, Shifts
from capex.shopfloor.year.program import Programs
from capex.study import Alternative, Study

__all__ = ["Arrivals", "Calendar", "arrivals", "luck", "own_demand", "year_calendar"]

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


def year_calendar(
    study: Study, first: int, last: int, overtime: FloatArray | None = None
) -> Calendar:
    """Return the working days from month `first` to `last`, with days before and after.

    Which days are working days is said by `capex.shopfloor.calendar`. A night's run ends where
    the next shift begins. The days before and after have months of their own, with the overtime
    of the first and of the last month of the year.

    Parameters
    ----------
    study : Study
        One scenario.
    first, last : int
        Months, from 1.
    overtime : ndarray, shape (months,), optional
        What the month's plan pays for each [s]; the year works no more. None without it.
    """
    hours, rules = study.shop.hours, study.shop.dispatching
    monthly = float(hours.days_per_month.si[0])
    months = last - first + 1
    days = round(monthly * months)
    place = _months_of_days(monthly, months, days)
    within = np.clip(place, 0, months - 1)
    opens = working_calendar(place.size, monthly) * DAY + _MORNING
    paid = np.zeros(months) if overtime is None else overtime
    shifts = Shifts(
        opens=opens.astype(np.float64),
        shift=float(hours.hours_per_day.si[0] - hours.care_per_day.si[0]),
        overtime=float(rules.overtime_per_day.si[0]) if paid.any() else 0.0,
        overtime_left=paid[np.clip(np.arange(place[0], place[-1] + 1), 0, months - 1)],
        month_of=place - place[0],
        trigger=float(rules.overtime_trigger.si[0]),
        night=float(hours.overnight_per_day.si[0]),
        completion=float(hours.overnight_completion.si[0]),
        counted=(_BEFORE, _BEFORE + days),
    )
    return Calendar(shifts, _BEFORE, days, within + first - 1)


def _months_of_days(monthly: float, months: int, days: int) -> IntArray:
    """Return the month of every day, from 0 in the year: below before it, `months` on after it."""
    number = np.arange(-_BEFORE, days + _AFTER)
    within = np.clip(number // monthly, 0, months - 1)
    place = np.where(number < 0, number // monthly, within)
    return np.where(number < days, place, months + (number - days) // monthly).astype(np.int64)


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

    Orders of a type come as a Poisson stream at each month's rate, in opening hours. Every order
    has a level from 0 up, and comes where the demand over the study's own (`levers.demand` 1, no
    purchase) is above it: work that comes back after a purchase joins the orders of today, and
    customers lost for good drop out of them. The month's plan (`Output`) says which share of the
    orders takes which route, is bought in or refused.

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
    own = own_demand(plan)[0]
    parts = [_stream(plan, j, own[j], ways, calendar, seed) for j in range(len(plan.mix.keys))]
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


def own_demand(plan: MonthlyPlan) -> FloatArray:
    """Return the orders of each month by type without a purchase and with `levers.demand` at 1.

    Returns
    -------
    ndarray, shape (n, j, m)
    """
    orders = over_jobs(job.orders_per_month for job in plan.mix.jobs)
    return demand(plan.study, replace(plan.mix, orders=orders), plan.output.demand.shape[2])


@dataclass(frozen=True)
class _Stream:
    rows: FloatArray
    came: int
    bought_in: int
    refused: int


def _stream(
    plan: MonthlyPlan,
    j: int,
    own: FloatArray,
    ways: Programs,
    calendar: Calendar,
    seed: tuple[int, int],
) -> _Stream:
    """Return one type's orders: arrival, type, program, size, passes, counted."""
    shop, mix, output = plan.study.shop, plan.mix, plan.output
    days = calendar.first + calendar.days
    month, shifts = calendar.month[:days], calendar.shifts
    monthly = float(shop.hours.days_per_month.si[0])
    came = _orders_that_come(
        mix.keys[j], own[month] / monthly, output.demand[0, j, month] / monthly, seed
    )
    arrival = shifts.opens[came.day] + came.part * shifts.shift
    spread = np.log1p(float(shop.dispatching.order_size_variation.si[0]) ** 2)
    size = np.exp(np.sqrt(spread) * came.normal - spread / 2.0)
    counted = came.day >= calendar.first
    each = np.flatnonzero(plan.routes.job_of == j)
    way = _ways(output, each, j, month[came.day], came.u[:, 1])
    made = way >= 0
    program, spoil = _programs(ways, way[made], came.u[made, 0] < mix.laminated[0, j])
    passes = _passes(spoil, came.u[made, 2])
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


@dataclass(frozen=True)
class _Came:
    """Orders that come: day, part of its shift, luck of lamination, way and spoil, and size."""

    day: IntArray
    part: FloatArray
    u: FloatArray
    normal: FloatArray


def _orders_that_come(key: str, own: FloatArray, rate: FloatArray, seed: tuple[int, int]) -> _Came:
    """Return the orders of one type, by layers of their levels: to 1, to 2, to 4 and so on.

    Each layer is a Poisson stream of its own, the same whatever the demand; of its orders come
    those whose level is below the rate over the study's own of their day.
    """
    path = f"jobs.{key}.orders_per_month"
    _check_number(path, float(rate.sum()), "orders of a year")
    reach = np.concatenate([[0.0], np.cumsum(own)])
    _check_number(path, float(reach[-1]), "orders of a year where levers.demand is 1")
    share = np.divide(rate, own, out=np.zeros_like(rate), where=own > 0)
    most, low, high, found = float(share.max(initial=0.0)) * (1.0 - 1e-12), 0.0, 1.0, []
    while low < most:
        names, width = (key, f"{low:g}"), high - low
        came = _poisson_times(reach[-1] * width, generator(seed, *names, "orders")) / width
        day = np.clip(np.searchsorted(reach, came, side="right") - 1, 0, own.size - 1)
        part = (came - reach[day]) / np.where(own[day] > 0, own[day], 1.0)
        u = generator(seed, *names, "luck").random((came.size, 4))
        normal = generator(seed, *names, "size").standard_normal(came.size)
        comes = low + width * u[:, 3] < share[day]
        found.append((day[comes], np.clip(part[comes], 0.0, 1.0), u[comes], normal[comes]))
        low, high = high, 2.0 * high
    if not found:
        return _Came(np.zeros(0, np.int64), np.zeros(0), np.zeros((0, 4)), np.zeros(0))
    return _Came(*(np.concatenate(columns) for columns in zip(*found, strict=True)))


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
