"""What is fixed in a room: walls, doors with the sweep of their leaf, panels, obstacles.

Imports numpy, `capex.study.room`, `arrays` and `room` of the shop floor, and `spots`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
import numpy.typing as npt

from capex.shopfloor.arrays import BoolArray
from capex.shopfloor.plan.spots import Box
from capex.shopfloor.room import Condition, working_space_depth, working_space_width
from capex.study.room import Door, ElectricalPanel, Room, Side

__all__ = ["Doorway", "Fixtures", "Panel", "Solid", "Swing", "fixtures", "wall_box"]

_SLACK: Final = 1e-9


@dataclass(frozen=True)
class Solid:
    """Something that stands in the room and stays.

    Parameters
    ----------
    name : str
    box : Box
    column : bool
        Whether it carries the building.
    """

    name: str
    box: Box
    column: bool = False


@dataclass(frozen=True)
class Swing:
    """The quarter of a disc that the leaf of a door sweeps inside the room.

    Parameters
    ----------
    hinge : tuple of float
        Where the leaf hangs [m].
    box : Box
        The square about the quarter disc.
    """

    hinge: tuple[float, float]
    box: Box

    @property
    def radius(self) -> float:
        """Width of the leaf [m]."""
        return self.box[2] - self.box[0]

    def meets(self, boxes: npt.ArrayLike) -> BoolArray:
        """Return which boxes the leaf strikes.

        Parameters
        ----------
        boxes : array_like (..., 4)
            [m].

        Returns
        -------
        ndarray of bool, shape (...)

        Examples
        --------
        >>> swing = Swing(hinge=(0.0, 0.0), box=(0.0, 0.0, 1.0, 1.0))
        >>> swing.meets([(0.6, 0.6, 1.0, 1.0), (0.8, 0.8, 1.0, 1.0)]).tolist()
        [True, False]
        """
        sides = np.asarray(boxes, dtype=float)
        low = np.maximum(sides[..., :2], self.box[:2])
        high = np.minimum(sides[..., 2:], self.box[2:])
        # The hinge is a corner of the square, so one end of each side is the nearest to it.
        off = np.minimum(np.abs(low - self.hinge), np.abs(high - self.hinge))
        nearest = np.sum(off * off, axis=-1)
        within: BoolArray = nearest < self.radius * self.radius - _SLACK
        overlaps: BoolArray = np.all(high - low > _SLACK, axis=-1)
        return np.logical_and(within, overlaps)


@dataclass(frozen=True)
class Doorway:
    """A door as it lies in its wall.

    Parameters
    ----------
    name : str
    wall : {"near", "right", "far", "left"}
    opening : Box
        The opening, without thickness [m].
    opens : {"in", "out", "sliding"}
    hung_first : bool
        Whether the leaf hangs at the left or near end of the opening.
    passage : Box
        The way on beyond the wall, twice as long as the door is wide.
    beyond : Box
        The end of that way, where whoever reaches it is out.
    swing : Swing or None
        None where the leaf does not open into the room.
    leads_to_exit : bool
    """

    name: str
    wall: Side
    opening: Box
    opens: Literal["in", "out", "sliding"]
    hung_first: bool
    passage: Box
    beyond: Box
    swing: Swing | None
    leads_to_exit: bool

    @property
    def width(self) -> float:
        """Of the opening [m]."""
        return max(self.opening[2] - self.opening[0], self.opening[3] - self.opening[1])


@dataclass(frozen=True)
class Panel:
    """An electrical panel with the working space before it.

    Parameters
    ----------
    name : str
    box : Box
        The panel itself.
    working_space : Box
        Between the wall and the depth that the rule asks for, measured from the panel's front.
    needed_depth, needed_width : float
        What the rule asks for [m].
    voltage_to_ground : float
        Nominal [V].
    condition : {"A", "B", "C"}
    """

    name: str
    box: Box
    working_space: Box
    needed_depth: float
    needed_width: float
    voltage_to_ground: float
    condition: Condition


@dataclass(frozen=True)
class Fixtures:
    """A room with all that is fixed in it.

    Parameters
    ----------
    width, depth : float
        From left to right and from near to far [m].
    doors : tuple of Doorway
    panels : tuple of Panel
    obstacles : tuple of Solid
    exit_access_width : float
        To be kept on every way out [m].
    packing : float
        What a crate adds on each side [m].
    shared_clearances : bool
        Whether clearances of neighbours may overlap.
    """

    width: float
    depth: float
    doors: tuple[Doorway, ...]
    panels: tuple[Panel, ...]
    obstacles: tuple[Solid, ...]
    exit_access_width: float
    packing: float
    shared_clearances: bool

    @property
    def box(self) -> Box:
        """The floor between the walls."""
        return 0.0, 0.0, self.width, self.depth

    @property
    def solids(self) -> tuple[Solid, ...]:
        """All that nothing can stand on: obstacles and the panels themselves."""
        panels = (Solid(panel.name, panel.box) for panel in self.panels)
        deep = tuple(solid for solid in panels if _deep(solid.box))
        return (*self.obstacles, *deep)


def _deep(box: Box) -> bool:
    return box[2] - box[0] > _SLACK and box[3] - box[1] > _SLACK


def wall_box(room: Box, wall: Side, first: float, last: float, inwards: tuple[float, float]) -> Box:
    """Return a box along a wall.

    Parameters
    ----------
    room : Box
    wall : {"near", "right", "far", "left"}
    first, last : float
        Along the wall, from its left or its near end [m].
    inwards : tuple of float
        From where to where, measured from the wall into the room; negative is outside [m].

    Examples
    --------
    >>> wall_box((0, 0, 6, 4), "far", 1, 2, (0, 0.5))
    (1, 3.5, 2, 4)
    """
    start, end = inwards
    if wall == "near":
        return first, start, last, end
    if wall == "far":
        return first, room[3] - end, last, room[3] - start
    if wall == "left":
        return start, first, end, last
    return room[2] - end, first, room[2] - start, last


def fixtures(room: Room) -> Fixtures:
    """Return the fixed parts of a room at its likely values.

    Assumes that the working space before a panel is centred on it, or moved along the wall as
    far as the corner of the room asks for.

    Parameters
    ----------
    room : Room

    Returns
    -------
    Fixtures

    Examples
    --------
    >>> room = Room.model_validate({
    ...     "width": "6 m", "depth": "4 m",
    ...     "doors": {"street": {"wall": "near", "position": "1 m", "width": "0.9 m"}},
    ...     "panels": {"main": {"wall": "left", "position": "0.1 m", "voltage_to_ground": "277 V"}},
    ... })
    >>> fixtures(room).panels[0].working_space
    (0.0, 0.0, 1.3692, 0.762)
    """
    box = (0.0, 0.0, room.width.likely, room.depth.likely)
    return Fixtures(
        width=box[2],
        depth=box[3],
        doors=tuple(_doorway(door, box) for door in room.doors.values()),
        panels=tuple(_panel(panel, box) for panel in room.panels.values()),
        obstacles=tuple(
            Solid(
                solid.name,
                (
                    solid.left.likely,
                    solid.near.likely,
                    solid.left.likely + solid.length.likely,
                    solid.near.likely + solid.depth.likely,
                ),
                solid.kind == "column",
            )
            for solid in room.obstacles.values()
        ),
        exit_access_width=room.exit_access_width.likely,
        packing=room.packing.likely,
        shared_clearances=room.shared_clearances,
    )


def _doorway(door: Door, room: Box) -> Doorway:
    width = door.width.likely
    first = door.position.likely
    last = first + width
    swing = None
    if door.swing == "in":
        square = wall_box(room, door.wall, first, last, (0.0, width))
        hung = first if door.hinge == "first" else last
        line = wall_box(room, door.wall, hung, hung, (0.0, 0.0))
        swing = Swing((line[0], line[1]), square)
    return Doorway(
        door.name,
        door.wall,
        wall_box(room, door.wall, first, last, (0.0, 0.0)),
        door.swing,
        door.hinge == "first",
        wall_box(room, door.wall, first, last, (-2 * width, 0.0)),
        wall_box(room, door.wall, first, last, (-2 * width, -width)),
        swing,
        door.leads_to_exit,
    )


def _panel(panel: ElectricalPanel, room: Box) -> Panel:
    first, width, body = panel.position.likely, panel.width.likely, panel.depth.likely
    voltage = panel.voltage_to_ground.likely
    deep = working_space_depth(voltage, panel.condition)
    wide = working_space_width(width)
    length = room[2] if panel.wall in ("near", "far") else room[3]
    start = min(max(first + width / 2 - wide / 2, 0.0), max(length - wide, 0.0))
    return Panel(
        panel.name,
        wall_box(room, panel.wall, first, first + width, (0.0, body)),
        wall_box(room, panel.wall, start, start + wide, (0.0, body + deep)),
        deep,
        wide,
        voltage,
        panel.condition,
    )
