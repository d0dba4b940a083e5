"""Waiting at a station: how long its work takes in effect, and how long orders queue for it.

Squared coefficients of variation (scv: variance over mean squared) describe variability. Every
argument broadcasts with every other; times are in any one unit.

Imports numpy, `capex.errors` and `capex.shopfloor.arrays`.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from capex.errors import InputError
from capex.shopfloor.arrays import FloatArray, bounded

__all__ = [
    "ProcessTime",
    "departure_scv",
    "effective_process_time",
    "parse_utilization",
    "process_time_of_moments",
    "process_time_with_set_ups",
    "queue_time",
]


class ProcessTime(NamedTuple):
    """Mean and squared coefficient of variation of a process time."""

    mean: FloatArray
    scv: FloatArray


def effective_process_time(
    process_time: npt.ArrayLike,
    process_scv: npt.ArrayLike,
    *,
    availability: npt.ArrayLike,
    repair_time: npt.ArrayLike,
    repair_scv: npt.ArrayLike = 1.0,
) -> ProcessTime:
    """Return what breakdowns make of a process time.

    Assumes breakdowns that come while the machine works, after exponential times; then the scv
    is exact, else an approximation. Repairs are exponential unless `repair_scv` says otherwise.

    Parameters
    ----------
    process_time : array_like
        Mean with nothing in the way, above 0 [time].
    process_scv : array_like
        Its scv, at least 0 [-].
    availability : array_like
        Share of its hours in which the machine is fit, above 0 and at most 1 [-].
    repair_time : array_like
        Mean time of a repair, at least 0 [time].
    repair_scv : array_like
        Its scv, at least 0 [-].

    Returns
    -------
    ProcessTime
        Mean ``t0/A`` [time] and scv ``c0² + (1 + cr²)·A·(1 − A)·mr/t0`` [-].

    Raises
    ------
    InputError
        A value outside its bounds.

    Examples
    --------
    15 minutes of work; the machine runs 744 minutes and is then repaired for 248.

    >>> found = effective_process_time(15, 0.05, availability=0.75, repair_time=248)
    >>> round(float(found.mean), 6), round(float(found.scv), 6)
    (20.0, 6.25)

    Notes
    -----
    Source `hopp-spearman`, ch. 8, preemptive outages.
    """
    time = bounded("process_time", process_time, above=0)
    scv = bounded("process_scv", process_scv, at_least=0)
    fit = bounded("availability", availability, above=0, at_most=1)
    repair = bounded("repair_time", repair_time, at_least=0)
    spread = 1.0 + bounded("repair_scv", repair_scv, at_least=0)
    return ProcessTime(time / fit, scv + spread * fit * (1.0 - fit) * repair / time)


def process_time_with_set_ups(
    process_time: npt.ArrayLike,
    process_scv: npt.ArrayLike,
    *,
    set_up_time: npt.ArrayLike,
    set_up_scv: npt.ArrayLike,
    orders_per_set_up: npt.ArrayLike,
) -> ProcessTime:
    """Return what set-ups between orders make of a process time.

    Assumes that after every order a set-up follows with probability 1/`orders_per_set_up`.

    Parameters
    ----------
    process_time, process_scv : array_like
        Mean without set-ups, above 0 [time], and its scv, at least 0 [-].
    set_up_time, set_up_scv : array_like
        Mean, at least 0 [time], and scv, at least 0 [-], of one set-up.
    orders_per_set_up : array_like
        Orders between two set-ups on average, at least 1 [-].

    Returns
    -------
    ProcessTime
        Mean ``t0 + ts/Ns`` [time]; variance ``σ0² + σs²/Ns + ts²·(Ns − 1)/Ns²``.

    Raises
    ------
    InputError
        A value outside its bounds.

    Examples
    --------
    >>> found = process_time_with_set_ups(
    ...     1, 0.25**2, set_up_time=2, set_up_scv=0.25**2, orders_per_set_up=10
    ... )
    >>> round(float(found.mean), 4), round(float(found.scv), 4)
    (1.2, 0.3108)

    Notes
    -----
    Source `hopp-spearman`, ch. 8, nonpreemptive outages.
    """
    time = bounded("process_time", process_time, above=0)
    set_up = bounded("set_up_time", set_up_time, at_least=0)
    orders = bounded("orders_per_set_up", orders_per_set_up, at_least=1)
    mean = time + set_up / orders
    variance = (
        bounded("process_scv", process_scv, at_least=0) * time**2
        + bounded("set_up_scv", set_up_scv, at_least=0) * set_up**2 / orders
        + set_up**2 * (orders - 1.0) / orders**2
    )
    return ProcessTime(mean, variance / mean**2)


def process_time_of_moments(time: npt.ArrayLike, square: npt.ArrayLike) -> ProcessTime:
    """Return the process time of visits whose times, and the squares of them, have these means.

    Moments about zero of several types mix linearly, so that theirs are means over all visits.

    Parameters
    ----------
    time : array_like
        Mean, at least 0 [time].
    square : array_like
        Mean of the squares, at least the square of the mean [time²].

    Returns
    -------
    ProcessTime
        Its scv is 0 where the mean is.

    Raises
    ------
    InputError
        A value outside its bounds.

    Examples
    --------
    Visits of 1 and of 3, equally likely:

    >>> found = process_time_of_moments(2.0, 5.0)
    >>> float(found.mean), float(found.scv)
    (2.0, 0.25)

    Notes
    -----
    Source `derivable`.
    """
    mean = bounded("time", time, at_least=0)
    mean, spread = np.broadcast_arrays(mean, bounded("square", square, at_least=0))
    scv = np.divide(spread, mean**2, out=np.ones(mean.shape), where=mean > 0) - 1.0
    least = float(scv.min(initial=0.0))
    if least < -1e-9:
        raise InputError("square", 1.0 + least, "must be at least 1 times the square of the mean")
    return ProcessTime(mean, np.maximum(scv, 0.0))  # equal times leave a rounding below 0


def queue_time(
    process_time: npt.ArrayLike,
    utilization: npt.ArrayLike,
    *,
    arrival_scv: npt.ArrayLike = 1.0,
    process_scv: npt.ArrayLike = 1.0,
    servers: npt.ArrayLike = 1.0,
) -> FloatArray:
    """Return how long an order waits for a station in the long run.

    Exact for Poisson arrivals at one server (M/G/1, with it M/M/1 and M/D/1). Parallel servers
    with exponential times come out within 4 % of a process time of the exact wait; anything else
    is an approximation that is good where the station is busy.

    Parameters
    ----------
    process_time : array_like
        Effective mean on one server, at least 0 [time].
    utilization : array_like
        Work brought over work that all servers can do, at least 0 and less than 1 [-].
    arrival_scv : array_like
        Of the times between arrivals; 1 is Poisson [-].
    process_scv : array_like
        Effective scv of the process time; 0 constant, 1 exponential [-].
    servers : array_like
        Machines or persons that work side by side on one queue, at least 1. Between whole numbers
        the formula interpolates.

    Returns
    -------
    ndarray
        ``(ca² + ce²)/2 · u^(√(2(m+1)) − 1)/(m(1 − u)) · te`` [time]; for one server
        ``(ca² + ce²)/2 · u/(1 − u) · te``.

    Raises
    ------
    InputError
        A value outside its bounds; at utilization 1 the queue grows without end.

    Examples
    --------
    >>> float(queue_time(20.0, 0.5)), float(queue_time(20.0, 0.5, process_scv=0.0))
    (20.0, 10.0)
    >>> queue_time(20.0, 1.0)
    Traceback (most recent call last):
    capex.errors.InputError: utilization: 1.0 must be less than 1: at 1 the queue grows without end

    Notes
    -----
    Source `hopp-spearman`, ch. 8; parallel servers `sakasegawa-1977`.
    """
    time = bounded("process_time", process_time, at_least=0)
    busy = parse_utilization(utilization)
    variability = 0.5 * (
        bounded("arrival_scv", arrival_scv, at_least=0)
        + bounded("process_scv", process_scv, at_least=0)
    )
    count = bounded("servers", servers, at_least=1)
    crowd: FloatArray = busy ** (np.sqrt(2.0 * (count + 1.0)) - 1.0) / (count * (1.0 - busy))
    return variability * crowd * time


def departure_scv(
    utilization: npt.ArrayLike,
    *,
    arrival_scv: npt.ArrayLike,
    process_scv: npt.ArrayLike,
    servers: npt.ArrayLike = 1.0,
) -> FloatArray:
    """Return the scv of the times between departures, which the next station sees as arrivals.

    Parameters
    ----------
    utilization : array_like
        At least 0 and at most 1 [-].
    arrival_scv, process_scv, servers : array_like
        See `queue_time`.

    Returns
    -------
    ndarray
        ``1 + (1 − u²)(ca² − 1) + u²/√m · (ce² − 1)`` [-]; for one server
        ``u²·ce² + (1 − u²)·ca²``.

    Raises
    ------
    InputError
        A value outside its bounds.

    Examples
    --------
    >>> float(departure_scv(0.5, arrival_scv=1.0, process_scv=0.0))
    0.75

    Notes
    -----
    Source `hopp-spearman`, ch. 8, linking equations.
    """
    square = bounded("utilization", utilization, at_least=0, at_most=1) ** 2
    arrival = bounded("arrival_scv", arrival_scv, at_least=0)
    process = bounded("process_scv", process_scv, at_least=0)
    root = np.sqrt(bounded("servers", servers, at_least=1))
    return 1.0 + (1.0 - square) * (arrival - 1.0) + square / root * (process - 1.0)


def parse_utilization(value: npt.ArrayLike) -> FloatArray:
    """Return a utilization as an array once every queue is known to settle.

    Raises
    ------
    InputError
        Below 0, or 1 and more.

    Examples
    --------
    >>> parse_utilization([0.0, 0.85])
    array([0.  , 0.85])
    """
    busy = bounded("utilization", value, at_least=0)
    if bool((busy >= 1.0).any()):
        first = float(busy[busy >= 1.0].flat[0])
        raise InputError(
            "utilization", first, "must be less than 1: at 1 the queue grows without end"
        )
    return busy
