"""Machines, films and inks as their makers and suppliers describe them.

A machine is what its parts can do: a print engine, a knife, a laminator, or several of them in
one frame. Nothing says which "side" it belongs to.

Imports pydantic, `capex.study.entries` and `capex.study.quantity`.
"""

from __future__ import annotations

from pydantic import Field

from capex.study.entries import (
    ANGLE,
    CLEARANCE,
    COVERAGE,
    DURATION,
    GAP,
    LENGTH,
    LOSS_SHARE,
    MONEY,
    POWER,
    SHARE,
    SPEED_SHARE,
    WAIT,
    Acceleration,
    Angle,
    AnnualAmount,
    AreaPrice,
    AreaRate,
    Clearance,
    Coverage,
    Distance,
    Duration,
    FeedSpeed,
    Force,
    Gap,
    Key,
    Length,
    LongDuration,
    LossShare,
    Mass,
    Money,
    Multiple,
    Name,
    Power,
    Share,
    SmallLength,
    Speed,
    SpeedShare,
    Volume,
    VolumePrice,
    Wait,
)
from capex.study.parts import Part
from capex.study.quantity import default


class PrintEngine(Part):
    """A carriage that lays down swaths, or a rate as quoted where no more is known.

    `widest_roll` is what goes into the machine; without it, 100 mm more than it prints (common
    practice, no source). Knives and laminators likewise.
    """

    print_width: Length
    widest_roll: Length | None = None
    swath_height: SmallLength | None = None
    carriage_speed: Speed | None = None
    turn_time: Duration = default("0.28 s", DURATION)
    overrun: Gap = default("50 mm", GAP)
    unidirectional: bool = False
    quoted_rate: AreaRate | None = None
    quoted_passes: Multiple | None = None
    quoted_width: Length | None = None
    ink: Key
    drying_time: Duration = default("6 min", DURATION)
    nozzle_check_time: Duration = default("1.5 min", DURATION)
    head_price: Money = default(0, MONEY)
    head_life: Volume | None = None


class Knife(Part):
    """A knife that follows contours, with the handling that belongs to it.

    It stops at corners that turn by more than `corner_angle`; `laminated_speed` is the share of
    the set speed used in laminated work. Spoil is the share of started orders that its
    registration or its cut ruins: straight after printing, after loading again, or laminated.
    """

    cut_width: Length
    widest_roll: Length | None = None
    set_speed: Speed
    acceleration: Acceleration
    lateral_acceleration: Acceleration | None = None
    travel_speed: Speed | None = None
    corner_angle: Angle = default("20 deg", ANGLE)
    corner_dwell: Duration = default("0 s", DURATION)
    laminated_speed: SpeedShare = default(1, SPEED_SHARE)
    lift_time: Duration = default("0.08 s", DURATION)
    mark_scan_time: Duration = default("6 s", DURATION)
    mark_set_length: Length = default("1.5 m", LENGTH)
    reload_time: Duration = default("4 min", DURATION)
    force: Force | None = None
    blade_price: Money = default(0, MONEY)
    blade_life: Distance | None = None
    spoil_direct: LossShare = default(0.02, LOSS_SHARE)
    spoil_reloaded: LossShare = default(0.02, LOSS_SHARE)
    spoil_laminated: LossShare = default(0.04, LOSS_SHARE)


class Laminator(Part):
    """Rollers that lay a film over a print."""

    laminating_width: Length
    widest_roll: Length | None = None
    feed_speed: FeedSpeed
    load_time: Duration = default("6 min", DURATION)


class Machine(Part):
    """One model of machine: what it does, costs, needs and how often it stops."""

    name: Name
    price: Money
    printing: PrintEngine | None = None
    cutting: Knife | None = None
    laminating: Laminator | None = None
    warm_up_time: Duration = default("0 min", DURATION)
    roll_change_time: Duration = default("6 min", DURATION)
    service: AnnualAmount
    mean_time_between_failures: LongDuration
    mean_time_to_repair: Wait = default("16 h", WAIT)
    minor_stop_share: LossShare = default(0.0, LOSS_SHARE)
    power_active: Power = default("0 kW", POWER)
    power_ready: Power = default("0 kW", POWER)
    length: Length
    depth: Length
    mass: Mass | None = None
    clearance_front: Clearance = default("1 m", CLEARANCE)
    clearance_rear: Clearance = default("0.9 m", CLEARANCE)
    clearance_end: Clearance = default("0.6 m", CLEARANCE)
    resale_by_year: tuple[Share, ...] = Field(min_length=1, max_length=40, strict=False)

    @property
    def functions(self) -> frozenset[str]:
        """Which of printing, cutting and laminating it does."""
        parts = ("printing", "cutting", "laminating")
        return frozenset(part for part in parts if getattr(self, part) is not None)


class Film(Part):
    """A roll material: what it costs and the rolls it comes on.

    A machine takes the widest of the rolls that goes into it; where none does, it cannot make
    the job.
    """

    name: Name
    price: AreaPrice
    roll_width: Length
    narrower_rolls: tuple[Length, ...] = Field(default=(), max_length=10, strict=False)
    roll_length: Length
    edge_margin: Gap = default("10 mm", GAP)


class Ink(Part):
    """An ink and the waits that it imposes."""

    name: Name
    price: VolumePrice
    laid_down: Coverage = default("10 mL/m²", COVERAGE)
    cleaning_share: Share = default(0.08, SHARE)
    outgassing_time: Wait = default("24 h", WAIT)


__all__ = ["Film", "Ink", "Knife", "Laminator", "Machine", "PrintEngine"]
