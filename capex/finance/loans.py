"""Level-payment loans: the amortization table by month, and the rate behind a lender's quote.

Amounts in a table are positive; `Amortization.cash_flow` is the same loan as flows of the
borrower, outflows negative. Interest belongs to financing and never enters an investment's net
present value. Imports numpy and the arrays, discounting and rate-of-return files of this folder.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from capex.errors import InputError
from capex.finance.arrays import FloatArray, parse_finite, parse_positive, parse_rate
from capex.finance.discounting import annuity_factor
from capex.finance.rate_of_return import internal_rate_of_return
from capex.finance.rates import effective_annual_rate

__all__ = [
    "Amortization",
    "amortization",
    "effective_annual_rate",
    "flat_rate_apr",
    "level_payment",
]

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
    """

    amount: FloatArray
    interest: FloatArray
    principal: FloatArray
    balance: FloatArray

    @property
    def payment(self) -> FloatArray:
        """Interest plus principal, (..., months + 1) [currency]."""
        return self.interest + self.principal

    @property
    def cash_flow(self) -> FloatArray:
        """Flows of the borrower, (..., months + 1) [currency]: money drawn in, payments out."""
        flow = -self.payment
        flow[..., 0] += self.amount
        return flow


def _term(term: ArrayLike) -> FloatArray:
    months = parse_positive("term", term, "months")
    if np.any(months != np.round(months)):
        raise InputError("term", term, "must be a whole number of months")
    return months


def level_payment(
    amount: ArrayLike, annual_rate: ArrayLike, term: ArrayLike, timing: Timing = "arrears"
) -> FloatArray:
    """Level monthly payment that repays a loan over its term.

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

    Returns
    -------
    ndarray, (...) [currency/month]

    Raises
    ------
    InputError
        Where a term is not a whole number of months above 0, or a rate is too low.

    Examples
    --------
    >>> float(level_payment(32000, 0.06, 36).round(3))
    973.502

    Source: openstax-finance, section 8.3.
    """
    monthly = parse_rate("annual_rate / 12", parse_finite("annual_rate", annual_rate) / 12.0)
    payments = _term(term)
    owed = parse_finite("amount", amount)
    if timing == "arrears":
        return owed / annuity_factor(monthly, payments)
    if timing == "advance":
        return owed / (1.0 + annuity_factor(monthly, payments - 1.0))
    raise InputError("timing", timing, 'must be "arrears" or "advance"')


def amortization(
    amount: ArrayLike,
    annual_rate: ArrayLike,
    term: ArrayLike,
    months: int,
    timing: Timing = "arrears",
) -> Amortization:
    """Amortization table of a level-payment loan drawn in month 0.

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

    Returns
    -------
    Amortization
        Arrays of shape (..., months + 1).

    Raises
    ------
    InputError
        Where an amount is negative, a term is not a whole number of months above 0, a rate is
        too low or the horizon is negative.

    Examples
    --------
    >>> loan = amortization(32000, 0.06, 36, months=36)
    >>> float(loan.interest[1].round(2)), float(loan.principal[1].round(2))
    (160.0, 813.5)
    >>> float(loan.balance[36])
    0.0

    Source: openstax-finance, section 8.3.
    """
    owed = parse_finite("amount", amount)
    if np.any(owed < 0.0):
        raise InputError("amount", amount, "must be 0 or more")
    if months < 0:
        raise InputError("months", months, "must be 0 months or more")
    payment = level_payment(owed, annual_rate, term, timing)
    monthly = np.asarray(annual_rate, dtype=np.float64) / 12.0
    # What is owed is the present worth of the payments still to come.
    first = 1.0 if timing == "arrears" else 0.0
    made = np.maximum(np.arange(months + 1) - first + 1.0, 0.0)
    to_come = np.maximum(_term(term)[..., None] - made, 0.0)
    balance = payment[..., None] * annuity_factor(monthly[..., None], to_come)
    before = np.concatenate(
        [np.broadcast_to(owed, payment.shape)[..., None], balance[..., :-1]], axis=-1
    )
    interest = before * monthly[..., None]
    interest[..., 0] = 0.0
    return Amortization(np.broadcast_to(owed, payment.shape), interest, before - balance, balance)


def flat_rate_apr(flat_rate: ArrayLike, term: ArrayLike) -> FloatArray:
    """Nominal annual rate, compounded monthly, behind a quoted flat rate.

    A flat rate charges interest on the amount first borrowed for the whole term, however much
    has been repaid; payments are level and in arrears, and there are no fees.

    Parameters
    ----------
    flat_rate : array_like, (...) [1/year]
        Fraction, zero or more.
    term : array_like, (...) [month]
        Number of payments, whole.

    Returns
    -------
    ndarray, (...) [1/year]

    Raises
    ------
    InputError
        Where a flat rate is negative or a term is not a whole number of months above 0.

    Examples
    --------
    >>> float(flat_rate_apr(0.06, 36).round(4))
    0.1108

    Source: derivable (rate of return of the loan's own flows).
    """
    flat, payments = np.broadcast_arrays(parse_finite("flat_rate", flat_rate), _term(term))
    if np.any(flat < 0.0):
        raise InputError("flat_rate", flat_rate, "must be 0 or more")
    month = np.arange(payments.max() + 1.0)
    payment = (1.0 + flat * payments / 12.0) / payments
    flows = np.where(month <= payments[..., None], -payment[..., None], 0.0)
    flows[..., 0] = 1.0
    return 12.0 * internal_rate_of_return(flows).rate
