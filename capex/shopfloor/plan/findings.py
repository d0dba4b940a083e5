"""What a plan of the room passes, what it fails, and what only others can answer.

Screening only: every finding carries a caution, and local codes, the authority having
jurisdiction, the landlord and licensed practice govern. Nothing here is a permit.

Imports `capex.shopfloor.room` and, of this folder, `clear_way`, `finding`, `fixtures` and `spots`.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import combinations
from typing import Final

from capex.shopfloor.plan.clear_way import clear_way_width, free_floor, operator_floor, reaches
from capex.shopfloor.plan.finding import Finding, Status
from capex.shopfloor.plan.fixtures import Fixtures
from capex.shopfloor.plan.spots import Box, Spot, overlap_area
from capex.shopfloor.room import room_rules

__all__ = ["check_plan", "standing_already"]

#: Shared floor below this is a matter of rounding [m²].
_TOUCH: Final = 1e-7
_SLACK: Final = 1e-6

_MAKER: Final = (
    "Clearances are the machine's own as entered: the maker's installation instructions govern."
)
_ELECTRICIAN: Final = (
    "Screening only; the rule has exceptions. A licensed electrician and the local code decide. "
    "The space is never storage: no rolls, carts or stock in it."
)
_EXITS: Final = (
    "Screening only. Occupant load, local codes and accessibility rules often ask for more: the "
    "authority having jurisdiction decides. Keep the way free of rolls and carts."
)
_CARRIER: Final = (
    "Width of the door only. Height, turns, thresholds, stairs and lifts are for the carrier to "
    "look at; move machines by team lift or hoist, never alone."
)


def check_plan(
    room: Fixtures, spots: Sequence[Spot], brought_in: Sequence[str] = ()
) -> tuple[Finding, ...]:
    """Return what can be checked of a plan; a rule without trouble passes in one line.

    Assumes that everything is on one level and that walls have no thickness.

    Parameters
    ----------
    room : Fixtures
    spots : sequence of Spot
        Where the machines stand.
    brought_in : sequence of str
        Names of those that still have to come in through a door.

    Returns
    -------
    tuple of Finding
        Rule by rule: footprints, clearances, clearances shared, working space, doors, the way
        out, the way in.
    """
    new = [spot for spot in spots if spot.name in set(brought_in)]
    return (
        *_or_pass(check_footprints(room, spots), _footprints_pass(spots)),
        *_or_pass(check_clearances(room, spots), _clearances_pass(spots)),
        *_or_pass(check_shared(room, spots), _shared_pass(spots)),
        *check_working_space(room, spots),
        *check_door_swing(room, spots),
        *check_exit_access(room, spots),
        *check_way_in(room, new),
    )


def _or_pass(troubles: Iterator[Finding], otherwise: Finding | None) -> list[Finding]:
    found = list(troubles)
    return found if found or otherwise is None else [otherwise]


def _outside(box: Box, room: Fixtures) -> float:
    """Return how far a box reaches beyond the walls [m]."""
    return max(-box[0], -box[1], box[2] - room.width, box[3] - room.depth, 0.0)


def _of(
    status: Status,
    rule: str,
    spots: Sequence[Spot],
    reason: str,
    *,
    found: float | None = None,
    kind: str = "length",
) -> Finding:
    """Return what is about machines, their maker's instructions governing."""
    labels = tuple(spot.name for spot in spots)
    subject = ", ".join(labels)
    return Finding(status, rule, subject, reason, _MAKER, found=found, kind=kind, machines=labels)


# Footprints


_FOOTPRINTS: Final = "Machines side by side"


def _footprints_pass(spots: Sequence[Spot]) -> Finding | None:
    if not spots:
        return None
    return Finding(
        "pass", _FOOTPRINTS, "All machines",
        "inside the room, each in a place of its own", _MAKER,
    )  # fmt: skip


def check_footprints(room: Fixtures, spots: Sequence[Spot]) -> Iterator[Finding]:
    """Yield machines beyond a wall, in an obstacle or in one another.

    Parameters
    ----------
    room : Fixtures
    spots : sequence of Spot
    """
    for spot in spots:
        beyond = _outside(spot.footprint, room)
        if beyond > _SLACK:
            reason = "reaches beyond the walls"
            yield _of("fail", _FOOTPRINTS, [spot], reason, found=beyond)
        for solid in room.solids:
            if overlap_area(spot.footprint, solid.box) > _TOUCH:
                reason = f"stands in the same place as {solid.name}"
                yield _of("fail", _FOOTPRINTS, [spot], reason)
    for one, other in combinations(spots, 2):
        if overlap_area(one.footprint, other.footprint) > _TOUCH:
            yield _of("fail", _FOOTPRINTS, [one, other], "stand in the same place")


# Clearances


_CLEARANCES: Final = "Clearance to serve each machine"
_SHARED: Final = "Clearance that neighbours share"


def _clearances_pass(spots: Sequence[Spot]) -> Finding | None:
    if not spots:
        return None
    reason = "clearances are free of walls, obstacles and other machines"
    return Finding("pass", _CLEARANCES, "All machines", reason, _MAKER)


def check_clearances(room: Fixtures, spots: Sequence[Spot]) -> Iterator[Finding]:
    """Yield machines whose clearance meets a wall, an obstacle or another machine.

    Parameters
    ----------
    room : Fixtures
    spots : sequence of Spot
    """
    for spot in spots:
        beyond = _outside(spot.envelope, room)
        if beyond > _SLACK:
            reason = "a wall takes some of its clearance"
            yield _of("fail", _CLEARANCES, [spot], reason, found=beyond)
        standing = [(other.name, other.footprint) for other in spots if other is not spot]
        for name, box in [*((solid.name, solid.box) for solid in room.solids), *standing]:
            if overlap_area(spot.envelope, box) > _TOUCH:
                reason = f"{name} stands in its clearance"
                yield _of("fail", _CLEARANCES, [spot], reason)


def _shared_pass(spots: Sequence[Spot]) -> Finding | None:
    if len(spots) < 2:
        return None
    reason = "each has its clearance to itself"
    return Finding("pass", _SHARED, "All machines", reason, _MAKER)


def check_shared(room: Fixtures, spots: Sequence[Spot]) -> Iterator[Finding]:
    """Yield clearances of two machines that overlap: fine where only one is served at a time.

    Parameters
    ----------
    room : Fixtures
    spots : sequence of Spot
    """
    for one, other in combinations(spots, 2):
        area = overlap_area(one.envelope, other.envelope)
        if area <= _TOUCH:
            continue
        if room.shared_clearances:
            status: Status = "ask"
            reason = "share clearance: is only one of them served there at a time?"
        else:
            status, reason = "fail", "share clearance, and the study lets none be shared"
        yield _of(status, _SHARED, [one, other], reason, found=area, kind="area")


# Electrical working space


_CONDITIONS: Final = {
    "A": "neither live nor earthed parts",
    "B": "earthed parts",
    "C": "live parts",
}


def _cited(rule: str) -> tuple[str, str]:
    row = next(row for row in room_rules() if row.rule == rule)
    return row.source, row.locator


def check_working_space(room: Fixtures, spots: Sequence[Spot]) -> Iterator[Finding]:
    """Yield, for each electrical panel, whether the working space before it is clear.

    Depth by voltage and condition, width the greater of 30 in and the panel.

    Parameters
    ----------
    room : Fixtures
    spots : sequence of Spot

    Notes
    -----
    29 CFR 1910.303(g)(1)(i), Table S-1. Source `cfr-1910-303`.
    """
    rule = "Working space at electrical panels"
    source, deep = _cited("working_space_depth")
    locator = f"{deep}; {_cited('working_space_width')[1]}"
    for panel in room.panels:
        space = panel.working_space
        standing = [(spot.name, spot.footprint) for spot in spots]
        solid = [(one.name, one.box) for one in room.solids if one.box != panel.box]
        blocking = [name for name, box in [*standing, *solid] if overlap_area(space, box) > _TOUCH]
        reasons = [f"{name} stands in its working space" for name in blocking]
        if _outside(space, room) > _SLACK:
            reasons.append("the room is too small for its working space")
        told = (
            f"working space for {panel.voltage_to_ground:g} V, {_CONDITIONS[panel.condition]} "
            f"across from it (condition {panel.condition})"
        )
        for reason in reasons or [f"{told}, is free"]:
            yield Finding(
                "fail" if reasons else "pass", rule, panel.name, reason, _ELECTRICIAN, source,
                locator, needed=panel.needed_depth,
            )  # fmt: skip


# Doors and ways


def check_door_swing(room: Fixtures, spots: Sequence[Spot]) -> Iterator[Finding]:
    """Yield, for each door that opens into the room, what its leaf strikes.

    Parameters
    ----------
    room : Fixtures
    spots : sequence of Spot
    """
    rule = "Doors open fully"
    for door in room.doors:
        if door.swing is None:
            yield Finding("pass", rule, door.name, "does not open into the room", _EXITS)
            continue
        standing = [(spot.name, spot.footprint) for spot in spots]
        solid = [(one.name, one.box) for one in room.solids]
        struck = [name for name, box in [*standing, *solid] if door.swing.meets(box)]
        for name in struck:
            yield Finding("fail", rule, door.name, f"its leaf strikes {name}", _EXITS)
        served = [spot.name for spot in spots if door.swing.meets(spot.envelope)]
        for name in (one for one in served if one not in struck):
            reason = f"its leaf can strike whoever serves {name}: can it open the other way?"
            yield Finding("ask", rule, door.name, reason, _EXITS)
        if not struck and not served:
            yield Finding("pass", rule, door.name, "its leaf opens freely", _EXITS)


def check_exit_access(room: Fixtures, spots: Sequence[Spot]) -> Iterator[Finding]:
    """Yield, for each machine, how wide the way from its operator's side to an exit is.

    Parameters
    ----------
    room : Fixtures
    spots : sequence of Spot

    Notes
    -----
    29 CFR 1910.36(g)(2). Source `cfr-1910-36`.
    """
    source, locator = _cited("exit_access_width")
    needed = room.exit_access_width
    free = free_floor(room, [spot.footprint for spot in spots])
    for spot in spots:
        start = operator_floor(free, spot, max(spot.size.front, needed))
        (enough,) = reaches(room, free, [start], needed)
        width = clear_way_width(room, free, start)
        reason = "way from its operator's side to an exit, at its narrowest"
        if width == 0.0:
            reason = "no way leads from its operator's side to an exit"
        yield Finding(
            "pass" if enough else "fail", "Way out", spot.name, reason, _EXITS, source, locator,
            found=max(width, needed) if enough else width, needed=needed, machines=(spot.name,),
        )  # fmt: skip


def check_way_in(room: Fixtures, spots: Sequence[Spot]) -> Iterator[Finding]:
    """Yield, for each machine that is brought in, whether its crate goes through a door.

    Assumes that it is carried lengthwise, with the room's packing on both sides.

    Parameters
    ----------
    room : Fixtures
    spots : sequence of Spot
        Those that have to come in.
    """
    widest = max(door.width for door in room.doors)
    for spot in spots:
        crate = min(spot.size.length, spot.size.depth) + 2 * room.packing
        fits = crate <= widest + _SLACK
        reason = "goes through the widest door" if fits else "its crate is wider than any door"
        yield Finding(
            "pass" if fits else "fail", "Way in", spot.name, reason, _CARRIER, found=widest,
            needed=crate, machines=(spot.name,),
        )  # fmt: skip


def standing_already(names: Sequence[str]) -> Iterator[Finding]:
    """Yield, for each machine that the shop has, that no door decides about it.

    Parameters
    ----------
    names : sequence of str
    """
    for name in names:
        reason = "is in the shop already and is not brought in"
        yield Finding("pass", "Way in", name, reason, _CARRIER, machines=(name,))
