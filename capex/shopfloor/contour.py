"""Cut lines reduced to what their timing needs: steps, curvature radii, turns, lifts, travel.

Imports numpy, `capex.errors` and, of this folder, `arrays` and `curves`.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Final

import numpy as np

from capex.errors import InputError
from capex.shopfloor.arrays import BoolArray, FloatArray, bounded
from capex.shopfloor.curves import EllipticArc, Line, Piece, Steps, drawn_steps, turns

__all__ = [
    "TURN_PER_STEP",
    "Contour",
    "circle_contour",
    "drawn_contour",
    "rectangle_contour",
]

#: Largest change of direction within one step of a sampled curve [rad]; halving it changes the
#: cut time of the shipped artwork by less than 0.1 % (tested).
TURN_PER_STEP: Final = math.radians(5.0)

_SHORTEST_PIECE: Final = 1e-9
_SMOOTH: Final = 1e-6


@dataclass(frozen=True, eq=False)
class Contour:
    """A cut line of one piece, as steps between nodes.

    Node ``i`` stands before step ``i``; the last node closes the last step. Where one part of
    the line ends and the next begins, both share a node with an infinite turn: the knife stops.

    Parameters
    ----------
    step_length : ndarray (s,)
        [m], greater than 0.
    start_radius, end_radius : ndarray (s,)
        Radius of curvature at both ends of each step [m]; inf where straight.
    node_turn : ndarray (s + 1,)
        Change of direction at each node [rad]; inf where a part begins or ends.
    node_radius : ndarray (s + 1,)
        Radius at which a corner that is no stop is rounded [m]; inf where smooth.
    travel : ndarray (p − 1,)
        Moves with the knife up from one part to the next [m].

    Raises
    ------
    InputError
        Arrays that do not fit together, or values outside their bounds.
    """

    step_length: FloatArray
    start_radius: FloatArray
    end_radius: FloatArray
    node_turn: FloatArray
    node_radius: FloatArray
    travel: FloatArray

    def __post_init__(self) -> None:
        steps = self.step_length.size
        sizes = (self.start_radius.size, self.end_radius.size)
        nodes = (self.node_turn.size, self.node_radius.size)
        if not steps or sizes != (steps, steps) or nodes != (steps + 1, steps + 1):
            raise InputError("contour", (steps, sizes, nodes), "must have steps and one node more")
        bounded("step_length", self.step_length, "m", above=0)
        radii = (self.start_radius, self.end_radius, self.node_radius)
        if not all(bool((radius > 0).all()) for radius in radii):
            raise InputError("radius", min(float(r.min()) for r in radii), "must be positive")
        bounded("travel", self.travel, "m", at_least=0)

    @cached_property
    def path_length(self) -> float:
        """Length that the knife cuts in one pass [m]."""
        return float(self.step_length.sum())

    @property
    def subpath_count(self) -> int:
        """Parts of the line, each with one lift and one lowering of the knife."""
        return int(np.isinf(self.node_turn).sum()) - 1

    @cached_property
    def travel_length(self) -> float:
        """Way between the parts with the knife up [m]."""
        return float(self.travel.sum())

    @cached_property
    def position(self) -> FloatArray:
        """Way from the start of the line to each node, shape (s + 1,) [m]."""
        return np.concatenate(([0.0], np.cumsum(self.step_length)))

    @cached_property
    def has_soft_corners(self) -> bool:
        """Whether some node turns without being smooth."""
        return bool(np.isfinite(self.node_radius).any())


def drawn_contour(
    subpaths: Sequence[Sequence[Piece]], *, turn_per_step: float = TURN_PER_STEP
) -> Contour:
    """Return the contour of drawn lines, in drawing order.

    Assumes that the knife starts each part at its first point and stops at its last, also where
    the part is closed. A corner that the machine does not stop for counts as rounded by the arc
    that touches both sides at half of the shorter one.

    Parameters
    ----------
    subpaths : sequence of sequences of pieces
        Each part's pieces, end to start [m].
    turn_per_step : float
        Largest turn within a sampled step [rad].

    Returns
    -------
    Contour
        Without the pieces shorter than a nanometre.

    Raises
    ------
    InputError
        No piece with a length.

    Examples
    --------
    >>> corner = [Line(0, 0.1), Line(0.1, 0.1 + 0.1j)]
    >>> contour = drawn_contour([corner, [Line(0.2, 0.3)]])
    >>> round(contour.path_length, 6), contour.subpath_count, round(contour.travel_length, 6)
    (0.3, 2, 0.141421)
    """
    long = [[piece for piece in subpath if piece.bound > _SHORTEST_PIECE] for subpath in subpaths]
    pieces = [piece for subpath in long for piece in subpath]
    if not pieces:
        raise InputError("contour", len(pieces), "must have at least one piece with a length")
    part = np.repeat(np.arange(len(long)), [len(subpath) for subpath in long])
    steps = drawn_steps(pieces, turn_per_step)
    length = np.bincount(steps.piece, steps.length, minlength=len(pieces))
    owner, side = part[steps.piece], length[steps.piece]
    change: BoolArray = owner[:-1] != owner[1:]
    turn = turns(steps.end_direction[:-1], steps.start_direction[1:])
    radius = _corner_radius(turn, np.minimum(side[:-1], side[1:]))
    turn[change] = radius[change] = np.inf
    return Contour(
        step_length=steps.length,
        start_radius=steps.start_radius,
        end_radius=steps.end_radius,
        node_turn=np.pad(turn, 1, constant_values=np.inf),
        node_radius=np.pad(radius, 1, constant_values=np.inf),
        travel=_travel(pieces, steps, change),
    )


def _travel(pieces: Sequence[Piece], steps: Steps, change: BoolArray) -> FloatArray:
    """Return the straight moves from each part's last point to the next part's first [m]."""
    left, entered = steps.piece[:-1][change], steps.piece[1:][change]
    moves = [pieces[j].start - pieces[i].end for i, j in zip(left, entered, strict=True)]
    result: FloatArray = np.abs(np.array(moves, dtype=complex))
    return result


def _corner_radius(turn: FloatArray, side: FloatArray) -> FloatArray:
    """Return the radius that touches both sides of a corner at half of the shorter one [m]."""
    bend = turn > _SMOOTH
    # A reversal has no such radius; the floor keeps the knife at a crawl there.
    slope = np.tan(np.minimum(turn, math.pi - 1e-6) / 2.0)
    return np.where(bend, side / (2.0 * np.where(bend, slope, 1.0)), np.inf)


def rectangle_contour(width: float, height: float, radius: float = 0.0) -> Contour:
    """Return the contour of a rectangle, its corners rounded by a radius.

    Assumes one closed part, begun at the start of an arc (of a side where the radius is 0).

    Parameters
    ----------
    width, height : float
        [m].
    radius : float
        Of the corners [m], at most half of the shorter side.

    Returns
    -------
    Contour

    Raises
    ------
    InputError
        A value outside its bounds.

    Examples
    --------
    >>> round(rectangle_contour(0.1, 0.1, 0.01).path_length, 6)
    0.382832
    """
    bounded("width", width, "m", above=0)
    bounded("height", height, "m", above=0)
    bounded("radius", radius, "m", at_least=0, at_most=min(width, height) / 2.0)
    straight_x, straight_y = complex(width - 2 * radius), 1j * (height - 2 * radius)
    point, direction, pieces = 0j, -1j, list[Piece]()
    for side in (straight_x, straight_y, -straight_x, -straight_y):
        if radius > 0:
            # The centre lies to the left of the way; a quarter turn to the left follows.
            centre = point + 1j * direction * radius
            arc = EllipticArc(centre, -1j * direction * radius, direction * radius, 0, math.pi / 2)
            pieces.append(arc)
            point = arc.end
        direction *= 1j
        pieces.append(Line(point, point + side))
        point += side
    return drawn_contour([pieces])


def circle_contour(diameter: float) -> Contour:
    """Return the contour of a circle, with a stop where it closes.

    Parameters
    ----------
    diameter : float
        [m].

    Returns
    -------
    Contour

    Raises
    ------
    InputError
        A diameter that is not greater than 0.

    Examples
    --------
    >>> round(circle_contour(0.05).path_length, 6)
    0.15708
    """
    bounded("diameter", diameter, "m", above=0)
    radius = diameter / 2.0
    return drawn_contour([[EllipticArc(0j, complex(radius), 1j * radius, 0.0, math.tau)]])
