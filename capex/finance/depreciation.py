"""Tax depreciation by year under a tax regime, and the tax on yearly taxable income.

A regime is data (``data/tax_regimes.toml``): a method, its figures, where they come from and
when they were read. A study may carry a regime of its own with the same fields. Rules of law
that depend on the taxpayer stay outside; confirm with your accountant.

Imports numpy, pydantic and `capex.errors`.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from datetime import date
from pathlib import Path
from typing import Annotated, Any, Literal

import numpy as np
from numpy.typing import ArrayLike
from pydantic import BaseModel, ConfigDict, Field, TypeAdapter, ValidationError, field_validator

from capex.errors import InputError, Problem, StudyError
from capex.finance.arrays import FloatArray, parse_cash_flow, parse_finite, parse_rate

__all__ = [
    "AnyTaxRegime",
    "DecliningBalance",
    "NoDepreciation",
    "Pool",
    "PublishedTable",
    "StraightLine",
    "SumOfYears",
    "TaxRegime",
    "parse_tax_regimes",
    "tax_payable",
    "tax_regimes",
]

Losses = Literal["carried_forward", "absorbed"]
Share = Annotated[float, Field(ge=0.0, le=1.0)]
Life = Annotated[int, Field(ge=1, le=100)]


class TaxRegime(BaseModel):
    """What every regime states, and the depreciation that follows from its method.

    Year 1 is the tax year of purchase. The whole year's figure is claimed in the year of
    disposal too, and the sale is settled there at once: balancing gain or loss = proceeds −
    cost not yet claimed (`capex.finance.measures.after_tax_salvage`). A rule that grants half a
    year on disposal moves the same amount between the two and leaves that year's taxable income
    unchanged; a pool that goes on writing down after a sale is settled here earlier than in law.
    """

    model_config = ConfigDict(frozen=True, extra="forbid")

    title: str
    jurisdiction: str
    source: str
    as_of: date
    note: str = "Confirm with your accountant."

    def depreciation_fractions(self, years: int) -> FloatArray:
        """Share of cost claimed in each tax year, (years,); later claims are cut off.

        Raises `InputError` where ``years`` is below 1.
        """
        if years < 1:
            raise InputError("years", years, "must be 1 year or more")
        claimed = self._fractions(years)[:years]
        return np.pad(claimed, (0, years - len(claimed)))

    def undepreciated_share(self, years: int) -> FloatArray:
        """Share of cost not yet claimed after each tax year, (years,)."""
        return 1.0 - self.depreciation_fractions(years).cumsum()

    def _fractions(self, years: int) -> FloatArray:
        raise NotImplementedError


class NoDepreciation(TaxRegime):
    """Nothing is claimed, as where no tax is worked out."""

    method: Literal["none"]

    def _fractions(self, years: int) -> FloatArray:
        return np.zeros(years)


class StraightLine(TaxRegime):
    """The same share each year of the life: ``(1 − salvage)/life``.

    Examples
    --------
    >>> regime = StraightLine(
    ...     title="Five years", jurisdiction="-", source="openstax-financial-accounting",
    ...     as_of=date(2025, 11, 1), method="straight_line", life_years=5)
    >>> regime.depreciation_fractions(6)
    array([0.2, 0.2, 0.2, 0.2, 0.2, 0. ])
    """

    method: Literal["straight_line"]
    life_years: Life
    salvage_fraction: Share = 0.0

    def _fractions(self, years: int) -> FloatArray:
        return np.full(self.life_years, (1.0 - self.salvage_fraction) / self.life_years)


class PublishedTable(TaxRegime):
    """Percentages as an authority prints them; they add up to 100."""

    method: Literal["table"]
    percentages: tuple[Annotated[float, Field(ge=0.0, le=100.0)], ...]

    @field_validator("percentages")
    @classmethod
    def _whole(cls, percentages: tuple[float, ...]) -> tuple[float, ...]:
        if abs(sum(percentages) - 100.0) > 1e-6:
            raise ValueError(f"must add up to 100 %, not {sum(percentages):g} %")
        return percentages

    def _fractions(self, years: int) -> FloatArray:
        return np.array(self.percentages) / 100.0


class DecliningBalance(TaxRegime):
    """``factor/life`` of the balance each year, never below the salvage value.

    With ``switch``, straight line over the rest of the life from the year when that is more.
    """

    method: Literal["declining_balance"]
    life_years: Life
    factor: Annotated[float, Field(gt=0.0)] = 2.0
    salvage_fraction: Share = 0.0
    switch: bool = True

    def _fractions(self, years: int) -> FloatArray:
        balance, claimed = 1.0, []
        for remaining in range(self.life_years, 0, -1):
            left = balance - self.salvage_fraction
            claim = min(balance * self.factor / self.life_years, left)
            if self.switch:
                claim = max(claim, left / remaining)
            claimed.append(claim)
            balance -= claim
        return np.array(claimed)


class SumOfYears(TaxRegime):
    """Years left over the sum of all years' digits."""

    method: Literal["sum_of_years"]
    life_years: Life
    salvage_fraction: Share = 0.0

    def _fractions(self, years: int) -> FloatArray:
        digits = np.arange(self.life_years, 0, -1.0)
        return (1.0 - self.salvage_fraction) * digits / digits.sum()


class Pool(TaxRegime):
    """A share at once, then a rate of the falling balance, for ever.

    Where a first-year share is claimed, the balance enters the pool the year after
    (uk-caa-2001, section 58(5)); without one the rate applies from year 1.
    """

    method: Literal["pool"]
    writing_down_rate: Share
    first_year_share: Share = 0.0

    def _fractions(self, years: int) -> FloatArray:
        left, rate = 1.0 - self.first_year_share, self.writing_down_rate
        if self.first_year_share == 0.0:
            return rate * (1.0 - rate) ** np.arange(years)
        pooled = left * rate * (1.0 - rate) ** np.arange(years - 1)
        return np.concatenate([[self.first_year_share], pooled])


AnyTaxRegime = Annotated[
    NoDepreciation | StraightLine | PublishedTable | DecliningBalance | SumOfYears | Pool,
    Field(discriminator="method"),
]
_REGIMES: TypeAdapter[dict[str, Any]] = TypeAdapter(dict[str, AnyTaxRegime])


def parse_tax_regimes(source: str, tables: Mapping[str, Any]) -> dict[str, TaxRegime]:
    """Regimes from plain tables, one a key; all problems together.

    Parameters
    ----------
    source : str
        Name of the file, for the message.
    tables : mapping
        Key to the fields of a regime.

    Returns
    -------
    dict of TaxRegime

    Raises
    ------
    StudyError
        With the path, value and bound of every field that cannot be used.

    Examples
    --------
    >>> own = {"title": "Ours", "jurisdiction": "-", "source": "assumed", "as_of": "2025-11-01",
    ...        "method": "straight_line", "life_years": 4}
    >>> parse_tax_regimes("study.toml", {"own": own})["own"].depreciation_fractions(2)
    array([0.25, 0.25])
    """
    try:
        return _REGIMES.validate_python(dict(tables))
    except ValidationError as error:
        problems = [
            Problem(".".join(map(str, item["loc"])), item["input"], item["msg"])
            for item in error.errors()
        ]
        raise StudyError(source, problems) from error


def _data_folder() -> Path:
    return Path(__file__).parents[2] / "data"


def tax_regimes(path: Path | None = None) -> dict[str, TaxRegime]:
    """Tax regimes of a TOML file, by default the one that comes with the package.

    Parameters
    ----------
    path : Path, optional
        A file of the same form.

    Returns
    -------
    dict of TaxRegime

    Raises
    ------
    StudyError
        Where the file is not TOML or a regime cannot be used.

    Examples
    --------
    >>> tax_regimes()["us_macrs_5"].depreciation_fractions(3)
    array([0.2  , 0.32 , 0.192])
    """
    file = _data_folder() / "tax_regimes.toml" if path is None else path
    try:
        tables = tomllib.loads(file.read_text(encoding="utf-8"))
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        problem = Problem(file.name, str(file), f"must be a readable TOML file ({error})")
        raise StudyError(file.name, [problem]) from error
    return parse_tax_regimes(file.name, tables)


def tax_payable(
    taxable_income: ArrayLike, tax_rate: ArrayLike, losses: Losses = "carried_forward"
) -> FloatArray:
    """Tax on each year's income, positive where it is owed.

    Carried forward, a loss waits, without limit of time or amount, for the profits that use it
    up: cumulative income is taxed as far as it exceeds every earlier peak. Absorbed, a loss
    saves tax at once on the owner's other income: the tax is then negative.

    Parameters
    ----------
    taxable_income : array_like, (..., years) [currency]
    tax_rate : array_like, (...) [-]
        Fraction from 0 to 1.
    losses : {"carried_forward", "absorbed"}

    Returns
    -------
    ndarray, (..., years) [currency]

    Raises
    ------
    InputError
        Where a value is not finite, a rate is outside 0 to 1 or ``losses`` is unknown.

    Examples
    --------
    >>> tax_payable([-100, 60, 80], 0.25)
    array([ 0.,  0., 10.])
    >>> tax_payable([-100, 60, 80], 0.25, "absorbed")
    array([-25.,  15.,  20.])

    Source: derivable.
    """
    income = parse_finite("taxable_income", taxable_income)
    rate = parse_rate("tax_rate", tax_rate)
    if np.any(rate < 0.0) or np.any(rate > 1.0):
        raise InputError("tax_rate", tax_rate, "must be 0 to 1 (a fraction: 0.25 for 25 %)")
    if losses == "absorbed":
        return income * rate[..., None]
    if losses != "carried_forward":
        raise InputError("losses", losses, 'must be "carried_forward" or "absorbed"')
    peak = np.maximum.accumulate(np.maximum(income.cumsum(axis=-1), 0.0), axis=-1)
    return np.diff(peak, axis=-1, prepend=0.0) * rate[..., None]
