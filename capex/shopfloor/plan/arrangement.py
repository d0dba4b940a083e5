"""A place for every machine that nobody placed by hand: everything passes, least floor taken.

Machines come one after another, the largest first; where one finds no place, it comes first in
the next attempt, and at last they come in other orders. Each is tried in its four turns wherever it
touches a wall, something fixed, another machine or the edge of a clearance, or leaves just the
way out beside it. The few best arrangements so far are carried on. It is a search, no proof: what
it finds passes, but there may be an arrangement that takes less floor, or one where it finds none.

Imports numpy, `capex.errors` and the other files of this folder.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import chain, permutations
from typing import Final, NamedTuple

import numpy as np

from capex.errors import InputError, NoAnswerError
from capex.shopfloor.arrays import BoolArray, FloatArray
from capex.shopfloor.plan.clear_way import free_floor, operator_floor, reaches
from capex.shopfloor.plan.fixtures import Fixtures
from capex.shopfloor.plan.spots import FACINGS, Box, Spot, clearances, extent
from capex.shopfloor.room import Footprint
from capex.study.room import Side
from capex.units import quantity_text

__all__ = ["arrangement"]

#: Arrangements carried on, ways out tried for each, and orders of the machines tried.
_WIDTH: Final = 24
_TRIES: Final = 6
_ORDERS: Final = 12
_SLACK: Final = 1e-7

_Named = tuple[str, Footprint]


@dataclass(frozen=True)
class _Blocks:
    """What a machine must keep off: with its clearance, with its frame, with both."""

    hard: FloatArray
    soft: FloatArray
    edges: FloatArray


@dataclass(frozen=True)
class _Partial:
    """An arrangement of the first machines, with the terms of its area."""

    spots: tuple[Spot, ...] = ()
    area: float = 0.0
    #: Sign and box of each term of inclusion and exclusion over the envelopes.
    terms: tuple[tuple[int, Box], ...] = ()

    def with_spot(self, spot: Spot, area: float) -> _Partial:
        new: Box = spot.envelope
        met = [(-sign, _common(box, new)) for sign, box in self.terms]
        return _Partial(
            (*self.spots, spot),
            area,
            (*self.terms, (1, new), *((s, b) for s, b in met if b[2] > b[0] and b[3] > b[1])),
        )


def _common(one: Box, other: Box) -> Box:
    return (
        max(one[0], other[0]), max(one[1], other[1]), min(one[2], other[2]), min(one[3], other[3]),
    )  # fmt: skip


def arrangement(room: Fixtures, machines: Sequence[tuple[str, Footprint]]) -> tuple[Spot, ...]:
    """Return a place for each machine, so that no rule fails and little floor is taken.

    Deterministic. Places where a door's leaf opens into a clearance are taken only where nothing
    else is found.

    Parameters
    ----------
    room : Fixtures
    machines : sequence of (str, Footprint)
        Names, each once, and sizes with clearances.

    Returns
    -------
    tuple of Spot
        In the order of `machines`.

    Raises
    ------
    NoAnswerError
        A machine is larger than the room, fits nowhere in it, or was found no place beside the
        others; the message names it and says why.
    InputError
        Two machines of one name.

    Examples
    --------
    >>> from capex.shopfloor.plan.fixtures import fixtures
    >>> from capex.study import Room
    >>> room = fixtures(Room.model_validate({
    ...     "width": "6 m", "depth": "4 m",
    ...     "doors": {"street": {"wall": "near", "position": "5 m", "width": "0.9 m"}},
    ... }))
    >>> size = Footprint(length=2.0, depth=0.8, front=1.0, rear=0.9, end=0.6)
    >>> (spot,) = arrangement(room, [("Printer", size)])
    >>> [round(side, 2) for side in spot.envelope]
    [0.0, 0.0, 3.2, 2.7]
    """
    for place, (name, size) in enumerate(machines):
        if name in [other for other, _ in machines[:place]]:
            raise InputError("machines", name, "must not be the name of two machines")
        _check_size(room, name, size)
    found: tuple[Spot, ...] = ()
    swings = any(door.swing is not None for door in room.doors)
    for off_swing in (True, False) if swings else (False,):
        found, why = _in_some_order(room, machines, off_swing=off_swing)
        if not why:
            break
    else:
        raise NoAnswerError(why)
    spots = {spot.name: spot for spot in found}
    return tuple(spots[name] for name, _ in machines)


def _in_some_order(
    room: Fixtures, machines: Sequence[_Named], *, off_swing: bool
) -> tuple[tuple[Spot, ...], str]:
    """Return an arrangement of all machines, or why the first attempt found none."""
    order = tuple(sorted(machines, key=lambda machine: -_envelope_area(machine[1])))
    others = permutations(order)
    found, why = _searched(room, order, off_swing=off_swing)
    tried, reason = [order], why
    # A machine that found no place as the first one has none whatever the others do.
    while reason and found and len(tried) < _ORDERS:
        stuck = order[len(found)]
        first = (stuck, *(machine for machine in order if machine is not stuck))
        order = next((one for one in chain([first], others) if one not in tried), ())
        if not order:
            break
        tried.append(order)
        found, reason = _searched(room, order, off_swing=off_swing)
    return found, why if found and reason else reason


def _envelope_area(size: Footprint) -> float:
    return (size.length + 2 * size.end) * (size.depth + size.front + size.rear)


def _check_size(room: Fixtures, name: str, size: Footprint) -> None:
    """Refuse a machine that is larger than the room whichever way it is turned."""
    with_clearances = (size.length + 2 * size.end, size.depth + size.front + size.rear)
    for (long, deep), what in (
        ((size.length, size.depth), "is"),
        (with_clearances, "needs, with its clearances,"),
    ):
        if not any(
            across <= room.width + _SLACK and along <= room.depth + _SLACK
            for across, along in ((long, deep), (deep, long))
        ):
            sizes = " × ".join(quantity_text(one, "length") for one in (long, deep))
            walls = " × ".join(quantity_text(one, "length") for one in (room.width, room.depth))
            message = f"{name} {what} {sizes}; the room is {walls}: it does not fit"
            raise NoAnswerError(message)


def _searched(
    room: Fixtures, machines: Sequence[_Named], *, off_swing: bool
) -> tuple[tuple[Spot, ...], str]:
    """Return the best arrangement of the machines up to the first without a place, and why."""
    kept = [_Partial()]
    for name, size in machines:
        ranked = sorted(
            option
            for number, partial in enumerate(kept)
            for option in _options(room, partial, number, size, off_swing=off_swing)
        )
        following: list[_Partial] = []
        for option in ranked[: _WIDTH * _TRIES]:
            spot = Spot(name, size, option.left, option.near, FACINGS[option.facing])
            partial = kept[option.number].with_spot(spot, option.area)
            if _all_reach(room, partial.spots):
                following.append(partial)
            if len(following) == _WIDTH:
                break
        if not following:
            beside = ", ".join(spot.name for spot in kept[0].spots)
            where = f"beside {beside}" if beside else "in the room"
            way = quantity_text(room.exit_access_width, "length", digits=3)
            why = "walls, doors, panels, obstacles and clearances leave none free"
            if ranked:
                why = f"every place tried closes a way out of {way}"
            return kept[0].spots, f"{name}: no place was found {where}: {why}"
        kept = following
    return min(kept, key=lambda partial: round(partial.area, 6)).spots, ""


def _all_reach(room: Fixtures, spots: Sequence[Spot]) -> bool:
    needed = room.exit_access_width
    free = free_floor(room, [spot.footprint for spot in spots])
    starts = [operator_floor(free, spot, max(spot.size.front, needed)) for spot in spots]
    return all(reaches(room, free, starts, needed))


class _Option(NamedTuple):
    """A place for the next machine; the better, the less."""

    #: Floor taken, and how far from the nearest corner, both rounded: the last bit decides no tie.
    rank: tuple[float, float]
    number: int
    facing: int
    left: float
    near: float
    area: float


def _options(
    room: Fixtures, partial: _Partial, number: int, size: Footprint, *, off_swing: bool
) -> Iterator[_Option]:
    """Yield the best places of one machine in each of its turns: rank, area, and where."""
    blocks = _blocks(room, partial.spots)
    for turn, facing in enumerate(FACINGS):
        places = _places(room, blocks, size, facing)
        frames, around = _boxes(places, size, facing)
        free = _free(room, blocks, frames, around, off_swing=off_swing)
        frames, around = frames[free], around[free]
        areas = partial.area + _area(around)
        for sign, box in partial.terms:
            areas -= sign * _shared(around, box)
        gaps = np.minimum(around[:, 0], room.width - around[:, 2])
        gaps = gaps + np.minimum(around[:, 1], room.depth - around[:, 3])
        ranks = np.column_stack([areas, gaps]).round(6)
        for k in np.lexsort((ranks[:, 1], ranks[:, 0]))[:_WIDTH]:
            rank = (float(ranks[k, 0]), float(ranks[k, 1]))
            left, near = (float(side) for side in frames[k, :2])
            yield _Option(rank, number, turn, left, near, float(areas[k]))


def _stacked(boxes: Iterable[Box]) -> FloatArray:
    return np.array([*boxes], dtype=float).reshape(-1, 4)


def _blocks(room: Fixtures, spots: Sequence[Spot]) -> _Blocks:
    swings = [door.swing.box for door in room.doors if door.swing is not None]
    solids = [solid.box for solid in room.solids]
    footprints = [spot.footprint for spot in spots]
    envelopes = [spot.envelope for spot in spots]
    hard = [*solids, *footprints, *(() if room.shared_clearances else envelopes)]
    soft = [*(panel.working_space for panel in room.panels), *envelopes]
    return _Blocks(_stacked(hard), _stacked(soft), _stacked([*swings, *envelopes]))


def _places(room: Fixtures, blocks: _Blocks, size: Footprint, facing: Side) -> FloatArray:
    """Return where the left near corner of the frame is tried, shape (p, 2)."""
    frame, free = extent(size, facing), clearances(size, facing)
    axes = []
    for axis, span in ((0, room.width), (1, room.depth)):
        long, before, after = frame[axis], free[axis], free[axis + 2]
        walls = np.array([[0.0, span]])
        hard = np.vstack([blocks.hard[:, axis::2], blocks.edges[:, axis::2]])
        soft = np.vstack([blocks.soft[:, axis::2], blocks.edges[:, axis::2]])
        way = room.exit_access_width
        starts = np.concatenate([
            walls[:, 0] + before, walls[:, 1] - after - long,
            walls[:, 0] + way, walls[:, 1] - way - long,
            hard[:, 1] + before, hard[:, 0] - after - long,
            hard[:, 1] + way, hard[:, 0] - way - long,
            soft[:, 1], soft[:, 0] - long,
            soft[:, 0] + before, soft[:, 1] - after - long,
        ])  # fmt: skip
        inside = (starts >= before - _SLACK) & (starts <= span - after - long + _SLACK)
        axes.append(np.unique(starts[inside].round(9)))
    return np.stack(np.meshgrid(*axes, indexing="ij"), axis=-1).reshape(-1, 2)


def _boxes(places: FloatArray, size: Footprint, facing: Side) -> tuple[FloatArray, FloatArray]:
    """Return frames and frames with clearances at each place, shape (p, 4)."""
    frames = np.hstack([places, places + np.array(extent(size, facing))])
    free = np.array(clearances(size, facing)) * np.array([-1.0, -1.0, 1.0, 1.0])
    return frames, frames + free


def _area(boxes: FloatArray) -> FloatArray:
    area: FloatArray = (boxes[:, 2] - boxes[:, 0]) * (boxes[:, 3] - boxes[:, 1])
    return area


def _shared(boxes: FloatArray, box: Sequence[float] | FloatArray) -> FloatArray:
    """Return the area that each box shares with one box, shape (p,)."""
    wide = np.minimum(boxes[:, 2], box[2]) - np.maximum(boxes[:, 0], box[0])
    deep = np.minimum(boxes[:, 3], box[3]) - np.maximum(boxes[:, 1], box[1])
    area: FloatArray = np.maximum(wide, 0.0) * np.maximum(deep, 0.0)
    return area


def _free(
    room: Fixtures,
    blocks: _Blocks,
    frames: FloatArray,
    around: FloatArray,
    *,
    off_swing: bool,
) -> BoolArray:
    """Return which places keep off all that they must, shape (p,)."""
    free = np.ones(len(frames), dtype=bool)
    for box in blocks.hard:
        free &= _shared(around, box) <= _SLACK
    for box in blocks.soft:
        free &= _shared(frames, box) <= _SLACK
    swept = around if off_swing else frames
    for door in room.doors:
        if door.swing is not None:
            free &= ~door.swing.meets(swept)
    return free
