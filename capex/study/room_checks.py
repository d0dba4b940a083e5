"""Rules between fields of the room: what is in a wall, in the room, and placed by hand.

Imports `capex.errors`, `capex.units` and the other files of `capex.study`.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator
from itertools import combinations
from typing import TYPE_CHECKING, Any, Final

from capex.errors import Problem
from capex.study.room import Door, ElectricalPanel
from capex.units import quantity_text

if TYPE_CHECKING:
    from capex.study.alternatives import Alternative
    from capex.study.room import Obstacle, Room, Side
    from capex.study.study import Study

__all__ = ["ROOM_RULES", "machines_standing"]

_SLACK: Final = 1e-9


def machines_standing(alternative: Alternative) -> tuple[int, ...]:
    """Return which entries of an alternative ever stand in the room, one for each machine.

    Those that are sold before month 1 never do; an entry that counts two is named twice.

    Parameters
    ----------
    alternative : Alternative

    Returns
    -------
    tuple of int
        Indices of `alternative.machines`, in their order.
    """
    return tuple(
        index
        for index, placement in enumerate(alternative.machines)
        if placement.sold_in_month is None or bool((placement.sold_in_month.si > 0).any())
        for _ in range(int(placement.count.likely))
    )


def _wall_length(room: Room, wall: Side) -> float:
    return (room.width if wall in ("near", "far") else room.depth).likely


def _rooms(study: Study) -> Iterator[tuple[Room]]:
    room = getattr(study, "room", None)
    if room is not None:
        yield (room,)


def _wall_parts(study: Study) -> Iterator[tuple[Room, str, Door | ElectricalPanel]]:
    for (room,) in _rooms(study):
        for path, part in _on_walls(room):
            yield room, path, part


def _obstacles(study: Study) -> Iterator[tuple[Room, str, Obstacle]]:
    for (room,) in _rooms(study):
        for key, obstacle in getattr(room, "obstacles", {}).items():
            yield room, f"room.obstacles.{key}", obstacle


def _on_walls(room: Room) -> Iterator[tuple[str, Door | ElectricalPanel]]:
    for key, door in getattr(room, "doors", {}).items():
        yield f"room.doors.{key}", door
    for key, panel in getattr(room, "panels", {}).items():
        yield f"room.panels.{key}", panel


def check_within_wall(
    study: Study, room: Room, path: str, part: Door | ElectricalPanel
) -> Iterator[Problem]:
    """Yield a door or a panel that reaches beyond the end of its wall."""
    end = part.position.likely + part.width.likely
    length = _wall_length(room, part.wall)
    if end > length + _SLACK:
        yield Problem(
            f"{path}.position",
            quantity_text(part.position.likely, "length"),
            f"must leave room for the width of {quantity_text(part.width.likely, 'length')}: "
            f"the {part.wall} wall is {quantity_text(length, 'length')} long",
        )


def check_wall_shared(study: Study, room: Room) -> Iterator[Problem]:
    """Yield doors and panels in one another's place on a wall."""
    for (_, one), (path, other) in combinations(_on_walls(room), 2):
        first = max(one.position.likely, other.position.likely)
        last = min(
            one.position.likely + one.width.likely, other.position.likely + other.width.likely
        )
        if one.wall == other.wall and last - first > _SLACK:
            yield Problem(
                f"{path}.position",
                quantity_text(other.position.likely, "length"),
                f"must not lie in {one.name} ({quantity_text(one.position.likely, 'length')} to "
                f"{quantity_text(one.position.likely + one.width.likely, 'length')})",
            )


def check_obstacle(study: Study, room: Room, path: str, obstacle: Obstacle) -> Iterator[Problem]:
    """Yield an obstacle that reaches out of the room."""
    for name, size, span in (
        ("left", obstacle.length, room.width),
        ("near", obstacle.depth, room.depth),
    ):
        start, most = getattr(obstacle, name).likely, span.likely - size.likely
        told = f"{obstacle.name} is {quantity_text(size.likely, 'length')}"
        if most < 0.0:
            shown = quantity_text(span.likely, "length")
            yield Problem(f"{path}.{name}", None, f"cannot be inside: {told}, the room {shown}")
        elif start > most + _SLACK:
            bound = f"must be at most {quantity_text(most, 'length')}, to be inside: {told}"
            yield Problem(f"{path}.{name}", quantity_text(start, "length"), bound)


def check_exit(study: Study, room: Room) -> Iterator[Problem]:
    """Yield a room without a door to leave by."""
    if not any(door.leads_to_exit for door in room.doors.values()):
        yield Problem("room.doors", None, "must have at least one with leads_to_exit = true")


def check_positions(study: Study, room: Room) -> Iterator[Problem]:
    """Yield positions of alternatives and machines that are not there, too few and too many."""
    for key, positions in room.positions.items():
        path = f"room.positions.{key}"
        if key not in study.alternatives:
            known = ", ".join(sorted(study.alternatives))
            yield Problem(path, key, f"is not a known alternative; known: {known}")
            continue
        choice = study.alternatives[key]
        standing = Counter(choice.machines[index].machine for index in machines_standing(choice))
        for index, position in enumerate(positions):
            if position.machine not in standing:
                known = ", ".join(sorted(standing)) or "none"
                bound = f"is no machine that works in this alternative; known: {known}"
                yield Problem(f"{path}.{index}.machine", position.machine, bound)
        placed = Counter(position.machine for position in positions)
        for machine, count in standing.items():
            if placed[machine] != count:
                bound = f"must have {count} of {machine}, as many as work there: all or none"
                yield Problem(path, f"{placed[machine]} of {machine}", bound)


#: Rules of the room with the items that each takes beside the study.
ROOM_RULES: Final[tuple[tuple[tuple[Callable[..., Iterator[Problem]], ...], Any], ...]] = (
    ((check_within_wall,), _wall_parts),
    ((check_obstacle,), _obstacles),
    ((check_wall_shared, check_exit, check_positions), _rooms),
)
