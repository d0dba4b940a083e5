"""The queue of every station in every month, under what an alternative makes.

Arrays have shape (n, k, m): scenarios × stations × months.

Imports numpy, `capex.study` and the files of this folder.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from capex.shopfloor.arrays import BoolArray, FloatArray
from capex.shopfloor.output import Output
from capex.shopfloor.routes import Routes
from capex.shopfloor.stations import Station, calendar
from capex.shopfloor.visits import Visits
from capex.shopfloor.waiting import (
    ProcessTime,
    effective_process_time,
    process_time_of_moments,
    queue_time,
)
from capex.study import Alternative, Study

__all__ = ["Queues", "highest_utilization", "ratio", "station_queues"]


@dataclass(frozen=True)
class Queues:
    """What stations do to the orders that visit them, shape (n, k, m).

    Parameters
    ----------
    pace : ndarray
        Working days that one machine or person takes for a second of work: breakdowns, care,
        warm-up, ramp-up and part time included; 0 where the station is not there.
    utilization : ndarray
        Time worked over time there is, overtime included [-].
    saturated : ndarray of bool
        The queue goes on building through the month; `each` is then a lower bound.
    visits : ndarray
        Visits in the month.
    each : ndarray
        Mean queue time of one visit [working days].
    """

    pace: FloatArray
    utilization: FloatArray
    saturated: BoolArray
    visits: FloatArray
    each: FloatArray


def station_queues(
    study: Study,
    alternative: Alternative,
    routes: Routes,
    output: Output,
    brought: Visits,
) -> Queues:
    """Return the queues; assumptions as in `capex.shopfloor.lead_time.lead_times`.

    Notes
    -----
    Poisson arrivals; process times by the mixture of visits, by how orders of a type differ in
    size, and by breakdowns. Source `hopp-spearman`, ch. 8.
    """
    capacity = output.available
    if output.overtime.any():
        gained = calendar(study, alternative, output.made.shape[2]).gained
        capacity = capacity + gained * output.overtime[:, None, :]
    days = study.shop.hours.days_per_month.si[:, None, None]
    servers = _servers(study, alternative, routes.stations)
    utilization = ratio(output.used, capacity, 0.0)
    pace = ratio(servers * days, capacity, 0.0)
    count = _brought(brought.count, output.made)
    time, scv = _process(study, brought, output, count)
    fit, repair = _stops(study, alternative, routes.stations)
    safe = np.where(time > 0, time, 1.0)
    scv = effective_process_time(safe, scv, availability=fit, repair_time=repair).scv
    process = time * pace
    limit = highest_utilization(utilization, process * (1.0 + scv) / servers, days)
    saturated = utilization > limit
    meant = np.where(saturated, limit, utilization)
    each = queue_time(process, meant, process_scv=scv, servers=servers)
    return Queues(pace, utilization, saturated, count, each)


def _process(study: Study, brought: Visits, output: Output, count: FloatArray) -> ProcessTime:
    """Return the time of a visit over the month's mix, its mean in seconds; `count` visits."""
    spread = (study.shop.dispatching.order_size_variation.si**2)[:, None, None]
    square = brought.square + spread * brought.scaled_square
    return process_time_of_moments(
        ratio(_brought(brought.time, output.made), count, 0.0),
        ratio(_brought(square, output.made), count, 0.0),
    )


def _brought(each: FloatArray, made: FloatArray) -> FloatArray:
    found: FloatArray = each.transpose(0, 2, 1) @ made
    return found


def ratio(part: FloatArray, whole: FloatArray, otherwise: float = np.nan) -> FloatArray:
    """Return part over whole, or `otherwise` where the whole is 0."""
    shape = np.broadcast_shapes(part.shape, whole.shape)
    quotient: FloatArray = np.divide(part, whole, out=np.full(shape, otherwise), where=whole > 0)
    return quotient


def _servers(study: Study, alternative: Alternative, stations: tuple[Station, ...]) -> FloatArray:
    """Return machines or persons side by side, shape (n, k, 1); a part-time person counts as 1."""
    people = {"operators": study.shop.people.operators, "finishers": study.shop.people.finishers}
    return _over_stations(
        np.maximum(people[station.work].si, 1.0)
        if station.placement is None
        else alternative.machines[station.placement].count.si
        for station in stations
    )


def _stops(
    study: Study, alternative: Alternative, stations: tuple[Station, ...]
) -> tuple[FloatArray, FloatArray]:
    """Return availability by breakdowns alone and time of a repair, shape (n, k, 1)."""
    fit, repair = [], []
    for station in stations:
        if station.placement is None:
            fit.append(np.ones(1))
            repair.append(np.zeros(1))
            continue
        machine = study.machines[alternative.machines[station.placement].machine]
        up, down = machine.mean_time_between_failures.si, machine.mean_time_to_repair.si
        fit.append(up / (up + down))
        repair.append(down)
    return _over_stations(fit), _over_stations(repair)


def _over_stations(columns: Iterable[FloatArray]) -> FloatArray:
    each = tuple(columns)
    table = np.empty((max(column.size for column in each), len(each), 1))
    for k, column in enumerate(each):
        table[:, k, 0] = column
    return table


def highest_utilization(
    utilization: FloatArray, variance: FloatArray, days: FloatArray
) -> FloatArray:
    """Return the utilization beyond which the steady state says nothing, shape (n, k, m).

    The rule stands in `capex.shopfloor.lead_time.lead_times`. A month is full where its own limit
    is passed; each full month in a row lets the queue build further.

    Parameters
    ----------
    utilization : ndarray, shape (n, k, m)
        Of every station and month [-].
    variance : ndarray, shape (n, k, m)
        Work that comes to a full station in a day varies by this much: ``te(ca² + ce²)/m``
        [working days].
    days : ndarray, shape (n, 1, 1)
        Working days of a month.

    Returns
    -------
    ndarray
        Below 1 wherever there is work [-].

    Examples
    --------
    >>> full = np.array([[[0.5, 1.0, 1.0]]])
    >>> highest_utilization(full, np.full((1, 1, 3), 0.4), np.full((1, 1, 1), 21.0)).round(3)
    array([[[0.885, 0.885, 0.934]]])

    Notes
    -----
    The mean of reflected Brownian motion without drift is ``σ√(2t/π)``. Source `harrison-1985`.
    """
    once = _matching(variance, days, np.ones(1))
    month = np.arange(utilization.shape[2])
    full = utilization > once
    if not full.any():
        return once
    slack = np.maximum.accumulate(np.where(full, -1, month), axis=2)
    return np.where(full, _matching(variance, days, np.maximum(month - slack, 1.0)), once)


def _matching(variance: FloatArray, days: FloatArray, run: FloatArray) -> FloatArray:
    """Return the utilization whose steady wait is what a full station builds in month `run`."""
    built = 2.0 / 3.0 * (run**1.5 - (run - 1.0) ** 1.5) * np.sqrt(2.0 * days / np.pi)
    # steady: σ²/2 · u/(1 − u); built: σ · built; without variance nothing ever queues
    odds = ratio(2.0 * built, np.sqrt(variance), np.inf)
    matching: FloatArray = 1.0 / (1.0 + 1.0 / odds)
    return matching
