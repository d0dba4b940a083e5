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
    alternative, mix = study.alternative(key), job_mix(study)
    ways = routes(Contents(study, mix), alternative)
    output = monthly_output(study, mix, alternative, ways, price_levels(study, months))
    return MonthlyPlan(study, alternative, mix, ways, output)
