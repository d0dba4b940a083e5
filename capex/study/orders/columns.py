"""Which column of an order book holds what: guessed from trade words, settled by the user.

Promises: a guess always says how sure it is, why, and which other columns would have done; what
the user names is taken or refused, never improved upon.

May import the standard library, `capex.errors` and `capex.study.orders.words`.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from difflib import SequenceMatcher
from functools import lru_cache
from typing import Final

from capex.errors import OrderBookError
from capex.study.orders.words import FIELDS, FLAGS, HEADERS, LENGTH_UNITS, OTHER_THINGS

__all__ = ["ColumnMapping", "ColumnMatch", "column_mapping", "known_header_cells"]

_EXACT, _WITHIN, _SIMILAR = 1.0, 0.8, 0.6
_ALIKE: Final = 0.85
#: Longest text that is taken for a heading [characters].
LONGEST_HEADING: Final = 60
_IGNORED: Final = frozenset(
    [
        "usd",
        "eur",
        "gbp",
        "cad",
        "aud",
        "chf",
        "the",
        "of",
        "a",
        "in",
        "s",
        "y",
        "n",
        "yes",
        "ja",
        "nein",
    ]
)


@dataclass(frozen=True)
class ColumnMatch:
    """The column that holds one field.

    Parameters
    ----------
    field : str
        One of `FIELDS`.
    column : str or None
        Header as in the file; ``None`` where the user gave one answer for the whole book.
    index : int or None
        Place of the column, 0 the leftmost.
    confidence : float
        1 the user's word or a known header, 0.8 a known header with other words around it,
        0.6 a similar spelling.
    reason : str
        Why this column.
    unit : str or None
        Length unit in the header, in pint's words.
    others : tuple of str
        Columns that would have matched as well.
    answer : bool or None
        The user's one answer for the whole book, for a flag without a column.
    """

    field: str
    column: str | None
    index: int | None
    confidence: float
    reason: str
    unit: str | None = None
    others: tuple[str, ...] = ()
    answer: bool | None = None


@dataclass(frozen=True)
class ColumnMapping:
    """Which column holds which field, to be shown to the user and overruled.

    Parameters
    ----------
    matches : tuple of ColumnMatch
        In the order of `FIELDS`; a field without a column is absent.
    unused : tuple of str
        Headers that stand for no field.
    """

    matches: tuple[ColumnMatch, ...]
    unused: tuple[str, ...] = ()

    def get(self, field: str) -> ColumnMatch | None:
        """Return the match of a field, or ``None``."""
        return next((match for match in self.matches if match.field == field), None)

    def choices(self) -> dict[str, str | bool]:
        """Return the mapping in the form in which a user gives it, to be kept and given again."""
        return {
            match.field: match.column if match.column is not None else bool(match.answer)
            for match in self.matches
        }

    def found(self) -> str:
        """Return the mapping as one sentence part: ``width = 'Breite cm', ...``."""
        return ", ".join(
            f"{match.field} = {match.answer if match.column is None else repr(match.column)}"
            for match in self.matches
        )


def column_mapping(
    header: Sequence[str | None],
    chosen: Mapping[str, str | bool] | None = None,
    dateless: Collection[int] = (),
) -> ColumnMapping:
    """Return the column of each field: the user's choices first, the rest guessed.

    A column serves one field only. The guess goes from the surest match to the least sure.

    Parameters
    ----------
    header : sequence of str or None
        Header cells of the order book.
    chosen : mapping, optional
        Field to header (any capitals and spacing), or to True or False for a flag that has no
        column and one answer for the whole book.
    dateless : collection of int, optional
        Columns in which no cell is a date: "Invoiced" may be a day or an amount.

    Returns
    -------
    ColumnMapping

    Raises
    ------
    OrderBookError
        A choice names an unknown field, or a column that is missing, double or already chosen.

    Examples
    --------
    >>> mapping = column_mapping(["Datum", "Breite cm", "Qty."])
    >>> mapping.found()
    "date = 'Datum', quantity = 'Qty.', width = 'Breite cm'"
    >>> mapping.get("width").unit
    'cm'
    """
    matches = {match.field: match for match in _chosen_matches(header, dict(chosen or {}))}
    taken = {match.index for match in matches.values()}
    offers = sorted(
        (-confidence, rank, index, field, reason)
        for index, name in enumerate(header)
        if name and len(name) <= LONGEST_HEADING and index not in taken
        for words in [_words(name)]
        for field in FIELDS
        if field not in matches and not (field == "date" and index in dateless)
        for confidence, rank, reason in [_likeness(words, field)]
        if confidence > 0
    )
    for negative, rank, index, field, reason in offers:
        if field in matches or index in taken:
            continue
        others = tuple(
            str(header[other])
            for sure, order, other, same, _ in offers
            if same == field and other != index and (sure, order) == (negative, rank)
        )
        name = str(header[index])
        matches[field] = ColumnMatch(
            field, name, index, -negative, reason, _header_unit(name), others
        )
        taken.add(index)
    unused = tuple(name for index, name in enumerate(header) if name and index not in taken)
    return ColumnMapping(tuple(matches[field] for field in FIELDS if field in matches), unused)


def known_header_cells(row: Sequence[object], chosen: Mapping[str, str | bool]) -> int:
    """Return how many cells of a row are plainly headers, to find the header row."""
    wanted = {_plain(name) for name in chosen.values() if isinstance(name, str)}
    fields = {
        field
        for cell in row
        if isinstance(cell, str) and len(cell) <= LONGEST_HEADING
        for words in [_words(cell)]
        for field in FIELDS
        if _bare(words) in _PHRASES[field]
    }
    named = sum(1 for cell in row if isinstance(cell, str) and _plain(cell) in wanted)
    return len(fields) + 2 * named


def _chosen_matches(
    header: Sequence[str | None], chosen: dict[str, str | bool]
) -> list[ColumnMatch]:
    columns = ", ".join(repr(name) for name in header if name)
    matches: list[ColumnMatch] = []
    for field, name in chosen.items():
        if field not in FIELDS:
            raise OrderBookError(
                f"column mapping: {field!r} is no field; the fields are {', '.join(FIELDS)}"
            )
        if isinstance(name, bool):
            if field not in FLAGS:
                raise OrderBookError(f"column mapping: {field} needs a column name, not {name}")
            matches.append(ColumnMatch(field, None, None, 1.0, "your answer", answer=name))
            continue
        places = [i for i, cell in enumerate(header) if cell and _plain(cell) == _plain(name)]
        if len(places) != 1:
            fault = f"stands over {len(places)} columns" if places else "is not in the file"
            raise OrderBookError(
                f"column mapping: {field} = {name!r} {fault}; the columns are {columns}"
            )
        if any(match.index == places[0] for match in matches):
            raise OrderBookError(f"column mapping: column {name!r} is named for two fields")
        column = str(header[places[0]])
        unit = _header_unit(column)
        matches.append(ColumnMatch(field, column, places[0], 1.0, "your choice", unit))
    return matches


def _plain(text: str) -> str:
    """Return a header without accents, capitals and doubled spaces."""
    letters = unicodedata.normalize("NFKD", text.replace("ß", "ss"))
    kept = "".join(letter for letter in letters if not unicodedata.combining(letter))
    return " ".join(kept.casefold().split())


def _words(header: str) -> tuple[str, ...]:
    apart = re.sub(r"(?<=[a-z])(?=[A-Z])", " ", header)
    return tuple(re.findall(r"[a-z0-9]+", _plain(apart).replace("²", "2")))


def _header_unit(header: str) -> str | None:
    """Return the length unit written in a header, or ``None``."""
    words = _words(header)[1:]
    spelled = [LENGTH_UNITS[word] for word in words if word in LENGTH_UNITS]
    if len(set(spelled)) == 1:
        return spelled[0]
    return "in" if re.search(r"[\"″”]", header) else None


def _telling(words: Sequence[str]) -> tuple[str, ...]:
    """Return the words that say what a column holds."""
    return tuple(word for word in words if word not in _IGNORED)


def _bare(words: Sequence[str]) -> tuple[str, ...]:
    """Return the telling words without units of length, unless one is all there is."""
    telling = _telling(words)
    return tuple(word for word in telling if word not in LENGTH_UNITS or len(telling) == 1)


#: The telling words of each field's phrases, in order of rank.
_PHRASES: Final = {
    field: [_telling(phrase.split()) for phrase in HEADERS[field]] for field in FIELDS
}
#: Rank, phrase and its words, for those that mean something among others: "w" and "h" only alone.
_AMONG_OTHERS: Final = {
    field: [
        (rank, phrase, frozenset(phrase.split()))
        for rank, phrase in enumerate(HEADERS[field])
        if len(phrase) > 2
    ]
    for field in FIELDS
}


def _known(words: Sequence[str], field: str) -> tuple[float, int, str]:
    """Return confidence, rank among the field's phrases, and reason, without similar spellings."""
    bare = _bare(words)
    if bare in _PHRASES[field]:
        rank = _PHRASES[field].index(bare)
        return _EXACT, rank, f"known header {HEADERS[field][rank]!r}"
    if OTHER_THINGS.get(field, frozenset()).intersection(_telling(words)):
        return 0.0, 0, ""
    for rank, phrase, needed in _AMONG_OTHERS[field]:
        if needed.issubset(bare):
            return _WITHIN, rank, f"has the word {phrase!r}"
    return 0.0, 0, ""


@lru_cache(4096)
def _likeness(words: tuple[str, ...], field: str) -> tuple[float, int, str]:
    known = _known(words, field)
    if known[0] > 0 or OTHER_THINGS.get(field, frozenset()).intersection(words):
        return known
    text = " ".join(word for word in words if word not in LENGTH_UNITS)
    for rank, phrase in enumerate(HEADERS[field]):
        if min(len(phrase), len(text)) >= 4:
            ratio = SequenceMatcher(None, text, phrase, autojunk=False).ratio()
            if ratio >= _ALIKE:
                return _SIMILAR, rank, f"spelled like {phrase!r}"
    return 0.0, 0, ""
