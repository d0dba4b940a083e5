"""Parallel servers with Poisson arrivals and exponential process times, exactly (M/M/m).

The measure for `capex.shopfloor.waiting.queue_time`, which approximates any number of servers and
any variability.

Imports numpy, `capex.errors`, `capex.shopfloor.arrays` and `capex.shopfloor.waiting`.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from capex.errors import InputError
from capex.shopfloor.arrays import FloatArray, bounded
from capex.shopfloor.waiting import parse_utilization

__all__ = ["delay_probability", "exponential_queue_time", "idle_probability"]


def delay_probability(utilization: npt.ArrayLike, servers: npt.ArrayLike) -> FloatArray:
    """Return the chance that an order finds all servers busy (Erlang C).

    Exact for Poisson arrivals and exponential process times (M/M/m).

    Parameters
    ----------
    utilization : array_like
        At least 0 and less than 1 [-].
    servers : array_like
        Whole numbers, at least 1.

    Returns
    -------
    ndarray
        [-].

    Raises
    ------
    InputError
        A value outside its bounds, or servers that are not whole.

    Examples
    --------
    >>> round(float(delay_probability(1 / 3, 2)), 6)
    0.166667

    Notes
    -----
    By the recursion of Erlang B, which does not overflow. Source `erlang-1917`.
    """
    busy = parse_utilization(utilization)
    loss = _loss_probability(busy, _whole_servers(servers))
    return loss / (1.0 - busy * (1.0 - loss))


def idle_probability(utilization: npt.ArrayLike, servers: npt.ArrayLike) -> FloatArray:
    """Return the share of time in which no order is at the station at all (M/M/m).

    Parameters, bounds and source as in `delay_probability`.

    Examples
    --------
    >>> round(float(idle_probability(1 / 3, 2)), 6)
    0.5
    """
    busy = parse_utilization(utilization)
    count = _whole_servers(servers)
    offered = busy * count
    term = np.ones(np.broadcast_shapes(busy.shape, count.shape))
    total = term
    for number in range(1, int(count.max(initial=1.0)) + 1):
        term = term * offered / number
        last = number == count
        total = total + np.where(last, term / (1.0 - busy), np.where(number < count, term, 0.0))
    return 1.0 / total


def exponential_queue_time(
    process_time: npt.ArrayLike, utilization: npt.ArrayLike, servers: npt.ArrayLike
) -> FloatArray:
    """Return how long an order waits at parallel servers with exponential times, exactly.

    Parameters
    ----------
    process_time : array_like
        Mean on one server, at least 0 [time].
    utilization, servers : array_like
        See `delay_probability`.

    Returns
    -------
    ndarray
        [time].

    Raises
    ------
    InputError
        A value outside its bounds, or servers that are not whole.

    Examples
    --------
    >>> round(float(exponential_queue_time(1 / 30, 1 / 3, 2)), 6)
    0.004167

    Notes
    -----
    ``C/(m(1 − u)) · t``. Source `erlang-1917`.
    """
    time = bounded("process_time", process_time, at_least=0)
    busy = parse_utilization(utilization)
    count = _whole_servers(servers)
    return delay_probability(busy, count) * time / (count * (1.0 - busy))


def _whole_servers(value: npt.ArrayLike) -> FloatArray:
    count = bounded("servers", value, at_least=1)
    broken = count != np.round(count)
    if bool(broken.any()):
        raise InputError("servers", float(count[broken].flat[0]), "must be a whole number")
    return count


def _loss_probability(busy: FloatArray, count: FloatArray) -> FloatArray:
    """Return Erlang B by its recursion over the number of servers."""
    offered = busy * count
    loss = np.ones(offered.shape)
    for number in range(1, int(count.max(initial=1.0)) + 1):
        loss = np.where(number <= count, offered * loss / (number + offered * loss), loss)
    return loss
