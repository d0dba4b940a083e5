"""What the dispatcher reads and what it writes: plain arrays, one dataclass a subject.

Times in seconds; a wall time counts from midnight before day 0. Machines m, machine groups g,
groups of people p, programs r, steps s, orders i, days d, all from 0.

Imports numpy and `capex.shopfloor.arrays`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt

from capex.shopfloor.arrays import BoolArray, FloatArray

__all__ = ["Breakdown", "Floor", "Luck", "Orders", "Record", "Rule", "Shifts"]

IntArray = npt.NDArray[np.int64]

#: Who goes first where several wait: the order with the fewest steps left, the one that came to
#: the shop first, the one due first, or the one whose step takes least. Ties: lower order number.
Rule = Literal["furthest_along", "first_come", "earliest_due", "shortest"]


@dataclass(frozen=True)
class Floor:
    """Machines, people and the programs that orders run through.

    Parameters
    ----------
    group_of : ndarray of int, shape (machines,)
        Machine group of each machine, ascending.
    persons : ndarray, shape (people groups,)
        Persons; a fraction is somebody who leaves after that part of the shift.
    first, last : ndarray of int, shape (programs,)
        First and last step of each program, both included.
    machine, people : ndarray of int, shape (steps,)
        Machine group and group of people that a step needs, -1 for none.
    fixed, scaled : ndarray, shape (steps,)
        A step takes ``fixed + scaled * size`` of its order, never 0 [s].
    wall, alone, set_up, keeps_machine, keeps_person : ndarray of bool, shape (steps,)
        Whether a step is a delay on the wall clock that holds nobody and nothing; may go on
        overnight; counts as set-up, as drying in the machine does; leaves the order on its
        machine; leaves its person with it.
    machine_rule, people_rule : Rule
    """

    group_of: IntArray
    persons: FloatArray
    first: IntArray
    last: IntArray
    machine: IntArray
    people: IntArray
    fixed: FloatArray
    scaled: FloatArray
    wall: BoolArray
    alone: BoolArray
    set_up: BoolArray
    keeps_machine: BoolArray
    keeps_person: BoolArray
    machine_rule: Rule = "furthest_along"
    people_rule: Rule = "furthest_along"


@dataclass(frozen=True)
class Shifts:
    """When the shop is open.

    Parameters
    ----------
    opens : ndarray, shape (days,)
        Wall time of each opening [s].
    shift : float
        Regular hours of a day [s].
    overtime : float
        Most overtime of a day [s].
    overtime_left : ndarray, shape (months,)
        Overtime of a month [s].
    month_of : ndarray of int, shape (days,)
    trigger : float
        Work a server has waiting, in days of the regular shift, above which a day is extended.
    night : float
        What a machine may go on after the last closing [s].
    completion : float
        Chance that a night's run goes on at all.
    counted : tuple of int
        First day of which the states of machines and people are counted, and the first after it
        of which they are not; the last day of all where that is beyond it.
    """

    opens: FloatArray
    shift: float
    overtime: float
    overtime_left: FloatArray
    month_of: IntArray
    trigger: float
    night: float
    completion: float
    counted: tuple[int, int] = (0, 2**62)


@dataclass(frozen=True)
class Orders:
    """Orders by arrival.

    Parameters
    ----------
    arrival : ndarray, shape (orders,)
        Wall time [s].
    program : ndarray of int, shape (orders,)
    size : ndarray, shape (orders,)
        Work content over that of the type's average order [-].
    passes : ndarray of int, shape (orders,)
        How often the program is run: once, and once more for every remake.
    due : ndarray, shape (orders,)
        Regular working time by which the order is promised [s].
    """

    arrival: FloatArray
    program: IntArray
    size: FloatArray
    passes: IntArray
    due: FloatArray


@dataclass(frozen=True)
class Luck:
    """Failures and nights, the same for whatever else is compared.

    Parameters
    ----------
    until, repair : ndarray, shape (machines, draws)
        Operating time to each failure and open time of its repair [s].
    night : ndarray, shape (machines, days)
        Uniform; a night's run goes on where it is below the chance of completion.
    """

    until: FloatArray
    repair: FloatArray
    night: FloatArray


@dataclass(frozen=True)
class Breakdown:
    """A breakdown placed by the user: `machine` stands from the opening of `day` for `length`.

    The length is open time [s].
    """

    machine: int
    day: int
    length: float


@dataclass(frozen=True)
class Record:
    """What happened, step by step and hour by hour.

    Parameters
    ----------
    offset : ndarray of int, shape (orders,)
        Place of an order's first step below; its steps follow, pass after pass.
    begun, ended : ndarray, shape (all steps of all orders,)
        Wall time of first start and of final end; infinite where it never came to that [s].
    on : ndarray of int, shape (all steps of all orders,)
        Machine, -1 for none.
    finished : ndarray, shape (orders,)
        Wall time, infinite for an order that was not finished [s].
    working, set_up, blocked, down, at_night : ndarray, shape (machines,)
        Open time at work, in set-up, holding an order that waits for a person, and out of order;
        time run at night; all from the first counted opening to that after the last counted night
        [s].
    busy : ndarray, shape (people groups,)
        Time worked by its persons together, over the same time [s].
    extended : ndarray, shape (days,)
        Overtime of each day [s].
    machine_queue : ndarray of int, shape (days, hours, machine groups)
    people_queue : ndarray of int, shape (days, hours, people groups)
        Orders waiting at every whole hour of the regular shift.
    backlog : ndarray, shape (days, machine groups + people groups)
        Work of the orders in the shop at each last closing [s].
    """

    offset: IntArray
    begun: FloatArray
    ended: FloatArray
    on: IntArray
    finished: FloatArray
    working: FloatArray
    set_up: FloatArray
    blocked: FloatArray
    down: FloatArray
    at_night: FloatArray
    busy: FloatArray
    extended: FloatArray
    machine_queue: IntArray
    people_queue: IntArray
    backlog: FloatArray
