"""The data files that ship with capex: where they are and what they hold.

Shipped prices are in USD; a study copies what it uses and replaces it by quotations.
Imports tomllib and the parts of `capex.study`.
"""

from __future__ import annotations

import tomllib
from functools import cache
from pathlib import Path
from types import MappingProxyType
from typing import TYPE_CHECKING, Any, TypeVar

from capex.study.machines import Film, Ink, Machine
from capex.study.parts import Part
from capex.study.tax import TaxRegime

if TYPE_CHECKING:
    from collections.abc import Mapping

__all__ = [
    "artwork_names",
    "artwork_text",
    "data_folder",
    "shipped_films",
    "shipped_inks",
    "shipped_machines",
    "shipped_tax_regimes",
]

_Part = TypeVar("_Part", bound=Part)


def data_folder() -> Path:
    """Return the folder of shipped data, in a checkout or in an installed wheel.

    Returns
    -------
    Path

    Examples
    --------
    >>> (data_folder() / "studies" / "quenlow.toml").is_file()
    True
    """
    package = Path(__file__).parents[1]
    installed = package / "_data"
    return installed if installed.is_dir() else package.parent / "data"


@cache
def shipped_tax_regimes() -> Mapping[str, TaxRegime]:
    """Return the shipped tax regimes by name, each with its source and as-of date.

    Returns
    -------
    mapping of str to TaxRegime

    Examples
    --------
    >>> shipped_tax_regimes()["straight_line_5"].life
    5
    """
    found = _tables("tax_regimes.toml")
    return MappingProxyType({key: _parsed(TaxRegime, table) for key, table in found.items()})


@cache
def shipped_machines() -> Mapping[str, Machine]:
    """Return the machine catalogue by name: invented classes, every figure tagged a default.

    Returns
    -------
    mapping of str to Machine

    Examples
    --------
    >>> shipped_machines()["mid_all_in_one"].price.source
    'default'
    """
    found = _tables("machines.toml")
    return MappingProxyType({key: _parsed(Machine, table) for key, table in found.items()})


@cache
def shipped_films() -> Mapping[str, Film]:
    """Return films and laminates by name, prices tagged as defaults.

    Returns
    -------
    mapping of str to Film

    Examples
    --------
    >>> {film.price.source for film in shipped_films().values()}
    {'default'}
    """
    found = _tables("materials.toml")["films"]
    return MappingProxyType({key: _parsed(Film, table) for key, table in found.items()})


@cache
def shipped_inks() -> Mapping[str, Ink]:
    """Return inks by name, prices tagged as defaults.

    Returns
    -------
    mapping of str to Ink

    Examples
    --------
    >>> {ink.price.source for ink in shipped_inks().values()}
    {'default'}
    """
    found = _tables("materials.toml")["inks"]
    return MappingProxyType({key: _parsed(Ink, table) for key, table in found.items()})


def _tables(name: str) -> dict[str, Any]:
    return tomllib.loads((data_folder() / name).read_text(encoding="utf-8"))


def _parsed(part: type[_Part], table: object) -> _Part:
    return part.model_validate(table, context={"currency": "USD"})


@cache
def artwork_names() -> frozenset[str]:
    """Return the names of the shipped artwork files."""
    return frozenset(path.stem for path in (data_folder() / "artwork").glob("*.svg"))


def artwork_text(name: str) -> str:
    """Return the SVG text of a shipped artwork."""
    return (data_folder() / "artwork" / f"{name}.svg").read_text(encoding="utf-8")
