"""What the SimPy model is made of: a clock of appointments, orders, and machines with failures.

Imports simpy, which is installed with ``capex[verify]``.
"""

from __future__ import annotations

import math
from collections.abc import Generator
from dataclasses import dataclass, field
from heapq import heappush
from typing import TYPE_CHECKING, Any

import simpy
from simpy.events import EventPriority

if TYPE_CHECKING:
    from capex.decision.audit.simpy_floor import Shop

__all__ = ["BREAKDOWN", "CLOSING", "EVENT", "MACHINES", "PEOPLE", "SNAPSHOT", "Clock",
           "Happening", "Job", "Machine"]  # fmt: skip

#: Order of what happens at one time; SimPy's own are 0 (interrupts) and 1 (everything else).
SNAPSHOT, EVENT, BREAKDOWN, CLOSING, MACHINES, PEOPLE = -1, 1, 2, 3, 4, 5

Happening = Generator[simpy.Event, Any, Any]


class Clock(simpy.Environment):
    """SimPy's time with appointments: an event at a time, of a rank among those of that time."""

    def at(self, time: float, rank: int = EVENT) -> simpy.Event:
        """Return an event at a time; never where that is infinite."""
        event = simpy.Event(self)
        if time < math.inf:
            event._ok, event._value = True, None
            heappush(self._queue, (time, EventPriority(rank), next(self._eid), event))
        return event


@dataclass(eq=False)
class Job:
    """An order in the shop: the steps of its pass that have not ended, and what it holds."""

    number: int
    step: int = -1
    left: dict[int, float] = field(default_factory=dict)
    machine: Machine | None = None
    person: bool = False
    runs_to: float | None = None
    process: simpy.Process = field(init=False)
    granted: simpy.Event = field(init=False)


class Machine:
    """One machine: its order, its failures, and how long it was in which state."""

    def __init__(self, shop: Shop, number: int) -> None:
        self.shop, self.number = shop, number
        self.job: Job | None = None
        self.repair: simpy.Process | None = None
        self.fit = shop.clock.event()
        self.failures, self.operated = 0, 0.0
        self.night_until: float | None = None
        self.state, self.since = "idle", 0.0
        self.seconds: dict[tuple[str, bool], float] = {}

    def turns(self, state: str) -> None:
        """Enter a state, and count how long the last one lasted."""
        now, lasted = self.shop.clock.now, (self.state, self.shop.is_open)
        self.seconds[lasted] = self.seconds.get(lasted, 0.0) + now - self.since
        self.state, self.since = state, now

    def stands(self, length: float) -> None:
        """Be down for a length of open time from now on."""
        self.turns("down")
        self.fit = self.shop.clock.event()
        self.repair = self.shop.clock.process(self.repaired(length))

    def repaired(self, left: float) -> Happening:
        """Be repaired in open time, through closings."""
        clock, shop = self.shop.clock, self.shop
        while left > 0:
            if not shop.is_open:
                yield shop.opening
            end = clock.now + left
            try:
                yield clock.at(end)
                left = 0.0
            except simpy.Interrupt as interrupt:
                left = end - clock.now
                if isinstance(interrupt.cause, float):  # the placed breakdown lasts longer
                    left = max(left, interrupt.cause)
        self.repair = None
        self.turns("blocked" if self.job else "idle")
        self.fit.succeed()
        shop.something_changed()
