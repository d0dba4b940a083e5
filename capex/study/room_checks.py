"""Rules between fields of the room: what is in a wall, in the room, and placed by hand.

Imports `capex.errors`, `capex.units` and the other files of `capex.study`.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from itertools import combinations
from typing import TYPE_CHECKING, Final

from capex.errors import Problem
from capex.study.room import Door, ElectricalPanel
from capex.units import quantity_text

if TYPE_CHECKING:
    from capex.study.alternatives import Alternative
    from capex.study.room import Room, Side
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


def _on_walls(room: Room) -> Iterator[tuple[str, Door | ElectricalPanel]]:
    for key, door in getattr(room, "doors", {}).items():
        yield f"room.doors.{key}", door
    for key, panel in getattr(room, "panels", {}).items():
        yield f"room.panels.{key}", panel


def check_within_walls(study: Study, room: Room) -> Iterator[Problem]:
    """Yield doors and panels that reach beyond the end of their wall."""
    for path, part in _on_walls(room):
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


def check_obstacles(study: Study, room: Room) -> Iterator[Problem]:
    """Yield obstacles that reach out of the room."""
    for key, obstacle in room.obstacles.items():
        for name, size, span in (
            ("left", obstacle.length, room.width),
            ("near", obstacle.depth, room.depth),
        ):
            start = getattr(obstacle, name).likely
            if start + size.likely > span.likely + _SLACK:
                yield Problem(
                    f"room.obstacles.{key}.{name}",
                    quantity_text(start, "length"),
                    f"must be at most {quantity_text(span.likely - size.likely, 'length')}, so "
                    f"that {obstacle.name} ({quantity_text(size.likely, 'length')}) is inside",
                )


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


#: Every rule of the room; each takes the study and its room.
ROOM_RULES: Final = (
    check_within_walls,
    check_wall_shared,
    check_obstacles,
    check_exit,
    check_positions,
)
