"""Entries of a study's text: what was typed as a TOML value, parts as TOML tables, keys.

May import: tomlkit, and from capex numerals, study and `views.shop.slots`.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from datetime import date
from typing import Any, Final

import tomlkit
from tomlkit.items import InlineTable, Table

from capex.numerals import bare_number, leading_number
from capex.study.quantity import QUANTITY_PARTS
from capex.views.shop.slots import Slot

__all__ = ["entered", "item", "new_key", "new_name", "ordered", "typed"]

_NUMBER: Final = re.compile(r"[-+]?\d{1,15}(\.\d{1,15})?")
#: Between the numbers of a list; a comma alone may be a decimal one.
_BETWEEN: Final = re.compile(r"[;\s]+|,(?:\s+|$)")


def entered(text: str) -> object:
    """Return a typed text as it goes into the file: a plain number as one, else the text.

    What may be read in two ways stays as typed, for the study to refuse.

    Examples
    --------
    >>> entered(" 21,000 "), entered("0.5"), entered("54 in"), entered("18,9"), entered("007")
    (21000, 0.5, '54 in', '18,9', 7)
    >>> entered("18.900"), entered("0.125")
    ('18.900', 0.125)
    """
    plain = bare_number(text) or text.strip()
    if not _NUMBER.fullmatch(plain):
        return text.strip()
    try:
        leading_number(plain, thousands=True)
    except ValueError:
        return plain
    return _as_number(plain)


def new_key(name: str, taken: Mapping[str, Any]) -> str:
    """Return a key made from a name that is not taken yet.

    Examples
    --------
    >>> new_key("2 m banner!", {}), new_key("Banners", {"banners": 1})
    ('entry_2_m_banner', 'banners_2')
    """
    stem = "_".join(re.findall(r"[a-z0-9]+", name.casefold())) or "entry"
    stem = (stem if stem[0].isalpha() else f"entry_{stem}")[:50]
    key, number = stem, 2
    while key in taken:
        key, number = f"{stem}_{number}", number + 1
    return key


def new_name(name: str, parts: Mapping[str, Any]) -> str:
    """Return a name that no part of a table has yet, numbered where it must be.

    Examples
    --------
    >>> new_name("New offer", {}), new_name("New offer", {"a": {"name": "new offer"}})
    ('New offer', 'New offer 2')
    """
    named = (each.get("name") or each.get("title") for each in parts.values()
             if isinstance(each, Mapping))  # fmt: skip
    taken = {str(each).casefold() for each in named}
    found, number = name, 2
    while found.casefold() in taken:
        found, number = f"{name} {number}", number + 1
    return found


def typed(text: str, slot: Slot) -> object:
    """Return a typed text as a value of a slot that is no quantity."""
    plain = text.strip()
    if slot.shape == "switch":
        return plain == "yes"
    if not plain:
        return None
    if slot.shape == "number":
        return _number(plain)
    if slot.shape == "list":
        return [_number(each) for each in _BETWEEN.split(plain) if each]
    if slot.shape == "date":
        try:
            return date.fromisoformat(plain)
        except ValueError:
            return plain  # the study says what is wrong with it
    return plain


def _number(text: str) -> object:
    """Return a plain number, such as a share in a list, its decimal comma read as a point."""
    plain = text.strip().replace("−", "-").replace(",", ".", 1)
    if not _NUMBER.fullmatch(plain):
        return text.strip()
    return _as_number(plain)


def _as_number(plain: str) -> float:
    return float(plain) if "." in plain else int(plain)


def ordered(table: Mapping[str, object]) -> dict[str, object]:
    """Return a quantity's parts in the order of a file."""
    spread = "low" in table or "high" in table
    gone = () if spread else ("distribution", "chances")
    names = ("low", "likely", "high") if spread else ("value",)
    likely = {"likely": table.get("value")} if spread else {}
    parts = {**table, **likely}
    rest = ("distribution", "chances", "source", "date", "note")
    order = [*names, *(name for name in rest if name not in gone)]
    return {name: parts[name] for name in order if parts.get(name) is not None}


def item(value: object, *, inline: bool = False) -> Any:
    """Return a value as a TOML item: a quantity on one line, parts as tables of their own."""
    if isinstance(value, Mapping):
        short = inline or (bool(value) and set(value) <= QUANTITY_PARTS) or "kind" in value
        table: Table | InlineTable = tomlkit.inline_table() if short else tomlkit.table()
        later = [name for name, part in value.items() if not short and _is_table(part)]
        for name in [*(each for each in value if each not in later), *later]:
            if value[name] is not None:
                table.append(name, item(value[name], inline=short))
        return table
    if isinstance(value, (list, tuple)):
        if not inline and value and all(_is_table(part) for part in value):
            listed = tomlkit.aot()
            for part in value:
                listed.append(item(part))
            return listed
        array = tomlkit.array()
        for part in value:
            array.append(item(part, inline=True))
        return array
    return tomlkit.item(value)


def _is_table(value: object) -> bool:
    """Return whether a value stands as a table of its own, or as several."""
    if isinstance(value, (list, tuple)):
        return bool(value) and all(_is_table(part) for part in value)
    return isinstance(value, Mapping) and not (
        (value and set(value) <= QUANTITY_PARTS) or "kind" in value
    )
