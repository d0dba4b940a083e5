"""Make or buy by job type: what an order leaves made in the house, and bought in.

Imports numpy and, of this folder, `making_cost` and `outcome`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from capex.decision.making_cost import making_cost, months_of_year
from capex.decision.outcome import Outcome, of_scenario

__all__ = ["MakeOrBuy", "make_or_buy"]

_REASONS: Final = {
    "no machine": "no machine of this choice can do it",
    "too wide": "the piece or its roll is too wide for the machines, or too hard to cut",
    "no machine yet": "a machine that it needs is not at work in this year",
    "no price": "the study has no price to buy it in at",
}


@dataclass(frozen=True)
class MakeOrBuy:
    """One order of a job type made in the house against bought in, at a year's price level.

    Before people paid anyway, room and the machines' standing cost, which neither choice moves.

    Parameters
    ----------
    job, name : str
        Key and name of the type.
    orders : float
        Asked for in the year [-].
    price : float
        Selling price of an order [currency].
    direct_cost, labour : float or None
        Of making an order: material, wear and power; and people's time as far as idle time is
        redeployed [currency]. None where it cannot be made.
    station : str or None
        The tightest station of the alternative, by name.
    station_hours : float or None
        Of an order at that station [h].
    bought_in_price : float or None
        [currency]; None where the study has none.
    cannot_make, cannot_buy : str or None
        Why not, for people to read.
    """

    job: str
    name: str
    orders: float
    price: float
    direct_cost: float | None
    labour: float | None
    station: str | None
    station_hours: float | None
    bought_in_price: float | None
    cannot_make: str | None = None
    cannot_buy: str | None = None

    @property
    def break_even_price(self) -> float | None:
        """Bought-in price at which both choices leave the same [currency]."""
        if self.direct_cost is None or self.labour is None:
            return None
        return self.direct_cost + self.labour

    @property
    def made(self) -> float | None:
        """What an order leaves if it is made [currency]."""
        cost = self.break_even_price
        return None if cost is None else self.price - cost

    @property
    def bought(self) -> float | None:
        """What an order leaves if it is bought in [currency]."""
        return None if self.bought_in_price is None else self.price - self.bought_in_price

    @property
    def difference(self) -> float | None:
        """What making an order leaves more than buying it in [currency]."""
        cost = self.break_even_price
        if cost is None or self.bought_in_price is None:
            return None
        return self.bought_in_price - cost

    @property
    def yearly_difference(self) -> float | None:
        """The same for all orders of the year [currency/year]."""
        return None if self.difference is None else self.difference * self.orders

    @property
    def difference_per_hour(self) -> float | None:
        """What an hour of the tightest station brings by making [currency/h].

        Where hours run out, the types with the least should leave the house first. None where
        the type needs no time there.
        """
        if self.difference is None or not self.station_hours:
            return None
        return self.difference / self.station_hours


def make_or_buy(outcome: Outcome, year: int = 1, scenario: int = 0) -> tuple[MakeOrBuy, ...]:
    """Return every job type made in the house against bought in.

    Parameters
    ----------
    outcome : Outcome
        With its details.
    year : int
        Project year whose volume and price level are taken, from 1. A year that the horizon cuts
        short has the orders of its months only.
    scenario : int
        Which scenario.

    Returns
    -------
    tuple of MakeOrBuy
        In the order of the job types.

    Raises
    ------
    InputError
        An appraisal that kept only cash, or a year beyond the horizon.

    Examples
    --------
    >>> from capex.decision.appraise import appraise
    >>> from capex.study import data_folder, read_study
    >>> study = read_study(data_folder() / "studies" / "quenlow.toml")
    >>> found = make_or_buy(appraise(study).outcomes["all_in_one"])
    >>> badge = next(item for item in found if item.job == "fleet_badges")
    >>> bool(badge.difference > 0)
    True
    """
    details = outcome.path
    mix, level = details.mix, details.prices
    months = months_of_year(details, year, scenario)
    tightest = int(of_scenario(outcome.tightest_station, scenario))
    station = outcome.stations[tightest].name
    demand = of_scenario(details.output.demand, scenario)[:, months].sum(axis=1)
    sales = float(of_scenario(level.sales, scenario)[months.start])
    materials = float(of_scenario(level.materials, scenario)[months.start])
    price = np.asarray(of_scenario(mix.price, scenario)) * sales
    outside = np.asarray(of_scenario(mix.bought_in_price, scenario)) * materials
    found = []
    for j, (key, job) in enumerate(zip(mix.keys, mix.jobs, strict=True)):
        cost = making_cost(details, outcome.key, j, year, scenario)
        can_make, can_buy = not isinstance(cost, str), bool(mix.can_be_bought_in[j])
        found.append(
            MakeOrBuy(
                job=key,
                name=job.name,
                orders=float(demand[j]),
                price=float(price[j]),
                direct_cost=None if isinstance(cost, str) else cost.direct,
                labour=None if isinstance(cost, str) else cost.labour,
                station=station if can_make else None,
                station_hours=(
                    None if isinstance(cost, str) else float(cost.load[tightest]) / 3600.0
                ),
                bought_in_price=float(outside[j]) if can_buy else None,
                cannot_make=_REASONS[cost] if isinstance(cost, str) else None,
                cannot_buy=None if can_buy else _REASONS["no price"],
            )
        )
    return tuple(found)
