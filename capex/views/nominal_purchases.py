"""Leases that end in a purchase for next to nothing, in words.

Plain text only; whoever shows it escapes it. May import: `capex.decision`, `views.wording`.
"""

from __future__ import annotations

from capex.decision.nominal_purchases import nominal_purchases
from capex.decision.outcome import Outcome
from capex.views.wording import Currency, money_text

__all__ = ["nominal_purchase_sentences"]


def nominal_purchase_sentences(outcome: Outcome, currency: Currency) -> list[str]:
    """Return a sentence for each lease that tax may take as a purchase.

    Parameters
    ----------
    outcome : Outcome
        With its details; its first scenario is told.
    currency : Currency

    Examples
    --------
    >>> from capex.decision.appraise import appraise
    >>> from capex.study import data_folder, read_study
    >>> study = read_study(data_folder() / "studies" / "quenlow.toml")
    >>> nominal_purchase_sentences(appraise(study).outcomes["staged"], Currency("USD"))
    []
    """
    return [
        f"{each.machine} is bought for {money_text(each.residual, currency)} at the end of "
        f"“{each.offer}”, {each.residual / each.price:.1%} of its price: many countries tax such a "
        "lease as a purchase on credit (hire purchase, conditional sale), here its rents are "
        "deducted; ask your accountant (at_end = “ownership” counts it as a purchase)"
        for each in nominal_purchases(outcome)
    ]
