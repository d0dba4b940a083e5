"""Tax regimes as the user or the shipped data file states them; nothing is computed here.

Imports pydantic and `capex.study.entries`.
"""

from __future__ import annotations

from datetime import date
from typing import Annotated, Literal

from pydantic import Field

from capex.study.entries import CurrencyCode, Name
from capex.study.parts import Part

__all__ = ["TaxRegime", "YearLimit", "regime_is_old"]

_Fraction = Annotated[float, Field(ge=0.0, le=1.0, strict=False)]
_Fractions = Annotated[tuple[_Fraction, ...], Field(strict=False)]
_Amount = Annotated[float, Field(ge=0.0, allow_inf_nan=False, strict=False)]
_Years = Annotated[int, Field(ge=1, le=60)]
_TaxYear = Annotated[int, Field(ge=1900, le=2200)]


class YearLimit(Part):
    """What the purchases of a tax year may deduct at once.

    It holds from the tax year that begins in `tax_year` until a later entry. The limit falls, one
    for one, by what is bought above `phase_out`; without one it stays.
    """

    tax_year: _TaxYear
    limit: _Amount
    phase_out: _Amount | None = None


class TaxRegime(Part):
    """How the cost of a machine is deducted over the years.

    In this order: what `expensing` lets a year's purchases deduct at once, in `limit_currency`
    (the study's own where it is not stated); `first_year_allowance`, a share of the rest, for
    purchases from `first_year_allowance_since` on and, where `new_only`, not for second-hand
    ones; the method on what is then left (for a pool, from the second year on where the
    allowance was claimed).

    `life` is the years of the straight line, of the sum of years and of the declining balance;
    `multiple` is that of the declining balance, 2 for a double one.
    `fractions` are shares of cost by tax year (a published table, verbatim). The four tables of
    `mid_quarter`, by quarter of purchase, take its place in a year that buys more than
    `mid_quarter_above` of its cost in its last quarter. `writing_down_rate_before` is a pool's
    rate before `writing_down_rate_since`. `income_limited` says that the law holds `expensing` to
    the year's business income, which is told and not computed.
    """

    title: Name
    jurisdiction: str
    method: Literal["none", "straight_line", "table", "declining_balance", "sum_of_years", "pool"]
    life: _Years | None = None
    multiple: Annotated[float, Field(gt=0.0, le=10.0, strict=False)] | None = None
    fractions: _Fractions | None = None
    mid_quarter: tuple[_Fractions, ...] | None = Field(default=None, strict=False)
    mid_quarter_above: _Fraction = 0.40
    writing_down_rate: _Fraction | None = None
    writing_down_rate_before: _Fraction | None = None
    writing_down_rate_since: date | None = Field(default=None, strict=False)
    first_year_allowance: _Fraction = 0.0
    first_year_allowance_since: date | None = Field(default=None, strict=False)
    new_only: bool = False
    expensing: tuple[YearLimit, ...] = Field(default=(), strict=False)
    limit_currency: CurrencyCode | None = None
    income_limited: bool = False
    source: str
    as_of: date
    note: str = "confirm with your accountant"


def regime_is_old(regime: TaxRegime, today: date) -> bool:
    """Return whether a regime was last compared with its source more than a year ago.

    Parameters
    ----------
    regime : TaxRegime
    today : date

    Returns
    -------
    bool

    Examples
    --------
    >>> regime = TaxRegime(title="Ours", jurisdiction="any", method="none", source="assumed",
    ...                    as_of=date(2026, 3, 1))
    >>> regime_is_old(regime, date(2027, 3, 1)), regime_is_old(regime, date(2027, 3, 2))
    (False, True)

    Source: common practice, no source (rates change with a yearly budget).
    """
    seen = regime.as_of
    return (today.year - 1, today.month, today.day) > (seen.year, seen.month, seen.day)
