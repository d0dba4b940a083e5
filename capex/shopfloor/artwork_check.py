"""What an SVG file must not hold, checked before anything interprets it.

The file is scanned once by the XML parser of the standard library: no document type, so no
entities; nothing referred to outside the file; bounded size, depth and copies; no elements whose
shape is not a path. Whatever is refused says why and, where there is one, what to do about it.

Imports the standard library, `capex.errors` and `artwork_shapes`.
"""

from __future__ import annotations

import re
from typing import Final
from xml.parsers import expat

from capex.errors import ArtworkError
from capex.shopfloor.artwork_shapes import segments_of, shape_problem

__all__ = ["DEEPEST", "LARGEST", "MOST_SEGMENTS", "check_artwork"]

#: Largest file, and largest file once its copies are written out [bytes].
LARGEST: Final = 2_000_000
#: Most segments of all shapes, copies included: more takes longer than anyone waits.
MOST_SEGMENTS: Final = 20_000
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
_PATH_DATA: Final = re.compile(r"[MmZzLlHhVvCcSsQqTtAaEe0-9+\-.,\s]*\Z")
_LENGTH: Final = re.compile(
    r"\s*\+?(\d+\.?\d*|\.\d+)([eE][-+]?\d+)?\s*(px|mm|cm|in|pt|pc|)\s*\Z|\s*100%\s*\Z"
)


class _Node:
    """An open element: its id, weight and segments with all inside, whether it holds a copy."""

    def __init__(self, identity: str | None, weight: int, segments: int) -> None:
        self.identity = identity
        self.weight = weight
        self.segments = segments
        self.copies = False


class _Scan:
    """Handlers of one scan; each refuses by raising."""

    def __init__(self, name: str) -> None:
        self.name = name
        self.open: list[_Node] = []
        self.weights: dict[str, tuple[int, int]] = {}  # bytes and segments
        self.segments = 0
        self.copying: set[str] = set()
        self.copied: list[str] = []
        self.style: list[str] | None = None

    def refusal(self, reason: str) -> ArtworkError:
        return ArtworkError(f"{self.name}: {reason}")

    def doctype(self, *_: object) -> None:
        raise self.refusal("has a document type declaration, which may hide entities")

    def instruction(self, target: str, _: str) -> None:
        if target == "xml-stylesheet":
            raise self.refusal("refers to a style sheet outside the file")

    def start(self, full_name: str, attributes: dict[str, str]) -> None:
        space, _, element = full_name.rpartition(" ")
        if not self.open:
            if element != "svg" or space not in ("", _SVG):
                raise self.refusal(f"is not SVG: its first element is {element!r}")
            self.check_size(attributes)
        if len(self.open) >= DEEPEST:
            raise self.refusal(f"nests elements more than {DEEPEST} deep")
        if space in ("", _SVG):
            if element in _REFUSED:
                raise self.refusal(_REFUSED[element])
            self.check_path(element, attributes)
            problem = shape_problem(element, attributes)
            if problem is not None:
                raise self.refusal(problem)
        weight = 1 + sum(len(value) for value in attributes.values())
        segments = segments_of(element, attributes)
        self.segments += segments
        self.open.append(_Node(attributes.get("id"), weight, segments))
        self.check_references(element, attributes)
        self.style = [] if element == "style" else None

    def end(self, _: str) -> None:
        self.check_style("".join(self.style or ()))
        self.style = None
        node = self.open.pop()
        if node.identity is not None:
            known = self.weights.get(node.identity, (0, 0))
            self.weights[node.identity] = max(node.weight, known[0]), max(node.segments, known[1])
            if node.copies:
                self.copying.add(node.identity)
        if self.open:
            self.open[-1].weight += node.weight
            self.open[-1].segments += node.segments
            self.open[-1].copies |= node.copies

    def characters(self, text: str) -> None:
        if self.style is not None:
            self.style.append(text)

    def check_size(self, attributes: dict[str, str]) -> None:
        stated = [side for side in ("width", "height") if side in attributes]
        if len(stated) == 1 and "viewBox" in attributes:  # it would be stretched by guess
            other = "height" if stated == ["width"] else "width"
            raise self.refusal(f"states a {stated[0]} and no {other}: state both, or none")
        for side in ("width", "height"):
            text = attributes.get(side)
            if text is not None and _LENGTH.match(text) is None:
                raise self.refusal(f"{side} {text[:40]!r} must be a length in mm, cm, in, pt or px")

    def check_path(self, element: str, attributes: dict[str, str]) -> None:
        if element == "path" and _PATH_DATA.match(attributes.get("d", "")) is None:
            raise self.refusal("a path's data holds something other than commands and numbers")

    def check_references(self, element: str, attributes: dict[str, str]) -> None:
        for full_name, value in attributes.items():
            self.check_style(value)
            if full_name.rpartition(" ")[2] not in ("href", "src"):
                continue
            if not value.startswith("#"):
                raise self.refusal(f"refers to {value[:40]!r}, outside the file")
            if element == "use":
                self.copied.append(value[1:])
                self.open[-1].copies = True

    def check_style(self, text: str) -> None:
        if _NOT_INSIDE.search(text):
            raise self.refusal("a style refers outside the file")

    def check_copies(self, weight: int) -> None:
        for target in self.copied:
            if target not in self.weights:
                raise self.refusal(f"copies {target[:40]!r}, which is not in the file")
            if target in self.copying:
                raise self.refusal(f"copies {target[:40]!r}, which holds copies itself")
            weight += self.weights[target][0]
            self.segments += self.weights[target][1]
        if weight > LARGEST:
            raise self.refusal(f"is larger than {LARGEST:,} bytes once its copies are written out")
        if self.segments > MOST_SEGMENTS:
            raise self.refusal(f"draws {self.segments:,} segments; at most {MOST_SEGMENTS:,}")


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
        copies beyond the limits, more segments than anyone waits for, a shape whose measures
        are missing or cannot be read, text, images or other elements without a path of their own.

    Examples
    --------
    >>> check_artwork(b"<html/>", "page.svg")
    Traceback (most recent call last):
    capex.errors.ArtworkError: page.svg: is not SVG: its first element is 'html'
    """
    if len(content) > LARGEST:
        raise ArtworkError(f"{name}: is larger than {LARGEST:,} bytes")
    scan = _Scan(name)
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
        raise ArtworkError(f"{name}: is not a readable SVG file ({error})") from error
    scan.check_copies(len(content))
