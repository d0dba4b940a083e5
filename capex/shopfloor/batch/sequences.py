"""Sequences of jobs: Johnson's rule, with and without lags, and completion times of a sequence.

A job visits machines in order; a *lag* is the least time from the end on one machine to the start
on the next, holding neither. It is negative where the next machine may start before the end.
Arrays have a leading scenario axis: (n, jobs) or (n, jobs, machines), n being 1 for one.

Imports numpy, `capex.errors` and `capex.shopfloor.arrays`.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from capex.errors import InputError
from capex.shopfloor.arrays import FloatArray, bounded

__all__ = [
    "completion_times",
    "job_shop_completion_times",
    "johnson_mitten_sequence",
    "johnson_sequence",
    "makespan",
    "times_table",
]

IntArray = npt.NDArray[np.int64]


def johnson_sequence(first: npt.ArrayLike, second: npt.ArrayLike) -> IntArray:
    """Return the sequence of the shortest makespan of a flow shop of two machines.

    Assumes that all jobs are there at once and that each machine works on one at a time. Jobs
    shorter on the first machine come first, shortest first; then the others, shortest on the
    second last. Equal jobs stay in the order given.

    Parameters
    ----------
    first, second : array_like, shape (n, jobs)
        Times on either machine [s].

    Returns
    -------
    ndarray of int, shape (n, jobs)
        Jobs by position.

    Raises
    ------
    InputError
        A negative time, or shapes that are not (n, jobs).

    Examples
    --------
    >>> johnson_sequence([[4, 4, 30, 6, 2]], [[5, 1, 4, 30, 3]])
    array([[4, 0, 3, 2, 1]])

    Notes
    -----
    Source `johnson-1954`.
    """
    return _johnson(times_table("first", first), times_table("second", second))


def johnson_mitten_sequence(
    first: npt.ArrayLike, second: npt.ArrayLike, lags: npt.ArrayLike
) -> IntArray:
    """Return the same sequence on both machines of the shortest makespan, with lags between them.

    Assumes that no job overtakes another between the machines. Overtaking may be shorter still
    where lags differ much.

    Parameters
    ----------
    first, second : array_like, shape (n, jobs)
        Times on either machine [s].
    lags : array_like, shape (n, jobs)
        From the end on the first to the start on the second [s].

    Returns
    -------
    ndarray of int, shape (n, jobs)
        Jobs by position.

    Raises
    ------
    InputError
        A negative time, a lag that lets the second machine start before the first, or shapes
        that are not (n, jobs).

    Examples
    --------
    >>> johnson_mitten_sequence([[3, 2]], [[1, 5]], [[9, 0]])
    array([[1, 0]])

    Notes
    -----
    Johnson's rule on (first + lag, second + lag). Source `mitten-1959`.
    """
    one, two = times_table("first", first), times_table("second", second)
    lag = _lags(lags, one)
    return _johnson(one + lag, two + lag)


def _johnson(one: FloatArray, two: FloatArray) -> IntArray:
    one, two = np.broadcast_arrays(one, two)
    late = one > two
    return np.lexsort((np.where(late, -two, one), late), axis=-1).astype(np.int64)


def completion_times(
    times: npt.ArrayLike, sequence: npt.ArrayLike | None = None, lags: npt.ArrayLike = 0.0
) -> FloatArray:
    """Return when each job ends on each machine of a flow shop that keeps one sequence.

    Assumes that every machine takes the jobs in the same sequence, as soon as it can.

    Parameters
    ----------
    times : array_like, shape (n, jobs, machines)
        [s].
    sequence : array_like of int, shape (jobs,) or (n, jobs), optional
        Jobs by position; as given unless said.
    lags : array_like, shape (n, jobs, machines − 1)
        From the end on one machine to the start on the next [s].

    Returns
    -------
    ndarray, shape (n, jobs, machines)
        By job, not by position [s].

    Raises
    ------
    InputError
        A negative time, a lag that lets a machine start before the one before it, or a sequence
        that does not name every job once.

    Examples
    --------
    >>> completion_times([[[3.0, 5.0], [1.0, 2.0]]], [1, 0])
    array([[[4., 9.],
            [1., 3.]]])

    Notes
    -----
    C(j, m) = max(C(j−1, m), C(j, m−1) + lag) + p(j, m), for all positions at once: with S the
    running sum of p, C = S + running maximum of (ready − S before). Source `pinedo-2016`.
    """
    table = times_table("times", times, 3)
    gaps = _lags(np.broadcast_to(lags, (*table.shape[:2], table.shape[2] - 1)), table[..., :-1])
    place = _sequences(sequence, table.shape[1])[..., None]
    worked = np.take_along_axis(table, place, axis=1)
    between = np.take_along_axis(gaps, place, axis=1)
    ready = np.zeros(worked.shape[:2])
    ends = np.empty(worked.shape)
    for machine in range(table.shape[2]):
        done = worked[..., machine].cumsum(axis=1)
        before = done - worked[..., machine]
        ends[..., machine] = done + np.maximum.accumulate(ready - before, axis=1)
        if machine < table.shape[2] - 1:
            ready = ends[..., machine] + between[..., machine]
    by_job = np.empty_like(ends)
    np.put_along_axis(by_job, np.broadcast_to(place, ends.shape), ends, axis=1)
    return by_job


def makespan(ends: FloatArray) -> FloatArray:
    """Return when the last job is done, shape (n,), of completion times (n, jobs, …) [s].

    Examples
    --------
    >>> makespan(completion_times([[[3.0, 5.0]] * 10]))
    array([53.])
    >>> makespan(completion_times([[[3.0, 5.0]] * 10], lags=7.0))
    array([60.])
    """
    return np.asarray(ends.reshape(ends.shape[0], -1).max(axis=1))


def job_shop_completion_times(
    times: npt.ArrayLike, machines: npt.ArrayLike, operation_order: npt.ArrayLike
) -> FloatArray:
    """Return when each operation of a job shop ends if operations are placed in a given order.

    Assumes that each operation starts as soon as its job and its machine are free of those
    placed before it (a semi-active schedule): list scheduling of a given list.

    Parameters
    ----------
    times : array_like, shape (n, jobs, operations)
        In the order of each job [s].
    machines : array_like of int, shape (jobs, operations)
        Machine of each operation.
    operation_order : array_like of int, shape (jobs · operations,)
        Jobs; the k-th mention of a job is its k-th operation.

    Returns
    -------
    ndarray, shape (n, jobs, operations)
        [s].

    Raises
    ------
    InputError
        A negative time, or an order that does not mention each job once an operation.

    Examples
    --------
    >>> job_shop_completion_times([[[3.0, 2.0], [4.0, 1.0]]], [[0, 1], [1, 0]], [0, 1, 1, 0])
    array([[[3., 6.],
            [4., 5.]]])

    Notes
    -----
    Source `pinedo-2016`, chapter 7.
    """
    table = times_table("times", times, 3)
    _, jobs, operations = table.shape
    where = np.asarray(machines, dtype=np.int64)
    order = np.asarray(operation_order, dtype=np.int64)
    if where.shape != (jobs, operations):
        raise InputError("machines", where.shape, f"must have the shape {(jobs, operations)}")
    if not np.array_equal(np.sort(order), np.repeat(np.arange(jobs), operations)):
        raise InputError("operation_order", order.tolist(), "must name each job once an operation")
    ends = np.empty_like(table)
    machine_free = np.zeros((table.shape[0], int(where.max(initial=-1)) + 1))
    job_free = np.zeros(table.shape[:2])
    placed = np.zeros(jobs, dtype=np.int64)
    for job in order:
        step = placed[job]
        machine = where[job, step]
        start = np.maximum(job_free[:, job], machine_free[:, machine])
        ends[:, job, step] = start + table[:, job, step]
        job_free[:, job] = machine_free[:, machine] = ends[:, job, step]
        placed[job] += 1
    return ends


def times_table(field: str, values: npt.ArrayLike, axes: int = 2) -> FloatArray:
    """Return a table of times, shape (n, jobs) or (n, jobs, machines) [s].

    Raises
    ------
    InputError
        Another number of axes, no job, or a time that is negative or not finite.
    """
    table = bounded(field, values, "s", at_least=0)
    if table.ndim != axes or 0 in table.shape[1:]:
        shape = "(n, jobs, machines)" if axes == 3 else "(n, jobs)"
        raise InputError(field, table.shape, f"must have the shape {shape}, with a job at least")
    return table


def _lags(lags: npt.ArrayLike, before: FloatArray) -> FloatArray:
    gaps = bounded("lags", lags, "s")
    each, least = np.broadcast_arrays(gaps, -before)
    early = each < least
    if early.any():
        at = int(np.argmax(early))
        bound = f"must be at least {least.flat[at]:g} s: no machine starts before the last one"
        raise InputError("lags", float(each.flat[at]), bound)
    return gaps


def _sequences(sequence: npt.ArrayLike | None, jobs: int) -> IntArray:
    if sequence is None:
        return np.arange(jobs)[None, :]
    rows = np.atleast_2d(np.asarray(sequence, dtype=np.int64))
    if rows.shape[1] != jobs or bool((np.sort(rows, axis=1) != np.arange(jobs)).any()):
        raise InputError("sequence", rows[0].tolist(), f"must name each of {jobs} jobs once")
    return rows
