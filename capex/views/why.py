"""Why this number, in words and tables: the lines and inputs behind a headline figure.

May import: numpy, and from capex study, units, decision, `views.cover_tax`,
`views.late_orders` and `views.wording`.
"""

from __future__ import annotations

import math
from datetime import date
from typing import Final

from capex.decision.cover import lender_view_of
from capex.decision.explanation import Behind, Explanation
from capex.decision.figures import Kind
from capex.study import Study
from capex.units import UnitSystem, quantity_text
from capex.views.cover_tax import cover_tax_sentence
from capex.views.late_orders import lateness_note
from capex.views.wording import Currency, input_name, money_text, payback_text

__all__ = ["input_rows", "line_rows", "value_text", "why_sentences"]

Rows = list[tuple[str, ...]]

#: Figures whose tax has parts that no lender counts on again.
_ON_COVER: Final = frozenset({"least_cover", "break_even_volume"})
LINE_HEADINGS: Final = ("Ledger line", "Adds")
INPUT_HEADINGS: Final = ("Input", "Value", "Source", "Moved to", "Figure changes by")


def value_text(
    value: float, kind: Kind, currency: Currency, system: UnitSystem, horizon_months: int
) -> str:
    """Return a figure with its unit, rounded for reading.

    Examples
    --------
    >>> value_text(0.123, "rate", Currency("USD"), "metric", 84)
    '12.3% a year'
    """
    if math.isnan(value):
        return "none"
    match kind:
        case "money":
            return money_text(value, currency)
        case "years":
            return payback_text(value, horizon_months)
        case "rate":
            return f"{value:.1%} a year"
        case "ratio":
            return f"{value:,.2f}"
        case "share":
            return f"{value:.1%}"
        case "days":
            return f"{value:.2f} working days"
        case "area":
            return quantity_text(value, "area", system, digits=3)


def why_sentences(
    study: Study, why: Explanation, currency: Currency, system: UnitSystem
) -> tuple[str, ...]:
    """Return what the figure is, how its lines add up to it, and how much of it is evidence."""
    shown, name = why.figure, study.alternatives[why.alternative].name
    horizon = int(study.money.horizon.likely)
    figure = value_text(why.value, shown.kind, currency, system, horizon)
    said = [f"{shown.title}, {name}: {figure}{_sought(why)}. {shown.definition}"]
    if shown.sought is not None and math.isnan(why.value):
        return tuple(said)
    if why.summands:
        total = money_text(round(why.total, 2) + 0.0, currency)  # the rounding of sums is nothing
        opening = "" if why.opening is None else (
            f" and the {money_text(why.opening, currency)} in the bank on the day of decision"
        )  # fmt: skip
        count = sum(not each.below for each in why.summands)
        said.append(f"The {count} ledger lines{opening} add up to {total}{_over(why, currency)}.")
    if why.outcome is not None and shown.key in _ON_COVER:
        beside = cover_tax_sentence(lender_view_of(why.outcome), currency)
        said += [beside] if beside else []
    proven = sum(each.is_evidence for each in why.inputs)
    rest = len(why.inputs) - proven
    said.append(
        f"{_counted(len(why.inputs), 'input stands', 'inputs stand')} behind it, found by moving "
        f"each one alone; {_counted(proven, 'is', 'are')} entered, measured or quoted, "
        f"{_counted(rest, 'is', 'are')} assumed or default and no evidence. Each was moved "
        "by 1 % of its value; whole numbers and zeros, which come last, by one step."
    )
    return (*said[:-1], said[-1] + lateness_note(study))


def _counted(count: int, one: str, several: str) -> str:
    """Return a count with its verb."""
    return f"{count} {one if count == 1 else several}"


def _sought(why: Explanation) -> str:
    """Return of what a figure that is sought is, or why there is none."""
    return f" ({why.sought})" if why.sought else ""


def _over(why: Explanation, currency: Currency) -> str:
    """Return what the lines of a ratio add up to, and what they are divided by."""
    parts = why.figure.divisor
    if parts is None or why.divisor is None:
        return ""
    return f" {parts.above_words}, over {money_text(why.divisor, currency)} {parts.words}"


def line_rows(why: Explanation, currency: Currency) -> Rows:
    """Return the ledger lines of a figure, largest first, those that it is divided by last."""
    return [
        (f"Divided by: {each.name}" if each.below else each.name, money_text(each.worth, currency))
        for each in why.summands
    ]


def input_rows(
    study: Study, why: Explanation, currency: Currency, system: UnitSystem, most: int | None = None
) -> Rows:
    """Return the inputs behind a figure, largest effect first, with source and date."""
    return [_input_row(study, why, each, currency, system) for each in why.inputs[:most]]


def _input_row(
    study: Study, why: Explanation, behind: Behind, currency: Currency, system: UnitSystem
) -> tuple[str, ...]:
    quantity = behind.quantity

    def text(value: float) -> str:
        return quantity_text(value, quantity.entry.kind, system, study.currency, 4)

    return (
        input_name(study, behind.path),
        text(float(quantity.si[0])),
        _source_text(quantity.source, quantity.on),
        text(behind.moved_to),
        _change_text(behind.effect, why.figure.kind, currency, system),
    )


def _source_text(source: str, day: date | None) -> str:
    return source if day is None else f"{source} {day.isoformat()}"


def _change_text(effect: float, kind: Kind, currency: Currency, system: UnitSystem) -> str:
    if math.isnan(effect) or math.isinf(effect):
        return "no figure with one of the two"
    sign = "+" if effect > 0 else "−" if effect < 0 else ""
    size = abs(effect)
    match kind:
        case "money":
            return sign + money_text(size, currency)
        case "years":
            return f"{sign}{12 * size:.2f} months"
        case "ratio":
            return f"{sign}{size:.4f}"
        case "rate" | "share":
            return f"{sign}{100 * size:.3f} points"
        case "days":
            return f"{sign}{size:.4f} working days"
        case "area":
            return sign + quantity_text(size, "area", system, digits=3)
