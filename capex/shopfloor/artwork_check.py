"""What an SVG file must not hold, checked before anything interprets it.

The file is scanned once by the XML parser of the standard library: no document type, so no
entities; nothing referred to outside the file; bounded size, depth and copies; no elements whose
shape is not a path. Whatever is refused says why and, where there is one, what to do about it.

Imports the standard library, `capex.errors` and `artwork_shapes`.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Final
from xml.parsers import expat

from capex.errors import ArtworkError
from capex.shopfloor.artwork_shapes import LENGTH, check_measures_in_style, shape_segments

__all__ = ["DEEPEST", "LARGEST", "MOST_ELEMENTS", "MOST_SEGMENTS", "check_artwork"]

#: Largest file, and largest file once its copies are written out [bytes].
LARGEST: Final = 2_000_000
#: Most segments of all shapes, copies included: more takes longer than anyone waits.
MOST_SEGMENTS: Final = 20_000
#: Most elements, copies included.
MOST_ELEMENTS: Final = 20_000
#: Deepest nesting of elements.
DEEPEST: Final = 64

_SVG: Final = "http://www.w3.org/2000/svg"
_OUTLINES: Final = "holds text; convert lettering to outlines before you save"
_CUT_ONLY: Final = "save the cut line only, as paths"
_REFUSED: Final = {
    "text": _OUTLINES,
    "tspan": _OUTLINES,
    "textPath": _OUTLINES,
    "image": f"holds an image; {_CUT_ONLY}",
    "foreignObject": f"holds foreign objects; {_CUT_ONLY}",
    "symbol": f"holds symbols; {_CUT_ONLY}",
    "marker": f"holds markers; {_CUT_ONLY}",
    "mask": f"holds masks; {_CUT_ONLY}",
    "switch": f"holds alternatives (switch); {_CUT_ONLY}",
    "script": "holds a script",
}
_NOT_INSIDE: Final = re.compile(r"url\(\s*['\"]?\s*(?!['\"#\s])|@import", re.IGNORECASE)


@dataclass
class _Load:
    """What is written and drawn: bytes, elements and segments."""

    weight: int = 0
    elements: int = 0
    segments: int = 0

    def add(self, other: _Load) -> None:
        self.weight += other.weight
        self.elements += other.elements
        self.segments += other.segments

    def greatest(self, other: _Load) -> _Load:
        return _Load(
            max(self.weight, other.weight),
            max(self.elements, other.elements),
            max(self.segments, other.segments),
        )


@dataclass
class _Node:
    """An open element: its id, its load with all inside, whether it holds a copy."""

    identity: str | None
    load: _Load
    copies: bool = False


class _Scan:
    """Handlers of one scan; each refuses by raising."""

    def __init__(self) -> None:
        self.open: list[_Node] = []
        self.loads: dict[str, _Load] = {}
        self.total = _Load()
        self.copying: set[str] = set()
        self.copied: list[str] = []
        self.style: list[str] | None = None

    def doctype(self, *_: object) -> None:
        raise ArtworkError("has a document type declaration, which may hide entities")

    def instruction(self, target: str, _: str) -> None:
        if target == "xml-stylesheet":
            raise ArtworkError("refers to a style sheet outside the file")

    def start(self, full_name: str, attributes: dict[str, str]) -> None:
        space, _, element = full_name.rpartition(" ")
        if not self.open:
            if element != "svg" or space not in ("", _SVG):
                raise ArtworkError(f"is not SVG: its first element is {element!r}")
            self.check_size(attributes)
        if len(self.open) >= DEEPEST:
            raise ArtworkError(f"nests elements more than {DEEPEST} deep")
        drawn = space in ("", _SVG)
        if drawn and element in _REFUSED:
            raise ArtworkError(_REFUSED[element])
        segments = shape_segments(element, attributes, root=not self.open) if drawn else 0
        load = _Load(1 + sum(map(len, attributes.values())), 1, segments)
        self.total.add(_Load(0, 1, segments))
        self.check_total()
        self.open.append(_Node(attributes.get("id"), load))
        check_measures_in_style(attributes.get("style", ""))
        self.check_references(element, attributes)
        self.style = [] if element == "style" else None

    def end(self, _: str) -> None:
        if self.style is not None:
            sheet = "".join(self.style)
            self.check_inside(sheet)
            check_measures_in_style(sheet)
        self.style = None
        node = self.open.pop()
        if node.identity is not None:
            known = self.loads.get(node.identity, _Load())
            self.loads[node.identity] = known.greatest(node.load)
            if node.copies:
                self.copying.add(node.identity)
        if self.open:
            self.open[-1].load.add(node.load)
            self.open[-1].copies |= node.copies

    def characters(self, text: str) -> None:
        if self.style is not None:
            self.style.append(text)

    def check_size(self, attributes: dict[str, str]) -> None:
        stated = []
        for side in ("width", "height"):
            text = attributes.get(side, "100%").strip()
            found = LENGTH.match(text)
            if text != "100%" and (found is None or float(found[1]) < 0):
                bound = "must be a length of at least 0 in mm, cm, in, pt, pc or px"
                raise ArtworkError(f"svg {side} {text[:40]!r} {bound}")
            stated += [] if text == "100%" else [side]
        if len(stated) == 1 and "viewBox" in attributes:  # it would be stretched by guess
            other = "height" if stated == ["width"] else "width"
            raise ArtworkError(
                f"svg states a {stated[0]} and no {other} in a unit: state both, or none"
            )

    def check_references(self, element: str, attributes: dict[str, str]) -> None:
        for full_name, value in attributes.items():
            self.check_inside(value)
            if full_name.rpartition(" ")[2] not in ("href", "src"):
                continue
            if not value.startswith("#"):
                raise ArtworkError(f"refers to {value[:40]!r}, outside the file")
            if element == "use":
                self.copied.append(value[1:])
                self.open[-1].copies = True

    def check_inside(self, text: str) -> None:
        if _NOT_INSIDE.search(text):
            raise ArtworkError("a style refers outside the file")

    def check_total(self) -> None:
        for count, most, what in (
            (self.total.weight, LARGEST, "bytes"),
            (self.total.elements, MOST_ELEMENTS, "elements"),
            (self.total.segments, MOST_SEGMENTS, "segments"),
        ):
            if count > most:
                told = f"holds {count:,} {what} or more, its copies written out"
                raise ArtworkError(f"{told}; at most {most:,}")

    def check_copies(self, weight: int) -> None:
        self.total.weight = weight
        for target in self.copied:
            if target not in self.loads:
                raise ArtworkError(f"copies {target[:40]!r}, which is not in the file")
            if target in self.copying:
                raise ArtworkError(f"copies {target[:40]!r}, which holds copies itself")
            self.total.add(self.loads[target])
        self.check_total()


def check_artwork(content: bytes, name: str) -> None:
    """Refuse an SVG file that is unsafe to read or whose shapes are not all paths.

    Parameters
    ----------
    content : bytes
        The file as it is.
    name : str
        Of the file, for the message.

    Raises
    ------
    ArtworkError
        Too large, not XML, not SVG, a document type, a reference outside the file, nesting or
        copies beyond the limits, more elements or segments than anyone waits for, a measure or a
        transform that is missing, cannot be read or stands in a style, text, images or other
        elements without a path of their own.

    Examples
    --------
    >>> check_artwork(b"<html/>", "page.svg")
    Traceback (most recent call last):
    capex.errors.ArtworkError: page.svg: is not SVG: its first element is 'html'
    """
    try:
        _scan(content)
    except ArtworkError as error:
        raise ArtworkError(f"{name}: {error}") from error.__cause__


def _scan(content: bytes) -> None:
    if len(content) > LARGEST:
        raise ArtworkError(f"is larger than {LARGEST:,} bytes")
    scan = _Scan()
    parser = expat.ParserCreate(namespace_separator=" ")
    parser.buffer_text = True
    parser.StartDoctypeDeclHandler = scan.doctype
    parser.ProcessingInstructionHandler = scan.instruction
    parser.StartElementHandler = scan.start
    parser.EndElementHandler = scan.end
    parser.CharacterDataHandler = scan.characters
    try:
        parser.Parse(content, True)
    except (expat.ExpatError, ValueError, LookupError) as error:
        raise ArtworkError(f"is not a readable SVG file ({error})") from error
    scan.check_copies(len(content))
