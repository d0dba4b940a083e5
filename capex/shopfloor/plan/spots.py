"""Machines where they stand: footprint, service envelope and operator's side, turned four ways.

Boxes are (left, near, right, far) in metres, as in `capex.shopfloor.room`.

Imports `capex.study`, and `labels` and `room` of the shop floor.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Final

from capex.errors import InputError
from capex.shopfloor.labels import machine_labels
from capex.shopfloor.room import Footprint
from capex.study import Alternative, Machine, Study
from capex.study.room import Position, Side
from capex.study.room_checks import machines_standing

__all__ = [
    "FACINGS",
    "Box",
    "Spot",
    "Standing",
    "clearances",
    "entries_by_hand",
    "extent",
    "overlap_area",
    "positions_by_hand",
    "spots_by_hand",
    "standing_machines",
]

Box = tuple[float, float, float, float]

FACINGS: Final[tuple[Side, ...]] = ("far", "right", "near", "left")


def extent(size: Footprint, facing: Side) -> tuple[float, float]:
    """Return how far a footprint reaches to the right and to the far side [m], as it is turned.

    Parameters
    ----------
    size : Footprint
    facing : {"near", "right", "far", "left"}
        The wall that its front looks to.

    Examples
    --------
    >>> extent(Footprint(length=2.0, depth=0.8), "right")
    (0.8, 2.0)
    """
    along = facing in ("near", "far")
    return (size.length, size.depth) if along else (size.depth, size.length)


def clearances(size: Footprint, facing: Side) -> Box:
    """Return the clearance to the left, near, right and far of a machine [m], as it is turned.

    Parameters
    ----------
    size : Footprint
    facing : {"near", "right", "far", "left"}
        The wall that its front looks to.

    Examples
    --------
    >>> clearances(Footprint(length=2.0, depth=0.8, front=1.0, rear=0.9, end=0.6), "left")
    (1.0, 0.6, 0.9, 0.6)
    """
    front, rear, end = size.front, size.rear, size.end
    turned: dict[Side, Box] = {
        "far": (end, rear, end, front),
        "right": (rear, end, front, end),
        "near": (end, front, end, rear),
        "left": (front, end, rear, end),
    }
    return turned[facing]


def overlap_area(one: Box, other: Box) -> float:
    """Return the area that two boxes share [m²].

    Parameters
    ----------
    one, other : Box

    Examples
    --------
    >>> overlap_area((0, 0, 3, 2), (2, 1, 5, 3))
    1
    """
    width = min(one[2], other[2]) - max(one[0], other[0])
    depth = min(one[3], other[3]) - max(one[1], other[1])
    return max(width, 0) * max(depth, 0)


@dataclass(frozen=True)
class Spot:
    """One machine at its place.

    Parameters
    ----------
    name : str
        For people, unique within the alternative.
    size : Footprint
        With its clearances.
    left, near : float
        The left and the near side of its frame, as it is turned [m].
    facing : {"near", "right", "far", "left"}
        The wall that its front looks to.

    Examples
    --------
    >>> size = Footprint(length=2.0, depth=0.8, front=1.0, rear=0.9, end=0.6)
    >>> Spot("Printer", size, left=1.0, near=2.0, facing="far").envelope
    (0.4, 1.1, 3.6, 3.8)
    """

    name: str
    size: Footprint
    left: float
    near: float
    facing: Side

    @cached_property
    def footprint(self) -> Box:
        """What it stands on."""
        across, deep = extent(self.size, self.facing)
        return self.left, self.near, self.left + across, self.near + deep

    @cached_property
    def envelope(self) -> Box:
        """What it stands on with its clearances."""
        sides, free = self.footprint, clearances(self.size, self.facing)
        return sides[0] - free[0], sides[1] - free[1], sides[2] + free[2], sides[3] + free[3]

    def front(self, reach: float) -> Box:
        """Return the floor before it, where its operator stands.

        Parameters
        ----------
        reach : float
            From its frame outwards [m].
        """
        left, near, right, far = self.footprint
        fronts: dict[Side, Box] = {
            "far": (left, far, right, far + reach),
            "right": (right, near, right + reach, far),
            "near": (left, near - reach, right, near),
            "left": (left - reach, near, left, far),
        }
        return fronts[self.facing]


@dataclass(frozen=True)
class Standing:
    """A machine that ever stands in the room under an alternative.

    Parameters
    ----------
    name : str
        For people, unique within the alternative.
    key : str
        Of the machine in the study.
    machine : Machine
    size : Footprint
        Its likely size with its clearances.
    placement : int
        Its entry in the alternative.
    """

    name: str
    key: str
    machine: Machine
    size: Footprint
    placement: int


def standing_machines(study: Study, alternative: Alternative) -> tuple[Standing, ...]:
    """Return the machines that ever stand in the room under an alternative, in its order.

    Parameters
    ----------
    study : Study
    alternative : Alternative

    Returns
    -------
    tuple of Standing
    """
    found: list[Standing] = []
    for index, label in machine_labels(study, alternative):
        key = alternative.machines[index].machine
        machine = study.machines[key]
        size = Footprint(
            machine.length.likely,
            machine.depth.likely,
            machine.clearance_front.likely,
            machine.clearance_rear.likely,
            machine.clearance_end.likely,
        )
        found.append(Standing(label, key, machine, size, index))
    return tuple(found)


def entries_by_hand(study: Study, key: str) -> tuple[tuple[int, int], ...] | None:
    """Return which of a study's positions each machine of an alternative stands at.

    Machines of one kind take the positions of that kind in the order of the file.

    Parameters
    ----------
    study : Study
    key : str
        Of the alternative.

    Returns
    -------
    tuple of (int, int) or None
        Index of the alternative's machines and of the room's positions, for each of
        `standing_machines`; None where the study says nothing.

    Raises
    ------
    InputError
        More machines stand than have a position, as a scenario may bring about.
    """
    positions = study.room.positions.get(key) if study.room is not None else None
    if positions is None:
        return None
    free = list(range(len(positions)))
    machines = study.alternatives[key].machines
    found = []
    for index in machines_standing(study.alternatives[key]):
        kind = machines[index].machine
        place = next((k for k in free if positions[k].machine == kind), None)
        if place is None:
            bound = f"must hold a place for every {study.machines[kind].name} that stands there"
            raise InputError(f"room.positions.{key}", len(positions), bound)
        free.remove(place)
        found.append((index, place))
    return tuple(found)


def positions_by_hand(study: Study, key: str) -> tuple[tuple[int, Position], ...] | None:
    """Return where the study says that the machines of an alternative stand.

    Parameters
    ----------
    study : Study
    key : str
        Of the alternative.

    Returns
    -------
    tuple of (int, Position) or None
        Entry in the alternative and place, for each of `standing_machines`; None where the study
        says nothing.

    Raises
    ------
    InputError
        As `entries_by_hand`.
    """
    entries = entries_by_hand(study, key)
    if entries is None or study.room is None:
        return None
    positions = study.room.positions[key]
    return tuple((index, positions[place]) for index, place in entries)


def spots_by_hand(study: Study, key: str) -> tuple[Spot, ...] | None:
    """Return the machines of an alternative where the study says they stand, at likely values.

    Parameters
    ----------
    study : Study
    key : str
        Of the alternative.

    Returns
    -------
    tuple of Spot or None
        One for each of `standing_machines`; None where the study says nothing.
    """
    positions = positions_by_hand(study, key)
    if positions is None:
        return None
    standing = standing_machines(study, study.alternatives[key])
    return tuple(
        Spot(one.name, one.size, place.left.likely, place.near.likely, place.facing)
        for one, (_, place) in zip(standing, positions, strict=True)
    )
