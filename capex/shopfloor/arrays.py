"""Numeric arguments as arrays: finite, within their bounds, ready to broadcast.

Every physical function of the shop floor passes its arguments through `bounded`, so that a bad
value ends in one clear sentence and never in a NaN further down.

Imports numpy and `capex.errors` only.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TypeVar

import numpy as np
import numpy.typing as npt

from capex.errors import InputError

__all__ = ["BoolArray", "FloatArray", "bounded", "by_row", "over_scenarios", "side_by_side"]

FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]
Scalar = TypeVar("Scalar", bound=np.generic)


def bounded(
    field: str,
    value: npt.ArrayLike,
    unit: str = "",
    *,
    above: float = -math.inf,
    at_least: float = -math.inf,
    at_most: float = math.inf,
) -> FloatArray:
    """Return a numeric argument as an array once it is known to be finite and within bounds.

    Parameters
    ----------
    field : str
        Name of the argument, for the message.
    value : array_like
        Any shape.
    unit : str
        Unit of the value and of the bounds, for the message.
    above, at_least, at_most : float
        Bounds [unit]; ``above`` is exclusive.

    Returns
    -------
    ndarray of float
        Same shape as `value`.

    Raises
    ------
    InputError
        Some element is not a finite number within the bounds; the first one is named.

    Examples
    --------
    >>> bounded("speed", [0.5, 1.0], "m/s", above=0)
    array([0.5, 1. ])
    >>> bounded("speed", 0.0, "m/s", above=0)
    Traceback (most recent call last):
    capex.errors.InputError: speed: 0.0 must be greater than 0 m/s
    """
    array = np.asarray(value, dtype=np.float64)
    if array.size:
        low, high = array.min(), array.max()
        # Written so that NaN, which compares false with everything, fails.
        if not (low > above and low >= at_least and high <= at_most and high < math.inf):
            good = (array > above) & (array >= at_least) & (array <= at_most) & np.isfinite(array)
            first = float(array[~good].flat[0])
            raise InputError(field, first, _bound(above, at_least, at_most, unit))
    return array


def _bound(above: float, at_least: float, at_most: float, unit: str) -> str:
    parts = []
    if above > -math.inf:
        parts.append(f"greater than {above:g}")
    if at_least > -math.inf:
        parts.append(f"at least {at_least:g}")
    if at_most < math.inf:
        parts.append(f"at most {at_most:g}")
    return f"must be {' and '.join(parts) or 'a finite number'} {unit}".rstrip()


def over_scenarios(array: npt.NDArray[Scalar], count: int) -> npt.NDArray[Scalar]:
    """Return an array of one or `count` scenarios over all of them.

    Parameters
    ----------
    array : ndarray, shape (1, ...) or (count, ...)
    count : int

    Returns
    -------
    ndarray, shape (count, ...)
        The array itself where it has them all; not to be written to otherwise.

    Examples
    --------
    >>> over_scenarios(np.array([2.0]), 3)
    array([2., 2., 2.])
    """
    if array.shape[0] == count:
        return array
    return np.broadcast_to(array, (count, *array.shape[1:]))


def by_row(scenarios: int, rows: int, months: int, *, empty: bool = False) -> FloatArray:
    """Return a table of zeros whose rows lie one after the other in memory, all scenarios of each.

    Parameters
    ----------
    scenarios, rows, months : int
    empty : bool
        Whether all of it is written to anyway, so that no zeros are needed.

    Returns
    -------
    ndarray, shape (scenarios, rows, months)
        Job types, routes or stations in its rows: what is done to one of them is done to numbers
        next to each other.

    Examples
    --------
    >>> table = by_row(2, 3, 4)
    >>> table.shape, table[:, 1].flags.c_contiguous
    ((2, 3, 4), True)
    """
    table = (np.empty if empty else np.zeros)((rows, scenarios, months))
    return table.transpose(1, 0, 2)


def side_by_side(columns: Sequence[npt.NDArray[Scalar]]) -> npt.NDArray[Scalar]:
    """Return arrays next to each other on a new second axis, scenarios first.

    Parameters
    ----------
    columns : sequence of ndarray, shape (1, ...) or (n, ...)
        Alike but for their scenarios.

    Returns
    -------
    ndarray, shape (n, columns, ...)
        Of arrays over months each lies together in memory, as in `by_row`.

    Examples
    --------
    >>> side_by_side([np.array([1.0]), np.array([2.0, 3.0])])
    array([[1., 2.],
           [1., 3.]])
    """
    rows = max(column.shape[0] for column in columns)
    first = columns[0]
    if first.ndim == 1:
        table = np.empty((rows, len(columns)), dtype=first.dtype)
    else:
        lying = np.empty((len(columns), rows, *first.shape[1:]), dtype=first.dtype)
        table = lying.swapaxes(0, 1)
    for place, column in enumerate(columns):
        table[:, place] = column
    return table
