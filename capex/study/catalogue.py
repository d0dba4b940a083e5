"""The data files that ship with capex: where they are and what they hold.

Imports tomllib and `capex.study.tax`.
"""

from __future__ import annotations

import tomllib
from functools import cache
from pathlib import Path
from types import MappingProxyType
from typing import TYPE_CHECKING

from capex.study.tax import TaxRegime

if TYPE_CHECKING:
    from collections.abc import Mapping

__all__ = ["artwork_names", "artwork_text", "data_folder", "shipped_tax_regimes"]


def data_folder() -> Path:
    """Return the folder of shipped data, in a checkout or in an installed wheel."""
    package = Path(__file__).parents[1]
    installed = package / "_data"
    return installed if installed.is_dir() else package.parent / "data"


@cache
def shipped_tax_regimes() -> Mapping[str, TaxRegime]:
    """Return the shipped tax regimes by name, each with its source and as-of date."""
    text = (data_folder() / "tax_regimes.toml").read_text(encoding="utf-8")
    return MappingProxyType(
        {key: TaxRegime.model_validate(table) for key, table in tomllib.loads(text).items()}
    )


@cache
def artwork_names() -> frozenset[str]:
    """Return the names of the shipped artwork files."""
    return frozenset(path.stem for path in (data_folder() / "artwork").glob("*.svg"))


def artwork_text(name: str) -> str:
    """Return the SVG text of a shipped artwork."""
    return (data_folder() / "artwork" / f"{name}.svg").read_text(encoding="utf-8")
