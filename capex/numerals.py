"""Numbers as people write and the app prints them: a point for decimals, thousands in groups.

One rule for every field and file but order books and time trials, which come out of other
programs: a comma, or a space of any width, only ever groups thousands. What could be a decimal
comma is refused with what to write instead, as 18,9 for 18,900 would be off by a thousand.

Imports the standard library only.
"""

from __future__ import annotations

import re
from typing import Final

__all__ = ["bare_number", "leading_number", "plain_text"]

#: Between groups of three digits: a space, one that does not break, a narrow or a thin one.
_SPACES: Final = "\u00a0\u202f\u2009"
_GROUPED: Final = r"[1-9]\d{0,2}(?:(?:,\d{3})++|(?: \d{3})++)(?![\d,])(?:\.\d*)?"
_PLAIN: Final = r"(?:\d+\.?\d*|\.\d+)"
_NUMBER: Final = re.compile(
    rf"\s*([-+]?(?:{_GROUPED}|{_PLAIN})(?:[eE][-+]?\d+)?)\s*(.*)", re.DOTALL
)
_COMMA: Final = re.compile(r"\s*([-+]?\d+),(\d+)(?![\d,.])")
_COMMAS: Final = re.compile(r"\s*[-+]?\d[\d.]*,[\d,.]")
_POINTS: Final = re.compile(r"\s*[-+]?\d+(?:\.\d+){2,}(?![\d,.])")
#: Thousands with a point, as many countries write them, or three decimals: nobody can tell.
_EITHER: Final = re.compile(r"([-+]?)([1-9]\d{0,2})\.(\d{3})(?!\d)")


def plain_text(text: str) -> str:
    """Return a text with its minus signs and spaces as they are typed.

    Examples
    --------
    >>> plain_text("−\u206018\u202f900")
    '-18 900'
    """
    plain = text.replace("−", "-").replace("\u2060", "")
    return plain.translate(dict.fromkeys(map(ord, _SPACES), " "))


def leading_number(text: str, *, thousands: bool = False) -> tuple[float, str] | None:
    """Return the number that a text begins with, and what follows it.

    Parameters
    ----------
    text : str
    thousands : bool
        Whether 18.900 may have been meant for 18,900, as in an amount of money.

    Returns
    -------
    tuple or None
        None for a text that does not begin with a number.

    Raises
    ------
    ValueError
        A number that can be read in two ways; the message says what to write.

    Examples
    --------
    >>> leading_number("1,234,567.5 USD"), leading_number("18 900"), leading_number("wide")
    ((1234567.5, 'USD'), (18900.0, ''), None)
    >>> leading_number("18,9")
    Traceback (most recent call last):
    ValueError: must be written 18.9: a comma only groups thousands, as in 18,900
    """
    plain = plain_text(text)
    found = _NUMBER.match(plain)
    comma = _COMMA.match(plain)
    if comma and not (found and "," in found[1]):
        whole, part = comma.groups()
        grouped = f"{whole},{part:0<3}"
        grouped = grouped if _NUMBER.fullmatch(grouped) and len(part) < 3 else "18,900"
        raise ValueError(
            f"must be written {whole}.{part}: a comma only groups thousands, as in {grouped}"
        )
    if _POINTS.match(plain):
        raise ValueError("has several points: write thousands with commas, as in 1,234,567.5")
    if _COMMAS.match(plain) and not (found and "," in found[1]):
        raise ValueError("has commas that group no thousands: write it as in 1,234,567.5")
    if found is None:
        return None
    either = _EITHER.fullmatch(found[1]) if thousands else None
    if either:
        whole = f"{either[1]}{either[2]}{either[3]}"
        raise ValueError(f"may be {whole} or {float(found[1]):g}: write it as one of them")
    return float(re.sub("[, ]", "", found[1])), found[2].strip()


def bare_number(text: str) -> str | None:
    """Return a text that is one number, without its groups; None for any other.

    Examples
    --------
    >>> bare_number(" 18,900 "), bare_number("1e6"), bare_number("18,9"), bare_number("5 m")
    ('18900', '1e6', None, None)
    """
    plain = plain_text(text)
    found = _NUMBER.fullmatch(plain)
    if found is None or found[2]:
        return None
    return re.sub("[, ]", "", found[1])
