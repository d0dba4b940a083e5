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
        months: slice,
        local: slice,
    ) -> None:
        self.output = output
        self.whole = scenarios.size == program.count
        self.scenarios: npt.NDArray[np.intp] | slice = slice(None) if self.whole else scenarios
        self.local = local
        months = slice(months.start + local.start, months.start + local.stop)

        def rows(array: npt.NDArray[Scalar]) -> npt.NDArray[Scalar]:
            return over_scenarios(array, program.count)[self.scenarios]

        routes, level = program.routes, months.start
        self.load = rows(routes.load)
        self.makeable = rows(routes.makeable)
        sales, materials, wages = (
            rows(part)[:, level, None]
            for part in (program.prices.sales, program.prices.materials, program.prices.wages)
        )
        price = rows(program.price) * sales
        cost = rows(routes.direct_cost) * materials + rows(program.labour) * wages
        self.contribution = price[:, routes.job_of] - cost
        margin = price - rows(program.bought_in_price) * materials
        self.buys = program.can_buy & (margin > 0)
        self.outside = np.where(self.buys, margin, 0.0)
        self.can_buy = program.can_buy
        self.routes_of = _open_routes(program, scenarios[0], level)
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
        self.best_contribution = np.zeros((groups, jobs))
        for j, choices in enumerate(self.routes_of):
            if not choices.size:
                self.ranked.append(np.zeros((groups, 0), dtype=np.intp))
                continue
            value = np.where(self.makeable[:, choices], self.contribution[:, choices], -np.inf)
            order = np.argsort(-value, axis=1, kind="stable")
            self.ranked.append(choices[order])
            most = value[every, order[:, 0]]
            takes = most >= self.outside[:, j]
            self.in_house[:, j] = takes
            self.best_contribution[:, j] = np.where(takes, most, 0.0)

    def settle(self) -> None:
        """Write the block's share of the output: straight into it where that has no gaps."""
        here = (self.scenarios, slice(None), self.local)
        output = self.output
        names = ("made", "bought_in", "refused", "asked")
        made, outside, refused, asked = (getattr(output, name)[here] for name in names)
        wanted = output.demand[here]
        self._make_on_best(wanted, made, outside)
        np.matmul(self.load.transpose(0, 2, 1), made, out=asked)
        full = (asked > self.available * (1.0 + 1e-12)).any(axis=1)
        scenario, month = np.nonzero(full)
        for start in range(0, scenario.size, _TOGETHER):
            some = slice(start, start + _TOGETHER)
            self._relieve(scenario[some], month[some], asked, made, outside)
        self._refuse(wanted, outside, refused)
        if not self.whole:
            for name, part in zip(names, (made, outside, refused, asked), strict=True):
                getattr(output, name)[here] = part

    def _make_on_best(self, wanted: FloatArray, made: FloatArray, outside: FloatArray) -> None:
        """Make everything on its best route but what always leaves the house."""
        every = np.arange(len(wanted))
        share = (1.0 - self.away) * self.in_house
        for j, ranked in enumerate(self.ranked):
            own = wanted[:, j] * share[:, j, None]
            np.subtract(wanted[:, j], own, out=outside[:, j])
            if not ranked.shape[1]:
                continue
            alike = (ranked[:, 0] == ranked[0, 0]).all()
            made[slice(None) if alike else every, ranked[0, 0] if alike else ranked[:, 0]] = own

    @cached_property
    def moves(self) -> list[tuple[int, int]]:
        """What can give way: (job type, rank of the route it moves to), 0 for giving up."""
        return [
            (j, rank) for j, ranked in enumerate(self.ranked) for rank in range(ranked.shape[1])
        ]

    @cached_property
    def move_table(self) -> tuple[FloatArray, FloatArray]:
        """Relief (k, moves, g) and loss (moves, g) by moving one order."""
        groups, _, stations = self.load.shape
        every = np.arange(groups)
        relief = np.zeros((stations, len(self.moves), groups))
        loss = np.zeros((len(self.moves), groups))
        for place, (j, rank) in enumerate(self.moves):
            can, freed, lost = (
                self.in_house[:, j],
                self.load[every, self.ranked[j][:, 0]],
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
        asked: FloatArray,
        made: FloatArray,
        outside: FloatArray,
    ) -> None:
        """Fit full months into their hours; overtime is the last move."""
        relief, loss = self.move_table
        jobs = np.array([j for j, _ in self.moves], dtype=np.intp)
        orders = np.stack([made[scenario, self.ranked[j][scenario, 0], month] for j in jobs])
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
            best = (scenario, self.ranked[j][scenario, 0], month)
            made[best] = np.maximum(made[best] - moved[place], 0.0)
            if rank == 0:
                outside[scenario, j, month] += moved[place]
            else:
                made[scenario, self.ranked[j][scenario, rank], month] += moved[place]

    def _refuse(self, wanted: FloatArray, outside: FloatArray, refused: FloatArray) -> None:
        """Leave outside what is bought in; what no margin pays for is refused."""
        for j in np.flatnonzero(~self.buys.all(axis=0)):
            away = wanted[:, j] * (self.away[:, j] * self.can_buy[j])[:, None]
            bought = np.where(self.buys[:, j, None], outside[:, j], away)
            np.subtract(outside[:, j], bought, out=refused[:, j])
            outside[:, j] = bought


def _open_routes(program: Program, scenario: np.intp, month: int) -> list[npt.NDArray[np.intp]]:
    """Return each job type's routes on machines that are there in a month."""
    there = program.there[min(int(scenario), len(program.there) - 1), :, month]
    gone = {place for place, here in enumerate(there) if not here}
    found: list[list[int]] = [[] for _ in program.can_buy]
    for v, route in enumerate(program.routes.each):
        if not route.machines & gone:
            found[route.job].append(v)
    return [np.array(some, dtype=np.intp) for some in found]
