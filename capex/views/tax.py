"""The tax rules behind the figures, in words.

Imports `capex.units`, `capex.study` and `capex.finance.purchases`.
"""

from __future__ import annotations

from datetime import date

from capex.finance.purchases import tax_regime
from capex.study import Study, TaxRegime
from capex.study.tax import regime_is_old
from capex.units import quantity_text

__all__ = ["tax_notice", "tax_sentence"]


def tax_sentence(study: Study, today: date | None = None) -> str:
    """Return the tax rules behind the figures, with their date; says so where they are old.

    Parameters
    ----------
    study : Study
    today : date, optional

    Returns
    -------
    str

    Examples
    --------
    >>> from capex.study import data_folder, read_study
    >>> study = read_study(data_folder() / "studies" / "quenlow.toml")
    >>> tax_sentence(study, date(2028, 1, 1)).partition(", as of ")[0]
    'Tax: US MACRS, 7-year property at 25%'
    """
    regime = tax_regime(study)
    rate = quantity_text(study.money.tax.rate.likely, "fraction")
    said = f"Tax: {regime.title} at {rate}, as of {regime.as_of}"
    if regime_is_old(regime, today or date.today()):
        said += ", more than a year old: compare it with its source"
    sales_tax = study.money.tax.on_purchases
    if sales_tax.likely > 0:
        said += f"; {quantity_text(sales_tax.likely, 'fraction')} sales tax on machines bought"
    absorbed = study.money.tax.losses == "absorbed"
    if study.money.tax.rate.likely > 0:
        said += "; a year's loss " + (
            "is taken to save tax on your other income" if absorbed
            else "waits for later profits, without limit of time or amount"
        )  # fmt: skip
    if regime.income_limited:
        held = "absorbed by your other income" if absorbed else "carried forward as a loss"
        said += (
            "; what is deducted at once is not held to the year's business income, what exceeds "
            f"it being {held}"
        )
    if _deducts_nothing(study, regime):
        said += "; it deducts nothing for the machines"
    if regime.method == "pool":
        said += "; a sale is settled in its year, which may be earlier than the pool does"
    used = _second_hand_names(study, regime)
    if used:
        said += f"; its first-year allowance is for new machines and not claimed for {used}"
    return f"{said}; confirm with your accountant."


def tax_notice(study: Study) -> str:
    """Return a warning where profit is taxed and no machine is deducted, else an empty text.

    Parameters
    ----------
    study : Study

    Returns
    -------
    str

    Examples
    --------
    >>> from capex.study import data_folder, read_study
    >>> tax_notice(read_study(data_folder() / "studies" / "quenlow.toml"))
    ''
    """
    if not _deducts_nothing(study, tax_regime(study)):
        return ""
    rate = quantity_text(study.money.tax.rate.likely, "fraction")
    return (
        f"Tax: profit is taxed at {rate}, while no cost of a machine is deducted and nothing that "
        "it fetches is taxed, which mostly speaks against buying: choose a regime in money.tax, or "
        "a rate of 0; confirm with your accountant."
    )


def _deducts_nothing(study: Study, regime: TaxRegime) -> bool:
    at_once = regime.first_year_allowance > 0.0 or bool(regime.expensing)
    return regime.method == "none" and not at_once and study.money.tax.rate.likely > 0


def _second_hand_names(study: Study, regime: TaxRegime) -> str:
    """Return the second-hand machines to which a regime refuses its first-year allowance."""
    if not (regime.new_only and regime.first_year_allowance > 0.0):
        return ""
    placed = (one for choice in study.alternatives.values() for one in choice.machines)
    keys = (one.machine for one in placed if one.second_hand and not one.owned)
    return ", ".join(dict.fromkeys(study.machines[key].name for key in keys))
