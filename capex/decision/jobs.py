"""What each job type takes and earns under an alternative, and why it is not made in the house.

Imports numpy, `capex.study`, `capex.shopfloor` and `capex.decision.outcome`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
import numpy.typing as npt

from capex.decision.outcome import Details, Outcome
from capex.errors import InputError
from capex.shopfloor.operations import Operation

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


@dataclass(frozen=True)
class Elsewhere:
    """A job type that an alternative does not make in the house.

    Parameters
    ----------
    job, name : str
        Key and name of the type.
    reason : {"no machine", "too wide", "cheaper bought in", "loses money"}
        Why.
    bought_in : bool
        Whether it is bought in; otherwise it is refused.
    """

    job: str
    name: str
    reason: Literal["no machine", "too wide", "cheaper bought in", "loses money"]
    bought_in: bool


def _details(outcome: Outcome) -> Details:
    if outcome.details is None:
        raise InputError("keep", "cash", "must be 'everything' to look into the shop floor")
    return outcome.details


def job_stages(outcome: Outcome, job: str, scenario: int = 0) -> tuple[Stage, ...]:
    """Return the operations of one order of a type on the route that makes most of it.

    The laminated route is shown where at least half of the type's orders are laminated. Empty
    where the alternative cannot make the type.

    Raises
    ------
    InputError
        Unknown job type, or an appraisal that kept only cash.
    """
    details = _details(outcome)
    mix, routes = details.mix, details.routes
    if job not in mix.keys:
        raise InputError("job", job, f"is not a job type; known: {', '.join(mix.keys)}")
    j = mix.keys.index(job)
    ways = [v for v, route in enumerate(routes.each) if route.job == j]
    able = [v for v in ways if _at(routes.makeable, scenario)[v]]
    if not able:
        return ()
    made = _at(details.output.made, scenario).sum(axis=1)
    v = max(able, key=lambda way: (made[way], -way))
    route, content = routes.each[v], routes.contents[v]
    laminated = _at(mix.laminated, scenario)[j] >= 0.5
    done = content.operations.laminated if laminated else content.operations.plain
    names = {place.placement: place.name for place in routes.stations if place.work == "machine"}
    stations = {
        "print": names.get(route.print),
        "laminate": names.get(route.laminate),
        "cut": names.get(route.cut),
    }
    stages = (_stage(operation, stations, j, scenario) for operation in done)
    return tuple(stage for stage in stages if stage.elapsed > 0)


def _at(table: npt.NDArray[Any], scenario: int) -> npt.NDArray[Any]:
    row: npt.NDArray[Any] = table[min(scenario, table.shape[0] - 1)]
    return row


def _stage(operation: Operation, stations: dict[str, str | None], j: int, scenario: int) -> Stage:
    return Stage(
        operation.name,
        stations[operation.at] if operation.at is not None else None,
        float(_at(operation.busy, scenario)[j]),
        float(_at(operation.attended, scenario)[j]),
        float(_at(operation.wait, scenario)[j]),
    )


def yearly_contribution(outcome: Outcome) -> FloatArray:
    """Return sales less direct and bought-in cost by type, a year on average, shape (n, j).

    Nominal, before people, room, machines' standing cost and tax; months up to the horizon.
    """
    details = _details(outcome)
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
    """Return the job types that an alternative never makes itself, each with the reason."""
    details = _details(outcome)
    mix, routes, output = details.mix, details.routes, details.output
    made = _at(output.made, scenario).sum(axis=1)
    bought = _at(output.bought_in, scenario).sum(axis=1)
    makeable = _at(routes.makeable, scenario)
    found = []
    for j, (key, job) in enumerate(zip(mix.keys, mix.jobs, strict=True)):
        ways = np.flatnonzero(routes.job_of == j)
        if made[ways].sum() > 0 or _at(output.demand, scenario)[j].sum() == 0:
            continue
        reason: Literal["no machine", "too wide", "cheaper bought in", "loses money"]
        if not ways.size:
            reason = "no machine"
        elif not makeable[ways].any():
            reason = "too wide"
        else:
            reason = "cheaper bought in" if bought[j] > 0 else "loses money"
        found.append(Elsewhere(key, job.name, reason, bool(bought[j] > 0)))
    return tuple(found)
