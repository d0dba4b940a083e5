"""The headline figures of an alternative, and how each is read off the ledger.

A figure of money is the sum of ledger lines, each month with a weight: discount factors for a net
present value, ones up to a month for cash in the bank. A ratio is such a sum over a divisor, which
may be a sum of lines too. Figures of time and space have no lines. A figure that is sought, such as
a price at which two choices leave the same, is opened where it was found.

Imports numpy, `capex.shopfloor` and, of this folder, `cover`, `figure_weights`, `outcome`,
`ownership` and `solutions`.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
import numpy.typing as npt

from capex.decision import figure_weights as month
from capex.decision.cover import lender_view_of
from capex.decision.figure_weights import Reading, Weights
from capex.decision.outcome import Outcome
from capex.decision.ownership import ownership_cost
from capex.decision.solutions import Solver, volume_for_cover, walk_away_price
from capex.errors import InputError
from capex.shopfloor.lead_time import lead_times

__all__ = ["FIGURES", "Divisor", "Figure", "figure"]

FloatArray = npt.NDArray[np.float64]
Kind = Literal["money", "years", "rate", "ratio", "share", "days", "area"]


@dataclass(frozen=True)
class Divisor:
    """What the ledger lines of a ratio are divided by.

    Parameters
    ----------
    above_words, words : str
        What the lines add up to, and what that is divided by.
    amount : callable
        What the sum of the lines is divided by, shape (n,) [currency].
    read : callable, optional
        What a line alone adds to the divisor; without it no ledger line does.
    weights : callable, optional
        Of its months; those of the figure where they are left out.
    """

    above_words: str
    words: str
    amount: Callable[[Outcome], FloatArray]
    read: Reading | None = None
    weights: Weights | None = None


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
        Of an outcome, shape (n,); NaN where there is none. Of a figure that is sought: what is at
        its level there.
    weights : callable, optional
        What each month of a ledger line counts for; without it the figure has no lines.
    read : callable
        What of a line alone counts, by month.
    incremental : bool
        Whether the lines are the alternative's less the baseline's.
    opening : bool
        Whether the money in the bank on the day of decision is added to the lines.
    divisor : Divisor, optional
        Of a ratio.
    sought : callable, optional
        Finds the value of an input at which `value` reaches a level.
    """

    key: str
    title: str
    definition: str
    kind: Kind
    value: Callable[[Outcome], FloatArray]
    weights: Weights | None = None
    read: Reading = month.investment
    incremental: bool = True
    opening: bool = False
    divisor: Divisor | None = None
    sought: Solver | None = None


def _over_scenarios(values: FloatArray, outcome: Outcome) -> FloatArray:
    return np.broadcast_to(values, (outcome.horizon.size,)).copy()


def _least_cover(outcome: Outcome) -> FloatArray:
    return lender_view_of(outcome).lowest_year.ratio


def _debt_service(outcome: Outcome) -> FloatArray:
    view = lender_view_of(outcome)
    years = np.maximum(view.lowest_year.when - 1, 0)
    return np.asarray(view.debt_service_by_year[np.arange(years.size), years])


def _highest_loan_to_value(outcome: Outcome) -> FloatArray:
    return lender_view_of(outcome).highest_loan_to_value.ratio


def _machines(outcome: Outcome) -> FloatArray:
    view = lender_view_of(outcome)
    months = view.highest_loan_to_value.when
    return np.asarray(view.machines[np.arange(months.size), months])


def _lead_time(outcome: Outcome) -> FloatArray:
    path = outcome.path
    choice = path.study.alternatives[outcome.key]
    worst = lead_times(path.study, path.mix, choice, path.routes, path.output).worst
    return _over_scenarios(worst, outcome)


def _floor(outcome: Outcome) -> FloatArray:
    return _over_scenarios(outcome.path.area.max(axis=1), outcome)


def _capital(outcome: Outcome) -> FloatArray:
    return np.asarray(-(outcome.capital * outcome.discount_factors).sum(axis=1))


def _put_in(outcome: Outcome) -> FloatArray:
    return np.asarray((outcome.incremental_cash_flow * month.put_in(outcome)).sum(axis=1))


def _cost_of_owning(outcome: Outcome) -> FloatArray:
    return _over_scenarios(ownership_cost(outcome).nominal, outcome)


_COVER: Final = Divisor(
    "of operating cash in that year", "of debt service", _debt_service,
    month.of_lender(lambda view: view.debt_service),
)  # fmt: skip


_ALL: Final = (
    Figure(
        "gain", "Net present value, gain over the baseline",
        "Cash of the choice less that of the baseline, each month discounted, without financing.",
        "money", lambda outcome: outcome.gain, month.factors,
    ),
    Figure(
        "net_present_value", "Net present value of the choice's own cash",
        "All cash of the choice, each month discounted, without financing.",
        "money", lambda outcome: outcome.net_present_value, month.factors, incremental=False,
    ),
    Figure(
        "equivalent_annual_value", "Gain as a level amount a year",
        "The gain spread over the horizon as equal amounts at each year's end.",
        "money", lambda outcome: outcome.equivalent_annual_value, month.level,
    ),
    Figure(
        "internal_rate_of_return", "Internal rate of return",
        "The yearly rate at which the cash over the baseline is worth nothing; the lines are "
        "discounted at it.",
        "rate", lambda outcome: outcome.internal_rate_of_return.rate, month.at_its_own_rate,
    ),
    Figure(
        "payback_period", "Payback, simple",
        "The time after which the cash over the baseline is never behind again; the lines are "
        "added up to the end of that month. What machines fetch at the horizon and the working "
        "capital released then count as cash of that month.",
        "years", lambda outcome: outcome.payback_period, month.paid_back,
    ),
    Figure(
        "discounted_payback_period", "Payback, discounted",
        "The same with each month discounted.",
        "years", lambda outcome: outcome.discounted_payback_period, month.paid_back_discounted,
    ),
    Figure(
        "modified_rate_of_return", "Modified rate of return",
        "The yearly rate at which what is put in, in today's money, grows to what comes back, "
        "taken to the horizon at the discount rate.",
        "rate", lambda outcome: outcome.modified_internal_rate_of_return.rate,
        month.taken_to_the_end,
        divisor=Divisor(
            "at the horizon in the months in which more comes back than goes out",
            "put in, in the others, in today's money", _put_in, month.investment, month.put_in,
        ),
    ),
    Figure(
        "profitability_index", "Profitability index",
        "What comes back over the baseline, discounted, for each unit of capital spent beyond it; "
        "none where no more is spent.",
        "ratio", lambda outcome: outcome.profitability_index, month.factors,
        read=month.beside_capital,
        divisor=Divisor("in today's money", "of capital", _capital, month.capital_spent),
    ),
    Figure(
        "walk_away_price", "Walk-away price",
        "The highest price of one machine at which the choice is not behind the baseline and the "
        "best rival, whichever is lower; at that price the lines over the one that it is level "
        "with add up to nothing. A lender's limit stands apart.",
        "money", lambda outcome: outcome.gain, month.factors, sought=walk_away_price,
    ),
    Figure(
        "cost_of_owning", "Cost of owning and running",
        "All costs of machines, materials, people and room up to the horizon as if paid in cash, "
        "before tax and without bought-in work; outflows are negative.",
        "money", _cost_of_owning, month.within_the_horizon, read=month.owning, incremental=False,
    ),
    Figure(
        "annual_percentage_rate", "Yearly rate of its loans and leases",
        "Nominal rate, compounded monthly, at which all money of its loans and leases, fees and "
        "machines given back included, is worth nothing; before tax.",
        "rate", lambda outcome: outcome.annual_percentage_rate.rate, month.at_rate_of_financing,
        read=month.borrowing, incremental=False,
    ),
    Figure(
        "lowest_cash", "Least cash at a month's end",
        "Money in the bank on the day of decision and all cash up to the lowest month, loan or "
        "lease included.",
        "money", lambda outcome: outcome.worst_month_end_cash, month.lowest_cash,
        incremental=False, read=month.cash, opening=True,
    ),
    Figure(
        "least_cover", "Least cover of a year",
        "Operating cash after tax and the owner's draws over debt service, in the project year in "
        "which that is lowest; none where nothing is due.",
        "ratio", _least_cover, month.year_of_least_cover, incremental=False,
        read=month.of_lender(lambda view: view.cash_available), divisor=_COVER,
    ),
    Figure(
        "break_even_volume", "Volume at which cover is 1",
        "The lowest share of the orders of the study at which operating cash is at least the debt "
        "service in every year; the lines are those of the year with the least cover there.",
        "share", _least_cover, month.year_of_least_cover, incremental=False,
        read=month.of_lender(lambda view: view.cash_available), divisor=_COVER,
        sought=volume_for_cover,
    ),
    Figure(
        "highest_loan_to_value", "Highest loan to value",
        "Owed on loans over what the machines bought would fetch, at the month's end at which "
        "that is highest; none where nothing is owed or no such machine is there.",
        "share", _highest_loan_to_value, month.month_of_highest_loan_to_value, incremental=False,
        read=month.of_lender(lambda view: view.owed),
        divisor=Divisor(
            "owed at that month's end", "that the machines would fetch, which is no ledger line",
            _machines,
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
