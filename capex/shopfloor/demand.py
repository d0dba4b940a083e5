"""Orders asked for by job type and month under an alternative.

Arrays have shape (n, j, m): scenarios × job types × months 1 … m.

Imports numpy, `capex.study` and `capex.shopfloor.mix`.
"""

from __future__ import annotations

import numpy as np

from capex.errors import InputError
from capex.shopfloor.arrays import FloatArray, by_row, side_by_side
from capex.shopfloor.mix import Mix, over_jobs
from capex.shopfloor.stations import ramp_up, start
from capex.study import Alternative, Study

__all__ = ["always_bought_in", "demand"]


def demand(study: Study, mix: Mix, months: int) -> FloatArray:
    """Return orders asked for in each month, before what an alternative brings back.

    Orders today × seasonality of the calendar month × growth compounded since the first month.
    """
    month = np.arange(months)
    growth = over_jobs(job.growth for job in mix.jobs) + study.levers.growth_shift.si[:, None]
    if bool((growth <= -1.0).any()):
        bound = "together with a job type's own growth must stay above -100% a year"
        raise InputError("levers.growth_shift", float(study.levers.growth_shift.si.min()), bound)
    season = _seasonality(study, mix)[:, :, (study.money.start.month - 1 + month) % 12]
    rows = max(len(mix.orders), len(growth), len(season))
    found = by_row(rows, growth.shape[1], months, empty=True)
    np.power(1.0 + growth[:, :, None], month / 12.0, out=found)
    found *= mix.orders[:, :, None]
    found *= season
    return found


def _seasonality(study: Study, mix: Mix) -> FloatArray:
    """Return factors by calendar month, shape (n, j, 12)."""
    own = [over_jobs(job.seasonality or study.shop.seasonality) for job in mix.jobs]
    return side_by_side(own)


def recovered(study: Study, alternative: Alternative, months: int) -> FloatArray:
    """Return the factor on demand by work that is turned away today, shape (n, m).

    It comes back with the ramp-up of the first machine bought that works; without a purchase, not
    at all.
    """
    bought = [placement for placement in alternative.machines if not placement.owned]
    if not bought:
        return np.ones((1, months))
    usual = study.shop.after_purchase
    extra = (alternative.recovered_demand or usual.recovered_demand).si[:, None]
    first = np.minimum.reduce(np.broadcast_arrays(*(start(study, one) for one in bought)))
    return 1.0 + extra * ramp_up(study, alternative, first, months)


def always_bought_in(mix: Mix, alternative: Alternative) -> FloatArray:
    """Return the share of each type that leaves the house whatever the load, shape (n, j)."""
    return over_jobs(alternative.bought_in.get(key) for key in mix.keys)
