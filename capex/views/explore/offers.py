"""The five inputs of the page, the price of the machine on offer among them.

May import: from capex study, decision and `views.inputs`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

from capex.decision.machine_price import MachinePrice, machine_price
from capex.study import Study
from capex.views.inputs import Dial, dials

__all__ = ["Offer", "five_dials", "offers"]

#: Beside the price: how much work, what it brings, how much of it goes back for cutting, and what
#: money costs. Wages are left to the desk: paid alike in every choice, they seldom move a gap.
_PATHS: Final = (
    "levers.demand", "levers.price", "levers.laminated_share", "money.discount_rate",
)  # fmt: skip
_HINT: Final = (
    "What one costs here, today. It moves wherever the study buys the same machine on the same "
    "terms, in every choice."
)


@dataclass(frozen=True)
class Offer:
    """A machine that the study buys somewhere.

    Parameters
    ----------
    alternative : str
        Key of the first alternative that buys it.
    place : int
        Of the placement in it.
    name : str
    price : MachinePrice
    """

    alternative: str
    place: int
    name: str
    price: MachinePrice

    @property
    def key(self) -> str:
        """Names the offer on the page."""
        return self.price.paths[0]

    @property
    def dial(self) -> Dial:
        """Its price as an input to move."""
        today = self.price.today
        step = 10.0 ** max(0, math.floor(math.log10(max(today, 1.0))) - 2)
        low, high = (step * round(factor * today / step) for factor in (0.5, 2.0))
        return Dial(
            self.key, "Machine price", "{currency}", f"{self.name}. {_HINT}", low, high, step,
            0, self.price.lever, today / self.price.lever, "as it stands", money=True,
        )  # fmt: skip


def offers(study: Study) -> tuple[Offer, ...]:
    """Return the machines that a study buys, one a seller's price.

    Examples
    --------
    >>> from capex.study import data_folder, read_study
    >>> study = read_study(data_folder() / "studies" / "quenlow.toml")
    >>> [(offer.name, offer.price.today) for offer in offers(study)][-1]
    ('Mid all-in-one', 22500.0)
    """
    found: dict[tuple[str, ...], Offer] = {}
    for key, choice in study.alternatives.items():
        for place, placement in enumerate(choice.machines):
            if placement.owned:
                continue
            price = machine_price(study, key, place)
            name = study.machines[placement.machine].name
            found.setdefault(price.paths, Offer(key, place, name, price))
    return tuple(found.values())


def five_dials(study: Study, offer: Offer | None) -> dict[str, Dial]:
    """Return the inputs of the page by path, the price of the offer second.

    Parameters
    ----------
    study : Study
    offer : Offer or None
        None where the study buys nothing.
    """
    known = {dial.path: dial for dial in dials(study)}
    chosen = [known[path] for path in _PATHS]
    if offer is not None:
        chosen.insert(1, offer.dial)
    return {dial.path: dial for dial in chosen}
