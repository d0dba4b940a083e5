"""The room of a study: what it may hold, its defaults, and every rule between its fields."""

from __future__ import annotations

import tomllib

import pytest

from capex.errors import StudyError
from capex.shopfloor.room import exit_access_width
from capex.study import Room, Study, StudyFile, data_folder

DEMO = data_folder() / "studies" / "quenlow.toml"
DOOR = {"wall": "near", "position": "1 m", "width": "0.9 m"}
PANEL = {"wall": "left", "position": "1 m", "voltage_to_ground": "120 V"}


@pytest.fixture
def mapping() -> dict:
    found = tomllib.loads(DEMO.read_text(encoding="utf-8"))
    found["room"] = {"width": "9 m", "depth": "6 m", "doors": {"street": dict(DOOR)}}
    return found


def problems(mapping: dict) -> list:
    try:
        Study.from_mapping(mapping)
    except StudyError as error:
        return list(error.problems)
    return []


def test_a_room_is_optional(mapping):
    del mapping["room"]
    assert Study.from_mapping(mapping).room is None


def test_defaults_are_tagged_as_such(mapping):
    room = Study.from_mapping(mapping).room
    assert room.exit_access_width.source == room.packing.source == "default"
    assert room.exit_access_width.likely == pytest.approx(exit_access_width(), abs=1e-12)
    assert room.shared_clearances
    panel = Room.model_validate(mapping["room"] | {"panels": {"main": PANEL}}).panels["main"]
    assert (panel.condition, panel.width.source, panel.depth.source) == ("C", "default", "default")


def test_the_room_is_written_back_as_it_was_read():
    file = StudyFile.read(DEMO)
    changed = file.changed({"room.width": "9 m"})
    assert changed.study.room.width.likely == 9.0
    places = [
        {"machine": kind, "left": "0.6 m", "near": f"{near} m", "facing": "far"}
        for kind, near in (("old_roll_printer", 0.9), ("old_cutter", 2), ("laminator", 4))
    ]
    placed = changed.changed({"room.positions.keep": places}).study.room.positions["keep"]
    assert [one.machine for one in placed] == ["old_roll_printer", "old_cutter", "laminator"]


@pytest.mark.parametrize(
    ("parts", "path", "says"),
    [
        ({"doors": {"a": DOOR | {"position": "8.2 m"}}}, "room.doors.a.position",
         "the near wall is 9 m long"),
        ({"doors": {"a": DOOR | {"wall": "left", "position": "5.2 m"}}}, "room.doors.a.position",
         "the left wall is 6 m long"),
        ({"doors": {"a": DOOR | {"wall": "moon"}}}, "room.doors.a.wall", "must be 'near'"),
        ({"doors": {}}, "room.doors", "at least 1 entry"),
        ({"doors": {"a": DOOR | {"leads_to_exit": False}}}, "room.doors", "leads_to_exit = true"),
        ({"doors": {"a": DOOR, "b": DOOR | {"position": "1.8 m"}}}, "room.doors.b.position",
         "must not lie in Door"),
        ({"panels": {"main": PANEL | {"wall": "near", "position": "1.5 m"}}},
         "room.panels.main.position", "must not lie in Door"),
        ({"panels": {"main": PANEL | {"position": "5.9 m"}}}, "room.panels.main.position",
         "must leave room for the width of 0.4 m"),
        ({"panels": {"main": PANEL | {"voltage_to_ground": "601 V"}}},
         "room.panels.main.voltage_to_ground", "at most 600 V"),
        ({"panels": {"main": PANEL | {"voltage_to_ground": 120}}},
         "room.panels.main.voltage_to_ground", "has no unit"),
        ({"panels": {"main": PANEL | {"condition": "D"}}}, "room.panels.main.condition",
         "must be 'A', 'B' or 'C'"),
        ({"obstacles": {"c": {"name": "Column", "left": "8.8 m", "near": "1 m", "length": "0.3 m",
                              "depth": "0.3 m"}}}, "room.obstacles.c.left", "at most 8.7 m"),
        ({"obstacles": {"c": {"name": "Column", "left": "1 m", "near": "5.9 m", "length": "0.3 m",
                              "depth": "0.3 m"}}}, "room.obstacles.c.near", "at most 5.7 m"),
        ({"obstacles": {"c": {"name": "Column", "left": "0 m", "near": "1 m", "length": "10 m",
                              "depth": "0.3 m"}}}, "room.obstacles.c.left", "cannot be inside"),
        ({"exit_access_width": "27 in"}, "room.exit_access_width", "at least 0.7112 m"),
        ({"width": "0 m"}, "room.width", "greater than 0 m"),
        ({"height": "3 m"}, "room.height", "is not a known key"),
        ({"positions": {"moon": []}}, "room.positions.moon", "is not a known alternative"),
    ],
)  # fmt: skip
def test_refuses_a_room_that_cannot_be(mapping, parts, path, says):
    mapping["room"] |= parts
    (found,) = problems(mapping)
    assert found.path == path
    assert says in found.bound


def places(*machines: str) -> list[dict]:
    return [{"machine": name, "left": "1 m", "near": "1 m"} for name in machines]


@pytest.mark.parametrize(
    ("machines", "paths"),
    [
        (("old_roll_printer", "old_cutter", "laminator"), []),
        (("old_roll_printer", "old_cutter"), ["room.positions.keep"]),
        (("old_roll_printer", "old_cutter", "laminator", "laminator"), ["room.positions.keep"]),
        (("old_roll_printer", "old_cutter", "laminator", "mid_all_in_one"),
         ["room.positions.keep.3.machine"]),
    ],
)  # fmt: skip
def test_positions_are_for_every_machine_that_stands_there(mapping, machines, paths):
    mapping["room"]["positions"] = {"keep": places(*machines)}
    assert [found.path for found in problems(mapping)] == paths


def test_machines_sold_at_once_take_no_position(mapping):
    mapping["room"]["positions"] = {"all_in_one": places("mid_all_in_one", "laminator")}
    assert len(Study.from_mapping(mapping).room.positions["all_in_one"]) == 2


def test_a_broken_part_of_the_room_hides_no_other_problem(mapping):
    mapping["room"] |= {
        "width": "x", "panels": {"main": PANEL | {"position": "7 m"}}, "positions": {"moon": []},
    }  # fmt: skip
    paths = [found.path for found in problems(mapping)]
    assert paths == ["room.width", "room.panels.main.position", "room.positions.moon"]
