"""Rates of return of periodic flows: one rate with its reason, all rates, and the modified one.

A rate of return is a root of a polynomial, so there may be none or several. The unknown is the
discount factor v = 1/(1 + r) for rates above 0, and the growth factor u = 1 + r on the flows in
reverse for rates below: both lie between 0 and 1.

Flows that change sign once, alone or in their cumulative sum, have one rate that matters
(Descartes' rule; Norstrom's criterion); almost all flows end here. Of the others every root is
isolated, so the count is certain and not a matter of where a search began.

Imports numpy, `capex.finance.arrays` and `capex.finance.roots`.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import IntEnum

import numpy as np
from numpy.typing import ArrayLike, NDArray

from capex.errors import InputError
from capex.finance.arrays import FloatArray, parse_cash_flow, parse_rate
from capex.finance.roots import first_sign, row_total, sign_sides, single_root, unit_roots

__all__ = [
    "RateOfReturn",
    "RateReason",
    "crossover_rate",
    "internal_rate_of_return",
    "modified_internal_rate_of_return",
    "rates_of_return",
    "terminal_value",
]

IntArray = NDArray[np.intp]
BoolArray = NDArray[np.bool_]

_RESIDUE = 1e-12  # share of the largest amount below which an amount is rounding


class RateReason(IntEnum):
    """Why there is, or is not, one rate of return."""

    FOUND = 0
    NO_FLOW = 1
    NO_SIGN_CHANGE = 2
    NO_ROOT = 3
    SEVERAL_ROOTS = 4

    @property
    def words(self) -> str:
        """The reason as a sentence for the screen."""
        return _WORDS[self]


_WORDS = {
    RateReason.FOUND: "one rate makes the net present value zero",
    RateReason.NO_FLOW: "no money moves, so there is no rate of return",
    RateReason.NO_SIGN_CHANGE: "money moves in one direction only, so there is no rate of return",
    RateReason.NO_ROOT: "no rate above -100 % makes the net present value zero",
    RateReason.SEVERAL_ROOTS: "several rates make the net present value zero: "
    "go by the net present value",
}


@dataclass(frozen=True)
class RateOfReturn:
    """Rate per period of each flow, with the reason.

    Attributes
    ----------
    rate : ndarray, (...) [1/period]
        A fraction; NaN exactly where `reason` is not ``FOUND``.
    reason : ndarray of int, (...)
        Values of `RateReason`.
    borrowing : ndarray of bool, (...)
        True where money comes in first: the rate is then the cost of that money, and lower is
        better.
    """

    rate: FloatArray
    reason: IntArray
    borrowing: BoolArray


def internal_rate_of_return(cash_flow: ArrayLike) -> RateOfReturn:
    """Rate per period at which the net present value is zero, with a named reason.

    ``FOUND`` means that the rate tells how the flow compares with any discount rate of 0 or more:
    exactly one root at or above 0 (a double root counts twice) or, with none there, the highest
    root below 0. Further roots below 0 are set aside, since no one discounts at them;
    `rates_of_return` lists them. Payments after which nothing comes back are a total loss, −100 %.
    Amounts below 1e-12 of the flow's largest are the rounding of a difference and count as 0.

    Parameters
    ----------
    cash_flow : array_like, (..., T+1) [currency]
        Flows of equal periods from period 0; outflows negative.

    Returns
    -------
    RateOfReturn
        Arrays of shape (...).

    Raises
    ------
    InputError
        Where a flow is not finite or there are fewer than two periods.

    Examples
    --------
    >>> sam = internal_rate_of_return([-16000, 2000, 4000, 5000, 5000, 5000, 5000])
    >>> float(sam.rate.round(6))
    0.140855
    >>> two = internal_rate_of_return([-350, 950, -620])
    >>> RateReason(int(two.reason)).words
    'several rates make the net present value zero: go by the net present value'

    Source: openstax-finance, section 16.5; norstrom (one cumulative sign change).
    """
    flows = _without_residue(parse_cash_flow("cash_flow", cash_flow))
    rows = flows.reshape(-1, flows.shape[-1])
    inward, outward = (rows > 0.0).any(axis=1), (rows < 0.0).any(axis=1)
    reason = np.full(len(rows), RateReason.NO_SIGN_CHANGE, dtype=np.intp)
    reason[~(inward | outward)] = RateReason.NO_FLOW
    rate = np.full(len(rows), np.nan)
    lost = outward & ~inward & (rows[:, -1] == 0.0)
    rate[lost], reason[lost] = -1.0, RateReason.FOUND
    first = first_sign(rows)
    mixed = np.flatnonzero(inward & outward)
    rate[mixed], reason[mixed] = _mixed_rates(rows[mixed], first[mixed])
    shape = flows.shape[:-1]
    return RateOfReturn(rate.reshape(shape), reason.reshape(shape), (first > 0.0).reshape(shape))


def rates_of_return(cash_flow: ArrayLike) -> FloatArray:
    """Every rate per period at which the net present value of one flow is zero.

    Parameters
    ----------
    cash_flow : array_like, (T+1,) [currency]
        One flow of equal periods from period 0; outflows negative.

    Returns
    -------
    ndarray, (number of rates,) [1/period]
        All rates above −1, rising; −1 alone for a total loss; empty where there is none. Two
        rates nearer than about 1e-6 are given as one.

    Raises
    ------
    InputError
        Where the flow is not one finite row of two periods or more.

    Examples
    --------
    >>> rates_of_return([-350, 950, -620]).round(6)
    array([0.091797, 0.622488])

    Source: openstax-finance, section 16.3 (the flows); the roots are computed.
    """
    flows = _without_residue(parse_cash_flow("cash_flow", cash_flow))
    if flows.ndim != 1:
        raise InputError("cash_flow", flows.shape, "must be one flow, (T+1,)")
    if not ((flows > 0.0).any() and (flows < 0.0).any()):
        only = internal_rate_of_return(flows)
        found = only.reason == RateReason.FOUND
        listed: FloatArray = only.rate.reshape(-1)[found.reshape(-1)]
        return listed
    rows, total = flows[None], row_total(flows[None])
    _, above = unit_roots(rows, total, with_end=True)
    _, below = unit_roots(rows[:, ::-1], total, with_end=False)
    return np.sort(np.concatenate([below - 1.0, 1.0 / above - 1.0]))


def crossover_rate(cash_flow: ArrayLike, other: ArrayLike) -> RateOfReturn:
    """Rate at which two alternatives have the same net present value.

    It is the rate of return of the difference of their flows (the incremental rate of return).

    Parameters
    ----------
    cash_flow, other : array_like, (..., T+1) [currency]
        Flows of the two alternatives.

    Returns
    -------
    RateOfReturn
        Arrays of shape (...); `rates_of_return` of the difference lists several.

    Raises
    ------
    InputError
        Where a flow is not finite.

    Examples
    --------
    >>> both = crossover_rate([-100, 0, 150], [-100, 110, 20])
    >>> float(both.rate.round(4))
    0.1818

    Source: derivable.
    """
    return internal_rate_of_return(
        parse_cash_flow("cash_flow", cash_flow) - parse_cash_flow("other", other)
    )


def terminal_value(cash_flow: ArrayLike, reinvestment_rate: ArrayLike) -> FloatArray:
    """Worth of all inflows at the end of the last period.

    Parameters
    ----------
    cash_flow : array_like, (..., T+1) [currency]
    reinvestment_rate : array_like, (...) [1/period]

    Returns
    -------
    ndarray, (...) [currency]

    Raises
    ------
    InputError
        Where a flow is not finite or the rate is not above −1.

    Examples
    --------
    >>> flows = [-16000, 2000, 4000, 5000, 5000, 5000, 5000]
    >>> float(terminal_value(flows, 0.09).round(2))
    31589.22

    Source: openstax-finance, section 16.4.
    """
    flows = parse_cash_flow("cash_flow", cash_flow)
    rate = parse_rate("reinvestment_rate", reinvestment_rate)
    growth = np.exp(np.log1p(rate)[..., None] * np.arange(flows.shape[-1])[::-1])
    return np.asarray((np.maximum(flows, 0.0) * growth).sum(axis=-1))


def modified_internal_rate_of_return(
    cash_flow: ArrayLike, finance_rate: ArrayLike, reinvestment_rate: ArrayLike
) -> RateOfReturn:
    """Rate from the present value of the outflows to the terminal value of the inflows.

    Parameters
    ----------
    cash_flow : array_like, (..., T+1) [currency]
        Flows of equal periods from period 0; outflows negative.
    finance_rate, reinvestment_rate : array_like, (...) [1/period]
        What money costs, and what it earns until the end.

    Returns
    -------
    RateOfReturn
        Arrays of shape (...); without outflow there is no rate, without inflow it is −100 %.

    Raises
    ------
    InputError
        Where a flow is not finite or a rate is not above −1.

    Examples
    --------
    >>> mirr = modified_internal_rate_of_return([-100, 50, -60, 70], 0.10, 0.12)
    >>> float(mirr.rate.round(7))
    -0.0390937

    Source: openstax-finance, section 16.4; numpy-financial, mirr, Examples.
    """
    flows = parse_cash_flow("cash_flow", cash_flow)
    cost = parse_rate("finance_rate", finance_rate)
    periods = np.arange(flows.shape[-1])
    factors = np.exp(-np.log1p(cost)[..., None] * periods)
    spent = -(np.minimum(flows, 0.0) * factors).sum(axis=-1)
    ended, spent = np.broadcast_arrays(terminal_value(flows, reinvestment_rate), spent)
    grown = np.divide(ended, spent, out=np.full(spent.shape, np.nan), where=spent > 0.0)
    no_rate = np.where(ended > 0.0, RateReason.NO_SIGN_CHANGE, RateReason.NO_FLOW)
    reason = np.where(spent > 0.0, RateReason.FOUND, no_rate).astype(np.intp)
    first = first_sign(flows.reshape(-1, flows.shape[-1])).reshape(flows.shape[:-1])
    borrowing = np.broadcast_to(first > 0.0, spent.shape)
    return RateOfReturn(np.asarray(grown ** (1.0 / periods[-1]) - 1.0), reason, borrowing)


def _without_residue(flows: FloatArray) -> FloatArray:
    """Flows with the rounding that a difference of two flows leaves set to exactly 0."""
    size = np.abs(flows)
    return np.where(size < _RESIDUE * size.max(axis=-1, keepdims=True), 0.0, flows)


def _mixed_rates(rows: FloatArray, first: FloatArray) -> tuple[FloatArray, IntArray]:
    """Rate and reason of flows with money both ways; ``first`` is the sign that comes first."""
    total = row_total(rows)
    rate = np.zeros(len(rows))
    reason = np.full(len(rows), RateReason.FOUND, dtype=np.intp)
    _, once = sign_sides(rows)
    others = np.flatnonzero(~once)
    _, cumulated_once = sign_sides(rows[others].cumsum(axis=1))
    once[others] = cumulated_once & (total[others] != 0.0)

    above = np.flatnonzero(once & (total * first < 0.0))
    rate[above] = 1.0 / single_root(rows[above], first[above]) - 1.0
    below = np.flatnonzero(once & (total * first > 0.0))
    rate[below] = single_root(rows[below][:, ::-1], -first[below]) - 1.0

    others = np.flatnonzero(~once)
    rate[others], reason[others] = _isolated_rates(rows[others], total[others])
    return rate, reason


def _isolated_rates(rows: FloatArray, total: FloatArray) -> tuple[FloatArray, IntArray]:
    """Rate and reason by counting roots: those at or above 0; only with none, those below."""
    rate = np.full(len(rows), np.nan)
    reason = np.full(len(rows), RateReason.NO_ROOT, dtype=np.intp)
    owner, factor = unit_roots(rows, total, with_end=True)
    count = np.bincount(owner, minlength=len(rows))
    # A root where the present value touches zero without crossing counts twice.
    crossing = (count == 1) & (total * first_sign(rows) <= 0.0)
    alone = crossing[owner]
    rate[owner[alone]] = 1.0 / factor[alone] - 1.0
    reason[count > 0] = RateReason.SEVERAL_ROOTS
    reason[crossing] = RateReason.FOUND

    rest = np.flatnonzero(count == 0)
    owner, growth = unit_roots(rows[rest][:, ::-1], total[rest], with_end=False)
    highest = np.append(np.diff(owner) > 0, np.ones(min(len(owner), 1), dtype=np.bool_))
    owner = rest[owner[highest]]
    rate[owner], reason[owner] = growth[highest] - 1.0, RateReason.FOUND
    return rate, reason
