"""Units at the edges: what a user types becomes a number in one canonical unit, and back.

Inside the package every number is in the canonical unit of its `Kind`: SI for physical
quantities, the study's currency for money, fractions for shares, months for calendar spans and
currency per year for amounts quoted by the year. Nothing below the edges converts anything.

Imports pint, `capex.errors` and `capex.numerals` only.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from functools import cache, lru_cache
from typing import Final, Literal

import pint

from capex.errors import CurrencyError, UnitError
from capex.numerals import leading_number, plain_text

__all__ = [
    "KINDS",
    "Kind",
    "UnitSystem",
    "parse_number",
    "quantity_text",
    "shown_number",
    "unit_label",
]

UnitSystem = Literal["metric", "us_customary"]


@dataclass(frozen=True)
class Kind:
    """One kind of quantity with its canonical unit and the units that people write.

    Parameters
    ----------
    name : str
        Key in `KINDS`.
    unit : str
        Canonical unit in pint's words; ``money`` stands for the study's currency.
    metric, us_customary : str
        Unit for showing a value to a person.
    bare : bool
        Whether a number without a unit is accepted (counts, shares, money, months).
    example : str
        A well-formed entry, for messages.
    """

    name: str
    unit: str
    metric: str
    us_customary: str
    bare: bool
    example: str


_SEVERAL = (
    Kind("length", "m", "m", "in", bare=False, example="1.37 m or 54 in"),
    Kind("small_length", "m", "mm", "in", bare=False, example="33.8 mm or 1.33 in"),
    Kind("distance", "m", "km", "mi", bare=False, example="3 km"),
    Kind("speed", "m/s", "m/s", "in/s", bare=False, example="1 m/s or 40 in/s"),
    Kind("feed_speed", "m/s", "m/min", "ft/min", bare=False, example="1.5 m/min"),
    Kind("acceleration", "m/s**2", "m/s**2", "ft/s**2", bare=False, example="1.5 g or 15 m/s²"),
    Kind("area_rate", "m**2/s", "m**2/h", "ft**2/h", bare=False, example="21 m²/h or 350 ft²/h"),
    Kind("area", "m**2", "m**2", "ft**2", bare=False, example="12 m² or 130 ft²"),
    Kind("coverage", "m", "mL/m**2", "mL/ft**2", bare=False, example="10 mL/m²"),
    Kind("volume", "m**3", "L", "L", bare=False, example="12 L"),
    Kind("duration", "s", "min", "min", bare=False, example="6 min or 0.5 h"),
    Kind("long_duration", "s", "h", "h", bare=False, example="700 h"),
    Kind("force", "N", "N", "N", bare=False, example="3.4 N"),
    Kind("mass", "kg", "kg", "lb", bare=False, example="150 kg"),
    Kind("power", "W", "kW", "kW", bare=False, example="1.6 kW"),
    Kind("voltage", "V", "V", "V", bare=False, example="120 V"),
    Kind("angle", "rad", "deg", "deg", bare=False, example="20 deg"),
    Kind("money", "money", "money", "money", bare=True, example="13500"),
    Kind("annual_amount", "money/year", "money/year", "money/year", bare=False,
         example="1500 USD/year"),
    Kind("wage", "money/s", "money/h", "money/h", bare=False, example="22 USD/h"),
    Kind("area_price", "money/m**2", "money/m**2", "money/ft**2", bare=False,
         example="2.60 USD/m² or 0.25 USD/ft²"),
    Kind("volume_price", "money/m**3", "money/L", "money/L", bare=False, example="130 USD/L"),
    Kind("energy_price", "money/J", "money/kWh", "money/kWh", bare=False, example="0.13 USD/kWh"),
    Kind("rent", "money/m**2/year", "money/m**2/year", "money/ft**2/year", bare=False,
         example="130 USD/m²/year or 12 USD/ft²/year"),
    Kind("months", "month", "month", "month", bare=True, example="84 months or 7 years"),
    Kind("fraction", "", "percent", "percent", bare=True, example="8 % or 0.08"),
    Kind("number", "", "", "", bare=True, example="26"),
)  # fmt: skip

#: Every kind of quantity by name.
KINDS: Final[dict[str, Kind]] = {kind.name: kind for kind in _SEVERAL}

#: What a duration below a minute, and an acceleration, are read in [s], [m/s²].
_MINUTE, _GRAVITY = 60.0, 9.80665
_SYMBOLS: Final = {"$": "USD", "€": "EUR", "£": "GBP", "¥": "JPY"}
_SUPERSCRIPTS: Final = str.maketrans({"²": "**2", "³": "**3", "·": "*", "µ": "u"})
#: A currency before its amount: "$22/h", "-$500", "USD 18,900".
_BEFORE: Final = re.compile(r"([-+]?)([$€£¥]|[A-Z]{3}\b) *([-+]?[\d.].*)", re.DOTALL)
#: After an amount of money: thousands, and the currency in words.
_THOUSANDS: Final = re.compile(r"[kK](?![A-Za-z/])(.*)", re.DOTALL)
_IN_WORDS: Final = {"dollar": "$", "euro": "€", "pound": "£", "yen": "¥"}
#: Names with powers of one digit, multiplied or divided: no sums, no towers, no other numbers.
_POWER: Final = r"[A-Za-z]++(?: *+(?:\*\*|\^) *+-?\d(?![\d.]))?+"
_PRODUCT: Final = rf"{_POWER}(?: *+[*/]? *+{_POWER})*+"
_TERM: Final = rf"(?:{_POWER}|\( *+{_PRODUCT} *+\))"
_UNIT: Final = re.compile(rf"{_TERM}(?: *+[*/]? *+{_TERM})*+")
#: Powers as people type them: ft2, s2, m3; sq ft, sqft, sq. m.
_DIGIT_POWER: Final = re.compile(r"(?<![A-Za-z])(mm|cm|m|km|in|ft|yd|s)([23])(?![\w.])")
_SQUARE: Final = re.compile(r"(?<![A-Za-z])sq\.? *+(mm|cm|m|km|in|ft|yd)(?![\w*^])\.?")
_CODE: Final = re.compile(r"\b[A-Z]{3}\b")
#: Longest text that is read as a quantity, and how much of a longer one a message repeats.
_LONGEST: Final = 80
_SHOWN: Final = 20
#: What dimensions alone do not tell apart: 26 deg is no number, 5 % % no share.
_PLAIN: Final = frozenset({"dimensionless", "percent", "permille", "ppm", "count"})
_BY_WORDS: Final = {
    "fraction": _PLAIN,
    "number": _PLAIN,
    "angle": frozenset({"deg", "degree", "degrees", "rad", "radian", "radians"}),
}


@cache
def _registry() -> pint.UnitRegistry[float]:
    registry: pint.UnitRegistry[float] = pint.UnitRegistry(cache_folder=None)
    registry.define("money = [currency]")
    return registry


@lru_cache(1024)
def _unit(text: str) -> pint.Unit:
    return _registry().Unit(text)


@lru_cache(1024)
def _factor(unit: str, kind: Kind) -> float:
    """Return what one of a unit is in the canonical unit of a kind."""
    if unit not in _BY_WORDS.get(kind.name, {unit}):
        raise ValueError("has a unit of another kind")
    to = _unit(kind.unit or "dimensionless")
    try:
        return float(_registry().Quantity(1.0, _unit(unit)).to(to).magnitude)
    except AssertionError:  # what pint says of a decibel beside other units
        raise ValueError("has a unit of another kind") from None


def _with_money(unit: str) -> tuple[str, set[str]]:
    """Return the unit with codes and signs of currencies replaced by ``money``, and the codes."""
    for sign, code in _SYMBOLS.items():
        unit = unit.replace(sign, f" {code} ")
    return _CODE.sub("money", unit).strip(), set(_CODE.findall(unit))


def parse_number(
    value: object,
    kind: str,
    *,
    field: str = "value",
    currency: str | None = None,
    example: str = "",
) -> float:
    """Return an entry as a number in its kind's canonical unit.

    Parameters
    ----------
    value : str, int or float
        ``"54 in"``, ``"350 ft²/h"``, ``"8 %"``; a bare number only where the kind allows it.
    kind : str
        Name in `KINDS`.
    field : str
        Where the value stands, for the message.
    currency : str, optional
        ISO 4217 code of the study; another code in the text is refused.
    example : str, optional
        A well-formed entry of this field, for the message; else the kind's own.

    Returns
    -------
    float
        Finite, in the canonical unit.

    Raises
    ------
    UnitError
        Not a number, not finite, no unit where one is needed, or a unit of another kind.
    CurrencyError
        An amount in another currency.

    Examples
    --------
    >>> round(parse_number("54 in", "length"), 4)
    1.3716
    >>> round(parse_number("350 ft²/h", "area_rate") * 3600, 2)
    32.52
    >>> parse_number("8 %", "fraction")
    0.08
    """
    expected = KINDS[kind]
    shown = (example or expected.example).replace("USD", currency or "USD")
    wanted = f"needs a value such as {shown}"
    if isinstance(value, str):
        return _number_in(value, kind, field, currency, wanted)
    if isinstance(value, bool) or not isinstance(value, (int, float)):
        raise UnitError(field, value, wanted)
    number = _plain(value)
    if not math.isfinite(number):
        raise UnitError(field, value, f"is not a finite number; {wanted}")
    if not expected.bare:
        raise UnitError(field, value, f"has no unit; {wanted}")
    return number


@lru_cache(8192)  # a study is read anew at every entry, and nearly all of it is as it was
def _number_in(value: str, kind: str, field: str, currency: str | None, wanted: str) -> float:
    """Return what stands in a text in the kind's canonical unit."""
    expected = KINDS[kind]
    number, unit = _split(value, field, wanted, amount=kind == "money")
    if not math.isfinite(number):
        raise UnitError(field, value, f"is not a finite number; {wanted}")
    if not unit:
        if not expected.bare:
            raise UnitError(field, value, f"has no unit; {wanted}")
        return number
    unit, codes = _with_money(unit)
    foreign = codes - {currency} if currency else set()
    if foreign:
        found = ", ".join(sorted(foreign))
        raise CurrencyError(field, value, f"is in {found}; this study counts in {currency}")
    try:
        converted = _converted(number, unit, expected)
    except pint.errors.UndefinedUnitError as error:
        raise UnitError(field, value, f"has a unit that is not known; {wanted}") from error
    except pint.errors.PintError as error:
        raise UnitError(field, value, f"has a unit of another kind; {wanted}") from error
    except (ValueError, ArithmeticError, AttributeError, TypeError) as error:
        raise UnitError(field, value, f"{error}; {wanted}") from error
    if not math.isfinite(converted):
        raise UnitError(field, value, f"is too large; {wanted}")
    return converted


def _plain(value: float) -> float:
    """Return a number as a float; a whole one too long for that is infinite, and so refused."""
    try:
        return float(value)
    except OverflowError:
        return math.inf if value > 0 else -math.inf


def _split(text: str, field: str, wanted: str, *, amount: bool) -> tuple[float, str]:
    """Return the leading number and the unit that follows it."""
    if len(text) > _LONGEST:
        much = f"is {len(text):,} characters long, at most {_LONGEST}"
        raise UnitError(field, f"{text[:_SHOWN]}…", f"{much}; {wanted}")
    plain = plain_text(text).translate(_SUPERSCRIPTS).replace("%", " percent ").strip()
    before = _BEFORE.fullmatch(plain)
    if before:
        plain = f"{before[1]}{before[3]}"
    try:
        found = leading_number(plain, thousands=amount)
    except ValueError as error:
        raise UnitError(field, text, str(error)) from None
    if found is None:
        raise UnitError(field, text, f"does not begin with a number; {wanted}")
    number, unit = found
    if amount:
        many = _THOUSANDS.fullmatch(unit)
        number, unit = (1000.0 * number, many[1].strip()) if many else (number, unit)
        unit = _IN_WORDS.get(unit.casefold().removesuffix("s"), unit)
    if before and _SYMBOLS.get(before[2], before[2]) == unit:  # "$500 USD"
        return number, unit
    return number, f"{before[2]} {unit}".strip() if before else unit


def _converted(number: float, unit: str, kind: Kind) -> float:
    unit = re.sub(r"\bpersons?\b|\bpieces?\b|\borders?\b", "", unit).strip() or "dimensionless"
    unit = _SQUARE.sub(r"\1**2", _DIGIT_POWER.sub(r"\1**\2", unit))
    if not _UNIT.fullmatch(unit):
        raise ValueError("has a unit that cannot be read")
    if kind.name == "acceleration" and unit == "g":
        unit = "standard_gravity"
    return number * _factor(unit, kind)


@cache
def _scale(kind: str, system: UnitSystem) -> float:
    shown = KINDS[kind].metric if system == "metric" else KINDS[kind].us_customary
    return float(
        _registry()
        .Quantity(1.0, _unit(KINDS[kind].unit or "dimensionless"))
        .to(_unit(shown or "dimensionless"))
        .magnitude
    )


_PRETTY: Final = {"**2": "²", "**3": "³", "percent": "%", "month": "months"}


def unit_label(kind: str, system: UnitSystem = "metric", currency: str = "") -> str:
    """Return the unit of a kind as people read it.

    Parameters
    ----------
    kind : str
        Name in `KINDS`.
    system : {"metric", "us_customary"}
    currency : str
        ISO 4217 code that stands for money.

    Returns
    -------
    str
        Empty for a plain number.

    Examples
    --------
    >>> unit_label("area_rate", "us_customary"), unit_label("wage", currency="USD")
    ('ft²/h', 'USD/h')
    """
    shown = KINDS[kind].metric if system == "metric" else KINDS[kind].us_customary
    for plain, pretty in _PRETTY.items():
        shown = shown.replace(plain, pretty)
    return shown.replace("money", currency or "money")


def shown_number(value: float, kind: str, system: UnitSystem = "metric") -> float:
    """Return a canonical number in the unit shown to a person.

    Parameters
    ----------
    value : float
        Canonical unit of the kind.
    kind : str
        Name in `KINDS`.
    system : {"metric", "us_customary"}

    Returns
    -------
    float
        In the unit of `unit_label`.

    Examples
    --------
    >>> round(shown_number(1.0, "speed", "us_customary"), 2)
    39.37
    """
    return value * _scale(kind, system)


def quantity_text(
    value: float, kind: str, system: UnitSystem = "metric", currency: str = "", digits: int = 4
) -> str:
    """Return a canonical number as text with its unit.

    Parameters
    ----------
    value : float
        Canonical unit of the kind.
    kind : str
        Name in `KINDS`.
    system : {"metric", "us_customary"}
    currency : str
        ISO 4217 code that stands for money.
    digits : int
        Significant digits; whole numbers keep all of theirs.

    Returns
    -------
    str

    Examples
    --------
    >>> quantity_text(1.3716, "length", "us_customary")
    '54 in'
    >>> quantity_text(0.08, "fraction")
    '8%'
    >>> quantity_text(0.28, "duration"), quantity_text(9.80665, "acceleration")
    ('0.28 s', '1 g')
    """
    number, label = shown_number(value, kind, system), unit_label(kind, system, currency)
    if kind == "duration" and 0 < abs(value) < _MINUTE:
        number, label = value, "s"
    elif kind == "acceleration":
        number, label = value / _GRAVITY, "g"
    text = f"{number:,.{digits}g}" if abs(number) < 10**digits else f"{number:,.0f}"
    return f"{text}%" if label == "%" else f"{text} {label}".strip()
