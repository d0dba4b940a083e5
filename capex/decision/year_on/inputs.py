"""Which inputs of a study a ratio of actual to plan moves, and to what.

Imports `capex.study` and, of this folder, `estimates` and `variances`.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Final

import numpy as np
import numpy.typing as npt

from capex.decision.year_on.estimates import Ratio, Trend
from capex.study import Study
from capex.study.actuals import Actuals

__all__ = ["KINDS", "inputs_of", "mix_ratios", "moved_inputs", "shifted_growth", "yearly_growth"]

FloatArray = npt.NDArray[np.float64]

#: What can be re-estimated, as a person calls it.
KINDS: Final = {
    "demand": "Orders", "price": "Prices", "materials": "Material prices and usage",
    "bought_in": "Prices of bought-in work", "wages": "Wage rate", "upkeep": "Upkeep of machines",
    "repair": "Time to repair",
}  # fmt: skip


def inputs_of(study: Study, key: str, *, every_machine: bool = False) -> tuple[str, ...]:
    """Return the paths of the inputs that one kind moves, all by the same ratio.

    Upkeep and repair are known of the machines of the choice that was made only; electricity and
    insurance are the shop's. Upkeep has all of its inputs moved, so that the line moves by it.

    Parameters
    ----------
    study : Study
        With actuals.
    key : str
        One of `KINDS`.
    every_machine : bool
        Whether those of the other choices move along.

    Examples
    --------
    >>> from capex.study import data_folder, read_study
    >>> inputs_of(read_study(data_folder() / "studies" / "quenlow.toml"), "wages")
    ('shop.people.wage',)
    """
    return tuple(_inputs(study, key, every_machine=every_machine))


def _inputs(study: Study, key: str, *, every_machine: bool) -> Iterator[str]:
    made = study.actuals.choice if study.actuals is not None else study.baseline
    choices = study.alternatives.values() if every_machine else [study.alternatives[made]]
    machines = list(dict.fromkeys(one.machine for choice in choices for one in choice.machines))
    if key in ("demand", "price"):
        yield f"levers.{key}"
    elif key == "wages":
        yield "shop.people.wage"
    elif key == "materials":
        yield from (f"films.{name}.price" for name in study.films)
        yield from (f"inks.{name}.price" for name in study.inks)
        yield from (f"jobs.{name}.other_cost" for name, job in study.jobs.items() if job.other_cost)
    elif key == "bought_in":
        priced = (name for name, job in study.jobs.items() if job.bought_in_price)
        yield from (f"jobs.{name}.bought_in_price" for name in priced)
    elif key == "repair":
        yield from (f"machines.{name}.mean_time_to_repair" for name in machines)
    elif key == "upkeep":
        yield from ("shop.premises.electricity", "shop.premises.insurance")
        for name in machines:
            yield f"machines.{name}.service"
            if study.machines[name].printing is not None:
                yield f"machines.{name}.printing.head_price"
            if study.machines[name].cutting is not None:
                yield f"machines.{name}.cutting.blade_price"


def yearly_growth(study: Study) -> float:
    """Return the growth of all orders together, weighted by the orders of today [-]."""
    orders = np.array([job.orders_per_month.likely for job in study.jobs.values()])
    growth = np.array([job.growth.likely for job in study.jobs.values()])
    total = float(orders.sum())
    mean = float(orders @ growth) / total if total > 0 else 0.0
    return mean + study.levers.growth_shift.likely


def mix_ratios(study: Study, actuals: Actuals, places: Sequence[int],
               planned: FloatArray) -> dict[str, float]:  # fmt: skip
    """Return how each job type's share of the orders stands to the planned one.

    Parameters
    ----------
    study : Study
    actuals : Actuals
    places : sequence of int
        Month of the plan of each record.
    planned : ndarray, shape (j, m)
        Orders.

    Returns
    -------
    dict of str to float
        By job type; empty unless every month has orders by job type. Types without planned orders
        are left as they are.
    """
    if not places or not all(month.orders_by_job for month in actuals.months):
        return {}
    before = planned[:, np.array(places) - 1].sum(axis=1)
    after = np.array([sum(month.orders_by_job.get(job, 0.0) for month in actuals.months)
                      for job in study.jobs])  # fmt: skip
    if after.sum() <= 0:
        return {}
    overall = float(after.sum() / before.sum())
    return {job: float(after[j] / before[j] / overall)
            for j, job in enumerate(study.jobs) if before[j] > 0}  # fmt: skip


def moved_inputs(study: Study, ratios: Mapping[str, Ratio], trend: Trend | None,
                 mix: Mapping[str, float]) -> dict[str, float]:  # fmt: skip
    """Return the re-estimated inputs by path, canonical units.

    Parameters
    ----------
    study : Study
    ratios : mapping of str to Ratio
        By kind.
    trend : Trend or None
        Where it counts, the orders begin at its start and grow by it.
    mix : mapping of str to float
        By job type; see `mix_ratios`.
    """
    values = {}
    for key, found in ratios.items():
        for path in inputs_of(study, key):
            values[path] = study.quantity(path).likely * found.value
    if trend is not None and trend.counts and "demand" in ratios:
        values["levers.demand"] = study.levers.demand.likely * trend.start
        values["levers.growth_shift"] = shifted_growth(study, trend.yearly)
    for job, share in mix.items():
        path = f"jobs.{job}.orders_per_month"
        values[path] = study.quantity(path).likely * share
    return values


def shifted_growth(study: Study, yearly: float) -> float:
    """Return the lever on growth at which all orders grow by so much more a year.

    Exact where all job types grow alike.
    """
    return study.levers.growth_shift.likely + (1.0 + yearly_growth(study)) * (yearly - 1.0)
