"""The room: its walls, doors, electrical panels and obstacles, and where machines stand by hand.

Seen from above, the room's corner between its left and its near wall is the origin: left and right
run along the near wall, near and far away from it. What stands on a wall has its position from
the left end of the near and the far wall, or from the near end of the left and the right one.

Screening only: local codes, the authority having jurisdiction, the landlord and licensed
practice govern what a room may be used for.

Imports pydantic, `capex.study.entries`, `capex.study.quantity` and `capex.study.parts`.
"""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from capex.study.entries import CLEARANCE, LENGTH, Clearance, Key, Length, Name
from capex.study.parts import Part
from capex.study.quantity import Entry, Quantity, default

__all__ = ["Door", "ElectricalPanel", "Obstacle", "Position", "Room", "Side"]

#: A wall of the room, or the side that the front of a machine looks to.
Side = Literal["near", "right", "far", "left"]

# 28 in, as data/room_rules.csv states it: a study may ask for more, never for less. The nanometre
# lets "28 in" through, which reads as a hair under 0.7112 m.
_EXIT_ACCESS = Entry("length", at_least=0.7112 - 1e-9, example="0.75 m or 30 in")
# Nominal voltage to ground as far as the table of working space goes.
_VOLTAGE = Entry("voltage", above=0.0, at_most=600.0)


class Door(Part):
    """A door in a wall, for people to leave by and machines to come in by.

    `swing` says whether the leaf opens into the room, out of it, or slides; `hinge` at which end
    of the opening it hangs, the one where its position is measured from being the first.
    """

    name: Name = "Door"
    wall: Side
    position: Clearance
    width: Length
    swing: Literal["in", "out", "sliding"] = "in"
    hinge: Literal["first", "last"] = "first"
    leads_to_exit: bool = True


class ElectricalPanel(Part):
    """An electrical panel on a wall, before which a working space stays clear.

    `condition` is what faces the working space: A neither live nor earthed parts, B earthed
    parts (bare brick, concrete and tile count), C live parts. Without it, C: the deepest space.
    """

    name: Name = "Electrical panel"
    wall: Side
    position: Clearance
    width: Length = default("0.4 m", LENGTH)
    depth: Clearance = default("0.15 m", CLEARANCE)
    voltage_to_ground: Annotated[Quantity, _VOLTAGE]
    condition: Literal["A", "B", "C"] = "C"


class Obstacle(Part):
    """What stands in the room and stays: a column, or anything that is fixed."""

    name: Name
    kind: Literal["column", "fixture"] = "fixture"
    left: Clearance
    near: Clearance
    length: Length
    depth: Length


class Position(Part):
    """Where one machine stands: the left and the near side of its frame as it is turned.

    `facing` is the wall that its front looks to; its length runs across that direction.
    """

    machine: Key
    left: Clearance
    near: Clearance
    facing: Side = "far"


class Room(Part):
    """The room that the machines of an alternative stand in.

    `width` runs from left to right, `depth` from near to far. `packing` is what a crate adds on
    each side of a machine that is brought in. `shared_clearances` says that neighbours are served
    one at a time, so that their clearances may overlap. `positions` holds, for an alternative,
    one entry for each machine that ever works there; without it a place is found.
    """

    width: Length
    depth: Length
    doors: dict[Key, Door] = Field(min_length=1)
    panels: dict[Key, ElectricalPanel] = Field(default_factory=dict)
    obstacles: dict[Key, Obstacle] = Field(default_factory=dict)
    exit_access_width: Annotated[Quantity, _EXIT_ACCESS] = default("28 in", _EXIT_ACCESS)
    packing: Clearance = default("0.1 m", CLEARANCE)
    shared_clearances: bool = True
    positions: dict[Key, Annotated[tuple[Position, ...], Field(strict=False)]] = Field(
        default_factory=dict
    )
