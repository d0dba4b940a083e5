"""What each month of a headline figure counts for, and the parts of a ledger line that it takes.

Imports numpy, `capex.finance` and, of this folder, `cover`, `outcome` and
`ownership`.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import numpy.typing as npt

from capex.decision.cover import lender_view_of
from capex.decision.outcome import CAPITAL, Outcome
from capex.decision.ownership import is_of_owning
from capex.finance.discounting import annuity_factor
from capex.finance.financing import LINES
from capex.finance.lender import LenderView
from capex.finance.rates import monthly_rate

__all__ = [
    "Reading",
    "Weights",
    "at_its_own_rate",
    "at_rate_of_financing",
    "beside_capital",
    "borrowing",
    "capital_spent",
    "cash",
    "factors",
    "investment",
    "level",
    "lowest_cash",
    "month_of_highest_loan_to_value",
    "of_lender",
    "owning",
    "paid_back",
    "paid_back_discounted",
    "put_in",
    "taken_to_the_end",
    "within_the_horizon",
    "year_of_least_cover",
]

FloatArray = npt.NDArray[np.float64]
#: Weight of every month of every scenario, shape (n, m + 1).
Weights = Callable[[Outcome], FloatArray]
#: What an outcome whose ledger holds one line alone adds to a figure, by month, (n, m + 1).
Reading = Callable[[Outcome], FloatArray]


def _up_to(outcome: Outcome, month: FloatArray) -> FloatArray:
    """Return ones up to a month of each scenario, the horizon at the latest, then zeros."""
    months = np.arange(outcome.net_cash_flow.shape[1])
    last = np.minimum(np.where(np.isfinite(month), month, np.inf), outcome.horizon)
    return (months <= last[:, None]).astype(np.float64)


def within_the_horizon(outcome: Outcome) -> FloatArray:
    """Return ones up to the horizon."""
    return _up_to(outcome, outcome.horizon.astype(np.float64))


def factors(outcome: Outcome) -> FloatArray:
    """Return discount factors."""
    return outcome.discount_factors


def level(outcome: Outcome) -> FloatArray:
    """Return what makes a present value a level amount a year."""
    years = outcome.horizon / 12.0
    return outcome.discount_factors / annuity_factor(outcome.discount_rate, years)[:, None]


def paid_back(outcome: Outcome) -> FloatArray:
    """Return ones up to the month of payback."""
    return _up_to(outcome, np.ceil(outcome.payback_period * 12.0 - 1e-9))


def paid_back_discounted(outcome: Outcome) -> FloatArray:
    """Return discount factors up to the month of discounted payback."""
    month = np.ceil(outcome.discounted_payback_period * 12.0 - 1e-9)
    return _up_to(outcome, month) * outcome.discount_factors


def at_its_own_rate(outcome: Outcome) -> FloatArray:
    """Return discount factors at the rate of return, at the study's rate where there is none."""
    rate = outcome.internal_rate_of_return.rate
    rate = np.where(np.isnan(rate) | (rate <= -1.0), outcome.discount_rate, rate)
    return np.asarray((1.0 + monthly_rate(rate))[:, None] ** -_counted_at(outcome))


def lowest_cash(outcome: Outcome) -> FloatArray:
    """Return ones up to the month with the least cash at its end."""
    months = np.arange(outcome.month_end_cash.shape[1])
    within = months <= outcome.horizon[:, None]
    month = np.where(within, outcome.month_end_cash, np.inf).argmin(axis=1)
    return _up_to(outcome, month.astype(np.float64))


def year_of_least_cover(outcome: Outcome) -> FloatArray:
    """Return ones in the months of that year, month 0 in the first; zeros where there is none."""
    least = lender_view_of(outcome).lowest_year
    months = np.arange(outcome.net_cash_flow.shape[1])
    year = np.maximum((months - 1) // 12 + 1, 1)
    return np.asarray(
        ((year == least.when[:, None]) & np.isfinite(least.ratio)[:, None]).astype(np.float64)
    )


def month_of_highest_loan_to_value(outcome: Outcome) -> FloatArray:
    """Return one in that month; zeros where there is none."""
    highest = lender_view_of(outcome).highest_loan_to_value
    months = np.arange(outcome.net_cash_flow.shape[1])
    there = np.isfinite(highest.ratio)[:, None]
    return np.asarray(((months == highest.when[:, None]) & there).astype(np.float64))


def _counted_at(outcome: Outcome) -> FloatArray:
    """Return the month at which the money of each month counts, shape (m + 1,)."""
    months = np.arange(outcome.net_cash_flow.shape[1])
    if outcome.convention == "year_end":
        months = 12 * -(-months // 12)
    return months.astype(np.float64)


def at_rate_of_financing(outcome: Outcome) -> FloatArray:
    """Return discount factors at the rate of the financing; none of any where there is no rate."""
    rate = np.nan_to_num(outcome.annual_percentage_rate.rate)
    months = np.arange(outcome.net_cash_flow.shape[1])
    return np.asarray((1.0 + rate / 12.0)[:, None] ** -months.astype(np.float64))


def _comes_back(outcome: Outcome) -> npt.NDArray[np.bool_]:
    """Return in which months the modified rate takes the cash over the baseline as income."""
    flow = outcome.incremental_cash_flow
    if outcome.convention == "year_end":
        at = _counted_at(outcome)
        flow = flow @ (at[:, None] == at)  # all that counts when a month does
    return np.asarray(flow > 0.0)


def taken_to_the_end(outcome: Outcome) -> FloatArray:
    """Return what money that comes back has grown to at the horizon."""
    end = outcome.horizon[:, None] - _counted_at(outcome)
    grown = (1.0 + monthly_rate(outcome.discount_rate))[:, None] ** end
    return np.where(_comes_back(outcome), grown, 0.0)


def put_in(outcome: Outcome) -> FloatArray:
    """Return discount factors of the months in which money is put in, as positive amounts."""
    return np.where(_comes_back(outcome), 0.0, -outcome.discount_factors)


# What of a line counts


def cash(one: Outcome) -> FloatArray:
    """Return all of it."""
    return one.path.ledger.table[:, 0]


def _where(one: Outcome, counts: bool) -> FloatArray:
    flow = one.path.ledger.table[:, 0]
    return flow if counts else np.zeros_like(flow)


def investment(one: Outcome) -> FloatArray:
    """Return it unless it is financing."""
    return _where(one, one.path.ledger.lines[0].group != "financing")


def capital_spent(one: Outcome) -> FloatArray:
    """Return it, spent as a positive amount, where it is capital."""
    return -_where(one, one.path.ledger.lines[0].key in CAPITAL)


def beside_capital(one: Outcome) -> FloatArray:
    """Return it where it is neither capital nor financing."""
    return investment(one) + capital_spent(one)


def owning(one: Outcome) -> FloatArray:
    """Return it where it is a cost of owning and running."""
    return _where(one, is_of_owning(one.path.ledger.lines[0]))


def borrowing(one: Outcome) -> FloatArray:
    """Return it where it is of a loan or a lease, before tax."""
    key = one.path.ledger.lines[0].key
    return _where(one, key in LINES and not key.endswith("_tax"))


def of_lender(part: Callable[[LenderView], FloatArray]) -> Reading:
    """Return what of a line a lender counts."""
    return lambda one: part(lender_view_of(one))
