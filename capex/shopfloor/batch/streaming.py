"""The same batch again and again: how long n of them take, and what is gained by working at once.

A batch is printed for p and cut for c. Two machines work at once, one batch printing while the
one before is cut; one machine does both in turn. Arguments broadcast against each other, with
the scenario axis first.

Imports numpy and `capex.shopfloor.arrays`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from capex.shopfloor.arrays import FloatArray, bounded

__all__ = [
    "Streaming",
    "alternating_makespan",
    "cycle_time",
    "reentrant_makespan",
    "speed_up",
    "streamed_makespan",
]


def streamed_makespan(
    first: npt.ArrayLike, second: npt.ArrayLike, count: npt.ArrayLike, lag: npt.ArrayLike = 0.0
) -> FloatArray:
    """Return how long equal batches take on two machines that work at once.

    Assumes room for any number of batches between the machines.

    Parameters
    ----------
    first, second : array_like (...)
        Times p and c of a batch on either machine [s].
    count : array_like (...)
        Batches n, at least 1 [-].
    lag : array_like (...)
        From the end on the first to the start on the second, holding neither [s].

    Returns
    -------
    ndarray (...)
        p + lag + c + (n − 1)·max(p, c) [s].

    Raises
    ------
    InputError
        A value outside its bounds.

    Examples
    --------
    >>> float(streamed_makespan(3.0, 5.0, 10)), float(streamed_makespan(3.0, 5.0, 10, lag=7.0))
    (53.0, 60.0)

    Notes
    -----
    Derivable: source `derivable`.
    """
    p, c, n, between = _batch(first, second, count, lag)
    return np.asarray(p + between + c + (n - 1.0) * np.maximum(p, c))


def alternating_makespan(
    first: npt.ArrayLike, second: npt.ArrayLike, count: npt.ArrayLike, held: npt.ArrayLike = 0.0
) -> FloatArray:
    """Return how long equal batches take on one machine that keeps each until it is done.

    Parameters
    ----------
    first, second, count
        As for `streamed_makespan`.
    held : array_like (...)
        Time in between that holds the machine, such as drying in it [s].

    Returns
    -------
    ndarray (...)
        n·(p + held + c) [s].

    Raises
    ------
    InputError
        A value outside its bounds.

    Examples
    --------
    >>> float(alternating_makespan(3.0, 5.0, 10))
    80.0

    Notes
    -----
    Derivable: source `derivable`.
    """
    p, c, n, between = _batch(first, second, count, held)
    return np.asarray(n * (p + between + c))


def reentrant_makespan(
    first: npt.ArrayLike, second: npt.ArrayLike, count: npt.ArrayLike, lag: npt.ArrayLike
) -> FloatArray:
    """Return how long equal batches take at least on one machine that is free in between.

    Assumes that all are printed before the first is cut again, which is as short as any sequence
    can be: it reaches the bound of `lower_bounds.reentrant_lower_bound`.

    Parameters
    ----------
    first, second, count
        As for `streamed_makespan`.
    lag : array_like (...)
        From the end of the first visit to the start of the second [s].

    Returns
    -------
    ndarray (...)
        max{n(p + c), np + l + c, p + l + nc} [s].

    Raises
    ------
    InputError
        A value outside its bounds.

    Examples
    --------
    >>> float(reentrant_makespan(3.0, 5.0, 10, lag=7.0))
    80.0
    >>> float(reentrant_makespan(3.0, 5.0, 10, lag=60.0))
    113.0

    Notes
    -----
    Cut i starts when prints i … n, the lag and cuts 1 … i − 1 allow; the longest of these chains
    begins at an end because their lengths are linear in i. Derivable: source `derivable`.
    """
    p, c, n, between = _batch(first, second, count, lag)
    chains = (n * (p + c), n * p + between + c, p + between + n * c)
    return np.asarray(np.maximum.reduce(np.broadcast_arrays(*chains)))


def speed_up(first: npt.ArrayLike, second: npt.ArrayLike) -> FloatArray:
    """Return how many times faster a long stream runs on two machines than on one.

    Assumes engines of the same speed on both sides and nothing else to do: at most 2.

    Parameters
    ----------
    first, second : array_like (...)
        Times p and c, one of them above 0 [s].

    Returns
    -------
    ndarray (...)
        (p + c)/max(p, c) [-].

    Raises
    ------
    InputError
        A value outside its bounds.

    Examples
    --------
    >>> speed_up([3.0, 4.0], [5.0, 4.0])
    array([1.6, 2. ])

    Notes
    -----
    Derivable: source `derivable`.
    """
    p = bounded("first", first, "s", at_least=0)
    c = bounded("second", second, "s", at_least=0)
    longer = bounded("the longer of first and second", np.maximum(p, c), "s", above=0)
    return np.asarray((p + c) / longer)


def cycle_time(work: npt.ArrayLike, servers: npt.ArrayLike = 1.0) -> FloatArray:
    """Return the time between two batches of a long stream: that of the busiest station.

    Assumes enough batches on the way to keep that station busy.

    Parameters
    ----------
    work : array_like, shape (n, stations)
        Time that one batch holds each station, all its visits together [s].
    servers : array_like, shape (n, stations)
        Machines or persons of each [-].

    Returns
    -------
    ndarray, shape (n,)
        [s].

    Raises
    ------
    InputError
        A value outside its bounds.

    Examples
    --------
    >>> cycle_time([[3.0, 5.0], [3.0, 5.0]], [[1, 1], [1, 2]])
    array([5., 3.])

    Notes
    -----
    Derivable: source `derivable`.
    """
    each = bounded("work", work, "s", at_least=0) / bounded("servers", servers, above=0)
    return np.asarray(each.max(axis=-1))


@dataclass(frozen=True)
class Streaming:
    """A batch by itself and in a long stream of its like.

    Parameters
    ----------
    latency : float
        From the start to the end of one batch that has the shop for itself [s].
    cycle_time : float
        Between the ends of two batches of a long stream, at best [s].
    bottleneck : str
        The stations or the people that set the cycle time if they never wait.
    """

    latency: float
    cycle_time: float
    bottleneck: str

    def latency_ratio(self, other: Streaming) -> float:
        """Return how many times longer one batch takes here than on the other.

        Examples
        --------
        >>> one, two = Streaming(8.0, 8.0, "frame"), Streaming(8.0, 5.0, "cutter")
        >>> one.latency_ratio(two), one.throughput_ratio(two)
        (1.0, 1.6)
        """
        return self.latency / other.latency

    def throughput_ratio(self, other: Streaming) -> float:
        """Return how many batches of a long stream the other ends while one is ended here."""
        return self.cycle_time / other.cycle_time


def _batch(
    first: npt.ArrayLike, second: npt.ArrayLike, count: npt.ArrayLike, lag: npt.ArrayLike
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    return (
        bounded("first", first, "s", at_least=0),
        bounded("second", second, "s", at_least=0),
        bounded("count", count, at_least=1),
        bounded("lag", lag, "s", at_least=0),
    )
