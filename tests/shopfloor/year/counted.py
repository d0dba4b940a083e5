"""What a record says once more, counted from the times of its steps alone."""

from __future__ import annotations

import numpy as np


def steps_of(floor, orders, record):
    """Return order, step and whole duration of every entry of a record."""
    number = (floor.last - floor.first + 1)[orders.program]
    order = np.repeat(np.arange(orders.arrival.size), number * orders.passes)
    step = (np.arange(order.size) - record.offset[order]) % number[order]
    step += floor.first[orders.program[order]]
    return order, step, floor.fixed[step] + floor.scaled[step] * orders.size[order]


def work_brought(floor, orders, record, closing):
    """Return the work for each machine group of all passes begun until a closing [s]."""
    order, step, duration = steps_of(floor, orders, record)
    first = floor.first[orders.program[order]]
    starts = record.offset[order] == np.arange(order.size)
    before = np.where(starts, orders.arrival[order], np.append(np.inf, record.ended[:-1]))
    # a pass is begun when its first step may
    begun = np.where(step == first, before, -np.inf)
    passes = np.cumsum(step == first) - 1
    came = begun[step == first][passes] <= closing
    works = came & (floor.machine[step] >= 0)
    groups = record.machine_queue.shape[2]
    return np.bincount(floor.machine[step][works], duration[works], minlength=groups)


def hours_of(shifts, until):
    """Return the times of the whole hours of every shift before a time, by day and hour."""
    hours = int(np.ceil(shifts.shift / 3600.0))
    times = shifts.opens[:, None] + 3600.0 * np.arange(hours)
    return times, times < until


def present_by_hour(floor, shifts, orders, record):
    """Return, of every hour before the end: arrived, finished, waiting, in a step, in doubt.

    Who waits is what the dispatcher counted; the others are counted from times. In doubt are
    steps whose machine may have failed: the order may wait for its person once more.
    """
    _, step, _ = steps_of(floor, orders, record)
    times, there = hours_of(shifts, orders.arrival.max())
    waiting = (record.machine_queue.sum(axis=2) + record.people_queue.sum(axis=2))[there]
    t = times[there]
    before = np.searchsorted  # how many of a sorted row come before

    def under_way(which):
        begun, ended = np.sort(record.begun[which]), np.sort(record.ended[which])
        return before(begun, t, side="left") - before(ended, t, side="left")

    both = (floor.machine[step] >= 0) & (floor.people[step] >= 0)
    return (
        before(orders.arrival, t, side="left"),
        before(np.sort(record.finished), t, side="left"),
        waiting,
        under_way(np.full(step.size, True)),
        under_way(both),
    )
