"""Which kind of work an order is: by its type, by the words of its description, by its processes.

Promises: between `at_least` and `at_most` kinds where the book allows it; the order of rows has no
influence; every joining, pooling and splitting is told in a note.

May import pandas, `capex.errors` and the files of this folder.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Hashable, Mapping
from dataclasses import dataclass
from difflib import SequenceMatcher
from typing import Any, Final

import pandas as pd

from capex.study.orders.words import KEY_WORDS

__all__ = ["Kinds", "explained_share", "kinds", "stems"]

_ALIKE, _SWAPPED = 0.85, 0.8
_TIMES_MORE_FREQUENT: Final = 5
_RARE: Final = 0.005
_RARE_ORDERS: Final = 5
_FEWEST_ORDERS: Final = 12
_FEWEST_SHARE: Final = 0.01
_LONGEST_NAME: Final = 50
#: Among more types than these no slips are looked for, and longer ones are no slips: every pair
#: would be compared letter by letter. The figures are ours.
_MOST_TYPES: Final = 300
_LONGEST_TYPE: Final = 100
#: Most types that are told apart at all.
_MOST_NAMES: Final = 1000


@dataclass(frozen=True, eq=False)
class Kinds:
    """The kind of each order.

    Parameters
    ----------
    names : Series of str
        By the index of the orders.
    spellings : dict
        Kind to the type texts found under it.
    notes : tuple of str
        What was joined, pooled and split, for the user.
    """

    names: pd.Series[str]
    spellings: dict[str, tuple[str, ...]]
    notes: tuple[str, ...]


def kinds(
    orders: pd.DataFrame,
    at_most: int,
    at_least: int,
    same_as: Mapping[str, str] | None = None,
) -> Kinds:
    """Return the kind of each order.

    1. The type text, whatever its capitals, plurals, order of words and slips of the key (a rare
       near-copy of a type at least five times as frequent); else a type all of whose words
       stand in the description; else a trade word in the description; else no name.
    2. A kind whose orders differ in being printed or contour-cut is two kinds, if both have at
       least 12 orders and 1 % of all: the machines see them as different work.
    3. Kinds under 5 orders, or under 0.5 % of orders and of value, nameless ones, and the least
       valuable ones above `at_most`, are pooled by their processes.
    4. Below `at_least`, the kind is split whose split by lamination, size or quantity explains most
       of the order value; both parts keep at least 12 orders and 1 %.

    Parameters
    ----------
    orders : DataFrame
        As in `OrderBook.orders`.
    at_most, at_least : int
        Bounds on the number of kinds.
    same_as : mapping of str to str, optional
        The user's word on types that are one: type to the type that it is counted under.

    Returns
    -------
    Kinds
    """
    notes: list[str] = []
    named = _named(orders, notes, same_as or {})
    names = _split_by_process(orders, named, notes)
    names = _pooled(orders, names, at_most, notes)
    names = _split_to(orders, names, at_least, notes)
    texts: dict[str, set[str]] = {}
    for name, text in zip(names, orders["type"], strict=True):
        texts.setdefault(name, set()).update({text} - {""})
    spellings = {name: tuple(sorted(found)) for name, found in texts.items()}
    return Kinds(names, spellings, tuple(notes))


def explained_share(orders: pd.DataFrame, names: pd.Series[str]) -> float:
    """Return the share of the variance of order value that the kinds explain.

    One minus the squared deviations from the kind's mean over those from the overall mean (the
    coefficient of determination, η²); 1 if all orders have the same value.
    """
    whole = _squares(orders["price"])
    within = sum(_squares(price) for _, price in orders["price"].groupby(names))
    return 1.0 if whole == 0 else max(0.0, 1.0 - within / whole)


def stems(text: str) -> tuple[str, ...]:
    """Return the words of a text in the singular, without numbers."""
    words = re.findall(r"[^\W\d_]+", text.casefold().replace("roll-up", "rollup"))
    singular = []
    for word in words:
        if len(word) > 4 and word.endswith("ies"):
            singular.append(f"{word[:-3]}y")
        elif len(word) > 3 and word.endswith("s") and not word.endswith("ss"):
            singular.append(word[:-1])
        else:
            singular.append(word)
    return tuple(singular)


def _named(orders: pd.DataFrame, notes: list[str], same_as: Mapping[str, str]) -> pd.Series[str]:
    """Return the name of each order's kind, empty where nothing tells it."""
    stated = {stems(text): stems(other) for text, other in same_as.items()}
    keys = [stated.get(key, key) for key in map(stems, orders["type"])]
    counts = Counter(key for key in keys if key)
    if len(counts) > _MOST_NAMES:
        ranked = sorted(counts, key=lambda key: (-counts[key], key))
        notes.append(
            f"{len(counts):,} types: the {_MOST_NAMES:,} most frequent were taken, the others by "
            "their description"
        )
        rare = set(ranked[_MOST_NAMES:])
        keys = [() if key in rare else key for key in keys]
        counts = Counter(key for key in keys if key)
    home = _joined_spellings(counts, notes)
    merged = Counter(home[key] for key in keys if key)
    shown = _shown_names(orders, [() if key in stated else home.get(key, ()) for key in
                                  map(stems, orders["type"])])  # fmt: skip
    frequent = sorted(merged, key=lambda key: (-merged[key], key))[:_MOST_TYPES]
    types = sorted(frequent, key=lambda key: (-len(key), -merged[key], key))
    found = []
    for key, text in zip(keys, orders["description"], strict=True):
        found.append(shown[home[key]] if key else _from_description(text, types, shown))
    untyped = sum(1 for key in keys if not key)
    if counts and untyped:
        notes.append(f"{untyped} orders without a type were placed by their description")
    return pd.Series(found, index=orders.index, dtype=object)


def _joined_spellings(
    counts: Counter[tuple[str, ...]], notes: list[str]
) -> dict[tuple[str, ...], tuple[str, ...]]:
    """Return each type's main spelling; a rare near-copy of a frequent one is a slip of the key."""
    ranked = sorted(counts, key=lambda key: (-counts[key], key))
    home: dict[tuple[str, ...], tuple[str, ...]] = {}
    same_words: dict[tuple[str, ...], tuple[str, ...]] = {}
    few = len(ranked) <= _MOST_TYPES
    if not few:
        notes.append(f"{len(ranked):,} types: slips of the key among them were not looked for")
    for place, key in enumerate(ranked):
        alike = (
            main
            for main in (ranked[:place] if few else ())
            if home[main] == main
            and counts[main] >= _TIMES_MORE_FREQUENT * counts[key]
            and _alike(key, main)
        )
        same = same_words.setdefault(tuple(sorted(key)), key)
        home[key] = home[same] if same != key else next(alike, key)
        if sorted(home[key]) != sorted(key):
            notes.append(f"type {' '.join(key)!r} was read as {' '.join(home[key])!r}")
    return home


def _alike(one: tuple[str, ...], other: tuple[str, ...]) -> bool:
    """Return whether one type may be the other with letters swapped, doubled or left out."""
    letters, others = "".join(one), "".join(other)
    if max(len(letters), len(others)) > _LONGEST_TYPE:
        return False
    if sorted(letters) == sorted(others):
        return _likeness(letters, others) >= _SWAPPED
    words = zip(one, other, strict=False)
    return (
        len(one) == len(other)
        and _likeness(letters, others) >= _ALIKE
        and all(_likeness(word, match) >= _SWAPPED for word, match in words)
    )


def _likeness(one: str, other: str) -> float:
    first, second = sorted((one, other))  # the ratio depends on which comes first
    return SequenceMatcher(None, first, second, autojunk=False).ratio()


def _shown_names(orders: pd.DataFrame, keys: list[tuple[str, ...]]) -> dict[tuple[str, ...], str]:
    """Return the most frequent spelling of each type, in small letters, no two alike."""
    texts: dict[tuple[str, ...], Counter[str]] = {}
    for key, text in zip(keys, orders["type"], strict=True):
        if key:
            texts.setdefault(key, Counter())[text.casefold()[:_LONGEST_NAME].strip()] += 1
    shown: dict[tuple[str, ...], str] = {}
    taken: set[str] = set()
    for key in sorted(texts):
        name = min(texts[key], key=lambda text: (-texts[key][text], text))
        shown[key] = name if name not in taken else " ".join(key)[:_LONGEST_NAME]
        taken.add(shown[key])
    return shown


def _from_description(
    text: str, types: list[tuple[str, ...]], shown: dict[tuple[str, ...], str]
) -> str:
    words = set(stems(text))
    for key in types:
        if set(key) <= words:
            return shown[key]
    for kind, key_words in KEY_WORDS.items():
        if words.intersection(key_words):
            return next((shown[key] for key in types if set(key_words).intersection(key)), kind)
    return ""


def _process(order: Any, *, laminate: bool = True) -> str:
    done = [
        word
        for word, flag in (
            ("printed", order.print),
            ("laminated", order.laminate and laminate),
            ("cut", order.cut),
        )
        if flag
    ]
    if done == ["cut"]:
        return "cut only"
    return " and ".join([", ".join(done[:-1]), done[-1]] if len(done) > 1 else done) or "laminated"


def _fewest(orders: pd.DataFrame) -> int:
    return max(_FEWEST_ORDERS, round(_FEWEST_SHARE * len(orders)))


def _split_by_process(
    orders: pd.DataFrame, names: pd.Series[str], notes: list[str]
) -> pd.Series[str]:
    process = pd.Series(
        [_process(order, laminate=False) for order in orders.itertuples()],
        index=orders.index,
        dtype=object,
    )
    result = names.copy()
    for name in sorted(set(names) - {""}):
        rows = names == name
        counts = Counter(process[rows])
        ranked = sorted(counts, key=lambda text: (-counts[text], text))
        for text in ranked[1:]:
            if counts[text] >= _fewest(orders):
                result[rows & (process == text)] = f"{name}, {text}"
            else:
                notes.append(f"{name}: {counts[text]} orders are {text}, the others {ranked[0]}")
    return result


def _pooled(
    orders: pd.DataFrame, names: pd.Series[str], at_most: int, notes: list[str]
) -> pd.Series[str]:
    """Return the names with the rare, the nameless and the surplus pooled by process."""
    count = Counter(names)
    value = {str(name): float(price.sum()) for name, price in orders["price"].groupby(names)}
    ranked = sorted(set(names) - {""}, key=lambda name: (-value[name], name))
    common = [
        name
        for name in ranked
        if count[name] >= min(_RARE_ORDERS, 0.02 * len(orders))
        and (
            count[name] >= _RARE * len(orders)
            or value[name] >= _RARE * float(orders["price"].sum())
        )
    ]
    for number in range(min(len(common), at_most), -1, -1):
        kept = names.isin(common[:number])
        result = names.where(kept, _pools(orders[~kept], _fewest(orders)))
        if result.nunique() <= at_most:
            break
    else:
        result = names.where(kept, "other work")
    gone = [name for name in ranked if name not in set(result)]
    if gone:
        notes.append(f"pooled as other work: {', '.join(gone)}")
    return result


def _pools(orders: pd.DataFrame, fewest: int) -> pd.Series[str]:
    """Return the pool of each order: by all processes, else by printing and cutting, else one."""
    fine = [f"other work, {_process(order)}" for order in orders.itertuples()]
    coarse = [f"other work, {_process(order, laminate=False)}" for order in orders.itertuples()]
    counts = Counter(fine)
    pools = [one if counts[one] >= fewest else two for one, two in zip(fine, coarse, strict=True)]
    counts = Counter(pools)
    if sum(1 for count in counts.values() if count < fewest) > 1:
        pools = [pool if counts[pool] >= fewest else "other work" for pool in pools]
    return pd.Series(pools, index=orders.index, dtype=object)


def _split_to(
    orders: pd.DataFrame, names: pd.Series[str], at_least: int, notes: list[str]
) -> pd.Series[str]:
    """Return the names with kinds split until there are enough, best explanation first."""
    while names.nunique() < at_least:
        ways = [
            way
            for name in sorted(set(names))
            for way in _splits(orders[names == name], name, _fewest(orders))
        ]
        if not ways:
            notes.append(
                f"{names.nunique()} kinds, fewer than {at_least}: no kind is large and varied "
                f"enough to be split into parts of at least {_fewest(orders)} orders"
            )
            break
        _, name, labels = max(ways, key=lambda way: way[0])
        names = names.copy()
        names[labels.index] = labels
        notes.append(f"{name} was split in two")
    return names


def _squares(price: pd.Series[float]) -> float:
    return float(((price - price.mean()) ** 2).sum())


def _splits(part: pd.DataFrame, name: str, fewest: int) -> list[tuple[float, str, pd.Series[str]]]:
    """Return the ways to split one kind: squared deviations explained, kind, new names."""
    area = part["width"] * part["height"]
    limit, pieces = float(area.median()), float(part["quantity"].median())
    many = f"{pieces:g} piece{'' if pieces == 1 else 's'}"
    ways: tuple[tuple[pd.Series[bool], str, str], ...] = (
        (part["laminate"], "laminated", "unlaminated"),
        (area <= limit, f"up to {limit:.3g} m²", f"over {limit:.3g} m²"),
        (part["quantity"] <= pieces, f"up to {many}", f"over {many}"),
    )
    found = []
    for chosen, yes, no in ways:
        if min(int(chosen.sum()), int((~chosen).sum())) >= fewest:
            price = part["price"]
            gain = _squares(price) - _squares(price[chosen]) - _squares(price[~chosen])
            labels: list[Hashable] = [f"{name}, {yes if one else no}" for one in chosen]
            found.append((gain, name, pd.Series(labels, index=part.index, dtype=object)))
    return found
