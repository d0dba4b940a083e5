"""Job types: what customers order, how often, and what it takes.

Imports pydantic, `capex.study.entries` and `capex.study.quantity`.
"""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from capex.study.entries import (
    COUNT,
    DURATION,
    GAP,
    MULTIPLE,
    RATE,
    SHARE,
    Count,
    Duration,
    Force,
    Gap,
    Key,
    Length,
    Level,
    Money,
    Multiple,
    Name,
    PathLength,
    Pieces,
    Rate,
    Share,
    SmallLength,
)
from capex.study.parts import Part
from capex.study.quantity import default


class DescribedPath(Part):
    """A cut path known by its length: equal straight segments with a stop at each corner."""

    kind: Literal["path"] = "path"
    length: PathLength
    segments: Pieces
    lifts: Count = default(1, COUNT)


class Rectangle(Part):
    """The piece itself, cut along its edge, corners rounded by a radius."""

    kind: Literal["rectangle"] = "rectangle"
    radius: Gap = default("0 mm", GAP)


class Circle(Part):
    """A circle of the given diameter."""

    kind: Literal["circle"] = "circle"
    diameter: SmallLength


class Artwork(Part):
    """The cut line of one piece, drawn in an artwork of the study or the shipped folder."""

    kind: Literal["artwork"] = "artwork"
    name: Key


CutPath = Annotated[DescribedPath | Rectangle | Circle | Artwork, Field(discriminator="kind")]


class JobType(Part):
    """One kind of order: its pieces, its operations and its money.

    A job without `film` is not printed and names its `cut_material`; one without `cut` is not
    contour-cut. `laminated` is the share of its orders that are laminated. `promised_lead_time`,
    in working days, takes the place of the shop's own (`capex.study.shop.Promises`).
    """

    name: Name
    orders_per_month: Level
    pieces_per_order: Pieces
    width: Length
    height: Length
    film: Key | None = None
    passes: Multiple = default(8, MULTIPLE)
    laminate: Key | None = None
    laminated: Share = default(0, SHARE)
    cut: CutPath | None = None
    cut_passes: Multiple = default(1, MULTIPLE)
    cut_force: Force | None = None
    cut_material: Key | None = None
    may_panel: bool = False
    panel_overlap: Gap = default("15 mm", GAP)
    unattended_overnight: bool = False
    weeding_time: Duration = default("0 min", DURATION)
    finishing_time: Duration = default("0 min", DURATION)
    packing_time: Duration = default("3 min", DURATION)
    price: Money
    bought_in_price: Money | None = None
    other_cost: Money | None = None
    growth: Rate = default(0, RATE)
    seasonality: tuple[Level, ...] | None = Field(
        default=None, min_length=12, max_length=12, strict=False
    )
    lost_customers: Share = default(0, SHARE)
    promised_lead_time: Level | None = None


__all__ = ["Artwork", "Circle", "CutPath", "DescribedPath", "JobType", "Rectangle"]
