"""What the one-off parts of tax do to a cover, in words.

Plain text only. May import: `capex.finance.lender`, `views.wording`.
"""

from __future__ import annotations

from capex.finance.lender import LenderView
from capex.views.wording import Currency, money_text

__all__ = ["cover_tax_sentence"]


def cover_tax_sentence(view: LenderView, currency: Currency) -> str:
    """Return what machines moved of the tax in the year of least cover, and cover without it.

    Parameters
    ----------
    view : LenderView
        Its first scenario is told.
    currency : Currency

    Returns
    -------
    str
        Empty where nothing is due to a lender or cover is before tax.

    Examples
    --------
    >>> from capex.decision.appraise import appraise
    >>> from capex.decision.cover import lender_view_of
    >>> from capex.study import data_folder, read_study
    >>> found = appraise(read_study(data_folder() / "studies" / "quenlow.toml"))
    >>> cover_tax_sentence(lender_view_of(found.outcomes["keep"]), Currency("USD"))
    ''
    """
    year = int(view.lowest_year.when[0])
    if year < 1 or not view.definition.after_tax:
        return ""
    moved = float(view.tax_moved[0, year - 1])
    least, other = view.lowest_recurring_year, float(view.recurring_by_year.ratio[0, year - 1])
    when = int(least.when[0])
    lowest = f", and lowest in year {when} with {float(least.ratio[0]):,.2f}"
    amount = money_text(abs(moved), currency)
    did = f"take {amount} off the tax" if moved >= 0 else f"add {amount} to the tax"
    return (
        f"In year {year}, that of the least cover, write-offs of machines, training and machines "
        f"sold {did}, which does not recur as sales do. Without that, cover there is "
        f"{other:,.2f}{lowest if when != year else ''}."
    )
