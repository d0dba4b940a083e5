"""A month's production as a linear programme, solved by HiGHS through scipy.

Hours, orders and prices are those of the written model; times and direct costs of an order are as
the study's routes have them.

Imports numpy, scipy, `capex.decision.outcome`, `capex.study` and `plain_hours`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.optimize import linprog

from capex.decision.audit.plain_hours import machine_works, station_hours
from capex.decision.outcome import Details

__all__ = ["MonthProgram", "decided", "month_program"]

FloatArray = npt.NDArray[np.float64]

#: Share of a number that is lost where two large ones are taken from each other.
_DIGITS = 8 * float(np.finfo(np.float64).eps)


@dataclass(frozen=True)
class MonthProgram:
    """A month's programme: orders by route, bought in by type, overtime; times of stations.

    Parameters
    ----------
    wanted : ndarray, shape (j,)
        Orders asked for.
    value : ndarray, shape (v + j + 1,)
        Contribution of an order on each route, bought in, and of a second of overtime [currency].
    limits : ndarray, shape (v + j + 1,)
        Most of each.
    load : ndarray, shape (k, v)
        Time an order takes [s].
    normal, gained : ndarray, shape (k,)
        Normal time [s], and what a second of overtime adds.
    least : ndarray, shape (v + j + 1,)
        Least of each: what leaves the house whatever the load is bought in, at a loss too.
    most_made : ndarray, shape (j,)
        Orders that may stay in the house.
    of_job : ndarray, shape (j, v)
        1 where a route makes a type.
    """

    wanted: FloatArray
    value: FloatArray
    limits: FloatArray
    load: FloatArray
    normal: FloatArray
    gained: FloatArray
    least: FloatArray
    most_made: FloatArray
    of_job: FloatArray

    def best(self) -> float | None:
        """Return the most contribution, None where the solver gives up [currency].

        Orders are taken as shares of those asked for and times as shares of what there is, so that
        large shops and small ones are solved alike.
        """
        jobs, _ = self.of_job.shape
        unit = np.where(self.limits > 0, self.limits, 1.0)
        time = np.where(self.normal > 0, self.normal, 1.0)
        stations = np.hstack([self.load, np.zeros((self.load.shape[0], jobs)),
                              -self.gained[:, None]]) * unit / time[:, None]  # fmt: skip
        all_in, none = np.where(self.wanted > 0, self.wanted, 1.0), np.zeros((jobs, 1))
        each = np.hstack([self.of_job, np.eye(jobs), none]) * unit / all_in[:, None]
        kept = np.hstack([self.of_job, np.zeros((jobs, jobs)), none]) * unit / all_in[:, None]
        found = linprog(
            -self.value * unit / self.scale,
            np.vstack([stations, each, kept]),
            np.concatenate([self.normal / time, self.wanted / all_in, self.most_made / all_in]),
            bounds=np.stack([self.least / unit, self.limits / unit], axis=1),
            method="highs",
        )
        return -float(found.fun) * self.scale if found.status == 0 else None

    @property
    def scale(self) -> float:
        """The most that one of its unknowns alone may be worth, never 0 [currency]."""
        return float(np.abs(self.value * self.limits).max(initial=0.0)) or 1.0

    @property
    def rounding(self) -> float:
        """Time that is lost in the digits of all that is asked for [s]."""
        asked = self.load @ self.limits[: self.load.shape[1]]
        return float(_DIGITS * asked.max(initial=0.0))

    def over(self, decided: FloatArray) -> float:
        """Return by how much the fullest station is over its hours, at least 0 [s]."""
        routes = self.load.shape[1]
        asked = self.load @ decided[:routes] - self.gained * decided[-1] - self.normal
        return float(asked.max(initial=0.0))


def month_program(path: Details, key: str, month: int) -> MonthProgram:
    """Return the programme of a month (from 1) of an alternative, first scenario."""
    study, ways = path.study, path.routes
    choice = study.alternatives[key]
    wanted = path.output.demand[0, :, month - 1]
    away = np.array([float(choice.bought_in[name].si[0]) if name in choice.bought_in else 0.0
                     for name in study.jobs])  # fmt: skip
    works = [machine_works(study, place, month) for place in choice.machines]
    possible = np.array([
        bool(ways.makeable[0, v]) and all(works[place] for place in route.machines)
        for v, route in enumerate(ways.each)
    ], dtype=bool)  # fmt: skip
    buys = np.array([job.bought_in_price is not None for job in study.jobs.values()])
    overtime = float(study.shop.hours.overtime_per_month.si[0])
    hours = [station_hours(study, choice, one.work, one.placement, month) for one in ways.stations]
    return MonthProgram(
        wanted=wanted,
        value=_value(path, month),
        limits=np.concatenate([possible * wanted[ways.job_of], buys * wanted, [overtime]]),
        load=np.atleast_2d(ways.load[0]).T,
        normal=np.array([time for time, _ in hours]),
        gained=np.array([gain for _, gain in hours]),
        least=np.concatenate([np.zeros(len(ways.each)), buys * away * wanted, [0.0]]),
        most_made=(1 - away) * wanted,
        of_job=(ways.job_of == np.arange(wanted.size)[:, None]).astype(np.float64),
    )


def _value(path: Details, month: int) -> FloatArray:
    """Return the contribution of an order by route, bought in by type, and of overtime."""
    study, ways = path.study, path.routes
    jobs, people = list(study.jobs.values()), study.shop.people
    rise, years = study.money.escalation, (month - 1) // 12
    sales, materials, wages = (
        float((1 + rate.si[0]) ** years) for rate in (rise.prices, rise.materials, rise.wages)
    )
    wage = float(people.wage.si[0] * people.on_cost_factor.si[0]) * wages
    redeployed = float(people.idle_time_redeployed.si[0])
    price = np.array([float(job.price.si[0] * study.levers.price.si[0]) for job in jobs]) * sales
    margin = [
        0.0 if job.bought_in_price is None
        else one - float(job.bought_in_price.si[0]) * materials
        for job, one in zip(jobs, price, strict=True)
    ]  # fmt: skip
    of_people = np.array([station.placement is None for station in ways.stations])
    # idle time that finds other work is worth its wage: an order that takes it costs as much
    labour = redeployed * wage * (ways.load[0] @ of_people)
    made = price[ways.job_of] - ways.direct_cost[0] * materials - labour
    persons = float(people.operators.si[0] + people.finishers.si[0])
    premium = float(study.shop.hours.overtime_premium.si[0]) - redeployed
    return np.concatenate([made, margin, [-persons * wage * premium]])


def decided(path: Details, month: int) -> FloatArray:
    """Return what the capacity pass decided for a month, in the unknowns of its programme."""
    output, m = path.output, month - 1
    return np.concatenate(
        [output.made[0, :, m], output.bought_in[0, :, m], output.overtime[0, m : m + 1]]
    )
