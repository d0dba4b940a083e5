"""Loans of level payments: the amortization table by month, and the rate behind a quote.

Payments fall at the end of each month (arrears) or at its beginning (advance). A loan may have
months of interest only at its start and a balloon at its end, and it may cost a fee. Amounts in a
table are positive; `Amortization.cash_flow` is the same loan as flows of the borrower, outflows
negative. Interest belongs to financing and never enters an investment's net present value.

Imports numpy and the arrays, discounting, rates and rate-of-return files of this folder.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from capex.errors import InputError
from capex.finance.arrays import FloatArray, parse_finite, parse_positive, parse_rate
from capex.finance.discounting import annuity_factor
from capex.finance.rate_of_return import RateOfReturn, internal_rate_of_return
from capex.finance.rates import effective_annual_rate

__all__ = [
    "Amortization",
    "Timing",
    "amortization",
    "annual_percentage_rate",
    "effective_annual_rate",
    "flat_rate_apr",
    "level_payment",
]

IntArray = NDArray[np.intp]
Timing = Literal["arrears", "advance"]


@dataclass(frozen=True)
class Amortization:
    """A loan by month, month 0 being the day it is drawn; amounts are positive.

    Attributes
    ----------
    amount : ndarray, (...) [currency]
        What is borrowed in month 0.
    interest, principal : ndarray, (..., months + 1) [currency]
        The two parts of each month's payment.
    balance : ndarray, (..., months + 1) [currency]
        Still owed after that month's payment; what remains at the horizon if the term is longer.
    fee : ndarray, (...) [currency]
        Paid in month 0, beside the payments.
    """

    amount: FloatArray
    interest: FloatArray
    principal: FloatArray
    balance: FloatArray
    fee: FloatArray

    @property
    def payment(self) -> FloatArray:
        """Interest plus principal, (..., months + 1) [currency]."""
        return self.interest + self.principal

    @property
    def cash_flow(self) -> FloatArray:
        """Flows of the borrower, (..., months + 1) [currency]: drawn in; fee and payments out."""
        flow = -self.payment
        flow[..., 0] += self.amount - self.fee
        return flow


def _term(term: ArrayLike) -> FloatArray:
    months = parse_positive("term", term, "months")
    if np.any(months != np.round(months)):
        raise InputError("term", term, "must be a whole number of months")
    return months


def _whole(field: str, values: ArrayLike) -> FloatArray:
    months = parse_finite(field, values)
    if np.any(months < 0.0) or np.any(months != np.round(months)):
        raise InputError(field, values, "must be a whole number of months, 0 or more")
    return months


def level_payment(
    amount: ArrayLike,
    annual_rate: ArrayLike,
    term: ArrayLike,
    timing: Timing = "arrears",
    *,
    balloon: ArrayLike = 0.0,
    interest_only: ArrayLike = 0,
) -> FloatArray:
    """Level monthly payment that repays a loan over its term, down to a balloon.

    Parameters
    ----------
    amount : array_like, (...) [currency]
        What is borrowed.
    annual_rate : array_like, (...) [1/year]
        Nominal annual rate as a fraction, compounded monthly.
    term : array_like, (...) [month]
        Number of payments, whole.
    timing : {"arrears", "advance"}
        Whether the first payment falls one month after the money is drawn, or with it.
    balloon : array_like, (...) [currency]
        Paid beside the payments in month ``term``, when the last month has passed.
    interest_only : array_like, (...) [month]
        Of the payments, how many first ones are interest alone; in arrears only.

    Returns
    -------
    ndarray, (...) [currency/month]
        Of a payment that repays.

    Raises
    ------
    InputError
        Where a term is not a whole number of months above 0, a rate is too low, the balloon is
        not between 0 and the amount, or no month is left to repay in.

    Examples
    --------
    >>> float(level_payment(32000, 0.06, 36).round(3))
    973.502
    >>> float(level_payment(50000, 0.14, 120, balloon=30000).round(2))
    660.53

    Source: openstax-finance, section 8.3; oracle-pmt (balloon).
    """
    monthly = parse_rate("annual_rate / 12", parse_finite("annual_rate", annual_rate) / 12.0)
    payments = _term(term)
    owed, last = parse_finite("amount", amount), parse_finite("balloon", balloon)
    if np.any(last < 0.0) or np.any(last > owed):
        raise InputError("balloon", balloon, "must be 0 or more and at most the amount borrowed")
    waiting = _whole("interest_only", interest_only)
    if np.any(waiting >= payments):
        raise InputError("interest_only", interest_only, "must be less than the term in months")
    repaying = payments - waiting
    if np.any(last > 0.0):
        owed = owed - last * np.exp(-np.log1p(monthly) * repaying)
    if timing == "arrears":
        return owed / annuity_factor(monthly, repaying)
    if timing != "advance":
        raise InputError("timing", timing, 'must be "arrears" or "advance"')
    if np.any(waiting > 0.0):
        raise InputError("interest_only", interest_only, "must be 0 where payments are in advance")
    return owed / (1.0 + annuity_factor(monthly, payments - 1.0))


def amortization(
    amount: ArrayLike,
    annual_rate: ArrayLike,
    term: ArrayLike,
    months: int,
    timing: Timing = "arrears",
    *,
    balloon: ArrayLike = 0.0,
    interest_only: ArrayLike = 0,
    fee: ArrayLike = 0.0,
) -> Amortization:
    """Amortization table of a loan drawn in month 0.

    Parameters
    ----------
    amount : array_like, (...) [currency]
        What is borrowed, zero or more.
    annual_rate : array_like, (...) [1/year]
        Nominal annual rate as a fraction, compounded monthly; 0 is allowed.
    term : array_like, (...) [month]
        Number of payments, whole.
    months : int [month]
        Horizon of the table.
    timing : {"arrears", "advance"}
        Whether the first payment falls in month 1 or in month 0.
    balloon : array_like, (...) [currency]
        Paid beside the payments in month ``term``.
    interest_only : array_like, (...) [month]
        How many first payments are interest alone; in arrears only.
    fee : array_like, (...) [currency]
        Paid in month 0.

    Returns
    -------
    Amortization
        Arrays of shape (..., months + 1).

    Raises
    ------
    InputError
        Where an amount or fee is negative, a term is not a whole number of months above 0, a rate
        is too low, the horizon is negative, or as `level_payment` says.

    Examples
    --------
    >>> loan = amortization(32000, 0.06, 36, months=36)
    >>> float(loan.interest[1].round(2)), float(loan.principal[1].round(2))
    (160.0, 813.5)
    >>> float(loan.balance[36])
    0.0
    >>> amortization(1200, 0.12, 4, months=4, balloon=300, interest_only=1).balance.round(2)
    array([1200.  , 1200.  ,  902.98,  602.99,    0.  ])

    Source: openstax-finance, section 8.3; balloon and interest-only months are derivable.
    """
    owed, last, cost = np.broadcast_arrays(
        parse_finite("amount", amount), parse_finite("balloon", balloon), parse_finite("fee", fee)
    )
    if np.any(owed < 0.0):
        raise InputError("amount", amount, "must be 0 or more")
    if months < 0:
        raise InputError("months", months, "must be 0 months or more")
    if np.any(cost < 0.0):
        raise InputError("fee", fee, "must be 0 or more")
    payment = level_payment(
        owed, annual_rate, term, timing, balloon=last, interest_only=interest_only
    )
    monthly = np.asarray(annual_rate, dtype=np.float64)[..., None] / 12.0
    waiting = np.asarray(interest_only, dtype=np.float64)[..., None]
    month = np.arange(months + 1)
    balance = _balance(payment, monthly, _term(term), month, timing, last)
    if np.any(waiting > 0.0):
        balance = np.where((waiting > 0.0) & (month <= waiting), owed[..., None], balance)
    drawn = np.broadcast_to(owed, payment.shape)
    before = np.concatenate([drawn[..., None], balance[..., :-1]], axis=-1)
    interest = before * monthly
    interest[..., 0] = 0.0
    return Amortization(
        drawn, interest, before - balance, balance, np.broadcast_to(cost, payment.shape)
    )


def _balance(
    payment: FloatArray, monthly: FloatArray, term: FloatArray, month: IntArray, timing: Timing,
    balloon: FloatArray,
) -> FloatArray:  # fmt: skip
    """Return what is owed after each month: the present worth of the payments still to come."""
    first = 1.0 if timing == "arrears" else 0.0
    payments = term[..., None]
    to_come = np.maximum(payments - np.maximum(month - first + 1.0, 0.0), 0.0)
    balance = payment[..., None] * annuity_factor(monthly, to_come)
    if np.any(balloon > 0.0):
        left = np.maximum(payments - month, 0.0)
        worth = balloon[..., None] * np.exp(-np.log1p(monthly) * left)
        balance = balance + worth * (month < payments)
    return np.asarray(balance)


def annual_percentage_rate(cash_flow: ArrayLike) -> RateOfReturn:
    """Nominal annual rate at which flows by month are worth nothing: twelve times the monthly one.

    Of all that an offer asks for, fees, balloon and payments in advance included. It is quoted
    like a loan's rate; `capex.finance.rates.effective_annual_rate` compounds it. (European and
    British law calls the effective rate by the same name; from memory.)

    Parameters
    ----------
    cash_flow : array_like, (..., months + 1) [currency]
        Flows of the borrower from month 0: money in first, payments out.

    Returns
    -------
    RateOfReturn
        Rate per year, a fraction, with the reason where there is none.

    Raises
    ------
    InputError
        Where a flow is not finite or there are fewer than two months.

    Examples
    --------
    >>> loan = amortization(32000, 0.06, 36, months=36, fee=320)
    >>> float(annual_percentage_rate(loan.cash_flow).rate.round(4))
    0.0668

    Source: derivable (rate of return of the loan's own flows, times 12).
    """
    found = internal_rate_of_return(cash_flow)
    return RateOfReturn(12.0 * found.rate, found.reason, found.borrowing)


def flat_rate_apr(flat_rate: ArrayLike, term: ArrayLike, timing: Timing = "arrears") -> FloatArray:
    """Nominal annual rate, compounded monthly, behind a quoted flat rate.

    A flat rate charges interest on the amount first borrowed for the whole term, however much
    has been repaid; payments are level, and there are no fees.

    Parameters
    ----------
    flat_rate : array_like, (...) [1/year]
        Fraction, zero or more.
    term : array_like, (...) [month]
        Number of payments, whole.
    timing : {"arrears", "advance"}
        Whether the first payment falls one month after the money is drawn, or with it.

    Returns
    -------
    ndarray, (...) [1/year]

    Raises
    ------
    InputError
        Where a flat rate is negative, payments in advance leave nothing lent, or a term is not
        a whole number of months above 0.

    Examples
    --------
    >>> float(flat_rate_apr(0.06, 36).round(4))
    0.1108

    Source: derivable (rate of return of the loan's own flows).
    """
    flat, payments = np.broadcast_arrays(parse_finite("flat_rate", flat_rate), _term(term))
    if np.any(flat < 0.0):
        raise InputError("flat_rate", flat_rate, "must be 0 or more")
    if timing not in ("arrears", "advance"):
        raise InputError("timing", timing, 'must be "arrears" or "advance"')
    payment = (1.0 + flat * payments / 12.0) / payments
    first = 1.0 if timing == "arrears" else 0.0
    if first == 0.0 and np.any(payment >= 1.0):
        raise InputError("term", term, "must be 2 months or more where payments are in advance")
    month = np.arange(payments.max() + 1.0)
    due = (month >= first) & (month < payments[..., None] + first)
    flows = np.where(due, -payment[..., None], 0.0)
    flows[..., 0] += 1.0
    return annual_percentage_rate(flows).rate
