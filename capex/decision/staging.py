"""A later purchase: what it leaves against its month, never included, and what set it off.

Imports numpy, `capex.study`, `capex.shopfloor` and, of this folder, `appraise` and `outcome`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from capex.decision.appraise import appraise
from capex.decision.outcome import Outcome, of_scenario
from capex.errors import InputError
from capex.shopfloor.stations import stations
from capex.shopfloor.trigger import relieved_stations
from capex.study import Alternative, Study
from capex.units import quantity_text

__all__ = [
    "DatedPurchase",
    "PurchaseTiming",
    "TriggeredPurchase",
    "dated_purchase",
    "purchase_timing",
    "triggered_purchases",
]

FloatArray = npt.NDArray[np.float64]


@dataclass(frozen=True)
class PurchaseTiming:
    """What an alternative leaves against the month in which one of its machines is bought.

    Parameters
    ----------
    key : str
        Of the alternative.
    place : int
        Of the machine in its list.
    machine : str
        Its name.
    months : ndarray of int, shape (t,)
        Months tried, ascending.
    net_present_value, gain : ndarray, shape (t,)
        Of the alternative, and over the baseline [currency].
    never, gain_never : float
        The same if the machine is not bought at all [currency].
    """

    key: str
    place: int
    machine: str
    months: npt.NDArray[np.intp]
    net_present_value: FloatArray
    gain: FloatArray
    never: float
    gain_never: float

    @property
    def best_month(self) -> int | None:
        """Month that leaves most, the first of several; None where never leaves at least that."""
        place = int(self.net_present_value.argmax())
        if self.never >= self.net_present_value[place]:
            return None
        return int(self.months[place])

    @property
    def best(self) -> float:
        """Net present value at that choice [currency]."""
        return max(float(self.net_present_value.max()), self.never)


@dataclass(frozen=True)
class TriggeredPurchase:
    """A machine that waits for a load, in one scenario.

    Parameters
    ----------
    place : int
        Of the machine in the alternative's list.
    machine : str
        Its name.
    relieves : tuple of str
        Names of the machines whose load is watched.
    trigger : float
        Share of their hours [-].
    month : int or None
        Month of the purchase; None where it is never bought within the horizon.
    horizon : int
        Last month looked at.
    """

    place: int
    machine: str
    relieves: tuple[str, ...]
    trigger: float
    month: int | None
    horizon: int

    @property
    def words(self) -> str:
        """What happens, as a sentence for the screen."""
        share, watched = quantity_text(self.trigger, "fraction"), " or ".join(self.relieves)
        if self.month is None:
            return (
                f"{self.machine}: never bought within the {self.horizon} months, as the load of "
                f"{watched} does not pass {share} in time."
            )
        if self.trigger == 0:
            return f"{self.machine}: bought at once, as its trigger is a load of {share}."
        return (
            f"{self.machine}: bought in month {self.month}, after the load of {watched} first "
            f"passed {share}."
        )


def triggered_purchases(outcome: Outcome, scenario: int = 0) -> tuple[TriggeredPurchase, ...]:
    """Return the machines of an alternative that wait for a load, and when they are bought.

    Parameters
    ----------
    outcome : Outcome
        With its details.
    scenario : int
        Which scenario.

    Returns
    -------
    tuple of TriggeredPurchase
        In the order of the alternative; empty where none waits.

    Raises
    ------
    InputError
        An appraisal that kept only cash.

    Examples
    --------
    >>> from capex.study import data_folder, read_study
    >>> study = read_study(data_folder() / "studies" / "quenlow.toml")
    >>> triggered_purchases(appraise(study).outcomes["staged"])
    ()
    >>> study = study.replaced({
    ...     "alternatives.staged.machines.1.month": 0,
    ...     "alternatives.staged.machines.1.when_load_passes": 0.95,
    ... })
    >>> found = triggered_purchases(appraise(study).outcomes["staged"])
    >>> found[0].machine, found[0].relieves
    ('Mid contour cutter', ('Mid all-in-one',))
    """
    path = outcome.path
    study, alternative = path.study, path.study.alternatives[outcome.key]
    horizon = int(of_scenario(path.ledger.horizon, scenario))
    names = [place.name for place in stations(study, alternative)]
    found = []
    for place, placement in enumerate(alternative.machines):
        if placement.when_load_passes is None:
            continue
        month = int(of_scenario(placement.month.si, scenario))
        found.append(
            TriggeredPurchase(
                place,
                study.machines[placement.machine].name,
                tuple(names[k] for k in relieved_stations(study, alternative, place)),
                float(of_scenario(placement.when_load_passes.si, scenario)),
                month if month < horizon else None,
                horizon,
            )
        )
    return tuple(found)


def purchase_timing(
    study: Study,
    key: str,
    machine: str | int | None = None,
    months: Sequence[int] | None = None,
    scenario: Mapping[str, float] | None = None,
) -> PurchaseTiming:
    """Return what an alternative leaves against the month of its later purchase.

    All months go through `appraise` as one batch; everything else stays as entered, the dates of
    other purchases and sales included. A trigger of the machine gives way to the month.

    Parameters
    ----------
    study : Study
    key : str
        Of the alternative.
    machine : str or int, optional
        Key of the machine bought later, or its place in the alternative's list; by default the
        only one with a month above 0 or a trigger.
    months : sequence of int, optional
        Months tried; by default every one in which the machine can be bought.
    scenario : mapping of str to float, optional
        Inputs that differ from the study, canonical units.

    Returns
    -------
    PurchaseTiming

    Raises
    ------
    InputError
        No such alternative or machine, one that is owned already, several to choose from, or a
        month that is not possible.

    Examples
    --------
    >>> from capex.study import data_folder, read_study
    >>> study = read_study(data_folder() / "studies" / "quenlow.toml")
    >>> found = purchase_timing(study, "staged", months=[12, 36, 60])
    >>> found.machine, found.gain.shape
    ('Mid contour cutter', (3,))
    >>> bool(found.best >= found.never)
    True
    """
    alternative = study.alternative(key)
    place = _place(study, key, alternative, machine)
    held = dict(scenario or {})
    tried = np.unique(_possible(study, alternative, place, held) if months is None else months)
    if not tried.size:
        raise InputError("months", "none", "must have at least one month")
    dated = dated_purchase(study, key, place)
    batch = dated.inputs_with(held, tried.astype(np.float64))
    found = appraise(dated.study, batch, keep="cash").outcomes[key]
    never = appraise(dated.without, dated.inputs_without(held), keep="cash").outcomes[key]
    return PurchaseTiming(
        key=key,
        place=place,
        machine=dated.machine,
        months=tried.astype(np.intp),
        net_present_value=found.net_present_value,
        gain=found.gain,
        never=float(never.net_present_value[0]),
        gain_never=float(never.gain[0]),
    )


@dataclass(frozen=True)
class DatedPurchase:
    """One later purchase of a study, made by its month alone or not at all.

    Parameters
    ----------
    study : Study
        In which it is made by its month.
    without : Study
        In which the alternative has no such machine.
    key : str
        Of the alternative.
    place : int
        Of the machine in its list.
    machine : str
        Its name.
    own_month : int or None
        That the study states; None where a load sets the purchase off.
    """

    study: Study
    without: Study
    key: str
    place: int
    machine: str
    own_month: int | None

    def inputs_with(
        self, scenarios: Mapping[str, npt.ArrayLike], month: npt.ArrayLike
    ) -> dict[str, npt.ArrayLike]:
        """Return inputs for the study with the machine, in which a month takes a load's place.

        Parameters
        ----------
        scenarios : mapping of str to array_like
            By path in the study as entered.
        month : array_like
            Of the purchase.
        """
        own = f"{self._machines}.{self.place}"
        found = {p: v for p, v in scenarios.items() if p != f"{own}.when_load_passes"}
        return {**found, f"{own}.month": month}

    def inputs_without(self, scenarios: Mapping[str, npt.ArrayLike]) -> dict[str, npt.ArrayLike]:
        """Return inputs for the study without the machine: those of later machines move up.

        Parameters
        ----------
        scenarios : mapping of str to array_like
            By path in the study as entered.
        """
        found: dict[str, npt.ArrayLike] = {}
        for path, values in scenarios.items():
            place, _, rest = path.removeprefix(f"{self._machines}.").partition(".")
            if not path.startswith(f"{self._machines}."):
                found[path] = values
            elif int(place) != self.place:
                moved = int(place) - (int(place) > self.place)
                found[f"{self._machines}.{moved}.{rest}"] = values
        return found

    @property
    def _machines(self) -> str:
        return f"alternatives.{self.key}.machines"


def dated_purchase(study: Study, key: str, machine: str | int | None) -> DatedPurchase:
    """Return a later purchase by its month, and the study without the machine.

    Parameters
    ----------
    study : Study
    key : str
        Of the alternative.
    machine : str or int, optional
        As for `purchase_timing`.

    Raises
    ------
    InputError
        As for `purchase_timing`.
    """
    alternative = study.alternative(key)
    place = _place(study, key, alternative, machine)
    bought = alternative.machines[place]
    kept = (*alternative.machines[:place], *alternative.machines[place + 1 :])
    without = alternative.model_copy(update={"machines": kept})
    return DatedPurchase(
        _untriggered(study, key, place),
        study.model_copy(update={"alternatives": {**study.alternatives, key: without}}),
        key,
        place,
        study.machines[bought.machine].name,
        None if bought.when_load_passes is not None else int(bought.month.likely),
    )


def _place(study: Study, key: str, alternative: Alternative, machine: str | int | None) -> int:
    """Return which machine of the alternative is meant."""
    path, machines = f"alternatives.{key}.machines", alternative.machines
    bought = [i for i, one in enumerate(machines) if not one.owned]
    if isinstance(machine, int):
        fits = [machine] if machine in bought else []
    elif machine is not None:
        fits = [i for i in bought if machines[i].machine == machine]
    else:
        fits = [
            i
            for i in bought
            if machines[i].month.likely > 0 or machines[i].when_load_passes is not None
        ]
    if len(fits) != 1:
        said = "any bought later" if machine is None else machine
        known = ", ".join(f"{i} ({machines[i].machine})" for i in bought) or "none"
        count = "none" if not fits else "several"
        raise InputError(path, said, f"must name one machine that is bought, fits {count}: {known}")
    return fits[0]


def _possible(
    study: Study, alternative: Alternative, place: int, held: Mapping[str, float]
) -> npt.NDArray[np.intp]:
    """Return the months before the horizon and no later than the machine goes again."""
    last = int(held.get("money.horizon", study.money.horizon.likely)) - 1
    sold = alternative.machines[place].sold_in_month
    return np.arange((last if sold is None else min(last, int(sold.likely))) + 1)


def _untriggered(study: Study, key: str, place: int) -> Study:
    """Return the study with the machine bought by its month, not by a load."""
    alternative = study.alternatives[key]
    if alternative.machines[place].when_load_passes is None:
        return study
    machines = list(alternative.machines)
    machines[place] = machines[place].model_copy(update={"when_load_passes": None})
    changed = alternative.model_copy(update={"machines": tuple(machines)})
    return study.model_copy(update={"alternatives": {**study.alternatives, key: changed}})
