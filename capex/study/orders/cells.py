"""The quantities, sizes, flags and money in the cells of an order book.

Promises: a cell is read in the one way that its whole column allows, or refused with the field,
the value and what is allowed. What cannot be told from the file is asked of the user.

May import the standard library, `capex.errors`, `capex.units` and the files of this folder.
"""

from __future__ import annotations

import math
import re
from functools import cache
from typing import Final

from capex.errors import InputError
from capex.study.orders.numbers import DecimalMark, parse_plain_number
from capex.study.orders.sheet import Cell, UnreadableCell
from capex.study.orders.words import LENGTH_UNITS
from capex.units import parse_number

__all__ = [
    "has_length_unit",
    "length_text",
    "money_text",
    "parse_flag",
    "parse_length",
    "parse_money",
    "parse_quantity",
    "parse_size",
    "quantity_text",
    "size_sides",
]


#: Longest side that is taken for a piece of sign work rather than a slip of the key [m].
LONGEST_SIDE: Final = 100.0
#: Largest quantity and order value that are taken for real.
LARGEST_QUANTITY: Final = 10_000_000
LARGEST_PRICE: Final = 1e9

_YES: Final = frozenset((
    "yes", "y", "true", "t", "x", "1", "1.0", "✓", "✔", "on", "done",
    "ja", "j", "wahr", "oui", "o", "vrai", "si", "sí", "s", "verdadero",
))  # fmt: skip
_NO: Final = frozenset((
    "no", "n", "false", "f", "0", "0.0", "-", "–", "—", "off", "none", "na", "n/a",
    "nein", "falsch", "non", "faux", "falso",
))  # fmt: skip
#: Answers that mean yes in one column only.
_YES_IN: Final[dict[str, frozenset[str]]] = {
    "print": frozenset(("print", "printed")),
    "laminate": frozenset((
        "gloss", "glossy", "matt", "matte", "satin", "lam", "laminate", "laminated", "overlaminate",
    )),
    "cut": frozenset((
        "cut", "contour", "kiss", "kiss-cut", "through", "through-cut", "perforated", "plotted",
    )),
}  # fmt: skip
_SIGNS: Final = {"$": "USD", "€": "EUR", "£": "GBP", "¥": "JPY"}
_PIECES: Final = re.compile(
    r"\s*(?:pcs?|pieces?|ea|each|off|sets?|nos?|units?|x|stk|stück|st)\.?$", re.IGNORECASE
)
_UNIT_WORDS: Final = "|".join(
    re.escape(word) for word in sorted(LENGTH_UNITS, key=len, reverse=True)
)
_LENGTH: Final = re.compile(rf"^(?P<number>[^A-Za-z\"″”]+?)\s*(?P<unit>{_UNIT_WORDS})?\.?$", re.I)
_FEET_INCHES: Final = re.compile(
    r"^(?P<feet>\d+)\s*(?:'|′|’|ft\.?|feet|foot)\s*-?\s*"
    r"(?P<inches>\d+(?:\.\d+)?|\d+[ -]\d+/\d+|\d+/\d+)\s*(?:\"|″|”|''|in\.?|inch(?:es)?)$",
    re.IGNORECASE,
)
_FRACTION: Final = re.compile(r"^(?:(?P<whole>\d+)[ -])?(?P<top>\d+)/(?P<bottom>\d+)$")
_VULGAR: Final = {
    "½": "1/2",
    "¼": "1/4",
    "¾": "3/4",
    "⅛": "1/8",
    "⅜": "3/8",
    "⅝": "5/8",
    "⅞": "7/8",
}


def parse_quantity(field: str, cell: Cell, mark: DecimalMark | None) -> int:
    """Return a number of pieces: whole, at least 1.

    Examples
    --------
    >>> parse_quantity("quantity", "1,200 pcs", ".")
    1200
    """
    number = _number(field, cell, mark, _PIECES)
    if number != int(number) or not 1 <= number <= LARGEST_QUANTITY:
        raise InputError(field, cell, f"must be a whole number of pieces, 1 to {LARGEST_QUANTITY}")
    return int(number)


def parse_money(field: str, cell: Cell, mark: DecimalMark | None) -> tuple[float, str | None]:
    """Return an order total, at least 0, and the currency written in the cell.

    Examples
    --------
    >>> parse_money("price", "€ 1.234,50", ",")
    (1234.5, 'EUR')
    """
    currency = None
    if isinstance(cell, str):
        currency, cell = _without_currency(cell)
    number = _number(field, cell, mark)
    if not 0 <= number <= LARGEST_PRICE:
        raise InputError(
            field, cell, f"must be 0 to {LARGEST_PRICE:.0f} {currency or 'currency units'}"
        )
    return number, currency


def quantity_text(cell: str) -> str:
    """Return the number in a cell of pieces, without the word for pieces."""
    return _PIECES.sub("", cell)


def money_text(cell: str) -> str:
    """Return the number in a cell of money, without its currency."""
    return _without_currency(cell)[1]


def parse_length(field: str, cell: Cell, unit: str | None, mark: DecimalMark | None) -> float:
    """Return a side of a piece [m], above 0 and at most 100 m.

    Parameters
    ----------
    field : str
        For the message.
    cell : Cell
        A number, or a text such as ``24 in``, ``1.2m``, ``4' 6"``, ``24 1/2"``.
    unit : str or None
        Unit of the column, for a cell that writes none.
    mark : {".", ","} or None
        Decimal mark of the column.

    Returns
    -------
    float
        Length [m].

    Raises
    ------
    InputError
        No number, no unit anywhere, or out of bounds.

    Examples
    --------
    >>> round(parse_length("width", "24 1/2 in", None, "."), 4)
    0.6223
    >>> parse_length("width", 750, "mm", ".")
    0.75
    """
    text = cell
    if isinstance(cell, str):
        text, own = _split_length(cell)
        if own == "ft+in":
            return _checked_side(field, cell, float(text) * _metres("in"))
        unit = own or unit
    if unit is None:
        raise InputError(field, cell, "has no unit, and neither has the column; state size_unit")
    fraction = _FRACTION.match(text) if isinstance(text, str) else None
    number = _mixed(fraction) if fraction else _number(field, text, mark)
    return _checked_side(field, cell, number * _metres(unit), f"{number:g} {unit}")


def parse_size(
    field: str, cell: Cell, unit: str | None, mark: DecimalMark | None
) -> tuple[float, float]:
    """Return width and height [m] from one cell such as ``24 x 36 in``.

    Examples
    --------
    >>> parse_size("size", "600x400", "mm", ".")
    (0.6, 0.4)
    """
    sides = size_sides(cell) if isinstance(cell, str) else []
    if len(sides) != 2:
        raise _unreadable(field, cell) or InputError(
            field, cell, "must be width x height, such as 24 x 36 in"
        )
    second_unit = _split_length(sides[1])[1]
    shared = unit if second_unit in (None, "ft+in") else second_unit
    return (
        parse_length(field, sides[0], shared, mark),
        parse_length(field, sides[1], unit, mark),
    )


def size_sides(cell: str) -> list[str]:
    """Return the parts of a size that stand on either side of ×, x or by."""
    return [part.strip() for part in re.split(r"\s*[x×*]\s*|\s+by\s+", cell, flags=re.I) if part]


def length_text(cell: str) -> str:
    """Return the number in a cell of length, without its unit."""
    text, unit = _split_length(cell)
    return "" if unit == "ft+in" or "/" in text else text


def has_length_unit(cell: Cell) -> bool:
    """Return whether a cell writes its own length unit."""
    return isinstance(cell, str) and _split_length(size_sides(cell)[-1])[1] is not None


def parse_flag(field: str, name: str, cell: Cell) -> bool:
    """Return yes or no; an empty cell is no.

    Parameters
    ----------
    field : str
        For the message.
    name : {"print", "laminate", "cut"}
        Flag; ``gloss`` is a yes in the laminate column only.
    cell : Cell
        ``yes``, ``n``, 1, ``x``, true, empty and the like.

    Returns
    -------
    bool

    Raises
    ------
    InputError
        Anything else.

    Examples
    --------
    >>> parse_flag("laminate", "laminate", "Gloss"), parse_flag("cut", "cut", None)
    (True, False)
    """
    if cell is None:
        return False
    word = str(cell).strip().casefold()
    if not isinstance(cell, UnreadableCell):
        if word in _YES or word in _YES_IN[name]:
            return True
        if word in _NO:
            return False
    raise _unreadable(field, cell) or InputError(
        field, cell, "must be yes or no (y, n, 1, 0, x, true, false, or empty for no)"
    )


def _number(
    field: str, cell: Cell, mark: DecimalMark | None, suffix: re.Pattern[str] | None = None
) -> float:
    if isinstance(cell, str):
        return parse_plain_number(field, suffix.sub("", cell) if suffix else cell, mark)
    if isinstance(cell, (int, float)) and not isinstance(cell, bool):
        if not math.isfinite(cell):
            raise InputError(field, cell, "is not a finite number")
        return float(cell)
    raise _unreadable(field, cell) or InputError(
        field, cell, "must be a number" if cell is not None else "is missing"
    )


def _unreadable(field: str, cell: Cell) -> InputError | None:
    return InputError(field, cell.shown, cell.reason) if isinstance(cell, UnreadableCell) else None


def _without_currency(text: str) -> tuple[str | None, str]:
    """Return the currency code and the rest; accountants' brackets become a minus sign."""
    bare = text.strip()
    if bare.startswith("(") and bare.endswith(")"):
        bare = f"-{bare[1:-1].strip()}"
    for sign, code in _SIGNS.items():
        if sign in bare:
            return code, bare.replace(sign, "", 1).strip()
    code_found = re.search(r"(?<![A-Za-z])[A-Z]{3}(?![A-Za-z])", bare)
    if code_found and re.search(r"\d", bare):
        return code_found[0], bare.replace(code_found[0], "", 1).strip()
    return None, bare


@cache
def _metres(unit: str) -> float:
    return parse_number(f"1 {unit}", "length")


def _split_length(cell: str) -> tuple[str, str | None]:
    """Return the number and the unit of a length; feet and inches become inches, "ft+in"."""
    text = cell.strip()
    for sign, fraction in _VULGAR.items():
        text = re.sub(rf"(?<=\d)\s*{sign}", f" {fraction}", text).replace(sign, fraction)
    both = _FEET_INCHES.match(text)
    if both:
        part = _FRACTION.match(both["inches"])
        inches = _mixed(part) if part else float(both["inches"])
        return repr(12 * float(both["feet"]) + inches), "ft+in"
    found = _LENGTH.match(text)
    if found is None or found["unit"] is None:
        return text, None
    return found["number"].strip(), LENGTH_UNITS[found["unit"].casefold()]


def _mixed(fraction: re.Match[str]) -> float:
    """Return a whole number and a fraction; a denominator of zero is infinite and then refused."""
    bottom = float(fraction["bottom"])
    part = float(fraction["top"]) / bottom if bottom else math.inf
    return float(fraction["whole"] or 0) + part


def _checked_side(field: str, cell: Cell, side: float, read: str = "") -> float:
    if not 0 < side <= LONGEST_SIDE:
        raise InputError(
            field,
            cell,
            f"must be above 0 and at most {LONGEST_SIDE:g} m{f' (read as {read})' if read else ''}",
        )
    return side
