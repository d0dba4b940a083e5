"""What a user typed in a field of the shop floor page, as a number.

May import: from capex errors and numerals only.
"""

from __future__ import annotations

import math

from capex.errors import InputError
from capex.numerals import bare_number, leading_number

__all__ = ["parse_number_between", "parse_share", "parse_whole", "with_unit"]


def with_unit(text: str, unit: str) -> str:
    """Return a quantity with its unit, that of the field where none was typed.

    Examples
    --------
    >>> with_unit("3.5", "m"), with_unit("1,200", "mm"), with_unit("27 ft", "m")
    ('3.5 m', '1200 mm', '27 ft')
    """
    bare = bare_number(text)
    return text.strip() if bare is None else f"{bare} {unit}"


def _number(field: str, text: str, wanted: str) -> float:
    try:
        found = leading_number(text.strip().rstrip("%"))
    except ValueError as error:
        raise InputError(field, text, str(error)) from None
    if found is None or found[1]:
        raise InputError(field, text, f"is not a number; it {wanted}")
    if not math.isfinite(found[0]):
        raise InputError(field, text, f"is not a finite number; it {wanted}")
    return found[0]


def parse_whole(field: str, text: str, low: int, high: int) -> int:
    """Return a whole number between two bounds, both included.

    Raises
    ------
    InputError
        Not a whole number, or outside them.

    Examples
    --------
    >>> parse_whole("orders", " 12 ", 1, 99)
    12
    """
    wanted = f"must be a whole number from {low} to {high:,}"
    value = _number(field, text, wanted)
    if value != round(value) or not low <= value <= high:
        raise InputError(field, text, wanted)
    return int(value)


def parse_number_between(field: str, text: str, low: float, high: float) -> float:
    """Return a number between two bounds, both included.

    Raises
    ------
    InputError
        Not a number, or outside them.

    Examples
    --------
    >>> parse_number_between("days", "2.5", 0.1, 60)
    2.5
    """
    wanted = f"must be from {low:g} to {high:g}"
    value = _number(field, text, wanted)
    if not low <= value <= high:
        raise InputError(field, text, wanted)
    return value


def parse_share(field: str, text: str, low: float, high: float) -> float:
    """Return a percentage as a share; the bounds are percentages, both included.

    Raises
    ------
    InputError
        Not a number, or outside the bounds.

    Examples
    --------
    >>> parse_share("allowance", "12.5 %", 0, 100)
    0.125
    """
    wanted = f"must be from {low:g} to {high:g} %"
    value = _number(field, text, wanted)
    if not low <= value <= high:
        raise InputError(field, text, wanted)
    return value / 100.0
