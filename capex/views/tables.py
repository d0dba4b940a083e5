"""Figures as tables of texts, for the command line and the page.

Widget-free. May import: numpy, `capex.units`, `capex.study`, `capex.decision` and the words of
this folder.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from capex.decision.appraise import Appraisal
from capex.decision.jobs import jobs_made_elsewhere
from capex.decision.outcome import Outcome
from capex.decision.verdict import verdict
from capex.finance.measures import replacement_chain_value
from capex.finance.rate_of_return import RateReason
from capex.units import UnitSystem, quantity_text
from capex.views import wording
from capex.views.expired_offers import expired_offer_sentences
from capex.views.nominal_purchases import nominal_purchase_sentences
from capex.views.payback import PAYBACK_COUNTS
from capex.views.tax import tax_notice
from capex.views.wording import Currency

if TYPE_CHECKING:
    from capex.study.orders import OrderBook, OrderGroups

__all__ = [
    "convention_text",
    "headline_data",
    "headline_table",
    "measures_notes",
    "measures_table",
    "notices",
    "order_book_tables",
    "verdict_text",
]

Rows = list[tuple[str, ...]]


def verdict_text(found: Appraisal, currency: Currency | None = None) -> str:
    """Return the verdict on the first scenario as a sentence."""
    shown = currency or Currency(found.study.currency)
    return wording.verdict_sentence(found, verdict(found), shown)


def convention_text(found: Appraisal) -> str:
    """Return how the net present values of the first scenario were worked out."""
    first = found.baseline
    return wording.convention_sentence(
        found.study, float(first.discount_rate[0]), int(first.horizon[0])
    )


def headline_table(
    found: Appraisal, system: UnitSystem = "metric", currency: Currency | None = None
) -> tuple[tuple[str, ...], Rows]:
    """Return headings and one row an alternative, first scenario."""
    shown = currency or Currency(found.study.currency)
    headings = (
        "Alternative", "NPV gain", "Return", "Payback", "Lowest cash", "Fullest station",
        "  its load", "  in", "Floor",
    )  # fmt: skip
    return headings, [_headline_row(found, outcome, system, shown)
                      for outcome in found.outcomes.values()]  # fmt: skip


def _headline_row(
    found: Appraisal, outcome: Outcome, system: UnitSystem, currency: Currency
) -> tuple[str, ...]:
    if outcome.key == found.study.baseline:
        gain, rate, payback = "baseline", "–", "–"
    else:
        gain = wording.money_text(float(outcome.gain[0]), currency)
        rate = rate_text(outcome)
        payback = wording.payback_text(float(outcome.payback_period[0]), int(outcome.horizon[0]))
    area = outcome.details.area[0].max() if outcome.details is not None else np.nan
    return (
        outcome.name,
        gain,
        rate,
        payback,
        wording.money_text(float(outcome.worst_month_end_cash[0]), currency),
        *tightest_texts(found, outcome),
        quantity_text(float(area), "area", system, digits=3),
    )


def rate_text(outcome: Outcome) -> str:
    """Return the internal rate of return a year, or why there is none, and which there are."""
    rate = outcome.internal_rate_of_return
    reason = RateReason(int(rate.reason[0]))
    if reason == RateReason.SEVERAL_ROOTS:
        every = " and ".join(f"{each:.0%}" for each in outcome.rates_of_return() if each >= 0)
        return f"{reason.words} ({every})"
    if reason != RateReason.FOUND:
        return reason.words
    text = f"{float(rate.rate[0]):.0%}"
    return f"{text}, the cost of money that comes in first" if rate.borrowing[0] else text


def measures_table(
    found: Appraisal, currency: Currency | None = None
) -> tuple[tuple[str, ...], Rows]:
    """Return headings and a row an alternative: every measure of the gain over the baseline."""
    shown = currency or Currency(found.study.currency)
    headings = (
        "Alternative", "NPV gain", "A year", "Repeated once", "Return", "Modified return",
        "Payback", "  discounted", "Index",
    )  # fmt: skip
    return headings, [
        _measures_row(outcome, shown) for outcome in found.outcomes.values()
        if outcome.key != found.study.baseline
    ]  # fmt: skip


def measures_notes(found: Appraisal) -> tuple[str, ...]:
    """Return what the measures suppose of lives, and of what a payback counts."""
    years = int(found.baseline.horizon[0]) / 12
    return (
        f"All choices share the horizon of {years:.3g} years, so that no lives are unequal: "
        "“A year” is the gain as a level amount of each year, “Repeated once” the same choice "
        "twice in a row. Lives of single machines stand on the page of costs and prices.",
        f"Payback: {PAYBACK_COUNTS}.",
    )


def _measures_row(outcome: Outcome, currency: Currency) -> tuple[str, ...]:
    horizon, rate = int(outcome.horizon[0]), float(outcome.discount_rate[0])
    modified = outcome.modified_internal_rate_of_return
    index = float(outcome.profitability_index[0])
    chain = replacement_chain_value(float(outcome.gain[0]), rate, horizon / 12, horizon / 6)
    return (
        outcome.name,
        wording.money_text(float(outcome.gain[0]), currency),
        wording.money_text(float(outcome.equivalent_annual_value[0]), currency),
        wording.money_text(float(chain), currency),
        rate_text(outcome),
        f"{float(modified.rate[0]):.1%}" if modified.reason[0] == RateReason.FOUND
        else RateReason(int(modified.reason[0])).words,
        wording.payback_text(float(outcome.payback_period[0]), horizon),
        wording.payback_text(float(outcome.discounted_payback_period[0]), horizon),
        "no more capital than the baseline" if np.isnan(index) else f"{index:.2f}",
    )  # fmt: skip


def tightest_texts(found: Appraisal, outcome: Outcome) -> tuple[str, str, str]:
    """Return the fullest station, its load and the month of that load."""
    k = int(outcome.tightest_station[0])
    month = wording.month_name(found.study, int(outcome.fullest_month[0, k]))
    return outcome.stations[k].name, f"{float(outcome.load[0, k]):.0%}", month


def notices(found: Appraisal) -> tuple[str, ...]:
    """Return what each alternative does not make in the house, and what is wrong with its offers.

    A tax regime that deducts nothing comes first.
    """
    said = [notice for notice in (tax_notice(found.study),) if notice]
    for outcome in found.outcomes.values():
        sentences = wording.elsewhere_sentences(jobs_made_elsewhere(outcome))
        sentences += expired_offer_sentences(outcome)
        sentences += nominal_purchase_sentences(outcome, Currency(found.study.currency))
        if sentences:
            said.append(f"{outcome.name} – {'; '.join(sentences)}.")
    return tuple(said)


def headline_data(found: Appraisal) -> dict[str, Any]:
    """Return the headline figures of the first scenario as plain data, unrounded."""
    ranking = verdict(found)
    return {
        "shop": found.study.shop_name,
        "currency": found.study.currency,
        "convention": convention_text(found),
        "verdict": verdict_text(found),
        "too_close_to_call": ranking.close,
        "ranking": list(ranking.ranking),
        "alternatives": {
            key: _outcome_data(found, outcome) for key, outcome in found.outcomes.items()
        },
        "notices": list(notices(found)),
        "caution": wording.CAUTIONS[0],
    }


def _outcome_data(found: Appraisal, outcome: Outcome) -> dict[str, Any]:
    rate = outcome.internal_rate_of_return
    found_rate = rate.reason[0] == RateReason.FOUND
    payback = float(outcome.payback_period[0])
    discounted = float(outcome.discounted_payback_period[0])
    area = outcome.details.area[0].max() if outcome.details is not None else None
    return {
        "name": outcome.name,
        "baseline": outcome.key == found.study.baseline,
        "net_present_value": float(outcome.net_present_value[0]),
        "gain_over_baseline": float(outcome.gain[0]),
        "internal_rate_of_return": float(rate.rate[0]) if found_rate else None,
        "internal_rate_of_return_reason": RateReason(int(rate.reason[0])).words,
        "payback_years": payback if np.isfinite(payback) else None,
        "discounted_payback_years": discounted if np.isfinite(discounted) else None,
        "rates_of_return": [float(each) for each in outcome.rates_of_return()],
        "equivalent_annual_value": float(outcome.equivalent_annual_value[0]),
        "worst_month_end_cash": float(outcome.worst_month_end_cash[0]),
        "highest_load": {
            station.key: float(load)
            for station, load in zip(outcome.stations, outcome.load[0], strict=True)
        },
        "fullest_month": {
            station.key: int(month)
            for station, month in zip(outcome.stations, outcome.fullest_month[0], strict=True)
        },
        "floor_area_m2": None if area is None else float(area),
    }


def order_book_tables(
    book: OrderBook, groups: OrderGroups
) -> list[tuple[str, tuple[str, ...], Rows]]:
    """Return how an order book was read: columns, job types, rows left out."""
    columns: Rows = [
        (match.field, match.column or ("yes" if match.answer else "no"), match.reason)
        for match in book.mapping.matches
    ]
    types: Rows = [
        (
            group.name,
            str(group.orders),
            f"{group.orders_per_month:.1f}",
            f"{group.mean_quantity:.3g}",
            f"{group.width:.3g} × {group.height:.3g} m",
            f"{group.mean_price:,.0f}",
            f"{group.share_of_value:.0%}",
        )
        for group in groups.groups
    ]
    unread: Rows = [(str(row.row_number), row.reason) for row in book.unread]
    explained = groups.share_of_value_explained
    return [
        ("Columns", ("Field", "Column", "How it was found"), columns),
        (
            f"Job types; they explain {explained:.0%} of the variance of order value",
            ("Type", "Orders", "A month", "Pieces", "Size", "Price", "Share of value"),
            types,
        ),
        (f"Rows left out: {len(unread)}", ("Row", "Reason"), unread),
    ]
