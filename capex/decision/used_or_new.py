"""A machine new or second-hand side by side on one path, and the price at which both are level.

Imports numpy, `capex.study`, `capex.shopfloor`, `capex.finance` and, of this folder, `appraise`,
`price_limit` and `walk_away`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from capex.decision.appraise import Appraisal, appraise
from capex.decision.machine_price import machine_price
from capex.decision.price_limit import PriceLimit
from capex.decision.walk_away import walk_away
from capex.errors import InputError
from capex.finance.purchases import Purchases, resale_value
from capex.shopfloor.stations import availability
from capex.study import Machine, Quantity, Study
from capex.study.alternatives import Placement

__all__ = ["Condition", "UsedOrNew", "used_machine", "used_or_new"]

FloatArray = npt.NDArray[np.float64]

#: Key of what is bought second-hand; no key of a study begins so.
_USED: Final = "_used"


@dataclass(frozen=True)
class Condition:
    """What buying one machine new, or second-hand, comes to; the rest of the choice is the same.

    Parameters
    ----------
    gain : float
        Of the whole alternative over the baseline [currency].
    price : float
        Of one machine [currency].
    availability : float
        Share of staffed time in which it works, breakdowns and minor stops taken off [-].
    service : float
        A year, at today's prices [currency/year].
    resale : float
        What all of this purchase fetch at the horizon or when sold, before tax [currency].
    least_cash : float
        Least money in the bank at a month's end up to the horizon [currency].
    """

    gain: float
    price: float
    availability: float
    service: float
    resale: float
    least_cash: float


@dataclass(frozen=True)
class UsedOrNew:
    """One purchase of an alternative, new against second-hand.

    Parameters
    ----------
    alternative : str
        Key.
    place : int
        Of the placement in it.
    machine : str
        Key of the new machine.
    new, used : Condition
    level : PriceLimit
        Price of the used one at which both leave the same: above it, buy new.
    """

    alternative: str
    place: int
    machine: str
    new: Condition
    used: Condition
    level: PriceLimit

    @property
    def ahead(self) -> float:
        """What buying second-hand leaves over buying new [currency]."""
        return self.used.gain - self.new.gain


def used_machine(
    machine: Machine,
    age: float,
    *,
    price: float | None = None,
    mean_time_between_failures: float | None = None,
    mean_time_to_repair: float | None = None,
    service: float | None = None,
) -> Machine:
    """Return a machine as it is second-hand.

    Its resale goes on along the rest of its curve, as shares of what it is worth at its age; the
    last yearly ratio of the curve goes on after its end.

    Parameters
    ----------
    machine : Machine
        New.
    age : float [months]
        At least 0.
    price : float, optional [currency]
        By default what its curve says that it is worth at its age.
    mean_time_between_failures, mean_time_to_repair : float, optional [s]
        By default those of the new one, which flatters it: ask for its record.
    service : float, optional [currency/year]
        By default that of the new one.

    Returns
    -------
    Machine

    Raises
    ------
    InputError
        An age below 0 or at which the curve says it is worth nothing, a curve that rises above
        that later, or a value outside its bounds.

    Examples
    --------
    >>> from capex.study import shipped_machines
    >>> new = shipped_machines()["mid_all_in_one"]
    >>> old = used_machine(new, 24)
    >>> bool(old.price.likely == new.price.likely * new.resale_by_year[1].likely)
    True
    """
    if not (np.isfinite(age) and age >= 0.0):
        raise InputError("age", age, "must be at least 0 months")
    left = float(resale_value(machine, age)[0])
    if left <= 0.0:
        raise InputError("age", age, "must be one at which the machine's resale is above 0")
    years = max(len(machine.resale_by_year), 1)
    later = [float(resale_value(machine, age + 12.0 * (k + 1))[0]) for k in range(years)]
    if max(later) > left:
        bound = f"must not rise after {age:g} months, where it is {left:.1%} of the price"
        raise InputError("resale_by_year", f"{max(later):.1%}", bound)
    template = machine.resale_by_year[0]
    changes: dict[str, object] = {
        "price": machine.price.replaced(left * machine.price.likely, "price"),
        "resale_by_year": tuple(
            template.replaced(share / left, "resale_by_year") for share in later
        ),
    }
    given = {
        "price": price,
        "mean_time_between_failures": mean_time_between_failures,
        "mean_time_to_repair": mean_time_to_repair,
        "service": service,
    }
    for field, value in given.items():
        if value is not None:
            quantity: Quantity = getattr(machine, field)
            changes[field] = quantity.replaced(value, field)
    return machine.model_copy(update=changes)


def used_or_new(
    study: Study,
    alternative: str,
    place: int,
    used: Machine,
    scenario: Mapping[str, float] | None = None,
) -> UsedOrNew:
    """Return one purchase of an alternative new and second-hand, side by side.

    Both are appraised as alternatives of one study, on the same path. The used one is bought at
    its own price without the new one's quotation or offer, on the study's loan if it has one, and
    marked second-hand, which some tax allowances exclude; freight, installation and training are
    the same.

    Parameters
    ----------
    study : Study
    alternative : str
        Key.
    place : int
        Of a placement in it that is bought.
    used : Machine
        As offered second-hand; `used_machine` makes one of a new one's figures.
    scenario : mapping of str to float, optional
        Inputs that differ from the study, canonical units.

    Returns
    -------
    UsedOrNew

    Raises
    ------
    InputError
        An unknown alternative, a place of none of the machines that it buys, one that is
        second-hand already, or a machine that does not do what the new one does.

    Examples
    --------
    >>> from capex.study import data_folder, read_study
    >>> study = read_study(data_folder() / "studies" / "quenlow.toml")
    >>> old = used_machine(study.machines["mid_all_in_one"], 36)
    >>> found = used_or_new(study, "all_in_one", 0, old)
    >>> found.used.price < found.new.price, found.level.reason.name
    (True, 'FOUND')
    """
    shown = study.replaced(dict(scenario or {}))
    both = _with_used(shown, alternative, place, used)
    found = appraise(both, keep="everything")
    level = walk_away(both, _USED, place, alternative, here=found)
    return UsedOrNew(
        alternative,
        place,
        study.alternatives[alternative].machines[place].machine,
        _condition(both, found, alternative, place),
        _condition(both, found, _USED, place),
        level,
    )


def _with_used(study: Study, alternative: str, place: int, used: Machine) -> Study:
    """Return the study with one more alternative, in which one purchase is second-hand."""
    machine_price(study, alternative, place)  # refuses what is not bought
    choice = study.alternatives[alternative]
    placement = choice.machines[place]
    if placement.second_hand:
        raise InputError("place", place, "is second-hand already; give the place of a new one")
    missing = sorted(study.machines[placement.machine].functions - used.functions)
    if missing:
        bound = f"must do all that {placement.machine} does; missing: {', '.join(missing)}"
        raise InputError("used", used.name, bound)
    bought = placement.model_copy(
        update={"machine": _USED, "second_hand": True, "price": None, "offer": None}
    )
    machines = (*choice.machines[:place], bought, *choice.machines[place + 1 :])
    machines = tuple(_paid_for(study, placement, one) for one in machines)
    added = choice.model_copy(update={"machines": machines, "baseline": False})
    return study.model_copy(
        update={
            "machines": {**study.machines, _USED: used},
            "alternatives": {**study.alternatives, _USED: added},
        }
    )


def _paid_for(study: Study, bought: Placement, other: Placement) -> Placement:
    """Return a machine of the shop; where the new one's offer took it in trade, it is sold.

    The seller of the used one gives as much for it, so that it tells nothing of new and used.
    """
    offer = study.offers[bought.offer] if bought.offer is not None else None
    if offer is None or offer.trade_in is None or offer.trade_in_of != other.machine:
        return other
    if not other.owned or other.sold_in_month is None:
        return other
    each = offer.trade_in.si / np.maximum(other.count.si, 1.0)
    proceeds = offer.trade_in.replaced(each, "sale_proceeds", study.currency)
    return other.model_copy(update={"sale_proceeds": proceeds})


def _condition(study: Study, found: Appraisal, key: str, place: int) -> Condition:
    outcome = found.outcomes[key]
    path = outcome.path.study  # with the months that a load set off
    choice = path.alternatives[key]
    machine = study.machines[choice.machines[place].machine]
    bought = Purchases(path, choice, outcome.net_cash_flow.shape[1] - 1)
    return Condition(
        gain=float(outcome.gain[0]),
        price=float(bought.unit_price(place)[0]),
        availability=float(availability(machine)[0]),
        service=machine.service.likely,
        resale=float(bought.disposal(place)[0].sum()),
        least_cash=float(outcome.worst_month_end_cash[0]),
    )
