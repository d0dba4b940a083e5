"""The headline figures of an alternative, and how each is read off the ledger.

A figure of money is the sum of ledger lines, each month with a weight: discount factors for a net
present value, ones up to a month for cash in the bank. Figures of time and space have no lines.

Imports numpy, `capex.decision.outcome`, `capex.finance` and `capex.shopfloor`.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
import numpy.typing as npt

from capex.decision.outcome import Outcome
from capex.errors import InputError
from capex.finance.discounting import annuity_factor
from capex.finance.rates import monthly_rate
from capex.shopfloor.lead_time import lead_times

__all__ = ["FIGURES", "Figure", "figure"]

FloatArray = npt.NDArray[np.float64]
Kind = Literal["money", "years", "rate", "share", "days", "area"]
#: Weight of every month of every scenario, shape (n, m + 1).
Weights = Callable[[Outcome], FloatArray]


@dataclass(frozen=True)
class Figure:
    """One headline figure.

    Parameters
    ----------
    key, title : str
    definition : str
        What it is, as a sentence.
    kind : str
        Of its value; years, shares and rates are plain numbers.
    value : callable
        Of an outcome, shape (n,); NaN where there is none.
    weights : callable, optional
        What each month of a ledger line counts for; without it the figure has no lines.
    incremental : bool
        Whether the lines are the alternative's less the baseline's.
    financing : bool
        Whether lines of financing count.
    opening : bool
        Whether the money in the bank on the day of decision is added to the lines.
    adds_up : bool
        Whether the lines add up to the value; else they add up to zero, about, at it.
    """

    key: str
    title: str
    definition: str
    kind: Kind
    value: Callable[[Outcome], FloatArray]
    weights: Weights | None = None
    incremental: bool = True
    financing: bool = False
    opening: bool = False
    adds_up: bool = True


def _up_to(outcome: Outcome, month: FloatArray) -> FloatArray:
    """Return ones up to a month of each scenario, the horizon at the latest, then zeros."""
    months = np.arange(outcome.net_cash_flow.shape[1])
    last = np.minimum(np.where(np.isfinite(month), month, np.inf), outcome.horizon)
    return (months <= last[:, None]).astype(np.float64)


def _factors(outcome: Outcome) -> FloatArray:
    return outcome.discount_factors


def _level(outcome: Outcome) -> FloatArray:
    years = outcome.horizon / 12.0
    return outcome.discount_factors / annuity_factor(outcome.discount_rate, years)[:, None]


def _paid_back(outcome: Outcome) -> FloatArray:
    return _up_to(outcome, np.ceil(outcome.payback_period * 12.0 - 1e-9))


def _paid_back_discounted(outcome: Outcome) -> FloatArray:
    month = np.ceil(outcome.discounted_payback_period * 12.0 - 1e-9)
    return _up_to(outcome, month) * outcome.discount_factors


def _at_its_own_rate(outcome: Outcome) -> FloatArray:
    """Return discount factors at the rate of return, at the study's rate where there is none."""
    rate = outcome.internal_rate_of_return.rate
    rate = np.where(np.isnan(rate) | (rate <= -1.0), outcome.discount_rate, rate)
    months = np.arange(outcome.net_cash_flow.shape[1])
    if outcome.convention == "year_end":
        months = 12 * -(-months // 12)
    return np.asarray((1.0 + monthly_rate(rate))[:, None] ** -months.astype(np.float64))


def _lowest_cash(outcome: Outcome) -> FloatArray:
    months = np.arange(outcome.month_end_cash.shape[1])
    within = months <= outcome.horizon[:, None]
    month = np.where(within, outcome.month_end_cash, np.inf).argmin(axis=1)
    return _up_to(outcome, month.astype(np.float64))


def _lead_time(outcome: Outcome) -> FloatArray:
    path = outcome.path
    choice = path.study.alternatives[outcome.key]
    worst = lead_times(path.study, path.mix, choice, path.routes, path.output).worst
    return np.broadcast_to(worst, (outcome.horizon.size,)).copy()


def _floor(outcome: Outcome) -> FloatArray:
    area = outcome.path.area.max(axis=1)
    return np.broadcast_to(area, (outcome.horizon.size,)).copy()


_ALL: Final = (
    Figure(
        "gain", "Net present value, gain over the baseline",
        "Cash of the choice less that of the baseline, each month discounted, without financing.",
        "money", lambda outcome: outcome.gain, _factors,
    ),
    Figure(
        "net_present_value", "Net present value of the choice's own cash",
        "All cash of the choice, each month discounted, without financing.",
        "money", lambda outcome: outcome.net_present_value, _factors, incremental=False,
    ),
    Figure(
        "equivalent_annual_value", "Gain as a level amount a year",
        "The gain spread over the horizon as equal amounts at each year's end.",
        "money", lambda outcome: outcome.equivalent_annual_value, _level,
    ),
    Figure(
        "internal_rate_of_return", "Internal rate of return",
        "The yearly rate at which the cash over the baseline is worth nothing; the lines are "
        "discounted at it.",
        "rate", lambda outcome: outcome.internal_rate_of_return.rate, _at_its_own_rate,
        adds_up=False,
    ),
    Figure(
        "payback_period", "Payback, simple",
        "The time after which the cash over the baseline is never behind again; the lines are "
        "added up to the end of that month.",
        "years", lambda outcome: outcome.payback_period, _paid_back, adds_up=False,
    ),
    Figure(
        "discounted_payback_period", "Payback, discounted",
        "The same with each month discounted.",
        "years", lambda outcome: outcome.discounted_payback_period, _paid_back_discounted,
        adds_up=False,
    ),
    Figure(
        "lowest_cash", "Least cash at a month's end",
        "Money in the bank on the day of decision and all cash up to the lowest month, loan or "
        "lease included.",
        "money", lambda outcome: outcome.worst_month_end_cash, _lowest_cash,
        incremental=False, financing=True, opening=True,
    ),
    Figure(
        "fullest_load", "Load of the fullest station",
        "Hours asked of the station in its fullest month over the hours that it has.",
        "share", lambda outcome: outcome.load.max(axis=1),
    ),
    Figure(
        "lead_time", "Lead time in the slowest month",
        "Mean of the month's orders from arrival to the end of work, by queueing formulas.",
        "days", _lead_time,
    ),
    Figure(
        "floor_space", "Floor space",
        "Union of the machines with their clearances, at its largest.",
        "area", _floor,
    ),
)  # fmt: skip

#: Every headline figure by its key.
FIGURES: Final[Mapping[str, Figure]] = {each.key: each for each in _ALL}


def figure(key: str) -> Figure:
    """Return a headline figure.

    Raises
    ------
    InputError
        Unknown key, with those that are known.

    Examples
    --------
    >>> figure("gain").kind
    'money'
    """
    if key not in FIGURES:
        raise InputError("figure", key, f"is not a headline figure; known: {', '.join(FIGURES)}")
    return FIGURES[key]
