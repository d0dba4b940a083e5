"""How long orders take from acceptance to packed: the fast estimate beside the simulated year.

Own working time, queues at every station by the formulas of `capex.shopfloor.waiting`, and waits
for ink to dry or outgas. Times are working days of the shop; arrays are over scenarios n, job
types j, stations k and months m.

Imports numpy, `capex.study` and the files of this folder.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt

from capex.shopfloor.arrays import BoolArray, FloatArray, bounded
from capex.shopfloor.calendar import DAY, chance_of_work
from capex.shopfloor.content import shares_of_orders
from capex.shopfloor.mix import Mix
from capex.shopfloor.operations import Operations
from capex.shopfloor.output import Output
from capex.shopfloor.queues import ratio, station_queues
from capex.shopfloor.routes import Routes
from capex.shopfloor.stations import Station
from capex.shopfloor.visits import Visits, visits
from capex.study import Alternative, Study

__all__ = ["LeadTimes", "lead_times", "working_days"]

IntArray = npt.NDArray[np.intp]


@dataclass(frozen=True)
class LeadTimes:
    """Expected lead times of the orders made in the house, and what they consist of.

    Bought-in orders take their supplier's time, which is not known: they are left out, and
    `made_in_house` says what share of the orders asked for the figures speak for.

    Parameters
    ----------
    stations : tuple of Station
        In the order of axis k.
    horizon : ndarray, shape (n,) or (1,)
        Months that count for `worst_month`.
    orders : ndarray, shape (n, j, m)
        Orders made in the house.
    made_in_house : ndarray, shape (n, m)
        Their share of the orders asked for [-].
    by_type : ndarray, shape (n, j, m)
        Expected lead time [working days]; NaN, and only then, where no order is made.
    work : ndarray, shape (n, m)
        Own working time, mean of the month's orders [working days]; NaN without orders.
    wait : ndarray, shape (n, m)
        Drying, outgassing and waiting for the night, likewise.
    queue : ndarray, shape (n, k, m)
        Queueing at each station, likewise.
    utilization : ndarray, shape (n, k, m)
        Time worked over time there is, overtime included [-].
    saturated : ndarray of bool, shape (n, k, m)
        The station is so full that its queue goes on building through the month: its true queue
        is longer than the one given.
    above_planned_load : ndarray of bool, shape (n, k, m)
        The station works above the load that the study plans for.
    """

    stations: tuple[Station, ...]
    horizon: FloatArray
    orders: FloatArray
    made_in_house: FloatArray
    by_type: FloatArray
    work: FloatArray
    wait: FloatArray
    queue: FloatArray
    utilization: FloatArray
    saturated: BoolArray
    above_planned_load: BoolArray

    @cached_property
    def mean(self) -> FloatArray:
        """Lead time of the mix, weighted by orders, shape (n, m) [working days]."""
        mean: FloatArray = self.work + self.wait + self.queue.sum(axis=1)
        return mean

    @cached_property
    def saturated_month(self) -> BoolArray:
        """Whether some station is saturated: the month's figures are then lower bounds (n, m)."""
        some: BoolArray = np.any(self.saturated, axis=1)
        return some

    @cached_property
    def longest_queue(self) -> IntArray:
        """Place of the station whose queue adds most to the mix, shape (n, m)."""
        longest: IntArray = self.queue.argmax(axis=1)
        return longest

    @cached_property
    def worst_month(self) -> IntArray:
        """Month of the longest mean lead time within the horizon, from 1; 0 without orders (n,)."""
        reach = np.where(np.isnan(self._within), -np.inf, self._within)
        return np.where(np.isneginf(reach).all(axis=1), 0, reach.argmax(axis=1) + 1)

    @cached_property
    def worst(self) -> FloatArray:
        """Mean lead time of that month, shape (n,) [working days]; NaN without orders."""
        place = np.maximum(self.worst_month - 1, 0)
        worst: FloatArray = np.take_along_axis(self._within, place[:, None], axis=1)[:, 0]
        return worst

    @property
    def _within(self) -> FloatArray:
        months = np.arange(1, self.mean.shape[1] + 1)
        return np.where(months <= self.horizon[:, None], self.mean, np.nan)


def lead_times(
    study: Study,
    mix: Mix,
    alternative: Alternative,
    routes: Routes,
    output: Output,
) -> LeadTimes:
    """Return how long the orders that an alternative makes are under way, month by month.

    Each station is a queue of its own: orders come as a Poisson stream at the month's rate, the
    process time varies with the mix of visits, with the size of orders within their type
    (`order_size_variation` of the study, set-ups apart) and with breakdowns, machines and persons
    of one kind serve one line. A part-time person works at that part of the pace. Orders wait for a
    machine and then for a person, and hold no machine while they wait: where people are short the
    estimate is too low, and the simulated year says by how much. A quotation, proof or delivery
    is not in it, nor is waiting for a gang run to fill.

    Where a station is full its formula would run to infinity, but the shop refuses or buys in
    what does not fit and months are not endless. A station with no hour to spare that starts a
    run of such months with an empty queue builds up a mean wait of ``σ√(2D/π) · ⅔(r^1.5 −
    (r−1)^1.5)`` in its r-th month of D days, ``σ² = te(ca² + ce²)/m``. The utilization whose
    steady wait equals that is the highest that still means something; beyond it the queue is
    evaluated there and `saturated` says that it is longer.

    Parameters
    ----------
    study, mix, alternative, routes, output
        The shop, its job types, the choice, its routes and what it makes.

    Returns
    -------
    LeadTimes
        In working days.

    Examples
    --------
    >>> from capex.shopfloor.capacity import monthly_output
    >>> from capex.shopfloor.content import Contents
    >>> from capex.shopfloor.mix import job_mix
    >>> from capex.shopfloor.prices import price_levels
    >>> from capex.shopfloor.routes import routes
    >>> from capex.study import data_folder, read_study
    >>> study = read_study(data_folder() / "studies" / "quenlow.toml")
    >>> mix, choice = job_mix(study), study.alternatives["all_in_one"]
    >>> ways = routes(Contents(study, mix), choice)
    >>> output = monthly_output(study, mix, choice, ways, price_levels(study, 12))
    >>> found = lead_times(study, mix, choice, ways, output)
    >>> found.by_type.shape, found.stations[found.longest_queue[0, 4]].name
    ((1, 10, 12), 'Mid all-in-one')

    Notes
    -----
    Formulas in `capex.shopfloor.waiting`; a queue without slack: source `harrison-1985`.
    """
    brought = visits(mix, routes)
    queues = station_queues(study, alternative, routes, output, brought)
    made, work = output.made, brought.own @ queues.pace
    wait = _waits(study, mix, routes, brought)[:, :, None]
    by_route = work + wait + brought.count @ queues.each
    of_job = (routes.job_of == np.arange(len(mix.keys))[:, None]).astype(np.float64)
    orders, total = of_job @ made, made.sum(axis=1)
    return LeadTimes(
        stations=routes.stations,
        horizon=study.money.horizon.si,
        orders=orders,
        made_in_house=ratio(total, output.demand.sum(axis=1)),
        by_type=ratio(of_job @ (made * by_route), orders),
        work=ratio((made * work).sum(axis=1), total),
        wait=ratio((made * wait).sum(axis=1), total),
        queue=ratio(queues.visits * queues.each, total[:, None, :]),
        utilization=queues.utilization,
        saturated=queues.saturated,
        above_planned_load=queues.utilization > study.shop.planned_load.si[:, None, None],
    )


def working_days(
    wait: npt.ArrayLike, *, hours_per_day: npt.ArrayLike, days_per_month: npt.ArrayLike
) -> FloatArray:
    """Return the working days that pass during a wait that goes on around the clock.

    The wait begins at a random moment of a working day's staffed hours. Which later days are
    working days is said by `capex.shopfloor.calendar`, as for the simulated year.

    Parameters
    ----------
    wait : array_like
        By the clock, at least 0 [s].
    hours_per_day : array_like
        Staffed time of a day, above 0 and at most 24 h [s].
    days_per_month : array_like
        Working days of a month, above 0 [-].

    Returns
    -------
    ndarray
        Staffed time that passes, over staffed time of a day [-].

    Raises
    ------
    InputError
        A value outside its bounds.

    Examples
    --------
    Six minutes pass within the shift; of 24 hours about half the shift is still today, and the
    other half tomorrow, which is a working day four times in five.

    >>> hours = {"hours_per_day": 8 * 3600, "days_per_month": 21}
    >>> working_days([360, 86400], **hours).round(4)
    array([0.0124, 0.8965])

    Notes
    -----
    With staffed time H and wait w: today ``x − x²/(2H)``, ``x = min(w, H)``; the q-th day after,
    with the chance that it is a working day, ``(G(w − 24 h·q + H) − G(w − 24 h·q))/H``, where
    ``G(y)`` is the area under ``min(max(0, y), H)`` up to y. Over H. Source `derivable`.
    """
    clock = bounded("wait", wait, "s", at_least=0)
    staffed = bounded("hours_per_day", hours_per_day, "s", above=0, at_most=DAY)
    monthly = bounded("days_per_month", days_per_month, above=0)
    today = np.minimum(clock, staffed)
    passed = today - today**2 / (2.0 * staffed)
    farthest = int((clock + staffed).max(initial=0.0) // DAY)
    for later in range(1, farthest + 1):
        into = clock - later * DAY
        met = _area(into + staffed, staffed) - _area(into, staffed)
        passed = passed + chance_of_work(later, monthly) * met / staffed
    days: FloatArray = passed / staffed
    return days


def _area(end: FloatArray, staffed: FloatArray) -> FloatArray:
    """Return the area under the staffed time passed since an opening, up to a time after it."""
    within = np.clip(end, 0.0, staffed)
    return np.asarray(within**2 / 2.0 + staffed * (np.maximum(end, 0.0) - within))


def _waits(study: Study, mix: Mix, routes: Routes, brought: Visits) -> FloatArray:
    """Return working days of drying, outgassing and waiting for the night, shape (n, v)."""
    known: dict[int, FloatArray] = {}
    for content in routes.contents:
        if id(content) not in known:
            known[id(content)] = _operation_waits(study, mix, content.operations)
    nights = np.array([station.work == "overnight" for station in routes.stations])
    # an order ready at some time of the day waits half a day for the evening
    table: FloatArray = 0.5 * (brought.count * nights).sum(axis=2)
    rows = max([table.shape[0], *(wait.shape[0] for wait in known.values())])
    table = np.repeat(table, rows // table.shape[0], axis=0)
    for v, (route, content) in enumerate(zip(routes.each, routes.contents, strict=True)):
        table[:, v] += known[id(content)][:, route.job]
    return table


def _operation_waits(study: Study, mix: Mix, done: Operations) -> FloatArray:
    """Return working days of an order's waits on one set of machines, shape (n, j)."""
    hours = study.shop.hours
    staffed = (hours.hours_per_day.si - hours.care_per_day.si)[:, None]
    days = hours.days_per_month.si[:, None]
    waits = np.zeros((1, len(mix.keys)))
    for share, operations in shares_of_orders(mix, done):
        for operation in operations:
            if operation.wait.any():
                passed = working_days(operation.wait, hours_per_day=staffed, days_per_month=days)
                waits = waits + share * passed
    return waits
