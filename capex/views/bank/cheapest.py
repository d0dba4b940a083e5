"""Which offer for a machine is cheapest, what speaks for and against it, and how that is judged.

May import: from capex study, finance, `views.bank`, `views.charts.picture`.
"""

from __future__ import annotations

from typing import Any, Final

from capex.finance.offers import OfferView, SideBySide
from capex.finance.rate_of_return import RateOfReturn, RateReason
from capex.finance.rates import annual_rate
from capex.study import Offer
from capex.views.bank.amounts import amount_text, money_to_unit, whole_amount
from capex.views.bank.offers import offered_price
from capex.views.charts.picture import Look, joined

__all__ = ["offers_data", "offers_words"]

#: Share of a rate below which two rates are taken as alike [1/year].
_ALIKE: Final = 5e-5
_ORDER: Final = (
    "The order is that of cost in today's money after tax, which counts price, trade-in, fees, "
    "service, tax and resale. The effective rate says only what the money of an offer costs: a low "
    "one does not make an offer cheap."
)


def offers_words(found: SideBySide, look: Look) -> tuple[str, ...]:
    """Return which offer is cheapest and why, which have expired, and how they were compared."""
    nominal = float(found.borrowing_rate[0])
    given = "the rate of the study's own loan" if look.study.money.loan is not None else (
        "the discount rate, as the study has no loan of its own"
    )  # fmt: skip
    expired = [f"“{view.name}”" for view in found.views if view.expired]
    said = [*_cheapest_words(found, look), _ORDER]
    if expired:
        said.append(f"Expired on the day of decision, to be asked for again: {joined(expired)}.")
    said.append(
        f"Compared over {found.months} months at the borrowing rate of {nominal:.2%} a year "
        f"({given}) after tax; where an offer makes a loss in a year, that loss is taken to save "
        "tax on the shop's other income. Freight, training and insurance are the same for each "
        "and left out. The rate of a lease that goes back holds the resale given up, an estimate."
    )
    if any(view.net_advantage is not None for view in found.views):
        said.append(
            f"A lease is set against the same machine bought at the same price on a loan of all of "
            f"it at {nominal:.2%}, not against another offer."
        )
    return tuple(said)


def offers_data(found: SideBySide, look: Look) -> dict[str, Any]:
    """Return what the table and the words say as plain data, amounts unrounded."""
    return {
        "months": found.months,
        "borrowing_rate": float(found.borrowing_rate[0]),
        "offers": {view.key: _offer_data(view) for view in found.views},
        "words": list(offers_words(found, look)),
    }


def _offer_data(view: OfferView) -> dict[str, Any]:
    advantage = view.net_advantage
    return {
        "name": view.name,
        "kind": view.kind,
        "dated": view.dated.isoformat(),
        "valid_until": None if view.valid_until is None else view.valid_until.isoformat(),
        "expired": view.expired,
        "on_the_first_day": float(view.equity_needed[0]),
        "net_present_cost": float(view.net_present_cost[0]),
        "paid_in_all_less_resale": -float(view.cash[0].sum()),
        "annual_percentage_rate": _rate_data(view.annual_percentage_rate),
        "effective_rate": _rate_data(view.effective_rate),
        "lease_against_loan": None if advantage is None else float(advantage[0]),
    }


def _rate_data(rate: RateOfReturn) -> float | None:
    return float(rate.rate[0]) if rate.reason[0] == RateReason.FOUND else None


def _cheapest_words(found: SideBySide, look: Look) -> list[str]:
    ranked = sorted(found.views, key=lambda view: float(view.net_present_cost[0]))
    best = ranked[0]
    least = whole_amount(best.net_present_cost[0], look)
    if len(ranked) == 1:
        return [f"“{best.name}” is the only offer: {amount_text(least, look)} in today's money."]
    after = ranked[1]
    ahead = whole_amount(after.net_present_cost[0], look) - least
    for_it, against = _reasons(found, best, after, look)
    said = [
        f"“{best.name}” is cheapest, {amount_text(least, look)} in today's money after tax; "
        f"“{after.name}” is next, {amount_text(ahead, look)} more."
    ]
    if for_it:
        said.append(f"For the cheapest: {joined(for_it)}.")
    if against:
        said.append(f"For the next: {joined(against)}.")
    return said


def _reasons(
    found: SideBySide, best: OfferView, after: OfferView, look: Look
) -> tuple[list[str], list[str]]:
    """Return what speaks for one offer, and for the next, each as a clause."""
    study = look.study
    one, other = study.offers[best.key], study.offers[after.key]
    cheaper = offered_price(study, other) - offered_price(study, one)
    credited = _credit(one) - _credit(other)
    covered = [offer.lease is not None and offer.lease.maintenance_included
               for offer in (one, other)]  # fmt: skip
    compounded = float(annual_rate(found.borrowing_rate / 12.0)[0])
    rates = [_costs(view, compounded) for view in (best, after)]
    sides: tuple[list[str], list[str]] = ([], [])
    if cheaper:
        said = f"a price {money_to_unit(abs(cheaper), look)} lower"
        sides[cheaper < 0].append(said)
    if credited:
        said = f"{money_to_unit(abs(credited), look)} more for the old machine in trade"
        sides[credited < 0].append(said)
    if covered[0] != covered[1]:
        sides[covered[1]].append("service that the rent covers")
    if None not in rates and abs(rates[0] - rates[1]) > _ALIKE:  # type: ignore[operator]
        low, high = (best, after) if rates[0] < rates[1] else (after, best)  # type: ignore[operator]
        sides[low is after].append(
            f"money at {min(rates):.2%} a year effective{_own(low)} "  # type: ignore[type-var]
            f"against {max(rates):.2%}{_own(high)}"  # type: ignore[type-var]
        )
    return sides


def _costs(view: OfferView, compounded: float) -> float | None:
    """Return what the money of an offer costs a year; own money at the borrowing rate."""
    if view.kind == "cash":
        return compounded
    return _rate_data(view.effective_rate)


def _own(view: OfferView) -> str:
    return " (own money, at the borrowing rate)" if view.kind == "cash" else ""


def _credit(offer: Offer) -> float:
    return 0.0 if offer.trade_in is None else float(offer.trade_in.likely)
