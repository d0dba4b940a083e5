"""The picture of a plan: well-formed, to scale, escaped, and told in words."""

from __future__ import annotations

import re
from dataclasses import replace
from xml.etree import ElementTree as ET

import pytest

from capex.shopfloor.plan import floor_plan
from capex.study import StudyFile, data_folder
from capex.views.plan_svg import plan_svg

SVG = "{http://www.w3.org/2000/svg}"
FILE = StudyFile.read(data_folder() / "studies" / "quenlow.toml")


@pytest.fixture
def plan():
    return floor_plan(FILE.study, "separate")


def drawn(plan, system="metric"):
    return ET.fromstring(plan_svg(plan, system))


def boxes(root, style):
    found = [one for one in root.iter(f"{SVG}rect") if one.get("class") == style]
    return [tuple(float(one.get(k)) for k in ("x", "y", "width", "height")) for one in found]


def test_machines_are_drawn_to_the_scale_of_the_walls(plan):
    root = drawn(plan)
    (wall,) = boxes(root, "p-wall")
    scale = wall[2] / plan.room.width
    assert wall[3] / plan.room.depth == pytest.approx(scale, rel=1e-3)
    for spot, box in zip(plan.spots, boxes(root, "p-machine"), strict=True):
        left, near, right, far = spot.footprint
        assert box[0] == pytest.approx(wall[0] + left * scale, abs=0.11)
        assert box[1] == pytest.approx(wall[1] + (plan.room.depth - far) * scale, abs=0.11)
        assert box[2:] == pytest.approx(((right - left) * scale, (far - near) * scale), abs=0.11)


@pytest.mark.parametrize(("system", "metres"), [("metric", 1.0), ("us_customary", 0.9144)])
def test_the_scale_bar_has_the_scale_of_the_walls(plan, system, metres):
    root = drawn(plan, system)
    scale = boxes(root, "p-wall")[0][2] / plan.room.width
    bars = [box for box in boxes(root, "p-solid") if box[3] == 12]
    assert bars[0][2] == pytest.approx(metres * scale, abs=0.11)


def test_title_and_description_say_what_the_picture_shows(plan):
    root = drawn(plan)
    assert root.get("role") == "img"
    ids = root.get("aria-labelledby").split()
    title, description = root.find(f"{SVG}title"), root.find(f"{SVG}desc")
    assert [title.get("id"), description.get("id")] == ids
    assert plan.alternative in title.text
    for spot in plan.spots:
        assert spot.name in description.text


def test_every_clearance_has_a_hatching_of_its_own(plan):
    svg = plan_svg(plan)
    used = re.findall(r'class="p-envelope"[^>]*url\(#([^)]+)\)', svg)
    assert len(set(used)) == len(plan.spots)
    assert all(f'<pattern id="{one}"' in svg for one in used)


def test_plans_of_one_page_share_no_id(plan):
    other = floor_plan(FILE.study, "staged")
    ids = [set(re.findall(r' id="([^"]+)"', plan_svg(one))) for one in (plan, other)]
    assert ids[0]
    assert ids[0].isdisjoint(ids[1])


def test_names_are_escaped(plan):
    nasty = "<script>alert('x')</script> & \"more\""
    spots = (replace(plan.spots[0], name=nasty), *plan.spots[1:])
    svg = plan_svg(replace(plan, spots=spots, alternative=nasty))
    assert "<script" not in svg
    assert nasty in "".join(ET.fromstring(svg).itertext())


def test_a_machine_that_fails_is_marked_and_told():
    places = [
        {"machine": "mid_all_in_one", "left": "6 m", "near": "3 m"},
        {"machine": "laminator", "left": "1 m", "near": "0.5 m"},
    ]
    plan = floor_plan(FILE.changed({"room.positions.all_in_one": places}).study, "all_in_one")
    root = drawn(plan)
    assert len(boxes(root, "p-fails")) == 2  # beyond the wall, and on the bench
    assert "Fails: " in root.find(f"{SVG}desc").text


def test_an_empty_room_is_drawn(plan):
    root = drawn(replace(plan, spots=(), findings=(), clear_floor=()))
    assert boxes(root, "p-machine") == []
    assert len(boxes(root, "p-wall")) == 1


def test_colours_are_those_of_the_page(plan):
    style = drawn(plan).find(f"{SVG}style").text
    assert re.findall(r"(?:fill|stroke): *#", style) == []


def test_the_name_of_a_small_machine_stands_in_a_finer_type_not_a_number_alone(plan):
    """The demo's cutter, 2 m long: its name goes into its frame in the finer type only."""
    texts = [(one.get("class"), one.text) for one in drawn(plan).iter(f"{SVG}text")]
    finer = " ".join(text for style, text in texts if "p-fine" in (style or ""))
    assert finer == "2 Mid contour cutter"
    assert "2" not in [text for _, text in texts]
