"""Machines bought when the load passes a trigger: the month, found in every scenario.

Imports numpy, `capex.study` and the capacity files of this folder.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import numpy.typing as npt

from capex.shopfloor.arrays import FloatArray
from capex.shopfloor.capacity import monthly_output
from capex.shopfloor.content import Contents
from capex.shopfloor.mix import job_mix
from capex.shopfloor.output import Output
from capex.shopfloor.prices import Prices, price_levels
from capex.shopfloor.routes import routes
from capex.shopfloor.stations import stations
from capex.study import Alternative, Study

__all__ = ["bought_in_month", "followed_study", "relieved_stations", "with_triggered_months"]


def bought_in_month(alternative: Alternative, place: int, month: npt.ArrayLike) -> Alternative:
    """Return the alternative with one of its machines bought in other months.

    Parameters
    ----------
    alternative : Alternative
    place : int
        Of the machine in its list.
    month : array_like, shape (n,) or scalar
        One a scenario; past the horizon for a machine that is never bought.

    Returns
    -------
    Alternative
    """
    old = alternative.machines[place]
    months = np.atleast_1d(np.asarray(month, dtype=np.float64))
    new = replace(old.month, si=months, low=None, high=None, text=None)
    machines = list(alternative.machines)
    machines[place] = old.model_copy(update={"month": new})
    return alternative.model_copy(update={"machines": tuple(machines)})


def relieved_stations(study: Study, alternative: Alternative, place: int) -> tuple[int, ...]:
    """Return the stations whose work a machine could take over, as places in `stations`.

    They are the other machines that print, cut or laminate as it does.
    """
    does = study.machines[alternative.machines[place].machine].functions
    return tuple(
        k
        for k, station in enumerate(stations(study, alternative))
        if station.work == "machine"
        and station.placement is not None
        and station.placement != place
        and does & study.machines[alternative.machines[station.placement].machine].functions
    )


def with_triggered_months(study: Study, contents: Contents, prices: Prices) -> Study:
    """Return the study with a month, one a scenario, for every machine that waits for a trigger.

    The alternative is followed without the machine; it is bought in the month after the load of
    a station that it relieves first passes the trigger, and works a month later. A trigger of 0
    waits for nothing: the machine is bought on the day of decision. A trigger that no month
    passes in time puts the month past the horizon. Of several such machines each is looked for
    with those before it in place.

    Parameters
    ----------
    study : Study
    contents : Contents
        What orders take in this study.
    prices : Prices
        Price levels by month; the number of months is theirs.

    Returns
    -------
    Study
        The same where nothing waits for a trigger.
    """
    found = {}
    for key, alternative in study.alternatives.items():
        if any(placement.when_load_passes is not None for placement in alternative.machines):
            found[key] = _resolved(study, contents, prices, alternative)
    if not found:
        return study
    return study.model_copy(update={"alternatives": {**study.alternatives, **found}})


def followed_study(study: Study) -> Study:
    """Return `with_triggered_months` of a study by itself, over its own horizon.

    Nothing is worked out where no machine waits for a trigger.

    Parameters
    ----------
    study : Study

    Returns
    -------
    Study

    Examples
    --------
    >>> from capex.study import data_folder, read_study
    >>> study = read_study(data_folder() / "studies" / "quenlow.toml")
    >>> followed_study(study) is study
    True
    """
    placements = (one for choice in study.alternatives.values() for one in choice.machines)
    if all(placement.when_load_passes is None for placement in placements):
        return study
    contents = Contents(study, job_mix(study))
    prices = price_levels(study, int(study.money.horizon.si.max()))
    return with_triggered_months(study, contents, prices)


def _resolved(
    study: Study, contents: Contents, prices: Prices, alternative: Alternative
) -> Alternative:
    never = prices.sales.shape[1] + 1
    waiting = [
        (place, placement.when_load_passes.si)
        for place, placement in enumerate(alternative.machines)
        if placement.when_load_passes is not None
    ]
    for place, _ in waiting:
        alternative = bought_in_month(alternative, place, never)
    ways = routes(contents, alternative)
    horizon = study.money.horizon.si
    for place, trigger in waiting:
        output = monthly_output(study, contents.mix, alternative, ways, prices)
        load = _highest_load(output, relieved_stations(study, alternative, place))
        passed = load > trigger[:, None]
        month = np.where(passed.any(axis=1), passed.argmax(axis=1) + 2.0, never)
        month = np.where(trigger > 0.0, month, 0.0)
        month = np.where(month < horizon, month, never)
        alternative = bought_in_month(alternative, place, month)
    return alternative


def _highest_load(output: Output, places: tuple[int, ...]) -> FloatArray:
    """Return the highest load of some stations by month, shape (n, m); absent ones have none."""
    there = output.available[:, places] > 0
    load = np.divide(
        output.asked[:, places], output.available[:, places],
        out=np.zeros(there.shape), where=there,
    )  # fmt: skip
    return np.asarray(load.max(axis=1, initial=0.0))
