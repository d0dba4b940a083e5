"""Tax regimes as the user or the shipped data file states them; nothing is computed here.

Imports pydantic and `capex.study.entries`.
"""

from __future__ import annotations

from datetime import date
from typing import Annotated, Literal

from pydantic import Field

from capex.study.entries import Name
from capex.study.parts import Part

__all__ = ["TaxRegime"]

_Fraction = Annotated[float, Field(ge=0.0, le=1.0, strict=False)]
_Years = Annotated[int, Field(ge=1, le=60)]


class TaxRegime(Part):
    """How the cost of a machine is deducted over the years.

    `fractions` are shares of cost by tax year (a published table, verbatim);
    `first_year_allowance` is the share of cost deducted in the first year, the rest following the
    method (for a pool, from the second year on).
    """

    title: Name
    jurisdiction: str
    method: Literal["none", "straight_line", "table", "declining_balance", "sum_of_years", "pool"]
    life: _Years | None = None
    multiple: Annotated[float, Field(gt=0.0, le=10.0, strict=False)] | None = None
    fractions: tuple[_Fraction, ...] | None = Field(default=None, strict=False)
    first_year_allowance: _Fraction = 0.0
    writing_down_rate: _Fraction | None = None
    source: str
    as_of: date
    note: str = "confirm with your accountant"
