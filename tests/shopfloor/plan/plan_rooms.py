"""Rooms for tests of the plan, and an exhaustive search over whole metres that shares no code."""

from __future__ import annotations

import itertools
from dataclasses import dataclass
from typing import Any

from capex.shopfloor.plan import Fixtures, fixtures
from capex.shopfloor.room import Footprint
from capex.study import Room

SIDES = ("near", "right", "far", "left")


def room_of(width: float, depth: float, **parts: Any) -> Fixtures:
    """Return a room with a sliding door of 1 m at the left end of its near wall unless told."""
    door = {"wall": "near", "position": "0 m", "width": "1 m", "swing": "sliding"}
    entries: dict[str, Any] = {
        "width": f"{width} m", "depth": f"{depth} m", "doors": {"street": door},
    }  # fmt: skip
    return fixtures(Room.model_validate(entries | parts))


def solid(left: float, near: float, length: float, depth: float, name: str = "Bench") -> dict:
    return {
        "name": name, "left": f"{left} m", "near": f"{near} m", "length": f"{length} m",
        "depth": f"{depth} m",
    }  # fmt: skip


@dataclass(frozen=True)
class Place:
    """One way to stand a machine on a grid of cells, as sets of cells in the bits of numbers."""

    frame: int
    around: int
    front: int


def cells(left: int, near: int, right: int, far: int, width: int, depth: int) -> int:
    found = 0
    for x, y in itertools.product(range(left, right), range(near, far)):
        if 0 <= x < width and 0 <= y < depth:
            found |= 1 << (y * width + x)
    return found


def all_places(size: Footprint, width: int, depth: int, blocked: int) -> list[Place]:
    """Return every place of a machine on whole metres in its four turns."""
    long, deep = int(size.length), int(size.depth)
    front, rear, end = int(size.front), int(size.rear), int(size.end)
    found = []
    for side in SIDES:
        across, along = (long, deep) if side in ("near", "far") else (deep, long)
        pad = {
            "far": (end, rear, end, front), "near": (end, front, end, rear),
            "right": (rear, end, front, end), "left": (front, end, rear, end),
        }[side]  # fmt: skip
        reach = max(front, 1)
        for x, y in itertools.product(range(width), range(depth)):
            around = (x - pad[0], y - pad[1], x + across + pad[2], y + along + pad[3])
            if around[0] < 0 or around[1] < 0 or around[2] > width or around[3] > depth:
                continue
            before = {
                "far": (x, y + along, x + across, y + along + reach),
                "near": (x, y - reach, x + across, y),
                "right": (x + across, y, x + across + reach, y + along),
                "left": (x - reach, y, x, y + along),
            }[side]
            place = Place(
                cells(x, y, x + across, y + along, width, depth),
                cells(*around, width, depth),
                cells(*before, width, depth),
            )
            if not place.around & blocked:
                found.append(place)
    return found


def reached(start: int, free: int, width: int) -> int:
    """Return the free cells that a way of one cell leads to, straight steps only."""
    row_ends = sum(1 << (y * width + width - 1) for y in range(free.bit_length() // width + 1))
    found = start & free
    while True:
        steps = found | found << width | found >> width
        steps |= (found & ~row_ends) << 1 | (found >> 1) & ~row_ends
        if steps & free == found:
            return found
        found = steps & free


def least_area(
    sizes: list[Footprint], width: int, depth: int, blocked: int, door: int
) -> int | None:
    """Return the least floor over all arrangements on whole metres, or None where none passes."""
    room = cells(0, 0, width, depth, width, depth)
    options = [all_places(size, width, depth, blocked) for size in sizes]
    best: int | None = None

    def step(index: int, chosen: list[Place], frames: int, around: int) -> None:
        nonlocal best
        if best is not None and around.bit_count() >= best:
            return
        if index == len(options):
            out = reached(door, room & ~(frames | blocked), width)
            if all(place.front & out for place in chosen):
                best = around.bit_count()
            return
        for place in options[index]:
            if place.around & frames or place.frame & around:
                continue
            step(index + 1, [*chosen, place], frames | place.frame, around | place.around)

    step(0, [], 0, 0)
    return best
