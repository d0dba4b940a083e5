"""The same year with machines that never fail: what of a backlog is the failures' doing.

Imports `capex.study` and the files of this folder.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Final

from capex.shopfloor.year.monthly_plan import MonthlyPlan
from capex.shopfloor.year.simulated_year import Year, simulated_year
from capex.study import Study

__all__ = ["undisturbed_year"]

#: Operating time to a failure that no year reaches [s].
_NEVER: Final = 1e12


def undisturbed_year(study: Study, key: str, year: int, seed: int, plan: MonthlyPlan) -> Year:
    """Return a year of an alternative in which no machine fails.

    The same orders are made on the same routes as by `simulated_year`: the plan stays that of
    machines that do fail.

    Parameters
    ----------
    study, key, year, seed, plan
        As for `simulated_year`.

    Examples
    --------
    >>> from capex.shopfloor.year.monthly_plan import monthly_plan
    >>> from capex.study import data_folder, read_study
    >>> study = read_study(data_folder() / "studies" / "quenlow.toml")
    >>> found = undisturbed_year(study, "keep", 1, 1, monthly_plan(study, "keep", 12))
    >>> max(station.down for station in found.stations)
    0.0
    """
    return simulated_year(
        _lasting(study), key, year, seed, plan=replace(plan, study=_lasting(plan.study))
    )


def _lasting(study: Study) -> Study:
    field = "mean_time_between_failures"
    machines = {
        name: machine.model_copy(
            update={field: getattr(machine, field).replaced([_NEVER], field, study.currency)}
        )
        for name, machine in study.machines.items()
    }
    return study.model_copy(update={"machines": machines})
