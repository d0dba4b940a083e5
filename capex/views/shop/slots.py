"""What each place of a study takes, read off the models of `capex.study`.

Forms and editing ask here, so that a field added to a model is a field of the page.

May import: pydantic, and from capex study.
"""

from __future__ import annotations

import re
import types
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from functools import cache
from typing import Annotated, Any, Final, Literal, Union, get_args, get_origin

from pydantic import BaseModel
from pydantic.fields import FieldInfo
from pydantic_core import PydanticUndefined

from capex.errors import InputError
from capex.study import Study
from capex.study.jobs import Artwork, Circle, DescribedPath, Rectangle
from capex.study.places import entry_at
from capex.study.quantity import Entry

__all__ = ["CUTS", "Slot", "hints", "introduction", "labelled", "slot_at", "slots", "spoken"]

Shape = Literal["quantity", "switch", "choice", "text", "date", "number", "part", "cut", "table",
                "list"]  # fmt: skip

#: Kinds of cut path.
CUTS: Final[dict[str, type[BaseModel]]] = {
    "path": DescribedPath, "rectangle": Rectangle, "circle": Circle, "artwork": Artwork,
}  # fmt: skip
#: A sentence that names as many fields is said once, of the whole part.
_MANY: Final = 3
_LABELS: Final = {
    "printing": "Print engine",
    "cutting": "Knife",
    "laminating": "Laminator",
    "cut": "Cut path",
    "on_cost_factor": "On-cost factor",
    "dated": "Date of the offer",
    "valid_until": "Last day of the offer",
    "trade_in": "Credit for your old machine",
    "trade_in_of": "Old machine traded in",
    "annual_rate": "Interest rate a year",
    "flat_rate": "Flat rate a year",
    "term": "Term in months",
    "timing": "Payments fall due",
    "equity": "Deposit (your own money)",
    "equity_share": "Deposit as a share of the price",
    "balloon": "Balloon: a last larger sum",
    "interest_only_months": "Months of interest only",
    "fee_share": "Fee as a share",
    "rate_factor": "Rent of a month as a share of the price",
    "rentals_in_advance": "Rents paid on the first day",
    "deposit": "Deposit that comes back",
    "residual": "Price to buy it at the end",
    "maintenance_included": "Service is in the rent",
    "at_end": "At the end of the lease",
    "may_panel": "May be panelled",
    "turn_time": "Turn-round time of the carriage",
    "room_already_paid": "Room is already paid for",
    "count": "How many",
    "month": "From month",
    "when_load_passes": "Bought when a load passes",
    "owned": "Owned already",
    "second_hand": "Bought second-hand",
    "one": "One input",
    "other": "The other input",
    "rank": "How far they go together",
    "fractions": "Shares of cost by tax year",
    "mid_quarter": "Shares by quarter of purchase",
    "mid_quarter_above": "Taken above this share in the last quarter",
    "multiple": "Multiple of the straight-line rate",
    "life": "Life in years",
    "expensing": "Deducted at once",
    "phase_out": "Falls above",
    "new_only": "First-year allowance for new machines only",
    "income_limited": "Held to the year's income",
    "as_of": "Last compared with its source",
    "baseline": "Baseline: the others are measured against it",
}


@dataclass(frozen=True)
class Slot:
    """What stands at one place of a study.

    Parameters
    ----------
    shape : str
        A single value of some kind, or a part, a table of parts or values, or a list.
    entry : Entry or None
        Of a quantity.
    part : type or None
        Of a part.
    inner : Slot or None
        Of a table's or a list's entries.
    options : tuple of str
        Of a choice.
    required, optional : bool
        Whether the study must state it; whether it may be without a value.
    default : object
        What holds where the study is silent.
    length : int or None
        Of a list that has one length only.
    """

    shape: Shape
    entry: Entry | None = None
    part: type[BaseModel] | None = None
    inner: Slot | None = None
    options: tuple[str, ...] = ()
    required: bool = False
    optional: bool = False
    default: object = None
    length: int | None = None


def _plain(annotation: Any) -> tuple[Any, tuple[Any, ...], bool]:
    """Return an annotation without its wrappings, their metadata, and whether it may be None."""
    metadata: tuple[Any, ...] = ()
    optional = False
    while True:
        origin, inner = get_origin(annotation), get_args(annotation)
        if origin is Annotated:
            annotation, metadata = inner[0], (*metadata, *inner[1:])
        elif origin in (Union, types.UnionType) and type(None) in inner and len(inner) == 2:
            annotation = next(each for each in inner if each is not type(None))
            optional = True
        else:
            return annotation, metadata, optional


def _slot(annotation: Any, metadata: tuple[Any, ...] = (), **known: Any) -> Slot:
    bare, more, optional = _plain(annotation)
    known = {"optional": optional, **known}
    entry = next((each for each in (*metadata, *more) if isinstance(each, Entry)), None)
    origin, inner = get_origin(bare), get_args(bare)
    if entry is not None:
        return Slot("quantity", entry=entry, **known)
    if origin is dict:
        return Slot("table", inner=_slot(inner[1]), **known)
    if origin is tuple:
        return Slot("list", inner=_slot(inner[0]), **known)
    if origin is Literal:
        return Slot("choice", options=tuple(str(each) for each in inner), **known)
    if origin in (Union, types.UnionType):
        if DescribedPath in get_args(bare):
            return Slot("cut", **known)
        return _slot(next(each for each in inner if each is not type(None)), metadata,
                     **{**known, "optional": True})  # fmt: skip
    if isinstance(bare, type) and issubclass(bare, BaseModel):
        return Slot("part", part=bare, **known)
    plain: dict[Any, Shape] = {bool: "switch", date: "date", int: "number", float: "number"}
    return Slot(plain.get(bare, "text"), **known)


def _field_slot(field: FieldInfo) -> Slot:
    default = field.get_default(call_default_factory=True)
    silent = default is PydanticUndefined
    ends = {getattr(each, name, None) for each in field.metadata
            for name in ("min_length", "max_length")} - {None}  # fmt: skip
    length = ends.pop() if len(ends) == 1 and get_origin(_plain(field.annotation)[0]) else None
    return _slot(
        field.annotation,
        tuple(field.metadata),
        required=field.is_required(),
        default=None if silent else default,
        length=length if length and length > 1 else None,
    )


@cache
def slots(part: type[BaseModel]) -> Mapping[str, Slot]:
    """Return what the fields of a part take, in its order.

    Examples
    --------
    >>> from capex.study.machines import Machine
    >>> found = slots(Machine)
    >>> found["price"].shape, found["price"].required, found["cutting"].optional
    ('quantity', True, True)
    """
    return {name: _field_slot(field) for name, field in part.model_fields.items()}


def slot_at(path: str, mapping: Mapping[str, Any]) -> Slot:
    """Return what the place at a dotted path takes.

    Parameters
    ----------
    path : str
    mapping : mapping
        The study as entered: it says which kind a cut path is of.

    Raises
    ------
    InputError
        A path that leads nowhere.

    Examples
    --------
    >>> slot_at("machines.big.cutting.set_speed", {}).entry.kind
    'speed'
    >>> slot_at("jobs.signs.cut.diameter", {"jobs": {"signs": {"cut": {"kind": "circle"}}}}).shape
    'quantity'
    """
    slot = Slot("part", part=Study)
    place: Any = mapping
    for name in path.split("."):
        if slot.shape == "cut":
            kind = str(place.get("kind")) if isinstance(place, Mapping) else "path"
            slot = Slot("part", part=CUTS.get(kind, DescribedPath))
        if slot.part is not None and name in slots(slot.part):
            slot = slots(slot.part)[name]
        elif slot.shape in ("table", "list") and slot.inner is not None:
            slot = slot.inner
        else:
            raise InputError(path, name, "is not known here")
        place = entry_at(place, name)
    return slot


def spoken(name: str) -> str:
    """Return the name of a field as its label.

    Examples
    --------
    >>> spoken("orders_per_month"), spoken("cutting")
    ('Orders per month', 'Knife')
    """
    return _LABELS.get(name) or name.replace("_", " ").capitalize()


#: A field by its name in the file or its path: sold_in_month, money.horizon.
_FIELD: Final = re.compile(r"\b(?:[a-z][a-z0-9_]*\.)*[a-z]+(?:_[a-z]+)*\b")


@cache
def _field_names() -> frozenset[str]:
    """Return the names of the fields of all parts of a study."""
    found: set[str] = set()
    left: list[type[BaseModel]] = [Study, *CUTS.values()]
    seen: set[type[BaseModel]] = set()
    while left:
        part = left.pop()
        if part in seen:
            continue
        seen.add(part)
        found |= set(part.model_fields)
        for slot in slots(part).values():
            while slot.inner is not None:
                slot = slot.inner
            left += [slot.part] if slot.part is not None else []
    return frozenset(found)


def labelled(text: str) -> str:
    """Return a message with fields by their labels, not their names in the file.

    Examples
    --------
    >>> labelled("is missing; or give flat_rate"), labelled("must be before money.horizon")
    ('is missing; or give “Flat rate a year”', 'must be before “Horizon”')
    >>> labelled("must have at least 12 entries: see e.g. this")
    'must have at least 12 entries: see e.g. this'
    """

    def label(found: re.Match[str]) -> str:
        name = found[0].rpartition(".")[2]
        field = ("." in found[0] or "_" in name) and name in _field_names()
        return f"“{spoken(name)}”" if field else found[0]

    return _FIELD.sub(label, text)


@cache
def _sentences(part: type[BaseModel]) -> tuple[str, ...]:
    text = " ".join((part.__dict__.get("__doc__") or "").split())
    text = re.sub(r"\s*\(`capex[^)]*\)", "", text)
    text = re.sub(r"`capex\.[\w.]*\.(\w+)`", lambda found: f"the study's {found[1].lower()}", text)
    return tuple(re.split(r"(?<=\.)\s+(?=[A-Z`])", text)) if text else ()


def _said(sentence: str) -> str:
    shown = re.sub(r"`([\w.]+)`", lambda found: found[1].replace("_", " "), sentence)
    return shown[:1].upper() + shown[1:]


@cache
def hints(part: type[BaseModel]) -> Mapping[str, str]:
    """Return what the description of a part says of each of its fields.

    Examples
    --------
    >>> from capex.study.shop import People
    >>> hints(People)["idle_time_redeployed"]
    'Saved time is money only as far as idle time redeployed says.'
    """
    return {
        name: " ".join(
            _said(_of_itself(each, name))
            for each in _sentences(part)
            if f"`{name}`" in each and len(_named(part, each)) < _MANY
        )
        for name in part.model_fields
    }


def _of_itself(sentence: str, name: str) -> str:
    """Return a sentence without the name of the field that it stands at: its label says that."""
    return sentence.removeprefix(f"`{name}` is ")


def _named(part: type[BaseModel], sentence: str) -> list[str]:
    """Return the fields of a part that a sentence names."""
    return [name for name in part.model_fields if f"`{name}`" in sentence]


@cache
def introduction(part: type[BaseModel]) -> str:
    """Return what the description of a part says of it as a whole."""
    kept = [each for each in _sentences(part) if not 0 < len(_named(part, each)) < _MANY]
    return " ".join(_said(each) for each in kept)
