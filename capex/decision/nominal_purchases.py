"""Leases that end in a purchase for next to nothing: in many countries no lease for tax.

Imports `capex.finance` and `capex.decision.outcome`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from capex.decision.outcome import Outcome, of_scenario
from capex.finance.purchases import Purchases

__all__ = ["NominalPurchase", "nominal_purchases"]

#: Share of the price up to which a purchase at the end is called nominal; the figure is ours.
_NOMINAL: Final = 0.01


@dataclass(frozen=True)
class NominalPurchase:
    """A lease whose machine is bought at the end for a nominal amount.

    Parameters
    ----------
    machine, offer : str
        By name.
    residual, price : float
        What is paid at the end, and the price of the machine [currency].
    """

    machine: str
    offer: str
    residual: float
    price: float


def nominal_purchases(outcome: Outcome, scenario: int = 0) -> tuple[NominalPurchase, ...]:
    """Return the leases of an alternative that end in a purchase for at most 1 % of the price.

    Parameters
    ----------
    outcome : Outcome
        With its details.
    scenario : int

    Returns
    -------
    tuple of NominalPurchase

    Raises
    ------
    InputError
        An appraisal that kept only cash.

    Examples
    --------
    >>> from capex.decision.appraise import appraise
    >>> from capex.study import data_folder, read_study
    >>> study = read_study(data_folder() / "studies" / "quenlow.toml")
    >>> nominal_purchases(appraise(study).outcomes["all_in_one"])
    ()

    Source: irs-rev-rul-55-540 (an option at a nominal price points to a sale).
    """
    study = outcome.path.study
    choice = study.alternatives[outcome.key]
    bought, found = Purchases(study, choice, 1), []
    for place, placement in enumerate(choice.machines):
        offer = study.offers.get(placement.offer or "")
        if placement.owned or offer is None or offer.lease is None:
            continue
        residual = offer.lease.residual
        if offer.lease.at_end != "purchase" or residual is None:
            continue
        paid = float(of_scenario(residual.si, scenario))
        price = float(of_scenario(bought.unit_price(place), scenario))
        if paid <= _NOMINAL * price:
            name = study.machines[placement.machine].name
            found.append(NominalPurchase(name, offer.name, paid, price))
    return tuple(found)
