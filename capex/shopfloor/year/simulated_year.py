"""A year of an alternative, order by order: how late orders are, and what holds them up.

Imports numpy, `capex.study` and the files of the shop floor.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt

from capex.errors import InputError
from capex.shopfloor.arrays import FloatArray
from capex.shopfloor.batch.tasks import Cell
from capex.shopfloor.operations import Role
from capex.shopfloor.routes import Routes
from capex.shopfloor.stations import at_work
from capex.shopfloor.year.arrivals import Calendar, arrivals, luck, working_time, year_calendar
from capex.shopfloor.year.kernel import dispatched
from capex.shopfloor.year.monthly_plan import MonthlyPlan, monthly_plan
from capex.shopfloor.year.plan import Breakdown, IntArray, Orders, Record, Shifts
from capex.shopfloor.year.program import programs
from capex.study import Study

__all__ = ["Standstill", "States", "Year", "simulated_year"]


@dataclass(frozen=True)
class Standstill:
    """A breakdown that the user places: what it stops, from which working day, for how long.

    Parameters
    ----------
    role : {"print", "laminate", "cut"}
        The first machine of an alternative that does it stands still, with all it does.
    day : int
        Working day of the year, from 1.
    length : float
        Working days.
    """

    role: Role
    day: int
    length: float


@dataclass(frozen=True)
class States:
    """What a station does with its open time of the year, as shares that add up to 1.

    Overtime is open time; a machine's begins on the day it comes.

    Parameters
    ----------
    name : str
    working, set_up, blocked, down, idle : float
        `blocked`: a machine holds an order that waits for a person.
    at_night : float
        Night running, over open time; beside the shares.
    """

    name: str
    working: float
    set_up: float
    blocked: float
    down: float
    idle: float
    at_night: float


@dataclass(frozen=True)
class Year:
    """A simulated year of one alternative.

    Parameters
    ----------
    key, name : str
        Of the alternative.
    year, seed : int
    jobs : tuple of str
        Names of the job types.
    job : ndarray of int, shape (orders,)
        Type of every order of the year that is made in the house.
    lead_time : ndarray, shape (orders,)
        Working days from order to finish; infinite where it was not finished.
    late : ndarray of bool, shape (orders,)
        Whether it took longer than promised.
    came, bought_in, refused : ndarray of int, shape (j,)
        Orders of the year by type: all, and those not made in the house.
    stations : tuple of States
        Machines, then people.
    queue : ndarray, shape (hours, stations)
        Orders waiting at each hour of the shift, mean over the year's days.
    backlog : ndarray, shape (days, stations)
        Work of the orders in the shop at each last closing of the year [h].
    overtime, overtime_paid : float
        Worked in the year, and paid for by its months' plan, which is never less [h].
    calendar : Calendar
    record : Record
        Everything that happened, the days before and after included.
    """

    key: str
    name: str
    year: int
    seed: int
    jobs: tuple[str, ...]
    job: IntArray
    lead_time: FloatArray
    late: npt.NDArray[np.bool_]
    came: IntArray
    bought_in: IntArray
    refused: IntArray
    stations: tuple[States, ...]
    queue: FloatArray
    backlog: FloatArray
    overtime: float
    overtime_paid: float
    calendar: Calendar
    record: Record

    @property
    def unfinished(self) -> int:
        """Orders that were not finished by the last day simulated."""
        return int(np.isinf(self.lead_time).sum())

    def percentiles(self, *shares: float) -> FloatArray:
        """Return lead times that so many orders of each type do not exceed, shape (j, shares).

        Working days; infinite where so many orders were never finished, and NaN for a type of
        which none was made in the house.
        """
        found = np.full((len(self.jobs), len(shares)), np.nan)
        for j in range(len(self.jobs)):
            times = np.sort(self.lead_time[self.job == j])
            if times.size:
                places = np.ceil(np.array(shares) * times.size).astype(np.intp) - 1
                found[j] = times[np.clip(places, 0, times.size - 1)]
        return found

    @cached_property
    def late_share(self) -> FloatArray:
        """Share of each type's orders that is late, shape (j,); 0 where none was made."""
        made = np.bincount(self.job, minlength=len(self.jobs))
        late = np.bincount(self.job, weights=self.late, minlength=len(self.jobs))
        return late / np.maximum(made, 1)

    @property
    def on_time(self) -> float:
        """Share of the year's orders that were finished as promised; 1 without orders."""
        return 1.0 - float(self.late.mean()) if self.late.size else 1.0


def simulated_year(
    study: Study,
    key: str,
    year: int = 1,
    seed: int = 1,
    standstill: Standstill | None = None,
    plan: MonthlyPlan | None = None,
) -> Year:
    """Return a year of an alternative, simulated order by order.

    The month's plan (`capex.shopfloor.capacity`) says which orders are made on which route,
    bought in or refused; those that are made come, wait, are worked on and finished by the rules
    of `capex.shopfloor.year.kernel`. All alternatives of a study with the same seed see the same
    orders and the same luck.

    Parameters
    ----------
    study : Study
        One scenario.
    key : str
        Of the alternative.
    year : int
        Year after the decision, from 1 to the end of the horizon; a last year may be short.
    seed : int
        At least 0.
    standstill : Standstill, optional
    plan : MonthlyPlan, optional
        Of the same study and alternative, at least to the year's end, where it is known already.

    Returns
    -------
    Year

    Raises
    ------
    InputError
        Unknown alternative, year, seed, several scenarios, or a standstill outside the year or of
        a machine that is not there.

    Examples
    --------
    >>> from capex.study import data_folder, read_study
    >>> study = read_study(data_folder() / "studies" / "quenlow.toml")
    >>> found = simulated_year(study, "all_in_one", seed=7)
    >>> found.unfinished, bool(found.came.sum() > found.job.size)
    (0, True)
    """
    first, last = _months(study, key, year, seed)
    plan = plan or monthly_plan(study, key, last)
    ways = programs(study, plan.alternative, plan.routes, first, last)
    paid = plan.output.overtime[0, first - 1 : last]
    calendar = year_calendar(study, first, last, paid)
    came = arrivals(plan, ways, calendar, (seed, year))
    stops = None if standstill is None else _breakdown(standstill, plan.routes, ways.cell, calendar)
    draws = luck(study, plan.alternative, ways.cell, calendar.shifts, (seed, year))
    record = dispatched(ways.floor, calendar.shifts, came.orders, draws, stops)
    took, late = _lead_times(calendar.shifts, came.orders, record)
    counted = came.counted
    span = slice(calendar.first, calendar.first + calendar.days)
    return Year(
        key=key,
        name=plan.alternative.name,
        year=year,
        seed=seed,
        jobs=tuple(job.name for job in plan.mix.jobs),
        job=came.job[counted],
        lead_time=took[counted],
        late=late[counted],
        came=came.came,
        bought_in=came.bought_in,
        refused=came.refused,
        stations=_states(plan, ways.cell, record, calendar),
        queue=_mean_queue(record, span),
        backlog=record.backlog[span] / 3600.0,
        overtime=float(record.extended[span].sum() / 3600.0),
        overtime_paid=float(paid.sum() / 3600.0),
        calendar=calendar,
        record=record,
    )


def _mean_queue(record: Record, span: slice) -> FloatArray:
    """Return the orders that wait at each hour for machines, then people, mean over some days."""
    queue = np.concatenate([record.machine_queue, record.people_queue], axis=2)
    return np.asarray(queue[span].mean(axis=0))


def _lead_times(
    shifts: Shifts, orders: Orders, record: Record
) -> tuple[FloatArray, npt.NDArray[np.bool_]]:
    """Return working days from order to finish, infinite for never, and which are late."""
    came, never = working_time(shifts, orders.arrival), np.isinf(record.finished)
    done = working_time(shifts, np.where(never, 0.0, record.finished))
    took = np.where(never, np.inf, (done - came) / shifts.shift)
    return took, took > (orders.due - came) / shifts.shift + 1e-9


def _months(study: Study, key: str, year: int, seed: int) -> tuple[int, int]:
    """Return first and last month of the year; refuse what is none before any work."""
    study.alternative(key)
    for path, quantity in study.quantities():
        if quantity.si.size > 1:
            bound = "values must be one: a year is simulated for one scenario"
            raise InputError(path, quantity.si.size, bound)
    horizon = int(study.money.horizon.si[0])
    years = -(-horizon // 12)
    if not 1 <= year <= years:
        raise InputError("year", year, f"must be from 1 to {years}, the last of the horizon")
    if seed < 0:
        raise InputError("seed", seed, "must be at least 0")
    return 12 * year - 11, min(12 * year, horizon)


def _breakdown(stop: Standstill, ways: Routes, cell: Cell, calendar: Calendar) -> Breakdown:
    if not 1 <= stop.day <= calendar.days:
        last = f"must be from 1 to {calendar.days}, a working day of the year"
        raise InputError("standstill.day", stop.day, last)
    if not 0 < stop.length <= calendar.days:
        raise InputError(
            "standstill.length",
            stop.length,
            f"must be above 0 and at most {calendar.days} working days",
        )
    places = {getattr(route, stop.role) for route in ways.each}
    for group, placement in enumerate(cell.placements):
        if placement in places:
            machine = sum(place.servers for place in cell.machines[:group])
            length = stop.length * calendar.shifts.shift
            return Breakdown(machine, calendar.first + stop.day - 1, length)
    raise InputError("standstill.role", stop.role, "is not done by any machine of this choice")


def _states(
    plan: MonthlyPlan, cell: Cell, record: Record, calendar: Calendar
) -> tuple[States, ...]:
    """Return the states over the open time of the year, of a machine from the day it comes."""
    span = slice(calendar.first, calendar.first + calendar.days)
    hours = calendar.shifts.shift + record.extended[span]
    found = []
    group = np.repeat(np.arange(len(cell.machines)), [p.servers for p in cell.machines])
    for g, (number, place) in enumerate(zip(cell.placements, cell.machines, strict=True)):
        mine = group == g
        months = at_work(plan.study, plan.alternative.machines[number], calendar.month[-1] + 1)
        came = np.maximum.accumulate(months[0])[calendar.month[span]]
        whole = float(hours[came].sum()) * place.servers
        working, set_up, blocked, down = (
            float(part[mine].sum() / whole)
            for part in (record.working, record.set_up, record.blocked, record.down)
        )
        idle = max(0.0, 1.0 - working - set_up - blocked - down)
        night = float(record.at_night[mine].sum() / whole)
        found.append(States(place.name, working, set_up, blocked, down, idle, night))
    for p, place in enumerate(cell.people):
        busy = float(record.busy[p] / (hours.sum() * place.staff))
        found.append(States(place.name, busy, 0.0, 0.0, 0.0, max(0.0, 1.0 - busy), 0.0))
    return tuple(found)
