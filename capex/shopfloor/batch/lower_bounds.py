"""Makespans that no sequence beats: of flow shops, job shops and one machine visited twice.

Shapes and lags are those of `sequences`.

Imports numpy and, of the shop floor, `arrays` and `batch.sequences`.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from capex.shopfloor.arrays import FloatArray, bounded
from capex.shopfloor.batch.sequences import times_table

__all__ = ["flow_shop_lower_bound", "job_shop_lower_bound", "reentrant_lower_bound"]


def flow_shop_lower_bound(times: npt.ArrayLike, lags: npt.ArrayLike = 0.0) -> FloatArray:
    """Return a time that no sequence of a flow shop beats: of the machines, and of the jobs.

    Assumes nothing of the sequence; jobs may overtake each other.

    Parameters
    ----------
    times, lags
        As for `completion_times`; lags at least 0.

    Returns
    -------
    ndarray, shape (n,)
        Largest of: least time before a machine + all its work + least time after it; longest
        job [s].

    Raises
    ------
    InputError
        A negative time or lag.

    Examples
    --------
    >>> flow_shop_lower_bound([[[3.0, 5.0]] * 10], lags=7.0)
    array([60.])

    Notes
    -----
    Source `taillard-1993`, section 2.
    """
    table = times_table("times", times, 3)
    visits = np.broadcast_to(np.arange(table.shape[2]), table.shape[1:])
    return job_shop_lower_bound(table, visits, lags)


def job_shop_lower_bound(
    times: npt.ArrayLike, machines: npt.ArrayLike, lags: npt.ArrayLike = 0.0
) -> FloatArray:
    """Return a time that no schedule of a job shop beats: of the machines, and of the jobs.

    Assumes one machine of each kind, visited at most once by a job.

    Parameters
    ----------
    times : array_like, shape (n, jobs, operations)
        [s].
    machines : array_like of int, shape (jobs, operations)
        Machine of each operation.
    lags : array_like, shape (n, jobs, operations − 1)
        At least 0 [s].

    Returns
    -------
    ndarray, shape (n,)
        [s].

    Raises
    ------
    InputError
        A negative time or lag.

    Examples
    --------
    >>> job_shop_lower_bound([[[3.0, 2.0], [4.0, 1.0]]], [[0, 1], [1, 0]])
    array([6.])

    Notes
    -----
    Source `taillard-1993`, section 2.
    """
    table = times_table("times", times, 3)
    where = np.asarray(machines, dtype=np.int64)
    gaps = np.zeros(table.shape)
    gaps[..., 1:] = bounded("lags", lags, "s", at_least=0)
    before = (gaps + table).cumsum(axis=2) - table
    whole = before[..., -1:] + table[..., -1:]
    after = whole - before - table
    bound: FloatArray = whole[..., 0].max(axis=1)
    for machine in np.unique(where):
        here = where == machine
        heads = np.where(here, before, np.inf).min(axis=(1, 2))
        tails = np.where(here, after, np.inf).min(axis=(1, 2))
        bound = np.maximum(bound, heads + (table * here).sum(axis=(1, 2)) + tails)
    return bound


def reentrant_lower_bound(
    first: npt.ArrayLike, lags: npt.ArrayLike, second: npt.ArrayLike
) -> FloatArray:
    """Return a time that no schedule beats on one machine that sees every job twice.

    Assumes that the machine is free during the lag. For equal jobs the bound is reached, by all
    first visits before all second ones.

    Parameters
    ----------
    first, second : array_like, shape (n, jobs)
        Times of either visit [s].
    lags : array_like, shape (n, jobs)
        From the end of the first visit to the start of the second, at least 0 [s].

    Returns
    -------
    ndarray, shape (n,)
        max{Σ(p + c), Σp + min(l + c), min(p + l) + Σc, max(p + l + c)} [s].

    Raises
    ------
    InputError
        A negative time or lag.

    Examples
    --------
    >>> reentrant_lower_bound([[3.0, 4.0]], [[60.0, 60.0]], [[2.0, 1.0]])
    array([68.])

    Notes
    -----
    Derivable: source `derivable`. The machine can finish no first visit before Σp, and something
    is left of that job; and likewise from the other end.
    """
    p, c = np.broadcast_arrays(times_table("first", first), times_table("second", second))
    lag = bounded("lags", lags, "s", at_least=0)
    bounds = (
        (p + c).sum(axis=1),
        p.sum(axis=1) + (lag + c).min(axis=1),
        (p + lag).min(axis=1) + c.sum(axis=1),
        (p + lag + c).max(axis=1),
    )
    return np.asarray(np.maximum.reduce(np.broadcast_arrays(*bounds)))
