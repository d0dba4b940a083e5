"""What each job type takes and earns under an alternative, and why it is not made in the house.

Imports numpy, `capex.study`, `capex.shopfloor` and `capex.decision.outcome`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt

from capex.decision.outcome import Details, Outcome, of_scenario
from capex.errors import InputError
from capex.shopfloor.demand import always_bought_in
from capex.shopfloor.missing import Missing, missing_functions
from capex.shopfloor.operations import Operation
from capex.shopfloor.stations import at_work

__all__ = ["Elsewhere", "Stage", "job_stages", "jobs_made_elsewhere", "yearly_contribution"]

FloatArray = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Stage:
    """One operation of an order, as seconds.

    Parameters
    ----------
    name : str
        Of the operation.
    station : str or None
        Machine it holds, by name; None where it is people's work or a wait.
    busy, attended, wait : float
        [s]; see `capex.shopfloor.operations.Operation`.
    """

    name: str
    station: str | None
    busy: float
    attended: float
    wait: float

    @property
    def elapsed(self) -> float:
        """How long the order is in this stage, with nothing in its way [s]."""
        return max(self.busy, self.attended) + self.wait


Reason = Literal[
    "no machine", "too wide", "cheaper bought in", "loses money", "as the study says",
    "no machine yet", "no hours left",
]  # fmt: skip


@dataclass(frozen=True)
class Elsewhere:
    """Work of one type that an alternative does not make in the house.

    Parameters
    ----------
    job, name : str
        Key and name of the type.
    reason : str
        Why: one of `Reason`.
    share : float
        Of the type's orders up to the horizon, from 0 to 1.
    bought_in : bool
        Whether it is bought in; otherwise it is refused.
    missing : tuple of str
        Where there is no machine: the functions that none of them has.
    """

    job: str
    name: str
    reason: Reason
    share: float
    bought_in: bool
    missing: Missing = ()


def job_stages(outcome: Outcome, job: str, scenario: int = 0) -> tuple[Stage, ...]:
    """Return the operations of one order of a type on the route that makes most of it.

    The laminated route is shown where at least half of the type's orders are laminated. Empty
    where the alternative cannot make the type.

    Parameters
    ----------
    outcome : Outcome
        With its details.
    job : str
        Key of the job type.
    scenario : int
        Which scenario.

    Returns
    -------
    tuple of Stage
        In order; operations that take nothing are left out.

    Raises
    ------
    InputError
        Unknown job type, or an appraisal that kept only cash.

    Examples
    --------
    >>> from capex.decision.appraise import appraise
    >>> from capex.study import data_folder, read_study
    >>> study = read_study(data_folder() / "studies" / "quenlow.toml")
    >>> [stage.name for stage in job_stages(appraise(study).baseline, "banners")][:3]
    ['set up the order', 'load and check', 'print']
    """
    details = outcome.path
    mix, routes = details.mix, details.routes
    if job not in mix.keys:
        raise InputError("job", job, f"is not a job type; known: {', '.join(mix.keys)}")
    j = mix.keys.index(job)
    ways = [v for v, route in enumerate(routes.each) if route.job == j]
    able = [v for v in ways if of_scenario(routes.makeable, scenario)[v]]
    if not able:
        return ()
    made = of_scenario(details.output.made, scenario).sum(axis=1)
    v = max(able, key=lambda way: (made[way], -way))
    route, content = routes.each[v], routes.contents[v]
    laminated = of_scenario(mix.laminated, scenario)[j] >= 0.5
    done = content.operations.laminated if laminated else content.operations.plain
    names = {place.placement: place.name for place in routes.stations if place.work == "machine"}
    stations = {
        "print": names.get(route.print),
        "laminate": names.get(route.laminate),
        "cut": names.get(route.cut),
    }
    stages = (_stage(operation, stations, j, scenario) for operation in done)
    return tuple(stage for stage in stages if stage.elapsed > 0)


def _stage(operation: Operation, stations: dict[str, str | None], j: int, scenario: int) -> Stage:
    return Stage(
        operation.name,
        stations[operation.at] if operation.at is not None else None,
        float(of_scenario(operation.busy, scenario)[j]),
        float(of_scenario(operation.attended, scenario)[j]),
        float(of_scenario(operation.wait, scenario)[j]),
    )


def yearly_contribution(outcome: Outcome) -> FloatArray:
    """Return sales less direct and bought-in cost by type, a year on average, shape (n, j).

    Nominal, before people, room, machines' standing cost and tax; months up to the horizon.

    Parameters
    ----------
    outcome : Outcome
        With its details.

    Returns
    -------
    ndarray, shape (n, j) [currency/year]

    Raises
    ------
    InputError
        An appraisal that kept only cash.

    Examples
    --------
    >>> from capex.decision.appraise import appraise
    >>> from capex.study import data_folder, read_study
    >>> study = read_study(data_folder() / "studies" / "quenlow.toml")
    >>> yearly_contribution(appraise(study).baseline).shape
    (1, 10)
    """
    details = outcome.path
    output, mix, routes, ledger = details.output, details.mix, details.routes, details.ledger
    months = np.arange(1, output.demand.shape[2] + 1) <= ledger.horizon[:, None]
    rates = details.prices
    per_route = routes.direct_cost[:, :, None] * output.made * rates.materials[:, None]
    shape = (per_route.shape[0], len(mix.keys), per_route.shape[2])
    direct = np.zeros(shape)
    for v, j in enumerate(routes.job_of):
        direct[:, j] += per_route[:, v]
    sold = (output.demand - output.refused) * mix.price[:, :, None] * rates.sales[:, None]
    bought = output.bought_in * mix.bought_in_price[:, :, None] * rates.materials[:, None]
    total = ((sold - bought - direct) * months[:, None]).sum(axis=2)
    return np.asarray(total * 12.0 / ledger.horizon[:, None])


def jobs_made_elsewhere(outcome: Outcome, scenario: int = 0) -> tuple[Elsewhere, ...]:
    """Return what an alternative does not make in the house, by type and reason.

    Parameters
    ----------
    outcome : Outcome
        With its details.
    scenario : int
        Which scenario.

    Returns
    -------
    tuple of Elsewhere
        In the order of the job types; shares below half a per cent are left out.

    Raises
    ------
    InputError
        An appraisal that kept only cash.

    Examples
    --------
    >>> from capex.decision.appraise import appraise
    >>> from capex.study import data_folder, read_study
    >>> study = read_study(data_folder() / "studies" / "quenlow.toml")
    >>> jobs_made_elsewhere(appraise(study).outcomes["all_in_one"])[0].reason
    'cheaper bought in'
    """
    details = outcome.path
    mix, output = details.mix, details.output
    months = int(of_scenario(details.ledger.horizon, scenario))
    demand = of_scenario(output.demand, scenario)[:, :months].sum(axis=1)
    made = of_scenario(output.made, scenario)[:, :months].sum(axis=1)
    bought = of_scenario(output.bought_in, scenario)[:, :months].sum(axis=1)
    away = of_scenario(always_bought_in(mix, details.study.alternatives[outcome.key]), scenario)
    there = _machines_there(details, outcome.key, scenario)[:, :months]
    missing = missing_functions(details.study, mix, details.study.alternatives[outcome.key])
    found = []
    for j, (key, job) in enumerate(zip(mix.keys, mix.jobs, strict=True)):
        ways = np.flatnonzero(details.routes.job_of == j)
        if demand[j] <= 0:
            continue
        said, absent = float(away[j]), _without_machine(details, ways, there, scenario)
        if made[ways].sum() <= 0:
            reason: Reason = "as the study says"
            if said < 1.0:
                reason = _never_made(details, j, ways, scenario)
                can = reason not in ("no machine", "too wide")
                reason = "no machine yet" if can and absent.all() else reason
            lacks = missing.get(key, ()) if reason == "no machine" else ()
            found.append(Elsewhere(key, job.name, reason, 1.0, bool(bought[j] > 0), lacks))
            continue
        if said > _NOTABLE:
            found.append(Elsewhere(key, job.name, "as the study says", said, bought_in=True))
        asked, out = (
            float(of_scenario(part, scenario)[j, :months] @ absent) / float(demand[j])
            for part in (output.demand, output.bought_in)
        )
        waiting, waiting_bought = (1.0 - said) * asked, out - said * asked
        if waiting > _NOTABLE:
            bought_too = waiting_bought > 0.5 * waiting
            found.append(Elsewhere(key, job.name, "no machine yet", waiting, bought_too))
        share = 1.0 - float(made[ways].sum() / demand[j]) - said - waiting
        if share > _NOTABLE:
            bought_too = float(bought[j] / demand[j]) - said - waiting_bought > 0.5 * share
            found.append(Elsewhere(key, job.name, "no hours left", share, bought_too))
    return tuple(found)


def _machines_there(details: Details, key: str, scenario: int) -> npt.NDArray[np.bool_]:
    """Return in which months each machine of the alternative works, shape (machines, m)."""
    study, months = details.study, details.output.demand.shape[2]
    machines = study.alternatives[key].machines
    rows = [of_scenario(at_work(study, placement, months), scenario) for placement in machines]
    return np.array(rows, dtype=bool).reshape(len(machines), months)


def _without_machine(
    details: Details, ways: npt.NDArray[np.intp], there: npt.NDArray[np.bool_], scenario: int
) -> npt.NDArray[np.bool_]:
    """Return in which months no way that could make a type has all its machines, shape (m,)."""
    routes = details.routes
    can = np.zeros(there.shape[1], dtype=bool)
    for way in ways[of_scenario(routes.makeable, scenario)[ways]]:
        can |= there[list(routes.each[way].machines)].all(axis=0)
    return ~can


#: Shares below this are not worth a line.
_NOTABLE = 0.005


def _never_made(details: Details, j: int, ways: npt.NDArray[np.intp], scenario: int) -> Reason:
    """Return why none is made: the ways are weighed as the monthly plan weighs them at first."""
    if not ways.size:
        return "no machine"
    routes, mix, people = details.routes, details.mix, details.study.shop.people
    able = ways[of_scenario(routes.makeable, scenario)[ways]]
    if not able.size:
        return "too wide"
    level = details.prices
    of_people = [place.placement is None for place in routes.stations]
    attended = of_scenario(routes.load, scenario)[able][:, of_people].sum(axis=1)
    wage = people.wage.si * people.on_cost_factor.si * people.idle_time_redeployed.si
    material = of_scenario(level.materials, scenario)[0]
    labour = attended * of_scenario(wage, scenario) * of_scenario(level.wages, scenario)[0]
    cost = float((of_scenario(routes.direct_cost, scenario)[able] * material + labour).min())
    price = float(of_scenario(mix.price, scenario)[j] * of_scenario(level.sales, scenario)[0])
    if mix.can_be_bought_in[j]:
        outside = float(of_scenario(mix.bought_in_price, scenario)[j] * material)
        if outside < min(cost, price):
            return "cheaper bought in"
    return "loses money" if cost > price else "no hours left"
