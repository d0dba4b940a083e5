"""The monthly programmes of one alternative: what a month may make, from what, for how much.

Imports numpy, `capex.study` and the files of this folder.
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from capex.shopfloor.arrays import side_by_side
from capex.shopfloor.demand import always_bought_in
from capex.shopfloor.mix import Mix
from capex.shopfloor.prices import Prices
from capex.shopfloor.routes import Routes
from capex.shopfloor.stations import Calendar, at_work
from capex.study import Alternative, Study

__all__ = ["Program"]


class Program:
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
        redeployed = people.idle_time_redeployed.si
        self.labour = redeployed[:, None] * wage[:, None] * attended
        self.overtime_limit = study.shop.hours.overtime_per_month.si
        persons = people.operators.si + people.finishers.si
        # what is idle in overtime is redeployed too, so overtime costs so much less
        premium = study.shop.hours.overtime_premium.si - redeployed
        self.overtime_cost = persons * wage * premium
        months = prices.sales.shape[-1]
        there = [at_work(study, placement, months) for placement in alternative.machines]
        self.there = side_by_side(there) if there else np.ones((1, 0, months), dtype=bool)
        sizes = [
            part.shape[0]
            for part in (
                routes.load, routes.direct_cost, routes.makeable, self.price, self.away,
                self.bought_in_price, self.labour, prices.sales, prices.materials, prices.wages,
                hours.available, hours.gained, self.there, self.overtime_limit, self.overtime_cost,
            )
        ]  # fmt: skip
        self.count = max(sizes)

    def alike(self, months: slice) -> Iterator[tuple[npt.NDArray[np.intp], slice]]:
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
            edges = [0, *(np.flatnonzero(changes) + 1), there.shape[-1]]
            for first, last in pairwise(edges):
                yield scenarios, slice(first, last)
