"""The first simulated year once more, by an independent model of processes (SimPy).

The same orders, failures and nights go through both; every order must be finished at the same time.

Imports numpy, `capex.shopfloor.year`, `capex.decision.outcome` and, of this folder, `check`; simpy
on demand.
"""

from __future__ import annotations

from collections.abc import Iterator
from importlib.util import find_spec
from typing import Final

import numpy as np
import numpy.typing as npt

from capex.decision.audit.check import Check, skipped
from capex.decision.outcome import Outcome
from capex.errors import InputError
from capex.shopfloor.year.arrivals import arrivals, luck, year_calendar
from capex.shopfloor.year.monthly_plan import MonthlyPlan
from capex.shopfloor.year.program import programs
from capex.shopfloor.year.simulated_year import simulated_year
from capex.study import Study

__all__ = ["year_checks"]

FloatArray = npt.NDArray[np.float64]

_LEAD_TIME, _ON_TIME = "Mean lead time, first year", "Orders on time, first year"
_PATH = "process model (SimPy), order by order"
_YEAR, _SEED = 1, 1
#: Orders above which the process model would take minutes (the figure is ours).
_MOST: Final = 10_000
#: Differences of working days that are rounding: a wall clock of 4e7 s has steps of 1e-8 s.
_ROUNDING: Final = 1e-9


def year_checks(study: Study, outcome: Outcome) -> Iterator[Check]:
    """Yield the checks of an alternative's first simulated year.

    Parameters
    ----------
    study : Study
        As entered, one scenario.
    outcome : Outcome
        Of it, with its details.
    """
    reason = _why_not(outcome)
    if reason:
        yield skipped(outcome.key, _LEAD_TIME, _PATH, "days", reason)
        return
    path = outcome.path
    plan = MonthlyPlan(
        path.study, path.study.alternatives[outcome.key], path.mix, path.routes, path.output
    )
    try:
        year = simulated_year(study, outcome.key, _YEAR, _SEED, plan=plan)
    except InputError as error:  # more than is simulated one by one
        yield skipped(outcome.key, _LEAD_TIME, _PATH, "days", str(error))
        return
    took, late = _once_more(plan, min(12, int(outcome.horizon[0])))
    never = np.isinf(took) != np.isinf(year.lead_time)
    with np.errstate(invalid="ignore"):
        apart = np.abs(np.where(np.isinf(took), 0.0, took - year.lead_time))
    worst = np.inf if never.any() else float(apart.max(initial=0.0))
    yield Check(outcome.key, _LEAD_TIME, _PATH, "days", _mean(year.lead_time), _mean(took),
                _ROUNDING, worst)  # fmt: skip
    on_time = 1.0 - float(late.mean()) if late.size else 1.0
    yield Check(outcome.key, _ON_TIME, _PATH, "share", year.on_time, on_time, _ROUNDING)


def _why_not(outcome: Outcome) -> str:
    """Return why the year is not simulated a second time, empty where it is."""
    if find_spec("simpy") is None:
        return "simpy is not installed: pip install 'capex[verify]'"
    orders = float(outcome.path.output.made[0, :, :12].sum())
    if orders > _MOST:
        return f"{orders:,.0f} orders a year are too many for it: at most {_MOST:,}"
    return ""


def _once_more(plan: MonthlyPlan, last: int) -> tuple[FloatArray, npt.NDArray[np.bool_]]:
    """Return lead times in working days by the process model, and which orders are late."""
    from capex.decision.audit.simpy_floor import simpy_dispatched

    ways = programs(plan.study, plan.alternative, plan.routes, 1, last)
    calendar = year_calendar(plan.study, 1, last, plan.output.overtime[0, :last])
    shifts = calendar.shifts
    came = arrivals(plan, ways, calendar, (_SEED, _YEAR))
    draws = luck(plan.study, plan.alternative, ways.cell, shifts, (_SEED, _YEAR))
    record = simpy_dispatched(ways.floor, shifts, came.orders, draws)

    def working(wall: FloatArray) -> FloatArray:
        """Return regular hours that have passed, added up day by day [s]."""
        return np.asarray(np.clip(wall[:, None] - shifts.opens, 0.0, shifts.shift).sum(axis=1))

    never, start = np.isinf(record.finished), working(came.orders.arrival)
    done = working(np.where(never, 0.0, record.finished))
    took = np.where(never, np.inf, (done - start) / shifts.shift)
    late = took > (came.orders.due - start) / shifts.shift + _ROUNDING
    return took[came.counted], late[came.counted]


def _mean(times: FloatArray) -> float:
    """Return the mean of the orders that were finished, 0 without any."""
    finished = times[np.isfinite(times)]
    return float(finished.mean()) if finished.size else 0.0
