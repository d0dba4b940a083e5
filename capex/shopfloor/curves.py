"""Pieces of a drawn line, cut into steps with exact length, direction and curvature.

Points are complex numbers, x + iy, in metres. Lines and circular arcs become one step each and
lose nothing; other curves are split until each step turns by no more than a small angle, less
where the radius changes quickly. Curvature comes from the derivatives, never from differences of
points.

Imports numpy, `capex.errors` and `capex.shopfloor.arrays`.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from capex.errors import InputError
from capex.shopfloor.arrays import BoolArray, FloatArray

__all__ = [
    "CubicBezier",
    "EllipticArc",
    "Line",
    "Piece",
    "Steps",
    "drawn_extent",
    "drawn_steps",
    "turns",
]

_MOST_SPLITS: Final = 12
#: Most steps of all sampled curves together: more takes longer than anyone waits.
_MOST_STEPS: Final = 400_000
#: Radius [m] from which no knife is slowed by a curve.
_FLAT: Final = 2.0
#: Change of radius along a step that calls for steps which turn this many times less.
_BULGE: Final = 0.03
_STEEP: Final = 1.3
_FINER: Final = 20.0
_EXTENT_INTERVALS: Final = 64

_ComplexArray = npt.NDArray[np.complex128]
_IndexArray = npt.NDArray[np.intp]
_Derivatives = Callable[[_IndexArray, FloatArray], tuple[_ComplexArray, _ComplexArray]]


@dataclass(frozen=True)
class Line:
    """A straight piece."""

    start: complex
    end: complex

    @property
    def bound(self) -> float:
        """Length that the piece does not exceed [m]."""
        return abs(self.end - self.start)


@dataclass(frozen=True)
class CubicBezier:
    """A cubic Bézier piece by its four control points."""

    start: complex
    control_1: complex
    control_2: complex
    end: complex

    @property
    def bound(self) -> float:
        """Length that the piece does not exceed [m]."""
        inner = abs(self.control_2 - self.control_1)
        return abs(self.control_1 - self.start) + inner + abs(self.end - self.control_2)


@dataclass(frozen=True)
class EllipticArc:
    """A piece of an ellipse: centre + cos θ · axis_1 + sin θ · axis_2, θ from `angle` by `sweep`.

    The axes are any two conjugate half-diameters, so every affine image of an arc is one too.
    """

    centre: complex
    axis_1: complex
    axis_2: complex
    angle: float
    sweep: float

    @property
    def bound(self) -> float:
        """Length that the piece does not exceed [m]."""
        return abs(self.sweep) * (abs(self.axis_1) + abs(self.axis_2))

    @property
    def is_circular(self) -> bool:
        """Whether both axes are equal and at right angles, within float noise."""
        size = abs(self.axis_1)
        skew = (self.axis_1.conjugate() * self.axis_2).real
        return abs(abs(self.axis_2) - size) < 1e-9 * size and abs(skew) < 1e-9 * size * size

    def point(self, share: float) -> complex:
        """Return the point at a share of the sweep [m]."""
        theta = self.angle + share * self.sweep
        return self.centre + math.cos(theta) * self.axis_1 + math.sin(theta) * self.axis_2

    @property
    def start(self) -> complex:
        """First point [m]."""
        return self.point(0.0)

    @property
    def end(self) -> complex:
        """Last point [m]."""
        return self.point(1.0)


Piece = Line | CubicBezier | EllipticArc


@dataclass(frozen=True, eq=False)
class Steps:
    """Steps of several pieces: owner, place within it, and the directions at both ends."""

    piece: _IndexArray
    place: FloatArray
    length: FloatArray
    start_radius: FloatArray
    end_radius: FloatArray
    start_direction: _ComplexArray
    end_direction: _ComplexArray

    def chosen(self, which: npt.NDArray[np.intp] | BoolArray) -> Steps:
        """Return some of the steps, in the given order."""
        return Steps(**{name: getattr(self, name)[which] for name in self.__dataclass_fields__})


def _straight_steps(pieces: Sequence[Piece], index: list[int]) -> Steps:
    """Return one step a line."""
    ends = np.array([(pieces[i].start, pieces[i].end) for i in index], dtype=complex).reshape(-1, 2)
    chord = ends[:, 1] - ends[:, 0]
    length = np.abs(chord)
    direction = chord / np.where(length > 0, length, 1.0)
    flat = np.full(length.shape, np.inf)
    owner = np.array(index, dtype=np.intp)
    return Steps(owner, np.zeros_like(length), length, flat, flat, direction, direction)


def _arc_steps(pieces: Sequence[Piece], index: list[int]) -> Steps:
    """Return one step a circular arc."""
    arcs = [piece for i in index if isinstance(piece := pieces[i], EllipticArc)]
    radius = np.array([abs(arc.axis_1) for arc in arcs], dtype=float)
    sweep = np.array([arc.sweep for arc in arcs], dtype=float)
    bounds = np.array([(arc.angle, arc.angle + arc.sweep) for arc in arcs], dtype=float)
    bounds = bounds.reshape(-1, 2).T
    axis_1 = np.array([arc.axis_1 for arc in arcs], dtype=complex)
    axis_2 = np.array([arc.axis_2 for arc in arcs], dtype=complex)
    tangent = (np.cos(bounds) * axis_2 - np.sin(bounds) * axis_1) * np.sign(sweep)
    tangent = tangent / radius
    owner = np.array(index, dtype=np.intp)
    length = np.abs(sweep) * radius
    return Steps(owner, np.zeros_like(radius), length, radius, radius, tangent[0], tangent[1])


def _cubic_derivatives(pieces: Sequence[Piece], index: list[int]) -> _Derivatives:
    curves = [piece for i in index if isinstance(piece := pieces[i], CubicBezier)]
    points = np.array(
        [(c.start, c.control_1, c.control_2, c.end) for c in curves], dtype=complex
    ).reshape(-1, 4)
    first = 3.0 * np.diff(points, axis=1)
    second = 2.0 * np.diff(first, axis=1)

    def derivatives(curve: _IndexArray, t: FloatArray) -> tuple[_ComplexArray, _ComplexArray]:
        s = 1.0 - t
        a, b, c = first[curve].T
        d, e = second[curve].T
        return s * s * a + 2.0 * s * t * b + t * t * c, s * d + t * e

    return derivatives


def _ellipse_derivatives(pieces: Sequence[Piece], index: list[int]) -> _Derivatives:
    arcs = [piece for i in index if isinstance(piece := pieces[i], EllipticArc)]
    axis_1 = np.array([arc.axis_1 for arc in arcs], dtype=complex)
    axis_2 = np.array([arc.axis_2 for arc in arcs], dtype=complex)
    angle = np.array([arc.angle for arc in arcs], dtype=float)
    sweep = np.array([arc.sweep for arc in arcs], dtype=float)

    def derivatives(curve: _IndexArray, t: FloatArray) -> tuple[_ComplexArray, _ComplexArray]:
        rate, theta = sweep[curve], angle[curve] + t * sweep[curve]
        cosine, sine = np.cos(theta), np.sin(theta)
        one, two = axis_1[curve], axis_2[curve]
        return rate * (cosine * two - sine * one), -rate * rate * (cosine * one + sine * two)

    return derivatives


def _direction_and_radius(
    derivatives: _Derivatives, curve: _IndexArray, t: FloatArray, inward: FloatArray
) -> tuple[_ComplexArray, FloatArray]:
    """Return tangent and radius of curvature, approached from inside where the curve pauses.

    A control point on top of an end makes the first derivative vanish there.
    """
    first, second = derivatives(curve, t)
    paused = np.abs(first) <= 1e-6 * np.abs(second)
    if paused.any():
        inside, inside_2 = derivatives(curve[paused], t[paused] + 1e-3 * inward[paused])
        first, second = first.copy(), second.copy()
        first[paused], second[paused] = inside, inside_2
    pace = np.abs(first)
    pace = np.where(pace > 0, pace, 1.0)
    turning = np.abs((first.conj() * second).imag)
    # A straight Bézier leaves noise in the cross product; beyond this radius nothing is curved.
    curved = turning > 1e-9 * pace * np.abs(second)
    radius = np.where(curved, pace**3 / np.where(curved, turning, 1.0), np.inf)
    return first / pace, radius


def _uneven(radius: FloatArray) -> BoolArray:
    """Return where a radius is not well described by a straight line between its ends.

    The rows are start, middle and end. A steep change counts too: somewhere within it a knife
    passes from the curve's limit to its set speed.
    """
    bulge = np.abs(radius[1] - (radius[0] + radius[2]) / 2.0) > _BULGE * radius[1]
    result: BoolArray = bulge | (radius.max(axis=0) > _STEEP * radius.min(axis=0))
    return result


def _sampled_steps(derivatives: _Derivatives, index: list[int], turn_per_step: float) -> Steps:
    """Return curves split until no step turns too far, or a little where its radius changes."""
    curve = np.repeat(np.arange(len(index), dtype=np.intp), 2)
    start: FloatArray = np.tile([0.0, 0.5], len(index))
    width: FloatArray = np.full(start.shape, 0.5)
    done: list[tuple[_IndexArray, FloatArray, FloatArray]] = []
    for _ in range(_MOST_SPLITS):
        (first, radius_0), (middle, radius_m), (last, radius_1) = (
            _direction_and_radius(derivatives, curve, start + share * width, side * width)
            for share, side in ((0.0, 1.0), (0.5, 1.0), (1.0, -1.0))
        )
        turn = turns(first, middle) + turns(middle, last)
        uneven = _uneven(np.minimum(np.stack([radius_0, radius_m, radius_1]), _FLAT))
        split = turn > np.where(uneven, turn_per_step / _FINER, turn_per_step)
        done.append((curve[~split], start[~split], width[~split]))
        count = sum(len(each) for each, _, _ in done) + 2 * int(split.sum())
        if count > _MOST_STEPS:
            bound = f"must need at most {_MOST_STEPS:,} steps: draw it with fewer curves"
            raise InputError("curves", f"{count:,} steps or more", bound)
        curve, half = np.repeat(curve[split], 2), np.repeat(width[split] / 2, 2)
        start = np.repeat(start[split], 2) + np.tile([0.0, 1.0], half.size // 2) * half
        width = half
    done.append((curve, start, width))
    curve, start, width = (np.concatenate(parts) for parts in zip(*done, strict=True))
    direction_0, radius_0 = _direction_and_radius(derivatives, curve, start, width)
    direction_1, radius_1 = _direction_and_radius(derivatives, curve, start + width, -width)
    length = _arc_length(derivatives, curve, start, width)
    owner = np.array(index, dtype=np.intp)[curve]
    return Steps(owner, start, length, radius_0, radius_1, direction_0, direction_1)


def _arc_length(
    derivatives: _Derivatives, curve: _IndexArray, start: FloatArray, width: FloatArray
) -> FloatArray:
    """Return the length of each interval by five-point Gauss–Legendre quadrature [m]."""
    nodes, weights = np.polynomial.legendre.leggauss(5)
    at = start[:, None] + (0.5 + 0.5 * nodes) * width[:, None]
    which = np.repeat(curve, nodes.size)
    pace = np.abs(derivatives(which, at.reshape(-1))[0]).reshape(at.shape)
    result: FloatArray = 0.5 * width * (pace @ weights)
    return result


def turns(one: _ComplexArray, other: _ComplexArray) -> FloatArray:
    """Return the angles between directions.

    Parameters
    ----------
    one, other : ndarray (...) of complex
        Directions as unit vectors [-].

    Returns
    -------
    ndarray (...)
        From 0 to π [rad].

    Examples
    --------
    >>> turns(np.array([1 + 0j]), np.array([-1j])).round(6)
    array([1.570796])
    """
    result: FloatArray = np.abs(np.angle(one.conj() * other))
    return result


def drawn_steps(pieces: Sequence[Piece], turn_per_step: float) -> Steps:
    """Return the steps of all pieces in drawing order.

    Parameters
    ----------
    pieces : sequence of Piece
        In drawing order.
    turn_per_step : float
        Largest turn within a step of a sampled curve [rad].

    Returns
    -------
    Steps
        Without steps of no length.

    Raises
    ------
    InputError
        Curves so many and so bent that they need more than 400,000 steps.

    Examples
    --------
    >>> quarter = EllipticArc(0, 0.02, 0.01j, 0.0, math.pi / 2)
    >>> steps = drawn_steps([quarter, Line(0.01j, 0.03j)], math.radians(7.5))
    >>> float(steps.length.sum().round(6)), float(steps.start_radius[0].round(6))
    (0.044221, 0.005)
    """
    lines = [i for i, piece in enumerate(pieces) if isinstance(piece, Line)]
    cubics = [i for i, piece in enumerate(pieces) if isinstance(piece, CubicBezier)]
    arcs = [(i, piece) for i, piece in enumerate(pieces) if isinstance(piece, EllipticArc)]
    circular = [i for i, arc in arcs if arc.is_circular]
    elliptic = [i for i, arc in arcs if not arc.is_circular]
    groups = [
        _straight_steps(pieces, lines),
        _arc_steps(pieces, circular),
        _sampled_steps(_cubic_derivatives(pieces, cubics), cubics, turn_per_step),
        _sampled_steps(_ellipse_derivatives(pieces, elliptic), elliptic, turn_per_step),
    ]
    joined = {
        name: np.concatenate([getattr(group, name) for group in groups])
        for name in Steps.__dataclass_fields__
    }
    order = np.lexsort((joined["place"], joined["piece"]))
    order = order[joined["length"][order] > 0]
    return Steps(**joined).chosen(order)


def drawn_extent(pieces: Sequence[Piece]) -> tuple[float, float]:
    """Return the width and height of all pieces together.

    Assumes that curves are looked at in 64 intervals each, which misses less than 0.01 % of the
    size of a quarter turn.

    Parameters
    ----------
    pieces : sequence of Piece
        At least one.

    Returns
    -------
    tuple of float
        Width and height [m].

    Examples
    --------
    >>> drawn_extent([EllipticArc(0, 0.02, 0.01j, 0.0, math.tau)])
    (0.04, 0.02)
    """
    t = np.linspace(0.0, 1.0, _EXTENT_INTERVALS + 1)[:, None]
    s = 1.0 - t
    blend = np.concatenate([s**3, 3 * s * s * t, 3 * s * t * t, t**3], axis=1)
    cubics = [p for p in pieces if isinstance(p, CubicBezier)]
    arcs = [p for p in pieces if isinstance(p, EllipticArc)]
    controls = [(p.start, p.control_1, p.control_2, p.end) for p in cubics]
    angle = np.array([p.angle for p in arcs]) + t * np.array([p.sweep for p in arcs])
    centre, axis_1, axis_2 = (
        np.array([getattr(p, name) for p in arcs], dtype=complex)
        for name in ("centre", "axis_1", "axis_2")
    )
    points = np.concatenate(
        [
            np.array([(p.start, p.end) for p in pieces], dtype=complex).ravel(),
            (blend @ np.array(controls, dtype=complex).reshape(-1, 4).T).ravel(),
            (centre + np.cos(angle) * axis_1 + np.sin(angle) * axis_2).ravel(),
        ]
    )
    return float(np.ptp(points.real)), float(np.ptp(points.imag))
