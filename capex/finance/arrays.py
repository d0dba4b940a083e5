"""What every money kernel accepts: finite arrays, rates above −100 %, lengths of time.

Promises arrays of floats or an `InputError` that names the first offending element. Imports
numpy and `capex.errors`.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from capex.errors import InputError

__all__ = ["FloatArray", "parse_cash_flow", "parse_finite", "parse_positive", "parse_rate"]

FloatArray = NDArray[np.float64]


def _check(field: str, values: FloatArray, allowed: NDArray[np.bool_], bound: str) -> None:
    if not allowed.all():
        where = tuple(int(axis) for axis in np.argwhere(~allowed)[0])
        name = f"{field}{list(where)}" if where else field
        raise InputError(name, float(values[where]), bound)


def parse_finite(field: str, values: ArrayLike) -> FloatArray:
    """Array of finite floats.

    Parameters
    ----------
    field : str
        Name used in the message.
    values : array_like, (...)
        Anything numpy reads as numbers.

    Returns
    -------
    ndarray, (...)

    Raises
    ------
    InputError
        Where an element is not a finite number.

    Examples
    --------
    >>> parse_finite("price", [1, 2])
    array([1., 2.])
    """
    try:
        array = np.asarray(values, dtype=np.float64)
    except (TypeError, ValueError) as error:
        raise InputError(field, values, "must be numbers in rows of equal length") from error
    _check(field, array, np.isfinite(array), "must be a finite number")
    return array


def parse_rate(field: str, values: ArrayLike) -> FloatArray:
    """Array of rates per period as fractions, each above −1 (−100 %).

    Parameters
    ----------
    field : str
        Name used in the message.
    values : array_like, (...)
        Fractions per period.

    Returns
    -------
    ndarray, (...)

    Raises
    ------
    InputError
        Where an element is not finite, or −1 or less.

    Examples
    --------
    >>> parse_rate("discount_rate", 0.08)
    array(0.08)
    """
    array = parse_finite(field, values)
    _check(field, array, array > -1.0, "must be above -1 (a rate is a fraction: 0.08 for 8 %)")
    return array


def parse_positive(field: str, values: ArrayLike, unit: str) -> FloatArray:
    """Array of numbers above zero.

    Parameters
    ----------
    field : str
        Name used in the message.
    values : array_like, (...)
        In any unit.
    unit : str
        For the message.

    Returns
    -------
    ndarray, (...)

    Raises
    ------
    InputError
        Where an element is not finite or not above 0.

    Examples
    --------
    >>> parse_positive("term", [36, 60], "months")
    array([36., 60.])
    """
    array = parse_finite(field, values)
    _check(field, array, array > 0.0, f"must be greater than 0 {unit}")
    return array


def parse_cash_flow(field: str, values: ArrayLike) -> FloatArray:
    """Array of flows whose last axis is time, from period 0, at least two periods long.

    Parameters
    ----------
    field : str
        Name used in the message.
    values : array_like, (...)
        Time on the last axis.

    Returns
    -------
    ndarray, (...)

    Raises
    ------
    InputError
        Where an element is not finite, or there are fewer than two periods.

    Examples
    --------
    >>> parse_cash_flow("cash_flow", [-100, 110])
    array([-100.,  110.])
    """
    array = parse_finite(field, values)
    if array.ndim == 0 or array.shape[-1] < 2:
        raise InputError(field, array.shape, "must have time on its last axis, 2 periods or more")
    return array
