"""What now: keep what was bought, or sell it and go over to another choice.

What has been spent is spent: both ways have the same past, month by month, so that it drops out of
their difference. Going over sells today what the other choice does without, at its resale value,
and buys today what it has besides. Tax, salvage and working capital follow as always.

Imports numpy, `capex.study`, `capex.decision` and, of this folder, `standing`.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from capex.decision.appraise import Appraisal, appraise
from capex.decision.outcome import of_scenario
from capex.decision.year_on.standing import Standing, scenarios_of
from capex.errors import NoAnswerError
from capex.study import Alternative, Placement, Quantity, Study

__all__ = ["Onward", "Switch", "onward", "switched"]

FloatArray = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Switch:
    """Going over to one other choice today.

    Parameters
    ----------
    key, name : str
        Of the choice gone over to.
    gain : ndarray, shape (cases,)
        What it leaves more than keeping, in money of today [currency].
    proceeds : float
        What the machines sold today bring, before tax [currency].
    outlay : float
        What the machines bought today cost, with installation and training [currency].
    """

    key: str
    name: str
    gain: FloatArray
    proceeds: float
    outlay: float


@dataclass(frozen=True)
class Onward:
    """Keeping against going over, from today on.

    Parameters
    ----------
    month : int
        Of the plan, whose end is today.
    switches : tuple of Switch
        Most gain first.
    closed : dict of str to str
        Choices that cannot be gone over to, by name, with the reason.
    """

    month: int
    switches: tuple[Switch, ...]
    closed: dict[str, str]

    @property
    def keep(self) -> bool:
        """Whether nothing leaves more than keeping what was bought."""
        return not self.switches or float(self.switches[0].gain[1]) <= 0.0


def onward(study: Study, standing: Standing, month: int) -> Onward:
    """Return what going over to each other choice at the end of a month leaves.

    Parameters
    ----------
    study : Study
        As entered.
    standing : Standing
        The cases, and the months of purchases that wait for a load.
    month : int
        Today, from 1 to before the horizon.

    Returns
    -------
    Onward
    """
    settled = {key: _dated(standing.appraisal, key) for key in study.alternatives}
    made = settled[standing.choice].model_copy(update={"baseline": True})
    ways, closed = {standing.choice: made}, {}
    for key, other in settled.items():
        if key != standing.choice:
            try:
                ways[key] = switched(study, made, other, month)
            except NoAnswerError as reason:
                closed[other.name] = str(reason)
    # machines that stand where the study says are in a row here: a place is not sold with them
    fields = {name: getattr(study, name) for name in type(study).model_fields}
    two = Study.model_construct(**{**fields, "alternatives": ways, "room": None})
    found = appraise(two, scenarios_of(study, standing.cases))
    each = [_switch(found, key, standing.choice, month) for key in ways if key != standing.choice]
    return Onward(month, tuple(sorted(each, key=lambda one: -float(one.gain[1]))), closed)


def _dated(appraisal: Appraisal, key: str) -> Alternative:
    """Return an alternative whose purchases that wait for a load have their month, as known now."""
    choice = appraisal.outcomes[key].path.study.alternatives[key]
    machines = []
    for placement in choice.machines:
        month = placement.month
        if placement.when_load_passes is not None:
            month = _months(placement, float(of_scenario(month.si, 1)))
        machines.append(placement.model_copy(update={"month": month, "when_load_passes": None}))
    return choice.model_copy(update={"machines": tuple(machines)})


def _months(placement: Placement, month: float) -> Quantity:
    return replace(placement.month, si=np.array([month]), low=None, high=None, text=None)


def switched(study: Study, made: Alternative, other: Alternative, month: int) -> Alternative:
    """Return the choice that was made up to a month, and from then on another's machines.

    Machines that both have stay. Recovered demand, ramp-up and shares bought in stay those of the
    choice that was made, so that the months before are the same.

    Parameters
    ----------
    study : Study
    made, other : Alternative
        With dated purchases.
    month : int
        At whose end machines are sold and bought.

    Returns
    -------
    Alternative

    Raises
    ------
    NoAnswerError
        The other choice needs a machine that has been sold, or buys other work in.
    """
    wanted = list(other.machines)
    kept: list[Placement] = []
    for placement in made.machines:
        away = _gone(placement, month)
        same = (one for one in wanted if _alike(one, placement))
        twin = next((one for one in same if not away or _gone(one, month)), None)
        if twin is not None:
            wanted.remove(twin)
        if placement.month.likely > month and twin is None:
            continue  # not bought yet, and no longer wanted
        kept.append(_until(placement, twin, month))
    for placement in wanted:
        if placement.owned and not _gone(placement, month):
            name = study.machines[placement.machine].name
            raise NoAnswerError(f"it needs {name}, which has been sold")
    if _shares(made) != _shares(other):
        raise NoAnswerError("it buys in other shares of the work from the first month on")
    late = [_from(one, month) for one in wanted if not one.owned]
    return made.model_copy(
        update={"name": other.name, "baseline": False, "machines": (*kept, *late)}
    )


def _from(placement: Placement, month: int) -> Placement:
    """Return a purchase that is still to come: today at the earliest."""
    later = _months(placement, max(placement.month.likely, float(month)))
    return placement.model_copy(update={"month": later})


def _shares(choice: Alternative) -> dict[str, float]:
    return {key: share.likely for key, share in choice.bought_in.items() if share.likely > 0}


def _gone(placement: Placement, month: int) -> bool:
    sold = placement.sold_in_month
    return sold is not None and sold.likely <= month


def _alike(one: Placement, other: Placement) -> bool:
    """Whether two placements are the same machine, in number and ownership too."""
    same = one.machine == other.machine and one.owned == other.owned
    return same and one.count.likely == other.count.likely


def _until(placement: Placement, twin: Placement | None, month: int) -> Placement:
    """Return a machine of the choice made, sold today unless the other choice keeps it."""
    if _gone(placement, month):
        return placement
    sold = placement.sold_in_month
    if twin is not None and not placement.owned and placement.month.likely > month:
        return _from(twin, month)
    if twin is None:
        end, proceeds = float(month), placement.sale_proceeds if sold is not None else None
    elif twin.sold_in_month is None:
        return placement.model_copy(update={"sold_in_month": None, "sale_proceeds": None})
    else:
        end, proceeds = max(twin.sold_in_month.likely, float(month)), twin.sale_proceeds
    changes = {"sold_in_month": _months(placement, end), "sale_proceeds": proceeds}
    return placement.model_copy(update=changes)


def _switch(found: Appraisal, key: str, choice: str, month: int) -> Switch:
    outcome, kept = found.outcomes[key], found.outcomes[choice]
    ledger, before = outcome.path.ledger, kept.path.ledger
    today = kept.discount_factors[:, month]

    def now(line: str) -> float:
        more = of_scenario(ledger.line(line), 1) - of_scenario(before.line(line), 1)
        return float(more[month])

    lines = {line.key for line in ledger.lines} & {"purchase", "sales_tax", "installation",
                                                   "training"}  # fmt: skip
    spent = sum(max(-now(line), 0.0) for line in lines)
    return Switch(key, outcome.name, np.asarray(outcome.gain / today), now("sold"), spent)
