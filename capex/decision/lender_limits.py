"""How much an alternative could borrow, and its owner draw, before a lender's limits are reached.

Imports numpy, `capex.errors` and `capex.finance`.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from capex.errors import InputError
from capex.finance.coverage import RatioReason
from capex.finance.lender import LenderView

__all__ = ["drawable", "least_cash_after", "lendable_share"]

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.intp]


def lendable_share(view: LenderView, highest: float) -> FloatArray:
    """Return the share of its loans at which an alternative's loan to value is a lender's highest.

    Every loan is made smaller in proportion, at the same rate, term and balloon share: what is
    owed in each month shrinks with it, and what the machines would fetch does not.

    Parameters
    ----------
    view : LenderView
    highest : float
        Loan to value that the lender accepts, a fraction.

    Returns
    -------
    ndarray, shape (n,)
        1 where all of it can be lent, 0 where money is owed without a machine.

    Raises
    ------
    InputError
        A loan to value that is not above 0.

    Examples
    --------
    >>> from capex.decision.appraise import appraise
    >>> from capex.decision.cover import lender_view_of
    >>> from capex.study import data_folder, read_study
    >>> found = appraise(read_study(data_folder() / "studies" / "quenlow.toml"))
    >>> share = lendable_share(lender_view_of(found.outcomes["separate"]), 0.5)
    >>> bool(0.0 < share[0] < 0.5)
    True
    """
    if not (np.isfinite(highest) and highest > 0.0):
        raise InputError("highest", highest, "must be above 0 (a fraction: 0.8 for 80 %)")
    found = view.highest_loan_to_value
    there = (found.reason == RatioReason.FOUND) & (found.ratio > highest)
    share = np.divide(highest, found.ratio, out=np.ones(found.ratio.shape), where=there)
    return np.where(found.reason == RatioReason.NO_MACHINE, 0.0, share)


def drawable(view: LenderView, least: float) -> FloatArray:
    """Return what the owner could draw each month, beyond the study's, at a lender's least cover.

    Draws are paid from month 1 and move no tax. Of cover alone: whether there is as much in the
    bank is another question.

    Parameters
    ----------
    view : LenderView
    least : float
        Yearly cover that the lender asks for [-].

    Returns
    -------
    ndarray, shape (n,) [currency/month]
        Negative where cover is too low already; inf where nothing is due in any year.

    Raises
    ------
    InputError
        A cover that is not a finite number.

    Examples
    --------
    >>> from capex.decision.appraise import appraise
    >>> from capex.decision.cover import lender_view_of
    >>> from capex.study import data_folder, read_study
    >>> found = appraise(read_study(data_folder() / "studies" / "quenlow.toml"))
    >>> bool(drawable(lender_view_of(found.outcomes["separate"]), 1.25)[0] > 0.0)
    True
    """
    if not np.isfinite(least):
        raise InputError("least", least, "must be a finite number")
    due = view.debt_service_by_year
    months = np.clip(view.horizon[:, None] - 12 * np.arange(due.shape[1]), 1, 12)
    spare = (view.cash_by_year - least * due) / months
    return np.asarray(np.where(due > 0.0, spare, np.inf).min(axis=1))


def least_cash_after(view: LenderView, month: int = 0) -> tuple[FloatArray, IntArray]:
    """Return the least money in the bank at the end of a later month, and that month.

    Parameters
    ----------
    view : LenderView
    month : int
        Before the horizon of every scenario; 0 is the day of decision.

    Returns
    -------
    amount : ndarray, shape (n,) [currency]
    when : ndarray of int, shape (n,)

    Raises
    ------
    InputError
        A month that is negative, or not before the horizon.

    Examples
    --------
    >>> from capex.decision.appraise import appraise
    >>> from capex.decision.cover import lender_view_of
    >>> from capex.study import data_folder, read_study
    >>> found = appraise(read_study(data_folder() / "studies" / "quenlow.toml"))
    >>> view = lender_view_of(found.outcomes["separate"])
    >>> bool(least_cash_after(view)[0][0] >= view.lowest_cash[0])
    True
    """
    if not 0 <= month < int(view.horizon.min()):
        bound = f"must be at least 0 and before the horizon, month {int(view.horizon.min())}"
        raise InputError("month", month, bound)
    at = np.arange(view.month_end_cash.shape[1])
    within = (at > month) & (at <= view.horizon[:, None])
    cash = np.where(within, view.month_end_cash, np.inf)
    when = np.asarray(cash.argmin(axis=1))
    return cash[np.arange(len(when)), when], when
