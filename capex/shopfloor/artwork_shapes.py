"""What the shapes of an SVG file must state, so that nothing in them has to be guessed.

SVG 1.1: lengths (section 4.2), transforms (7.6), basic shapes (9), path data (8.3). A value that
a drawing program would skip or replace by one of its own is refused here, with the element, the
attribute and what is allowed.

Imports the standard library.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from typing import Final

__all__ = ["segments_of", "shape_problem"]

_NUMBER: Final = r"[-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?"
_EACH_NUMBER: Final = re.compile(_NUMBER)
_LENGTH: Final = re.compile(rf"\s*({_NUMBER})\s*(px|mm|cm|in|pt|pc|)\s*\Z")
_POINTS: Final = re.compile(rf"\s*(?:{_NUMBER}(?:\s*,\s*|\s+|(?=[-+.])|\s*\Z))*\Z")
_CALL: Final = re.compile(r"\s*,?\s*([A-Za-z]+)\s*\(([^()]*)\)")
_COMMAND: Final = re.compile(r"([MmZzLlHhVvCcSsQqTtAa])([^MmZzLlHhVvCcSsQqTtAa]*)")
#: How many numbers each transform takes.
_TAKES: Final = {
    "matrix": {6}, "translate": {1, 2}, "scale": {1, 2}, "rotate": {1, 3}, "skewX": {1},
    "skewY": {1},
}  # fmt: skip
#: How many numbers one segment of each path command takes.
_SEGMENT: Final = {"m": 2, "l": 2, "h": 1, "v": 1, "c": 6, "s": 4, "q": 4, "t": 2, "a": 7}
#: Attributes that a shape must have, above 0.
_NEEDED: Final = {
    "circle": ("r",), "ellipse": ("rx", "ry"), "rect": ("width", "height"),
}  # fmt: skip
#: Attributes that may be left out.
_LENGTHS: Final = {
    "circle": ("cx", "cy"), "ellipse": ("cx", "cy"), "rect": ("x", "y", "rx", "ry"),
    "line": ("x1", "y1", "x2", "y2"), "use": ("x", "y"),
}  # fmt: skip
_ALLOWED: Final = "a number, alone or in mm, cm, in, pt, pc or px"


def shape_problem(element: str, attributes: Mapping[str, str]) -> str | None:
    """Return what an element states that cannot be read, or leaves out; None where all is well.

    Parameters
    ----------
    element : str
        Name without its space.
    attributes : mapping of str to str

    Examples
    --------
    >>> shape_problem("circle", {"cx": "3", "r": "2mm"}) is None
    True
    >>> shape_problem("circle", {"cx": "3"})
    'circle has no r'
    >>> shape_problem("rect", {"width": "5em", "height": "2"})
    "rect width '5em' must be a number, alone or in mm, cm, in, pt, pc or px"
    """
    for name in _NEEDED.get(element, ()):
        if name not in attributes:
            return f"{element} has no {name}"
        found = _LENGTH.match(attributes[name])
        if found is None:
            return f"{element} {name} {attributes[name][:40]!r} must be {_ALLOWED}"
        if float(found[1]) <= 0:
            return f"{element} {name} {attributes[name][:40]!r} must be above 0"
    for name in _LENGTHS.get(element, ()):
        text = attributes.get(name)
        if text is not None and _LENGTH.match(text) is None:
            return f"{element} {name} {text[:40]!r} must be {_ALLOWED}"
    for name, check in _CHECKS.items():
        reason = check(attributes[name]) if name in attributes else None
        if reason is not None:
            return f"{element} {name} {attributes[name][:40]!r} {reason}"
    if element in ("polyline", "polygon") and "points" not in attributes:
        return f"{element} has no points"
    return None


def _points(text: str) -> str | None:
    if _POINTS.match(text) is None or len(_EACH_NUMBER.findall(text)) % 2:
        return "must be pairs of numbers"
    return None


def _transform(text: str) -> str | None:
    place = 0
    while text[place:].strip(" \t\r\n,"):
        call = _CALL.match(text, place)
        if call is None:
            return "must be a list of transforms with their numbers"
        name, inside = call[1], call[2]
        if name not in _TAKES:
            return f"must be one of {', '.join(_TAKES)}"
        if _POINTS.match(inside) is None or len(_EACH_NUMBER.findall(inside)) not in _TAKES[name]:
            count = " or ".join(map(str, sorted(_TAKES[name])))
            return f"must give {name} {count} number{'' if count == '1' else 's'}"
        place = call.end()
    return None


_CHECKS: Final[Mapping[str, Callable[[str], str | None]]] = {
    "points": _points, "transform": _transform,
}  # fmt: skip


def segments_of(element: str, attributes: Mapping[str, str]) -> int:
    """Return how many segments an element draws, about.

    Parameters
    ----------
    element : str
        Name without its space.
    attributes : mapping of str to str

    Examples
    --------
    >>> segments_of("path", {"d": "M0 0 l1 1 2 2 3 3 c1 1 2 2 3 3 z"})
    6
    >>> segments_of("rect", {})
    8
    """
    if element == "path":
        return sum(
            max(1, len(_EACH_NUMBER.findall(rest)) // _SEGMENT.get(command.lower(), 1))
            for command, rest in _COMMAND.findall(attributes.get("d", ""))
        )
    if element in ("polyline", "polygon"):
        return len(_EACH_NUMBER.findall(attributes.get("points", ""))) // 2
    return 8 if element in ("circle", "ellipse", "rect", "line") else 0
