"""The dispatcher of a floor: orders in, what happened to each of them out.

It serves the simulated year and the timed batch alike. The rules stand in
`capex.shopfloor.year.moments` and `capex.shopfloor.year.days`.

Imports numpy, `capex.shopfloor.arrays` and the files of this folder.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from capex.errors import InputError
from capex.shopfloor.arrays import FloatArray
from capex.shopfloor.year.checks import check_floor, check_orders
from capex.shopfloor.year.compiled import run
from capex.shopfloor.year.plan import Breakdown, Floor, Luck, Orders, Record, Shifts
from capex.shopfloor.year.shop import Shop, shop_of

__all__ = ["dispatched"]

IntArray = npt.NDArray[np.int64]


def dispatched(
    floor: Floor,
    shifts: Shifts,
    orders: Orders,
    luck: Luck,
    breakdown: Breakdown | None = None,
) -> Record:
    """Return what happens to every order on a floor.

    All events of a moment are applied, then free machines go to the orders that wait for them and
    persons to the steps that ask, by the floor's rules; ties go to the lower number. The run ends
    with the last order, or with the last closing of the days given.

    Parameters
    ----------
    floor : Floor
    shifts : Shifts
    orders : Orders
    luck : Luck
    breakdown : Breakdown, optional

    Returns
    -------
    Record

    Raises
    ------
    InputError
        A floor, an order or a breakdown that cannot be, or failures beyond those drawn.

    Examples
    --------
    One machine, two orders of an hour each with a setter for the first ten minutes:

    >>> import numpy as np
    >>> one = np.array([0])
    >>> floor = Floor(
    ...     group_of=one, persons=np.array([1.0]), first=one, last=one + 1,
    ...     machine=np.array([0, 0]), people=np.array([0, -1]),
    ...     fixed=np.array([600.0, 0.0]), scaled=np.array([0.0, 3000.0]),
    ...     wall=np.zeros(2, bool), alone=np.zeros(2, bool), set_up=np.array([True, False]),
    ...     keeps_machine=np.array([True, False]), keeps_person=np.zeros(2, bool),
    ... )
    >>> endless = Shifts(np.zeros(1), 1e9, 0.0, np.zeros(1), one, 1.0, 0.0, 0.0)
    >>> orders = Orders(np.zeros(2), np.zeros(2, int), np.ones(2), np.ones(2, int), np.ones(2))
    >>> never = Luck(np.full((1, 1), np.inf), np.zeros((1, 1)), np.ones((1, 1)))
    >>> dispatched(floor, endless, orders, never).finished
    array([3600., 7200.])
    """
    check_floor(floor)
    check_orders(floor, shifts, orders, luck, breakdown)
    shop = shop_of(floor, shifts, orders, luck, breakdown)
    offset = np.array(shop.place)
    run(shop)
    if np.any(np.asarray(shop.failures) >= shop.draws):
        raise InputError("luck.until", luck.until.shape[1], "must be more failures of a machine")
    return record(shop, offset)


def record(shop: Shop, offset: IntArray) -> Record:
    """Return what a run has written down."""
    days, stations, groups = len(shop.opens), len(shop.work), shop.groups
    queue = np.asarray(shop.queue).reshape(days, shop.hours, stations)
    ran, at_night, setting_up, blocked, down, busy = spent(shop)
    return Record(
        offset=offset,
        begun=np.asarray(shop.begun),
        ended=np.asarray(shop.ended),
        on=np.asarray(shop.on),
        finished=np.asarray(shop.finished),
        working=ran - at_night - setting_up,
        set_up=setting_up,
        blocked=blocked,
        down=down,
        at_night=at_night,
        busy=busy,
        extended=np.asarray(shop.extended),
        machine_queue=queue[:, :, :groups],
        people_queue=queue[:, :, groups:],
        backlog=np.asarray(shop.backlog).reshape(days, stations),
    )


def spent(shop: Shop) -> list[FloatArray]:
    """Return operating time, at night, in set-up, blocked, down and time worked by people [s].

    Between the two counted openings; one that the run did not come to is its end.
    """
    worked = np.asarray(shop.brought) - np.asarray(shop.work)
    parts = (shop.ran, shop.at_night, shop.setting_up, shop.blocked, shop.down)
    ends = np.concatenate([*(np.asarray(part) for part in parts), worked[shop.groups :]])
    tally = np.asarray(shop.tally).reshape(2, -1)
    passed = np.diff(np.where(np.isnan(tally), ends, tally), axis=0)[0]
    return np.split(passed, len(shop.state) * np.arange(1, 6))
