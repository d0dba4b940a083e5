"""What gets made each month: in normal hours, in overtime, bought in, or refused.

Everything is made on its most profitable route while the hours last. Where a month is too full,
orders give way, move to another machine or the shop works overtime, at the least loss of
contribution (`capex.shopfloor.allocation`). Time axis: months 1 … m.

Imports numpy, `capex.study` and the files of this folder.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise
from typing import Final, TypeVar

import numpy as np
import numpy.typing as npt

from capex.shopfloor.allocation import least_loss_relief
from capex.shopfloor.arrays import FloatArray
from capex.shopfloor.demand import always_bought_in, demand, recovered
from capex.shopfloor.mix import Mix
from capex.shopfloor.prices import Prices
from capex.shopfloor.routes import Routes
from capex.shopfloor.stations import Calendar, calendar, presence
from capex.study import Alternative, Study

__all__ = ["Output", "monthly_output"]

Scalar = TypeVar("Scalar", bound=np.generic)

#: Programmes solved together; more would not fit the processor's cache.
_TOGETHER: Final = 512


@dataclass(frozen=True)
class Output:
    """What an alternative makes.

    Parameters
    ----------
    demand : ndarray, shape (n, j, m)
        Orders asked for.
    made : ndarray, shape (n, v, m)
        Orders made in the house, by route.
    bought_in, refused : ndarray, shape (n, j, m)
        Orders bought in and turned away.
    overtime : ndarray, shape (n, m)
        Overtime of the whole cell [s].
    asked : ndarray, shape (n, k, m)
        Station time that making everything in the house would take [s].
    used : ndarray, shape (n, k, m)
        Station time that is worked [s].
    available : ndarray, shape (n, k, m)
        Station time in normal hours [s].
    worth : ndarray, shape (n, k, m)
        Contribution that one more second of a station would add [currency/s].
    """

    demand: FloatArray
    made: FloatArray
    bought_in: FloatArray
    refused: FloatArray
    overtime: FloatArray
    asked: FloatArray
    used: FloatArray
    available: FloatArray
    worth: FloatArray


def monthly_output(
    study: Study, mix: Mix, alternative: Alternative, routes: Routes, prices: Prices
) -> Output:
    """Return what an alternative makes of the demand, month by month.

    Parameters
    ----------
    study, mix, alternative, routes
        The shop, its job types, the choice and its routes.
    prices : Prices
        Price levels by month; the number of months is theirs.

    Returns
    -------
    Output
    """
    months = prices.sales.shape[-1]
    hours = calendar(study, alternative, months)
    asked_for = demand(study, mix, months) * recovered(study, alternative, months)[:, None, :]
    program = _Program(study, mix, alternative, routes, prices, hours)
    lost = np.stack([job.lost_customers.si for job in mix.jobs]) if mix.jobs else np.zeros(1)
    if not bool((lost > 0).any()):
        return program.solved(asked_for, np.arange(months))
    return _with_lost_customers(program, mix, asked_for)


def _with_lost_customers(program: _Program, mix: Mix, asked_for: FloatArray) -> Output:
    """Solve month after month, as customers who were refused stay away later."""
    share = np.stack([np.broadcast_to(job.lost_customers.si, program.count) for job in mix.jobs], 1)
    staying = np.ones_like(share)
    months = []
    for month in range(asked_for.shape[-1]):
        wanted = asked_for[..., month] * staying
        output = program.solved(wanted[..., None], np.array([month]))
        months.append(output)
        refused = output.refused[..., 0]
        with np.errstate(divide="ignore", invalid="ignore"):
            gone = np.where(wanted > 0, share * refused / wanted, 0.0)
        staying = staying * (1.0 - gone)
    return Output(
        *(np.concatenate([getattr(output, name) for output in months], axis=-1) for name in _FIELDS)
    )


_FIELDS: Final = tuple(Output.__dataclass_fields__)


class _Program:
    """The monthly programmes of one alternative; arrays over all its scenarios."""

    def __init__(
        self,
        study: Study,
        mix: Mix,
        alternative: Alternative,
        routes: Routes,
        prices: Prices,
        hours: Calendar,
    ) -> None:
        people = study.shop.people
        self.routes = routes
        self.prices = prices
        self.hours = hours
        self.can_buy = mix.can_be_bought_in
        self.price = mix.price
        self.bought_in_price = mix.bought_in_price
        self.away = always_bought_in(mix, alternative)
        wage = people.wage.si * people.on_cost_factor.si
        of_people = np.array([place.placement is None for place in routes.stations])
        attended = (routes.load * of_people).sum(axis=2)
        self.labour = people.idle_time_redeployed.si[:, None] * wage[:, None] * attended
        self.overtime_limit = study.shop.hours.overtime_per_month.si
        persons = people.operators.si + people.finishers.si
        self.overtime_cost = persons * wage * study.shop.hours.overtime_premium.si
        months = prices.sales.shape[-1]
        there = [presence(placement, months) for placement in alternative.machines]
        rows = max((table.shape[0] for table in there), default=1)
        self.there = (
            np.stack([np.broadcast_to(table, (rows, months)) for table in there], axis=1)
            if there
            else np.ones((1, 0, months), dtype=bool)
        )
        sizes = [
            part.shape[0]
            for part in (
                routes.load, routes.direct_cost, routes.makeable, self.price, self.away,
                self.bought_in_price, self.labour, prices.sales, prices.materials, prices.wages,
                hours.available, hours.gained, self.there, self.overtime_limit, self.overtime_cost,
            )
        ]  # fmt: skip
        self.count = max(sizes)

    def solved(self, wanted: FloatArray, months: npt.NDArray[np.intp]) -> Output:
        """Return the output of the given months (indices from 0)."""
        self.count = max(self.count, wanted.shape[0])
        n, span = self.count, months.size
        jobs, stations = wanted.shape[1], len(self.routes.stations)
        wanted = np.broadcast_to(wanted, (n, jobs, span))
        output = Output(
            demand=wanted,
            made=np.zeros((n, len(self.routes.each), span)),
            bought_in=np.zeros((n, jobs, span)),
            refused=np.zeros((n, jobs, span)),
            overtime=np.zeros((n, span)),
            asked=np.zeros((n, stations, span)),
            used=np.zeros((n, stations, span)),
            available=_rows(self.hours.available[..., months], n),
            worth=np.zeros((n, stations, span)),
        )
        for scenarios, local in self._alike(months):
            _Block(self, output, scenarios, months[local], local).settle()
        load = _rows(self.routes.load, n)
        np.matmul(load.transpose(0, 2, 1), output.made, out=output.used)
        return output

    def _alike(self, months: npt.NDArray[np.intp]) -> Iterator[tuple[npt.NDArray[np.intp], slice]]:
        """Yield scenarios and months that share machines and price levels."""
        there = self.there[..., months]
        prices = self.prices
        levels = np.concatenate(
            [level[:, months] for level in (prices.sales, prices.materials, prices.wages)]
        )
        kind_of = np.zeros(self.count, dtype=np.intp)
        if there.shape[0] > 1:
            flat = there.reshape(there.shape[0], -1)
            kind_of = np.unique(flat, axis=0, return_inverse=True)[1].reshape(-1)
        for kind in range(int(kind_of.max()) + 1):
            scenarios = np.flatnonzero(kind_of == kind)
            members = scenarios if there.shape[0] > 1 else np.zeros(1, dtype=np.intp)
            changes = (np.diff(there[members[0]], axis=-1) != 0).any(axis=0)
            changes |= (np.diff(levels, axis=-1) != 0).any(axis=0)
            edges = [0, *(np.flatnonzero(changes) + 1), months.size]
            for first, last in pairwise(edges):
                yield scenarios, slice(first, last)


def _rows(array: npt.NDArray[Scalar], rows: int) -> npt.NDArray[Scalar]:
    return np.broadcast_to(array, (rows, *array.shape[1:]))


class _Block:
    """Scenarios × months with the same machines and price levels, g × t."""

    def __init__(
        self,
        program: _Program,
        output: Output,
        scenarios: npt.NDArray[np.intp],
        months: npt.NDArray[np.intp],
        local: slice,
    ) -> None:
        self.output = output
        self.local = local
        whole = scenarios.size == program.count
        self.scenarios: npt.NDArray[np.intp] | slice = slice(None) if whole else scenarios

        def rows(array: npt.NDArray[Scalar]) -> npt.NDArray[Scalar]:
            return _rows(array, program.count)[self.scenarios]

        routes = program.routes
        there = program.there[0 if program.there.shape[0] == 1 else scenarios[0], :, months[0]]
        gone = {place for place, here in enumerate(there) if not here}
        allowed = [v for v, route in enumerate(routes.each) if not route.machines & gone]
        self.allowed = np.array(allowed, dtype=np.intp)
        self.load = rows(routes.load)[:, self.allowed]
        self.makeable = rows(routes.makeable)[:, self.allowed]
        level = months[0]
        sales, materials, wages = (
            rows(part)[:, level, None]
            for part in (program.prices.sales, program.prices.materials, program.prices.wages)
        )
        job_of = routes.job_of[self.allowed]
        price = rows(program.price) * sales
        cost = rows(routes.direct_cost) * materials + rows(program.labour) * wages
        self.contribution = price[:, job_of] - cost[:, self.allowed]
        margin = price - rows(program.bought_in_price) * materials
        self.buys = program.can_buy & (margin > 0)
        self.outside = np.where(self.buys, margin, 0.0)
        self.can_buy = program.can_buy
        self.routes_of = [np.flatnonzero(job_of == j) for j in range(price.shape[1])]
        self.wanted = output.demand[self.scenarios][..., local]
        self.away = rows(program.away)
        self.available = rows(program.hours.available)[..., months]
        self.gained = rows(program.hours.gained)[..., months]
        self.overtime_limit = rows(program.overtime_limit)
        self.overtime_cost = rows(program.overtime_cost) * wages[:, 0]
        self._choose_best()

    def _choose_best(self) -> None:
        """Rank each type's routes by contribution; the first is taken where it beats buying in."""
        groups, jobs = self.outside.shape
        every = np.arange(groups)
        self.ranked: list[npt.NDArray[np.intp]] = []
        self.in_house = np.zeros((groups, jobs), dtype=bool)
        self.best_load = np.zeros((groups, jobs, self.load.shape[2]))
        self.best_contribution = np.zeros((groups, jobs))
        for j, choices in enumerate(self.routes_of):
            if not choices.size:
                self.ranked.append(np.zeros((groups, 0), dtype=np.intp))
                continue
            value = np.where(self.makeable[:, choices], self.contribution[:, choices], -np.inf)
            order = np.argsort(-value, axis=1, kind="stable")
            self.ranked.append(choices[order])
            best, most = choices[order[:, 0]], value[every, order[:, 0]]
            takes = most >= self.outside[:, j]
            self.in_house[:, j] = takes
            self.best_load[:, j] = np.where(takes[:, None], self.load[every, best], 0.0)
            self.best_contribution[:, j] = np.where(takes, most, 0.0)

    def settle(self) -> None:
        """Write the block's share of the output."""
        own = self.wanted * ((1.0 - self.away) * self.in_house)[:, :, None]
        asked = np.matmul(self.best_load.transpose(0, 2, 1), own)
        self.output.asked[self.scenarios, :, self.local] = asked
        full = asked > self.available * (1.0 + 1e-12)
        made = self._made_on_best(own)
        outside = self.wanted - own
        scenario, month = np.nonzero(full.any(axis=1))
        for start in range(0, scenario.size, _TOGETHER):
            some = slice(start, start + _TOGETHER)
            self._relieve(scenario[some], month[some], own, asked, made, outside)
        self._write(made, outside)

    def _made_on_best(self, own: FloatArray) -> FloatArray:
        made = np.zeros((own.shape[0], self.allowed.size, own.shape[2]))
        every = np.arange(own.shape[0])
        for j, ranked in enumerate(self.ranked):
            if ranked.shape[1] and (ranked[:, 0] == ranked[0, 0]).all():
                made[:, ranked[0, 0]] = own[:, j]
            elif ranked.shape[1]:
                made[every, ranked[:, 0]] = own[:, j]
        return made

    @cached_property
    def moves(self) -> list[tuple[int, int]]:
        """What can give way: (job type, rank of the route it moves to), 0 for giving up."""
        return [
            (j, rank) for j, ranked in enumerate(self.ranked) for rank in range(ranked.shape[1])
        ]

    @cached_property
    def move_table(self) -> tuple[FloatArray, FloatArray]:
        """Relief (k, moves, g) and loss (moves, g) by moving one order."""
        groups, _, stations = self.best_load.shape
        every = np.arange(groups)
        relief = np.zeros((stations, len(self.moves), groups))
        loss = np.zeros((len(self.moves), groups))
        for place, (j, rank) in enumerate(self.moves):
            can, freed, lost = (
                self.in_house[:, j],
                self.best_load[:, j],
                self.best_contribution[:, j],
            )
            if rank == 0:
                lost = lost - self.outside[:, j]
            else:
                route = self.ranked[j][:, rank]
                can = can & self.makeable[every, route]
                freed = freed - self.load[every, route]
                lost = lost - self.contribution[every, route]
            relief[:, place] = np.where(can[:, None], freed, 0.0).T
            loss[place] = np.where(can, lost, 0.0)
        return relief, loss

    def _relieve(
        self,
        scenario: npt.NDArray[np.intp],
        month: npt.NDArray[np.intp],
        own: FloatArray,
        asked: FloatArray,
        made: FloatArray,
        outside: FloatArray,
    ) -> None:
        """Fit full months into their hours; overtime is the last move."""
        relief, loss = self.move_table
        jobs = np.array([j for j, _ in self.moves], dtype=np.intp)
        orders = own[scenario, :, month].T[jobs]
        limit, cost = self.overtime_limit[scenario], self.overtime_cost[scenario]
        load, room = asked[scenario, :, month].T, self.available[scenario, :, month].T
        scale = np.maximum(np.maximum(load, room), 1.0)
        shared = [j for j, ranked in enumerate(self.ranked) if ranked.shape[1] > 1]
        rows, count = len(scale), scenario.size
        excess = np.full((rows + len(shared), count), -1.0)
        excess[:rows] = (load - room) / scale
        table = np.zeros((rows + len(shared), len(jobs) + 1, count))
        np.multiply(relief[:, :, scenario], orders, out=table[:rows, :-1])
        table[:rows, -1] = self.gained[scenario, :, month].T * limit
        table[:rows] /= scale[:, None]
        for row, j in enumerate(shared, start=rows):
            table[row, :-1][jobs == j] = -1.0
        losses = np.concatenate([loss[:, scenario] * orders, (cost * limit)[None]])
        found = least_loss_relief(excess, table, losses)
        moved = found.moves[:-1] * orders
        for place, (j, rank) in enumerate(self.moves):
            made[scenario, self.ranked[j][scenario, 0], month] -= moved[place]
            if rank == 0:
                outside[scenario, j, month] += moved[place]
            else:
                made[scenario, self.ranked[j][scenario, rank], month] += moved[place]
        every = np.arange(self.output.overtime.shape[0])[self.scenarios][scenario]
        at = np.arange(self.output.overtime.shape[1])[self.local][month]
        self.output.overtime[every, at] = found.moves[-1] * limit
        self.output.worth[every, :, at] = (found.worth[:rows] / scale).T

    def _write(self, made: FloatArray, outside: FloatArray) -> None:
        here = (self.scenarios, slice(None), self.local)
        if self.buys.all():
            self.output.bought_in[here] = outside
        else:
            away = self.wanted * (self.away * self.can_buy)[:, :, None]
            bought = np.where(self.buys[:, :, None], outside, away)
            self.output.bought_in[here] = bought
            self.output.refused[here] = outside - bought
        np.maximum(made, 0.0, out=made)
        if self.allowed.size == self.output.made.shape[1]:
            self.output.made[here] = made
        else:
            rows = np.arange(self.output.made.shape[0])[self.scenarios]
            months = np.arange(self.output.made.shape[2])[self.local]
            self.output.made[np.ix_(rows, self.allowed, months)] = made
