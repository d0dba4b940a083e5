"""Marks of a plan drawn to scale: boxes, doors, hatching, dimension lines, scale bar, labels.

May import: from capex units and `shopfloor.plan`.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from html import escape
from typing import Final

from capex.shopfloor.plan.fixtures import Doorway, Fixtures
from capex.shopfloor.plan.spots import Box
from capex.units import UnitSystem, quantity_text

__all__ = [
    "Canvas",
    "dimension_marks",
    "door_marks",
    "fitted_label",
    "hatches",
    "label",
    "rectangle",
    "scale_bar",
]

_FOOT: Final = 0.3048
#: Mean width of a letter as a share of the size of the type.
_FINE: Final = 0.78  # of the size of type, where a text goes in only so
_LETTER: Final = 0.56


@dataclass(frozen=True)
class Canvas:
    """Where a point of the room lies in the drawing.

    Parameters
    ----------
    scale : float
        Units of the drawing in a metre.
    room_width, room_depth : float
        [m].
    near, far, left, right : float
        Margin beyond each wall, in units of the drawing.
    """

    scale: float
    room_width: float
    room_depth: float
    near: float
    far: float
    left: float
    right: float

    @property
    def width(self) -> float:
        """Of the drawing."""
        return self.room_width * self.scale + self.left + self.right

    @property
    def height(self) -> float:
        """Of the drawing down to the key."""
        return self.room_depth * self.scale + self.near + self.far

    def x(self, left: float) -> float:
        """Return where a distance from the left wall [m] lies."""
        return self.left + left * self.scale

    def y(self, near: float) -> float:
        """Return where a distance from the near wall [m] lies; the near wall is below."""
        return self.far + (self.room_depth - near) * self.scale

    @staticmethod
    def escaped(text: str) -> str:
        """Return a user's text as it goes into the picture."""
        return escape(text)


def rectangle(canvas: Canvas, box: Box, style: str, fill: str = "") -> str:
    """Return a box of the room.

    Parameters
    ----------
    canvas : Canvas
    box : Box
        [m].
    style : str
        Class of the mark.
    fill : str
        Paint, where the class has none.

    Examples
    --------
    >>> rectangle(Canvas(100, 6, 4, 50, 50, 50, 50), (0, 0, 2, 1), "p-wall")
    '<rect class="p-wall" x="50.0" y="350.0" width="200.0" height="100.0"/>'
    """
    painted = f' style="fill: {fill}"' if fill else ""
    return (
        f'<rect class="{style}" x="{canvas.x(box[0]):.1f}" y="{canvas.y(box[3]):.1f}" '
        f'width="{(box[2] - box[0]) * canvas.scale:.1f}" '
        f'height="{(box[3] - box[1]) * canvas.scale:.1f}"{painted}/>'
    )


def label(
    x: float, y: float, text: str, style: str = "", *, middle: bool = False, turned: bool = False
) -> str:
    """Return a text at a point of the drawing, escaped.

    Parameters
    ----------
    x, y : float
        In units of the drawing.
    text : str
    style : str
        Class of the mark.
    middle, turned : bool
        Whether it is centred on the point, and read from below.

    Examples
    --------
    >>> label(10, 20, "A & B", middle=True)
    '<text x="10.0" y="20.0" text-anchor="middle">A &amp; B</text>'
    """
    said = f' class="{style}"' if style else ""
    said += ' text-anchor="middle"' if middle else ""
    said += f' transform="rotate(-90 {x:.1f} {y:.1f})"' if turned else ""
    return f'<text x="{x:.1f}" y="{y:.1f}"{said}>{escape(text)}</text>'


def _wrapped(text: str, letters: float) -> list[str]:
    lines = [""]
    for word in text.split():
        longer = f"{lines[-1]} {word}".strip()
        if len(longer) <= letters or not lines[-1]:
            lines[-1] = longer
        else:
            lines.append(word)
    return lines


def fitted_label(
    canvas: Canvas, box: Box, text: str, size: float, style: str, *, short: str = ""
) -> str:
    """Return a text in the middle of a box, along its longer side, in as many lines as it needs.

    Where it does not go in, nor in a finer type (class ``p-fine``), the short text takes its
    place; without one it stands below the box.

    Parameters
    ----------
    canvas : Canvas
    box : Box
        [m].
    text : str
    size : float
        Of the type, in units of the drawing.
    style : str
        Class of the mark.
    short : str
    """
    across, deep = (box[2] - box[0]) * canvas.scale, (box[3] - box[1]) * canvas.scale
    turned = deep > across * 1.3
    long, high = (deep, across) if turned else (across, deep)
    x, y = canvas.x((box[0] + box[2]) / 2), canvas.y((box[1] + box[3]) / 2)
    for share, finer in ((1.0, style), (_FINE, f"{style} p-fine")):
        type_size = size * share
        letters = (long - type_size * 0.6) / (type_size * _LETTER)
        lines = _wrapped(text, letters)
        if max(len(line) for line in lines) <= letters and len(lines) * type_size * 1.08 <= high:
            style = finer
            break
    else:
        if not short:
            return label(x, canvas.y(box[1]) + size, text, style, middle=True)
        lines, turned, type_size = [short], False, size
    marks = []
    for k, line in enumerate(lines):
        off = (k - (len(lines) - 1) / 2) * type_size * 1.08 + type_size * 0.36
        at = (x + off, y) if turned else (x, y + off)
        marks.append(label(*at, line, style, middle=True, turned=turned))
    return "".join(marks)


def hatches(mark: str) -> str:
    """Return the patterns of clearances and working spaces, with ids that begin with `mark`.

    Parameters
    ----------
    mark : str
        Unique on the page.
    """
    line = '<path class="p-hatch" d="{}"/>'
    patterns = [
        ("0", line.format("M0 0H26"), 26, 45),
        ("1", line.format("M0 0H26"), 26, -45),
        ("2", '<circle class="p-dot" cx="12" cy="12" r="2.6"/>', 24, 0),
        ("3", line.format("M0 0H28"), 28, 0),
        ("4", line.format("M0 0H28"), 28, 90),
        ("5", line.format("M0 0H36M0 0V36"), 36, 45),
        ("space", '<path class="p-space-line" d="M0 0H15M0 0V15"/>', 15, 45),
    ]
    return "".join(
        f'<pattern id="{mark}-{name}" width="{size}" height="{size}" '
        f'patternUnits="userSpaceOnUse" patternTransform="rotate({turn})">{drawn}</pattern>'
        for name, drawn, size, turn in patterns
    )


def door_marks(door: Doorway, canvas: Canvas, size: float) -> Iterator[str]:
    """Yield a gap in the wall, the leaf with its sweep, and the door's name outside.

    Parameters
    ----------
    door : Doorway
    canvas : Canvas
    size : float
        Of the type, in units of the drawing.
    """
    ends = [(canvas.x(door.opening[k]), canvas.y(door.opening[k + 1])) for k in (0, 2)]
    (x1, y1), (x2, y2) = ends
    yield f'<line class="p-gap" x1="{x1:.1f}" y1="{y1:.1f}" x2="{x2:.1f}" y2="{y2:.1f}"/>'
    inwards = {"near": (0, -1), "far": (0, 1), "left": (1, 0), "right": (-1, 0)}[door.wall]
    wide = door.width * canvas.scale
    if door.opens == "sliding":
        off = (inwards[0] * 9, inwards[1] * 9)
        yield (
            f'<line class="p-line" x1="{x1 + off[0]:.1f}" y1="{y1 + off[1]:.1f}" '
            f'x2="{x2 + off[0]:.1f}" y2="{y2 + off[1]:.1f}"/>'
        )
    else:
        way = wide if door.opens == "in" else -wide
        hinge, shut = ends if door.hung_first else ends[::-1]
        tip = (hinge[0] + inwards[0] * way, hinge[1] + inwards[1] * way)
        # The arc turns clockwise where leaf, hinge and latch do.
        cross = (shut[0] - hinge[0]) * (tip[1] - hinge[1])
        cross -= (shut[1] - hinge[1]) * (tip[0] - hinge[0])
        yield (
            f'<path class="p-line" d="M{hinge[0]:.1f} {hinge[1]:.1f}L{tip[0]:.1f} {tip[1]:.1f}"/>'
            f'<path class="p-arc" d="M{shut[0]:.1f} {shut[1]:.1f}A{wide:.1f} {wide:.1f} 0 0 '
            f'{int(cross > 0)} {tip[0]:.1f} {tip[1]:.1f}"/>'
        )
    out = size * 0.6 + (wide if door.opens == "out" else 0)
    x, y = (x1 + x2) / 2 - inwards[0] * out, (y1 + y2) / 2 - inwards[1] * out
    turned = door.wall in ("left", "right")
    if door.wall == "near":
        y += size * 0.8
    if door.wall == "right":
        x += size * 0.8
    yield label(x, y, door.name, "p-halo", middle=True, turned=turned)


def dimension_marks(room: Fixtures, canvas: Canvas, system: UnitSystem) -> Iterator[str]:
    """Yield the dimension lines of the room: its width above it, its depth to the right.

    Parameters
    ----------
    room : Fixtures
    canvas : Canvas
    system : {"metric", "us_customary"}
    """
    left, right, top, bottom = canvas.x(0), canvas.x(room.width), canvas.y(room.depth), canvas.y(0)
    y, x = top - canvas.far + 22, right + canvas.right - 22
    tick = "M{0:.1f} {1:.1f}l16 -16"
    yield (
        f'<path class="p-thin" d="M{left:.1f} {y:.1f}H{right:.1f}M{x:.1f} {top:.1f}V{bottom:.1f}'
        f"M{left:.1f} {y - 12:.1f}V{top - 14:.1f}M{right:.1f} {y - 12:.1f}V{top - 14:.1f}"
        f'M{x + 12:.1f} {top:.1f}H{right + 14:.1f}M{x + 12:.1f} {bottom:.1f}H{right + 14:.1f}"/>'
    )
    ends = ((left, y), (right, y), (x, top), (x, bottom))
    marks = "".join(tick.format(end[0] - 8, end[1] + 8) for end in ends)
    yield f'<path class="p-line" d="{marks}"/>'
    width, depth = (_wall_text(one, system) for one in (room.width, room.depth))
    yield label((left + right) / 2, y + 12, width, "p-halo p-strong", middle=True)
    yield label(x + 12, (top + bottom) / 2, depth, "p-halo p-strong", middle=True, turned=True)


def _wall_text(length: float, system: UnitSystem) -> str:
    """Return the length of a wall as builders write it: metres, or feet and inches."""
    if system == "metric":
        return quantity_text(length, "length", digits=3)
    inches = round(length / _FOOT * 12)
    return f"{inches // 12} ft {inches % 12} in" if inches % 12 else f"{inches // 12} ft"


def scale_bar(canvas: Canvas, system: UnitSystem, x: float, y: float) -> str:
    """Return a scale bar of two steps: metres or feet.

    Parameters
    ----------
    canvas : Canvas
    system : {"metric", "us_customary"}
    x, y : float
        Its left end, in units of the drawing.
    """
    unit, step = ("m", 1.0) if system == "metric" else ("ft", 3 * _FOOT)
    shown = 1.0 if system == "metric" else 3.0
    while step * 2 > max(canvas.room_width, canvas.room_depth) / 1.5:
        step, shown = step / 2, shown / 2
    long = step * canvas.scale
    texts = (f"{shown * k:g}" + (f" {unit}" if k == 2 else "") for k in range(3))
    return (
        f'<rect class="p-solid" x="{x:.1f}" y="{y:.1f}" width="{long:.1f}" height="12"/>'
        f'<rect class="p-line" x="{x + long:.1f}" y="{y + 1:.1f}" width="{long:.1f}" height="10"/>'
        + "".join(
            label(x + k * long, y - 8, text, "p-small", middle=True) for k, text in enumerate(texts)
        )
    )
