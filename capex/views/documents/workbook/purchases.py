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

__all__ = ["Purchase", "financed_by_offers", "purchases"]


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
    inputs : Inputs
    price_path : str
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
    inputs: Inputs
    price_path: str
    path: str
    machine_path: str
    offer_path: str
    horizon: int

    @property
    def price(self) -> Expression:
        """Price of one machine; the lever moves what is bought."""
        price = self.inputs[self.price_path]
        return price if self.placement.owned else price * self.inputs["levers.machine_price"]

    @property
    def sales_tax(self) -> Expression:
        """Sales tax on all machines."""
        return self.outlay * self.inputs["money.tax.on_purchases"]

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

    def installation(self) -> Expression:
        """Return freight and installation of all machines."""
        return self.inputs[f"{self.path}.freight_and_installation"] * self.count

    def training(self) -> Expression:
        """Return what training costs."""
        return self.inputs[f"{self.path}.training"]

    def proceeds(self) -> Expression:
        """Return what it brings when sold, or fetches at the horizon."""
        if self.month > self.horizon:
            return number(0)
        if self.sold_early and self.placement.sale_proceeds is not None:
            return self.inputs[f"{self.path}.sale_proceeds"] * self.count
        if self.placement.owned:
            return number(0)
        age = max(self.last_month - self.month, 0)
        return self.outlay * self.resale(age)

    def trade_in(self) -> list[Expression]:
        """Return what its offer credits for an old machine, if it does."""
        path = f"{self.offer_path}.trade_in"
        return [self.inputs[path]] if path in self.inputs else []

    def resale(self, age: int) -> Expression:
        """Return the share of its price that it fetches at an age in months."""
        last = len(self.machine.resale_by_year)
        year, rest = divmod(age, 12)
        if year < last:
            if not rest:
                return self._share(year)
            part = number(rest) / number(12)
            return self._share(year) * (number(1) - part) + self._share(year + 1) * part
        end, before = self._share(last), self._share(last - 1)
        if age == 12 * last:
            return end
        ratio = chosen(before.over(number(0), ">"), end / before, number(0))
        return end * ratio ** (number(age - 12 * last) / number(12))

    def _share(self, year: int) -> Expression:
        """Return the share of its price at a whole year's age; 1 when new."""
        if year == 0:
            return number(1)
        return self.inputs[f"{self.machine_path}.resale_by_year.{year - 1}"]


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
        found.append(
            Purchase(
                place,
                study.machines[placement.machine].name,
                placement,
                study.machines[placement.machine],
                inputs,
                _price_path(study, key, place),
                f"alternatives.{key}.machines.{place}",
                f"machines.{placement.machine}",
                "" if placement.offer is None else f"offers.{placement.offer}",
                int(np.asarray(study.money.horizon.si)[0]),
            )
        )
    return tuple(found)
