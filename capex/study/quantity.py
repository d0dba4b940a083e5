"""One entered quantity: its values, its spread, where it came from and when.

A `Quantity` holds its numbers in the canonical unit of its kind over a scenario axis: shape
``(1,)`` as entered, ``(n,)`` once scenarios replace it. Every calculation reads ``quantity.si``.

Imports numpy, pydantic, `capex.errors` and `capex.units`.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from datetime import date, datetime
from functools import cached_property
from operator import ge, gt, le, lt
from typing import Any, Final, Literal, get_args

import numpy as np
import numpy.typing as npt
from pydantic import GetCoreSchemaHandler, GetJsonSchemaHandler, ValidationInfo
from pydantic.json_schema import JsonSchemaValue
from pydantic_core import PydanticCustomError, core_schema

from capex.errors import CurrencyError, InputError, UnitError
from capex.study.entry_schema import MOST, entry_schema
from capex.study.spread import Chances, DistributionName, parse_shape, spread_problem
from capex.units import KINDS, UnitSystem, parse_number, quantity_text

__all__ = ["QUANTITY_PARTS", "Entry", "FloatArray", "Quantity", "Source", "default"]

FloatArray = npt.NDArray[np.float64]
Source = Literal["entered", "measured", "quoted", "default", "assumed"]

#: What the table of one quantity may hold.
QUANTITY_PARTS: Final = {
    "value", "low", "likely", "high", "distribution", "chances", "source", "date", "note",
}  # fmt: skip


@dataclass(frozen=True)
class Entry:
    """What a field accepts: the kind of quantity and its bounds, in the canonical unit.

    Used as pydantic metadata: ``Annotated[Quantity, Entry("length", above=0)]``.

    Parameters
    ----------
    kind : str
        Name in `capex.units.KINDS`.
    above, at_least, at_most, below : float, optional
        Bounds, canonical unit.
    whole : bool
        Whether only whole numbers are accepted.
    example : str
        A well-formed entry of this field, where the kind's own would mislead.

    Examples
    --------
    >>> import numpy as np
    >>> Entry("wage", at_least=0.0).broken_bound(np.array([-1.0]), "EUR")
    'must be at least 0 EUR/h'
    """

    kind: str
    above: float | None = None
    at_least: float | None = None
    at_most: float | None = None
    below: float | None = None
    whole: bool = False
    example: str = ""

    @property
    def ends(self) -> tuple[float, float]:
        """Least and greatest value of the field, infinite where it has no bound."""
        least = [bound for bound in (self.above, self.at_least) if bound is not None]
        greatest = [bound for bound in (self.below, self.at_most) if bound is not None]
        return max(least, default=-np.inf), min(greatest, default=np.inf)

    def broken_bound(self, values: FloatArray, currency: str | None = None) -> str | None:
        """Return what the values must satisfy and do not, in words with the unit, or None.

        Parameters
        ----------
        values : ndarray, shape (n,)
            Canonical unit; n at least 1.
        currency : str, optional
            ISO 4217 code of the study, for the words.
        """
        least, greatest = float(values.min()), float(values.max())  # NaN where a value is
        checks = (
            (self.above, gt, least, "must be greater than"),
            (self.at_least, ge, least, "must be at least"),
            (self.below, lt, greatest, "must be less than"),
            (MOST if self.at_most is None else self.at_most, le, greatest, "must be at most"),
        )
        for bound, holds, end, words in checks:
            if bound is not None and not holds(end, bound):
                plain = ", a plain number without unit" if self.kind == "number" else ""
                return f"{words} {quantity_text(bound, self.kind, currency=currency or '')}{plain}"
        fits = not self.whole or bool(np.all(values == np.round(values)))
        return None if fits else "must be a whole number"

    def parsed(self, value: object, info: ValidationInfo) -> Quantity:
        """Return an entry from a file, a form or the command line as a `Quantity`.

        Parameters
        ----------
        value : str, float, dict or Quantity
        info : ValidationInfo
            Its context may hold the study's ``currency``.

        Raises
        ------
        PydanticCustomError
            Of type ``currency`` for an amount in another one, else ``quantity``.
        """
        currency = (info.context or {}).get("currency")
        try:
            return _parsed(value, self, info.field_name or "value", currency)
        except InputError as error:
            kind = "currency" if isinstance(error, CurrencyError) else "quantity"
            raise PydanticCustomError(
                kind, "{bound}", {"bound": error.bound, "value": error.value}
            ) from error

    def __get_pydantic_core_schema__(
        self, source: type[Any], handler: GetCoreSchemaHandler
    ) -> core_schema.CoreSchema:
        """Return the schema that parses entries and writes them back as entered."""
        return core_schema.with_info_plain_validator_function(
            self.parsed,
            serialization=core_schema.plain_serializer_function_ser_schema(Quantity.as_entered),
        )

    def __get_pydantic_json_schema__(
        self, schema: core_schema.CoreSchema, handler: GetJsonSchemaHandler
    ) -> JsonSchemaValue:
        """Return the JSON Schema of an entry: a number, a text with a unit, or a table."""
        bounds = {
            "exclusiveMinimum": self.above,
            "minimum": self.at_least,
            "exclusiveMaximum": self.below,
            "maximum": self.at_most,
        }
        return entry_schema(KINDS[self.kind], self.example, bounds, get_args(Source))


@dataclass(frozen=True, eq=False)
class Quantity:
    """A number with its unit, spread, source and date.

    Parameters
    ----------
    si : ndarray, shape (1,) or (n,)
        Values in the canonical unit over the scenario axis.
    entry : Entry
        Kind and bounds.
    low, high : float, optional
        Spread about the likely value, canonical unit.
    distribution, chances
        Its shape, and for a discrete one the chances of low, likely and high; see `spread`.
    source : {"entered", "measured", "quoted", "default", "assumed"}
        Where the value came from. A default is never evidence.
    on : date, optional
        When it was measured, quoted or entered.
    note : str
        The user's own words.
    text : str or float or None
        The likely value as it was typed, kept for writing back.

    Examples
    --------
    >>> width = default("1.37 m", Entry("length", above=0))
    >>> width.likely, width.source
    (1.37, 'default')
    >>> width.shown("us_customary"), width.as_entered()["value"]
    ('53.94 in', '1.37 m')
    >>> width.replaced([1.0, 1.6], "width").si.tolist()
    [1.0, 1.6]
    """

    si: FloatArray
    entry: Entry
    low: float | None = None
    high: float | None = None
    distribution: DistributionName = "pert"
    chances: Chances | None = None
    source: Source = "entered"
    on: date | None = None
    note: str = ""
    text: object = field(default=None, repr=False)
    low_text: object = field(default=None, repr=False)
    high_text: object = field(default=None, repr=False)

    @cached_property
    def likely(self) -> float:
        """The value of the first scenario, canonical unit."""
        return float(self.si[0])

    def __eq__(self, other: object) -> bool:
        if not isinstance(other, Quantity):
            return NotImplemented
        return self._known == other._known and np.array_equal(self.si, other.si)

    def __hash__(self) -> int:
        return hash((self.si.tobytes(), self._known))

    @property
    def _known(self) -> tuple[object, ...]:
        spread = (self.low, self.high, self.distribution, self.chances)
        return (self.entry, *spread, self.source, self.on, self.note)

    def replaced(self, values: npt.ArrayLike, path: str, currency: str | None = None) -> Quantity:
        """Return the quantity with other values over the scenario axis.

        Parameters
        ----------
        values : array_like, shape (n,) or scalar
            Canonical unit.
        path, currency : str
            Where the quantity stands and what its study counts in, for the message.

        Returns
        -------
        Quantity
            Of the same kind and bounds, without spread.

        Raises
        ------
        InputError
            Not one-dimensional, not finite, or outside the field's bounds.
        """
        array = np.atleast_1d(np.asarray(values, dtype=np.float64))
        if array.ndim != 1 or array.size == 0:
            raise InputError(path, array.shape, "must be one value a scenario, shape (n,)")
        if not np.all(np.isfinite(array)):
            raise InputError(path, float(array[~np.isfinite(array)][0]), "must be finite")
        bound = self.entry.broken_bound(array, currency)
        if bound:
            ends = (float(array.min()), float(array.max()))
            worst = next((x for x in ends if self.entry.broken_bound(np.array([x]))), None)
            found = array[array != np.round(array)][0] if worst is None else worst
            shown = quantity_text(float(found), self.entry.kind, currency=currency or "")
            raise InputError(path, shown, bound)
        return replace(self, si=array, low=None, high=None, text=None)

    def shown(self, system: UnitSystem = "metric", currency: str = "") -> str:
        """Return the likely value as text with its unit.

        Parameters
        ----------
        system : {"metric", "us_customary"}
        currency : str
            ISO 4217 code that stands for money.
        """
        return quantity_text(self.likely, self.entry.kind, system, currency)

    def as_entered(self) -> object:
        """Return the entry as it goes into a file: plain where nothing else is known."""
        value = self.text if self.text is not None else _written(self.likely, self.entry.kind)
        if self.low is None and self.source == "entered" and self.on is None and not self.note:
            return value
        table: dict[str, object] = {"value": value}
        if self.low is not None and self.high is not None:
            table = {"low": self.low_text, "likely": value, "high": self.high_text}
            if self.distribution != "pert":
                table["distribution"] = self.distribution
            if self.chances is not None:
                table["chances"] = list(self.chances)
        table["source"] = self.source
        if self.on is not None:
            table["date"] = self.on
        if self.note:
            table["note"] = self.note
        return table


def _written(value: float, kind: str) -> object:
    """Return a canonical number as an entry that reads back to the same number."""
    unit = KINDS[kind].unit
    if KINDS[kind].bare:
        return int(value) if value == int(value) and abs(value) < 2**53 else value
    return f"{value!r} {unit}"


def _parsed(value: object, entry: Entry, name: str, currency: str | None) -> Quantity:
    if isinstance(value, Quantity):
        if value.entry.kind != entry.kind:
            raise UnitError(name, value, f"is a {value.entry.kind}, not a {entry.kind}")
        return _bounded(replace(value, entry=entry), name, currency)
    table = _table(value, name)
    text = table.get("value", table.get("likely"))
    spread = "low" in table
    parts = (text, table["low"], table["high"]) if spread else (text,)
    numbers = [
        parse_number(part, entry.kind, field=name, currency=currency, example=entry.example)
        for part in parts
    ]
    shape, chances = parse_shape(table, name)
    return _bounded(
        Quantity(
            np.array(numbers[:1]),
            entry,
            low=numbers[1] if spread else None,
            high=numbers[2] if spread else None,
            distribution=shape,
            chances=chances,
            source=table.get("source", "entered"),
            on=_parsed_date(table.get("date"), name),
            note=str(table.get("note", "")),
            text=text,
            low_text=table.get("low"),
            high_text=table.get("high"),
        ),
        name,
        currency,
    )


def _table(value: object, name: str) -> dict[str, Any]:
    """Return an entry's parts by name; refuse unknown ones, and those that lack another."""
    table: dict[str, Any] = dict(value) if isinstance(value, dict) else {"value": value}
    unknown = sorted(set(table) - QUANTITY_PARTS)
    if unknown:
        allowed = ", ".join(sorted(QUANTITY_PARTS))
        raise InputError(name, unknown[0], f"is not part of a quantity; known parts: {allowed}")
    if ("value" in table) == ("likely" in table):
        raise InputError(name, value, "needs one of 'value' and 'likely'")
    if ("low" in table) != ("high" in table):
        raise InputError(name, value, "has one end of a spread; give both 'low' and 'high'")
    source: Any = table.get("source", "entered")
    if source not in get_args(Source):
        known = ", ".join(get_args(Source))
        raise InputError(name, source, f"is not a source; known sources: {known}")
    return table


def _parsed_date(value: object, name: str) -> date | None:
    if value is None or (isinstance(value, date) and not isinstance(value, datetime)):
        return value
    try:
        return date.fromisoformat(str(value))
    except ValueError:
        raise InputError(name, value, "is not a date such as 2026-09-01") from None


def _bounded(quantity: Quantity, name: str, currency: str | None) -> Quantity:
    low, likely, high = quantity.low, quantity.likely, quantity.high
    kind = quantity.entry.kind
    if low is not None and high is not None:
        if not low <= likely <= high:
            ends = [quantity_text(end, kind, currency=currency or "") for end in (low, high)]
            bound = f"must lie between low and high: {ends[0]} to {ends[1]}"
            raise InputError(name, quantity.text, bound)
        shape, chances = quantity.distribution, quantity.chances
        wrong = spread_problem(low, likely, high, shape, chances, quantity.entry.ends)
        if wrong:
            raise InputError(name, quantity.text, wrong)
    entered = ((quantity.text, likely), (quantity.low_text, low), (quantity.high_text, high))
    bounds = quantity.entry.broken_bound
    for text, number in entered:
        if number is not None and (broken := bounds(np.array([number]), currency)):
            shown = quantity_text(number, kind, currency=currency or "") if text is None else text
            raise InputError(name, shown, broken + _slip(text, kind))
    return quantity


def _slip(text: object, kind: str) -> str:
    """Return what a bare number above 1 means where per cent were likely meant."""
    if kind != "fraction" or not isinstance(text, (int, float)) or abs(text) <= 1:
        return ""
    return f"; {text:g} without a unit means {text:,.0%}: write '{text:g} %' for {text:g} per cent"


def default(value: object, entry: Entry) -> Quantity:
    """Return a quantity tagged as a default, for the fields that a study may leave out.

    Parameters
    ----------
    value : str, int or float
        As a person would type it.
    entry : Entry
        What the field accepts.

    Returns
    -------
    Quantity
        With source ``"default"``.

    Raises
    ------
    InputError
        The value does not fit the entry.

    Examples
    --------
    >>> default("6 min", Entry("duration", at_least=0.0)).si
    array([360.])
    """
    quantity = _parsed(value, entry, "default", None)
    return replace(quantity, source="default")
