"""What can be chosen at a place of the study: parts of it, artwork, tax regimes, inputs by name.

May import: from capex study, `views.input_names`, `views.shop.slots` and `views.shop.study_text`.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from capex.study.catalogue import artwork_names, shipped_tax_regimes
from capex.study.places import NAMED_IN
from capex.views.input_names import input_name
from capex.views.shop.slots import Slot, spoken
from capex.views.shop.study_text import StudyText

__all__ = ["choices", "named", "part_name", "parts_of"]

Choice = tuple[str, str]

#: What can be chosen, where its word of the file is not plain enough.
_PLAIN_WORDS: Final = {
    "arrears": "at the end of each month", "advance": "at the start of each month",
    "ownership": "the machine is yours", "purchase": "you buy it for a set price",
    "return": "it goes back",
}  # fmt: skip


def choices(edited: StudyText, path: str, slot: Slot) -> list[Choice]:
    """Return what can be chosen at a place, each as it is written and as it is called.

    Parameters
    ----------
    edited : StudyText
    path : str
    slot : Slot
        What stands there.

    Returns
    -------
    list of tuple of str
        Empty where a text is typed.
    """
    name = path.rpartition(".")[2]
    if slot.shape == "choice":
        return [(each, _PLAIN_WORDS.get(each) or each.replace("_", " ")) for each in slot.options]
    if slot.shape != "text":
        return []
    if name in ("one", "other") and path.startswith("uncertainty."):
        names = [
            (place, input_name(edited.study, place))
            for place, quantity in edited.study.quantities()
            if quantity.low is not None
        ]
        return [(place, words[:1].upper() + words[1:]) for place, words in names]
    if name in NAMED_IN:
        return parts_of(edited, NAMED_IN[name])
    if path.endswith(".cut.name"):
        known = sorted({*edited.mapping.get("artworks", {}), *artwork_names()})
        return [(each, spoken(each)) for each in known]
    if name == "regime":
        own = edited.mapping.get("tax_regimes", {})
        titles = {key: regime.title for key, regime in shipped_tax_regimes().items()}
        titles |= {key: part_name(table, key) for key, table in own.items()}
        return list(titles.items())
    return []


def parts_of(edited: StudyText, table: str) -> list[Choice]:
    """Return the parts of a table of the study, by key and name; two of one name by key too."""
    names = {key: named(edited, table, key) for key in edited.mapping.get(table, {})}
    several = [name for name in names.values() if list(names.values()).count(name) > 1]
    return [(key, f"{name} ({key})" if name in several else name) for key, name in names.items()]


def named(edited: StudyText, table: str, key: object) -> str:
    """Return the name of a part of the study, its key where it has none."""
    part = edited.mapping.get(table, {}).get(key)
    return part_name(part, str(key or ""))


def part_name(part: object, otherwise: str = "") -> str:
    """Return what the user calls a part: its name or title.

    Examples
    --------
    >>> part_name({"name": "Big one"}), part_name({"title": "Five years"}), part_name({}, "New")
    ('Big one', 'Five years', 'New')
    """
    known = part if isinstance(part, Mapping) else {}
    return str(known.get("name") or known.get("title") or otherwise)
