"""What an alternative buys and sells, as formulas: prices, resale, dates.

Dates and numbers of machines are carried; prices and resale are cells.

May import: numpy, `capex.study`, `capex.finance` and, of this folder, `formula` and `live`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from capex.study import Alternative, Machine, Placement, Study
from capex.views.documents.workbook.formula import Expression, chosen, number
from capex.views.documents.workbook.live import Inputs

__all__ = ["Purchase", "financed_by_offers", "purchase_inputs", "purchases"]


@dataclass(frozen=True)
class Purchase:
    """One placement of an alternative.

    Parameters
    ----------
    place : int
        In the alternative.
    name : str
        Of the machine.
    placement : Placement
    machine : Machine
    price : Expression
        Of one machine.
    path, machine_path, offer_path : str
        Of the placement, its machine and its offer (empty without one).
    horizon : int
        Last month.
    """

    place: int
    name: str
    placement: Placement
    machine: Machine
    price: Expression
    path: str
    machine_path: str
    offer_path: str
    horizon: int

    @property
    def month(self) -> int:
        """Month of purchase."""
        return int(self.placement.month.likely)

    @property
    def count(self) -> Expression:
        """How many machines."""
        return number(self.placement.count.likely)

    @property
    def bought(self) -> bool:
        """Whether it is bought within the horizon."""
        return not self.placement.owned and self.month <= self.horizon

    @property
    def sold_early(self) -> bool:
        """Whether it is sold before the horizon."""
        sold = self.placement.sold_in_month
        return sold is not None and sold.likely < self.horizon

    @property
    def last_month(self) -> int:
        """Month of its sale, or the horizon."""
        sold = self.placement.sold_in_month
        return int(sold.likely) if sold is not None and self.sold_early else self.horizon

    @property
    def outlay(self) -> Expression:
        """Return the price of all machines."""
        return self.price * self.count

    def installation(self, inputs: Inputs) -> Expression:
        """Return freight and installation of all machines."""
        return inputs[f"{self.path}.freight_and_installation"] * self.count

    def training(self, inputs: Inputs) -> Expression:
        """Return what training costs."""
        return inputs[f"{self.path}.training"]

    def proceeds(self, inputs: Inputs) -> Expression:
        """Return what it brings when sold, or fetches at the horizon."""
        if self.month > self.horizon:
            return number(0)
        if self.sold_early and self.placement.sale_proceeds is not None:
            return inputs[f"{self.path}.sale_proceeds"] * self.count
        if self.placement.owned:
            return number(0)
        age = max(self.last_month - self.month, 0)
        return self.outlay * self.resale(inputs, age)

    def trade_in(self, inputs: Inputs) -> list[Expression]:
        """Return what its offer credits for an old machine, if it does."""
        path = f"{self.offer_path}.trade_in"
        return [inputs[path]] if path in inputs else []

    def resale(self, inputs: Inputs, age: int) -> Expression:
        """Return the share of its price that it fetches at an age in months."""
        shares = [number(1)]
        shares += [
            inputs[f"{self.machine_path}.resale_by_year.{year}"]
            for year in range(len(self.machine.resale_by_year))
        ]
        last = len(shares) - 1
        year, rest = divmod(age, 12)
        if year >= last:
            ratio = chosen(shares[-2].over(number(0), ">"), shares[-1] / shares[-2], number(0))
            beyond = age - 12 * last
            return shares[-1] if not beyond else shares[-1] * ratio ** (number(beyond) / number(12))
        if not rest:
            return shares[year]
        part = number(rest) / number(12)
        return shares[year] * (number(1) - part) + shares[year + 1] * part


def financed_by_offers(alternative: Alternative) -> bool:
    """Return whether an offer says how something that is bought is paid for."""
    return any(one.offer is not None and not one.owned for one in alternative.machines)


def _price_path(study: Study, key: str, place: int) -> str:
    placement = study.alternatives[key].machines[place]
    if placement.price is not None:
        return f"alternatives.{key}.machines.{place}.price"
    if placement.offer is not None and study.offers[placement.offer].price is not None:
        return f"offers.{placement.offer}.price"
    return f"machines.{placement.machine}.price"


def purchase_inputs(study: Study, key: str) -> list[str]:
    """Return the paths of the inputs that the purchases of an alternative read."""
    found = ["levers.machine_price", "shop.premises.insurance", "money.tax.on_purchases"]
    for place, placement in enumerate(study.alternatives[key].machines):
        path, machine = f"alternatives.{key}.machines.{place}", f"machines.{placement.machine}"
        found += [_price_path(study, key, place), f"{machine}.service"]
        if not placement.owned:
            years = len(study.machines[placement.machine].resale_by_year)
            found += [f"{path}.freight_and_installation", f"{path}.training"]
            found += [f"{machine}.resale_by_year.{year}" for year in range(years)]
            if placement.offer is not None:
                found.append(f"offers.{placement.offer}.trade_in")
        if placement.sale_proceeds is not None:
            found.append(f"{path}.sale_proceeds")
    return found


def purchases(study: Study, key: str, inputs: Inputs) -> tuple[Purchase, ...]:
    """Return the placements of an alternative, owned ones among them.

    Parameters
    ----------
    study : Study
        With months in the place of triggers.
    key : str
        Of the alternative.
    inputs : Inputs
    """
    found = []
    for place, placement in enumerate(study.alternatives[key].machines):
        price = inputs[_price_path(study, key, place)]
        found.append(
            Purchase(
                place,
                study.machines[placement.machine].name,
                placement,
                study.machines[placement.machine],
                price if placement.owned else price * inputs["levers.machine_price"],
                f"alternatives.{key}.machines.{place}",
                f"machines.{placement.machine}",
                "" if placement.offer is None else f"offers.{placement.offer}",
                int(np.asarray(study.money.horizon.si)[0]),
            )
        )
    return tuple(found)
