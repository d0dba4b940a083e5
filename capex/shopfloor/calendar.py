"""Which days of the calendar are working days: one rule for every lead time.

A week's working days follow each other from its first day on, and weeks differ by a day at most,
so that a mean month has as many as the shop says: at 21 a month weeks of five days, every sixth of
four; at 13 of three; at 6 of two or one.

Imports numpy and `capex.shopfloor.arrays`.
"""

from __future__ import annotations

from itertools import product
from typing import Final

import numpy as np
import numpy.typing as npt

from capex.shopfloor.arrays import FloatArray, bounded

__all__ = ["DAY", "chance_of_work", "working_calendar"]

#: [s].
DAY: Final = 86400.0
_WEEK: Final = 7
#: Days in a mean calendar month.
_MONTH: Final = 365.25 / 12.0
_ROUNDING: Final = 1e-9


def _days_per_week(days_per_month: npt.ArrayLike) -> FloatArray:
    monthly = bounded("days_per_month", days_per_month, "days", above=0)
    return np.asarray(np.minimum(monthly / _MONTH, 1.0) * _WEEK)


def working_calendar(count: int, days_per_month: float) -> npt.NDArray[np.int64]:
    """Return the calendar days of the first working days, the first of a week's on day 0.

    Parameters
    ----------
    count : int
        Working days.
    days_per_month : float
        Working days of a mean month, above 0; every day from 30.44 on.

    Returns
    -------
    ndarray of int, shape (count,)

    Raises
    ------
    InputError
        No working days.

    Examples
    --------
    >>> working_calendar(12, 21.0)
    array([ 0,  1,  2,  3,  4,  7,  8,  9, 10, 11, 14, 15])
    >>> working_calendar(6, 6.0)
    array([ 0,  1,  7, 14, 15, 21])

    Notes
    -----
    Week i has ``⌈(i + 1)a⌉ − ⌈ia⌉`` working days, a a week on average. Source `derivable`.
    """
    weekly = float(_days_per_week(days_per_month))
    weeks = np.arange(int(count / weekly) + 2)
    before = np.ceil(weeks * weekly - _ROUNDING).astype(np.int64)
    days = np.arange(count)
    week = np.searchsorted(before, days, side="right") - 1
    return np.asarray(_WEEK * week + days - before[week], dtype=np.int64)


def chance_of_work(later: int, days_per_month: npt.ArrayLike) -> FloatArray:
    """Return the chance that so many calendar days after a working day is a working day.

    Parameters
    ----------
    later : int
        Calendar days, at least 0.
    days_per_month : array_like
        Working days of a mean month, above 0 [-].

    Returns
    -------
    ndarray
        [-].

    Raises
    ------
    InputError
        No working days.

    Examples
    --------
    The day after, and a week after:

    >>> float(chance_of_work(1, 21.0).round(4)), float(chance_of_work(7, 21.0).round(4))
    (0.7929, 0.9647)

    Notes
    -----
    A week has b or b + 1 working days, b + 1 with chance r where a = b + r is their mean; both of
    two weeks j apart have them with chance ``max(0, r − δ) + max(0, r + δ − 1)``, δ the fraction
    of jr. What is left is counting. Source `derivable`.
    """
    weekly = _days_per_week(days_per_month)
    few = np.floor(weekly + _ROUNDING)
    more = np.clip(weekly - few, 0.0, 1.0)
    weeks, days = divmod(later, _WEEK)
    found = np.zeros_like(weekly)
    for apart, first in ((weeks, 0), (weeks + 1, _WEEK - days)):
        # of a week's days from `first` on: those that fall among the working days of the other
        ahead = days if first == 0 else -first
        for here, there in product((0, 1), (0, 1)):
            both = np.minimum(few + here, few + there - ahead) - first
            found += _chance(more, apart, here, there) * np.maximum(both, 0.0)
    return np.asarray(found / weekly)


def _chance(more: FloatArray, apart: int, here: int, there: int) -> FloatArray:
    """Return the chance that two weeks so far apart have so many days more than the least."""
    shift = (apart * more) % 1.0
    both: FloatArray = np.maximum(more - shift, 0.0) + np.maximum(more + shift - 1.0, 0.0)
    if here and there:
        return both
    left: FloatArray = more - both if here or there else 1.0 - 2.0 * more + both
    return left
