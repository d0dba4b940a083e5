"""The shop: its hours, its people, its handling times, and what room and power cost.

Imports pydantic, `capex.study.entries` and `capex.study.quantity`.
"""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from capex.study.entries import (
    COST_RATE,
    DAY_HOURS,
    DURATION,
    LEVEL,
    LOSS_SHARE,
    MONEY,
    MULTIPLE,
    SHARE,
    SPAN,
    WAIT,
    CostRate,
    DayHours,
    Duration,
    EnergyPrice,
    Level,
    LossShare,
    Money,
    Multiple,
    Rent,
    Share,
    Span,
    Wage,
    Wait,
)
from capex.study.parts import Part
from capex.study.quantity import Entry, Quantity, default

_DAYS = Entry("number", at_least=1.0, at_most=31.0, example="21")
_PERSONS = Entry("number", above=0.0, example="1.5")
_TRIGGER = Entry("number", above=0.0, example="1.5")
_PLANNED_LOAD = Entry("fraction", above=0.0, at_most=1.0, example="85 % or 0.85")


class Hours(Part):
    """When the cell is staffed, and what it does beyond that."""

    days_per_month: Annotated[Quantity, _DAYS]
    hours_per_day: DayHours
    care_per_day: DayHours = default("0.5 h", DAY_HOURS)
    overtime_per_month: Wait = default("0 h", WAIT)
    overtime_premium: Multiple = default(1.5, MULTIPLE)
    overnight_per_day: DayHours = default("0 h", DAY_HOURS)
    overnight_completion: Share = default(0.8, SHARE)


class People(Part):
    """Who runs the cell. Saved time is money only as far as `idle_time_redeployed` says.

    Operators tend the machines; finishers weed, mask, trim and pack. Without finishers the
    operators do that too.
    """

    operators: Annotated[Quantity, _PERSONS]
    finishers: Level = default(0, LEVEL)
    wage: Wage
    on_cost_factor: Multiple = default(1.0, MULTIPLE)
    idle_time_redeployed: Share = default(0, SHARE)


class Handling(Part):
    """Times and shares that belong to the shop's way of working, the same on every machine.

    `carry_time` is what it takes to cut a print into sheets and carry it to the next machine, each
    time that an order changes machines.
    """

    orders_per_run: Multiple = default(1, MULTIPLE)
    load_time: Duration = default("3 min", DURATION)
    unload_time: Duration = default("2 min", DURATION)
    carry_time: Duration = default("0 s", DURATION)
    rewind_time: Duration = default("1 min", DURATION)
    order_set_up_time: Duration = default("5 min", DURATION)
    printing_attended: Share = default(0.1, SHARE)
    cutting_attended: Share = default(0.15, SHARE)
    piece_gap: Annotated[Quantity, Entry("small_length", at_least=0.0)] = default(
        "5 mm", Entry("small_length", at_least=0.0)
    )
    printing_spoil: LossShare = default(0.01, LOSS_SHARE)
    media_waste: LossShare = default(0.05, LOSS_SHARE)


class Premises(Part):
    """What room, power and insurance cost."""

    rent: Rent
    room_already_paid: bool = False
    reason: str = Field(default="", max_length=200)
    electricity: EnergyPrice
    insurance: CostRate = default(0, COST_RATE)


class AfterPurchase(Part):
    """What any new machine brings, whichever it is; an alternative may state its own.

    `recovered_demand` is the share of extra work that is turned away today and comes back once
    the shop can do it; `ramp_up` is how long a new machine takes to full speed, beginning at
    `ramp_up_start` of it.
    """

    recovered_demand: CostRate = default(0, COST_RATE)
    ramp_up: Span = default(0, SPAN)
    ramp_up_start: Share = default(0.5, SHARE)


Rule = Literal["furthest_along", "first_come", "earliest_due", "shortest"]


class Dispatching(Part):
    """Who goes first where several orders wait, and when the shop stays on, in a simulated year.

    The rules of machines and of people: the order with the fewest steps left, the one that came
    first, the one due first, or the one whose step takes least. A day is extended, by at most
    `overtime_per_day` and within what the plan of its month pays for, where one server has more
    than `overtime_trigger` days of work before it.
    `order_size_variation` is the coefficient of variation of the work content between orders of
    one type.
    """

    machine_rule: Rule = "furthest_along"
    people_rule: Rule = "furthest_along"
    overtime_trigger: Annotated[Quantity, _TRIGGER] = default(1, _TRIGGER)
    overtime_per_day: DayHours = default("2 h", DAY_HOURS)
    order_size_variation: Level = default(0.5, LEVEL)


class Promises(Part):
    """What customers are promised, and what it costs to be late.

    `lead_time` is in working days from order to finish; a job type may promise its own. An order
    that is late costs `cost_of_late_order` and `price_lost_when_late` of its price.
    """

    lead_time: Level = default(5, LEVEL)
    cost_of_late_order: Money = default(0, MONEY)
    price_lost_when_late: Share = default(0, SHARE)


class Shop(Part):
    """The shop as it works today."""

    hours: Hours
    people: People
    handling: Handling = Handling()
    premises: Premises
    after_purchase: AfterPurchase = AfterPurchase()
    dispatching: Dispatching = Dispatching()
    promises: Promises = Promises()
    seasonality: tuple[Level, ...] = Field(
        default=tuple(default(1, LEVEL) for _ in range(12)),
        min_length=12,
        max_length=12,
        strict=False,
    )
    planned_load: Annotated[Quantity, _PLANNED_LOAD] = default(0.85, _PLANNED_LOAD)


__all__ = [
    "AfterPurchase",
    "Dispatching",
    "Handling",
    "Hours",
    "People",
    "Premises",
    "Promises",
    "Shop",
]
