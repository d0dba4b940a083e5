"""Offers for one machine side by side: cash by month, and a table of what each says and costs.

May import: numpy, and from capex study, finance, `views.bank`, `views.chart`,
`views.charts.picture` and `views.palette`.
"""

from __future__ import annotations

import numpy as np

from capex.finance.offers import OfferView, SideBySide, offers_side_by_side
from capex.finance.rate_of_return import RateOfReturn, RateReason
from capex.study import Offer, Study
from capex.study.offers import AtEnd
from capex.views.bank.amounts import money_to_unit
from capex.views.chart import ChartTable
from capex.views.charts.picture import Look, Picture, axis, plot_text
from capex.views.palette import alternative_styles

__all__ = ["machines_with_offers", "offered_price", "offers_compared", "offers_picture",
           "offers_table"]  # fmt: skip

_KINDS = {"cash": "cash", "loan": "loan", "lease": "lease"}
_ENDS: dict[AtEnd, str] = {
    "ownership": "the shop's own at the end", "purchase": "bought at the end",
    "return": "goes back at the end",
}  # fmt: skip
_COST = "Cost in today's money, after tax"


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
                    for what in ("in the month, before tax", "so far, after tax"))],
        [
            [str(m), *(text for view in found.views
                       for text in (money_to_unit(view.cash[0, m], look),
                                    money_to_unit(totals[view.key][m], look)))]
            for m in at
        ],
    )  # fmt: skip
    first = max(found.views, key=lambda view: float(view.equity_needed[0]))
    least = min(found.views, key=lambda view: float(view.equity_needed[0]))
    most = min(found.views, key=lambda view: float(totals[view.key][-1]))
    reading = (
        f"On the first day “{first.name}” takes {money_to_unit(first.equity_needed[0], look)}"
        + ("" if first is least else f", “{least.name}” "
           f"{money_to_unit(least.equity_needed[0], look)}")
        + f"; by month {found.months} “{most.name}” has taken most, "
        f"{money_to_unit(-totals[most.key][-1], look)}. The step up at the end is what the "
        "machine fetches then, where it is the shop's; steps at year ends are tax."
    )  # fmt: skip
    return Picture({"data": data, "layout": layout}, reading, table)


def offers_table(found: SideBySide, look: Look) -> ChartTable:
    """Return a column an offer: what it says, what it costs, and named reasons for gaps."""
    views, study = found.views, look.study
    offers = [study.offers[view.key] for view in views]
    rate = f"{float(found.borrowing_rate[0]):.2%}"
    rows: list[list[str]] = [
        ["Kind", *(_kind(offer) for offer in offers)],
        ["Dated", *(offer.dated.isoformat() for offer in offers)],
        ["Valid until", *(_validity(view) for view in views)],
        ["Price", *(_price(study, offer, look) for offer in offers)],
        ["Trade-in", *(_trade_in(study, offer, look) for offer in offers)],
        [_COST, *(money_to_unit(view.net_present_cost[0], look) for view in views)],
        ["On the first day", *(money_to_unit(view.equity_needed[0], look) for view in views)],
        ["Paid in all, less resale, before tax",
         *(money_to_unit(-float(view.cash[0].sum()), look) for view in views)],
        ["APR (12 times the monthly rate)",
         *(_rate(view, view.annual_percentage_rate) for view in views)],
        ["Effective rate a year", *(_rate(view, view.effective_rate) for view in views)],
        [f"Lease against a loan at {rate}",
         *(_advantage(view, look) for view in views)],
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
    return money_to_unit(offered_price(study, offer), look)


def offered_price(study: Study, offer: Offer) -> float:
    """Return the price that an offer is for, the catalogue's where it names none [currency]."""
    quantity = study.machines[offer.machine].price if offer.price is None else offer.price
    return float(quantity.likely) * float(study.levers.machine_price.likely)


def _trade_in(study: Study, offer: Offer, look: Look) -> str:
    if offer.trade_in is None:
        return "none"
    old = "" if offer.trade_in_of is None else f" for {study.machines[offer.trade_in_of].name}"
    return money_to_unit(float(offer.trade_in.likely), look) + old


def _rate(view: OfferView, rate: RateOfReturn) -> str:
    if rate.reason[0] == RateReason.FOUND:
        return f"{float(rate.rate[0]):.2%}"
    return "nothing is borrowed" if view.kind == "cash" else RateReason(int(rate.reason[0])).words


def _advantage(view: OfferView, look: Look) -> str:
    if view.net_advantage is None:
        return "no lease"
    value = float(view.net_advantage[0])
    word = "the lease leaves more" if value > 0 else "the loan leaves more"
    return f"{money_to_unit(value, look)}: {word}"
