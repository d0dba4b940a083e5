"""What the figures say, in words: for the page, the command line and the documents.

Plain text only; whoever shows it escapes it. Rounded for reading: three figures for money.

May import: numpy, `capex.units`, `capex.study`, `capex.finance`, `capex.decision` and, of
`capex.views`, `input_names`, `late_orders` and `tax`.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from capex.decision.appraise import Appraisal
from capex.decision.jobs import Elsewhere
from capex.decision.swings import Swing, Swings
from capex.decision.verdict import Reason, Verdict
from capex.study import Study
from capex.study.places import MONTHS
from capex.units import UnitSystem, quantity_text
from capex.views.input_names import input_name
from capex.views.late_orders import lateness_note
from capex.views.tax import tax_sentence

__all__ = [
    "CAUTIONS",
    "Currency",
    "convention_sentence",
    "distinct_figures",
    "elsewhere_sentences",
    "input_name",
    "lacking",
    "money_text",
    "month_name",
    "payback_text",
    "reason_sentence",
    "sureness_sentence",
    "time_text",
    "verdict_sentence",
    "verdict_words",
]

_SIGNS: Final = {"USD": "$", "EUR": "€", "GBP": "£", "JPY": "¥"}

#: Enough for any amount of money [significant figures].
_MOST_FIGURES: Final = 15

#: Shown wherever a decision is shown.
CAUTIONS: Final = (
    "A planning estimate, not financial, tax, legal or engineering advice: confirm it with a "
    "licensed accountant and with the lender.",
    "Circuits, earthing and disconnects: a licensed electrician and the local code. Ventilation: "
    "the ink's safety data sheet, the maker's instructions and a competent ventilation engineer; "
    "nothing here passes it.",
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


def distinct_figures(values: Sequence[float], currency: Currency) -> int:
    """Return how many figures amounts need so that what differs also reads differently.

    Three at least; a difference below one unit of the currency counts as none.

    Parameters
    ----------
    values : sequence of float
        In the study's currency.
    currency : Currency
        To show them in.

    Examples
    --------
    >>> distinct_figures([1_187_400.0, 1_190_590.0, 1_031_000.0], Currency("USD"))
    4
    """
    whole = len({round(value * currency.rate) for value in values})
    for figures in range(3, _MOST_FIGURES):
        if len({money_text(value, currency, figures) for value in values}) >= whole:
            return figures
    return _MOST_FIGURES


def time_text(months: int) -> str:
    """Return a length of time in years and months.

    Parameters
    ----------
    months : int
        At least 1.

    Examples
    --------
    >>> time_text(29), time_text(13), time_text(84), time_text(5)
    ('2 years 5 months', '1 year 1 month', '7 years', '5 months')
    """
    counts = zip(divmod(months, 12), ("year", "month"), strict=True)
    return " ".join(f"{count} {name}{'s' * (count != 1)}" for count, name in counts if count)


def payback_text(years: float, horizon_months: int) -> str:
    """Return a payback period in years and whole months, one month at least.

    Examples
    --------
    >>> payback_text(1.08, 84), payback_text(float("inf"), 84), payback_text(0.0, 84)
    ('1 year 1 month', 'not within 7 years', 'no money at risk')
    """
    if math.isinf(years):
        return f"not within {time_text(horizon_months)}"
    if years == 0:
        return "no money at risk"
    return time_text(max(1, round(12 * years)))


def month_name(study: Study, month: int) -> str:
    """Return a month of the plan by name, counted from 1.

    Examples
    --------
    >>> from capex.study import data_folder, read_study
    >>> month_name(read_study(data_folder() / "studies" / "quenlow.toml"), 17)
    'May of year 2'
    """
    name = MONTHS[(study.money.start.month - 1 + month - 1) % 12]
    return f"{name} of year {(month - 1) // 12 + 1}"


def convention_sentence(study: Study, discount_rate: float, horizon_months: int) -> str:
    """Return how net present values are worked out here."""
    monthly = study.money.convention == "monthly"
    how = "month by month" if monthly else "with all money of a year counted at its end"
    rises = study.money.escalation
    each = (rises.prices, rises.materials, rises.wages, rises.overheads)
    level = "" if any(rise.likely for rise in each) else " with no yearly rise of prices entered"
    return (
        f"Net present value over {horizon_months / 12:.3g} years at {discount_rate:.1%} a year, "
        f"discounted {how}, in nominal money{level}, after tax, without interest; measured against "
        f"the baseline. {tax_sentence(study)}"
    )


#: For and against, the amount in between: more and less are said in words, never by a sign.
_FOR: Final = {
    "contribution": ("it earns {} more on the work", "it earns {} less on the work"),
    "people": ("it pays {} less for people", "it pays {} more for people"),
    "machines": ("its machines cost {} less to run", "its machines cost {} more to run"),
    "room": ("its room costs {} less", "its room costs {} more"),
    "investment": ("it costs {} less to buy", "it costs {} more to buy"),
    "working capital": (
        "tying up money in work costs it {} less", "tying up money in work costs it {} more",
    ),
    "tax": ("it pays {} less tax", "it pays {} more tax"),
}  # fmt: skip


def reason_sentence(reasons: Sequence[Reason], currency: Currency) -> str:
    """Return what speaks for and against a choice, the largest two and one.

    Examples
    --------
    >>> reason_sentence([Reason("investment", 6851.0), Reason("machines", -7786.0)],
    ...                 Currency("USD"))
    'it costs $6,850 less to buy, although its machines cost $7,790 more to run'
    """
    largest = max((abs(reason.worth) for reason in reasons), default=0.0)
    heavy = [r for r in reasons if abs(r.worth) > 0.02 * largest and r.group != "tax"]

    def words(reason: Reason) -> str:
        return _FOR[reason.group][reason.worth < 0].format(money_text(abs(reason.worth), currency))

    said = " and ".join([words(r) for r in heavy if r.worth > 0][:2])
    but = "".join([words(r) for r in heavy if r.worth < 0][:1])
    if said and but:
        return f"{said}, although {but}"
    return said or (f"although {but}" if but else "nothing differs")


def verdict_words(appraisal: Appraisal, verdict: Verdict, currency: Currency) -> tuple[str, str]:
    """Return which choice leaves most money and by how much, and the reason."""
    names = {key: outcome.name for key, outcome in appraisal.outcomes.items()}
    best, baseline = names[verdict.best], appraisal.baseline
    if len(verdict.ranking) == 1:
        return f"{best} is the only choice in this study.", ""
    years = f"{int(baseline.horizon[0]) / 12:.3g} years"
    second_key = verdict.ranking[1]
    second, lead = names[second_key], money_text(verdict.lead, currency)
    against_second = reason_sentence(verdict.reasons, currency)
    if verdict.best == baseline.key:
        if verdict.close:
            head = f"Too close to call: “{best}” and {second} are only {lead} apart over {years}"
            return f"{head}.", f"Against {second}: {against_second}."
        head = f"Most money is left with “{best}”: {lead} more over {years} than with {second}"
        return f"{head}, the next best.", f"Against {second}: {against_second}."
    gain = f"{money_text(verdict.gains[0], currency)} more over {years} than with “{baseline.name}”"
    against_baseline = reason_sentence(verdict.against_baseline, currency)
    if second_key == baseline.key:
        if verdict.close:
            head = f"Too close to call: {best} and “{second}” are only {lead} apart over {years}."
        else:
            head = f"Most money is left with {best}: {gain}."
        return head, f"The reason: {against_baseline}."
    if not any(round(reason.worth) for reason in verdict.reasons):
        head = f"No difference: {best} and {second} come to the same here, {gain}."
        return head, f"Against “{baseline.name}”: {against_baseline}."
    if verdict.close:
        head = (
            f"Too close to call: {best} and {second} are only {lead} apart over {years}, "
            f"{best} ahead with {gain.replace(f' over {years}', '')}."
        )
    else:
        head = f"Most money is left with {best}: {gain}, and {lead} more than with {second}."
    return head, (
        f"For {best} against {second}: {against_second}. "
        f"Against “{baseline.name}”: {against_baseline}."
    )


def verdict_sentence(appraisal: Appraisal, verdict: Verdict, currency: Currency) -> str:
    """Return the verdict with its reason."""
    return " ".join(verdict_words(appraisal, verdict, currency)).strip()


def sureness_sentence(study: Study, found: Swings, system: UnitSystem = "metric") -> str:
    """Return how firm the ranking is when inputs move one at a time, and what it rests on."""
    if not found.each:
        return "No input carries a low and a high value, so nothing is said about how sure this is."
    names = [study.alternatives[key].name for key in found.keys]
    kept = found.tried - len(found.flips)
    said = (
        f"How sure: with one uncertain input at a time at its low or its high value, "
        f"{names[found.best]} stays first in {kept} of {found.tried} cases."
    )
    shown = found.flips if len(found.flips) <= 4 else found.flips[:3]
    for place in dict.fromkeys(place for _, _, place in shown):
        causes = [_end_text(study, swing, end, system) for swing, end, at in shown if at == place]
        said += f" {names[place]} comes first instead where {', or where '.join(causes)}."
    if len(found.flips) > len(shown):
        said += f" And in {len(found.flips) - len(shown)} more cases another comes first."
    top = min(10, len(found.each))
    named = ", ".join(input_name(study, swing.path) for swing in found.each[:3])
    said += (
        f" This is no probability. Of the {len(found.each)} inputs that carry a low and a high "
        f"value, most depends on {named}."
    )
    said += lateness_note(study)
    if found.unproven == top:
        return f"{said} All of the {top} most influential inputs are still assumed or default."
    return (
        f"{said} Of the {top} most influential inputs {found.unproven} are still assumed or "
        "default, not measured, quoted or entered."
    )


def _end_text(study: Study, swing: Swing, end: int, system: UnitSystem) -> str:
    value = swing.quantity.high if end else swing.quantity.low
    likely = swing.quantity.likely
    kind = swing.quantity.entry.kind
    text = quantity_text(likely if value is None else value, kind, system, study.currency, 3)
    return f"{input_name(study, swing.path)} is {text}"


_ELSEWHERE: Final[Mapping[str, str]] = {
    "no machine": "no machine here can make it",
    "too wide": "the piece or its roll is too wide for the machines, or too hard to cut",
    "cheaper bought in": "buying it in leaves more",
    "loses money": "it loses money and cannot be bought in",
    "as the study says": "as the study says",
    "no machine yet": "a machine that it needs is not there at the time",
    "no hours left": "no hours are left",
}


def elsewhere_sentences(found: Iterable[Elsewhere]) -> list[str]:
    """Return why job types are not made in the house, those of one reason together.

    Examples
    --------
    >>> elsewhere_sentences([
    ...     Elsewhere("badges", "Badges", "no machine", 1.0, True, ("laminating",)),
    ...     Elsewhere("banners", "Banners", "too wide", 1.0, True),
    ...     Elsewhere("decals", "Decals", "as the study says", 0.5, True),
    ...     Elsewhere("plates", "Plates", "as the study says", 0.5, True),
    ... ])  # doctest: +NORMALIZE_WHITESPACE
    ['Badges: bought in, no laminator here',
     'Banners: bought in, the piece or its roll is too wide for the machines, or too hard to cut',
     'Decals, Plates: each 50% bought in, as the study says']
    """
    together: dict[tuple[str, str, str], list[str]] = {}
    for item in found:
        share = "" if item.share > 0.995 else f"{item.share:.0%} "
        fate = "bought in" if item.bought_in else "refused"
        reason = lacking(item.missing) if item.missing else _ELSEWHERE[item.reason]
        together.setdefault((share, fate, reason), []).append(item.name)
    return [
        f"{', '.join(names)}: {'each ' if share and len(names) > 1 else ''}{share}{fate}, {reason}"
        for (share, fate, reason), names in together.items()
    ]


#: Machines by what they do, as `capex.study.Machine.functions` names it.
_MACHINE_FOR: Final = {
    "printing": "printer", "laminating": "laminator", "cutting": "contour cutter",
}  # fmt: skip


def lacking(missing: Iterable[str]) -> str:
    """Return which machines there are none of.

    Examples
    --------
    >>> lacking(["laminating"]), lacking(["printing", "cutting"])
    ('no laminator here', 'no printer and no contour cutter here')
    """
    return f"{' and '.join(f'no {_MACHINE_FOR[name]}' for name in missing)} here"
