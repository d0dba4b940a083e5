"""What the batch and the room show on the shop floor page: figures valid, sums right."""

import json
import re
from collections.abc import Sequence
from dataclasses import replace
from html import unescape
from itertools import pairwise
from pathlib import Path

import ipywidgets as widgets
import numpy as np
import plotly.graph_objects as go
import pytest

from capex.decision.appraise import appraise
from capex.shopfloor.batch.gap import Gap, batch_gap
from capex.shopfloor.batch.tasks import BatchEntry
from capex.shopfloor.batch.timeline import Timeline, batch_timeline
from capex.shopfloor.plan.finding import Finding
from capex.shopfloor.plan.floor_plan import floor_plan
from capex.study import Study, StudyFile, data_folder
from capex.views.chart import figure_json
from capex.views.charts.picture import Look, Picture
from capex.views.floor.batch import BatchSection
from capex.views.floor.batch_pictures import (
    TimeScale,
    _rows,
    _spans,
    timeline_picture,
    waits_by_place,
)
from capex.views.floor.gap_picture import batch_cards_html, gap_picture, ratios_html
from capex.views.floor.room import RoomSection
from capex.views.floor.room_words import area_sentence, charged_area, findings_html
from capex.views.floor.state import FloorState
from capex.views.floor.times import clock_text, time_text
from capex.views.shop_floor import floor_page
from capex.views.wording import Currency, money_text

STUDY = data_folder() / "studies" / "quenlow.toml"
BATCHES = {
    "plain": [BatchEntry("sticker_sets", orders=2), BatchEntry("banners")],
    "laminated": [BatchEntry("fleet_badges", laminated=True, orders=2), BatchEntry("banners")],
}
PAIR = ("separate", "all_in_one")
BAD = '<img src=x onerror="alert(1)">'
MONTH_OF_THE_CUTTER = '\nmonth = { value = 36, source = "assumed" }\n'
STAGED_PLACES = [
    {"machine": key, "left": left, "near": "1 m", "facing": "far"}
    for key, left in (
        ("mid_all_in_one", "0 m"),
        ("mid_contour_cutter", "3 m"),
        ("laminator", "6 m"),
    )
]


@pytest.fixture(scope="module")
def look(demo: Study) -> Look:
    return Look(demo, "metric", Currency("USD"))


@pytest.fixture
def state() -> FloorState:
    return FloorState(StudyFile.read(STUDY), STUDY)


@pytest.fixture(scope="module")
def timelines(demo: Study) -> dict[str, tuple[Timeline, ...]]:
    return {
        name: tuple(batch_timeline(demo, key, batch) for key in PAIR)
        for name, batch in BATCHES.items()
    }


@pytest.fixture(scope="module")
def gap(demo: Study) -> Gap:
    return batch_gap(demo, *PAIR, BATCHES["plain"])


def names(batch: Sequence[BatchEntry]) -> list[str]:
    return [entry.job for entry in batch]


def check_valid(found: Picture) -> None:
    figure = json.loads(figure_json(found.figure))
    go.Figure(figure)  # raises on any unknown property or value
    assert figure["layout"]["xaxis"]["title"]["text"]
    assert len(found.reading) > 20
    assert all(len(row) == len(found.table.columns) for row in found.table.rows)


@pytest.mark.parametrize("name", BATCHES)
def test_against_plotly_schema_timelines_are_valid(
    name: str, timelines: dict[str, tuple[Timeline, ...]], look: Look
) -> None:
    found = timeline_picture(timelines[name], names(BATCHES[name]), look)
    check_valid(found)
    assert found.table.rows
    numbers = {
        "plain": "1–2 sticker_sets and 3 banners",
        "laminated": "1–2 fleet_badges and 3 banners",
    }
    assert f"Numbers are orders: {numbers[name]}" in found.reading


def test_against_plotly_schema_the_gap_is_valid(gap: Gap, look: Look) -> None:
    found = gap_picture(gap, *PAIR, look)
    check_valid(found)
    values = found.figure["data"][0]["x"]
    assert sum(values[:-1]) == pytest.approx(values[-1], abs=0.02)
    assert values[0] == pytest.approx(gap.start / 60, abs=0.001)


def test_bars_of_a_machine_are_the_work_on_it(
    timelines: dict[str, tuple[Timeline, ...]], look: Look
) -> None:
    found = timeline_picture(timelines["plain"], names(BATCHES["plain"]), look)
    labels = found.figure["layout"]["yaxis"]["ticktext"]
    drawn = dict.fromkeys(range(len(labels)), 0.0)
    for trace in found.figure["data"]:
        if trace["type"] == "bar":
            for place, minutes in zip(trace["y"], trace["x"], strict=True):
                drawn[place] += minutes
    for machine in ("Mid roll printer", "Mid contour cutter", "Mid all-in-one"):
        work = sum(
            task.task.busy for one in timelines["plain"] for task in one.tasks
            if task.machine == machine
        )  # fmt: skip
        assert drawn[labels.index(machine)] == pytest.approx(work / 60, abs=0.3)


ALIKE = {
    "two entries": ([{"machine": "mid_contour_cutter"}] * 2, 2),
    "two of one and one more": (
        [{"machine": "mid_contour_cutter", "count": 2}, {"machine": "mid_contour_cutter"}], 3,
    ),
    "two kinds of one name": (
        [{"machine": "mid_contour_cutter"}, {"machine": "old_cutter"}], 2,
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", ["Cutter (1.6 m)", "Cutter", "Cutter (2)", "Operators"])
@pytest.mark.parametrize("case", ALIKE)
def test_each_machine_of_one_name_has_a_row_with_its_own_work(case: str, name: str) -> None:
    cutters, count = ALIKE[case]
    others = [{"machine": "mid_roll_printer"}, {"machine": "laminator", "owned": True}]
    changes = {f"machines.{one['machine']}.name": name for one in cutters}
    study = StudyFile.read(STUDY).changed(
        changes | {"alternatives.separate.machines": [*others, *cutters]}
    ).study  # fmt: skip
    found = batch_timeline(study, "separate", [BatchEntry("sticker_sets", orders=12)])
    labels = [label for label, _ in _rows(found)]
    assert len(set(labels)) == len(labels)
    places = [place.name for place in (*found.cell.machines, *found.cell.people)]
    assert len(set(places)) == len(places)
    mine = [
        label
        for place, entry in zip(found.cell.machines, found.cell.placements, strict=True)
        for label in place.each
        if entry >= len(others)
    ]
    assert len(mine) == count
    for label, tasks in _rows(found):
        if label in mine:
            drawn = [(task.order, task.task.name) for task, _, _ in tasks]
            assert drawn == [(t.order, t.task.name) for t in found.tasks if t.machine == label]
            for before, after in pairwise(sorted((start, end) for _, start, end in tasks)):
                assert before[1] <= after[0] + 1e-6  # one at a time
    cuts = [task.order for label, tasks in _rows(found) if label in mine
            for task, _, _ in tasks if task.task.name == "cut"]  # fmt: skip
    assert sorted(cuts) == list(range(12))


def test_a_long_wait_is_drawn_short_and_said(
    timelines: dict[str, tuple[Timeline, ...]], look: Look
) -> None:
    found = timeline_picture(timelines["laminated"], names(BATCHES["laminated"]), look)
    (band,) = found.figure["layout"]["shapes"]
    assert band["x1"] - band["x0"] < 0.1 * found.figure["layout"]["xaxis"]["range"][1]
    (short,) = TimeScale.of(
        [span for one in timelines["laminated"] for task in one.tasks for span in _spans(task)]
    ).waits
    assert (
        f"from {clock_text(short[0])} to {clock_text(short[1])}, is drawn short: "
        f"{time_text(short[1] - short[0])} in which nobody can go on"
    ) in found.reading
    assert "2 orders must outgas before laminating" not in found.reading
    assert "4 orders must outgas before laminating (all choices together)" in found.reading
    assert max(one.makespan for one in timelines["laminated"]) > 24 * 3600


def test_law_the_time_axis_never_runs_backwards() -> None:
    scale = TimeScale.of([(0.0, 500.0), (400.0, 900.0), (50000.0, 50900.0), (51000.0, 51100.0)])
    places = scale.at(np.linspace(0.0, 51100.0, 400).tolist())
    assert (np.diff(places) >= 0).all()
    assert scale.waits == ((900.0, 50000.0),)


def test_cards_say_what_the_timelines_hold(
    timelines: dict[str, tuple[Timeline, ...]], look: Look
) -> None:
    first, second = timelines["plain"]
    text = unescape(re.sub(r"<[^>]+>", " ", batch_cards_html(first, second, ["a", "b"], look)))
    for one in (first, second):
        assert f"set by {one.streaming.bottleneck}" in text
    said = ratios_html(first, second, look)
    latency = second.makespan / first.makespan
    throughput = second.streaming.cycle_time / first.streaming.cycle_time
    assert f"{latency:.2f} times" in said
    assert f"{throughput:.2f} times" in said
    assert "not the shop’s ratio" in re.sub(r"\s+", " ", said)


def test_waits_are_counted_by_what_was_waited_for(
    timelines: dict[str, tuple[Timeline, ...]],
) -> None:
    one = timelines["plain"][1]
    total = sum(task.start - task.ready for task in one.tasks if task.waits_for is not None)
    assert sum(waits_by_place(one).values()) == pytest.approx(total)


def test_a_batch_that_cannot_be_keeps_the_last_one(state: FloorState) -> None:
    batch = BatchSection(state)
    batch.view()
    good = batch._times.reading
    batch._grid.told(None, {"kind": "cells", "cells": [[4, 0, "1.5"]]}, [])
    assert "must be a whole number" in batch._grid.messages["4.0"]
    assert batch._grid.cells[4][0] == "1.5"
    batch._grid.told(None, {"kind": "cells", "cells": [[4, 0, "1"], [4, 2, "yes"]]}, [])
    assert "needs a print and a laminate" in batch._grid.messages["4"]
    batch._fields.told(None, {"kind": "changed", "key": "month", "value": "999"}, [])
    assert batch._times.reading == good
    assert "greyed, is of the last batch" in batch._results.said.value
    assert "capex-old" in batch._results.panel._dom_classes
    batch._grid.told(None, {"kind": "cells", "cells": [[4, 2, "no"]]}, [])
    assert "month" in batch._fields.messages
    batch._fields.told(None, {"kind": "changed", "key": "month", "value": "3"}, [])
    assert batch._grid.messages == {}
    assert batch._times.reading != good
    assert batch._results.said.value == ""
    assert "capex-old" not in batch._results.panel._dom_classes
    assert state.trouble is None


def test_a_choice_is_never_compared_with_itself(state: FloorState) -> None:
    batch = BatchSection(state)
    batch.view()
    batch._fields.told(None, {"kind": "changed", "key": "first", "value": "all_in_one"}, [])
    assert batch._fields.values["first"] == "all_in_one"
    assert batch._fields.values["second"] == "separate"
    (second,) = (field for field in batch._fields.fields if field["key"] == "second")
    assert "all_in_one" not in [key for key, _ in second["options"]]


def test_an_empty_batch_is_refused(state: FloorState) -> None:
    batch = BatchSection(state)
    batch.view()
    cells = [[row, 0, "0"] for row in range(len(state.study.jobs))]
    batch._grid.told(None, {"kind": "cells", "cells": cells}, [])
    assert "at least one order" in batch._grid.messages["0"]


def edit(room: RoomSection, *cells: list[object]) -> None:
    room._grid.told(None, {"kind": "cells", "cells": list(cells)}, [])


def card(room: RoomSection, name: str) -> str:
    """Words of the card of one choice."""
    (found,) = (each for each in room._cards.value.split("<article") if f"{name}</h3>" in each)
    return unescape(re.sub(r"<svg.*?</svg>|<[^>]+>", " ", found, flags=re.DOTALL))


def test_a_machine_moved_by_hand_changes_its_plan_only(state: FloorState) -> None:
    room = RoomSection(state)
    room.view()
    before = dict(room._plans)
    edit(room, [0, 0, "99"])
    moved = room._plans["separate"]
    assert moved is not before["separate"]
    assert room._plans["all_in_one"] is before["all_in_one"]
    assert "✕ fails" in room._cards.value
    edit(room, [0, 0, "here"])
    assert room._grid.messages["0.0"].startswith("From the left wall: ‘here’ does not begin with")
    assert room._grid.cells[0][0] == "here"
    assert room._plans["separate"] is moved
    edit(room, [0, 0, "-1"], [1, 1, "x"])
    assert room._grid.messages["0.0"] == "From the left wall: ‘-1 m’ must be at least 0 m"
    assert room._grid.messages["1.1"].startswith("From the near wall: ‘x’ does not begin")
    room._fields.told(None, {"kind": "pressed", "key": "found"}, [])
    assert room._grid.messages == {}
    assert not room._plans["separate"].by_hand  # type: ignore[union-attr]
    assert state.trouble is None


@pytest.mark.parametrize(("text", "width"), [("1e1", 10.0), ("30 ft", 9.144), ("9.5", 9.5)])
def test_a_length_without_a_unit_is_in_that_of_its_field(
    state: FloorState, text: str, width: float
) -> None:
    room = RoomSection(state)
    room.view()
    room._fields.told(None, {"kind": "changed", "key": "width", "value": text}, [])
    assert room._fields.messages == {}
    shown = room._file.study.room
    assert shown is not None
    assert shown.width.likely == pytest.approx(width)


def test_a_room_that_is_too_small_is_said_at_its_field(state: FloorState) -> None:
    room = RoomSection(state)
    room.view()
    shown = room._cards.value
    room._fields.told(None, {"kind": "changed", "key": "width", "value": "wide"}, [])
    assert room._fields.messages["width"].startswith("‘wide’ does not begin with a number; needs")
    room._fields.told(None, {"kind": "changed", "key": "width", "value": "1"}, [])
    assert "does not go with what stands in the room" in room._fields.messages["width"]
    said = "Street door, from its left or near end: ‘6.2 m’ must leave room for the width of 1.2 m"
    assert said in room._wrong.value
    assert "room." not in room._wrong.value
    assert room._cards.value == shown


def test_rent_is_in_the_appraisal_once_the_file_is_taken_and_only_if_the_plan_passes(
    state: FloorState,
) -> None:
    room = RoomSection(state)
    room.view()
    room._fields.told(None, {"kind": "pressed", "key": "kept"}, [])
    said = card(room, "Separate machines")
    assert "0 fail" in said
    assert "once you download the study with this room and start capex with it" in said
    assert "This is in the appraisal" not in said
    by_row = float(charged_area(state.study, "separate").max())
    rent = money_text(by_row * state.study.shop.premises.rent.likely, state.look.currency)
    assert f"Until then the appraisal goes on with {by_row:.1f} m²: {rent}" in said
    edit(room, [0, 0, "99"])
    said = card(room, "Separate machines")
    assert "This plan fails, so it is given no rent" in said
    state.take(room._file.changed({"room.positions.separate.0.left": "0.9 m"}))
    assert "This is in the appraisal." in card(room, "Separate machines")


def test_doors_and_columns_of_one_s_own_room_are_entered(state: FloorState) -> None:
    room = RoomSection(state)
    room.view()
    doors, fixtures = room._parts["doors"], room._parts["obstacles"]
    assert doors.heads == ["Street door", "Yard door"]
    doors.told(None, {"kind": "cells", "cells": [[0, 2, "0.9"], [1, 4, "no"]]}, [])
    fixtures.told(None, {"kind": "cells", "cells": [[0, len(fixtures.columns) - 1, "yes"]]}, [])
    fixtures.told(None, {"kind": "add"}, [])
    fixtures.told(None, {"kind": "cells", "cells": [[1, 0, "7"], [1, 1, "5"]]}, [])
    study = StudyFile.parsed(room._changed_file()[2].decode()).study
    assert study.room is not None
    assert study.room.doors["street"].width.likely == pytest.approx(0.9)
    assert not study.room.doors["yard"].leads_to_exit
    bench, new = study.room.obstacles.values()
    assert (bench.name, new.name) == ("Finishing bench", "Fixture 2")
    assert (new.left.likely, new.near.likely) == (7.0, 5.0)
    assert "(0.9 m; at least 1 m)" in card(room, "Separate machines")  # a crate and that door
    doors.told(None, {"kind": "cells", "cells": [[0, 1, "50"]]}, [])
    assert doors.messages["0.1"].startswith("From its left or near end: ‘50 m’ must leave room")
    doors.told(None, {"kind": "cells", "cells": [[0, 5, "yes"], [1, 5, "yes"]]}, [])
    assert "doors" in room._wrong.value
    assert state.trouble is None


def test_what_the_shop_has_already_is_said_to_be_moved_and_needs_no_way_in(
    state: FloorState,
) -> None:
    room = RoomSection(state)
    room.view()
    said = card(room, "Separate machines")
    assert "What you have already (Roll laminator) was moved too" in said
    assert "Roll laminator: is in the shop already and is not brought in" in said


def test_lengths_of_findings_have_three_digits_but_none_hides_why_it_fails(demo: Study) -> None:
    for finding in floor_plan(demo, "separate").findings:
        assert not re.search(r"\d\.\d{4}", finding.sentence())
    short = Finding("fail", "Way out", "A", "is too narrow", "", found=0.71119, needed=0.7112)
    assert short.sentence() == "A: is too narrow (0.71119 m; at least 0.7112 m)"


@pytest.mark.parametrize("placed", [False, True])
@pytest.mark.parametrize("bought", ["month = 36", 'when_load_passes = "99 %"'])
def test_the_rent_said_to_be_in_the_appraisal_is_the_ledger_s(
    tmp_path: Path, placed: bool, bought: str
) -> None:
    """With a trigger that no month passes the cutter is never bought, nor its floor charged."""
    assert STUDY.read_text().count(MONTH_OF_THE_CUTTER) == 1
    path = tmp_path / "study.toml"
    path.write_text(STUDY.read_text().replace(MONTH_OF_THE_CUTTER, f"\n{bought}\n"))
    places = STAGED_PLACES if placed else None
    study = StudyFile.read(path).changed({"room.positions.staged": places}).study
    look, plan = Look(study, "metric", Currency("USD")), floor_plan(study, "staged")
    details = appraise(study).outcomes["staged"].details
    assert details is not None
    line = details.ledger.line("floor_space")[0, 1:]
    rents = -12 * line / details.prices.overheads[0]
    assert (np.ptp(rents) > 1) == ("month" in bought)
    said = area_sentence(plan, charged_area(study, "staged"), look)
    of_plan, of_ledger = said.split(" In the appraisal: ")
    for rent in (rents.min(), rents.max()):
        assert f"{money_text(float(rent), look.currency)} of rent a year" in of_ledger
    own = money_text(plan.area * study.shop.premises.rent.likely, look.currency)
    assert (f"{own} of rent a year if they stood so" in of_plan) != placed


def test_a_room_without_changes_is_charged_as_it_stands(demo: Study, look: Look) -> None:
    plan = replace(floor_plan(demo, "separate"), by_hand=True)
    said = area_sentence(plan, np.full(84, plan.area), look)
    assert said.count("of rent a year") == 1
    assert said.endswith("This is in the appraisal.")


def test_every_finding_is_shown_with_its_rule_and_caution(demo: Study, look: Look) -> None:
    plan = floor_plan(demo, "separate")
    text = unescape(re.sub(r"<[^>]+>", " ", findings_html(plan, look)))
    for finding in plan.findings:
        assert finding.sentence() in text
        assert finding.caution in text
        assert finding.rule in text


def test_user_words_are_escaped_everywhere(tmp_path: Path) -> None:
    text = STUDY.read_text()
    for name in ("Sticker sets", "All-in-one", "Mid all-in-one", "Finishing bench"):
        text = text.replace(f'name = "{name}"', f"name = '{BAD}'")
    path = tmp_path / "bad.toml"
    path.write_text(text.replace('shop_name = "Quenlow Graphics"', f"shop_name = '{BAD}'"))
    page = floor_page(path)
    html, figures = [], []
    for widget in widgets_below(page):
        if isinstance(widget, widgets.HTML):
            html.append(widget.value)
        figures.append(str(getattr(widget, "figure", "")))
    assert "<img" not in "".join(html)
    assert "&lt;img" in "".join(html)
    assert "<img" not in "".join(figures)


def widgets_below(widget: widgets.Widget) -> list[widgets.Widget]:
    below = [each for child in getattr(widget, "children", ()) for each in widgets_below(child)]
    return [widget, *below]


def test_small_steps_on_a_long_batch_can_still_be_seen(demo: Study, look: Look) -> None:
    found = gap_picture(batch_gap(demo, *PAIR, BATCHES["laminated"]), *PAIR, look)
    low, high = found.figure["layout"]["xaxis"]["range"]
    values = found.figure["data"][0]["x"]
    assert low > 0
    assert "not from 0" in found.figure["layout"]["xaxis"]["title"]["text"]
    levels = [values[0], *(values[0] + np.cumsum(values[1:-1])), values[-1]]
    assert low < min(levels)
    assert high > max(levels)
