"""Everything the dispatcher reads and writes while it runs, as flat one-dimensional sequences.

`Shop` holds arrays where the dispatcher is compiled; `Lists` has the same fields and holds lists,
which plain Python indexes three times as fast. The rules of the dispatcher stand in
`capex.shopfloor.year.kernel`.

Imports numpy and `capex.shopfloor.year.plan`.
"""

from __future__ import annotations

from typing import Any, Final, NamedTuple

import numpy as np
import numpy.typing as npt

from capex.shopfloor.year.plan import Breakdown, Floor, Luck, Orders, Shifts

__all__ = [
    "ARRIVED", "BLOCKED", "DONE", "DOWN", "FREE", "RULES", "RUNNING", "Lists", "Shop", "shop_of",
]  # fmt: skip

#: Rules by number, as `capex.shopfloor.year.moments` knows them.
RULES: Final = ("furthest_along", "first_come", "earliest_due", "shortest")
#: States of a machine.
FREE: Final = 0
RUNNING: Final = 1
BLOCKED: Final = 2
DOWN: Final = 3
#: Places in `Shop.totals`.
ARRIVED: Final = 0
DONE: Final = 1


class Shop(NamedTuple):
    """One run of a floor: machines m, programs r, steps s, orders i, days d, stations k.

    Stations are the machine groups, then the groups of people. What is given comes first, what
    changes after it, what is recorded last.
    """

    # the floor
    groups: int
    group_of: list[int]
    first_machine: list[int]  # of each group
    servers: list[float]  # of each station
    first: list[int]
    machine: list[int]
    desk: list[int]  # station of the people, -1 for none
    fixed: list[float]
    scaled: list[float]
    ahead: list[float]  # steps to the end of the program
    alone: list[bool]
    set_up: list[bool]
    keeps_machine: list[bool]
    keeps_person: list[bool]
    machine_rule: int
    people_rule: int
    # what a pass of each program brings to each station
    load_first: list[int]
    load_station: list[int]
    load_fixed: list[float]
    load_scaled: list[float]
    # the shifts
    opens: list[float]
    shift: float
    overtime: float
    month_of: list[int]
    trigger: float  # as a time of work
    night: float
    completion: float
    counted: list[int]  # the openings between which states are counted
    hours: int
    mark: list[float]  # times after opening: whole hours, and when somebody leaves
    leaves: list[int]  # the station that somebody leaves, -1 for a whole hour
    # orders and luck; after the last arrival comes one that never comes
    arrival: list[float]
    program: list[int]
    size: list[float]
    due: list[float]
    last_step: list[int]
    draws: int
    until: list[float]
    repair: list[float]
    luck_of_night: list[float]
    broken: int
    broken_day: int
    broken_length: float
    # of every order: passes left, the next step, its place in the record, the machine held,
    # what is left of the step, and when it would end
    passes: list[int]
    step: list[int]
    place: list[int]
    held: list[int]
    left: list[float]
    end: list[float]
    # of every machine: state, order held, since when blocked or down, repair left at closing,
    # operating time so far and at the next failure, failures so far
    state: list[int]
    holder: list[int]
    entered: list[float]
    mending: list[float]
    ran: list[float]
    fails_at: list[float]
    failures: list[int]
    # of every station: free servers, orders that wait, work there and work ever brought;
    # overtime left by month; orders arrived and done
    spare: list[int]
    waiting: list[int]
    work: list[float]
    brought: list[float]
    overtime_left: list[float]
    totals: list[int]
    # the record
    begun: list[float]
    ended: list[float]
    on: list[int]
    finished: list[float]
    setting_up: list[float]
    blocked: list[float]
    down: list[float]
    at_night: list[float]
    extended: list[float]
    tally: list[float]  # at these two openings; see `capex.shopfloor.year.days.tally`
    queue: list[int]
    backlog: list[float]


class Lists:
    """A `Shop` in lists, faster to reach than a tuple's fields."""

    __slots__ = Shop._fields
    #: What the dispatcher writes down, and all that it hands back.
    written = Shop._fields[Shop._fields.index("begun") :]
    recorded = Shop._fields[Shop._fields.index("passes") :]

    def __init__(self, shop: Shop) -> None:
        for name in Shop._fields:
            value: Any = getattr(shop, name)
            if name in self.written:
                # the same everywhere before the run
                value = value[:1].tolist() * value.size
            elif isinstance(value, np.ndarray):
                value = value.tolist()
            setattr(self, name, value)


def shop_of(
    floor: Floor, shifts: Shifts, orders: Orders, luck: Luck, breakdown: Breakdown | None
) -> Shop:
    """Return a run before it begins."""
    return Shop(
        **_floor(floor),
        **_shifts(floor, shifts),
        **_orders(floor, orders, luck, breakdown or Breakdown(-1, -1, 0.0)),
        **_start(floor, shifts, orders, luck),
    )


def _groups(floor: Floor) -> int:
    return int(floor.group_of[-1]) + 1 if floor.group_of.size else 0


def _floor(floor: Floor) -> dict[str, Any]:
    groups = _groups(floor)
    people, ahead = _whole(floor.people), np.zeros(floor.machine.size)
    for first, last in zip(floor.first.tolist(), floor.last.tolist(), strict=True):
        ahead[first : last + 1] = np.arange(last - first, -1, -1)
    return {
        "groups": groups, "group_of": _whole(floor.group_of),
        "first_machine": np.searchsorted(floor.group_of, np.arange(groups)),
        "servers": np.append(np.bincount(floor.group_of, minlength=groups), floor.persons),
        "first": _whole(floor.first), "machine": _whole(floor.machine),
        "desk": np.where(people >= 0, people + groups, -1),
        "fixed": _real(floor.fixed), "scaled": _real(floor.scaled), "ahead": ahead,
        **{
            name: np.ascontiguousarray(getattr(floor, name), dtype=bool)
            for name in ("alone", "set_up", "keeps_machine", "keeps_person")
        },
        "machine_rule": RULES.index(floor.machine_rule),
        "people_rule": RULES.index(floor.people_rule),
        **_loads(floor, groups),
    }  # fmt: skip


def _shifts(floor: Floor, shifts: Shifts) -> dict[str, Any]:
    mark, leaves = _marks(floor, shifts)
    return {
        "opens": _real(shifts.opens), "shift": float(shifts.shift),
        "overtime": float(shifts.overtime), "month_of": _whole(shifts.month_of),
        "trigger": float(shifts.trigger) * float(shifts.shift),
        "night": float(shifts.night), "completion": float(shifts.completion),
        "counted": _whole(shifts.counted),
        "hours": int((leaves < 0).sum()), "mark": mark, "leaves": leaves,
    }  # fmt: skip


def _orders(floor: Floor, orders: Orders, luck: Luck, placed: Breakdown) -> dict[str, Any]:
    program = _whole(orders.program)
    return {
        "arrival": np.append(_real(orders.arrival), np.inf), "program": program,
        "size": _real(orders.size), "due": _real(orders.due),
        "last_step": _whole(floor.last)[program],
        "draws": luck.until.shape[1], "until": _real(luck.until).ravel(),
        "repair": _real(luck.repair).ravel(), "luck_of_night": _real(luck.night).ravel(),
        "broken": int(placed.machine), "broken_day": int(placed.day),
        "broken_length": float(placed.length),
    }  # fmt: skip


def _start(floor: Floor, shifts: Shifts, orders: Orders, luck: Luck) -> dict[str, Any]:
    machines, days, count = floor.group_of.size, shifts.opens.size, orders.arrival.size
    groups, people = _groups(floor), floor.persons.size
    passes = _whole(orders.passes).copy()
    steps = (_whole(floor.last) - _whole(floor.first) + 1)[_whole(orders.program)] * passes
    total = int(steps.sum())
    hours = int(np.ceil(shifts.shift / 3600.0))
    spare = np.append(np.bincount(floor.group_of, minlength=groups), np.ceil(floor.persons))
    return {
        "passes": passes, "step": np.zeros(count, np.int64), "place": np.cumsum(steps) - steps,
        "held": np.full(count, -1), "left": np.zeros(count), "end": np.zeros(count),
        "state": np.zeros(machines, np.int64), "holder": np.full(machines, -1),
        "entered": np.zeros(machines), "mending": np.zeros(machines), "ran": np.zeros(machines),
        "fails_at": _real(luck.until[:, 0]).copy(), "failures": np.zeros(machines, np.int64),
        "spare": _whole(spare), "waiting": np.zeros(groups + people, np.int64),
        "work": np.zeros(groups + people),
        "brought": np.zeros(groups + people),
        "overtime_left": _real(shifts.overtime_left).copy(), "totals": np.zeros(2, np.int64),
        "begun": np.full(total, np.inf), "ended": np.full(total, np.inf),
        "on": np.full(total, -1), "finished": np.full(count, np.inf),
        "setting_up": np.zeros(machines), "blocked": np.zeros(machines),
        "down": np.zeros(machines), "at_night": np.zeros(machines),
        "extended": np.zeros(days), "tally": np.full(2 * (5 * machines + people), np.nan),
        "queue": np.zeros(days * hours * (groups + people), np.int64),
        "backlog": np.zeros(days * (groups + people)),
    }  # fmt: skip


def _whole(values: npt.ArrayLike) -> npt.NDArray[np.int64]:
    return np.ascontiguousarray(values, dtype=np.int64)


def _real(values: npt.ArrayLike) -> npt.NDArray[np.float64]:
    return np.ascontiguousarray(values, dtype=np.float64)


def _marks(floor: Floor, shifts: Shifts) -> tuple[npt.NDArray[np.float64], npt.NDArray[np.int64]]:
    """Return the times after opening at which somebody looks or leaves, in order of time."""
    marks = [(hour * 3600.0, -1) for hour in range(int(np.ceil(shifts.shift / 3600.0)))]
    for group, persons in enumerate(floor.persons.tolist()):
        part = persons - np.floor(persons)
        if part > 0:
            marks.append((float(part) * shifts.shift, _groups(floor) + group))
    marks.sort()
    return _real([time for time, _ in marks]), _whole([group for _, group in marks])


def _loads(floor: Floor, groups: int) -> dict[str, Any]:
    """Return what one pass of each program brings to the stations that it uses."""
    begins, station, fixed, scaled = [0], [], [], []
    for first, last in zip(floor.first.tolist(), floor.last.tolist(), strict=True):
        for k in range(groups + floor.persons.size):
            needs = floor.machine if k < groups else floor.people
            here = needs[first : last + 1] == (k if k < groups else k - groups)
            if here.any():
                station.append(k)
                fixed.append(float(floor.fixed[first : last + 1][here].sum()))
                scaled.append(float(floor.scaled[first : last + 1][here].sum()))
        begins.append(len(station))
    return {
        "load_first": _whole(begins), "load_station": _whole(station),
        "load_fixed": _real(fixed), "load_scaled": _real(scaled),
    }  # fmt: skip
