"""What one order costs to make in the house, on the best route, in one year.

Imports numpy and, of this folder, `outcome`; `capex.shopfloor`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt

from capex.decision.outcome import Details, of_scenario
from capex.errors import InputError
from capex.shopfloor.stations import at_work

__all__ = ["MakingCost", "making_cost", "months_of_year"]

FloatArray = npt.NDArray[np.float64]
Hindrance = Literal["no machine", "too wide", "no machine yet"]


@dataclass(frozen=True)
class MakingCost:
    """What one order of a type costs to make.

    Parameters
    ----------
    direct, labour : float
        Film, ink, wear, power; and people's time as far as it is redeployed when idle [currency].
    load : ndarray, shape (k,)
        Time at each station [s].
    """

    direct: float
    labour: float
    load: FloatArray

    @property
    def whole(self) -> float:
        """Both together [currency]: below this price it is cheaper to buy in."""
        return self.direct + self.labour


def months_of_year(details: Details, year: int, scenario: int = 0) -> slice:
    """Return the places (month 1 is 0) of a project year's months, up to the horizon.

    Raises
    ------
    InputError
        The year does not begin within the horizon.
    """
    horizon = int(of_scenario(details.ledger.horizon, scenario))
    if year < 1 or 12 * (year - 1) >= horizon:
        raise InputError("year", year, f"must be from 1 to {-(-horizon // 12)}, within the horizon")
    return slice(12 * (year - 1), min(12 * year, horizon))


def making_cost(
    details: Details, key: str, j: int, year: int = 1, scenario: int = 0
) -> MakingCost | Hindrance:
    """Return what an order of a type costs on the cheapest route of an alternative.

    The same weights as in the month's plan, at the price level of the year. Routes count whose
    machines are at work in the last month of the year.

    Parameters
    ----------
    details : Details
        The whole path of the alternative.
    key : str
        Of the alternative.
    j : int
        Place of the job type.
    year : int
        Project year, from 1.
    scenario : int
        Which scenario.

    Returns
    -------
    MakingCost or str
        Or why it cannot be made: no machine for it, too wide, or the machine comes later.

    Raises
    ------
    InputError
        The year does not begin within the horizon.
    """
    routes, study = details.routes, details.study
    months = months_of_year(details, year, scenario)
    ways = np.flatnonzero(routes.job_of == j)
    if not ways.size:
        return "no machine"
    ways = ways[of_scenario(routes.makeable, scenario)[ways]]
    if not ways.size:
        return "too wide"
    last = details.prices.sales.shape[1]
    there = [
        bool(of_scenario(at_work(study, placement, last), scenario)[months.stop - 1])
        for placement in study.alternatives[key].machines
    ]
    ways = np.array(
        [v for v in ways if all(there[place] for place in routes.each[v].machines)], dtype=np.intp
    )
    if not ways.size:
        return "no machine yet"
    material = of_scenario(details.prices.materials, scenario)[months.start]
    wages = of_scenario(details.prices.wages, scenario)[months.start]
    load = of_scenario(routes.load, scenario)[ways]
    of_people = [place.placement is None for place in routes.stations]
    people = study.shop.people
    paid = people.wage.si * people.on_cost_factor.si * people.idle_time_redeployed.si
    labour = load[:, of_people].sum(axis=1) * of_scenario(paid, scenario) * wages
    direct = of_scenario(routes.direct_cost, scenario)[ways] * material
    best = int(np.argmin(direct + labour))
    return MakingCost(float(direct[best]), float(labour[best]), load[best])
