"""The dispatcher once more, as processes of SimPy: every order, repair and day is a process.

Written from the rules of the dispatcher alone, to hold the kernel against. All events of one
moment come before the work that a moment hands out, so events carry a rank; machines are handed
out before people. Times are absolute, never sums of pauses, so that what falls on one moment does.

Imports numpy, simpy (installed with ``capex[verify]``), `capex.shopfloor` and `simpy_machines`.
"""

from __future__ import annotations

import math
from collections.abc import Generator
from dataclasses import fields
from typing import Any

import numpy as np
import simpy

from capex.decision.audit.simpy_machines import (
    BREAKDOWN,
    CLOSING,
    EVENT,
    MACHINES,
    PEOPLE,
    SNAPSHOT,
    Clock,
    Happening,
    Job,
    Machine,
)
from capex.shopfloor.year.plan import Breakdown, Floor, Luck, Orders, Record, Shifts

__all__ = ["simpy_dispatched"]

#: What is recorded of a machine: its states, each while the shop was open or not.
STATES = {
    **{name: [(name, True)] for name in ("working", "set_up", "blocked", "down")},
    "at_night": [("working", False), ("set_up", False)],
}


def simpy_dispatched(
    floor: Floor, shifts: Shifts, orders: Orders, luck: Luck, breakdown: Breakdown | None = None
) -> Record:
    """Return what happens to the orders on the floor."""
    return Shop(floor, shifts, orders, luck, breakdown).record()


class Shop:
    """The floor at work."""

    def __init__(
        self, floor: Floor, shifts: Shifts, orders: Orders, luck: Luck, breakdown: Breakdown | None
    ) -> None:
        self.floor, self.shifts, self.orders, self.luck = floor, shifts, orders, luck
        self.clock = clock = Clock()
        self.is_open, self.opening = False, clock.event()
        self.machines = [Machine(self, m) for m in range(len(floor.group_of))]
        self.groups = int(max([*floor.group_of, *floor.machine], default=-1)) + 1
        self.staff = len(floor.persons)
        self.machine_queues: list[list[Job]] = [[] for _ in range(self.groups)]
        self.people_queues: list[list[Job]] = [[] for _ in range(self.staff)]
        self.capacity, self.at_work = [0] * self.staff, [0] * self.staff
        self.present: list[Job] = []
        self.unfinished = len(orders.arrival)
        self.changed, self.done = clock.event(), clock.event()
        self.prepare_record()
        clock.process(self.snapshots())
        clock.process(self.days())
        clock.process(self.dispatcher())
        for number in range(self.unfinished):
            job = Job(number)
            job.process = clock.process(self.order(job))
        if breakdown is not None:
            clock.process(self.placed(breakdown))

    def prepare_record(self) -> None:
        """Lay out what is written down, empty."""
        floor, days = self.floor, len(self.shifts.opens)
        each = floor.last - floor.first + 1
        steps = each[self.orders.program] * self.orders.passes
        self.offset = np.concatenate([[0], np.cumsum(steps)[:-1]])[: len(steps)].astype(np.int64)
        self.begun, self.ended = np.full((2, int(steps.sum())), np.inf)
        self.on = np.full(int(steps.sum()), -1)
        self.finished = np.full(len(steps), np.inf)
        self.busy, self.extended = np.zeros(self.staff), np.zeros(days)
        self.tallies: dict[int, dict[str, Any]] = {}
        hours = math.ceil(self.shifts.shift / 3600.0)
        self.machine_queue = np.zeros((days, hours, self.groups), dtype=np.int64)
        self.people_queue = np.zeros((days, hours, self.staff), dtype=np.int64)
        self.backlog = np.zeros((days, self.groups + self.staff))

    def record(self) -> Record:
        """Run to the end and return what was written down."""
        if self.unfinished:
            self.clock.run(until=self.done)
        for machine in self.machines:
            machine.turns(machine.state)
        # an opening that never came is the end
        tallies = [self.tallies.get(day, self.tally()) for day in self.shifts.counted]
        for name in (*STATES, "busy"):
            setattr(self, name, tallies[1][name] - tallies[0][name])
        return Record(**{each.name: getattr(self, each.name) for each in fields(Record)})

    def tally(self) -> dict[str, Any]:
        """Return the time that machines and people have spent so far in each state."""
        spent = {
            name: [sum(m.seconds.get(state, 0.0) for state in states) for m in self.machines]
            for name, states in STATES.items()
        }
        return {name: np.array(each) for name, each in spent.items()} | {"busy": self.busy.copy()}

    def days(self) -> Happening:
        """Open and close the shop, day after day; longer where there is too much work."""
        shifts, clock = self.shifts, self.clock
        overtime_left = shifts.overtime_left.copy()
        for day, opens in enumerate(shifts.opens):
            yield clock.at(opens)
            self.open(opens)
            if day in shifts.counted:
                self.tallies[day] = self.tally()
            closes = opens + shifts.shift
            yield clock.at(closes, CLOSING)
            month = shifts.month_of[day]
            if shifts.overtime > 0 and overtime_left[month] > 0 and self.too_much():
                self.extended[day] = min(shifts.overtime, overtime_left[month])
                overtime_left[month] -= self.extended[day]
                yield clock.at(closes + self.extended[day], CLOSING)
            self.close(day)
        self.done.succeed()

    def open(self, opens: float) -> None:
        """Begin a day: people come, and what was paused goes on."""
        for machine in self.machines:
            machine.turns(machine.state)
            machine.night_until = None
        self.is_open = True
        for group, persons in enumerate(self.floor.persons):
            self.capacity[group] = math.ceil(persons)
            part = persons - math.floor(persons)
            if part > 0:
                self.clock.process(self.leaves(group, opens + part * self.shifts.shift))
        self.opening.succeed()
        self.opening = self.clock.event()
        self.something_changed()

    def leaves(self, group: int, time: float) -> Happening:
        """Send home the person who works a part of the shift."""
        yield self.clock.at(time)
        self.capacity[group] = math.floor(self.floor.persons[group])

    def close(self, day: int) -> None:
        """End a day: what cannot run alone at night is paused."""
        self.backlog[day] = self.work_present()
        for machine in self.machines:
            machine.turns(machine.state)
            job = machine.job
            goes_on = self.luck.night[machine.number, day] < self.shifts.completion
            if goes_on and job and job.runs_to is not None and self.floor.alone[job.step]:
                machine.night_until = self.clock.now + self.shifts.night
            if machine.repair:
                machine.repair.interrupt("closed")
        self.is_open = False
        for job in self.present:
            if job.runs_to is not None:
                job.process.interrupt("paused")

    def too_much(self) -> bool:
        """Return whether more work waits for a server than the rule of overtime allows."""
        servers = [*np.bincount(self.floor.group_of, minlength=self.groups), *self.floor.persons]
        most = self.shifts.trigger * self.shifts.shift
        return any(self.work_present() / np.array(servers, dtype=float) > most)

    def work_present(self) -> Any:
        """Return the work of the orders in the shop by station [s]."""
        work = np.zeros(self.groups + self.staff)
        for job in self.present:
            for step, left in job.left.items():
                if step == job.step and job.runs_to is not None:
                    left = job.runs_to - self.clock.now
                if self.floor.machine[step] >= 0:
                    work[self.floor.machine[step]] += left
                if self.floor.people[step] >= 0:
                    work[self.groups + self.floor.people[step]] += left
        return work

    def snapshots(self) -> Happening:
        """Count the queues at every whole hour of the shift."""
        for day, opens in enumerate(self.shifts.opens):
            for hour in range(self.machine_queue.shape[1]):
                yield self.clock.at(opens + hour * 3600.0, SNAPSHOT)
                self.machine_queue[day, hour] = [len(queue) for queue in self.machine_queues]
                self.people_queue[day, hour] = [len(queue) for queue in self.people_queues]

    def placed(self, breakdown: Breakdown) -> Happening:
        """Let the breakdown happen that the user placed."""
        yield self.clock.at(self.shifts.opens[breakdown.day], BREAKDOWN)
        machine = self.machines[breakdown.machine]
        if machine.repair:
            machine.repair.interrupt(float(breakdown.length))
            return
        machine.stands(breakdown.length)
        if machine.job:
            machine.job.process.interrupt("broken")

    def something_changed(self) -> None:
        """Call the dispatcher once all events of this moment are over."""
        if not self.changed.triggered:
            self.changed.succeed()

    def dispatcher(self) -> Happening:
        """Hand out machines, then people, whenever something has changed."""
        while True:
            yield self.changed
            self.changed = self.clock.event()
            yield self.clock.at(self.clock.now, MACHINES)
            if self.is_open:
                self.hand_out_machines()
            yield self.clock.at(self.clock.now, PEOPLE)
            if self.is_open:
                self.hand_out_people()

    def hand_out_machines(self) -> None:
        """Give every free machine to the order that goes first."""
        for machine in self.machines:
            queue = self.machine_queues[self.floor.group_of[machine.number]]
            if queue and machine.job is None and machine.repair is None:
                job = min(queue, key=lambda job: self.key(self.floor.machine_rule, job))
                queue.remove(job)
                machine.job, job.machine = job, machine
                machine.turns("blocked")
                job.granted.succeed()

    def hand_out_people(self) -> None:
        """Give every free person to the order that goes first."""
        for group, queue in enumerate(self.people_queues):
            while queue and self.capacity[group] > self.at_work[group]:
                job = min(queue, key=lambda job: self.key(self.floor.people_rule, job))
                queue.remove(job)
                self.at_work[group] += 1
                job.person = True
                job.granted.succeed()

    def key(self, rule: str, job: Job) -> tuple[float, int]:
        """Return what a rule sorts by; ties go to the lower number."""
        first = {
            "furthest_along": self.floor.last[self.orders.program[job.number]] - job.step,
            "first_come": 0.0,
            "earliest_due": self.orders.due[job.number],
            "shortest": self.duration(job.number, job.step),
        }
        return first[rule], job.number

    def asked(self, queue: list[Job], job: Job) -> Happening:
        """Wait in a queue until served; leave it where that is broken off."""
        queue.append(job)
        job.granted = self.clock.event()
        self.something_changed()
        try:
            yield job.granted
        except simpy.Interrupt:
            queue.remove(job)
            raise

    def duration(self, number: int, step: int) -> float:
        """Return how long a step of an order takes [s]."""
        return float(self.floor.fixed[step] + self.floor.scaled[step] * self.orders.size[number])

    def order(self, job: Job) -> Happening:
        """Go through all steps of an order, once for every pass."""
        number, floor = job.number, self.floor
        yield self.clock.at(self.orders.arrival[number])
        self.present.append(job)
        program = self.orders.program[number]
        steps = range(floor.first[program], floor.last[program] + 1)
        place = self.offset[number]
        for _ in range(self.orders.passes[number]):
            job.left = {step: self.duration(number, step) for step in steps}
            for step in steps:
                job.step = step
                if floor.wall[step]:
                    self.begun[place] = self.clock.now
                    yield self.clock.at(self.clock.now + job.left[step])
                else:
                    yield from self.performed(job, place)
                self.ended[place] = self.clock.now
                del job.left[step]
                self.let_go(job)
                place += 1
        self.present.remove(job)
        self.finished[number] = self.clock.now
        self.unfinished -= 1
        if not self.unfinished:
            self.done.succeed()

    def let_go(self, job: Job) -> None:
        """Free what the step that has ended held and the next does not need."""
        if job.person and not self.floor.keeps_person[job.step]:
            self.free_person(job)
        if job.machine and not self.floor.keeps_machine[job.step]:
            job.machine.turns("idle")
            job.machine.job = None
            job.machine = None
            self.something_changed()

    def free_person(self, job: Job) -> None:
        """Let the person of an order go."""
        job.person = False
        self.at_work[self.floor.people[job.step]] -= 1
        self.something_changed()

    def performed(self, job: Job, place: int) -> Happening:
        """Get what the step needs and run it to its end, through closings and failures."""
        group, people = self.floor.machine[job.step], self.floor.people[job.step]
        if group >= 0 and job.machine is None:
            yield from self.asked(self.machine_queues[group], job)
        why = ""
        while why != "ended":
            if job.machine and job.machine.repair:
                yield job.machine.fit
            if people >= 0 and not job.person:
                try:
                    yield from self.asked(self.people_queues[people], job)
                except simpy.Interrupt:
                    continue
            if not (self.is_open or self.runs_tonight(job)):
                yield self.opening
            if np.isinf(self.begun[place]):
                self.begun[place] = self.clock.now
                self.on[place] = job.machine.number if job.machine else -1
            why = yield from self.stretch(job)
            if why == "failed" and job.machine:
                self.fail(job.machine)
            if why in ("failed", "broken") and job.person:
                self.free_person(job)

    def runs_tonight(self, job: Job) -> bool:
        """Return whether an order's machine goes on with nobody there."""
        machine = job.machine
        return bool(machine and machine.night_until is not None and self.floor.alone[job.step])

    def fail(self, machine: Machine) -> None:
        """Let a machine stand for the repair that is drawn for it."""
        length = self.luck.repair[machine.number, machine.failures]
        machine.failures += 1
        machine.operated = 0.0
        machine.stands(length)

    def stretch(self, job: Job) -> Generator[simpy.Event, Any, str]:
        """Run until the step ends or something stops it; return which."""
        clock, machine, begin = self.clock, job.machine, self.clock.now
        end = job.runs_to = begin + job.left[job.step]
        ends = [(end, EVENT, "ended")]
        if machine:
            machine.turns("set_up" if self.floor.set_up[job.step] else "working")
            to_failure = self.luck.until[machine.number, machine.failures] - machine.operated
            ends.append((begin + max(to_failure, 0.0), EVENT, "failed"))
            if not self.is_open and machine.night_until is not None:
                ends.append((machine.night_until, CLOSING, "paused"))
        time, rank, why = min(ends, key=lambda each: each[0])  # the first of equals
        try:
            yield clock.at(time, rank)
        except simpy.Interrupt as interrupt:
            why = str(interrupt.cause)
        job.runs_to = None
        job.left[job.step] = end - clock.now
        if job.person:
            self.busy[self.floor.people[job.step]] += clock.now - begin
        if machine:
            machine.operated += clock.now - begin
            if machine.state != "down":  # the placed breakdown came first
                machine.turns("blocked")
            if why == "paused" and rank == CLOSING:
                machine.night_until = None
        return why
