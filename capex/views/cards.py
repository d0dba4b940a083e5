"""The words of the page as HTML: verdict, one card an alternative, cautions, a study's problems.

Every text that comes from a user is escaped here; figures are read off the result, never worked
out anew. May import: numpy, and from capex errors, units, study, decision and views.
"""

from __future__ import annotations

from collections.abc import Iterable
from html import escape
from typing import Final

import numpy as np

from capex.decision.jobs import jobs_made_elsewhere
from capex.decision.outcome import Outcome
from capex.decision.swings import Swings
from capex.errors import CapexError, StudyError
from capex.study import Study
from capex.units import UnitSystem, quantity_text
from capex.views.charts.picture import Look
from capex.views.expired_offers import expired_offer_sentences
from capex.views.input_names import problem_place
from capex.views.inputs import Dial
from capex.views.late_orders import LATE_ORDERS
from capex.views.nominal_purchases import nominal_purchase_sentences
from capex.views.palette import key_svg
from capex.views.payback import payback_note
from capex.views.state import Result
from capex.views.tables import convention_text, tightest_texts
from capex.views.wording import (
    CAUTIONS,
    distinct_figures,
    elsewhere_sentences,
    month_name,
    payback_text,
    sureness_sentence,
    verdict_words,
)

__all__ = [
    "cards_html",
    "cautions_html",
    "changes_sentence",
    "dial_text",
    "late_orders_html",
    "months_html",
    "problems_html",
    "sureness_html",
    "verdict_html",
]


_NOT_MADE: Final = "nothing is made in the house"
_NO_MACHINES: Final = "This alternative has no machines: all its work is bought in."
_SOME_REFUSED: Final = "This alternative has no machines: its work is bought in where it can be."


def verdict_html(result: Result, look: Look, changed: str) -> str:
    """Return the verdict with its reason, the convention, and what differs from the study."""
    shop = escape(look.study.shop_name, quote=True)
    headline, reason = verdict_words(result.appraisal, result.verdict, look.currency)
    note = f'<p class="capex-changed">{escape(changed)}</p>' if changed else ""
    return (
        f'<h1 class="capex-sentence" data-shop="{shop}">{_unbroken(headline)}</h1>'
        f'<p class="capex-reason">{_unbroken(reason)}</p>'
        f'{note}<p class="capex-note">{escape(convention_text(result.appraisal))}'
        f"{escape(_rate_note(look))}</p>"
    )


def _unbroken(text: str) -> str:
    """Return the text escaped, with no line break between a minus and its amount."""
    return escape(text).replace("−", "−&#8288;")


def _rate_note(look: Look) -> str:
    code = look.currency.code
    if code == look.study.currency:
        return ""
    rate = look.study.money.exchange_rates[code]
    when = f" {rate.on}" if rate.on is not None else ""
    return (
        f" Shown in {code} at {rate.likely:g} a {look.study.currency} ({rate.source}{when}); "
        f"worked out in {look.study.currency}."
    )


def sureness_html(study: Study, found: Swings | None, system: UnitSystem) -> str:
    """Return how firm the ranking is; while that is still being worked out, say so."""
    if found is None:
        return '<p class="capex-sure" aria-busy="true">How sure: trying every uncertain input…</p>'
    return f'<p class="capex-sure">{escape(sureness_sentence(study, found, system))}</p>'


def changes_sentence(dials: Iterable[Dial], changes: dict[str, float], look: Look) -> str:
    """Return what the user has changed, or nothing.

    Parameters
    ----------
    dials : iterable of Dial
    changes : dict of str to float
        Canonical units.
    look : Look
    """
    said = [
        f"{dial.label.lower()} {dial_text(dial, changes[dial.path], look)}"
        for dial in dials
        if dial.path in changes
    ]
    if not said:
        return ""
    same = ""
    people, hours = look.study.shop.people, look.study.shop.hours
    alike = people.idle_time_redeployed.likely == 0 and hours.overtime_per_month.likely == 0
    if "shop.people.wage" in changes and alike:
        same = " Staffed hours are paid alike in every choice, so wages move none of the gaps."
    return f"Changed from the study: {', '.join(said)}.{same}"


def dial_text(dial: Dial, value: float, look: Look) -> str:
    """Return a dial's value, canonical unit, as its control shows it."""
    shown = value * dial.scale * (look.currency.rate if dial.money else 1.0)
    unit = dial.unit.format(currency=look.currency.code)
    gap = "" if unit.startswith("%") else " "
    return f"{shown:,.{dial.decimals(shown)}f}{gap}{unit}"


def late_orders_html(kind: str) -> str:
    """Return what stands for the cost of late orders in the figures, one of `LATE_ORDERS`."""
    if kind == "free":
        return ""
    busy = "" if kind == "simulated" else " aria-busy='true'"
    return f"<p class='capex-note' role='status'{busy}>{escape(LATE_ORDERS[kind])}</p>"


def months_html(study: Study) -> str:
    """Return that months as they were are kept with the study, and where; else nothing."""
    many = 0 if study.actuals is None else len(study.actuals.months)
    if not many:
        return ""
    kept = "1 month of figures is" if many == 1 else f"{many} months of figures are"
    return (
        f"<p class='capex-note'>{kept} kept with this study. The plan that stands here does not "
        "read them; what they say of it stands under "
        "<a href='year_on' data-to='year_on'>A year on</a>.</p>"
    )


def cards_html(result: Result, look: Look, late_orders: str = "simulated") -> str:
    """Return one card an alternative, all alike and in the order of the study.

    Parameters
    ----------
    result : Result
    look : Look
    late_orders : str
        What stands for the cost of late orders in the result, one of `LATE_ORDERS`.
    """
    styles = look.styles
    return "".join(
        _card(result, look, outcome, key_svg(styles[key]), late_orders)
        for key, outcome in result.appraisal.outcomes.items()
    )


def _card(result: Result, look: Look, outcome: Outcome, picture: str, late_orders: str) -> str:
    gain = float(outcome.gain[0])
    all_gains = [float(each.gain[0]) for each in result.appraisal.outcomes.values()]
    figure = look.money(abs(gain), distinct_figures(all_gains, look.currency))
    against = "less than the baseline" if gain < 0 else "more than the baseline"
    if outcome.key == look.study.baseline:
        figure, against = "Baseline", "what the other choices are measured against"
    facts = "".join(
        f"<dt>{escape(term)}</dt><dd>{escape(value)}{_small(more)}</dd>"
        for term, value, more in [
            *_facts(result, look, outcome),
            *_late_orders(look, outcome, late_orders),
        ]
    )
    return (
        f'<article class="capex-card" data-alternative="{escape(outcome.key, quote=True)}">'
        f"<h2>{picture}{escape(outcome.name)}</h2>"
        f'<p class="capex-figure">{escape(figure)} '
        f"<small>{against}</small></p>"
        f'<dl class="capex-facts">{facts}</dl>{_warned(look, outcome)}{_elsewhere(outcome)}'
        "</article>"
    )


def _small(text: str) -> str:
    return f"<small>{escape(text)}</small>" if text else ""


def _facts(result: Result, look: Look, outcome: Outcome) -> list[tuple[str, str, str]]:
    study, months = look.study, int(outcome.horizon[0])
    baseline = outcome.key == study.baseline
    payback = "–" if baseline else payback_text(float(outcome.payback_period[0]), months)
    station, share, month = tightest_texts(result.appraisal, outcome)
    all_cash = [float(each.net_present_value[0]) for each in result.appraisal.outcomes.values()]
    figures = distinct_figures(all_cash, look.currency)
    planned = study.shop.planned_load.likely
    full = float(outcome.load[0].max()) > planned
    above = f"; above the planned {planned:.0%}" if full else ""
    fullest = share, f"{station}, {month}{above}"
    if float(outcome.load[0].max()) == 0:
        fullest = "–", _NOT_MADE
    return [
        ("Payback, simple", payback,
         "measured against itself" if baseline else payback_note(outcome)),
        ("Least cash at a month’s end", look.money(float(outcome.worst_month_end_cash[0])),
         f"{_worst_month(look, outcome)}, loan payments included"),
        ("Fullest station", *fullest),
        _one_more_hour(look, outcome),
        _lead_time(result, look, outcome),
        ("Floor space", *_floor(look, outcome)),
        ("All cash of this choice", look.money(float(outcome.net_present_value[0]), figures),
         "net present value on its own, work, wages and all"),
    ]  # fmt: skip


def _worst_month(look: Look, outcome: Outcome) -> str:
    within = outcome.month_end_cash[0, : int(outcome.horizon[0]) + 1]
    month = int(within.argmin())
    return "on the day of decision" if month == 0 else month_name(look.study, month)


def _one_more_hour(look: Look, outcome: Outcome) -> tuple[str, str, str]:
    """Return what an hour more a month would earn where the work runs short of hours.

    The worth of a second falls as more of them are added, so an hour earns at most 3,600 times it.
    """
    term = "One more hour in a month"
    if outcome.details is None:
        return term, "–", ""
    worth = outcome.details.output.worth[0, :, : int(outcome.horizon[0])] * 3600.0
    highest = worth.max(axis=1)
    scarce = [int(k) for k in np.argsort(-highest, kind="stable") if highest[k] > 0]
    if not scarce:
        return term, "earns nothing", "no machine and nobody is short of hours in any month"
    said = [
        f"{f'at most {look.money(float(highest[k]))} ' if place else ''}at "
        f"{outcome.stations[k].name} in {month_name(look.study, int(worth[k].argmax()) + 1)}"
        for place, k in enumerate(scarce)
    ]
    rest = "; elsewhere nothing" if len(scarce) < len(outcome.stations) else ""
    return (
        term,
        f"earns at most {look.money(float(highest[scarce[0]]))}",
        f"{'; '.join(said)}{rest}; before what the hour costs",
    )


def _lead_time(result: Result, look: Look, outcome: Outcome) -> tuple[str, str, str]:
    found = result.lead_times[outcome.key]
    month = int(found.worst_month[0])
    if month == 0:
        return "Lead time, slowest month", "–", _NOT_MADE
    days = float(found.worst[0])
    least = "at least " if bool(found.saturated_month[0, month - 1]) else ""
    share = float(found.made_in_house[0, month - 1])
    made = "" if share > 0.995 else f"; {share:.0%} of orders are made in the house"
    return (
        "Lead time, slowest month",
        f"{least}{days:.1f} working days",
        f"estimate, {month_name(look.study, month)}{made}",
    )


def _late_orders(look: Look, outcome: Outcome, kind: str) -> list[tuple[str, str, str]]:
    """Return what late orders cost where they cost anything."""
    if outcome.details is None or outcome.details.late is None:
        return []
    worth = float(outcome.details.ledger.line("late")[0] @ outcome.discount_factors[0])
    sure = "" if kind == "simulated" else "; being worked out"
    return [
        (
            "Late orders",
            "–" if kind == "unknown" else look.money(worth),
            f"in the figure above, present value before tax{sure}",
        )
    ]


def _floor(look: Look, outcome: Outcome) -> tuple[str, str]:
    if outcome.details is None:
        return "–", ""
    area = outcome.details.area[0, : int(outcome.horizon[0])]
    steps = np.flatnonzero(np.diff(area)) + 1
    text = quantity_text(float(area[0]), "area", look.units, digits=3)
    later = [
        f"{quantity_text(float(area[k]), 'area', look.units, digits=3)} from "
        f"{month_name(look.study, int(k) + 1)}"
        for k in steps
    ]
    return text, ", ".join([*later, "with clearances"])


def _warned(look: Look, outcome: Outcome) -> str:
    said = expired_offer_sentences(outcome) + nominal_purchase_sentences(outcome, look.currency)
    items = "".join(f"<li>{escape(each)}.</li>" for each in said)
    return f"<ul class='capex-warn'>{items}</ul>" if items else ""


def _elsewhere(outcome: Outcome) -> str:
    found = jobs_made_elsewhere(outcome)
    said = elsewhere_sentences(found)
    if all(station.placement is None for station in outcome.stations):
        refused = elsewhere_sentences(job for job in found if not job.bought_in)
        rest = "".join(f" {escape(sentence)}." for sentence in refused)
        return f'<p class="capex-note">{_SOME_REFUSED if refused else _NO_MACHINES}{rest}</p>'
    if not said:
        return '<p class="capex-note">Every job type is made in the house.</p>'
    items = "".join(f"<li>{escape(sentence)}</li>" for sentence in said)
    return f'<p class="capex-note">Not made in the house:</p><ul class="capex-note">{items}</ul>'


def cautions_html() -> str:
    """Return the cautions that belong to a purchase of machines."""
    items = "".join(f"<li>{escape(caution)}</li>" for caution in CAUTIONS)
    return f'<section class="capex-cautions"><h2>Before you sign</h2><ul>{items}</ul></section>'


def problems_html(error: CapexError) -> str:
    """Return everything that is wrong with a study, for a page that cannot show it."""
    if isinstance(error, StudyError):
        rows = "".join(
            f"<tr><th scope='row'>{escape(problem_place(problem))} "
            f"<code>{escape(problem.path)}</code></th>"
            f"<td>{escape(problem.shown)}</td>"
            f"<td>{escape(problem.bound)}</td></tr>"
            for problem in error.listed
        )
        many = len(error.problems)
        return (
            f"<h1>This study cannot be used yet: {many} problem{'s' if many != 1 else ''}</h1>"
            f"<p>In <code>{escape(error.source)}</code>. Put "
            f"{'them' if many != 1 else 'it'} right and reload the page.</p>"
            "<div class='capex-chart-table' role='region' tabindex='0' aria-label='Problems'>"
            "<table><thead><tr><th scope='col'>Entry</th>"
            "<th scope='col'>is</th><th scope='col'>What to put right</th></tr></thead>"
            f"<tbody>{rows}</tbody></table></div>"
        )
    return f"<h1>This page cannot be shown</h1><p>{escape(str(error))}</p>"
