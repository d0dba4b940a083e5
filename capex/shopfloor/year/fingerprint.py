"""What a simulated year depends on, as a key: equal keys, equal years.

Prices, rates and loans are not in it, so that a scenario in which only money differs needs no
simulation of its own.

Imports numpy, `capex.study` and the files of the shop floor.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterator
from typing import Any

import numpy as np
import numpy.typing as npt

from capex.shopfloor.content import Content
from capex.shopfloor.stations import at_work, machine_day, pace
from capex.shopfloor.year.arrivals import own_demand
from capex.shopfloor.year.monthly_plan import MonthlyPlan
from capex.study import Quantity

__all__ = ["Fingerprint"]

Rows = npt.NDArray[np.generic]


class Fingerprint:
    """All that the simulated years of an alternative read, over scenarios.

    An input that the simulation comes to read must be named here; a test tries every input of a
    study.

    Parameters
    ----------
    plan : MonthlyPlan
        Of one scenario or several.

    Examples
    --------
    >>> from capex.shopfloor.year.monthly_plan import monthly_plan
    >>> from capex.study import data_folder, read_study
    >>> study = read_study(data_folder() / "studies" / "quenlow.toml")
    >>> def key(changes):
    ...     return Fingerprint(monthly_plan(study.replaced(changes), "keep", 12)).key(0, 1, 12, 7)
    >>> key({}) == key({"money.discount_rate": 0.2}), key({}) == key({"levers.demand": 1.1})
    (True, False)
    """

    def __init__(self, plan: MonthlyPlan) -> None:
        contents = list({id(content): content for content in plan.routes.contents}.values())
        self._words = repr(list(_words(plan, contents))).encode()
        self._always = [np.asarray(rows) for rows in _always(plan, contents)]
        self._by_month = [np.asarray(rows) for rows in _by_month(plan)]
        self._begun: dict[int, Any] = {}

    @property
    def scenarios(self) -> int:
        """How many scenarios differ at most in what is read."""
        return max(len(rows) for rows in (*self._always, *self._by_month))

    def key(self, scenario: int, first: int, last: int, seed: int) -> bytes:
        """Return the key of one scenario's months `first` to `last` with a seed."""
        found = self._of_all_months(scenario).copy()
        found.update(repr((first, last, seed)).encode())
        for rows in self._by_month:
            found.update(_row(rows, scenario)[..., first - 1 : last].tobytes())
        return bytes(found.digest())

    def _of_all_months(self, scenario: int) -> Any:
        if scenario not in self._begun:
            begun = hashlib.blake2b(self._words, digest_size=16)
            for rows in self._always:
                begun.update(_row(rows, scenario).tobytes())
            self._begun[scenario] = begun
        return self._begun[scenario]


def _row(rows: Rows, scenario: int) -> Rows:
    row: Rows = rows[min(scenario, len(rows) - 1)]
    return row


def _words(plan: MonthlyPlan, contents: list[Content]) -> Iterator[object]:
    """Yield what is the same in every scenario."""
    rules = plan.study.shop.dispatching
    yield rules.machine_rule, rules.people_rule, plan.mix.keys
    yield [placement.machine for placement in plan.alternative.machines]
    yield [next(k for k, one in enumerate(contents) if one is c) for c in plan.routes.contents]
    yield plan.routes.each
    for content in contents:
        done = content.operations
        for operation in (*done.plain, None, *done.laminated):
            yield operation and (
                operation.name, operation.at, operation.by, operation.runs_alone, operation.set_up,
            )  # fmt: skip


def _always(plan: MonthlyPlan, contents: list[Content]) -> Iterator[npt.ArrayLike]:
    """Yield what is the same in every month, each over scenarios first."""
    study = plan.study
    hours, people, rules = study.shop.hours, study.shop.people, study.shop.dispatching
    quantities: list[Quantity] = [
        hours.days_per_month, hours.hours_per_day, hours.care_per_day, hours.overnight_per_day,
        hours.overnight_completion, people.operators, people.finishers,
        rules.overtime_trigger, rules.overtime_per_day, rules.order_size_variation,
        *(job.promised_lead_time or study.shop.promises.lead_time for job in plan.mix.jobs),
    ]  # fmt: skip
    for placement in plan.alternative.machines:
        machine = study.machines[placement.machine]
        quantities += [
            placement.count, machine.mean_time_between_failures, machine.mean_time_to_repair,
            machine.minor_stop_share,
        ]  # fmt: skip
        yield machine_day(study, machine)
    yield from (quantity.si for quantity in quantities)
    yield plan.mix.laminated
    yield plan.routes.makeable
    for content in contents:
        done = content.operations
        yield done.spoil_plain
        yield done.spoil_laminated
        for operation in (*done.plain, *done.laminated):
            yield from (operation.busy, operation.attended, operation.wait)


def _by_month(plan: MonthlyPlan) -> Iterator[npt.ArrayLike]:
    """Yield what differs by month, the last axis."""
    yield own_demand(plan)
    output = plan.output
    yield from (output.demand, output.made, output.bought_in, output.overtime)
    months = plan.output.demand.shape[-1]
    for placement in plan.alternative.machines:
        yield at_work(plan.study, placement, months)
        yield pace(plan.study, plan.alternative, placement, months)
