"""The price of one machine as an input: what it is today, and all entries that move with it.

A machine's price is its seller's: it moves wherever the study buys the same machine, new or used
alike, on the same offer or quotation.

Imports numpy and `capex.study`, `capex.finance.purchases`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from capex.errors import InputError
from capex.finance.purchases import Purchases
from capex.study import Placement, Study

__all__ = ["MachinePrice", "for_cash", "machine_price"]

FloatArray = npt.NDArray[np.float64]


@dataclass(frozen=True)
class MachinePrice:
    """The price of one machine that an alternative buys.

    Parameters
    ----------
    today : float
        Of one machine as the study stands, the lever on prices included [currency].
    listed : float
        In the catalogue [currency].
    paths : tuple of str
        Inputs that say it wherever the same is bought.
    lever : float
        Factor on all prices [-].
    """

    today: float
    listed: float
    paths: tuple[str, ...]
    lever: float

    def scenarios(self, prices: FloatArray) -> dict[str, npt.ArrayLike]:
        """Return the scenarios in which one machine costs these prices, shape (s,) [currency]."""
        return dict.fromkeys(self.paths, prices / self.lever)


def machine_price(study: Study, alternative: str, place: int) -> MachinePrice:
    """Return the price of one machine that an alternative buys.

    Parameters
    ----------
    study : Study
        With the scenario's values in place.
    alternative : str
        Key.
    place : int
        Of the placement in it.

    Returns
    -------
    MachinePrice

    Raises
    ------
    InputError
        An unknown alternative, or a place of none of the machines that it buys.

    Examples
    --------
    >>> from capex.study import data_folder, read_study
    >>> study = read_study(data_folder() / "studies" / "quenlow.toml")
    >>> found = machine_price(study, "all_in_one", 0)
    >>> found.today, found.paths
    (22500.0, ('alternatives.all_in_one.machines.0.price', 'alternatives.staged.machines.0.price'))
    """
    choice = study.alternative(alternative)
    if not 0 <= place < len(choice.machines) or choice.machines[place].owned:
        raise InputError("place", place, f"must be that of a machine which {alternative} buys")
    asked = choice.machines[place]
    paths = tuple(
        f"alternatives.{key}.machines.{i}.price"
        for key, other in study.alternatives.items()
        for i, placement in enumerate(other.machines)
        if not placement.owned and _purchase(placement) == _purchase(asked)
    )
    today = float(Purchases(study, choice, 1).unit_price(place)[0])
    listed = study.machines[asked.machine].price.likely
    return MachinePrice(today, listed, paths, study.levers.machine_price.likely)


def for_cash(study: Study) -> Study:
    """Return a study with every offer for cash.

    How a machine is paid for never touches the gain; without it a loan's fixed equity, or a rent,
    bars no price.

    Parameters
    ----------
    study : Study

    Returns
    -------
    Study

    Examples
    --------
    >>> from capex.study import data_folder, read_study
    >>> study = read_study(data_folder() / "studies" / "quenlow.toml")
    >>> {offer.kind for offer in for_cash(study).offers.values()}
    {'cash'}
    """
    offers = {
        key: offer.model_copy(update={"loan": None, "lease": None})
        for key, offer in study.offers.items()
    }
    return study.model_copy(update={"offers": offers})


def _purchase(placement: Placement) -> tuple[object, ...]:
    """Return what makes two purchases one seller's price."""
    price = None if placement.price is None else placement.price.likely
    return placement.machine, placement.second_hand, placement.offer, price
