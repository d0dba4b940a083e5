"""Settle scenarios and months that share machines and price levels.

Everything is made on its most profitable route while the hours last. Where a month is too full,
orders give way, move to another machine or the shop works overtime, at the least loss of
contribution (`capex.shopfloor.allocation`).

Imports numpy and, of this folder, `allocation`, `output` and `program`.
"""

from __future__ import annotations

from functools import cached_property
from typing import Final, TypeVar

import numpy as np
import numpy.typing as npt

from capex.shopfloor.allocation import least_loss_relief
from capex.shopfloor.arrays import FloatArray, over_scenarios
from capex.shopfloor.output import Output
from capex.shopfloor.program import Program

__all__ = ["Block"]

Scalar = TypeVar("Scalar", bound=np.generic)

#: Programmes solved together; more would not fit the processor's cache.
_TOGETHER: Final = 2048


class Block:
    """Scenarios × months with the same machines and price levels, g × t."""

    def __init__(
        self,
        program: Program,
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
            return over_scenarios(array, program.count)[self.scenarios]

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

    @cached_property
    def move_loads(self) -> npt.NDArray[np.bool_]:
        """Whether some move takes hours of a station instead of relieving it, shape (k,)."""
        return np.asarray((self.move_table[0] < 0).any(axis=(1, 2)))

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
        # a station with room, that no move loads, stays out of the programmes
        tight = np.flatnonzero((load > room).any(axis=1) | self.move_loads)
        load, room = load[tight], room[tight]
        scale = np.maximum(np.maximum(load, room), 1.0)
        shared = [j for j, ranked in enumerate(self.ranked) if ranked.shape[1] > 1]
        rows, count = tight.size, scenario.size
        excess = np.full((rows + len(shared), count), -1.0)
        table = np.zeros((rows + len(shared), len(jobs) + 1, count))
        np.multiply(relief[tight].take(scenario, axis=2), orders, out=table[:rows, :-1])
        table[:rows, -1] = self.gained[scenario, :, month].T[tight] * limit
        # a station without hours would else lose its small figures to rounding
        scale = np.maximum(scale, np.abs(table[:rows]).max(axis=1, initial=0.0))
        table[:rows] /= scale[:, None]
        excess[:rows] = (load - room) / scale
        for row, j in enumerate(shared, start=rows):
            table[row, :-1][jobs == j] = -1.0
        losses = np.concatenate([loss.take(scenario, axis=1) * orders, (cost * limit)[None]])
        found = least_loss_relief(excess, table, losses)
        self._move(scenario, month, found.moves[:-1] * orders, made, outside)
        every = np.arange(self.output.overtime.shape[0])[self.scenarios][scenario]
        at = np.arange(self.output.overtime.shape[1])[self.local][month]
        self.output.overtime[every, at] = found.moves[-1] * limit
        self.output.worth[every[:, None], tight, at[:, None]] = (found.worth[:rows] / scale).T

    def _move(
        self,
        scenario: npt.NDArray[np.intp],
        month: npt.NDArray[np.intp],
        moved: FloatArray,
        made: FloatArray,
        outside: FloatArray,
    ) -> None:
        """Take orders off their best route, onto another or out of the house."""
        for place, (j, rank) in enumerate(self.moves):
            made[scenario, self.ranked[j][scenario, 0], month] -= moved[place]
            if rank == 0:
                outside[scenario, j, month] += moved[place]
            else:
                made[scenario, self.ranked[j][scenario, rank], month] += moved[place]

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
