"""Numbers as people write them: decimal points and commas, thousands separators.

Promises: what a column shows settles how its ambiguous numbers are read; what nothing shows is
asked of the user.

May import the standard library and `capex.errors`.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Mapping
from typing import Final, Literal

from capex.errors import InputError, OrderBookError

__all__ = ["DecimalMark", "decimal_marks", "parse_plain_number"]

DecimalMark = Literal[".", ","]

_GAPS: Final = re.compile(r"[\s\u00a0\u2009\u202f'’]")
_GROUPED: Final = re.compile(r"[0-9]+|[0-9]{1,3}(?:[\s\u00a0\u2009\u202f'’.,][0-9]{3})+")


def decimal_marks(
    texts: Mapping[str, Iterable[str]], choice: DecimalMark | None = None
) -> dict[str, DecimalMark | None]:
    """Return the decimal mark of each numeric column.

    Evidence in the column counts first, then that of the whole file: ``0.075``, ``12,5`` and
    ``1.234,50`` show the mark, ``1.234`` alone doesn't.

    Parameters
    ----------
    texts : mapping of str to iterable of str
        The text cells by field.
    choice : {".", ","}, optional
        The user's word; it holds for all columns.

    Returns
    -------
    dict
        By field; ``None`` where one column holds both conventions, so that each cell must show its
        own.

    Raises
    ------
    OrderBookError
        A column holds only ambiguous numbers and the rest of the file shows neither mark.

    Examples
    --------
    >>> decimal_marks({"price": ["1.234,50", "1.234"], "width": ["1.200"]})
    {'price': ',', 'width': ','}
    """
    if choice is not None:
        return dict.fromkeys(texts, choice)
    shown = {field: [_shown_mark(text) for text in column] for field, column in texts.items()}
    everywhere = {mark for marks in shown.values() for mark in marks} - {None, "?"}
    found: dict[str, DecimalMark | None] = {}
    for field, marks in shown.items():
        evidence = set(marks) - {None, "?"} or everywhere
        if not evidence and "?" in marks:
            example = next(text for text in texts[field] if _shown_mark(text) == "?")
            raise OrderBookError(
                f"{field}: {example!r} can be thousands or decimals, and nothing else in the file "
                'tells; state decimal="." or decimal=","'
            )
        one = next(iter(evidence), ".") if len(evidence) < 2 else None
        found[field] = None if one is None else ("," if one == "," else ".")
    return found


def parse_plain_number(field: str, text: str, mark: DecimalMark | None) -> float:
    """Return a number written with thousands separators and a decimal mark.

    Parameters
    ----------
    field : str
        For the message.
    text : str
        Without currency and unit.
    mark : {".", ","} or None
        Decimal mark of the column; ``None`` where the cell must show its own.

    Returns
    -------
    float
        Finite.

    Raises
    ------
    InputError
        Not a number in this notation.

    Examples
    --------
    >>> parse_plain_number("price", "1'234.50", ".")
    1234.5
    """
    if not re.search("[0-9]", text):
        raise InputError(field, text, "is not a number")
    own = _shown_mark(text)
    if mark is None:
        if own == "?":
            raise InputError(
                field, text, "can be thousands or decimals, and the column holds both notations"
            )
        mark = "," if own == "," else "."
    sign = -1.0 if text.strip().startswith(("-", "−")) else 1.0
    bare = re.sub(r"^[-+−]\s*", "", text.strip())
    whole, dot, decimals = bare.partition(mark)
    grouped = _GROUPED.fullmatch(whole) or (not whole and dot)
    if not grouped or (dot and not re.fullmatch("[0-9]+", decimals)) or not bare:
        raise InputError(field, text, f"is not a number with decimal mark {mark!r}")
    number = float(f"{re.sub(r'[^0-9]', '', whole) or '0'}.{decimals or '0'}")
    if not math.isfinite(number):
        raise InputError(field, text, "is not a finite number")
    return sign * number


def _shown_mark(text: str) -> str | None:
    """Return the decimal mark that a text shows, "?" if it may be either, ``None`` if none."""
    bare = text.strip().lstrip("+-−").strip()
    marks = [letter for letter in bare if letter in ".,"]
    if not marks:
        return None
    last = marks[-1]
    whole, _, decimals = bare.rpartition(last)
    if len(set(marks)) == 2:
        return last if marks.count(last) == 1 else None
    if len(marks) > 1:
        return "," if last == "." else "."  # a repeated mark groups thousands
    if _GAPS.search(whole) or len(decimals) != 3 or whole in ("", "0") or len(whole) > 3:
        return last
    return last if whole.startswith("0") else "?"
