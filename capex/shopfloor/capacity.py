"""What gets made each month: in normal hours, in overtime, bought in, or refused.

Time axis: months 1 … m. The rule is in `capex.shopfloor.settlement`.
Imports numpy, `capex.study` and the files of this folder.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from capex.shopfloor.arrays import FloatArray, by_row, over_scenarios
from capex.shopfloor.demand import demand, recovered
from capex.shopfloor.mix import Mix, over_jobs
from capex.shopfloor.output import Output
from capex.shopfloor.prices import Prices
from capex.shopfloor.program import Program
from capex.shopfloor.routes import Routes
from capex.shopfloor.settlement import Block
from capex.shopfloor.stations import calendar
from capex.study import Alternative, Study

__all__ = ["monthly_output"]

_FIELDS: Final = tuple(Output.__dataclass_fields__)


def monthly_output(
    study: Study,
    mix: Mix,
    alternative: Alternative,
    routes: Routes,
    prices: Prices,
    today: FloatArray | None = None,
) -> Output:
    """Return what an alternative makes of the demand, month by month.

    Parameters
    ----------
    study, mix, alternative, routes
        The shop, its job types, the choice and its routes.
    prices : Prices
        Price levels by month; the number of months is theirs.
    today : ndarray, shape (n, j, m), optional
        What `demand` returns, where it is known already: every alternative has the same.

    Returns
    -------
    Output
    """
    months = prices.sales.shape[-1]
    hours = calendar(study, alternative, months)
    today = demand(study, mix, months) if today is None else today
    asked_for = today * recovered(study, alternative, months)[:, None, :]
    program = Program(study, mix, alternative, routes, prices, hours)
    program.count = max(program.count, asked_for.shape[0])
    lost = over_jobs(job.lost_customers for job in mix.jobs)
    if not bool((lost > 0).any()):
        return _solved(program, asked_for, slice(0, months))
    program.count = max(program.count, lost.shape[0])
    return _with_lost_customers(program, lost, asked_for)


def _with_lost_customers(program: Program, lost: FloatArray, asked_for: FloatArray) -> Output:
    """Solve month after month, as customers who were refused stay away later."""
    staying = np.ones((program.count, lost.shape[1]))
    months = []
    for month in range(asked_for.shape[-1]):
        wanted = asked_for[..., month] * staying
        output = _solved(program, wanted[..., None], slice(month, month + 1))
        months.append(output)
        refused = output.refused[..., 0]
        with np.errstate(divide="ignore", invalid="ignore"):
            gone = np.where(wanted > 0, lost * refused / wanted, 0.0)
        staying = staying * (1.0 - gone)
    return Output(
        *(np.concatenate([getattr(output, name) for output in months], axis=-1) for name in _FIELDS)
    )


def _solved(program: Program, wanted: FloatArray, months: slice) -> Output:
    """Return the output of the given months (from 0)."""
    n, jobs, span = program.count, wanted.shape[1], wanted.shape[2]
    stations = len(program.routes.stations)
    available = over_scenarios(program.hours.available[..., months], n)
    gained = over_scenarios(program.hours.gained[..., months], n)
    output = Output(
        demand=over_scenarios(wanted, n),
        made=by_row(n, len(program.routes.each), span),
        bought_in=by_row(n, jobs, span, empty=True),
        refused=by_row(n, jobs, span),
        overtime=np.zeros((n, span)),
        asked=by_row(n, stations, span, empty=True),
        used=by_row(n, stations, span, empty=True),
        available=available,
        capacity=by_row(n, stations, span, empty=True),
        worth=by_row(n, stations, span),
    )
    for scenarios, local in program.alike(months):
        Block(program, output, scenarios, months, local).settle()
    load = over_scenarios(program.routes.load, n)
    np.matmul(load.transpose(0, 2, 1), output.made, out=output.used)
    for place in range(stations):
        capacity = np.multiply(gained[:, place], output.overtime, out=output.capacity[:, place])
        capacity += available[:, place]
    return output
