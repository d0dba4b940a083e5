"""What is paid for machines, what they are worth later, and what tax makes of both.

Imports numpy, `capex.study` and `capex.finance.allowances`.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from functools import cached_property
from itertools import chain

import numpy as np
import numpy.typing as npt

from capex.finance.allowances import Asset, allowances
from capex.finance.arrays import FloatArray
from capex.shopfloor.arrays import over_scenarios, side_by_side
from capex.study import (
    Alternative,
    Machine,
    Offer,
    Quantity,
    Study,
    TaxRegime,
    shipped_tax_regimes,
)

__all__ = ["Leased", "Purchases", "resale_value", "tax_regime"]

IntArray = npt.NDArray[np.intp]


def tax_regime(study: Study) -> TaxRegime:
    """Return the study's tax regime: its own copy where it has one, else the shipped one.

    Parameters
    ----------
    study : Study

    Returns
    -------
    TaxRegime

    Examples
    --------
    >>> from capex.study import data_folder, read_study
    >>> tax_regime(read_study(data_folder() / "studies" / "quenlow.toml")).method
    'table'
    """
    name = study.money.tax.regime
    return study.tax_regimes.get(name) or shipped_tax_regimes()[name]


def resale_value(machine: Machine, age: npt.ArrayLike) -> FloatArray:
    """Return the share of its price that a machine still fetches, shape (n,).

    Straight between whole years; 1 when new; after the last entered year the last yearly ratio
    goes on.

    Parameters
    ----------
    machine : Machine
        With `resale_by_year`.
    age : array_like, shape (n,)
        [months], at least 0.

    Returns
    -------
    ndarray, shape (n,)
        Fraction of the price.

    Examples
    --------
    >>> from capex.study import shipped_machines
    >>> machine = shipped_machines()["mid_all_in_one"]
    >>> first = machine.resale_by_year[0].likely
    >>> bool(resale_value(machine, 6.0)[0] == (1 + first) / 2)
    True
    """
    curve = [np.ones(1), *(share.si for share in machine.resale_by_year)]
    years = np.atleast_1d(np.asarray(age, dtype=np.float64)) / 12.0
    table = side_by_side(curve)
    count = max(table.shape[0], years.size)
    table, years = over_scenarios(table, count), over_scenarios(years, count)
    last = table.shape[1] - 1
    low = np.minimum(years.astype(np.intp), last - 1)
    every = np.arange(count)
    way = np.minimum(years - low, 1.0)
    within = table[every, low] * (1.0 - way) + table[every, low + 1] * way
    before = table[:, last - 1]
    ratio = np.divide(table[:, last], before, out=np.zeros_like(before), where=before > 0)
    beyond: FloatArray = within * ratio ** np.maximum(years - last, 0.0)
    return beyond


@dataclass(frozen=True)
class Leased:
    """What tax sees of machines on lease: the lessor's, until they are bought at the end.

    Parameters
    ----------
    bought_for : ndarray, shape (n,) [currency]
        Paid for them at the end; 0 where they go back.
    month : ndarray of int, shape (n,)
        Of that purchase.
    returned : bool
        Whether they go back.
    """

    bought_for: FloatArray
    month: IntArray
    returned: bool


class Purchases:
    """Purchases, sales and salvage of one alternative, and their tax.

    Parameters
    ----------
    study, alternative
        The shop and the choice.
    months : int
        Horizon of the table.
    """

    def __init__(self, study: Study, alternative: Alternative, months: int) -> None:
        self.study = study
        self.placements = alternative.machines
        self.machines = [study.machines[placement.machine] for placement in self.placements]
        self.months = months
        self.horizon = study.money.horizon.si.astype(np.intp)
        self.tax_on_price = study.money.tax.on_purchases.si
        sizes = [1, self.horizon.size, study.levers.machine_price.si.size, self.tax_on_price.size]
        for place, placement in enumerate(self.placements):
            parts = (placement.month, placement.count, placement.sold_in_month,
                     placement.sale_proceeds, placement.freight_and_installation,
                     placement.training, self._trade_in(place),
                     *self._lease_end(place))  # fmt: skip
            sizes += [part.si.size for part in parts if part is not None]
            sizes += [self.unit_price(place).size]
            sizes += [share.si.size for share in self.machines[place].resale_by_year]
        self.rows = max(sizes)

    def unit_price(self, place: int) -> FloatArray:
        """Return the price of one machine, shape (n,) [currency].

        The lever on machine prices moves what is bought, not what is owned already.
        """
        placement, offer = self.placements[place], self.offer(place)
        offered = None if offer is None else offer.price
        quoted = placement.price or offered or self.machines[place].price
        return quoted.si if placement.owned else quoted.si * self.study.levers.machine_price.si

    def offer(self, place: int) -> Offer | None:
        """Return the offer that a placement has chosen, if any."""
        key = self.placements[place].offer
        return None if key is None else self.study.offers[key]

    def _trade_in(self, place: int) -> Quantity | None:
        offer = self.offer(place)
        return None if offer is None else offer.trade_in

    def _lease_end(self, place: int) -> tuple[Quantity | None, ...]:
        offer = self.offer(place)
        return (
            () if offer is None or offer.lease is None else (offer.lease.term, offer.lease.residual)
        )

    @property
    def any_bought(self) -> bool:
        """Whether anything is bought for which no offer says how it is paid."""
        return any(self.placements[place].offer is None for place in self._bought())

    def _full(self, values: npt.ArrayLike) -> FloatArray:
        return over_scenarios(np.atleast_1d(np.asarray(values, dtype=np.float64)), self.rows)

    def _flow(self, amounts: Iterable[tuple[npt.ArrayLike, npt.ArrayLike]]) -> FloatArray:
        """Return a flow of amounts, each at its month within the horizon; (n, m + 1)."""
        flow = np.zeros((self.rows, self.months + 1))
        every, horizon = np.arange(self.rows), self._full(self.horizon)
        for month, amount in amounts:
            at = self._full(month)
            paid = np.where(at <= horizon, self._full(amount), 0.0)
            flow[every, np.minimum(at, self.months).astype(np.intp)] += paid
        return flow

    def _bought(self) -> Iterator[int]:
        return (place for place, placement in enumerate(self.placements) if not placement.owned)

    def _outlay(self, place: int) -> tuple[FloatArray, FloatArray]:
        """Return price and installation of all machines of a placement, each (n,)."""
        placement = self.placements[place]
        count = placement.count.si
        return self.unit_price(place) * count, placement.freight_and_installation.si * count

    @cached_property
    def price(self) -> FloatArray:
        """Prices paid by month, shape (n, m + 1)."""
        return self._flow((self.placements[i].month.si, self._outlay(i)[0]) for i in self._bought())

    @cached_property
    def sales_tax(self) -> FloatArray:
        """Sales tax on the prices paid, with them, shape (n, m + 1)."""
        return self.price * self.tax_on_price[:, None]

    @cached_property
    def installation(self) -> FloatArray:
        """Freight and installation by month, shape (n, m + 1)."""
        return self._flow((self.placements[i].month.si, self._outlay(i)[1]) for i in self._bought())

    @cached_property
    def training(self) -> FloatArray:
        """Training by month, shape (n, m + 1)."""
        return self._flow(
            (self.placements[i].month.si, self.placements[i].training.si) for i in self._bought()
        )

    def _disposal(self, place: int) -> tuple[IntArray, FloatArray, npt.NDArray[np.bool_]]:
        """Return month and proceeds of disposal, and whether it is a sale before the horizon."""
        placement = self.placements[place]
        horizon = self._full(self.horizon)
        month, early = horizon, np.zeros(self.rows, dtype=bool)
        if placement.sold_in_month is not None:
            early = self._full(placement.sold_in_month.si) < horizon
            month = np.where(early, self._full(placement.sold_in_month.si), horizon)
        age = np.maximum(month - self._full(placement.month.si), 0.0)
        worth = self._full(resale_value(self.machines[place], age)) * self._outlay(place)[0]
        if placement.owned:
            worth = np.zeros(self.rows)
        if placement.sale_proceeds is not None:
            agreed = self._full(placement.sale_proceeds.si * placement.count.si)
            worth = np.where(early, agreed, worth)
        there = self._full(placement.month.si) <= horizon
        return month.astype(np.intp), np.where(there, worth, 0.0), early

    @cached_property
    def _disposals(self) -> list[tuple[IntArray, FloatArray, npt.NDArray[np.bool_]]]:
        return [self._disposal(place) for place in range(len(self.placements))]

    @cached_property
    def sold(self) -> FloatArray:
        """Proceeds of machines sold or traded in before the horizon, shape (n, m + 1)."""
        proceeds = ((month, np.where(early, worth, 0.0)) for month, worth, early in self._disposals)
        return self._flow(chain(proceeds, self._trade_ins()))

    def _trade_ins(self) -> Iterator[tuple[IntArray, FloatArray]]:
        """Yield the month and amount, (n,), that each offer credits for an old machine, once."""
        for place in self._bought():
            credit = self._trade_in(place)
            if credit is not None:
                month = self._full(self.placements[place].month.si)
                there = month <= self._full(self.horizon)
                yield month.astype(np.intp), np.where(there, self._full(credit.si), 0.0)

    @cached_property
    def salvage(self) -> FloatArray:
        """Resale value at the horizon, before tax, shape (n, m + 1)."""
        return self._flow(
            (month, np.where(early, 0.0, worth)) for month, worth, early in self._disposals
        )

    def disposal(self, place: int) -> FloatArray:
        """Return what a placement brings when sold or at the horizon, shape (n, m + 1)."""
        month, worth, _ = self._disposals[place]
        return self._flow([(month, worth)])

    def held_until(self, place: int) -> IntArray:
        """Return the month in which a placement is sold, or the horizon, shape (n,)."""
        return self._disposals[place][0]

    def taxable_by_year(
        self, years: int, horizon: IntArray, leased: Mapping[int, Leased] | None = None
    ) -> FloatArray:
        """Return depreciation (negative) and gains on disposal by project year, (n, years).

        A purchase in month T belongs to the year that begins or runs then; the year of disposal
        claims its whole figure and settles the rest against the proceeds. Owned machines count as
        written off. Under the regime without depreciation machines stay outside taxation. Of a
        machine in `leased` tax sees what was paid to install it and to buy it at the end.
        """
        taxable = np.zeros((self.rows, years))
        regime = tax_regime(self.study)
        if regime.method == "none":
            return over_scenarios(taxable, max(self.rows, horizon.size))
        every, year = np.arange(self.rows), np.arange(years)
        lent = leased or {}
        assets = [(p, asset) for p in self._bought() for asset in self._assets(p, lent.get(p))]
        every_asset = [asset for _, asset in assets]
        claims = allowances(regime, every_asset, self.study.money.start, years)
        for place in range(len(self.placements)):
            month, worth, _ = self._disposals[place]
            last = np.clip((month - 1) // 12, 0, years - 1)
            gain = np.zeros(self.rows) if place in lent and lent[place].returned else worth.copy()
            for (owner, asset), claim in zip(assets, claims, strict=True):
                if owner == place:
                    kept = claim * (year <= last[:, None])
                    taxable -= kept
                    gain -= asset.cost - kept.sum(axis=1)
            taxable[every, last] += gain
        for month, credited in self._trade_ins():
            taxable[every, np.clip((month - 1) // 12, 0, years - 1)] += credited
        return over_scenarios(taxable, max(self.rows, horizon.size))

    def _assets(self, place: int, leased: Leased | None) -> Iterator[Asset]:
        """Yield what tax writes off of a placement, or of its lease.

        Bought, its price with the sales tax on it, and installation. Source: irs-pub-551, cost
        basis.
        """
        placement = self.placements[place]
        month = self._full(placement.month.si)
        price, installation = self._outlay(place)
        bought = price + price * self.tax_on_price + installation
        cost = self._full(installation if leased is not None else bought)
        there = month <= self._full(self.horizon)
        yield Asset(np.where(there, cost, 0.0), month.astype(np.intp), placement.second_hand)
        if leased is not None and not leased.returned:
            paid = np.where(there, self._full(leased.bought_for), 0.0)
            yield Asset(paid, self._full(leased.month).astype(np.intp), second_hand=True)

    def training_by_year(self, years: int) -> FloatArray:
        """Return training by project year, (n, years): in the year of the purchase, as above."""
        spent = np.zeros((self.rows, years))
        every = np.arange(self.rows)
        for placement in (self.placements[place] for place in self._bought()):
            month = self._full(placement.month.si)
            paid = np.where(month <= self._full(self.horizon), self._full(placement.training.si), 0)
            spent[every, np.minimum(month.astype(np.intp) // 12, years - 1)] += paid
        return spent

    def drawings(self, share: FloatArray) -> Iterator[tuple[int, FloatArray]]:
        """Yield the months in which a share of a price is borrowed, and how much, (n,).

        Of what is bought without an offer.
        """
        plain = [place for place in self._bought() if self.placements[place].offer is None]
        price = self._flow((self.placements[i].month.si, self._outlay(i)[0]) for i in plain)
        drawn = price * share[:, None]
        for month in np.flatnonzero((drawn > 0).any(axis=0)):
            yield int(month), drawn[:, month]
