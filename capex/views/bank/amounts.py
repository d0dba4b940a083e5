"""Money to the currency's unit, so that the rows of a lender's table add up as they are read.

May import: from capex `views.charts.picture` and `views.wording`.
"""

from __future__ import annotations

from capex.views.charts.picture import Look
from capex.views.wording import Currency, money_text

__all__ = ["amount_text", "money_to_unit", "whole_amount"]


def whole_amount(value: float, look: Look) -> int:
    """Return an amount of the study's currency as whole units of the one that is shown."""
    return round(float(value) * look.currency.rate)


def amount_text(units: int, look: Look) -> str:
    """Return whole units of the currency that is shown for reading."""
    # 15 figures: all that a number of this size has
    return money_text(float(units), Currency(look.currency.code), 15).removesuffix(".00")


def money_to_unit(value: float, look: Look) -> str:
    """Return an amount to the unit.

    Examples
    --------
    >>> from capex.study import data_folder, read_study
    >>> study = read_study(data_folder() / "studies" / "quenlow.toml")
    >>> money_to_unit(-23_040.4, Look(study, "metric", Currency("USD")))
    '−$23,040'
    >>> money_to_unit(9.6, Look(study, "metric", Currency("EUR", 0.9)))
    '€9'
    """
    return amount_text(whole_amount(value, look), look)
