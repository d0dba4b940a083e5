"""Stations and people of an alternative, and the hours each has in every month.

Arrays have shape (n, k, m): scenarios × stations × months 1 … m.

Imports numpy, `capex.study`, and `arrays` and `labels` of this folder.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from capex.errors import InputError
from capex.shopfloor.arrays import BoolArray, FloatArray, side_by_side
from capex.shopfloor.labels import told_apart
from capex.study import Alternative, Machine, Placement, Study

__all__ = [
    "Calendar", "Station", "at_work", "calendar", "machine_day", "presence", "start", "stations",
    "working_places",
]  # fmt: skip

Work = Literal["machine", "overnight", "operators", "finishers"]


@dataclass(frozen=True)
class Station:
    """One place where work queues: a machine by day, a machine overnight, or a group of people.

    Parameters
    ----------
    key : str
        Unique within the alternative.
    name : str
        For people to read.
    work : {"machine", "overnight", "operators", "finishers"}
        What its hours are.
    placement : int or None
        Index of the machine in the alternative.
    """

    key: str
    name: str
    work: Work
    placement: int | None = None


def stations(study: Study, alternative: Alternative) -> tuple[Station, ...]:
    """Return the stations of an alternative: its machines, then its people."""
    found = []
    overnight = bool(study.shop.hours.overnight_per_day.si.max() > 0)
    names = told_apart(
        [study.machines[placement.machine].name for placement in alternative.machines]
    )
    for index in working_places(alternative):
        placement = alternative.machines[index]
        name = names[index]
        found.append(Station(f"{placement.machine}.{index}", name, "machine", index))
        if overnight and study.machines[placement.machine].printing is not None:
            found.append(
                Station(
                    f"{placement.machine}.{index}.overnight",
                    f"{name} overnight",
                    "overnight",
                    index,
                )
            )
    found.append(Station("operators", "Operators", "operators"))
    if study.shop.people.finishers.si.max() > 0:
        found.append(Station("finishers", "Finishers", "finishers"))
    return tuple(found)


def working_places(alternative: Alternative) -> tuple[int, ...]:
    """Return the places of the machines that ever work: not those that go before month 1."""
    return tuple(
        index
        for index, placement in enumerate(alternative.machines)
        if placement.sold_in_month is None or bool((placement.sold_in_month.si > 0).any())
    )


def presence(placement: Placement, months: int) -> BoolArray:
    """Return in which months 1 … m a machine is there, shape (n, m)."""
    month = np.arange(1, months + 1)
    there: BoolArray = month > placement.month.si[:, None]
    if placement.sold_in_month is not None:
        there = there & (month <= placement.sold_in_month.si[:, None])
    return there


def start(study: Study, placement: Placement) -> FloatArray:
    """Return the month after which a machine works, shape (n,): later by the delay if bought."""
    if placement.owned:
        return placement.month.si
    return np.asarray(placement.month.si + study.levers.delay.si)


def at_work(study: Study, placement: Placement, months: int) -> BoolArray:
    """Return in which months 1 … m a machine works, shape (n, m): there, and not held up."""
    month = np.arange(1, months + 1)
    return presence(placement, months) & (month > start(study, placement)[:, None])


def availability(machine: Machine) -> FloatArray:
    """Return the share of its hours that a machine is fit to run, shape (n,).

    MTBF/(MTBF + MTTR), less the share of minor stops. Source `hopp-spearman`, ch. 8.
    """
    up = machine.mean_time_between_failures.si
    fit: FloatArray = up / (up + machine.mean_time_to_repair.si)
    return fit * (1.0 - machine.minor_stop_share.si)


def ramp_up(study: Study, alternative: Alternative, since: FloatArray, months: int) -> FloatArray:
    """Return how far the ramp-up after a purchase has come, shape (n, m), from 0 to 1.

    A straight rise over the ramp-up; each month is taken at its middle. 0 before the start.

    Parameters
    ----------
    study, alternative
        Whose ramp-up it is.
    since : ndarray, shape (n,)
        Month after which the machine works; see `start`.
    months : int
        Months 1 … m.
    """
    month = np.arange(1, months + 1)
    age = month - 0.5 - since[:, None]
    span = (alternative.ramp_up or study.shop.after_purchase.ramp_up).si[:, None]
    way = np.divide(age, span, out=np.ones(np.broadcast_shapes(age.shape, span.shape)),
                    where=span > 0)  # fmt: skip
    return np.clip(way, 0.0, 1.0) * (month > since[:, None])


def pace(study: Study, alternative: Alternative, placement: Placement, months: int) -> FloatArray:
    """Return the share of full speed of a machine, shape (n, m): full for one that is owned."""
    if placement.owned:
        return np.ones((1, months))
    usual = study.shop.after_purchase
    first = (alternative.ramp_up_start or usual.ramp_up_start).si[:, None]
    since = start(study, placement)
    return first + (1.0 - first) * ramp_up(study, alternative, since, months)


def machine_day(study: Study, machine: Machine) -> FloatArray:
    """Return the staffed time of a day that is left for a machine's work, shape (n,) [s].

    Raises
    ------
    InputError
        Care and warm-up leave none.
    """
    hours = study.shop.hours
    left: FloatArray = hours.hours_per_day.si - hours.care_per_day.si - machine.warm_up_time.si
    if bool((left <= 0).any()):
        raise InputError(
            "shop.hours.hours_per_day",
            f"{float(np.min(hours.hours_per_day.si)) / 3600:g} h",
            f"must be more than machine care and the warm-up of {machine.name} together",
        )
    return left


@dataclass(frozen=True)
class Calendar:
    """Time of every station in every month.

    Parameters
    ----------
    available : ndarray, shape (n, k, m)
        Normal time [s].
    gained : ndarray, shape (n, k, m)
        Station time gained by one second of overtime of the whole cell [-].
    """

    available: FloatArray
    gained: FloatArray


def calendar(study: Study, alternative: Alternative, months: int) -> Calendar:
    """Return the time that each station has in each month.

    Machines: working days × (staffed hours − care − warm-up) × availability × number, while they
    work, at the pace of the ramp-up. Overnight: hours beyond the shift × chance of
    completion × availability; no overtime. People: days × (staffed hours − care) × persons.

    Raises
    ------
    InputError
        Care and warm-up leave no time in a day.
    """
    hours = study.shop.hours
    people = study.shop.people
    days = hours.days_per_month.si[:, None]
    shift = hours.hours_per_day.si - hours.care_per_day.si
    if bool((shift <= 0).any()):
        raise InputError(
            "shop.hours.care_per_day", "-", "must be less than the staffed hours a day"
        )
    available, gained = [], []
    for station in stations(study, alternative):
        if station.placement is None:
            persons = people.operators if station.work == "operators" else people.finishers
            rate = np.repeat(persons.si[:, None], months, axis=1)
            daily = shift
        else:
            placement = alternative.machines[station.placement]
            machine = study.machines[placement.machine]
            rate = (
                (availability(machine) * placement.count.si)[:, None]
                * at_work(study, placement, months)
                * pace(study, alternative, placement, months)
            )
            daily = machine_day(study, machine)
        if station.work == "overnight":
            daily = hours.overnight_per_day.si * hours.overnight_completion.si
            gained.append(np.zeros((1, months)))
        else:
            gained.append(rate)
        available.append(days * daily[:, None] * rate)
    return Calendar(side_by_side(available), side_by_side(gained))
