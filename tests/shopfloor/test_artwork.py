"""Artwork: what SVG means in metres, a second reader's lengths, and what is refused."""

import math
import re
import time

import numpy as np
import pytest
import svgelements
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.special import ellipe
from shopfloor_rows import DATA

from capex.errors import ArtworkError
from capex.shopfloor.artwork import artwork_contour, parse_artwork, read_artwork
from capex.shopfloor.artwork_check import DEEPEST, LARGEST
from capex.shopfloor.contour import circle_contour, rectangle_contour
from capex.shopfloor.cutting import contour_time

KNIFE = {"speed": 1.0, "acceleration": 10.0}
FILES = sorted((DATA / "artwork").glob("*.svg"))
MILLIMETRES = 'width="100mm" height="100mm" viewBox="0 0 100 100"'


def drawing(body, attributes=MILLIMETRES):
    return f'<svg xmlns="http://www.w3.org/2000/svg" {attributes}>{body}</svg>'


def contour(body, attributes=MILLIMETRES):
    return artwork_contour(drawing(body, attributes), "test.svg")


def seconds(body, **knife):
    return float(contour_time(contour(body), **(KNIFE | knife)))


def test_published_knife_times_hold_for_shapes_drawn_as_artwork():
    # checks of knife and carriage, derivable: 0.364159 and 0.746745 s
    circle = '<circle cx="50" cy="50" r="25"/>'
    assert seconds(circle) == pytest.approx(0.364159, abs=5e-7)
    arcs = '<path d="M75 50A25 25 0 0 1 25 50A25 25 0 0 1 75 50Z"/>'
    assert seconds(arcs) == pytest.approx(0.364159, abs=5e-7)
    rounded = (
        '<path d="M0 10A10 10 0 0 1 10 0H90A10 10 0 0 1 100 10V90A10 10 0 0 1 90 100H10'
        'A10 10 0 0 1 0 90Z"/>'
    )
    assert seconds(rounded) == pytest.approx(0.746745, abs=5e-7)
    assert seconds('<path d="M0 0H100V100H0Z"/>') == pytest.approx(0.8, abs=5e-7)


@pytest.mark.parametrize(
    ("attributes", "expected"),
    [
        ('width="100mm" height="100mm" viewBox="0 0 50 50"', 0.02),
        ('width="10cm" height="10cm" viewBox="0 0 50 50"', 0.02),
        ('width="2in" height="2in" viewBox="0 0 50 50"', 0.01 * 2.54 * 2 * 0.2),
        ('width="72pt" height="72pt" viewBox="0 0 50 50"', 0.01 * 0.508),
        ('width="6pc" height="6pc" viewBox="0 0 50 50"', 0.01 * 0.508),
        ('width="96" height="96px" viewBox="0 0 50 50"', 0.01 * 0.508),
        ('viewBox="0 0 50 50"', 10 * 0.0254 / 96),
        ('width="100%" height="100%" viewBox="0 0 50 50"', 10 * 0.0254 / 96),
        ("", 10 * 0.0254 / 96),
        ('width="100mm" height="300mm" viewBox="0 0 50 50"', 0.02),
    ],
)
def test_units_of_the_drawing_become_metres(attributes, expected):
    # CSS Values and Units: 1 in = 2.54 cm = 96 px = 72 pt = 6 pc.
    length = contour('<path d="M0 0H10"/>', attributes).path_length
    assert length == pytest.approx(expected, rel=1e-9)


@pytest.mark.parametrize(
    ("transform", "width", "height"),
    [
        ("translate(5 7)", 0.02, 0.01),
        ("scale(2)", 0.04, 0.02),
        ("rotate(90)", 0.01, 0.02),
        ("scale(-1 1)", 0.02, 0.01),
        ("matrix(0 3 1 0 5 5)", 0.01, 0.06),
    ],
)
def test_transforms_move_and_scale(transform, width, height):
    body = f'<g transform="{transform}"><rect width="20" height="10"/></g>'
    artwork = parse_artwork(drawing(body), "test.svg")
    assert (artwork.width, artwork.height) == pytest.approx((width, height), rel=1e-9)
    assert artwork.contour.path_length == pytest.approx(2 * (width + height), rel=1e-9)


@given(st.floats(1, 40), st.floats(1, 40), st.floats(-70, 70), st.booleans(), st.booleans())
@settings(deadline=None)
def test_against_the_complete_elliptic_integral(rx, ry, skew, mirrored, turned):
    # A skewed, mirrored ellipse is an ellipse; its axes are the singular values of the map.
    matrix = np.array([[1, math.tan(math.radians(skew))], [0, 1]]) @ np.diag([rx, ry])
    long, short = np.linalg.svd(matrix, compute_uv=False)
    transform = f"skewX({skew:.17g})" + (" scale(-1 1)" if mirrored else "")
    transform = ("rotate(33) " if turned else "") + transform
    drawn = contour(f'<ellipse rx="{rx:.17g}" ry="{ry:.17g}" transform="{transform}"/>')
    exact = 4 * long * ellipe(1 - (short / long) ** 2) / 1000
    assert drawn.path_length == pytest.approx(exact, rel=1e-6)
    joints = drawn.node_turn[1:-1]
    assert np.all(joints < 1e-5)


@pytest.mark.parametrize("flags", ["0 0", "0 1", "1 0", "1 1"])
@pytest.mark.parametrize("transform", ["", "skewX(40)", "scale(-1 2)", "rotate(20) skewY(-30)"])
def test_against_dense_points_of_the_drawing_library(flags, transform):
    data = f"M10 20A30 12 25 {flags} 50 35"
    matrix = svgelements.Matrix(transform)
    parsed = svgelements.Path(data).npoint(np.linspace(0, 1, 40_001))
    a, b, c, d = matrix.a, matrix.b, matrix.c, matrix.d
    points = np.asarray(parsed)
    points = (a * points[:, 0] + c * points[:, 1]) + 1j * (b * points[:, 0] + d * points[:, 1])
    expected = float(np.abs(np.diff(points)).sum()) / 1000
    drawn = contour(f'<path d="{data}" transform="{transform}"/>').path_length
    assert drawn == pytest.approx(expected, rel=1e-5)


@pytest.mark.parametrize("file", FILES, ids=lambda file: file.stem)
def test_against_dense_points_of_every_shipped_file(file):
    parsed = svgelements.SVG.parse(str(file), ppi=96)
    total = 0.0
    for shape in parsed.elements():
        if isinstance(shape, svgelements.Shape):
            path = svgelements.Path(shape)
            path.reify()
            for segment in path:
                if not isinstance(segment, svgelements.Move):
                    points = np.asarray(segment.npoint(np.linspace(0, 1, 2001)))
                    total += float(np.hypot(*np.diff(points, axis=0).T).sum())
    drawn = read_artwork(file).contour.path_length
    assert drawn == pytest.approx(total * 0.0254 / 96, rel=2e-6)


@pytest.mark.parametrize("file", FILES, ids=lambda file: file.stem)
def test_law_halving_the_steps_changes_no_shipped_time_by_a_thousandth(file):
    for knife in (KNIFE, {"speed": 0.8, "acceleration": 15.0, "lateral_acceleration": 2.0}):
        usual = float(contour_time(read_artwork(file).contour, **knife))
        finer = read_artwork(file, turn_per_step=math.radians(2.5)).contour
        assert float(contour_time(finer, **knife)) == pytest.approx(usual, rel=1e-3)


def test_every_shipped_file_is_what_the_table_beside_it_says():
    text = (DATA / "artwork" / "README.md").read_text(encoding="utf-8")
    rows = re.findall(r"\| `(\w+\.svg)` \|.*\| (\d+) × (\d+) \| ([\d.]+) \| (\d+) \|", text)
    assert [row[0] for row in rows] != []
    assert {row[0] for row in rows} == {file.name for file in FILES}
    for name, width, height, length, parts in rows:
        artwork = read_artwork(DATA / "artwork" / name)
        assert artwork.width * 1000 == pytest.approx(float(width), abs=0.51)
        assert artwork.height * 1000 == pytest.approx(float(height), abs=0.51)
        assert artwork.contour.path_length == pytest.approx(float(length), abs=5e-4)
        assert artwork.contour.subpath_count == int(parts)


def test_basic_shapes_are_their_paths():
    line = contour('<line x1="0" y1="0" x2="30" y2="40"/>')
    assert (line.path_length, line.subpath_count) == (pytest.approx(0.05), 1)
    triangle = contour('<polygon points="0,0 30,0 30,40"/>')
    assert (triangle.path_length, triangle.subpath_count) == (pytest.approx(0.12), 1)
    open_line = contour('<polyline points="0,0 30,0 30,40"/>')
    assert open_line.path_length == pytest.approx(0.07)
    rounded = contour('<rect width="75" height="60" rx="6"/>')
    assert rounded.path_length == pytest.approx(rectangle_contour(0.075, 0.06, 0.006).path_length)
    circle = contour('<circle r="25"/>')
    assert circle.path_length == pytest.approx(circle_contour(0.05).path_length)


def test_quadratic_and_smooth_commands_are_exact_cubics():
    # The parabola y = x² from 0 to 1 has the length √5/2 + asinh(2)/4.
    exact = (math.sqrt(5) / 2 + math.asinh(2) / 4) * 0.1
    parabola = contour('<path transform="scale(100)" d="M0 0Q0.5 0 1 1"/>')
    assert parabola.path_length == pytest.approx(exact, rel=1e-9)
    smooth = contour('<path d="M0 0Q10 20 20 0T40 0"/>')
    assert np.all(smooth.node_turn[1:-1] < 1e-6)


def test_an_arc_squeezed_flat_is_its_chord():
    flat = contour('<path d="M10 0A10 10 0 0 1 -10 0" transform="scale(1 0)"/>')
    assert flat.path_length == pytest.approx(0.02)


def test_parts_and_the_travel_between_them():
    drawn = contour('<path d="M0 0H10V10Z M50 0h10"/><circle cx="50" cy="50" r="10"/>')
    assert drawn.subpath_count == 3
    assert drawn.travel.tolist() == pytest.approx([0.05, 0.05])


def test_copies_inside_the_file_are_cut_too():
    body = '<defs><path id="tick" d="M0 0H10"/></defs><use href="#tick"/><use href="#tick" x="20"/>'
    drawn = contour(body)
    assert (drawn.path_length, drawn.subpath_count) == (pytest.approx(0.02), 2)


def test_text_with_an_encoding_of_its_own_is_read_as_text():
    text = '<?xml version="1.0" encoding="UTF-16"?>' + drawing('<path d="M0 0H10"/>')
    assert artwork_contour(text, "test.svg").path_length == pytest.approx(0.01)


REFUSED = {
    "no path": (drawing("<title>nothing</title>"), "no path"),
    "a path without length": (drawing('<path d="M5 5H5"/>'), "no path"),
    "an empty file": ("", "not a readable SVG"),
    "no XML": ("not a drawing", "not a readable SVG"),
    "a page": ("<html><body/></html>", "not SVG"),
    "a foreign root": ('<svg xmlns="urn:other"/>', "not SVG"),
    "a document type": ("<!DOCTYPE svg>" + drawing('<path d="M0 0H5"/>'), "document type"),
    "entities": (
        '<!DOCTYPE svg [<!ENTITY a "lol"><!ENTITY b "&a;&a;">]><svg>&b;</svg>',
        "document type",
    ),
    "an outside entity": (
        '<!DOCTYPE svg [<!ENTITY x SYSTEM "file:///etc/passwd">]><svg>&x;</svg>',
        "document type",
    ),
    "an outside file": (drawing('<use href="other.svg#a"/>'), "outside the file"),
    "an outside address": (
        drawing('<use xlink:href="//x/a" xmlns:xlink="http://www.w3.org/1999/xlink"/>'),
        "outside the file",
    ),
    "an outside style": (drawing("<style>@import 'a.css';</style>"), "outside the file"),
    "an outside fill": (drawing('<path d="M0 0H5" fill="url(a.svg#b)"/>'), "outside the file"),
    "an outside sheet": (
        '<?xml-stylesheet href="a.css"?>' + drawing('<path d="M0 0H5"/>'),
        "outside the file",
    ),
    "text": (drawing('<text x="1" y="5">SALE</text>'), "outlines"),
    "an image": (drawing('<image width="5" height="5"/>'), "image"),
    "a script": (drawing("<script>1</script>"), "script"),
    "symbols": (drawing('<symbol id="a"><path d="M0 0H5"/></symbol>'), "symbols"),
    "bad path data": (drawing('<path d="M0 0 L10 ten"/>'), "path d 'L10 ten' must give"),
    "half a point": (drawing('<path d="M0 0 L10"/>'), "path d 'L10' must give"),
    "a number beyond all numbers": (drawing('<path d="M0 0 L1e999 5"/>'), "finite size"),
    "a size beyond reason": (drawing('<path d="M0 0 H1e9"/>'), "at most 100 m"),
    "a size beyond squares": (drawing('<path d="M0 0 C1e200 0 0 1e200 5 5"/>'), "at most 100 m"),
    "a relative width": (drawing('<path d="M0 0H5"/>', 'width="50%"'), "width"),
    "an unknown unit": (drawing('<path d="M0 0H5"/>', 'height="5em"'), "height"),
    "no size at all": (
        drawing('<path d="M0 0H5"/>', 'width="0" height="0" viewBox="0 0 5 5"'),
        "no path",
    ),
    "a missing copy": (drawing('<use href="#nowhere"/>'), "not in the file"),
    "a copy of itself": (drawing('<g id="a"><use href="#a"/></g>'), "holds copies itself"),
    "copies of copies": (
        drawing('<g id="a"><path d="M0 0H5"/></g><g id="b"><use href="#a"/></g><use href="#b"/>'),
        "holds copies itself",
    ),
    "too many copies": (
        drawing(f'<path id="a" d="M0 0{" " * 10_000}H5"/>' + '<use href="#a"/>' * 300),
        "bytes or more, its copies written out; at most 2,000,000",
    ),
    "too deep": (drawing("<g>" * DEEPEST + "</g>" * DEEPEST), "deep"),
    "too large": (drawing(" " * LARGEST), "larger than"),
}


@pytest.mark.parametrize("case", REFUSED)
def test_refuses(case):
    content, reason = REFUSED[case]
    with pytest.raises(ArtworkError, match=reason) as caught:
        parse_artwork(content, "test.svg")
    assert str(caught.value).startswith("test.svg: ")


def test_refuses_a_file_that_is_not_there(tmp_path):
    with pytest.raises(ArtworkError, match=r"gone.svg: cannot be read"):
        read_artwork(tmp_path / "gone.svg")


def test_refuses_entities_in_any_encoding():
    hidden = '<?xml version="1.0" encoding="UTF-16"?><!DOCTYPE svg [<!ENTITY a "b">]><svg>&a;</svg>'
    with pytest.raises(ArtworkError, match="document type"):
        parse_artwork(hidden.encode("utf-16"), "test.svg")


@given(st.text(alphabet="MLHVCSQTAZmlhvcsqtaz0123456789.,-+e ", max_size=60))
@settings(max_examples=300, deadline=None)
def test_law_any_path_data_is_a_contour_or_a_clear_refusal(data):
    try:
        drawn = contour(f'<path d="{data}"/>')
    except ArtworkError as error:
        assert str(error).startswith("test.svg: ")  # noqa: PT017
    else:
        assert 0 < drawn.path_length < math.inf
        assert 0 < float(contour_time(drawn, **KNIFE)) < math.inf


@given(st.binary(max_size=200))
def test_law_any_bytes_are_a_contour_or_a_clear_refusal(content):
    with pytest.raises(ArtworkError):
        parse_artwork(content, "test.svg")


# SVG 1.1, from memory: sections 4.2 lengths, 7.6 transforms, 7.7 view boxes, 8.3.9 the grammar of
# path data, 9 basic shapes. Every case was drawn by guess, or in part, by the parser.
@pytest.mark.parametrize(
    ("inside", "told"),
    [
        ("<circle cx='5' cy='5'/>", "circle has no r"),
        ("<rect width='5em' height='2'/>", "rect width '5em' must be a number"),
        ("<rect width='-5' height='2'/>", "rect width '-5' must be above 0"),
        ("<rect width='5' height='2' rx='-1'/>", "rect rx '-1' must be at least 0"),
        ("<rect x='1 2' width='5' height='2'/>", "rect x '1 2' must be a number"),
        ("<ellipse rx='3'/>", "ellipse has no ry"),
        ("<path d='M0 0L9 9' transform='scale(abc)'/>", "'scale(abc)' must give scale 1 or 2"),
        ("<path d='M0 0L9 9' transform='frobnicate(3)'/>", "'frobnicate(3)' must be one of matrix"),
        ("<path d='M0 0L9 9' transform='rotate(1 2)'/>", "must give rotate 1 or 3 numbers"),
        ("<polyline points='0,0 5,x 9,9'/>", "polyline points '0,0 5,x 9,9' must be pairs"),
        ("<polygon points='0,0 5,5 9'/>", "must be pairs of numbers"),
        ("<polyline/>", "polyline has no points"),
        ("<path d='M0 0L5,,3'/>", "path d 'L5,,3' must give the command all its numbers"),
        ("<path d='M0 0H5e'/>", "path d 'e' must be a command"),
        ("<path d='M0 0H5,'/>", "path d ',' must be a command"),
        ("<path d='L5 5'/>", "path d 'L5 5' must be the command M"),
        ("<path d='M0 0A5 5 0 2 1 9 0'/>", "path d 'A5 5 0 2 1 9 0' must give"),
        ("<svg x='abc'><path d='M0 0L9 9'/></svg>", "svg x 'abc' must be a number"),
        ("<svg viewBox='0 0 9'><path d='M0 0L9 9'/></svg>", "viewBox '0 0 9' must be four numbers"),
        ("<svg viewBox='0 0 -9 9'/>", "svg viewBox '0 0 -9 9' must be four numbers"),
        ("<svg preserveAspectRatio='left'/>", "svg preserveAspectRatio 'left' must be none or"),
        ("<circle r='5' style='fill:none;r: 50'/>", "a style states r:"),
        ("<style>.cut{fill:none}rect{width:5px}</style>", "a style states width:"),
        ("<g style='transform:scale(2)'/>", "a style states transform:"),
    ],
)  # fmt: skip
def test_what_would_have_to_be_guessed_is_refused(inside, told):
    with pytest.raises(ArtworkError, match=re.escape(told)):
        parse_artwork(drawing(inside + '<path d="M0 0H5"/>'), "drawn.svg")


@pytest.mark.parametrize(
    ("inside", "told"),
    [
        ("<path d='M0 0" + "h1" * 20_000 + "'/>", "20,001 segments or more, its copies written"),
        ("<path d='M0 0" + "h1" * 20_000 + "'/>", "at most 20,000"),
        ("<path d='M0 0" + "a1 1 0 011 1" * 20_000 + "'/>", "20,001 segments"),
        ("<polyline points='" + "1 1 " * 20_001 + "'/>", "20,001 segments"),
        ("<rect width='1' height='1'/>" * 2_501, "20,008 segments"),
        ("<path id='a' d='M0 0" + "h1" * 9_999 + "'/><use href='#a'/><use href='#a'/>",
         "30,000 segments"),
        ("<g/>" * 20_000, "20,001 elements or more"),
        ("<g id='a'>" + "<g/>" * 150 + "</g>" + "<use href='#a'/>" * 150, "22,952 elements"),
    ],
)  # fmt: skip
def test_refuses_more_than_anyone_waits_for_before_it_is_drawn(inside, told, monkeypatch):
    monkeypatch.setattr(svgelements.SVG, "parse", None)
    with pytest.raises(ArtworkError, match=told):
        parse_artwork(drawing(inside), "drawn.svg")


def test_ten_thousand_segments_are_drawn_and_timed():
    steps = "h.005v.005" * 5_000  # 25 mm to the right and 25 mm down
    drawn = contour(f'<path d="M0 0{steps}"/>')
    assert drawn.path_length == pytest.approx(0.05, rel=1e-9)
    assert float(contour_time(drawn, **KNIFE)) > 0.05 / KNIFE["speed"]


@pytest.mark.parametrize(
    "inside",
    [
        "<polyline points='" + "1.5 11 " * 40_000 + "x'/>",
        "<rect height='5' width='" + "1" * 400_000 + "x'/>",
        "<path d='M0 0L" + " " * 400_000 + "x'/>",
        "<path d='M0 0H5' transform='" + "scale(11 11)" * 40_000 + "x'/>",
        "<style>" + "{ " * 400_000 + "</style><path d='M0 0H5x'/>",
    ],
)
def test_refuses_a_long_text_in_time_of_its_length(inside):
    """A pattern that matches in two ways would take hours, one that starts again minutes."""
    begun = time.process_time()
    with pytest.raises(ArtworkError, match="must"):
        parse_artwork(drawing(inside), "drawn.svg")
    assert time.process_time() - begun < 5


@pytest.mark.parametrize("other", ["", "%s='100%%'"])
@pytest.mark.parametrize("side", ["width", "height"])
def test_one_side_of_the_size_alone_is_refused(side, other):
    """A viewer would make the other by the view box or by its window."""
    beside = other and other % ("height" if side == "width" else "width")
    size = f"{side}='200mm' {beside} viewBox='0 0 100 100'"
    with pytest.raises(ArtworkError, match=f"states a {side} and no"):
        parse_artwork(drawing("<path d='M0 0h10'/>", size), "drawn.svg")


def test_what_svg_allows_is_read_as_before():
    body = (
        "<g transform='translate(1,2) , rotate(90 5 5)scale(.5-2)'><rect width='4' height='1e1' "
        "rx='1'/><polyline points='0,0 5-3,9.5.5'/><circle r='1mm' style='stroke-width:2px'/></g>"
    )
    assert parse_artwork(drawing(body), "drawn.svg").width > 0


def test_numbers_may_stand_without_gaps():
    """SVG 1.1, 8.3.9: a number ends where no more of it can follow, a flag is one digit."""
    spaced = contour('<path d="M 0 0 A 5 5 0 0 1 0.5 0.5 l 1.5 -2 1 0.25 z"/>')
    dense = contour('<path d="M0 0A5 5 0 01.5.5l1.5-2 1 .25z"/>')
    assert dense.path_length == pytest.approx(spaced.path_length, rel=1e-12)
