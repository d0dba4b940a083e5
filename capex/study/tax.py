"""Tax regimes as the user or the shipped data file states them; nothing is computed here.

Imports pydantic and `capex.study.entries`.
"""

from __future__ import annotations

from datetime import date
from typing import Annotated, Literal, Self

from pydantic import Field, model_validator
from pydantic_core import PydanticCustomError

from capex.study.entries import Name, Part

__all__ = ["TaxRegime"]

_Fraction = Annotated[float, Field(ge=0.0, le=1.0, strict=False)]
_Years = Annotated[int, Field(ge=1, le=60)]

_NEEDED = {
    "none": (),
    "straight_line": ("life",),
    "table": ("fractions",),
    "declining_balance": ("life", "multiple"),
    "sum_of_years": ("life",),
    "pool": ("writing_down_rate",),
}


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

    @model_validator(mode="after")
    def _complete(self) -> Self:
        missing = [name for name in _NEEDED[self.method] if getattr(self, name) is None]
        if missing:
            raise PydanticCustomError(
                "tax_regime",
                "of method {method} needs {missing}",
                {"method": self.method, "missing": ", ".join(missing)},
            )
        if self.fractions is not None and sum(self.fractions) > 1.0 + 1e-9:
            raise PydanticCustomError(
                "tax_regime",
                "deducts {total} of the cost; the fractions must add up to at most 1",
                {"total": f"{sum(self.fractions):.4f}"},
            )
        return self
