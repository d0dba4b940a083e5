"""What one alternative comes to: cash, measures, loads, and what stands behind them.

Imports numpy, `capex.study`, `capex.shopfloor` and `capex.finance`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Any, Final, NamedTuple

import numpy as np
import numpy.typing as npt

from capex.errors import InputError
from capex.finance.discounting import net_present_value
from capex.finance.financing import LINES
from capex.finance.ledger import Ledger
from capex.finance.loans import annual_percentage_rate
from capex.finance.measures import equivalent_annual_value, profitability_index
from capex.finance.payback import discounted_payback_period, payback_period
from capex.finance.rate_of_return import (
    RateOfReturn,
    internal_rate_of_return,
    modified_internal_rate_of_return,
    rates_of_return,
)
from capex.finance.rates import annual_rate, monthly_rate
from capex.shopfloor.arrays import by_row, over_scenarios
from capex.shopfloor.content import Contents
from capex.shopfloor.mix import Mix
from capex.shopfloor.output import Output
from capex.shopfloor.prices import Prices
from capex.shopfloor.routes import Routes
from capex.shopfloor.stations import Station
from capex.study import Study
from capex.study.money import Convention

__all__ = ["CAPITAL", "Details", "Outcome", "Peaks", "joined", "of_scenario"]

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.intp]

#: Lines of the ledger that are capital.
CAPITAL: Final = ("purchase", "sales_tax", "installation", "training", "sold")


@dataclass(frozen=True)
class Details:
    """The whole path of an alternative, kept for small batches.

    Parameters
    ----------
    study : Study
        With the scenarios' values in place.
    mix, prices, contents, routes, output, area, ledger
        Stage by stage; see their classes. `area` has shape (n, m) [m²].
    late : ndarray, shape (n or 1, j, m), or None
        Share of each type's orders that is late, where being late costs something [-].
    """

    study: Study
    mix: Mix
    prices: Prices
    contents: Contents
    routes: Routes
    output: Output
    area: FloatArray
    ledger: Ledger
    late: FloatArray | None = None


class Peaks(NamedTuple):
    """The highest monthly load of each station and its month, from 1, each of shape (n, k)."""

    load: FloatArray
    month: IntArray


@dataclass
class Outcome:
    """One alternative under every scenario.

    Parameters
    ----------
    key, name : str
        Of the alternative.
    net_cash_flow : ndarray, shape (n, m + 1)
        Cash of the investment by month, no financing [currency].
    equity_cash_flow : ndarray, shape (n, m + 1)
        Cash left to the owner by month, financing included [currency].
    discount_factors : ndarray, shape (n, m + 1)
    discount_rate, horizon, opening_cash : ndarray, shape (n,)
        Yearly rate, months, and money in the bank on the day of decision.
    convention : {"monthly", "year_end"}
        When flows count; rates of return follow it as net present values do.
    stations : tuple of Station
    details : Details or None
        The whole path, where it was kept.
    peaks : Peaks or None
        The highest loads, where the path was not kept.
    """

    key: str
    name: str
    net_cash_flow: FloatArray
    equity_cash_flow: FloatArray
    discount_factors: FloatArray
    discount_rate: FloatArray
    horizon: IntArray
    opening_cash: FloatArray
    convention: Convention
    stations: tuple[Station, ...]
    details: Details | None = None
    peaks: Peaks | None = None
    _baseline: Outcome | None = field(default=None, repr=False)

    @classmethod
    def of(
        cls,
        key: str,
        path: Details,
        factors: FloatArray,
        size: int,
        *,
        everything: bool,
    ) -> Outcome:
        """Return the outcome that the whole path comes to, over `size` scenarios.

        Parameters
        ----------
        key : str
            Of the alternative.
        path : Details
            Arrays of one scenario or of `size`.
        factors : ndarray, shape (1 or size, m + 1)
            Discount factors.
        size : int
            Scenarios.
        everything : bool
            Whether the path is kept with it.
        """

        def full(values: FloatArray) -> FloatArray:
            return np.ascontiguousarray(over_scenarios(values, size))

        return cls(
            key=key,
            name=path.study.alternatives[key].name,
            net_cash_flow=full(path.ledger.net_cash_flow),
            equity_cash_flow=full(path.ledger.equity_cash_flow),
            discount_factors=full(factors),
            discount_rate=full(path.study.money.discount_rate.si),
            horizon=over_scenarios(path.ledger.horizon, size),
            opening_cash=full(path.study.money.opening_cash.si),
            convention=path.study.money.convention,
            stations=path.routes.stations,
            details=path if everything else None,
            peaks=None if everything else _peaks(path.output, size),
        )

    @property
    def path(self) -> Details:
        """The whole path of the alternative.

        Raises
        ------
        InputError
            An appraisal that kept only cash.
        """
        if self.details is None:
            raise InputError("keep", "cash", "must be 'everything' to look into the shop floor")
        return self.details

    @cached_property
    def _loads(self) -> Peaks:
        return self.peaks or _peaks(self.path.output, self.horizon.size)

    @property
    def load(self) -> FloatArray:
        """Highest monthly load of each station, shape (n, k): time asked for over time there is.

        Stations whose machine is not there have none in that month.
        """
        return self._loads.load

    @property
    def fullest_month(self) -> IntArray:
        """Month of the highest load of each station, shape (n, k), from 1."""
        return self._loads.month

    def measured_against(self, baseline: Outcome) -> None:
        """Name the alternative that `gain` and the incremental measures are taken against."""
        # never itself: a cycle would keep whole blocks of a long run in memory
        self._baseline = None if baseline is self else baseline

    @property
    def baseline(self) -> Outcome:
        """What this alternative is measured against."""
        return self if self._baseline is None else self._baseline

    @cached_property
    def net_present_value(self) -> FloatArray:
        """NPV of the alternative's own cash, shape (n,) [currency]: read off the ledger."""
        return net_present_value(self.net_cash_flow, self.discount_factors)

    @cached_property
    def incremental_cash_flow(self) -> FloatArray:
        """Cash less the baseline's, shape (n, m + 1) [currency]."""
        return self.net_cash_flow - self.baseline.net_cash_flow

    @cached_property
    def gain(self) -> FloatArray:
        """NPV less the baseline's, shape (n,) [currency]: what choosing it leaves."""
        return self.net_present_value - self.baseline.net_present_value

    @cached_property
    def internal_rate_of_return(self) -> RateOfReturn:
        """Yearly rate at which the gain is zero, with its reason."""
        if self.convention == "year_end":
            return internal_rate_of_return(_by_year(self.incremental_cash_flow))
        return _yearly(internal_rate_of_return(self.incremental_cash_flow))

    @cached_property
    def payback_period(self) -> FloatArray:
        """Simple payback of the incremental cash, shape (n,) [years]; inf beyond the horizon."""
        return payback_period(self.incremental_cash_flow, 12.0)

    @cached_property
    def discounted_payback_period(self) -> FloatArray:
        """Discounted payback, shape (n,) [years]; inf beyond the horizon."""
        flow, factors = self.incremental_cash_flow, self.discount_factors
        return discounted_payback_period(flow, factors, 12.0)

    @cached_property
    def equivalent_annual_value(self) -> FloatArray:
        """Gain as a level amount a year over the horizon, shape (n,) [currency/year]."""
        return equivalent_annual_value(self.gain, self.discount_rate, self.horizon / 12.0)

    @cached_property
    def modified_internal_rate_of_return(self) -> RateOfReturn:
        """Yearly rate from what is put in to what comes back, both at the discount rate."""
        flow, rate, last = self.incremental_cash_flow, monthly_rate(self.discount_rate), 1
        if self.convention == "year_end":
            flow, rate, last = _by_year(flow), self.discount_rate, 12
        found = modified_internal_rate_of_return(flow, rate, rate)
        # months past a shorter horizon of a batch add no time to what has come back by then
        periods, end = flow.shape[1] - 1, -(-self.horizon // last)
        grown = (1.0 + found.rate) ** periods / (1.0 + rate) ** (periods - end)
        found = replace(found, rate=grown ** (1.0 / end) - 1.0)
        return found if self.convention == "year_end" else _yearly(found)

    @cached_property
    def profitability_index(self) -> FloatArray:
        """Present value for each unit of capital spent beyond the baseline's, shape (n,).

        NaN where no more capital is spent than there. Capital: machines with sales tax, freight,
        installation, training, less what old machines bring.
        """
        outlay = (self.capital * self.discount_factors).sum(axis=1)
        index = np.full(outlay.shape, np.nan)
        puts_in = outlay < 0
        index[puts_in] = profitability_index(self.gain[puts_in], outlay[puts_in])
        return index

    @cached_property
    def capital(self) -> FloatArray:
        """Capital beyond the baseline's by month, shape (n, m + 1) [currency]."""
        own, other = self.path.ledger, self.baseline.path.ledger
        keys = [line.key for line in own.lines if line.key in CAPITAL]
        return np.asarray(sum(own.line(key) - other.line(key) for key in keys))

    @cached_property
    def annual_percentage_rate(self) -> RateOfReturn:
        """Nominal yearly rate of its loans and leases together, before tax, with its reason."""
        ledger = self.path.ledger
        keys = [line.key for line in ledger.lines if line.key in LINES]
        lent = [ledger.line(key) for key in keys if not key.endswith("_tax")]
        flow = np.sum(lent, axis=0) if lent else np.zeros_like(self.net_cash_flow)
        return annual_percentage_rate(over_scenarios(flow, self.horizon.size))

    def rates_of_return(self, scenario: int = 0) -> FloatArray:
        """Every yearly rate at which the gain of one scenario is zero, shape (rates,)."""
        flow = self.incremental_cash_flow[scenario]
        if self.convention == "year_end":
            return rates_of_return(_by_year(flow[None])[0])
        return annual_rate(rates_of_return(flow))

    @cached_property
    def month_end_cash(self) -> FloatArray:
        """Money in the bank at the end of each month, shape (n, m + 1) [currency]."""
        return np.asarray(self.opening_cash[:, None] + self.equity_cash_flow.cumsum(axis=1))

    @cached_property
    def worst_month_end_cash(self) -> FloatArray:
        """Least money in the bank up to the horizon, shape (n,) [currency]."""
        months = np.arange(self.month_end_cash.shape[1])
        within = months <= self.horizon[:, None]
        return np.asarray(np.where(within, self.month_end_cash, np.inf).min(axis=1))

    @cached_property
    def tightest_station(self) -> IntArray:
        """Place of the station with the highest monthly load, shape (n,)."""
        return np.asarray(self.load.argmax(axis=1))


def _yearly(monthly: RateOfReturn) -> RateOfReturn:
    """Return monthly rates as effective yearly ones; no rate stays none."""
    rate = np.where(np.isnan(monthly.rate), np.nan, annual_rate(np.nan_to_num(monthly.rate)))
    return RateOfReturn(rate, monthly.reason, monthly.borrowing)


def _by_year(flow: FloatArray) -> FloatArray:
    """Return monthly flows as if all of a year's money moved at its end, (n, years + 1)."""
    years = -(-(flow.shape[1] - 1) // 12)
    padded = np.zeros((flow.shape[0], years * 12))
    padded[:, : flow.shape[1] - 1] = flow[:, 1:]
    yearly = padded.reshape(flow.shape[0], years, 12).sum(axis=2)
    return np.concatenate([flow[:, :1], yearly], axis=1)


def of_scenario(table: npt.NDArray[Any], scenario: int) -> npt.NDArray[Any]:
    """Return one scenario's part of an array over one or all of them."""
    part: npt.NDArray[Any] = table[min(scenario, table.shape[0] - 1)]
    return part


def monthly_loads(output: Output) -> FloatArray:
    """Return time asked for over time there is, shape (n, k, m); 0 where a station is absent."""
    there = output.available > 0
    loads = by_row(*np.broadcast_shapes(output.asked.shape, there.shape))
    return np.divide(output.asked, output.available, out=loads, where=there)


def _peaks(output: Output, size: int) -> Peaks:
    loads = monthly_loads(output)
    highest = over_scenarios(loads.max(axis=2), size)
    return Peaks(highest, over_scenarios(loads.argmax(axis=2) + 1, size))


def joined(blocks: Sequence[Outcome]) -> Outcome:
    """Return the outcomes of one alternative end to end along the scenario axis.

    Parameters
    ----------
    blocks : sequence of Outcome
        Of the same alternative and the same months.

    Returns
    -------
    Outcome
        The block itself where there is one; else without details.
    """
    if len(blocks) == 1:
        return blocks[0]
    joint: dict[str, Any] = {
        name: np.concatenate([getattr(block, name) for block in blocks]) for name in _ARRAYS
    }
    peaks = Peaks(*(np.concatenate(each) for each in zip(*(b._loads for b in blocks), strict=True)))
    return replace(blocks[0], details=None, peaks=peaks, **joint)


_ARRAYS = (
    "net_cash_flow",
    "equity_cash_flow",
    "discount_factors",
    "discount_rate",
    "horizon",
    "opening_cash",
)
