"""The days on the floor: opening, regular hours, overtime, closing, and machines alone at night.

The running steps of a closing pause until the next opening, or go on alone into the night. The
same source is compiled or run as it stands; see `capex.shopfloor.year.moments`.

Imports heapq and the files of this folder.
"""

from __future__ import annotations

from heapq import heappop, heappush
from typing import Final

from capex.shopfloor.year.moments import (
    NEVER,
    Lines,
    append,
    book,
    count,
    fail,
    mark,
    moments,
    put,
    remove,
    take,
    take_last,
)
from capex.shopfloor.year.shop import BLOCKED, DONE, DOWN, FREE, Shop

__all__ = ["PARTS", "run"]

#: Work that counts as none: what sums of many steps leave in their last digits [s].
NO_WORK: Final = 1e-3


def all_done(shop: Shop) -> bool:
    """Return whether the last order is finished."""
    return shop.totals[DONE] == len(shop.size)


def stand_still(shop: Shop, t: float) -> None:
    """Book what machines have been blocked or down up to a closing or to the end."""
    for m in range(len(shop.state)):
        if shop.state[m] == DOWN:
            shop.down[m] += t - shop.entered[m]
        elif shop.state[m] == BLOCKED:
            shop.blocked[m] += t - shop.entered[m]


def close(shop: Shop, lines: Lines, d: int, t: float) -> None:
    """Pause everything that runs on open time, and write down the work at every station."""
    stand_still(shop, t)
    while lines.running[0][0] < NEVER:
        end, i = take(lines.running)
        if i < len(shop.size):
            book(shop, i, t)
            append(lines.paused, i)
        else:
            shop.mending[i - len(shop.size)] = end - t
    stations = len(shop.work)
    for k in range(stations):
        shop.backlog[d * stations + k] = shop.work[k] if shop.work[k] > NO_WORK else 0.0


def night(shop: Shop, lines: Lines, i: int, closing: float) -> bool:
    """Let an order go on alone overnight; return whether its step is to resume at the opening."""
    m, s = shop.held[i], shop.step[i]
    spent = 0.0
    while True:
        left = shop.left[i]
        fit = max(shop.fails_at[m] - shop.ran[m], 0.0)
        done = min(left, fit, shop.night - spent)
        spent += done
        t = closing + spent
        shop.ran[m] += done
        shop.work[shop.machine[s]] -= done
        shop.at_night[m] += done
        shop.left[i] = left - done
        if done < left:
            if done == fit:
                shop.mending[m] = fail(shop, m, t)
            return done < fit
        if not shop.keeps_machine[s] or shop.desk[s + 1] >= 0:
            # the end of the step is an event of its own; all of it is booked
            shop.left[i] = 0.0
            shop.end[i] = t
            heappush(lines.waits, (t, i))
            return False
        shop.ended[shop.place[i]] = t
        shop.place[i] += 1
        s += 1
        shop.step[i] = s
        shop.left[i] = shop.fixed[s] + shop.scaled[s] * shop.size[i]
        if not shop.alone[s]:
            return True
        shop.begun[shop.place[i]] = t
        shop.on[shop.place[i]] = m


def nights(shop: Shop, lines: Lines, d: int, closing: float) -> None:
    """Let machines go on alone where they may and where the night's luck is with them."""
    for j in range(count(lines.paused) - 1, -1, -1):
        i = lines.paused[j]
        m = shop.held[i]
        if (
            shop.alone[shop.step[i]]
            and shop.luck_of_night[m * len(shop.opens) + d] < shop.completion
            and not night(shop, lines, i, closing)
        ):
            lines.paused[j] = lines.paused[count(lines.paused) - 1]
            take_last(lines.paused)


def leave_line(shop: Shop, lines: Lines, k: int, i: int) -> None:
    """Take an order out of the line at a station."""
    for _ in range(shop.waiting[k]):
        first, other = heappop(lines.queues[k])
        if other != i:
            heappush(lines.aside, (first, other))
    shop.waiting[k] -= 1
    while lines.aside[0][0] < NEVER:
        heappush(lines.queues[k], heappop(lines.aside))


def break_down(shop: Shop, lines: Lines, m: int, t: float) -> None:
    """Let a machine stand from the opening on, for its repair or longer."""
    i = shop.holder[m]
    length = shop.broken_length
    if shop.state[m] == DOWN:
        length = max(length, shop.mending[m])
    elif shop.state[m] == FREE:
        shop.spare[shop.group_of[m]] -= 1
    elif shop.state[m] == BLOCKED:
        leave_line(shop, lines, shop.desk[shop.step[i]], i)
    else:
        # its step would have gone on at this moment
        remove(lines.paused, i)
        if shop.begun[shop.place[i]] == NEVER:
            shop.begun[shop.place[i]] = t
            shop.on[shop.place[i]] = m
        if shop.desk[shop.step[i]] >= 0:
            shop.spare[shop.desk[shop.step[i]]] += 1
    shop.mending[m] = length
    shop.state[m] = DOWN


def settle(shop: Shop, lines: Lines, t: float) -> None:
    """Let all that happens up to a moment happen, and give nothing to anybody."""
    if lines.running[0][0] <= t or lines.waits[0][0] <= t:
        moments(shop, lines, t, t, False, -1)


def open_up(shop: Shop, lines: Lines, d: int) -> None:
    """Let everybody come in, repairs go on, and the breakdown of the day strike."""
    t = shop.opens[d]
    if d > 0:
        for k in range(len(shop.mark)):
            if shop.leaves[k] >= 0:
                shop.spare[shop.leaves[k]] += 1
    if d == shop.broken_day:
        settle(shop, lines, t)
        break_down(shop, lines, shop.broken, t)
    for m in range(len(shop.state)):
        shop.entered[m] = t
        if shop.state[m] == DOWN:
            put(lines.running, (t + shop.mending[m], len(shop.size) + m))


def too_much_work(shop: Shop, lines: Lines, d: int, t: float) -> bool:
    """Return whether some station has more work waiting than the shop puts up with."""
    stations = len(shop.work)
    # where the last closing will write down the backlog, the regular one may reckon
    a = d * stations
    for k in range(stations):
        shop.backlog[a + k] = shop.work[k]
    while lines.running[0][0] < NEVER:
        ends, i = take(lines.running)
        heappush(lines.aside, (ends, i))
        if i < len(shop.size):
            s = shop.step[i]
            rest = shop.left[i] - (shop.end[i] - t)
            if shop.machine[s] >= 0:
                shop.backlog[a + shop.machine[s]] -= rest
            if shop.desk[s] >= 0:
                shop.backlog[a + shop.desk[s]] -= rest
    while lines.aside[0][0] < NEVER:
        put(lines.running, heappop(lines.aside))
    found = False
    for k in range(stations):
        work = shop.backlog[a + k]
        shop.backlog[a + k] = 0.0
        found = found or (work > NO_WORK and work / shop.servers[k] > shop.trigger)
    return found


def regular_hours(shop: Shop, lines: Lines, d: int) -> float:
    """Open, and run a day up to its regular closing, that moment not included."""
    opens = shop.opens[d]
    mark(shop.leaves, shop.spare, shop.waiting, shop.queue, d * shop.hours * len(shop.work), 0)
    open_up(shop, lines, d)
    return moments(shop, lines, opens, opens + shop.shift, True, d)


def evening(shop: Shop, lines: Lines, d: int) -> float:
    """Run the regular closing and what overtime follows; return the last moment."""
    t = shop.opens[d] + shop.shift
    # nothing is given at a last closing, but all that happens at that time has happened
    settle(shop, lines, t)
    extra = min(shop.overtime, shop.overtime_left[shop.month_of[d]])
    if all_done(shop) or extra <= 0.0 or not too_much_work(shop, lines, d, t):
        return t
    shop.extended[d] = extra
    shop.overtime_left[shop.month_of[d]] -= extra
    last = moments(shop, lines, t, t + extra, True, -1)
    if all_done(shop):
        return last
    settle(shop, lines, t + extra)
    return t + extra


def tally(shop: Shop, a: int) -> None:
    """Write down, from place `a` on, what machines and people have done up to an opening.

    Operating time, of it at night and in set-up, blocked and down, each by machine; time worked
    by group of people.
    """
    machines, groups = len(shop.state), shop.groups
    for m in range(machines):
        shop.tally[a + m] = shop.ran[m]
        shop.tally[a + machines + m] = shop.at_night[m]
        shop.tally[a + 2 * machines + m] = shop.setting_up[m]
        shop.tally[a + 3 * machines + m] = shop.blocked[m]
        shop.tally[a + 4 * machines + m] = shop.down[m]
    a += 5 * machines
    for p in range(len(shop.work) - groups):
        shop.tally[a + p] = shop.brought[groups + p] - shop.work[groups + p]


def run(shop: Shop, lines: Lines) -> None:
    """Run a floor to its last order, or to the last closing of the days given."""
    heappush(lines.waits, (shop.arrival[0], -1))
    for d in range(len(shop.opens)):
        if d == shop.counted[0]:
            tally(shop, 0)
        if d == shop.counted[1]:
            tally(shop, len(shop.tally) // 2)
        # whatever comes while the shop is closed
        if lines.waits[0][0] < shop.opens[d]:
            moments(shop, lines, -NEVER, shop.opens[d], False, -1)
        if all_done(shop):
            return
        t = regular_hours(shop, lines, d)
        if not all_done(shop):
            t = evening(shop, lines, d)
        if all_done(shop):
            stand_still(shop, t)
            return
        close(shop, lines, d, t)
        if shop.night > 0.0 and d + 1 < len(shop.opens):
            nights(shop, lines, d, t)


#: Every function above, each after those that it calls.
PARTS: Final = (
    all_done, stand_still, close, night, nights, leave_line, break_down, settle,
    open_up, too_much_work, regular_hours, evening, tally, run,
)  # fmt: skip
