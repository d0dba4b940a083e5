"""Two studies side by side: what each comes to, and every entry in which they differ.

Plain text only: the template escapes it. May import from capex errors, units, study, decision and
`views.wording`.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from capex.decision.appraise import appraise
from capex.decision.verdict import verdict
from capex.errors import CapexError
from capex.study import Quantity, Study
from capex.study.differences import Difference, differences
from capex.study.places import NAMED_IN
from capex.units import quantity_text
from capex.views.wording import Currency, input_name, money_text, verdict_sentence

__all__ = ["Comparison", "EntryRow", "GainRow", "NamedStudy", "Side", "comparison"]

_NOT_THERE = "–"
_EVERY_FIGURE = 15
_LONGEST = 80  # of a text shown in a cell


@dataclass(frozen=True)
class NamedStudy:
    """A study with the name that it is shown by.

    Parameters
    ----------
    key : str
        Of the address that opens it.
    name : str
    study : Study
    """

    key: str
    name: str
    study: Study


@dataclass(frozen=True)
class Side:
    """What one of the two comes to.

    Parameters
    ----------
    key, name : str
    verdict : str
        Or why there is none.
    gains : mapping of str to float
        By alternative [currency]; empty where there is no verdict.
    """

    key: str
    name: str
    verdict: str
    gains: Mapping[str, float]


@dataclass(frozen=True)
class GainRow:
    """What one choice leaves in both."""

    name: str
    one: str
    other: str
    difference: str


@dataclass(frozen=True)
class EntryRow:
    """One entry in which the two differ."""

    name: str
    path: str
    one: str
    other: str


@dataclass(frozen=True)
class Comparison:
    """Two studies side by side.

    Parameters
    ----------
    one, other : Side
    same_currency : bool
        Whether their money can be subtracted.
    gains : tuple of GainRow
        A choice that has the same key in both shares a row.
    entries : tuple of EntryRow
        In the order of the file; a part that stands in one only is one row.
    """

    one: Side
    other: Side
    same_currency: bool
    gains: tuple[GainRow, ...]
    entries: tuple[EntryRow, ...]


def comparison(one: NamedStudy, other: NamedStudy) -> Comparison:
    """Return two studies side by side; both are appraised as they stand.

    Examples
    --------
    >>> from capex.study import StudyFile, data_folder
    >>> file = StudyFile.read(data_folder() / "studies" / "quenlow.toml")
    >>> dearer = file.changed({"shop.people.wage": "25 USD/h"})
    >>> found = comparison(NamedStudy("a", "A", file.study), NamedStudy("b", "B", dearer.study))
    >>> [(row.name, row.other) for row in found.entries]
    [('wage', '25 USD/h (entered)')]
    """
    sides = _side(one), _side(other)
    same = one.study.currency == other.study.currency
    return Comparison(
        *sides, same, tuple(_gains(one, other, *sides)), tuple(_entries(one.study, other.study))
    )


def _side(named: NamedStudy) -> Side:
    currency = Currency(named.study.currency)
    try:
        found = appraise(named.study)
    except CapexError as error:
        return Side(named.key, named.name, f"It cannot be worked out. {error}", {})
    gains = dict(zip(found.outcomes, found.net_present_value[0].tolist(), strict=True))
    sentence = verdict_sentence(found, verdict(found), currency)
    return Side(named.key, named.name, sentence, gains)


def _gains(one: NamedStudy, other: NamedStudy, side: Side, other_side: Side) -> Iterator[GainRow]:
    for key in dict.fromkeys([*side.gains, *other_side.gains]):
        names = [named.study.alternatives[key].name for named in (one, other)
                 if key in named.study.alternatives]  # fmt: skip
        here, there = side.gains.get(key), other_side.gains.get(key)
        yield GainRow(
            " / ".join(dict.fromkeys(names)),
            *_money_texts(here, there, one.study.currency, other.study.currency),
        )


def _money_texts(
    here: float | None, there: float | None, one: str, other: str
) -> tuple[str, str, str]:
    """Return both amounts and their difference, rounded to one place so that they add up.

    Examples
    --------
    >>> _money_texts(165_815.4, 168_764.2, "USD", "USD")
    ('$165,820', '$168,760', '$2,940')
    >>> _money_texts(None, 1.2e6, "USD", "USD"), _money_texts(1e5, 1e5, "USD", "USD")[2]
    (('–', '$1,200,000', '–'), '$0')
    """
    if here is None or there is None or one != other:
        texts = [_NOT_THERE if value is None else money_text(value, Currency(currency))
                 for value, currency in ((here, one), (there, other))]  # fmt: skip
        return texts[0], texts[1], _NOT_THERE
    # three figures of the smallest of the three, and never less than whole units
    sizes = [size for size in (abs(here), abs(there), abs(there - here)) if size > 0]
    place = max(0, min((math.floor(math.log10(size)) - 2 for size in sizes), default=0))
    rounded = [round(value, -place) for value in (here, there)]
    texts = [money_text(value, Currency(one), _EVERY_FIGURE)
             for value in (*rounded, rounded[1] - rounded[0])]  # fmt: skip
    return texts[0], texts[1], texts[2]


_PARTS = ("machines", "films", "inks", "jobs", "alternatives", "offers", "artworks")


def _entries(one: Study, other: Study) -> Iterator[EntryRow]:
    whole: set[tuple[str, str]] = set()
    for found in differences(one, other):
        part, _, rest = found.path.partition(".")
        key = rest.partition(".")[0]
        if part in _PARTS and (key in getattr(one, part)) != (key in getattr(other, part)):
            if (part, key) not in whole:
                whole.add((part, key))
                yield _whole_part(one, other, part, key)
        else:
            yield _entry(one, other, found)


def _whole_part(one: Study, other: Study, part: str, key: str) -> EntryRow:
    texts = ["there" if key in getattr(study, part) else "not there" for study in (one, other)]
    owner = getattr(one, part).get(key) or getattr(other, part)[key]
    name = getattr(owner, "name", key)
    return EntryRow(f"{part.removesuffix('s')} “{name}”", f"{part}.{key}", *texts)


def _entry(one: Study, other: Study, found: Difference) -> EntryRow:
    texts = _called(found.before, one, found.path), _called(found.after, other, found.path)
    if texts[0] == texts[1]:  # they differ beyond the figures that are shown
        texts = _exactly(found.before, texts[0]), _exactly(found.after, texts[1])
    holder = other if found.before is None else one
    return EntryRow(input_name(holder, found.path), found.path, *texts)


def _called(value: object, study: Study, path: str) -> str:
    """Return what stands at a path; a part that it names by that part's own name."""
    table = NAMED_IN.get(path.rpartition(".")[2], "")
    part = getattr(study, table, {}).get(value) if isinstance(value, str) else None
    return str(part.name) if part is not None else _text(value, study)


def _text(value: object, study: Study) -> str:
    if value is None:
        return _NOT_THERE
    if isinstance(value, Quantity):
        kind, spread = value.entry.kind, ""
        if value.low is not None and value.high is not None:
            ends = (quantity_text(end, kind, currency=study.currency)
                    for end in (value.low, value.high))  # fmt: skip
            spread = f", {' to '.join(ends)}"
        return f"{value.shown(currency=study.currency)}{spread} ({value.source})"
    if isinstance(value, bool):
        return "yes" if value else "no"
    text = str(value)
    return text if len(text) <= _LONGEST else f"{text[:_LONGEST]}… ({len(text):,} characters)"


def _exactly(value: object, text: str) -> str:
    if not isinstance(value, Quantity):
        return text
    more = [f"as typed: {value.text}"] if value.text is not None else []
    more += [f"date {value.on}"] if value.on is not None else []
    more += [f"note: {value.note}"] if value.note else []
    return "; ".join([text, *more])
