"""What the shapes of an SVG file must state, so that nothing in them has to be guessed.

SVG 1.1: lengths (section 4.2), transforms (7.6), view boxes (7.7), path data (8.3), basic shapes
(9). A value that a drawing program would skip or replace by one of its own is refused here, with
the element, the attribute and what is allowed. Every pattern matches in one way only, so that no
text takes longer than its length.

Imports the standard library and `capex.errors`.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Final

from capex.errors import ArtworkError

__all__ = ["LENGTH", "check_measures_in_style", "shape_segments"]

_NUMBER: Final = r"[-+]?(?:\d++(?:\.\d*+)?+|\.\d++)(?:[eE][-+]?\d++)?+"
_WHITE: Final = r"[ \t\r\n\f]*+"
_GAP: Final = rf"{_WHITE}(?:,{_WHITE})?+"
_SPACE: Final = re.compile(_WHITE)
_BETWEEN: Final = re.compile(_GAP)
#: A number, and its unit where it has one.
LENGTH: Final = re.compile(rf"{_WHITE}({_NUMBER})(?:px|mm|cm|in|pt|pc)?+{_WHITE}\Z")


def _run(count: int) -> re.Pattern[str]:
    return re.compile(_GAP.join([_NUMBER] * count))


#: What one segment of each path command takes; the flags of an arc may stand without gaps.
_SEGMENT: Final = {
    "m": _run(2), "l": _run(2), "h": _run(1), "v": _run(1), "c": _run(6), "s": _run(4),
    "q": _run(4), "t": _run(2), "z": re.compile(""),
    "a": re.compile(_GAP.join([_NUMBER] * 3 + ["[01]"] * 2 + [_NUMBER] * 2)),
}  # fmt: skip
_CALL: Final = re.compile(rf"([A-Za-z]++){_WHITE}\(([^()]*+)\)")
#: How many numbers each transform takes.
_TAKES: Final = {
    "matrix": {6}, "translate": {1, 2}, "scale": {1, 2}, "rotate": {1, 3}, "skewX": {1},
    "skewY": {1},
}  # fmt: skip
_ASPECT: Final = re.compile(
    rf"{_WHITE}(?:none|x(?:Min|Mid|Max)Y(?:Min|Mid|Max))(?:\s+(?:meet|slice))?{_WHITE}\Z"
)
#: Lengths of an element: whether it must have them, and what their value must be at least.
_ABOVE: Final = {"circle": ("r",), "ellipse": ("rx", "ry"), "rect": ("width", "height")}
_NOT_NEGATIVE: Final = {"rect": ("rx", "ry"), "svg": ("width", "height")}
_ANY: Final = {
    "circle": ("cx", "cy"), "ellipse": ("cx", "cy"), "rect": ("x", "y"), "svg": ("x", "y"),
    "line": ("x1", "y1", "x2", "y2"), "use": ("x", "y"),
}  # fmt: skip
_ALLOWED: Final = "must be a number, alone or in mm, cm, in, pt, pc or px"
_IN_STYLE: Final = re.compile(
    rf"(?:^|[{{;/]){_WHITE}(transform|width|height|x|y|cx|cy|r|rx|ry|d|points|x1|x2|y1|y2)"
    rf"{_WHITE}[:/]",
    re.IGNORECASE,
)


def shape_segments(element: str, attributes: Mapping[str, str], *, root: bool = False) -> int:
    """Return how many segments an element draws, about; refuse what would have to be guessed.

    Parameters
    ----------
    element : str
        Name without its space.
    attributes : mapping of str to str
    root : bool
        Whether it is the whole drawing, whose size means more than that of a shape.

    Returns
    -------
    int
        Of paths and rows of points as they stand, 8 for any other shape, 0 for no shape.

    Raises
    ------
    ArtworkError
        A measure that is missing or cannot be read: element, attribute, value, what is allowed.

    Examples
    --------
    >>> shape_segments("path", {"d": "M0 0 l1 1 2 2 3 3 c1 1 2 2 3 3 z"})
    6
    >>> shape_segments("circle", {"cx": "3"})
    Traceback (most recent call last):
    capex.errors.ArtworkError: circle has no r
    >>> shape_segments("rect", {"width": "-5", "height": "2"})
    Traceback (most recent call last):
    capex.errors.ArtworkError: rect width '-5' must be above 0
    """
    if not root:
        _check_lengths(element, attributes)
    if element == "svg":
        _check_view_box("svg viewBox", attributes.get("viewBox", "0 0 1 1"))
        _check_aspect("svg preserveAspectRatio", attributes.get("preserveAspectRatio", "none"))
    _check_transform(f"{element} transform", attributes.get("transform", ""))
    if element == "path":
        return _path_segments(attributes.get("d", ""))
    if element in ("polyline", "polygon"):
        if "points" not in attributes:
            raise ArtworkError(f"{element} has no points")
        count = _count(attributes["points"], 2)
        if count is None:
            raise _refusal(f"{element} points", attributes["points"], "must be pairs of numbers")
        return count
    return 8 if element in ("circle", "ellipse", "rect", "line") else 0


def check_measures_in_style(text: str) -> None:
    """Refuse a style that sizes or moves shapes, which only some programs heed.

    Parameters
    ----------
    text : str
        Style attribute or sheet.

    Raises
    ------
    ArtworkError
        It states a measure or a transform.

    Examples
    --------
    >>> check_measures_in_style("fill:none; stroke-width: 2px")
    >>> check_measures_in_style(".cut { r: 5px }")
    Traceback (most recent call last):
    capex.errors.ArtworkError: a style states r: state it as an attribute of the shape
    """
    found = _IN_STYLE.search(text)
    if found is not None:
        raise ArtworkError(f"a style states {found[1]}: state it as an attribute of the shape")


def _refusal(what: str, text: str, reason: str) -> ArtworkError:
    return ArtworkError(f"{what} {text[:40]!r} {reason}")


def _check_lengths(element: str, attributes: Mapping[str, str]) -> None:
    needed, not_negative = _ABOVE.get(element, ()), _NOT_NEGATIVE.get(element, ())
    for name in (*needed, *not_negative, *_ANY.get(element, ())):
        text = attributes.get(name)
        if text is None:
            if name in needed:
                raise ArtworkError(f"{element} has no {name}")
            continue
        found = LENGTH.match(text)
        if found is None:
            raise _refusal(f"{element} {name}", text, _ALLOWED)
        if name in needed and float(found[1]) <= 0:
            raise _refusal(f"{element} {name}", text, "must be above 0")
        if name in not_negative and float(found[1]) < 0:
            raise _refusal(f"{element} {name}", text, "must be at least 0")


def _runs(text: str, place: int, one: re.Pattern[str]) -> tuple[int, int]:
    """Return how many runs of numbers follow one another from a place, and where they end."""
    count, ahead = 0, place
    while (found := one.match(text, ahead)) is not None:
        count, place = count + 1, found.end()
        ahead = _after(_BETWEEN, text, place)
        if ahead == place and not found[0]:
            break
    return count, place


def _after(gap: re.Pattern[str], text: str, place: int) -> int:
    found = gap.match(text, place)
    return place if found is None else found.end()


def _count(text: str, each: int) -> int | None:
    """Return how many runs of so many numbers a text is made of; None where of something else."""
    count, end = _runs(text, _after(_SPACE, text, 0), _run(each))
    return count if _after(_SPACE, text, end) == len(text) else None


def _path_segments(data: str) -> int:
    place, segments = _after(_SPACE, data, 0), 0
    while place < len(data):
        one = _SEGMENT.get(data[place].lower())
        if one is None or (segments == 0 and data[place] not in "Mm"):
            must = "be a command" if segments else "be the command M"
            raise _refusal("path d", data[place:], f"must {must}, with all its numbers")
        count, end = _runs(data, _after(_SPACE, data, place + 1), one)
        if count == 0:
            raise _refusal("path d", data[place:], "must give the command all its numbers")
        place, segments = _after(_SPACE, data, end), segments + count
    return segments


def _check_transform(what: str, text: str) -> None:
    place = _after(_SPACE, text, 0)
    while place < len(text):
        call = _CALL.match(text, place)
        if call is None:
            raise _refusal(what, text, "must be a list of transforms with their numbers")
        name = call[1]
        if name not in _TAKES:
            raise _refusal(what, text, f"must be one of {', '.join(_TAKES)}")
        if _count(call[2], 1) not in _TAKES[name]:
            count = " or ".join(map(str, sorted(_TAKES[name])))
            reason = f"must give {name} {count} number{'' if count == '1' else 's'}"
            raise _refusal(what, call[0], reason)
        place = _after(_BETWEEN, text, call.end())


def _check_view_box(what: str, text: str) -> None:
    numbers = [float(each) for each in re.findall(_NUMBER, text)]
    if _count(text, 1) != 4 or not min(numbers[2:]) > 0:
        raise _refusal(what, text, "must be four numbers, the width and the height above 0")


def _check_aspect(what: str, text: str) -> None:
    if _ASPECT.match(text) is None:
        raise _refusal(what, text, "must be none or such as xMidYMid, with meet or slice")
