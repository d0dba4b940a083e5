"""Bounds that one quantity of a study sets another: dates in order, hours within the day.

They hold for every scenario, so the study file and each replaced input are checked by the same
rule; a study file also at the low and high value of either quantity, one at a time. That resale
falls with age is asked of study files alone.

Imports numpy, `capex.errors`, `capex.units` and the other files of `capex.study`.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from capex.errors import InputError, Problem
from capex.study.parts import Unparsed
from capex.study.quantity import FloatArray, Quantity
from capex.units import quantity_text

if TYPE_CHECKING:
    from capex.study.alternatives import Placement
    from capex.study.offers import Offer
    from capex.study.study import Study

__all__ = ["Bound", "bound_problems", "check_bounds", "placements"]

_DAY = 24 * 3600.0


@dataclass(frozen=True)
class Bound:
    """What one quantity allows another.

    Parameters
    ----------
    path, other_path : str
        Of the quantity and of the other one in the study.
    quantity, other : Quantity
    holds : callable
        Takes the values of all, shape (n,) [canonical unit]; returns bool, shape (n,).
    words, turned : str
        What the quantity must be to the other, and the other to the quantity.
    reason : str
        Why, for people.
    beside : tuple of (str, Quantity)
        Paths and quantities that have a say beside the other one.
    """

    path: str
    quantity: Quantity
    other_path: str
    other: Quantity
    holds: Callable[..., npt.NDArray[np.bool_]]
    words: str
    turned: str
    reason: str
    beside: tuple[tuple[str, Quantity], ...] = ()

    @property
    def parts(self) -> tuple[tuple[str, Quantity], ...]:
        """Paths and quantities, the one that is bounded first."""
        return ((self.path, self.quantity), (self.other_path, self.other), *self.beside)

    def problem(
        self, *, spread: bool = False, changed: Iterable[str] = (), currency: str = ""
    ) -> Problem | None:
        """Return what is wrong, or None.

        Parameters
        ----------
        spread : bool
            Whether low and high values are tried too.
        changed : iterable of str
            Paths that were replaced; the problem is said of one of them.
        currency : str
            ISO 4217 code of the study.
        """
        parts = self.parts
        values = _cases([quantity for _, quantity in parts], spread=spread)
        broken = np.flatnonzero(~self.holds(*values))
        if broken.size == 0:
            return None
        said = [
            quantity_text(float(each[broken[0]]), quantity.entry.kind, currency=currency)
            for each, (_, quantity) in zip(values, parts, strict=True)
        ]
        moved = [place for place, (path, _) in enumerate(parts) if path in changed]
        at = moved[0] if moved else 0
        others = [f"{path} ({said[n]})" for n, (path, _) in enumerate(parts) if n != at]
        named = " and ".join(filter(None, (", ".join(others[:-1]), others[-1])))
        words = self.turned if at else self.words
        return Problem(parts[at][0], said[at], f"{words} {named}: {self.reason}")


def _cases(quantities: Sequence[Quantity], *, spread: bool) -> list[FloatArray]:
    """Return the values of all over the scenarios, and with each at an end of its spread."""
    values = [np.asarray(row) for row in np.broadcast_arrays(*(one.si for one in quantities))]
    if spread:
        for moved, one in enumerate(quantities):
            ends = [end for end in (one.low, one.high) if end is not None]
            for place, other in enumerate(quantities):
                there = ends if place == moved else [other.likely] * len(ends)
                values[place] = np.concatenate([values[place], there])
    return values


def placements(study: Study) -> Iterator[tuple[str, Placement]]:
    """Yield the machines of all alternatives with their paths."""
    for key, choice in getattr(study, "alternatives", {}).items():
        for index, placement in enumerate(getattr(choice, "machines", ())):
            yield f"alternatives.{key}.machines.{index}", placement


def bound_problems(study: Study) -> Iterator[Problem]:
    """Yield the bounds that a study breaks, at its likely values or an end of a spread."""
    for bound in _bounds(study):
        problem = bound.problem(spread=True, currency=getattr(study, "currency", ""))
        if problem is not None:
            yield problem
    for bound in _resale_bounds(study):
        problem = bound.problem(spread=True)
        if problem is not None:
            yield problem


def check_bounds(study: Study, changed: Iterable[str]) -> None:
    """Refuse scenarios that break a bound.

    Parameters
    ----------
    study : Study
        With its inputs replaced.
    changed : iterable of str
        Their paths; bounds between other quantities were checked before.

    Raises
    ------
    InputError
        With both fields, the value and what the other one allows.
    """
    paths = frozenset(changed)
    for bound in _bounds(study):
        if any(path in paths for path, _ in bound.parts):
            problem = bound.problem(changed=paths, currency=study.currency)
            if problem is not None:
                raise InputError(problem.path, problem.value, problem.bound)


def _bounds(study: Study) -> Iterator[Bound]:
    """Yield all bounds of a study whose quantities could be read."""
    for rule in (_within_the_day, _overtime_within_the_day, _care_within_the_shift):
        try:
            yield rule(study)
        except Unparsed:
            continue
    for path, placement in placements(study):
        for dates in (_bought_in_time, _sold_in_time, _sold_after_it_came):
            try:
                bound = dates(study, path, placement)
            except Unparsed:
                continue
            if bound is not None:
                yield bound
    for key, offer in getattr(study, "offers", {}).items():
        for terms in (_repaid_in_time, _rentals_within_the_term):
            try:
                bound = terms(f"offers.{key}", offer)
            except Unparsed:
                continue
            if bound is not None:
                yield bound


def _resale_bounds(study: Study) -> Iterator[Bound]:
    """Yield that no machine is worth more a year later.

    Of study files alone: years that are drawn each for itself may cross by chance, which moves no
    more than a resale at one age. What reads a whole curve as falling refuses one that rises.
    """
    for key, machine in getattr(study, "machines", {}).items():
        path = f"machines.{key}.resale_by_year"
        try:
            curve = machine.resale_by_year
        except Unparsed:
            continue
        for year in range(1, len(curve)):
            yield Bound(
                f"{path}.{year}", curve[year], f"{path}.{year - 1}", curve[year - 1],
                np.less_equal, "must be at most", "must be at least",
                "a machine is worth no more a year later",
            )  # fmt: skip


def _within_the_day(study: Study) -> Bound:
    hours = study.shop.hours
    return Bound(
        "shop.hours.overnight_per_day", hours.overnight_per_day,
        "shop.hours.hours_per_day", hours.hours_per_day,
        lambda night, staffed: night + staffed <= _DAY * (1 + 1e-12),
        "must leave room for", "must leave room for", "a day has 24 h",
    )  # fmt: skip


def _overtime_within_the_day(study: Study) -> Bound:
    hours = study.shop.hours

    def holds(
        daily: FloatArray, staffed: FloatArray, night: FloatArray, monthly: FloatArray
    ) -> npt.NDArray[np.bool_]:
        fits = daily + staffed + night <= _DAY * (1 + 1e-12)
        # a night that does not fit beside the shift is another rule's
        return np.asarray(fits | (monthly <= 0) | (staffed + night > _DAY * (1 + 1e-12)))

    return Bound(
        "shop.dispatching.overtime_per_day", study.shop.dispatching.overtime_per_day,
        "shop.hours.hours_per_day", hours.hours_per_day, holds,
        "must leave room for", "must leave room for", "a day has 24 h, and overtime is allowed",
        (("shop.hours.overnight_per_day", hours.overnight_per_day),
         ("shop.hours.overtime_per_month", hours.overtime_per_month)),
    )  # fmt: skip


def _care_within_the_shift(study: Study) -> Bound:
    hours = study.shop.hours
    return Bound(
        "shop.hours.care_per_day", hours.care_per_day,
        "shop.hours.hours_per_day", hours.hours_per_day,
        np.less,
        "must be less than", "must be more than", "care takes staffed hours",
    )  # fmt: skip


def _bought_in_time(study: Study, path: str, placement: Placement) -> Bound:
    return Bound(
        f"{path}.month", placement.month, "money.horizon", study.money.horizon, np.less,
        "must be before", "must be after", "the purchase would never happen",
    )  # fmt: skip


def _sold_in_time(study: Study, path: str, placement: Placement) -> Bound | None:
    if placement.sold_in_month is None:
        return None
    return Bound(
        f"{path}.sold_in_month", placement.sold_in_month, "money.horizon", study.money.horizon,
        np.less, "must be before", "must be after", "the sale would never happen",
    )  # fmt: skip


def _sold_after_it_came(study: Study, path: str, placement: Placement) -> Bound | None:
    if placement.sold_in_month is None:
        return None
    return Bound(
        f"{path}.sold_in_month", placement.sold_in_month, f"{path}.month", placement.month,
        np.greater_equal, "must not be before", "must not be after",
        "a machine is sold after it came",
    )  # fmt: skip


def _repaid_in_time(path: str, offer: Offer) -> Bound | None:
    if offer.loan is None:
        return None
    return Bound(
        f"{path}.loan.interest_only_months", offer.loan.interest_only_months,
        f"{path}.loan.term", offer.loan.term, np.less,
        "must be less than", "must be more than", "a month is needed to repay in",
    )  # fmt: skip


def _rentals_within_the_term(path: str, offer: Offer) -> Bound | None:
    if offer.lease is None:
        return None
    return Bound(
        f"{path}.lease.rentals_in_advance", offer.lease.rentals_in_advance,
        f"{path}.lease.term", offer.lease.term, np.less_equal,
        "must be at most", "must be at least", "the lease has no more rentals",
    )  # fmt: skip
