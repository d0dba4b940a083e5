"""What the plan has for every month in the figures that an owner can count: volumes and costs.

Imports numpy, `capex.shopfloor`, `capex.finance` and `capex.decision.outcome`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from capex.decision.outcome import Outcome, of_scenario
from capex.finance.ledger import Group
from capex.shopfloor.content import COSTS
from capex.shopfloor.stations import at_work, machine_day

__all__ = ["FIGURES", "PlannedMonths", "planned_months"]

FloatArray = npt.NDArray[np.float64]

#: Figures of a month in the order in which they are shown, as `capex.study.actuals` names them.
FIGURES: Final = (
    "orders", "sales", "materials", "bought_in", "wages", "hours_paid", "upkeep", "downtime",
)  # fmt: skip

#: Group of the ledger that each cost is.
_GROUPS: Final[dict[str, Group]] = {
    "materials": "materials", "bought_in": "bought-in work", "wages": "people",
    "upkeep": "machines",
}  # fmt: skip
#: Direct costs of an order by figure; those of upkeep have service and others beside them.
_DIRECT: Final = {
    "materials": [COSTS.index(cost) for cost in ("film", "ink", "laminate", "spoil", "other")],
    "upkeep": [COSTS.index(cost) for cost in ("heads", "blades", "power")],
}  # fmt: skip


@dataclass(frozen=True)
class PlannedMonths:
    """One alternative in one scenario; costs are positive here, as an owner counts them.

    Parameters
    ----------
    total : dict of str to ndarray, shape (m,)
        By figure: orders, money, or time [s].
    by_job : dict of str to ndarray, shape (j, m)
        Of orders, sales, materials and bought-in work, and of the heads, blades and power that
        belong to the upkeep: what follows the orders.
    price : ndarray, shape (j, m)
        Of an order, whether any is sold or not [currency].
    scheduled : ndarray, shape (m,)
        Staffed time of all machines together, broken or not [s].
    """

    total: dict[str, FloatArray]
    by_job: dict[str, FloatArray]
    price: FloatArray
    scheduled: FloatArray


def planned_months(outcome: Outcome, scenario: int = 0) -> PlannedMonths:
    """Return what the plan has for months 1 … m.

    Parameters
    ----------
    outcome : Outcome
        With its details.
    scenario : int

    Returns
    -------
    PlannedMonths
        Money is read off the ledger.

    Raises
    ------
    InputError
        An appraisal that kept only cash.

    Examples
    --------
    >>> from capex.decision.appraise import appraise
    >>> from capex.study import data_folder, read_study
    >>> study = read_study(data_folder() / "studies" / "quenlow.toml")
    >>> plan = planned_months(appraise(study).outcomes["all_in_one"])
    >>> plan.total["orders"].shape, float(plan.total["orders"][0].round(1))
    ((84,), 124.3)
    """
    path = outcome.path
    orders = of_scenario(path.output.demand - path.output.refused, scenario)
    level = of_scenario(path.prices.sales, scenario)
    price = of_scenario(path.mix.price, scenario)[:, None] * level
    sales = np.stack([of_scenario(path.ledger.line(f"sales.{key}"), scenario)[1:]
                      for key in path.mix.keys])  # fmt: skip
    total = {"orders": orders.sum(axis=0), "sales": sales.sum(axis=0)}
    for name, group in _GROUPS.items():
        total[name] = -of_scenario(path.ledger.group(group), scenario)[1:]
    total["hours_paid"] = _hours_paid(outcome, scenario)
    scheduled, total["downtime"] = _machine_time(outcome, scenario)
    by_job = {"orders": orders, "sales": sales} | _costs_by_job(outcome, scenario)
    return PlannedMonths({name: total[name] for name in FIGURES}, by_job, price, scheduled)


def _costs_by_job(outcome: Outcome, scenario: int) -> dict[str, FloatArray]:
    path = outcome.path
    level = of_scenario(path.prices.materials, scenario)
    made = of_scenario(path.output.made, scenario)
    of_job = path.routes.job_of == np.arange(len(path.mix.keys))[:, None]
    bought = of_scenario(path.output.bought_in, scenario)
    price = of_scenario(path.mix.bought_in_price, scenario)[:, None]
    found = {"bought_in": bought * price * level}
    for name, costs in _DIRECT.items():
        each = of_scenario(path.routes.costs[:, costs].sum(axis=1), scenario)
        found[name] = of_job @ (each[:, None] * made) * level
    return found


def _hours_paid(outcome: Outcome, scenario: int) -> FloatArray:
    """Return hours that are paid, those of overtime once each, shape (m,) [s]."""
    path = outcome.path
    people = path.study.shop.people
    wage = people.wage.si * people.on_cost_factor.si
    level = of_scenario(path.prices.wages, scenario)
    rate = float(of_scenario(wage, scenario)) * level
    persons = float(of_scenario(people.operators.si + people.finishers.si, scenario))
    paid = -of_scenario(path.ledger.line("wages"), scenario)[1:]
    normal = np.divide(paid, rate, out=np.zeros_like(paid), where=rate > 0)
    hours: FloatArray = normal + of_scenario(path.output.overtime, scenario) * persons
    return hours


def _machine_time(outcome: Outcome, scenario: int) -> tuple[FloatArray, FloatArray]:
    """Return staffed time of all machines, and how much of it they are broken, shape (m,) [s].

    Scheduled time × MTTR/(MTBF + MTTR) × number of machines.
    """
    study = outcome.path.study
    months = outcome.net_cash_flow.shape[1] - 1
    days = study.shop.hours.days_per_month.si
    scheduled, broken = np.zeros(months), np.zeros(months)
    for placement in study.alternatives[outcome.key].machines:
        machine = study.machines[placement.machine]
        repair = machine.mean_time_to_repair.si
        share = repair / (machine.mean_time_between_failures.si + repair)
        day = machine_day(study, machine) * days * placement.count.si
        there = of_scenario(at_work(study, placement, months), scenario)
        time = float(of_scenario(day, scenario)) * there
        scheduled = scheduled + time
        broken = broken + time * float(of_scenario(share, scenario))
    return scheduled, broken
