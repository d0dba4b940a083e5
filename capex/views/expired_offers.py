"""Offers that end before their purchase, in words.

Plain text only; whoever shows it escapes it. May import: `capex.decision`.
"""

from __future__ import annotations

from capex.decision.expired_offers import expired_offers
from capex.decision.outcome import Outcome

__all__ = ["expired_offer_sentences"]


def expired_offer_sentences(outcome: Outcome) -> list[str]:
    """Return a sentence for each offer that ends before its machine is bought.

    Parameters
    ----------
    outcome : Outcome
        With its details; its first scenario is told.

    Examples
    --------
    >>> from capex.decision.appraise import appraise
    >>> from capex.study import data_folder, read_study
    >>> study = read_study(data_folder() / "studies" / "quenlow.toml")
    >>> expired_offer_sentences(appraise(study).outcomes["staged"])
    []
    """
    return [
        f"{each.machine} is bought in month {each.month} ({each.bought:%Y-%m}), and "
        f"“{each.offer}” holds until {each.valid_until} only: its price and terms are a guess by "
        "then, ask for a new offer before you count on them"
        for each in expired_offers(outcome)
    ]
