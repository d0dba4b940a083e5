"""Offers for one machine side by side: cash by month, a table, and which is cheapest and why.

May import: numpy, and from capex study, finance, `views.chart`, `views.charts.picture` and
`views.palette`.
"""

from __future__ import annotations

import numpy as np

from capex.finance.offers import OfferView, SideBySide, offers_side_by_side
from capex.finance.rate_of_return import RateOfReturn, RateReason
from capex.finance.rates import annual_rate
from capex.study import Offer, Study
from capex.study.offers import AtEnd
from capex.views.chart import ChartTable
from capex.views.charts.picture import Look, Picture, axis, joined, plot_text
from capex.views.palette import alternative_styles

__all__ = ["machines_with_offers", "offers_compared", "offers_picture", "offers_table",
           "offers_words"]  # fmt: skip

_KINDS = {"cash": "cash", "loan": "loan", "lease": "lease"}
_ENDS: dict[AtEnd, str] = {
    "ownership": "the shop's own at the end", "purchase": "bought at the end",
    "return": "goes back at the end",
}  # fmt: skip
#: Share of a rate below which two rates are taken as alike [1/year].
_ALIKE = 5e-5


def machines_with_offers(study: Study) -> dict[str, str]:
    """Return names of the machines that there are offers for, by key."""
    return {offer.machine: study.machines[offer.machine].name for offer in study.offers.values()}


def offers_compared(study: Study, machine: str) -> SideBySide:
    """Return all offers for a machine side by side.

    A study without a loan of its own has no borrowing rate; then its discount rate, as a nominal
    rate by month, is what money costs, and `offers_words` says so.

    Raises
    ------
    InputError
        As `offers_side_by_side`.
    """
    keys = [key for key, offer in study.offers.items() if offer.machine == machine]
    rate = None if study.money.loan is not None else _money_costs(study)
    return offers_side_by_side(study, keys, borrowing_rate=rate)


def _money_costs(study: Study) -> float:
    yearly = float(study.money.discount_rate.likely)
    return 12.0 * float(np.expm1(np.log1p(yearly) / 12.0))


def offers_picture(found: SideBySide, look: Look) -> Picture:
    """Return what each offer has moved up to each month, after tax."""
    styles = alternative_styles([view.key for view in found.views])
    at = np.arange(found.months + 1)
    totals = {view.key: view.after_tax_cash[0].cumsum() for view in found.views}
    data = [
        {
            "type": "scatter", "mode": "lines", "name": plot_text(view.name), "x": at,
            "y": (totals[view.key] * look.currency.rate).round(0),
            "line": {**styles[view.key].line, "shape": "hv"},
            "hovertemplate": f"%{{y:,.3s}} {look.currency.code}",
        }
        for view in found.views
    ]  # fmt: skip
    layout = {
        "xaxis": axis("Month from the purchase", dtick=12 if found.months > 24 else 3),
        "yaxis": axis(f"Cash so far, after tax ({look.currency.code})", tickformat="~s"),
        "hovermode": "x unified",
    }
    table = ChartTable(
        ["Month", *(f"{view.name}: {what}" for view in found.views
                    for what in ("in the month", "so far, after tax"))],
        [
            [str(m), *(text for view in found.views
                       for text in (look.money(view.cash[0, m]),
                                    look.money(totals[view.key][m])))]
            for m in at
        ],
    )  # fmt: skip
    first = max(found.views, key=lambda view: float(view.equity_needed[0]))
    least = min(found.views, key=lambda view: float(view.equity_needed[0]))
    most = min(found.views, key=lambda view: float(totals[view.key][-1]))
    reading = (
        f"On the first day {first.name} takes {look.money(first.equity_needed[0])}"
        + ("" if first is least else f", {least.name} {look.money(least.equity_needed[0])}")
        + f"; by month {found.months} {most.name} has taken most, "
        f"{look.money(-totals[most.key][-1])}. The step up at the end is what the machine fetches "
        "then, where it is the shop's; steps at year ends are tax."
    )
    return Picture({"data": data, "layout": layout}, reading, table)


def offers_table(found: SideBySide, look: Look) -> ChartTable:
    """Return a column an offer: what it says, what it costs, and named reasons for gaps."""
    views, study = found.views, look.study
    offers = [study.offers[view.key] for view in views]
    rows: list[list[str]] = [
        ["Kind", *(_kind(offer) for offer in offers)],
        ["Dated", *(offer.dated.isoformat() for offer in offers)],
        ["Valid until", *(_validity(view) for view in views)],
        ["Price", *(_price(study, offer, look) for offer in offers)],
        ["Trade-in", *(_trade_in(study, offer, look) for offer in offers)],
        ["On the first day", *(look.money(view.equity_needed[0]) for view in views)],
        ["APR (12 times the monthly rate)",
         *(_rate(view, view.annual_percentage_rate) for view in views)],
        ["Effective rate a year", *(_rate(view, view.effective_rate) for view in views)],
        ["Paid in all, less resale, before tax",
         *(look.money(-float(view.cash[0].sum())) for view in views)],
        ["Cost in today's money, after tax",
         *(look.money(view.net_present_cost[0]) for view in views)],
        ["What leasing leaves over buying on a loan", *(_advantage(view, look) for view in views)],
    ]  # fmt: skip
    return ChartTable(["", *(view.name for view in views)], rows)


def _kind(offer: Offer) -> str:
    if offer.lease is None:
        return _KINDS[offer.kind]
    service = ", service in the rent" if offer.lease.maintenance_included else ""
    return f"lease, {_ENDS[offer.lease.at_end]}{service}"


def _validity(view: OfferView) -> str:
    if view.valid_until is None:
        return "no date given"
    day = view.valid_until.isoformat()
    return f"{day}: expired on the day of decision" if view.expired else day


def _price(study: Study, offer: Offer, look: Look) -> str:
    return look.money(_price_of(study, offer))


def _price_of(study: Study, offer: Offer) -> float:
    quantity = study.machines[offer.machine].price if offer.price is None else offer.price
    return float(quantity.likely) * float(study.levers.machine_price.likely)


def _trade_in(study: Study, offer: Offer, look: Look) -> str:
    if offer.trade_in is None:
        return "none"
    old = "" if offer.trade_in_of is None else f" for {study.machines[offer.trade_in_of].name}"
    return look.money(float(offer.trade_in.likely)) + old


def _rate(view: OfferView, rate: RateOfReturn) -> str:
    if rate.reason[0] == RateReason.FOUND:
        return f"{float(rate.rate[0]):.2%}"
    return "nothing is borrowed" if view.kind == "cash" else RateReason(int(rate.reason[0])).words


def _advantage(view: OfferView, look: Look) -> str:
    if view.net_advantage is None:
        return "no lease"
    value = float(view.net_advantage[0])
    word = "the lease leaves more" if value > 0 else "the loan leaves more"
    return f"{look.money(value)}: {word}"


def offers_words(found: SideBySide, look: Look) -> tuple[str, ...]:
    """Return which offer is cheapest and why, which have expired, and how they were compared."""
    nominal = float(found.borrowing_rate[0])
    given = "the rate of money.loan" if look.study.money.loan is not None else (
        "the discount rate, as the study has no loan of its own"
    )  # fmt: skip
    expired = [view.name for view in found.views if view.expired]
    said = [_cheapest_words(found, look)]
    if expired:
        said.append(f"Expired on the day of decision, to be asked for again: {joined(expired)}.")
    said.append(
        f"Compared over {found.months} months at the borrowing rate of {nominal:.2%} a year "
        f"({given}) after tax; losses are set against the shop's other income. Freight, training "
        "and insurance are the same for each and left out. The rate of a lease that goes back "
        "holds the resale given up, an estimate."
    )
    return tuple(said)


def _cheapest_words(found: SideBySide, look: Look) -> str:
    ranked = sorted(found.views, key=lambda view: float(view.net_present_cost[0]))
    best = ranked[0]
    if len(ranked) == 1:
        return f"{best.name} is the only offer: {look.money(best.net_present_cost[0])} in all."
    after = ranked[1]
    ahead = float(after.net_present_cost[0] - best.net_present_cost[0])
    for_it, against = _reasons(found, best, after, look)
    why = f" For it: {joined(for_it)}." if for_it else ""
    why += f" Against it: {joined(against)}." if against else ""
    return (
        f"{best.name} is cheapest: {look.money(best.net_present_cost[0])} in today's money after "
        f"tax, {look.money(ahead)} less than {after.name}, the next.{why}"
    )


def _reasons(
    found: SideBySide, best: OfferView, after: OfferView, look: Look
) -> tuple[list[str], list[str]]:
    """Return what speaks for one offer, and for the next, each as a clause."""
    study = look.study
    one, other = study.offers[best.key], study.offers[after.key]
    cheaper = _price_of(study, other) - _price_of(study, one)
    credited = _credit(one) - _credit(other)
    covered = [offer.lease is not None and offer.lease.maintenance_included
               for offer in (one, other)]  # fmt: skip
    compounded = float(annual_rate(found.borrowing_rate / 12.0)[0])
    rates = [_costs(view, compounded) for view in (best, after)]
    sides: tuple[list[str], list[str]] = ([], [])
    if cheaper:
        word = "lower" if cheaper > 0 else "higher"
        sides[cheaper < 0].append(f"a price {look.money(abs(cheaper))} {word}")
    if credited:
        word = "more" if credited > 0 else "less"
        sides[credited < 0].append(f"{look.money(abs(credited))} {word} for the trade-in")
    if covered[0] != covered[1]:
        sides[covered[1]].append(
            "service that the rent covers" if covered[0] else f"service, which {after.name} covers"
        )
    if None not in rates and abs(rates[0] - rates[1]) > _ALIKE:  # type: ignore[operator]
        dearer = rates[0] > rates[1]  # type: ignore[operator]
        sides[dearer].append(
            f"money at {rates[0]:.2%} a year effective{_own(best)} instead of "
            f"{rates[1]:.2%}{_own(after)}"
        )
    return sides


def _costs(view: OfferView, compounded: float) -> float | None:
    """Return what the money of an offer costs a year; own money at the borrowing rate."""
    if view.kind == "cash":
        return compounded
    rate = view.effective_rate
    return float(rate.rate[0]) if rate.reason[0] == RateReason.FOUND else None


def _own(view: OfferView) -> str:
    return " (own money, at the borrowing rate)" if view.kind == "cash" else ""


def _credit(offer: Offer) -> float:
    return 0.0 if offer.trade_in is None else float(offer.trade_in.likely)
