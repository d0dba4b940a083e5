"""Hostile drawings: real SVG files bent element by element, and some made by hand."""

import random
import re
from functools import cache

from stress.mutations import bent_text, few, hostile_text, number_text

_HEAD = '<svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink"'
TOKENS = (
    b'<use href="#a"/>', b'<use xlink:href="#a" x="1"/>', b'<g id="a"><use href="#a"/></g>',
    b"<defs>",
    b'<symbol id="a">', b"<text>x</text>", b'<image href="http://x/y.png"/>',
    b"<style>@import url(x)</style>",
    b"<style>path{d:none}</style>", b"<script>alert(1)</script>", b"<foreignObject/>", b"<svg>",
    b"</svg>",
    b"<!DOCTYPE svg [<!ENTITY a \"b\">]>", b"&a;", b"&#0;", b"<![CDATA[", b"]]>", b"<!--",
    b"<?xml-stylesheet?>",
    b'<path d="M0 0"/>', b'<path d="M0 0L0 0Z"/>', b'<path d="M0 0A0 0 0 0 0 0 0"/>',
    b'<path d=""/>',
    b'<path d="M1e38 1e38L-1e38 -1e38"/>', b'<path d="M0 0A1e-9 1e9 90 1 1 5 5"/>',
    b'<circle r="1e-12"/>',
    b'<path d="M0 0C0 0 0 0 0 0"/>', b'<rect width="1e-9" height="1e9" rx="5"/>',
    b'<ellipse rx="1" ry="0"/>',
    b'<polyline points="0,0 1"/>', b'<polygon points=""/>', b'<line x1="nan"/>',
    b'<a href="javascript:x"/>',
    b' transform="scale(0)"', b' transform="skewX(90)"', b' transform="matrix(0 0 0 0 0 0)"',
    b' transform="rotate(1e400)"', b' transform="scale(1e200)"', b' viewBox="0 0 0 0"',
    b' viewBox="0 0 1e-300 1"',
    b' viewBox="nan nan nan nan"', b' width="1e9mm"', b' width="0"', b' id="a"', b' style="r:5"',
    b' display="none"',
    b' preserveAspectRatio="xMidYMid slice"', b' href="#a"', b' fill="url(http://x)"',
    b' xmlns="other"',
    b' xml:base="http://x/"', b' stroke-dasharray="1 2"', b'<animate attributeName="d"/>',
    b'<marker id="a"/>',
)  # fmt: skip
_COMMANDS = "MmLlHhVvCcSsQqTtAaZz"


def _path_data(draws: random.Random) -> str:
    parts = ["M0 0"] if draws.random() < 0.9 else []
    for _ in range(draws.randint(1, 8)):
        command = draws.choice(_COMMANDS)
        count = {"m": 2, "l": 2, "h": 1, "v": 1, "c": 6, "s": 4, "q": 4, "t": 2, "a": 7, "z": 0}
        numbers = []
        for place in range(count[command.lower()] + (draws.random() < 0.03)):
            flag = command in "Aa" and place in (3, 4)
            wild = draws.random() < 0.12
            plain = draws.choice("01") if flag else f"{draws.uniform(-50, 100):.5g}"
            numbers.append(number_text(draws) if wild else plain)
        parts.append(command + " ".join(numbers))
    return "".join(parts)


def _attribute(draws: random.Random, name: str, value: str) -> str:
    if name == "d":
        return _path_data(draws)
    if name == "transform":
        names = ("matrix", "translate", "scale", "rotate", "skewX", "skewY", "none")
        numbers = " ".join(number_text(draws) for _ in range(draws.choice((1, 2, 3, 6))))
        return f"{draws.choice(names)}({numbers})"
    if re.match(r"-?[\d.]", value) and draws.random() < 0.7:
        numbers = re.split(r"([ ,]+)", value)
        numbers[draws.randrange(0, len(numbers), 2)] = number_text(draws)
        return "".join(numbers)
    return hostile_text(draws)


def drawing(draws: random.Random, base: bytes) -> bytes:
    """Return a drawing with attributes, elements or bytes changed."""
    for _ in range(few(draws)):
        do = draws.random()
        values = list(re.finditer(rb'\b([\w:]+)="([^"]*)"', base))
        if do < 0.55 and values:
            found = draws.choice(values)
            said = _attribute(draws, found[1].decode(), found[2].decode("utf-8", "replace"))
            plain = said.replace("&", "&amp;").replace("<", "&lt;").replace('"', "&quot;")
            new = plain.encode("utf-8", "replace")
            base = base[: found.start(2)] + new + base[found.end(2) :]
        elif do < 0.8:
            places = [found.start() for found in re.finditer(rb"[<>]| (?=[\w:]+=)", base)] or [0]
            place = draws.choice(places)
            base = base[:place] + draws.choice(TOKENS) + base[place:]
        elif do < 0.9:
            deep = draws.choice((1, 3, 60, 70, 500))
            cut = re.search(rb"<(?:path|rect|circle|g|polygon)", base)
            if cut is not None:
                end = base.rfind(b"</svg>")
                base = (
                    base[: cut.start()]
                    + b"<g>" * deep
                    + base[cut.start() : end]
                    + b"</g>" * deep
                    + base[end:]
                )
        else:
            base = bent_text(draws, base, TOKENS)
    return base


def _drawn(
    body: str, attributes: str = 'width="100mm" height="100mm" viewBox="0 0 100 100"'
) -> bytes:
    return f"{_HEAD} {attributes}>{body}</svg>".encode()


@cache
def handmade() -> dict[str, bytes]:
    """Return drawings that claim, nest, copy or refer to more than they show."""
    laughs = "".join(f'<!ENTITY e{k} "{f"&e{k - 1};" * 10}">' for k in range(1, 10))
    doubled = "".join(
        f'<g id="a{k}"><use href="#a{k - 1}"/><use href="#a{k - 1}"/></g>' for k in range(1, 40)
    )
    line = '<path d="M0 0H9"/>'
    zigzag = "M0 0" + "L1 1L2 0" * 400_000
    return {
        "a thousand million laughs": f'<!DOCTYPE svg [<!ENTITY e0 "ha">{laughs}]>'.encode()
        + _drawn("<g>&e9;</g>"),
        "an external entity": b'<!DOCTYPE svg [<!ENTITY e SYSTEM "file:///etc/passwd">]>'
        + _drawn("<g>&e;</g>"),
        "an external subset": b'<!DOCTYPE svg SYSTEM "http://127.0.0.1:9/x.dtd">'
        + _drawn(line),
        "nested ten thousand deep": _drawn("<g>" * 10_000 + "</g>" * 10_000),
        "a million points": _drawn(f'<path d="{zigzag}"/>'),
        "20 000 points": _drawn('<path d="M0 0' + "L1 1L2 0" * 9_990 + '"/>'),
        "20 000 curves": _drawn('<path d="M0 0' + "C1 9 2 9 3 0" * 19_000 + '"/>'),
        "20 000 cusps": _drawn('<path d="M0 0' + "C9 9 0 9 9 0" * 19_000 + '"/>'),
        "20 000 flat arcs": _drawn('<path d="M0 0' + "A50 1e-3 0 1 1 1 0" * 19_000 + '"/>'),
        "20 000 circles": _drawn('<circle r="5" cx="9" cy="9"/>' * 2_400),
        "copies of copies": _drawn('<path id="a0" d="M0 0H9"/>' + doubled),
        "copies of one": _drawn('<g id="a"><path d="M0 0H9"/></g>' + '<use href="#a"/>' * 18_000),
        "a copy of itself": _drawn('<g id="a"><use href="#a"/></g>'),
        "two that copy each other": _drawn(
            '<g id="a"><use href="#b"/></g><g id="b"><use href="#a"/></g>'),
        "a number of a million digits": _drawn(f'<path d="M0 {"9" * 1_000_000}"/>'),
        "a million transforms": _drawn(f'<path d="M0 0H9" transform="{"scale(1)" * 200_000}"/>'),
        "a million attributes": _drawn("<g " + " ".join(f'a{k}=""' for k in range(150_000)) + "/>"),
        "a long style": _drawn(f'<path d="M0 0H9" style="{"a:b;" * 400_000}"/>'),
        "a style sheet of many rules": _drawn(
            "<style>" + ".a{fill:red}" * 100_000 + '</style><path class="a" d="M0 0H9"/>'),
        "a thousand rules, a thousand shapes": _drawn(
            "<style>" + "".join(f".a{k}{{fill:red}}" for k in range(5_000)) + "</style>"
            + '<path class="a1" d="M0 0H9"/>' * 5_000),
        "not closed": _drawn("<g>")[:-6],
        "nothing": b"", "blanks": b" " * 1_999_999, "a NUL": b"\x00" * 1000,
        "UTF-16": _drawn("<g/>").decode().encode("utf-16"),
        "UTF-32": _drawn("<g/>").decode().encode("utf-32"),
        "another encoding": b'<?xml version="1.0" encoding="nonsense"?>' + _drawn("<g/>"),
        "UTF-7": b'<?xml version="1.0" encoding="utf-7"?>' + _drawn("<g/>"),
        "a zip": b"PK\x03\x04" * 100, "too large": _drawn("<g/>" * 700_000),
    }  # fmt: skip
