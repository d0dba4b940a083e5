"""What the month's plan makes of the orders: the ground that every simulated year stands on.

Imports `capex.study` and the monthly capacity of this folder's parent.
"""

from __future__ import annotations

from dataclasses import dataclass

from capex.shopfloor.capacity import monthly_output
from capex.shopfloor.content import Contents
from capex.shopfloor.mix import Mix, job_mix
from capex.shopfloor.output import Output
from capex.shopfloor.prices import price_levels
from capex.shopfloor.routes import Routes, routes
from capex.shopfloor.trigger import with_triggered_months
from capex.study import Alternative, Study

__all__ = ["MonthlyPlan", "monthly_plan"]


@dataclass(frozen=True)
class MonthlyPlan:
    """One alternative of a study of one scenario, month by month.

    Parameters
    ----------
    study : Study
    alternative : Alternative
    mix : Mix
    routes : Routes
    output : Output
    """

    study: Study
    alternative: Alternative
    mix: Mix
    routes: Routes
    output: Output


def monthly_plan(study: Study, key: str, months: int) -> MonthlyPlan:
    """Return the plan of an alternative for months 1 to `months`.

    Raises
    ------
    InputError
        Unknown alternative.
    """
    mix, prices = job_mix(study), price_levels(study, months)
    contents = Contents(study, mix)
    study = with_triggered_months(study, contents, prices)
    alternative = study.alternative(key)
    ways = routes(contents, alternative)
    output = monthly_output(study, mix, alternative, ways, prices)
    return MonthlyPlan(study, alternative, mix, ways, output)
