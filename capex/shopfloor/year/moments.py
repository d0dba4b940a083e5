"""Moments on the floor: all that happens at one time, then who is given to whom.

All events of a moment are applied in any order: arrivals, ends of steps and delays, failures, ends
of repairs. Only then machines are given to the orders that wait for them, and persons to the
steps that ask, group by group, lowest key first. What that brings about at the same time is a
moment of its own.

`moments` is one long function on purpose. It is where the time goes, compiled or not, and a
call for each step would cost more than the work it does.

Imports heapq, math, and `capex.shopfloor.year.shop`.
"""

from __future__ import annotations

import math
from heapq import heappop, heappush, heappushpop, heapreplace
from typing import Final, NamedTuple

from capex.shopfloor.year.shop import ARRIVED, BLOCKED, DONE, DOWN, FREE, RUNNING, Shop

__all__ = [
    "NEVER", "PARTS", "Lines", "Rank", "append", "begin", "book", "count", "fail", "mark",
    "moments", "no_lines", "put", "rank", "remove", "take", "take_last",
]  # fmt: skip

NEVER: Final = math.inf
#: What is done to `Lines.running` and to `Lines.paused`; the compiled dispatcher has its own.
put: Final = heappush
take: Final = heappop
count: Final = len
append: Final = list.append
take_last: Final = list.pop
remove: Final = list.remove
#: What is to be done for an order: ask for what a step needs, ask for a person, start.
ASK: Final = 1
CALL: Final = 2
START: Final = 3

Rank = tuple[float, int]


class Lines(NamedTuple):
    """What is to come, who waits at each station, and which steps pause until the opening.

    `running` is an agenda (`put`, `take`) of times on open time: of orders by their number, of
    machines under repair by theirs after the last order. `waits` is a heap on the wall clock: ends
    of delays, and -1 for the next arrival. `queues` are heaps of orders, one a station. Where
    nobody stands in a line, its first entry never comes. `aside` is a heap that is empty but for a
    moment.
    """

    running: list[Rank]
    waits: list[Rank]
    queues: list[list[Rank]]
    paused: list[int]
    aside: list[Rank]


def no_lines(shop: Shop) -> Lines:
    """Return lines in which nobody stands; the compiled dispatcher has its own."""
    queues = [[(NEVER, -1)] for _ in range(len(shop.work))]
    return Lines([(NEVER, -1)], [(NEVER, -1)], queues, [], [(NEVER, -1)])


def rank(rule: int, due: float, duration: float) -> float:
    """Return what puts an order before others, lowest first, by any rule but the first."""
    if rule == 1:
        return 0.0
    return due if rule == 2 else duration


def fail(shop: Shop, m: int, t: float) -> float:
    """Put a machine out of order and return how long its repair takes."""
    k = m * shop.draws + shop.failures[m]
    shop.failures[m] += 1
    shop.state[m] = DOWN
    shop.entered[m] = t
    shop.fails_at[m] = NEVER
    if shop.failures[m] < shop.draws:
        shop.fails_at[m] = shop.ran[m] + shop.until[k + 1]
    return shop.repair[k]


def book(shop: Shop, i: int, t: float) -> None:
    """Book what a running step has done since it started or resumed, and keep what is left."""
    s, m = shop.step[i], shop.held[i]
    left = shop.end[i] - t
    done = shop.left[i] - left
    shop.left[i] = left
    if shop.desk[s] >= 0:
        shop.work[shop.desk[s]] -= done
    if m >= 0:
        shop.ran[m] += done
        shop.work[shop.machine[s]] -= done
        if shop.set_up[s]:
            shop.setting_up[m] += done


def begin(shop: Shop, i: int) -> int:
    """Let an order begin its program: what it brings to the stations; return its first step."""
    r = shop.program[i]
    size = shop.size[i]
    for j in range(shop.load_first[r], shop.load_first[r + 1]):
        brought = shop.load_fixed[j] + shop.load_scaled[j] * size
        shop.work[shop.load_station[j]] += brought
        shop.brought[shop.load_station[j]] += brought
    s = shop.first[r]
    shop.step[i] = s
    shop.left[i] = shop.fixed[s] + shop.scaled[s] * size
    return s


def mark(
    leaves: list[int], spare: list[int], waiting: list[int], queue: list[int], first: int, a: int
) -> None:
    """Let somebody leave, or write down from `first` on how many wait at each station."""
    if leaves[a] >= 0:
        spare[leaves[a]] -= 1
    else:
        for k in range(len(waiting)):
            queue[first + k] = waiting[k]


def moments(shop: Shop, lines: Lines, now: float, limit: float, gives: bool, d: int) -> float:
    """Run the moment `now` and all later ones before a limit; return the time of the last.

    Where the shop is closed nothing is given to anybody (`gives`). The marks of day `d` are made
    on the way, where it is not -1. Ends with the last order.
    """
    running, waits, queues, paused, _ = lines
    machine, desk, people_rule = shop.machine, shop.desk, shop.people_rule
    fixed, scaled, ahead, machine_rule = shop.fixed, shop.scaled, shop.ahead, shop.machine_rule
    set_up, keeps_machine, keeps_person = shop.set_up, shop.keeps_machine, shop.keeps_person
    size, due, last_step, totals = shop.size, shop.due, shop.last_step, shop.totals
    step, place, held, left, end = shop.step, shop.place, shop.held, shop.left, shop.end
    state, holder, entered = shop.state, shop.holder, shop.entered
    spare, waiting, work = shop.spare, shop.waiting, shop.work
    ran, fails_at, blocked, setting_up = shop.ran, shop.fails_at, shop.blocked, shop.setting_up
    begun, ended, on = shop.begun, shop.ended, shop.on
    marks, leaves, queue = shop.mark, shop.leaves, shop.queue
    orders, groups, stations = len(size), shop.groups, len(work)
    # `may`: the first station at which somebody may be given, -1 where all are to be looked at
    t, k, giving, may = now, 0, False, -1
    a, next_mark, soon, whole_hours = 1, NEVER, waits[0][0], d * shop.hours + 1
    if d >= 0 and len(marks) > 1:
        next_mark = now + marks[1]
    stop = min(next_mark, limit)
    while True:
        then = running[0][0]
        if soon < then:
            then = soon
        # What is next: somebody to give, a paused step, or an event of this moment or the next.
        if may < stations and then > t and gives and not giving and count(paused) == 0:
            giving, k, may = True, max(may, 0), stations
        if giving:
            while k < stations and (spare[k] <= 0 or waiting[k] == 0):
                k += 1
            giving = k < stations
        if giving:
            i = heappop(queues[k])[1]
            waiting[k] -= 1
            s = step[i]
            spare[k] -= 1
            todo = START
            if k < groups:
                m = shop.first_machine[k]
                while state[m] != FREE:
                    m += 1
                held[i] = m
                holder[m] = i
                if desk[s] >= 0:
                    todo = CALL
            else:
                m = held[i]
                if m >= 0:
                    blocked[m] += t - entered[m]
        elif may < stations and then > t and gives:
            i = take_last(paused)
            s, m, todo = step[i], held[i], START
        elif then >= stop and then > t:
            if next_mark >= limit:
                return t
            mark(leaves, spare, waiting, queue, whole_hours * stations, a)
            if leaves[a] < 0:
                whole_hours += 1
            a += 1
            next_mark = now + marks[a] if a < len(marks) else NEVER
            stop = min(next_mark, limit)
            continue
        else:
            t = then
            if soon == t:
                i = waits[0][1]
                if i < 0:
                    heapreplace(waits, (shop.arrival[totals[ARRIVED] + 1], -1))
                else:
                    heappop(waits)
                soon = waits[0][0]
            else:
                i = take(running)[1]
            if i < 0:
                i = totals[ARRIVED]
                totals[ARRIVED] += 1
                s, m, todo = begin(shop, i), -1, ASK
            elif i >= orders:
                m = i - orders
                shop.down[m] += t - entered[m]
                i = holder[m]
                if i < 0:
                    state[m] = FREE
                    spare[shop.group_of[m]] += 1
                    may = min(may, shop.group_of[m])
                    continue
                s = step[i]
                todo = CALL if desk[s] >= 0 else START
            else:
                s, m = step[i], held[i]
                p, g = desk[s], machine[s]
                if t < end[i]:
                    book(shop, i, t)
                    if p >= 0:
                        spare[p] += 1
                        if waiting[p] > 0 and p < may:
                            may = p
                    put(running, (t + fail(shop, m, t), orders + m))
                    continue
                done = left[i]
                if p >= 0:
                    work[p] -= done
                    if not keeps_person[s]:
                        spare[p] += 1
                        if waiting[p] > 0 and p < may:
                            may = p
                if m >= 0:
                    ran[m] += done
                    work[g] -= done
                    if set_up[s]:
                        setting_up[m] += done
                    if not keeps_machine[s]:
                        held[i] = holder[m] = -1
                        state[m] = FREE
                        m = -1
                        spare[g] += 1
                        if waiting[g] > 0 and g < may:
                            may = g
                at = place[i]
                ended[at] = t
                place[i] = at + 1
                todo = ASK
                if s < last_step[i]:
                    if keeps_person[s]:
                        todo = START
                    s += 1
                    step[i] = s
                    left[i] = fixed[s] + scaled[s] * size[i]
                elif shop.passes[i] > 1:
                    shop.passes[i] -= 1
                    s = begin(shop, i)
                else:
                    shop.finished[i] = t
                    totals[DONE] += 1
                    if totals[DONE] == orders:
                        return t
                    continue

        # What it leads to, for order i, its step s and its machine m.
        if todo == ASK:
            g = machine[s]
            if g >= 0 and m < 0:
                if may < stations or not gives or spare[g] <= 0 or running[0][0] == t or soon == t:
                    first = ahead[s] if machine_rule == 0 else rank(machine_rule, due[i], left[i])
                    heappush(queues[g], (first, i))
                    waiting[g] += 1
                    if spare[g] > 0 and g < may:
                        may = g
                    continue
                # nobody else asks for anything at this moment
                spare[g] -= 1
                m = shop.first_machine[g]
                while state[m] != FREE:
                    m += 1
                held[i] = m
                holder[m] = i
            if desk[s] >= 0:
                todo = CALL
            elif g < 0:
                ends = t + left[i]
                begun[place[i]] = t
                end[i] = ends
                heappush(waits, (ends, i))
                soon = waits[0][0]
                continue
        if todo == CALL:
            p = desk[s]
            first = ahead[s]
            if people_rule > 0:
                first = rank(people_rule, due[i], fixed[s] + scaled[s] * size[i])
            if (
                spare[p] <= 0
                or (may < stations and may != p)
                or giving
                or not gives
                or running[0][0] == t
                or soon == t
            ):
                heappush(queues[p], (first, i))
                waiting[p] += 1
                if spare[p] > 0 and p < may and not giving:
                    may = p
                if m >= 0:
                    state[m] = BLOCKED
                    entered[m] = t
                continue
            # nobody else is given to anybody at this moment
            spare[p] -= 1
            if may == p:
                giving, k, may = True, p, stations
                other = heappushpop(queues[p], (first, i))[1]
                if other != i:
                    if m >= 0:
                        state[m] = BLOCKED
                        entered[m] = t
                    i = other
                    s, m = step[i], held[i]
                    if m >= 0:
                        blocked[m] += t - entered[m]
        done = left[i]
        ends = t + done
        end[i] = ends
        at = place[i]
        if begun[at] == NEVER:
            begun[at] = t
            on[at] = m
        if m >= 0:
            state[m] = RUNNING
            fit = fails_at[m] - ran[m]
            if fit < done:
                ends = t + max(fit, 0.0)
        put(running, (ends, i))


#: Every function above, each after those that it calls.
PARTS: Final = (rank, fail, book, begin, mark, moments)
