"""Cut lines from SVG artwork: lines, arcs and Béziers, with transforms and CSS units.

One CSS pixel is 1/96 inch. Every shape of the file is part of the cut line, whatever its colour;
clipping is not applied. Files are checked by `artwork_check` before anything interprets them.

Imports numpy, svgelements, `capex.errors` and, of this folder, `artwork_check`, `contour` and
`curves`.
"""

from __future__ import annotations

import io
import math
import re
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import numpy as np
import svgelements

from capex.errors import ArtworkError, InputError
from capex.shopfloor.artwork_check import LARGEST, check_artwork
from capex.shopfloor.contour import TURN_PER_STEP, Contour, drawn_contour
from capex.shopfloor.curves import CubicBezier, EllipticArc, Line, Piece, drawn_extent

__all__ = ["Artwork", "artwork_contour", "parse_artwork", "read_artwork"]

_DECLARATION: Final = re.compile(r"\A\s*<\?xml\s[^>]*\?>")
_PIXELS_PER_INCH: Final = 96.0
_METRES_PER_PIXEL: Final = 0.0254 / _PIXELS_PER_INCH
#: Largest extent of one piece [m]; beyond it the unit is surely wrong.
_LONGEST: Final = 100.0
#: The parser's inch is rounded to six digits; these are what it makes of one unit, in inches.
_PARSED_INCHES: Final = {"mm": (0.0393701, 1 / 25.4), "cm": (0.393701, 1 / 2.54)}


@dataclass(frozen=True, eq=False)
class Artwork:
    """The cut line of one piece as drawn.

    Parameters
    ----------
    name : str
        Of the file.
    contour : Contour
        What timing needs.
    width, height : float
        Extent of the cut line [m].
    """

    name: str
    contour: Contour
    width: float
    height: float


def read_artwork(path: Path, *, turn_per_step: float = TURN_PER_STEP) -> Artwork:
    """Return the artwork in an SVG file.

    Parameters
    ----------
    path : Path
        Of the file.
    turn_per_step : float
        Largest turn within a sampled step [rad].

    Returns
    -------
    Artwork

    Raises
    ------
    ArtworkError
        No such file, or whatever `parse_artwork` refuses.

    Examples
    --------
    >>> from capex.study.catalogue import data_folder
    >>> artwork = read_artwork(data_folder() / "artwork" / "sticker_circle.svg")
    >>> round(artwork.width, 4), round(artwork.contour.path_length, 4)
    (0.075, 0.2356)
    """
    try:
        with path.open("rb") as file:
            content = file.read(LARGEST + 1)
    except OSError as error:
        raise ArtworkError(f"{path.name}: cannot be read ({error.strerror})") from error
    return parse_artwork(content, path.name, turn_per_step=turn_per_step)


def parse_artwork(
    content: str | bytes, name: str, *, turn_per_step: float = TURN_PER_STEP
) -> Artwork:
    """Return the artwork in the content of an SVG file.

    Assumes that every shape is cut once, in the order of the file.

    Parameters
    ----------
    content : bytes or str
        The file as it is, or its text.
    name : str
        Of the file, for messages.
    turn_per_step : float
        Largest turn within a sampled step [rad].

    Returns
    -------
    Artwork

    Raises
    ------
    ArtworkError
        What `check_artwork` refuses; shapes that cannot be read; no path; an extent that is not
        finite or beyond 100 m; curves that need too many steps.

    Examples
    --------
    >>> square = b'<svg xmlns="http://www.w3.org/2000/svg" width="100mm" height="100mm"'
    >>> square += b' viewBox="0 0 10 10"><path d="M0 0H10V10H0Z"/></svg>'
    >>> artwork = parse_artwork(square, "square.svg")
    >>> round(artwork.contour.path_length, 9), artwork.contour.subpath_count
    (0.4, 1)
    """
    if isinstance(content, str):
        # Text has been decoded already; what its first line says of that no longer holds.
        content = _DECLARATION.sub("", content, count=1).encode()
    check_artwork(content, name)
    subpaths = _drawn_subpaths(content, name)
    pieces = [piece for subpath in subpaths for piece in subpath]
    if not pieces:
        raise ArtworkError(f"{name}: holds no path to cut")
    with np.errstate(all="ignore"):
        width, height = drawn_extent(pieces)
    if not max(width, height) <= _LONGEST or math.isnan(width + height):
        raise ArtworkError(f"{name}: must have a finite size of at most {_LONGEST:g} m")
    try:
        contour = drawn_contour(subpaths, turn_per_step=turn_per_step)
    except InputError as error:
        if error.field == "curves":
            raise ArtworkError(f"{name}: {error}") from error
        raise ArtworkError(f"{name}: holds no path with a length to cut") from error
    return Artwork(name, contour, width, height)


def artwork_contour(
    content: str | bytes, name: str, *, turn_per_step: float = TURN_PER_STEP
) -> Contour:
    """Return the contour in the content of an SVG file.

    Parameters
    ----------
    content, name, turn_per_step
        As for `parse_artwork`.

    Returns
    -------
    Contour

    Raises
    ------
    ArtworkError
        As for `parse_artwork`.

    Examples
    --------
    >>> line = '<svg xmlns="http://www.w3.org/2000/svg"><path d="M0 0H96"/></svg>'
    >>> round(artwork_contour(line, "line.svg").path_length, 9)
    0.0254
    """
    return parse_artwork(content, name, turn_per_step=turn_per_step).contour


def _drawn_subpaths(content: bytes, name: str) -> list[list[Piece]]:
    """Return the parts of every shape in the file, in metres."""
    try:
        with np.errstate(all="ignore"):
            drawing: Any = svgelements.SVG.parse(
                io.BytesIO(content), reify=True, ppi=_PIXELS_PER_INCH, on_error="raise"
            )
            shapes = [e for e in drawing.elements() if isinstance(e, svgelements.Shape)]
            scale = _METRES_PER_PIXEL * _unit_correction(drawing)
            return [part for shape in shapes for part in _parts(shape, scale)]
    # The parser raises whatever its arithmetic meets in a malformed shape.
    except Exception as error:
        raise ArtworkError(f"{name}: holds a shape that cannot be read ({error})") from error


def _unit_correction(drawing: Any) -> float:
    """Return the factor that makes the parser's rounded inch exact where it scaled the drawing."""
    text = str(drawing.values.get("width", "")).strip()
    parsed, exact = _PARSED_INCHES.get(text[-2:], (1.0, 1.0))
    return exact / parsed if drawing.viewbox is not None else 1.0


def _parts(shape: Any, scale: float) -> list[list[Piece]]:
    """Return the parts of one shape, each its pieces from end to start."""
    path = svgelements.Path(shape)
    path.reify()
    parts: list[list[Piece]] = [[]]
    for segment in path:
        if isinstance(segment, svgelements.Move):
            parts.append([])
        else:
            parts[-1].append(_piece(segment, scale))
    return [part for part in parts if part]


def _piece(segment: Any, scale: float) -> Piece:
    start, end = _point(segment.start, scale), _point(segment.end, scale)
    if isinstance(segment, svgelements.CubicBezier):
        return CubicBezier(
            start, _point(segment.control1, scale), _point(segment.control2, scale), end
        )
    if isinstance(segment, svgelements.QuadraticBezier):
        control = _point(segment.control, scale)
        return CubicBezier(start, (start + 2 * control) / 3, (end + 2 * control) / 3, end)
    if isinstance(segment, svgelements.Arc):
        return _arc(segment, start, end, scale)
    return Line(start, end)


def _arc(segment: Any, start: complex, end: complex, scale: float) -> Piece:
    """Return an arc by conjugate half-diameters, which hold under skewing as the parser's do."""
    centre = _point(segment.center, scale)
    axis_1 = _point(segment.prx, scale) - centre
    axis_2 = _point(segment.pry, scale) - centre
    area = (axis_1.conjugate() * axis_2).imag
    if not abs(area) > 1e-12 * abs(axis_1) * abs(axis_2):
        return Line(start, end)
    offset = start - centre
    cosine = (offset.conjugate() * axis_2).imag / area
    sine = (axis_1.conjugate() * offset).imag / area
    # The parser turns its sweep round in a mirrored drawing; seen from the mirrored axes it stays.
    sweep = math.copysign(segment.sweep, segment.sweep * area)
    return EllipticArc(centre, axis_1, axis_2, math.atan2(sine, cosine), sweep)


def _point(point: Any, scale: float) -> complex:
    return complex(point.x, point.y) * scale
