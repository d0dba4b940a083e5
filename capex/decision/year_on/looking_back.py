"""Plan against actual, what it says about the inputs, and whether the choice still holds.

Imports `capex.study`, `capex.decision` and the other files of this folder.
"""

from __future__ import annotations

from dataclasses import dataclass

from capex.decision.appraise import appraise
from capex.decision.year_on.estimates import Ratio, Trend, ratios, trend
from capex.decision.year_on.inputs import mix_ratios, moved_inputs
from capex.decision.year_on.onward import Onward, onward
from capex.decision.year_on.planned import PlannedMonths, planned_months
from capex.decision.year_on.standing import Standing, cases, scenarios_of
from capex.decision.year_on.variances import Compared, compared
from capex.errors import InputError
from capex.study import Study

__all__ = ["YearOn", "year_on"]


@dataclass(frozen=True)
class YearOn:
    """A study with the months seen.

    Parameters
    ----------
    study : Study
        As entered.
    plan : PlannedMonths
        Of the choice that was made.
    compared : dict of str to Compared
        By figure.
    ratios : dict of str to Ratio
        By kind of input.
    trend : Trend or None
        Of the orders.
    mix : dict of str to float
        By job type, where orders are known by it.
    values : dict of str to float
        Re-estimated inputs by path, canonical units.
    standing : Standing
        Whether the same choice would be made again.
    onward : Onward or None
        Keep or go over; None once the horizon is reached.
    """

    study: Study
    plan: PlannedMonths
    compared: dict[str, Compared]
    ratios: dict[str, Ratio]
    trend: Trend | None
    mix: dict[str, float]
    values: dict[str, float]
    standing: Standing
    onward: Onward | None

    @property
    def choice(self) -> str:
        """Name of the choice that was made."""
        return self.study.alternatives[self.standing.choice].name

    @property
    def months(self) -> int:
        """How many months are recorded."""
        return 0 if self.study.actuals is None else len(self.study.actuals.months)


def year_on(study: Study) -> YearOn:
    """Return plan against actual, and what follows from it.

    Parameters
    ----------
    study : Study
        With actuals of at least one month.

    Returns
    -------
    YearOn
        Every figure of money comes from `appraise`.

    Raises
    ------
    InputError
        No months recorded, or a re-estimated input that leaves its bounds.

    Examples
    --------
    >>> from capex.study import StudyFile, data_folder
    >>> file = StudyFile.read(data_folder() / "studies" / "quenlow.toml")
    >>> seen = {"choice": "all_in_one", "months": [{"month": "2027-01", "orders": 110}]}
    >>> found = year_on(file.changed({"actuals": seen}).study)
    >>> round(found.ratios["demand"].value, 3), found.standing.best(0)
    (0.885, 'all_in_one')
    """
    records = study.actuals
    if records is None or not records.months:
        raise InputError("actuals.months", 0, "must have at least one month to look back on")
    places = records.places(study.money.start)
    plan = planned_months(appraise(study).outcomes[records.choice])
    found = compared(records, places, plan, list(study.jobs))
    known = ratios(found, plan.scheduled)
    orders = found["orders"]
    line = trend(orders.months, orders.plan, orders.actual)
    mix = mix_ratios(study, records, places, plan.by_job["orders"])
    values = moved_inputs(study, known, line, mix)
    each = cases(study, values, known, line)
    standing = Standing(records.choice, each, appraise(study, scenarios_of(study, each)))
    today = places[-1]
    left = today < int(study.money.horizon.likely)
    now = onward(study, standing, today) if left else None
    return YearOn(study, plan, found, known, line, mix, values, standing, now)
