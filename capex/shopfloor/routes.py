"""Every way in which an alternative can make each job type, with its loads and direct costs.

A route is one job type on one choice of machines. Loads have shape (n, v, k): scenarios × routes
× stations; costs shape (n, v); both per order asked for.

Imports numpy, `capex.study` and the stage files of this folder.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt

from capex.shopfloor.arrays import BoolArray, FloatArray, side_by_side
from capex.shopfloor.content import COSTS, Content, Contents
from capex.shopfloor.mix import Mix
from capex.shopfloor.operations import MachineSet, Role
from capex.shopfloor.stations import Station, stations, working_places
from capex.study import Alternative, Machine, Study

__all__ = ["Route", "Routes", "routes"]


@dataclass(frozen=True)
class Route:
    """One job type on one choice of machines; numbers are places in the alternative's list.

    Parameters
    ----------
    job : int
        Index of the job type.
    print, laminate, cut : int or None
        Machines that do it.
    overnight : bool
        Whether the printing machine works unattended after the shift.
    """

    job: int
    print: int | None
    laminate: int | None
    cut: int | None
    overnight: bool = False

    @property
    def machines(self) -> frozenset[int]:
        """Places of all machines on the route."""
        return frozenset(x for x in (self.print, self.laminate, self.cut) if x is not None)


@dataclass(frozen=True)
class Routes:
    """All routes of an alternative, in order of preference within a job type.

    Parameters
    ----------
    stations : tuple of Station
        Stations and people, k of them.
    each : tuple of Route
        Routes, v of them.
    contents : tuple of Content
        What stands behind each route's figures.
    makeable : ndarray of bool, shape (n, v)
        Whether the route can make its type.
    load : ndarray, shape (n, v, k)
        Station time an order [s].
    costs : ndarray, shape (n, c, v)
        Direct costs an order, in the order of `content.COSTS` [currency].
    """

    stations: tuple[Station, ...]
    each: tuple[Route, ...]
    contents: tuple[Content, ...]
    makeable: BoolArray
    load: FloatArray
    costs: FloatArray

    @cached_property
    def job_of(self) -> npt.NDArray[np.intp]:
        """Job type of each route, shape (v,)."""
        return np.array([route.job for route in self.each], dtype=np.intp)

    @cached_property
    def direct_cost(self) -> FloatArray:
        """All direct costs an order, shape (n, v) [currency]."""
        return np.asarray(self.costs.sum(axis=1))


def routes(contents: Contents, alternative: Alternative) -> Routes:
    """Return every route of an alternative, overnight ones only where the shop runs overnight."""
    study, mix = contents.study, contents.mix
    each = tuple(_choices(study, mix, alternative))
    sets = {
        choice: contents.on(_machine_set(study, alternative, choice))
        for choice in dict.fromkeys((route.print, route.laminate, route.cut) for route in each)
    }
    found = tuple(sets[route.print, route.laminate, route.cut] for route in each)
    places = stations(study, alternative)
    jobs = [route.job for route in each]
    pairs = list(zip(found, jobs, strict=True))
    return Routes(
        stations=places,
        each=each,
        contents=found,
        makeable=_makeable(pairs) & _has_its_hours(study, each),
        load=_loads(places, each, found),
        costs=_costs(pairs),
    )


def _machine_set(
    study: Study, alternative: Alternative, choice: tuple[int | None, int | None, int | None]
) -> MachineSet:
    """Return the machines of a route; a role it does not need goes to the first that could.

    An order spends no time in a role that it does not need, so routes share their content.
    """
    keys = [placement.machine for placement in alternative.machines]
    working = working_places(alternative)

    def place_of(given: int | None, can: Callable[[Machine], object]) -> int | None:
        able = (i for i in working if can(study.machines[keys[i]]))
        return next(able, None) if given is None else given

    places = (
        place_of(choice[0], lambda machine: machine.printing),
        place_of(choice[1], lambda machine: machine.laminating),
        place_of(choice[2], lambda machine: machine.cutting),
    )
    printer, laminator, cutter = (None if place is None else keys[place] for place in places)
    return MachineSet(printer, laminator, cutter, in_one=places[0] == places[2])


def _choices(study: Study, mix: Mix, alternative: Alternative) -> list[Route]:
    """Return the routes of every job type, machines in the order of the alternative."""
    machines = {
        place: study.machines[alternative.machines[place].machine]
        for place in working_places(alternative)
    }
    printers = [place for place, machine in machines.items() if machine.printing]
    cutters = [place for place, machine in machines.items() if machine.cutting]
    laminators = [place for place, machine in machines.items() if machine.laminating]
    runs_overnight = bool(study.shop.hours.overnight_per_day.si.max() > 0)
    found: list[Route] = []
    for j, job in enumerate(mix.jobs):
        laminated = bool(mix.printed[j] and (mix.laminated[:, j] > 0).any())
        overnight = runs_overnight and job.unattended_overnight and bool(mix.printed[j])
        found += [
            Route(j, printer, laminator, cutter, night)
            for printer in (printers if mix.printed[j] else [None])
            for cutter in (cutters if mix.contour_cut[j] else [None])
            for laminator in (laminators if laminated else [None])
            for night in ([False, True] if overnight else [False])
        ]
    return found


def _loads(
    places: tuple[Station, ...], each: tuple[Route, ...], contents: tuple[Content, ...]
) -> FloatArray:
    """Return station time an order of every route, shape (n, v, k)."""
    index = {(place.work, place.placement): k for k, place in enumerate(places)}
    parts: list[tuple[int, int, FloatArray]] = []
    for v, (route, content) in enumerate(zip(each, contents, strict=True)):
        machine_of: dict[Role, int | None] = {
            "print": route.print, "laminate": route.laminate, "cut": route.cut,
        }  # fmt: skip
        for role, machine in machine_of.items():
            if machine is not None:
                parts.append((v, index["machine", machine], content.busy[role][:, route.job]))
        if route.overnight:
            alone = content.alone[:, route.job]
            parts.append((v, index["machine", route.print], -alone))
            parts.append((v, index["overnight", route.print], alone))
        people = content.attended_by_day if route.overnight else content.attended
        for who, time in people.items():
            if (who, None) in index:
                parts.append((v, index[who, None], time[:, route.job]))
    rows = max((part.size for _, _, part in parts), default=1)
    load = np.zeros((rows, len(each), len(places)))
    for v, k, part in parts:
        load[:, v, k] += part
    return load


def _makeable(pairs: list[tuple[Content, int]]) -> BoolArray:
    columns = [content.operations.makeable[:, j] for content, j in pairs]
    return side_by_side(columns) if columns else np.zeros((1, 0), dtype=bool)


def _has_its_hours(study: Study, each: tuple[Route, ...]) -> BoolArray:
    """Return whether there is a night where a route wants one, shape (n, v)."""
    hours = study.shop.hours
    nights = hours.overnight_per_day.si * hours.overnight_completion.si > 0
    by_day = np.array([not route.overnight for route in each], dtype=bool)
    return by_day | nights[:, None]


def _costs(pairs: list[tuple[Content, int]]) -> FloatArray:
    """Return direct costs an order, shape (n, c, v)."""
    parts = [[content.costs[cost][:, j] for content, j in pairs] for cost in COSTS]
    rows = max((part.size for row in parts for part in row), default=1)
    table = np.zeros((rows, len(COSTS), len(pairs)))
    for c, row in enumerate(parts):
        for v, part in enumerate(row):
            table[:, c, v] = part
    return table
