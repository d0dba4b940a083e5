"""Bounds that one quantity of a study sets another: dates in order, hours within the day.

They hold for every scenario, so the study file and each replaced input are checked by the same
rule; a study file also at the low and high value of either quantity, one at a time. That resale
falls with age is asked of study files alone.

Imports numpy, `capex.errors`, `capex.units` and the other files of `capex.study`.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
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
        Takes the values of both, shape (n,) [canonical unit]; returns bool, shape (n,).
    words, turned : str
        What the quantity must be to the other, and the other to the quantity.
    reason : str
        Why, for people.
    """

    path: str
    quantity: Quantity
    other_path: str
    other: Quantity
    holds: Callable[[FloatArray, FloatArray], npt.NDArray[np.bool_]]
    words: str
    turned: str
    reason: str

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
        values, others = _cases(self.quantity, self.other, spread=spread)
        broken = np.flatnonzero(~self.holds(values, others))
        if broken.size == 0:
            return None
        ends = (
            (self.path, self.quantity, float(values[broken[0]])),
            (self.other_path, self.other, float(others[broken[0]])),
        )
        turned = self.path not in changed and self.other_path in changed
        (path, quantity, value), (named, other, limit) = ends[::-1] if turned else ends
        said, limit_said = (
            quantity_text(number, which.entry.kind, currency=currency)
            for number, which in ((value, quantity), (limit, other))
        )
        words = self.turned if turned else self.words
        return Problem(path, said, f"{words} {named} ({limit_said}): {self.reason}")


def _cases(one: Quantity, other: Quantity, *, spread: bool) -> tuple[FloatArray, FloatArray]:
    """Return the values of both over the scenarios, and with one at an end of its spread."""
    values, others = np.broadcast_arrays(one.si, other.si)
    if spread:
        mine = [end for end in (one.low, one.high) if end is not None]
        theirs = [end for end in (other.low, other.high) if end is not None]
        values = np.concatenate([values, mine, np.full(len(theirs), one.likely)])
        others = np.concatenate([others, np.full(len(mine), other.likely), theirs])
    return values, others


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
        if bound.path in paths or bound.other_path in paths:
            problem = bound.problem(changed=paths, currency=study.currency)
            if problem is not None:
                raise InputError(problem.path, problem.value, problem.bound)


def _bounds(study: Study) -> Iterator[Bound]:
    """Yield all bounds of a study whose quantities could be read."""
    for rule in (_within_the_day, _care_within_the_shift):
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
