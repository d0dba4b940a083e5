"""Break-evens in words and tables.

May import: from capex study, units, decision, `views.wording`.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from capex.decision.appraise import appraise
from capex.decision.break_even import BreakEven, BreakEvenReason, break_evens
from capex.decision.break_even_table import closest_rival
from capex.study import Study
from capex.units import UnitSystem, parse_number, quantity_text
from capex.views.wording import Currency, input_name, money_text

__all__ = [
    "INPUT_HEADINGS",
    "JUMP_NOTE",
    "PAIR_HEADINGS",
    "asked_break_evens",
    "has_jump",
    "input_rows",
    "input_sentence",
    "pair_rows",
    "table_sentences",
]

Rows = list[tuple[str, ...]]

INPUT_HEADINGS: Final[tuple[str, ...]] = ("Input", "Source", "Today", "Break-even", "From today")
PAIR_HEADINGS: Final[tuple[str, ...]] = ("Compared", "Today", "What it takes", "Break-even")

_JUMP: Final = "(a jump)"
#: What the mark beside a value says, for the line under a table that has it.
JUMP_NOTE: Final = (
    f"{_JUMP}: at this value the lead changes sides at one stroke, as when a piece of work no "
    "longer fits a machine; at no value near it do both leave the same."
)


def has_jump(rows: Rows) -> bool:
    """Return whether a table of break-evens has a value marked as a jump."""
    return any(_JUMP in cell for row in rows for cell in row)


def asked_break_evens(
    study: Study,
    path: str,
    keys: tuple[str | None, str | None],
    ends: tuple[str | None, str | None],
) -> tuple[BreakEven, ...]:
    """Return the break-evens of an input as someone asks for them.

    Parameters
    ----------
    study : Study
    path : str
        Of the input.
    keys : tuple of str or None
        Of the alternative and of the one it is compared with. Where neither is named, every one
        is compared with the baseline, and the best with its closest rival.
    ends : tuple of str or None
        Lowest and highest value looked at, as typed, with their unit.

    Raises
    ------
    InputError
        Unknown input or alternative, or an end that is no such quantity or is not allowed.
    """
    kind = study.quantity(path).entry.kind
    low, high = (
        end if end is None else parse_number(end, kind, field=field, currency=study.currency)
        for end, field in zip(ends, ("--low", "--high"), strict=True)
    )
    rival = closest_rival(appraise(study), *keys)
    pairs = [rival]
    if keys == (None, None):
        pairs = [(key, study.baseline) for key in study.alternatives if key != study.baseline]
        pairs += [rival] * (rival not in pairs)
    return break_evens(study, path, pairs, low=low, high=high)


def input_sentence(study: Study, found: BreakEven, system: UnitSystem = "metric") -> str:
    """Return which input is looked at, its value today, and between which values."""
    reach = found.reach
    today = "left out today" if found.today is None else f"{_text(study, found, system)} today"
    ends = [_text(study, found, system, end) for end in (reach.low, reach.high)]
    return (
        f"{_name(study, found.path)}: {today}, looked at from {ends[0]} to {ends[1]} "
        f"({reach.words}), all else as it stands."
    )


def pair_rows(
    study: Study, found: Sequence[BreakEven], currency: Currency, system: UnitSystem = "metric"
) -> Rows:
    """Return a row a pair: what lies between them today, and where an input evens it out."""
    return [
        (
            f"{study.alternatives[one.alternative].name} against "
            f"{study.alternatives[one.against].name}",
            money_text(one.difference, currency),
            _pays(one),
            _values_text(study, one, system),
        )
        for one in found
    ]


def table_sentences(study: Study, found: Sequence[BreakEven], currency: Currency) -> list[str]:
    """Return what is compared, and how many inputs can turn it."""
    if not found:
        return []
    one, other = (study.alternatives[key].name for key in (found[0].alternative, found[0].against))
    count = dict.fromkeys(BreakEvenReason, 0)
    for each in found:
        count[each.reason] += 1
    ahead = found[0].difference
    moving = len(found) - count[BreakEvenReason.NO_EFFECT] - count[BreakEvenReason.HELD]
    return [
        f"{one} leaves {money_text(abs(ahead), currency)} {'more' if ahead >= 0 else 'less'} than "
        f"{other} today (net present value).",
        f"{moving} of {len(found)} inputs make a difference between them; moved alone, "
        f"{count[BreakEvenReason.FOUND]} reach a value within their range at which both leave "
        "the same. Those nearest to today's value come first: on them the decision hangs.",
    ]


def input_rows(
    study: Study, found: Sequence[BreakEven], most: int | None = None, system: UnitSystem = "metric"
) -> Rows:
    """Return a row an input that has a break-even, the nearest first."""
    even = [each for each in found if each.reason is BreakEvenReason.FOUND]
    return [
        (
            f"{_name(study, each.path)}\n{each.path}",
            each.reach.quantity.source,
            _text(study, each, system),
            _values_text(study, each, system),
            "" if each.distance is None else f"{each.distance:+.1%}".replace("-", "−"),
        )
        for each in even[:most]
    ]


def _name(study: Study, path: str) -> str:
    """Return the words for an input, an entry of a list with its place."""
    owner, _, last = path.rpartition(".")
    return f"{input_name(study, owner)}, entry {int(last) + 1}" if last.isdecimal() else (
        input_name(study, path)
    )  # fmt: skip


def _text(study: Study, found: BreakEven, system: UnitSystem, value: float | None = None) -> str:
    quantity = found.reach.quantity
    number = quantity.likely if value is None else value
    return quantity_text(number, quantity.entry.kind, system, study.currency)


def _pays(found: BreakEven) -> str:
    """Return on which side of its break-evens an alternative pays, or why there is none."""
    if found.reason is not BreakEvenReason.FOUND:
        return found.reason.words
    if len(found.changes) == 1:
        return "pays above" if found.changes[0].rises else "pays below"
    side = "above" if found.changes[0].rises else "below"
    return f"pays {side} the first; each turns it"


def _values_text(study: Study, found: BreakEven, system: UnitSystem) -> str:
    whole = found.reach.quantity.entry.whole
    return "; ".join(
        _text(study, found, system, value) + (f" {_JUMP}" if jump and not whole else "")
        for value, jump in zip(found.values, found.jumps, strict=True)
    )
