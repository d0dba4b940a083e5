"""What the figures say, in words: for the page, the command line and the documents.

Plain text only; whoever shows it escapes it. Rounded for reading: three figures for money.

May import: numpy, `capex.units`, `capex.study` and `capex.decision`.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from capex.decision.appraise import Appraisal
from capex.decision.jobs import Elsewhere
from capex.decision.swings import Swings
from capex.decision.verdict import Reason, Verdict
from capex.study import Study
from capex.units import quantity_text

__all__ = [
    "CAUTIONS",
    "Currency",
    "convention_sentence",
    "elsewhere_sentence",
    "input_name",
    "money_text",
    "month_name",
    "payback_text",
    "reason_sentence",
    "sureness_sentence",
    "verdict_sentence",
]

_SIGNS: Final = {"USD": "$", "EUR": "€", "GBP": "£", "JPY": "¥"}

#: Shown wherever a decision is shown.
CAUTIONS: Final = (
    "A planning estimate, not financial, tax, legal or engineering advice: confirm it with a "
    "licensed accountant and with the lender.",
    "Circuits, earthing and disconnects: a licensed electrician and the local code. Ventilation: "
    "the ink's safety data sheet, the maker's instructions and a competent ventilation engineer.",
    "Exits, sprinklers, accessibility and floor load: the authority having jurisdiction and the "
    "landlord.",
    "Rolls and machines: lift as a team or with a hoist. Blades: guards and a sharps container. "
    "Nip points: isolate the machine before service. Waste ink: local rules.",
)


@dataclass(frozen=True)
class Currency:
    """A currency to show money in.

    Parameters
    ----------
    code : str
        ISO 4217.
    rate : float
        How many of it one unit of the study's currency buys; for display only.
    """

    code: str
    rate: float = 1.0


def _rounded(value: float, figures: int = 3) -> float:
    if value == 0 or not math.isfinite(value):
        return value
    places = figures - 1 - math.floor(math.log10(abs(value)))
    return round(value, places)


def money_text(value: float, currency: Currency, figures: int = 3) -> str:
    """Return an amount rounded for reading.

    Parameters
    ----------
    value : float
        In the study's currency.
    currency : Currency
        To show it in.
    figures : int
        Significant figures kept.

    Examples
    --------
    >>> money_text(165815.4, Currency("USD")), money_text(-3106.0, Currency("EUR", 0.9))
    ('$166,000', '−€2,800')
    """
    shown = _rounded(value * currency.rate, figures)
    sign = "−" if shown < 0 else ""
    mark = _SIGNS.get(currency.code, f"{currency.code} ")
    decimals = 2 if 0 < abs(shown) < 10 else 0
    return f"{sign}{mark}{abs(shown):,.{decimals}f}"


def payback_text(years: float, horizon_months: int) -> str:
    """Return a payback period in words.

    Examples
    --------
    >>> payback_text(1.08, 84), payback_text(float("inf"), 84), payback_text(0.0, 84)
    ('1.1 years', 'not within 7 years', 'no money at risk')
    """
    if math.isinf(years):
        return f"not within {horizon_months / 12:g} years"
    if years == 0:
        return "no money at risk"
    if years < 1:
        months = max(1, round(years * 12))
        return f"{months} month{'s' if months != 1 else ''}"
    return f"{years:.1f} years"


_MONTHS: Final = (
    "January", "February", "March", "April", "May", "June", "July", "August", "September",
    "October", "November", "December",
)  # fmt: skip


def month_name(study: Study, month: int) -> str:
    """Return a month of the plan by name, counted from 1.

    Examples
    --------
    >>> from capex.study import data_folder, read_study
    >>> month_name(read_study(data_folder() / "studies" / "quenlow.toml"), 17)
    'May of year 2'
    """
    name = _MONTHS[(study.money.start.month - 1 + month - 1) % 12]
    return f"{name} of year {(month - 1) // 12 + 1}"


def convention_sentence(study: Study, discount_rate: float, horizon_months: int) -> str:
    """Return how net present values are worked out here."""
    how = (
        "month by month"
        if study.money.convention == "monthly"
        else "with all money of a year counted at its end"
    )
    return (
        f"Net present value over {horizon_months / 12:g} years at {discount_rate:.1%} a year, "
        f"discounted {how}, in nominal money, after tax, without interest; measured against the "
        "baseline."
    )


_FOR: Final = {
    "sales": ("it sells more", "it sells less"),
    "materials": ("it uses less material", "it uses more material"),
    "bought-in work": ("it buys less work in", "it buys more work in"),
    "people": ("it pays less for people", "it pays more for people"),
    "machines": ("its machines cost less to run", "its machines cost more to run"),
    "room": ("it takes less room", "it takes more room"),
    "investment": ("it costs less to buy", "it costs more to buy"),
    "working capital": ("it ties up less money in work", "it ties up more money in work"),
    "tax": ("it pays less tax", "it pays more tax"),
}


def reason_sentence(reasons: Sequence[Reason], currency: Currency) -> str:
    """Return what speaks for and against a choice, the largest two and one.

    Examples
    --------
    >>> reason_sentence([Reason("investment", 6851.0), Reason("machines", -7786.0)],
    ...                 Currency("USD"))
    'it costs less to buy (+$6,850), although its machines cost more to run (−$7,790)'
    """
    largest = max((abs(reason.worth) for reason in reasons), default=0.0)
    heavy = [r for r in reasons if abs(r.worth) > 0.02 * largest and r.group != "tax"]
    pros = [r for r in heavy if r.worth > 0][:2]
    cons = [r for r in heavy if r.worth < 0][:1]
    said = " and ".join(f"{_FOR[r.group][0]} (+{money_text(r.worth, currency)})" for r in pros)
    but = "".join(f"{_FOR[r.group][1]} ({money_text(r.worth, currency)})" for r in cons)
    if said and but:
        return f"{said}, although {but}"
    return said or (f"although {but}" if but else "nothing differs")


def verdict_sentence(appraisal: Appraisal, verdict: Verdict, currency: Currency) -> str:
    """Return which choice leaves most money, by how much, and why."""
    names = {key: outcome.name for key, outcome in appraisal.outcomes.items()}
    best = appraisal.outcomes[verdict.best]
    baseline = appraisal.baseline
    horizon = f"{int(best.horizon[0]) / 12:g} years"
    if verdict.best == baseline.key:
        if len(verdict.ranking) == 1:
            return f"{names[verdict.best]} is the only choice in this study."
        second = names[verdict.ranking[1]]
        return (
            f"{names[verdict.best]} leaves most money over {horizon}: "
            f"{second}, the next best, would leave {money_text(verdict.lead, currency)} less."
        )
    gain = money_text(verdict.gains[0], currency)
    against = f"{gain} more over {horizon} than “{baseline.name}”"
    why = reason_sentence(verdict.against_baseline, currency)
    second = names[verdict.ranking[1]]
    if verdict.ranking[1] == baseline.key:
        return f"{names[verdict.best]} leaves most money: {against}, because {why}."
    lead = money_text(verdict.lead, currency)
    lead_why = reason_sentence(verdict.reasons, currency)
    if verdict.close:
        return (
            f"Too close to call: {names[verdict.best]} leaves {against}, but only {lead} more "
            f"than {second}. Against {second}, {lead_why}."
        )
    return (
        f"{names[verdict.best]} leaves most money: {against}, and {lead} more than {second}, "
        f"because {lead_why}."
    )


def input_name(study: Study, path: str) -> str:
    """Return a path of the study as words.

    Examples
    --------
    >>> from capex.study import data_folder, read_study
    >>> study = read_study(data_folder() / "studies" / "quenlow.toml")
    >>> input_name(study, "machines.mid_all_in_one.cutting.blade_life")
    'Mid all-in-one: blade life'
    """
    named: Mapping[str, Mapping[str, object]] = {
        "machines": study.machines,
        "films": study.films,
        "inks": study.inks,
        "jobs": study.jobs,
        "alternatives": study.alternatives,
    }
    head, *rest = path.split(".")
    if head in named and len(rest) > 1:
        owner = str(getattr(named[head][rest[0]], "name", rest[0]))
        return f"{owner}: {rest[-1].replace('_', ' ')}"
    return rest[-1].replace("_", " ") if rest else head


def sureness_sentence(study: Study, found: Swings) -> str:
    """Return how firm the ranking is when inputs move one at a time, and what it rests on."""
    if not found.each:
        return "No input carries a low and a high value, so nothing is said about how sure this is."
    names = [study.alternatives[key].name for key in found.keys]
    kept = found.tried - len(found.flips)
    said = (
        f"Moving one uncertain input at a time to its low or high value, {names[found.best]} stays "
        f"first in {kept} of {found.tried} cases"
    )
    if found.flips:
        causes = []
        for swing, end, place in found.flips[:3]:
            value = swing.quantity.high if end else swing.quantity.low
            text = quantity_text(
                value or 0.0, swing.quantity.entry.kind, currency=study.currency, digits=3
            )
            causes.append(f"{names[place]} if {input_name(study, swing.path)} is {text}")
        said += "; first would be " + ", ".join(causes)
        if len(found.flips) > 3:
            said += f", and {len(found.flips) - 3} more"
    top = min(10, len(found.each))
    return (
        f"{said}. {found.unproven} of the {top} most influential inputs are still assumed or "
        "default, not measured or quoted."
    )


_ELSEWHERE: Final = {
    "no machine": "no machine here can make it",
    "too wide": "it is too wide for the machines",
    "cheaper bought in": "buying it in leaves more",
    "loses money": "it loses money and cannot be bought in",
}


def elsewhere_sentence(found: Elsewhere) -> str:
    """Return why a job type is not made in the house.

    Examples
    --------
    >>> elsewhere_sentence(Elsewhere("banners", "Banners", "too wide", True))
    'Banners: bought in, it is too wide for the machines'
    """
    fate = "bought in" if found.bought_in else "refused"
    return f"{found.name}: {fate}, {_ELSEWHERE[found.reason]}"
