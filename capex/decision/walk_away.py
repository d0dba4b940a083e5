"""The highest price at which each machine of an alternative is still worth buying.

Three limits: against the baseline, against the best rival or a named one, and a lender's minimum
cover. Each is found on the path of every other figure, the price being an input like any other.

Which entries a price moves says `capex.decision.machine_price`.

Imports numpy, `capex.study`, `capex.finance` and, of this folder, `appraise`, `break_even`,
`cover`, `machine_price` and `price_limit`.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from capex.decision.appraise import Appraisal, appraise
from capex.decision.break_even import rounding
from capex.decision.cover import lender_view_of
from capex.decision.machine_price import for_cash, machine_price
from capex.decision.price_limit import PriceLimit, PriceReason, highest_price, top_price
from capex.errors import InputError
from capex.finance.coverage import USUAL_COVER, CoverDefinition
from capex.finance.price_ceilings import bankable_price, loan_constant
from capex.study import Placement, Study

__all__ = ["MachineWalkAway", "walk_away", "walk_away_prices"]

FloatArray = npt.NDArray[np.float64]

_ROUNDING: Final = 1e-11  # share of the largest flow of cash that is rounding of sums
_HALVINGS: Final = 40  # to the lowest or highest price that an offer allows


@dataclass(frozen=True)
class MachineWalkAway:
    """The limits of the price of one machine that an alternative buys.

    Parameters
    ----------
    alternative : str
        Key.
    place : int
        Of the placement in the alternative.
    machine : str
        Key.
    today : float
        Price of one machine as the study stands [currency].
    against_baseline, against_rival, at_lender : PriceLimit
    bankable : float or None
        The lender's limit in closed form, from the year with the least cover today [currency];
        None where no level-payment loan of a share of the price pays for it.
    """

    alternative: str
    place: int
    machine: str
    today: float
    against_baseline: PriceLimit
    against_rival: PriceLimit
    at_lender: PriceLimit
    bankable: float | None


def walk_away_prices(
    study: Study,
    alternative: str,
    scenario: Mapping[str, float] | None = None,
    *,
    rival: str | None = None,
    high: float | None = None,
    definition: CoverDefinition = USUAL_COVER,
) -> tuple[MachineWalkAway, ...]:
    """Return the walk-away prices of every machine that an alternative buys.

    Parameters
    ----------
    study : Study
    alternative : str
        Key; not the baseline's.
    scenario : mapping of str to float, optional
        Inputs that differ from the study, canonical units.
    rival : str, optional
        Key of the alternative to stay ahead of; by default the best of all but the baseline,
        at each price anew.
    high : float, optional
        Highest price tried [currency]; by default 100 times today's, or the catalogue's if higher.
    definition : CoverDefinition
        What cover counts as cash.

    Returns
    -------
    tuple of MachineWalkAway
        One a placement that is not owned already, in the order of the alternative.

    Raises
    ------
    InputError
        An unknown alternative or one compared with itself, a value outside its bounds, or a
        highest price that is not above 0.

    Examples
    --------
    >>> from capex.study import data_folder, read_study
    >>> study = read_study(data_folder() / "studies" / "quenlow.toml")
    >>> found, = walk_away_prices(study, "all_in_one", rival="separate")
    >>> found.machine, found.against_rival.reason.name
    ('mid_all_in_one', 'FOUND')
    >>> bool(found.against_rival.price < found.against_baseline.price)
    True
    """
    shown = study.replaced(dict(scenario or {}))
    choice = shown.alternative(alternative)
    for against in (shown.baseline, rival):
        _others(shown, alternative, against)  # refuses before any work
    here = appraise(shown, keep="everything")
    found = []
    for place, placement in enumerate(choice.machines):
        if placement.owned:
            continue
        versus, beside = (
            walk_away(shown, alternative, place, key, high=high, here=here)
            for key in (shown.baseline, rival)
        )
        lender = _at_lender(shown, here, alternative, place, high, definition)
        bankable = _bankable(shown, here, alternative, place, definition)
        found.append(
            MachineWalkAway(
                alternative, place, placement.machine, versus.today, versus, beside, lender,
                bankable,
            )
        )  # fmt: skip
    return tuple(found)


def walk_away(
    study: Study,
    alternative: str,
    place: int,
    against: str | None = None,
    *,
    high: float | None = None,
    here: Appraisal | None = None,
) -> PriceLimit:
    """Return the highest price of one machine at which an alternative is not behind another.

    Parameters
    ----------
    study : Study
        With the scenario's values in place.
    alternative : str
        Key.
    place : int
        Of a placement in it that is bought.
    against : str, optional
        Key of the other; by default the best of all but the baseline, at each price anew.
    high : float, optional
        Highest price tried [currency]; by default 100 times today's, or the catalogue's if higher.
    here : Appraisal, optional
        Of the study, with its details, where it is known already.

    Returns
    -------
    PriceLimit

    Raises
    ------
    InputError
        As `walk_away_prices`.

    Examples
    --------
    >>> from capex.study import data_folder, read_study
    >>> study = read_study(data_folder() / "studies" / "quenlow.toml")
    >>> walk_away(study, "separate", 0, "keep").reason.name
    'FOUND'
    """
    others = _others(study, alternative, against)
    now = here or appraise(study, keep="everything")
    mine, keys = list(study.alternatives).index(alternative), list(study.alternatives)
    moved = machine_price(study, alternative, place)
    today, top = moved.today, top_price(moved, high)
    if not others:
        return PriceLimit(None, PriceReason.NO_RIVAL, today, None, (0.0, top))
    cash = for_cash(study)

    def gains(prices: FloatArray) -> FloatArray:
        batch = moved.scenarios(prices)
        found = appraise(cash, batch, keep="cash", like=now, lateness=now.lateness)
        return found.net_present_value

    def leads(prices: FloatArray) -> FloatArray:
        worth = gains(prices)
        best = worth[:, others].max(axis=1, keepdims=True)
        return np.asarray(worth[:, [mine]] - best)

    price, reason = highest_price(leads, 0.0, top, rounding(now))
    there = gains(np.array([price]))[0] if price is not None else now.net_present_value[0]
    level_with = keys[others[int(there[others].argmax())]]
    return PriceLimit(price, reason, today, level_with, (0.0, top))


def _at_lender(
    study: Study,
    here: Appraisal,
    key: str,
    place: int,
    high: float | None,
    definition: CoverDefinition,
) -> PriceLimit:
    """Return the price at which the year with the least cover is at the lender's minimum."""
    level = study.money.lender.minimum_cover.likely
    moved = machine_price(study, key, place)
    today, top = moved.today, top_price(moved, high)

    def found(prices: FloatArray) -> Appraisal:
        batch = moved.scenarios(prices)
        return appraise(study, batch, keep="everything", like=here, lateness=here.lateness)

    def spare(prices: FloatArray) -> FloatArray:
        view = lender_view_of(found(prices).outcomes[key], definition)
        service = view.debt_service_by_year
        each = np.where(service > 0.0, view.cash_by_year - level * service, np.inf)
        least = each.min(axis=1, keepdims=True)
        return np.where(np.isinf(least), np.nan, least)

    low, top = (_accepted(found, today, end) for end in (0.0, top))
    zero = _ROUNDING * float(np.abs(here.outcomes[key].equity_cash_flow).max())
    price, reason = highest_price(spare, low, top, zero)
    return PriceLimit(price, _OF_COVER.get(reason, reason), today, None, (low, top))


_OF_COVER = {
    PriceReason.ANY_PRICE: PriceReason.COVERED_AT_ANY_PRICE,
    PriceReason.NOT_FREE: PriceReason.NOT_COVERED_FREE,
}


def _others(study: Study, alternative: str, against: str | None) -> list[int]:
    """Return the places of the alternatives that one is to stay ahead of."""
    study.alternative(alternative)
    if against is not None:
        study.alternative(against)
        if against == alternative:
            raise InputError("against", against, "must be another alternative")
    skipped = (alternative, study.baseline)
    return [
        place
        for place, key in enumerate(study.alternatives)
        if (key == against if against is not None else key not in skipped)
    ]


def _accepted(found: Callable[[FloatArray], object], inside: float, end: float) -> float:
    """Return the price nearest to an end that the terms of an offer allow."""

    def allowed(price: float) -> bool:
        try:
            found(np.array([price]))
        except InputError:
            return False
        return True

    if allowed(end):
        return end
    barred = end
    for _ in range(_HALVINGS):
        middle = (inside + barred) / 2.0
        if allowed(middle):
            inside = middle
        else:
            barred = middle
    return inside


def _bankable(
    study: Study, here: Appraisal, key: str, place: int, definition: CoverDefinition
) -> float | None:
    """Return the lender's limit in closed form, where a loan of a share of the price pays."""
    dated = here.outcomes[key].path.study  # with the months that a load set off
    placement, loan = dated.alternatives[key].machines[place], study.money.loan
    if placement.offer is not None or loan is None or loan.share.likely == 0.0:
        return None
    view = lender_view_of(here.outcomes[key], definition)
    year = int(view.lowest_year.when[0])
    months = _months_paid(study, placement, loan.term.likely, year)
    if year < 1 or months < 1.0:
        return None
    rate = loan.annual_rate.likely + study.levers.loan_rate_shift.likely
    constant = float(loan_constant(rate, loan.term.likely)) * months / 12.0
    share, count = loan.share.likely, placement.count.likely
    own = share * constant * machine_price(study, key, place).today * count
    other = float(view.debt_service_by_year[0, year - 1]) - own
    cash, level = float(view.cash_by_year[0, year - 1]), study.money.lender.minimum_cover.likely
    whole = bankable_price(cash, level, constant, existing_debt_service=other, loan_to_value=share)
    return float(whole) / count


def _months_paid(study: Study, placement: Placement, term: float, year: int) -> float:
    """Return in how many months of a project year a machine's loan is served."""
    bought = placement.month.likely
    last = min(12.0 * year, bought + term, study.money.horizon.likely)
    return last - max(12.0 * (year - 1), bought)
