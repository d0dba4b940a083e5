"""The headline figures of an alternative, and how each is read off the ledger.

A figure of money is the sum of ledger lines, each month with a weight: discount factors for a net
present value, ones up to a month for cash in the bank. A lender's ratio is such a sum over a
divisor. Figures of time and space have no lines.

Imports numpy, `capex.finance`, `capex.shopfloor` and, of this folder, `cover` and `outcome`.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
import numpy.typing as npt

from capex.decision.cover import lender_view_of
from capex.decision.outcome import Outcome
from capex.errors import InputError
from capex.finance.discounting import annuity_factor
from capex.finance.lender import LenderView
from capex.finance.rates import monthly_rate
from capex.shopfloor.lead_time import lead_times

__all__ = ["FIGURES", "Divisor", "Figure", "figure"]

FloatArray = npt.NDArray[np.float64]
Kind = Literal["money", "years", "rate", "ratio", "share", "days", "area"]
#: Weight of every month of every scenario, shape (n, m + 1).
Weights = Callable[[Outcome], FloatArray]


@dataclass(frozen=True)
class Divisor:
    """How a lender's ratio is made of ledger lines.

    Parameters
    ----------
    above_words, words : str
        What the lines add up to, and what that is divided by.
    amount : callable
        What the sum of the lines is divided by, shape (n,) [currency].
    above : callable
        What a line alone, as a lender reads it, adds to the sum, by month, shape (n, m + 1).
    below : callable, optional
        What it adds to the divisor; without it no ledger line does.
    """

    above_words: str
    words: str
    amount: Callable[[Outcome], FloatArray]
    above: Callable[[LenderView], FloatArray]
    below: Callable[[LenderView], FloatArray] | None = None


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
    divisor : Divisor, optional
        Of a ratio; its lines are what a lender counts, whatever `financing` says.
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
    divisor: Divisor | None = None


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


def _least_cover(outcome: Outcome) -> FloatArray:
    return lender_view_of(outcome).lowest_year.ratio


def _year_of_least_cover(outcome: Outcome) -> FloatArray:
    """Return ones in the months of that year, month 0 in the first; zeros where there is none."""
    least = lender_view_of(outcome).lowest_year
    months = np.arange(outcome.net_cash_flow.shape[1])
    year = np.maximum((months - 1) // 12 + 1, 1)
    return np.asarray(
        ((year == least.when[:, None]) & np.isfinite(least.ratio)[:, None]).astype(np.float64)
    )


def _debt_service(outcome: Outcome) -> FloatArray:
    view = lender_view_of(outcome)
    years = np.maximum(view.lowest_year.when - 1, 0)
    return np.asarray(view.debt_service_by_year[np.arange(years.size), years])


def _highest_loan_to_value(outcome: Outcome) -> FloatArray:
    return lender_view_of(outcome).highest_loan_to_value.ratio


def _month_of_highest_loan_to_value(outcome: Outcome) -> FloatArray:
    highest = lender_view_of(outcome).highest_loan_to_value
    months = np.arange(outcome.net_cash_flow.shape[1])
    there = np.isfinite(highest.ratio)[:, None]
    return np.asarray(((months == highest.when[:, None]) & there).astype(np.float64))


def _machines(outcome: Outcome) -> FloatArray:
    view = lender_view_of(outcome)
    months = view.highest_loan_to_value.when
    return np.asarray(view.machines[np.arange(months.size), months])


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
        "least_cover", "Least cover of a year",
        "Operating cash after tax and the owner's draws over debt service, in the project year in "
        "which that is lowest; none where nothing is due.",
        "ratio", _least_cover, _year_of_least_cover, incremental=False,
        divisor=Divisor(
            "of operating cash in that year", "of debt service", _debt_service,
            lambda view: view.cash_available, lambda view: view.debt_service,
        ),
    ),
    Figure(
        "highest_loan_to_value", "Highest loan to value",
        "Owed on loans over what the machines bought would fetch, at the month's end at which "
        "that is highest; none where nothing is owed or no such machine is there.",
        "share", _highest_loan_to_value, _month_of_highest_loan_to_value, incremental=False,
        divisor=Divisor(
            "owed at that month's end", "that the machines would fetch, which is no ledger line",
            _machines, lambda view: view.owed,
        ),
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
