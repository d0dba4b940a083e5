"""The study: everything the user knows, checked as a whole, with inputs that can be replaced.

A *scenario* is a study some of whose inputs are replaced; `Study.replaced` returns a study whose
quantities carry one value a scenario along their only axis.

Imports numpy, pydantic and the other files of `capex.study`.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from functools import cached_property
from typing import Annotated, Any, Final, Self, get_args

import numpy as np
import numpy.typing as npt
from pydantic import BaseModel, Field, ValidationError

from capex.errors import InputError, Problem, StudyError
from capex.study.actuals import Actuals
from capex.study.alternatives import Alternative, Levers
from capex.study.bounds import check_bounds
from capex.study.checks import study_problems
from capex.study.entries import CURRENCY_PATTERN, CurrencyCode, Key, Name
from capex.study.jobs import JobType
from capex.study.machines import Film, Ink, Machine
from capex.study.money import MoneyPlan
from capex.study.offers import Offer
from capex.study.parts import PARTIAL, Part
from capex.study.problems import parse_problems, reported
from capex.study.quantity import Entry, Quantity
from capex.study.room import Room
from capex.study.shop import Shop
from capex.study.tax import TaxRegime
from capex.study.uncertainty import Uncertainty

__all__ = ["Study"]

_MOST_ENTRIES: Final = 1000


class Study(Part):
    """One complete study of one shop.

    Examples
    --------
    >>> from capex.study.files import data_folder, read_study
    >>> study = read_study(data_folder() / "studies" / "quenlow.toml")
    >>> study.baseline
    'keep'
    >>> study.quantity("money.horizon").likely
    84.0
    >>> study.replaced({"levers.demand": [0.8, 1.2]}).levers.demand.si.tolist()
    [0.8, 1.2]
    """

    shop_name: Name
    currency: CurrencyCode
    shop: Shop
    money: MoneyPlan
    films: dict[Key, Film]
    inks: dict[Key, Ink]
    machines: dict[Key, Machine] = Field(min_length=1)
    jobs: dict[Key, JobType] = Field(min_length=1)
    alternatives: dict[Key, Alternative] = Field(min_length=1)
    offers: dict[Key, Offer] = Field(default_factory=dict)
    tax_regimes: dict[Key, TaxRegime] = Field(default_factory=dict)
    artworks: dict[Key, Annotated[str, Field(max_length=4_000_000)]] = Field(default_factory=dict)
    room: Room | None = None
    levers: Levers = Levers()
    uncertainty: Uncertainty = Uncertainty()
    actuals: Actuals | None = None

    @classmethod
    def from_mapping(cls, mapping: Mapping[str, Any], source: str = "study") -> Self:
        """Return the study that a parsed file describes.

        Parameters
        ----------
        mapping : mapping of str
            Tables and entries as a TOML file holds them.
        source : str
            Where they came from, for messages.

        Returns
        -------
        Study

        Raises
        ------
        StudyError
            Every problem of the mapping at once, in its order, each with path, value and bound.
            Rules between fields are checked wherever the fields themselves can be read.
        """
        table = dict(mapping)
        if problems := _too_many(table):
            raise StudyError(source, problems)
        currency = str(table.get("currency"))
        known = re.match(CURRENCY_PATTERN, currency)  # else every amount would be in another one
        context = {"currency": currency if known else None}
        try:
            study = cls.model_validate(table, context=context)
        except ValidationError as error:
            problems = parse_problems(error, currency, cls)
            study = cls.model_validate(table, context=context | {PARTIAL: True})
        problems += study_problems(study)
        if problems:
            raise StudyError(source, reported(problems, table))
        return study

    @cached_property
    def baseline(self) -> str:
        """Key of the alternative that the others are measured against."""
        return next(key for key, choice in self.alternatives.items() if choice.baseline)

    def quantities(self) -> Iterator[tuple[str, Quantity]]:
        """Yield every quantity with its path, in the order of the file."""
        yield from _leaves(self, "")

    def quantity(self, path: str) -> Quantity:
        """Return the quantity at a dotted path; zero as a default where the study leaves it out.

        Parameters
        ----------
        path : str
            As in `quantities`.

        Returns
        -------
        Quantity

        Raises
        ------
        InputError
            There is none, with the names that do exist at the point where the path fails.
        """
        found = _at(self, path)
        if isinstance(found, Quantity):
            return found
        entry = _entry_of(self, path) if found is None else None
        if entry is None:
            raise InputError(path, type(found).__name__, "is not a quantity that can be replaced")
        return Quantity(np.zeros(1), entry, source="default")

    def alternative(self, key: str) -> Alternative:
        """Return one of the alternatives.

        Raises
        ------
        InputError
            Unknown key.
        """
        if key not in self.alternatives:
            known = ", ".join(self.alternatives)
            raise InputError("alternative", key, f"is not one of the study; known: {known}")
        return self.alternatives[key]

    def replaced(self, scenarios: Mapping[str, npt.ArrayLike]) -> Self:
        """Return the study with one value a scenario at the given paths, canonical units.

        Parameters
        ----------
        scenarios : mapping of str to array_like, shape (n,) or scalar
            Paths as in `quantities`; all arrays of more than one value must agree in n.

        Returns
        -------
        Study
            Shares all that is not replaced.

        Raises
        ------
        InputError
            Unknown path, value outside its bounds or those that another input sets it, or arrays
            of different lengths.
        """
        study = self
        lengths = set()
        for path, values in scenarios.items():
            quantity = self.quantity(path).replaced(values, path, self.currency)
            lengths.add(quantity.si.size)
            study = _with(study, path.split("."), quantity)
        if len(lengths - {1}) > 1:
            raise InputError("scenarios", sorted(lengths), "must all have the same length")
        check_bounds(study, scenarios)
        return study


def _too_many(mapping: Mapping[str, Any]) -> list[Problem]:
    """Return the tables with more entries than any shop has, so that no file keeps others waiting.

    Examples
    --------
    >>> print(*_too_many({"jobs": {str(k): {} for k in range(1001)}}))
    jobs: has 1,001 entries, at most 1,000
    """
    counts = {"file": len(mapping)} | {
        name: len(part) for name, part in mapping.items() if isinstance(part, (dict, list))
    }
    return [
        Problem(name, None, f"has {count:,} entries, at most {_MOST_ENTRIES:,}")
        for name, count in counts.items()
        if count > _MOST_ENTRIES
    ]


def _leaves(part: object, path: str) -> Iterator[tuple[str, Quantity]]:
    if isinstance(part, Quantity):
        yield path, part
    elif isinstance(part, BaseModel):
        for name in type(part).model_fields:
            yield from _leaves(getattr(part, name), f"{path}.{name}" if path else name)
    elif isinstance(part, Mapping):
        for name, value in part.items():
            yield from _leaves(value, f"{path}.{name}")
    elif isinstance(part, tuple):
        for index, value in enumerate(part):
            yield from _leaves(value, f"{path}.{index}")


def _names(part: object) -> list[str]:
    if isinstance(part, BaseModel):
        return list(type(part).model_fields)
    if isinstance(part, Mapping):
        return [str(name) for name in part]
    if isinstance(part, tuple):
        return [str(index) for index in range(len(part))]
    return []


def _at(part: object, path: str) -> object:
    for name in path.split("."):
        known = _names(part)
        if name not in known:
            raise InputError(path, name, f"is not known here; known: {', '.join(known) or 'none'}")
        part = _child(part, name)
    return part


def _entry_of(study: Study, path: str) -> Entry | None:
    """Return what the field at a path accepts, where it is a single quantity."""
    way, _, name = path.rpartition(".")
    owner = _at(study, way) if way else study
    if not isinstance(owner, BaseModel):
        return None
    field = type(owner).model_fields[name]
    kinds = (field.annotation, *get_args(field.annotation))
    found = [entry for kind in kinds for entry in getattr(kind, "__metadata__", ())]
    return next((entry for entry in (*field.metadata, *found) if isinstance(entry, Entry)), None)


def _child(part: object, name: str) -> object:
    if isinstance(part, Mapping):
        return part[name]
    if isinstance(part, tuple):
        return part[int(name)]
    return getattr(part, name)


def _with(part: Any, names: list[str], value: Quantity) -> Any:
    """Return a copy of the part with one leaf replaced; everything else is shared."""
    if not names:
        return value
    name, rest = names[0], names[1:]
    child = _with(_child(part, name), rest, value)
    if isinstance(part, Mapping):
        return {**part, name: child}
    if isinstance(part, tuple):
        index = int(name)
        return (*part[:index], child, *part[index + 1 :])
    return part.model_copy(update={name: child})
