"""Machines moved by hand on the shop floor page: nothing else moves, and names are only names."""

import re
from pathlib import Path

import pytest

from capex.shopfloor.plan.floor_plan import FloorPlan
from capex.study import StudyFile, data_folder
from capex.units import UnitSystem
from capex.views.floor.room import RoomSection
from capex.views.floor.state import FloorState

STUDY = data_folder() / "studies" / "quenlow.toml"
SYSTEMS: tuple[UnitSystem, ...] = ("metric", "us_customary")
Changes = dict[str, object]


def section(system: UnitSystem = "metric", changes: Changes | None = None) -> RoomSection:
    file = StudyFile.read(STUDY).changed(changes or {})
    state = FloorState(file, STUDY)
    state.units = system
    room = RoomSection(state)
    room.view()
    return room


def plan_of(room: RoomSection, key: str) -> FloorPlan:
    plan = room._plans[key]
    assert isinstance(plan, FloorPlan)
    return plan


def places(room: RoomSection, key: str) -> list[tuple[float, float, str]]:
    return [(spot.left, spot.near, spot.facing) for spot in plan_of(room, key).spots]


def fails(room: RoomSection, key: str) -> int:
    return sum(finding.status == "fail" for finding in plan_of(room, key).findings)


def type_in(room: RoomSection, row: int, column: int, text: str) -> None:
    room._grid.told(None, {"kind": "cells", "cells": [[row, column, text]]}, [])


def press(room: RoomSection, key: str) -> None:
    room._fields.told(None, {"kind": "pressed", "key": key}, [])


def change(room: RoomSection, key: str, text: str) -> None:
    room._fields.told(None, {"kind": "changed", "key": key, "value": text}, [])


@pytest.mark.parametrize("system", SYSTEMS)
@pytest.mark.parametrize("kept", [False, True])
def test_a_cell_that_is_typed_again_as_it_was_changes_nothing(
    system: UnitSystem, kept: bool
) -> None:
    room = section(system)
    for key in room._state.study.alternatives:
        change(room, "moved", key)
        if kept:
            press(room, "kept")
        before, text = places(room, key), room._file.text
        assert fails(room, key) == 0
        for row in range(len(before)):
            for column in range(2):
                type_in(room, row, column, room._grid.cells[row][column])
        assert places(room, key) == before
        assert room._file.text == text
        assert fails(room, key) == 0


@pytest.mark.parametrize("system", SYSTEMS)
@pytest.mark.parametrize("kept", [False, True])
def test_moving_one_machine_leaves_the_others_to_the_last_bit(
    system: UnitSystem, kept: bool
) -> None:
    room = section(system)
    if kept:
        press(room, "kept")
    before = places(room, "separate")
    type_in(room, 0, 0, "1 m")
    after = places(room, "separate")
    assert after == [(1.0, *before[0][1:]), *before[1:]]
    assert before[0][0] != 1.0


@pytest.mark.parametrize("system", SYSTEMS)
@pytest.mark.parametrize("key", ["width", "depth"])
def test_a_wall_that_is_typed_again_as_it_was_stays_where_it_is(
    system: UnitSystem, key: str
) -> None:
    exact = {"width": "9.51234567 m", "depth": "8.01234567 m"}
    room = section(system, {f"room.{name}": text for name, text in exact.items()})
    change(room, key, room._fields.values[key])
    shown = room._file.study.room
    assert shown is not None
    assert (shown.width.likely, shown.depth.likely) == (9.51234567, 8.01234567)


def test_places_that_were_found_are_kept_as_they_are() -> None:
    room = section()
    before = places(room, "separate")
    press(room, "kept")
    assert plan_of(room, "separate").by_hand
    assert places(room, "separate") == before
    (button,) = (field for field in room._fields.fields if field["key"] == "kept")
    assert button["disabled"]
    press(room, "found")
    assert not plan_of(room, "separate").by_hand


@pytest.mark.parametrize("name", ["Mid roll printer (1.3 m)", "A (2)", "A, b", "( ("])
def test_a_machine_is_moved_whatever_its_name(name: str) -> None:
    room = section(changes={"machines.mid_roll_printer.name": name})
    before = places(room, "separate")
    type_in(room, 0, 0, "1")
    assert room._state.trouble is None
    assert places(room, "separate") == [(1.0, *before[0][1:]), *before[1:]]
    held = room._file.study.room
    assert held is not None
    assert held.positions["separate"][0].machine == "mid_roll_printer"


def test_machines_of_one_name_are_moved_each_for_itself() -> None:
    room = section(changes={"machines.mid_contour_cutter.name": "Mid roll printer"})
    assert room._grid.heads[:2] == ["Mid roll printer (1)", "Mid roll printer (2)"]
    before = places(room, "separate")
    type_in(room, 1, 0, "1")
    assert room._grid.messages == {}
    assert places(room, "separate") == [before[0], (1.0, *before[1][1:]), before[2]]
    held = room._file.study.room
    assert held is not None
    assert [one.machine for one in held.positions["separate"]] == [
        "mid_roll_printer", "mid_contour_cutter", "laminator",
    ]  # fmt: skip


def test_positions_in_another_order_than_the_machines_move_those_of_their_row() -> None:
    found = section()
    press(found, "kept")
    held = found._file.study.room
    assert held is not None
    turned = [
        {"machine": one.machine, "left": f"{one.left.likely!r} m",
         "near": f"{one.near.likely!r} m", "facing": one.facing}
        for one in reversed(held.positions["separate"])
    ]  # fmt: skip
    room = section(changes={"room.positions.separate": turned})
    before = places(room, "separate")
    type_in(room, 0, 0, "here")
    assert list(room._grid.messages) == ["0.0"]
    assert room._grid.cells[0][0] == "here"
    type_in(room, 0, 0, "1")
    assert places(room, "separate") == [(1.0, *before[0][1:]), *before[1:]]


def test_what_is_said_of_a_position_in_a_file_of_one_s_own_stays(tmp_path: Path) -> None:
    found = section()
    press(found, "kept")
    text, edits = re.subn(r"(?m)^(\[\[?room\.positions\.separate.*)$", r"\1  # as measured",
                          found._file.text)  # fmt: skip
    if not edits:
        text, edits = re.subn(r"(?m)^(separate = \[)", r"\1  # as measured", found._file.text)
    assert edits
    path = tmp_path / "own.toml"
    path.write_text(text)
    state = FloorState(StudyFile.read(path), path)
    room = RoomSection(state)
    room.view()
    type_in(room, 0, 0, "1")
    assert room._file.text.count("# as measured") == text.count("# as measured")
