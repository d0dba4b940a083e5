"""What a month makes once more: hours and orders in plain numbers, and a linear programme of them.

HiGHS, through scipy, finds the most contribution that a month's hours allow; the capacity pass must
come to as much in every month, within those hours. Times and direct costs of an order are the
study's as capex works them out.

Imports numpy, `capex.decision.outcome` and, of this folder, `check`, `month_program` and
`plain_hours`.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import numpy.typing as npt

from capex.decision.audit.check import Check, Kind, skipped
from capex.decision.audit.month_program import MonthProgram, decided, month_program
from capex.decision.audit.plain_hours import orders_asked_for, station_hours
from capex.decision.outcome import Outcome

__all__ = ["capacity_checks"]

FloatArray = npt.NDArray[np.float64]

_PROGRAMME = "linear programme (HiGHS), month by month"
_PLAIN = "plain numbers, month by month"
#: Share of a figure that is rounding; the programme solves to 1e-7 of a constraint.
_ROUNDING, _SOLVED = 1e-9, 1e-7


def capacity_checks(outcome: Outcome) -> Iterator[Check]:
    """Yield the checks of what an alternative makes, first scenario.

    Parameters
    ----------
    outcome : Outcome
        With its details.

    Examples
    --------
    >>> from capex.decision.appraise import appraise
    >>> from capex.study import data_folder, read_study
    >>> study = read_study(data_folder() / "studies" / "quenlow.toml").replaced(
    ...     {"money.horizon": 37})
    >>> [each.holds for each in capacity_checks(appraise(study).outcomes["separate"])]
    [True, True, True, True]
    """
    months = range(1, int(outcome.horizon[0]) + 1)
    path = outcome.path
    yield _orders(outcome, months)
    yield _hours(outcome, months)
    each = [month_program(path, outcome.key, month) for month in months]
    plan = [decided(path, month) for month in months]
    over = max(one.over(x) for one, x in zip(each, plan, strict=True)) / 3600
    there = max(float(one.normal.max(initial=0.0)) for one in each) / 3600
    lost = max(one.rounding for one in each) / 3600
    yield Check(
        outcome.key, "Hours worked beyond those there are", _PLAIN, "hours", over, 0.0,
        max(_ROUNDING * there, _ROUNDING) + lost,
    )  # fmt: skip
    yield _contribution(outcome.key, each, plan)


def _contribution(choice: str, each: list[MonthProgram], plan: list[FloatArray]) -> Check:
    """Return the check of what is earned: as much in every month as the programme can."""
    figure, best = "Contribution of what is made", [one.best() for one in each]
    found = np.array([worth for worth in best if worth is not None])
    if found.size < len(best):
        reason = "the solver found no optimum in some month"
        return skipped(choice, figure, _PROGRAMME, "money", reason)
    made = np.array([float(one.value @ x) for one, x in zip(each, plan, strict=True)])
    allowed = _SOLVED * sum(one.scale for one in each)
    return Check(choice, figure, _PROGRAMME, "money", float(made.sum()), float(found.sum()),
                 allowed, float(np.abs(made - found).max()))  # fmt: skip


def _orders(outcome: Outcome, months: range) -> Check:
    """Return the check of orders asked for; customers who stay away are taken as found."""
    path = outcome.path
    choice, output = path.study.alternatives[outcome.key], path.output
    plain = np.zeros((len(path.mix.jobs), len(months)))
    for j, (key, job) in enumerate(path.study.jobs.items()):
        staying, lost = 1.0, float(job.lost_customers.si[0])
        for month in months:
            wanted = orders_asked_for(path.study, choice, key, month) * staying
            plain[j, month - 1] = wanted
            if lost > 0 and wanted > 0:
                staying *= 1 - lost * min(output.refused[0, j, month - 1] / wanted, 1.0)
    found = output.demand[0, :, : len(months)]
    return _monthly(outcome.key, "Orders asked for", "orders", found, plain)


def _hours(outcome: Outcome, months: range) -> Check:
    path = outcome.path
    choice = path.study.alternatives[outcome.key]
    plain = np.array([
        [station_hours(path.study, choice, each.work, each.placement, month)[0] for month in months]
        for each in path.routes.stations
    ])  # fmt: skip
    found = path.output.available[0, :, : len(months)]
    return _monthly(outcome.key, "Hours of the stations", "hours", found / 3600, plain / 3600)


def _monthly(choice: str, figure: str, kind: Kind, found: FloatArray, plain: FloatArray) -> Check:
    worst = float(np.abs(found - plain).max(initial=0.0))
    allowed = max(_ROUNDING * float(np.abs(plain).sum()), _ROUNDING)
    return Check(choice, figure, _PLAIN, kind, float(found.sum()), float(plain.sum()), allowed,
                 worst)  # fmt: skip
