"""Floor that machines take, with the clearances to serve them, and widths kept clear by rule.

Screening only: local codes, the authority having jurisdiction, the landlord and licensed
practice govern exits, electrical working space and everything else about the room.

Boxes are (left, near, right, far) in metres; the wall behind a row is the line y = 0.

Imports numpy, shapely, `capex.errors`, `capex.study.catalogue` and `capex.shopfloor.arrays`.
"""

from __future__ import annotations

import csv
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from typing import Literal

import numpy as np
import numpy.typing as npt
import shapely

from capex.errors import InputError
from capex.shopfloor.arrays import FloatArray, bounded
from capex.study.catalogue import data_folder

__all__ = [
    "Condition",
    "Footprint",
    "RoomRule",
    "RowBoxes",
    "exit_access_width",
    "floor_area",
    "room_rules",
    "row_boxes",
    "union_area",
    "working_space_depth",
    "working_space_width",
]

#: What faces the working space: A live parts on one side only, B live parts and earthed parts
#: (bare brick, concrete or tile walls count as earthed), C live parts on both sides.
Condition = Literal["A", "B", "C"]


@dataclass(frozen=True)
class Footprint:
    """The floor that a machine stands on, and what must stay free around it to serve it.

    Parameters
    ----------
    length : float
        Along the wall [m].
    depth : float
        From its rear to its front [m].
    front, rear, end : float
        Clearance before it, behind it and at each end [m].

    Raises
    ------
    InputError
        A value outside its bounds.
    """

    length: float
    depth: float
    front: float = 0.0
    rear: float = 0.0
    end: float = 0.0

    def __post_init__(self) -> None:
        for name in ("length", "depth"):
            bounded(name, getattr(self, name), "m", above=0)
        for name in ("front", "rear", "end"):
            bounded(f"{name} clearance", getattr(self, name), "m", at_least=0)


@dataclass(frozen=True, eq=False)
class RowBoxes:
    """Machines in one row with their backs to the wall.

    Parameters
    ----------
    footprints, envelopes : ndarray (k, 4)
        What each machine stands on, and that with its clearances [m].
    """

    footprints: FloatArray
    envelopes: FloatArray


def row_boxes(machines: Sequence[Footprint], *, share_ends: bool = True) -> RowBoxes:
    """Return machines side by side along a wall, each with its service envelope.

    Assumes that every rear clearance is kept between the machine and the wall. Neighbours that
    are served one at a time share the larger of their end clearances; others keep both. The
    footprints never overlap.

    Parameters
    ----------
    machines : sequence of Footprint
        From left to right; none gives empty boxes.
    share_ends : bool
        Whether neighbours share their end clearance.

    Returns
    -------
    RowBoxes

    Examples
    --------
    >>> machine = Footprint(length=2.0, depth=0.8, front=1.0, rear=0.9, end=0.6)
    >>> row_boxes([machine, machine]).envelopes.round(2).tolist()
    [[0.0, 0.0, 3.2, 2.7], [2.6, 0.0, 5.8, 2.7]]
    """
    left, before = 0.0, 0.0
    footprints, envelopes = [], []
    for machine in machines:
        # The first machine's own end clearance stands between it and the corner of the row.
        left += max(before, machine.end) if share_ends else before + machine.end
        right, far = left + machine.length, machine.rear + machine.depth
        footprints.append((left, machine.rear, right, far))
        envelopes.append((left - machine.end, 0.0, right + machine.end, far + machine.front))
        left, before = right, machine.end
    return RowBoxes(
        np.array(footprints, dtype=float).reshape(-1, 4),
        np.array(envelopes, dtype=float).reshape(-1, 4),
    )


def union_area(boxes: npt.ArrayLike) -> float:
    """Return the area that boxes cover together, overlaps counted once.

    Parameters
    ----------
    boxes : array_like (k, 4)
        (left, near, right, far) [m].

    Returns
    -------
    float
        [m²].

    Raises
    ------
    InputError
        A box whose right or far side does not lie beyond its left or near one.

    Examples
    --------
    >>> union_area([(0, 0, 3, 2), (2, 1, 5, 3), (10, 10, 11, 11)])
    12.0
    """
    sides = bounded("boxes", boxes, "m").reshape(-1, 4)
    size = sides[:, 2:] - sides[:, :2]
    if np.any(size <= 0):
        raise InputError("boxes", float(size.min()), "must be longer and deeper than 0 m")
    return float(shapely.area(shapely.union_all(shapely.box(*sides.T))))


@cache
def _row_area(machines: tuple[Footprint, ...], share_ends: bool) -> float:
    return union_area(row_boxes(machines, share_ends=share_ends).envelopes)


def floor_area(machines: Sequence[Footprint], *, share_ends: bool = True) -> float:
    """Return the floor that a row of machines takes with all its clearances.

    Assumes one row with backs to the wall, as `row_boxes` does.

    Parameters
    ----------
    machines : sequence of Footprint
        From left to right.
    share_ends : bool
        Whether neighbours share their end clearance.

    Returns
    -------
    float
        Area of the union of the envelopes [m²]; 0 for no machine.

    Examples
    --------
    >>> machine = Footprint(length=2.0, depth=0.8, front=1.0, rear=0.9, end=0.6)
    >>> round(floor_area([machine]), 2), round(floor_area([machine, machine]), 2)
    (8.64, 15.66)
    """
    return _row_area(tuple(machines), share_ends)


@dataclass(frozen=True)
class RoomRule:
    """One row of ``data/room_rules.csv``.

    Parameters
    ----------
    rule : str
        What is kept clear.
    condition : str
        A, B or C, or empty where it does not matter.
    voltage_above, voltage_up_to : float
        Nominal voltage to ground that the row is for [V]; 0 and 0 where it does not matter.
    clear : float
        Least clear distance [m].
    source, locator : str
        Id in ``data/sources.csv`` and the place in that source.
    """

    rule: str
    condition: str
    voltage_above: float
    voltage_up_to: float
    clear: float
    source: str
    locator: str


@cache
def room_rules() -> tuple[RoomRule, ...]:
    """Return the rules of the room as the data file states them.

    Returns
    -------
    tuple of RoomRule

    Examples
    --------
    >>> sorted({rule.rule for rule in room_rules()})
    ['exit_access_width', 'working_space_depth', 'working_space_width']
    """
    with (data_folder() / "room_rules.csv").open(encoding="utf-8", newline="") as lines:
        return tuple(
            RoomRule(
                rule=row["rule"],
                condition=row["condition"],
                voltage_above=float(row["voltage_above_v"] or 0),
                voltage_up_to=float(row["voltage_up_to_v"] or 0),
                clear=float(row["clear_m"]),
                source=row["source"],
                locator=row["locator"],
            )
            for row in csv.DictReader(lines)
        )


def _single(rule: str) -> float:
    (clear,) = (row.clear for row in room_rules() if row.rule == rule)
    return clear


def working_space_depth(voltage_to_ground: float, condition: Condition) -> float:
    """Return the least depth of clear working space before electrical equipment.

    Screening only: applies to equipment likely to be worked on while live, and has exceptions;
    a licensed electrician and the local code decide.

    Parameters
    ----------
    voltage_to_ground : float
        Nominal [V], up to 600.
    condition : {"A", "B", "C"}
        What faces the working space, as `Condition` says.

    Returns
    -------
    float
        [m].

    Raises
    ------
    InputError
        A voltage or a condition that the rule does not cover.

    Examples
    --------
    >>> round(working_space_depth(277, "B"), 4)
    1.0668

    Notes
    -----
    29 CFR 1910.303(g)(1)(i)(A), Table S-1. Source `cfr-1910-303`.
    """
    bounded("voltage_to_ground", voltage_to_ground, "V", at_least=0)
    rows = [row for row in room_rules() if row.rule == "working_space_depth"]
    if condition not in {row.condition for row in rows}:
        raise InputError("condition", condition, "must be A, B or C")
    for row in sorted(rows, key=lambda row: row.voltage_up_to):
        if row.condition == condition and voltage_to_ground <= row.voltage_up_to:
            return row.clear
    highest = max(row.voltage_up_to for row in rows)
    raise InputError("voltage_to_ground", voltage_to_ground, f"must be at most {highest:g} V")


def working_space_width(equipment_width: float) -> float:
    """Return the least width of clear working space before electrical equipment.

    Screening only, as for `working_space_depth`.

    Parameters
    ----------
    equipment_width : float
        [m].

    Returns
    -------
    float
        The rule's width, or the equipment's where that is greater [m].

    Raises
    ------
    InputError
        A width that is not greater than 0.

    Examples
    --------
    >>> working_space_width(0.5), working_space_width(1.2)
    (0.762, 1.2)

    Notes
    -----
    29 CFR 1910.303(g)(1)(i)(B). Source `cfr-1910-303`.
    """
    bounded("equipment_width", equipment_width, "m", above=0)
    return max(_single("working_space_width"), equipment_width)


def exit_access_width() -> float:
    """Return the least width of the way to an exit, anywhere along it.

    Screening only: occupant load, local codes and accessibility rules often ask for more.

    Returns
    -------
    float
        [m].

    Examples
    --------
    >>> round(exit_access_width(), 4)
    0.7112

    Notes
    -----
    29 CFR 1910.36(g)(2). Source `cfr-1910-36`.
    """
    return _single("exit_access_width")
