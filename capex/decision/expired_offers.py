"""Offers that no longer hold when their machine is bought: a later purchase may outlive them.

Imports `capex.decision.outcome`.
"""

from __future__ import annotations

from calendar import monthrange
from dataclasses import dataclass
from datetime import date

from capex.decision.outcome import Outcome, of_scenario

__all__ = ["ExpiredOffer", "expired_offers"]


@dataclass(frozen=True)
class ExpiredOffer:
    """An offer whose last day is before the purchase that counts on it.

    Parameters
    ----------
    machine, offer : str
        By name.
    valid_until : date
    month : int
        Of the purchase, from 0; the day of decision is month 0.
    bought : date
        The same as a day: as many months after the study's start.
    """

    machine: str
    offer: str
    valid_until: date
    month: int
    bought: date


def expired_offers(outcome: Outcome, scenario: int = 0) -> tuple[ExpiredOffer, ...]:
    """Return the offers of an alternative that end before their machine is bought.

    A machine that waits for a trigger is bought in the month that the trigger found; one that is
    never bought counts on no offer.

    Parameters
    ----------
    outcome : Outcome
        With its details.
    scenario : int

    Returns
    -------
    tuple of ExpiredOffer

    Raises
    ------
    InputError
        An appraisal that kept only cash.

    Examples
    --------
    >>> from capex.decision.appraise import appraise
    >>> from capex.study import data_folder, read_study
    >>> study = read_study(data_folder() / "studies" / "quenlow.toml")
    >>> expired_offers(appraise(study).outcomes["staged"])
    ()
    """
    study = outcome.path.study
    horizon = int(of_scenario(outcome.horizon, scenario))
    found = []
    for placement in study.alternatives[outcome.key].machines:
        if placement.offer is None or placement.owned:
            continue
        offer, month = study.offers[placement.offer], int(of_scenario(placement.month.si, scenario))
        bought = _months_after(study.money.start, month)
        if month <= horizon and offer.valid_until is not None and offer.expired_on(bought):
            machine = study.machines[placement.machine].name
            found.append(ExpiredOffer(machine, offer.name, offer.valid_until, month, bought))
    return tuple(found)


def _months_after(day: date, months: int) -> date:
    """Return the day so many months later; the month's last where it has no such day."""
    year, month = divmod(day.year * 12 + day.month - 1 + months, 12)
    return date(year, month + 1, min(day.day, monthrange(year, month + 1)[1]))
