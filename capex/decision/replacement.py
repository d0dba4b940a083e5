"""Replacement age: when a machine costs least a year, and when the one in the shop should go.

Costs alone, nominal and before tax on profit, at year ends: what the machines earn is taken as
alike. Where it is not, compare alternatives with `capex.decision.appraise`.

Imports numpy, `capex.study`, `capex.finance` and `capex.errors`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import IntEnum

import numpy as np
import numpy.typing as npt
from numpy.typing import ArrayLike

from capex.errors import InputError
from capex.finance.arrays import parse_finite, parse_rate
from capex.finance.purchases import Purchases, resale_value
from capex.study import Machine, Study

__all__ = [
    "EconomicLife", "Replacement", "ReplacementReason", "economic_life", "machine_life",
    "machine_replacement", "replacement",
]  # fmt: skip

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.intp]


@dataclass(frozen=True)
class EconomicLife:
    """What a machine costs by the age at which it goes; costs are positive.

    Parameters
    ----------
    marginal_cost : ndarray, shape (..., N) [currency/year]
        Of each year: value lost, interest on the value at its start, and upkeep.
    equivalent_annual_cost : ndarray, shape (..., N) [currency/year]
        Level cost of every year if it goes at the end of the first, second … N-th.
    """

    marginal_cost: FloatArray
    equivalent_annual_cost: FloatArray

    @property
    def age(self) -> IntArray:
        """Age at which a year costs least, shape (...) [years]."""
        return np.asarray(self.equivalent_annual_cost.argmin(axis=-1) + 1)

    @property
    def cost(self) -> FloatArray:
        """Equivalent annual cost at that age, shape (...) [currency/year]."""
        return np.asarray(self.equivalent_annual_cost.min(axis=-1))

    @property
    def still_falling(self) -> npt.NDArray[np.bool_]:
        """Whether that age is the last one stated, so that the best may lie beyond, shape (...)."""
        return np.asarray(self.age == self.equivalent_annual_cost.shape[-1])


class ReplacementReason(IntEnum):
    """When the machine that is there should go."""

    NOW = 0
    LATER = 1
    NOT_IN_SIGHT = 2

    @property
    def words(self) -> str:
        """The reason as a sentence for the screen."""
        return _WORDS[self]


_WORDS = {
    ReplacementReason.NOW: "replace it now: keeping it costs more than the new one does a year",
    ReplacementReason.LATER: "keep it for these years: the next one costs more than the new one",
    ReplacementReason.NOT_IN_SIGHT: "keep it in all the years that were looked at",
}


@dataclass(frozen=True)
class Replacement:
    """How long to keep a machine before its successor takes over.

    Parameters
    ----------
    marginal_cost : ndarray, shape (..., N) [currency/year]
        Of one more year with the old machine.
    successor_cost : ndarray, shape (...) [currency/year]
        Equivalent annual cost of the new one.
    years : ndarray of int, shape (...)
        To keep the old one; 0 is to replace it now.
    reason : ndarray of int, shape (...)
        A `ReplacementReason` each.
    saving : ndarray, shape (...) [currency]
        Present value of keeping it that long over replacing it now; not negative.
    """

    marginal_cost: FloatArray
    successor_cost: FloatArray
    years: IntArray
    reason: IntArray
    saving: FloatArray


def economic_life(
    price: ArrayLike, upkeep: ArrayLike, resale: ArrayLike, discount_rate: ArrayLike
) -> EconomicLife:
    """Return what a machine costs by the age at which it goes.

    Parameters
    ----------
    price : array_like, (...) [currency]
        Installed; for a machine that is there, what it would fetch now.
    upkeep : array_like, (..., N) [currency]
        Paid in each year, counted at its end.
    resale : array_like, (..., N) [currency]
        What it fetches at the end of each year.
    discount_rate : array_like, (...) [1/year]
        Effective annual rate, above −1.

    Returns
    -------
    EconomicLife

    Raises
    ------
    InputError
        Upkeep and resale of different lengths, or a number that is not finite.

    Examples
    --------
    >>> found = economic_life(
    ...     20_000, [2000, 3000, 4620, 8000, 12_000], [15_000, 11_250, 8500, 6500, 4750], 0.1)
    >>> found.equivalent_annual_cost[:3].round(), int(found.age)
    (array([9000., 8643., 8598.]), 3)

    Source: sullivan-engineering-economy, example on the economic life of a fork-lift truck.
    """
    cost, value = parse_finite("upkeep", upkeep), parse_finite("resale", resale)
    if cost.ndim == 0 or value.ndim == 0 or cost.shape[-1] != value.shape[-1]:
        raise InputError("resale", value.shape, "must have one value a year, as upkeep has")
    rate = parse_rate("discount_rate", discount_rate)[..., None]
    first = parse_finite("price", price)[..., None]
    shape = np.broadcast_shapes((*first.shape[:-1], 1), cost.shape, value.shape, rate.shape)
    value = np.broadcast_to(value, shape)
    before = np.concatenate([np.broadcast_to(first, (*shape[:-1], 1)), value[..., :-1]], axis=-1)
    marginal = before * (1.0 + rate) - value + cost
    factors = (1.0 + rate) ** -np.arange(1.0, shape[-1] + 1.0)
    level = (marginal * factors).cumsum(axis=-1) / factors.cumsum(axis=-1)
    return EconomicLife(np.asarray(marginal), np.asarray(level))


def replacement(
    worth_now: ArrayLike,
    upkeep: ArrayLike,
    resale: ArrayLike,
    discount_rate: ArrayLike,
    successor_cost: ArrayLike,
) -> Replacement:
    """Return how long to keep a machine before a successor of known yearly cost takes over.

    The years that leave the least present cost, the successor being followed by its like for
    ever. Where marginal cost only rises, that is to keep it until a year costs more than the
    successor.

    Parameters
    ----------
    worth_now : array_like, (...) [currency]
        What the machine would fetch today; what was once paid for it does not matter.
    upkeep, resale : array_like, (..., N) [currency]
        Of each further year, and at its end.
    discount_rate : array_like, (...) [1/year]
        Effective annual rate, above −1.
    successor_cost : array_like, (...) [currency/year]
        Equivalent annual cost of the new one at its best age.

    Returns
    -------
    Replacement

    Raises
    ------
    InputError
        As `economic_life`.

    Examples
    --------
    >>> found = replacement(5000, [5500, 6600, 7800, 8800], [4000, 3000, 2000, 1000], 0.1, 8598)
    >>> int(found.years), found.marginal_cost
    (2, array([ 7000.,  8000.,  9100., 10000.]))

    Source: sullivan-engineering-economy, example on keeping the old fork-lift truck.
    """
    marginal = economic_life(worth_now, upkeep, resale, discount_rate).marginal_cost
    cost = parse_finite("successor_cost", successor_cost)
    rate = parse_rate("discount_rate", discount_rate)[..., None]
    last = marginal.shape[-1]
    more = (marginal - cost[..., None]) * (1.0 + rate) ** -np.arange(1.0, last + 1.0)
    kept = np.concatenate([np.zeros_like(more[..., :1]), more.cumsum(axis=-1)], axis=-1)
    years = np.asarray(kept.argmin(axis=-1))
    reason = np.where(years == 0, int(ReplacementReason.NOW), int(ReplacementReason.LATER))
    reason = np.where(years == last, int(ReplacementReason.NOT_IN_SIGHT), reason)
    shown = np.broadcast_to(cost, years.shape)
    return Replacement(marginal, shown, years, reason, np.asarray(0.0 - kept.min(axis=-1)))


def machine_life(
    study: Study,
    machine: str,
    *,
    upkeep_growth: float,
    years: int = 12,
    scenario: Mapping[str, float] | None = None,
) -> EconomicLife:
    """Return what a machine of the study, bought new, costs by the age at which it goes.

    Parameters
    ----------
    study : Study
    machine : str
        Key.
    upkeep_growth : float [1/year]
        By how much service rises with each year of age, beyond the study's rise of overheads.
        A study states no more than the first year's: ask for it, or try several.
    years : int
        Oldest age looked at.
    scenario : mapping of str to float, optional
        Inputs that differ from the study, canonical units.

    Returns
    -------
    EconomicLife
        Arrays of shape (1, years).

    Raises
    ------
    InputError
        An unknown machine, no year, or a growth of −100 % or less.

    Examples
    --------
    >>> from capex.study import data_folder, read_study
    >>> study = read_study(data_folder() / "studies" / "quenlow.toml")
    >>> steady = machine_life(study, "mid_all_in_one", upkeep_growth=0.0)
    >>> rising = machine_life(study, "mid_all_in_one", upkeep_growth=0.3)
    >>> bool(rising.age[0] < steady.age[0])
    True
    """
    shown = study.replaced(dict(scenario or {}))
    kind = _machine(shown, machine)
    price, beside = _paid_new(shown, machine)
    upkeep, resale = _costs(shown, kind, price, price, 0.0, upkeep_growth, years)
    return economic_life(price + beside, upkeep, resale, shown.money.discount_rate.si)


def machine_replacement(
    study: Study,
    machine: str,
    successor: str,
    *,
    age: float,
    upkeep_growth: float,
    worth_now: float | None = None,
    years: int = 12,
    scenario: Mapping[str, float] | None = None,
) -> Replacement:
    """Return how long to keep a machine of the shop before a new one takes over.

    Parameters
    ----------
    study : Study
    machine, successor : str
        Keys of the one that is there and of the one that would be bought new. The service that
        the study states for the old one is that of its next year.
    age : float [years]
        Of the old one today; its resale goes on along its curve.
    upkeep_growth : float [1/year]
        As `machine_life`, of both.
    worth_now : float, optional [currency]
        What the old one would fetch, sold or traded in; by default its price along its curve.
    years : int
        Further years looked at, and oldest age of the new one.
    scenario : mapping of str to float, optional
        Inputs that differ from the study, canonical units.

    Returns
    -------
    Replacement
        Arrays with a leading axis of 1.

    Raises
    ------
    InputError
        As `machine_life`; an age or a worth below 0.

    Examples
    --------
    >>> from capex.study import data_folder, read_study
    >>> study = read_study(data_folder() / "studies" / "quenlow.toml")
    >>> found = machine_replacement(
    ...     study, "old_cutter", "mid_contour_cutter", age=8, upkeep_growth=0.1, worth_now=500)
    >>> ReplacementReason(found.reason[0]).name
    'NOT_IN_SIGHT'
    """
    for field, value in (("age", age), ("worth_now", worth_now)):
        if value is not None and not (np.isfinite(value) and value >= 0.0):
            raise InputError(field, value, "must be at least 0")
    shown = study.replaced(dict(scenario or {}))
    kind = _machine(shown, machine)
    left = resale_value(kind, 12.0 * age)
    price = kind.price.si * left if worth_now is None else np.array([worth_now])
    upkeep, resale = _costs(shown, kind, price, kind.price.si, age, upkeep_growth, years)
    new = machine_life(shown, successor, upkeep_growth=upkeep_growth, years=years)
    return replacement(price, upkeep, resale, shown.money.discount_rate.si, new.cost)


def _machine(study: Study, key: str) -> Machine:
    if key not in study.machines:
        known = ", ".join(study.machines)
        raise InputError("machine", key, f"is not one of the study; known: {known}")
    return study.machines[key]


def _paid_new(study: Study, machine: str) -> tuple[FloatArray, FloatArray]:
    """Return the price of a new one, and sales tax, freight, installation and training of it.

    As the first alternative that buys one pays; by the catalogue where none does.
    """
    for alternative in study.alternatives.values():
        for place, placement in enumerate(alternative.machines):
            if placement.machine == machine and not placement.owned:
                price = Purchases(study, alternative, 1).unit_price(place)
                training = placement.training.si / np.maximum(placement.count.si, 1.0)
                beside = placement.freight_and_installation.si + training
                return price, price * study.money.tax.on_purchases.si + beside
    price = study.machines[machine].price.si * study.levers.machine_price.si
    return price, price * study.money.tax.on_purchases.si


def _costs(
    study: Study,
    machine: Machine,
    price: FloatArray,
    insured_at: FloatArray,
    age: float,
    growth: float,
    years: int,
) -> tuple[FloatArray, FloatArray]:
    """Return upkeep of further years and resale at their ends, each (1, years) [currency].

    Upkeep is service and insurance, that on the price as in the ledger; of a machine of some age,
    resale follows the rest of its curve from what it is worth now.
    """
    if years < 1:
        raise InputError("years", years, "must be at least 1")
    if not (np.isfinite(growth) and growth > -1.0):
        raise InputError("upkeep_growth", growth, "must be above -1 (a fraction: 0.1 for 10 %)")
    passed = np.arange(years)
    level = (1.0 + study.money.escalation.overheads.si[:, None]) ** passed
    service = machine.service.si[:, None] * (1.0 + growth) ** passed
    insured = study.shop.premises.insurance.si[:, None] * insured_at[:, None]
    now = float(resale_value(machine, 12.0 * age)[0])
    curve = resale_value(machine, 12.0 * (age + 1.0 + passed))
    left = curve / now if now > 0.0 else np.zeros(years)
    return np.asarray((service + insured) * level), price[:, None] * left
