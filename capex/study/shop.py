"""The shop: its hours, its people, its handling times, and what room and power cost.

Imports pydantic, `capex.study.entries` and `capex.study.quantity`.
"""

from __future__ import annotations

from typing import Annotated

from pydantic import Field

from capex.study.entries import (
    COST_RATE,
    DAY_HOURS,
    DURATION,
    LEVEL,
    LOSS_SHARE,
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
    Multiple,
    Rent,
    Share,
    Span,
    Wage,
    Wait,
)
from capex.study.parts import Part
from capex.study.quantity import Entry, Quantity, default

_DAYS = Entry("number", above=0.0, at_most=31.0, example="21")
_PERSONS = Entry("number", above=0.0, example="1.5")
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
    """Times and shares that belong to the shop's way of working, the same on every machine."""

    orders_per_run: Multiple = default(1, MULTIPLE)
    load_time: Duration = default("3 min", DURATION)
    unload_time: Duration = default("2 min", DURATION)
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


class Shop(Part):
    """The shop as it works today."""

    hours: Hours
    people: People
    handling: Handling = Handling()
    premises: Premises
    after_purchase: AfterPurchase = AfterPurchase()
    seasonality: tuple[Level, ...] = Field(
        default=tuple(default(1, LEVEL) for _ in range(12)),
        min_length=12,
        max_length=12,
        strict=False,
    )
    planned_load: Annotated[Quantity, _PLANNED_LOAD] = default(0.85, _PLANNED_LOAD)


__all__ = ["AfterPurchase", "Handling", "Hours", "People", "Premises", "Shop"]
