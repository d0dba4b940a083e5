"""What the shop floor page shows, without a page: figures valid, sums right, words escaped."""

import json
import re
from collections.abc import Sequence
from dataclasses import replace
from html import unescape
from pathlib import Path

import ipywidgets as widgets
import numpy as np
import plotly.graph_objects as go
import pytest

from capex.decision.appraise import appraise
from capex.errors import NotIdentifiedError
from capex.shopfloor.batch.gap import Gap, batch_gap
from capex.shopfloor.batch.tasks import BatchEntry
from capex.shopfloor.batch.timeline import Timeline, batch_timeline
from capex.shopfloor.plan.floor_plan import floor_plan
from capex.shopfloor.trial.calibration import calibration
from capex.shopfloor.trial.into_study import study_with_trial
from capex.shopfloor.trial.picture import trial_pictures
from capex.shopfloor.trial.reading import Readings
from capex.shopfloor.trial.readings import read_readings
from capex.shopfloor.trial.results import trial_results
from capex.shopfloor.trial.times import modelled_times
from capex.study import Study, StudyFile, data_folder
from capex.views.chart import figure_json
from capex.views.charts.picture import Look, Picture
from capex.views.floor.batch import BatchSection
from capex.views.floor.batch_pictures import TimeScale, timeline_picture, waits_by_place
from capex.views.floor.gap_picture import batch_cards_html, gap_picture, ratios_html
from capex.views.floor.room import RoomSection
from capex.views.floor.room_words import area_sentence, charged_area, findings_html
from capex.views.floor.state import FloorState
from capex.views.floor.trial import TrialSection
from capex.views.floor.trial_pictures import law_picture, series_of, series_table, trial_picture
from capex.views.floor.trial_table import read_sheet
from capex.views.floor.trial_words import estimates_html, refusal_html
from capex.views.shop_floor import floor_page
from capex.views.wording import Currency, money_text

STUDY = data_folder() / "studies" / "quenlow.toml"
TRIAL = data_folder() / "trials" / "quenlow_trial.csv"
BATCHES = {
    "plain": [BatchEntry("sticker_sets", orders=2), BatchEntry("banners")],
    "laminated": [BatchEntry("fleet_badges", laminated=True, orders=2), BatchEntry("banners")],
}
PAIR = ("separate", "all_in_one")
BAD = '<img src=x onerror="alert(1)">'


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


@pytest.fixture(scope="module")
def readings(demo: Study) -> Readings:
    return read_readings(TRIAL, demo)


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


def test_against_plotly_schema_the_gap_is_valid(gap: Gap, look: Look) -> None:
    found = gap_picture(gap, *PAIR, look)
    check_valid(found)
    values = found.figure["data"][0]["y"]
    assert sum(values[:-1]) == pytest.approx(values[-1], abs=0.02)
    assert values[0] == pytest.approx(gap.start / 60, abs=0.001)


def test_against_plotly_schema_trials_are_valid(
    demo: Study, readings: Readings, look: Look
) -> None:
    for machine, work in {(one.machine, one.work) for one in readings.kept}:
        found = series_of(readings.of(machine, work))
        if work not in {"print", "cut"}:
            check_valid(trial_picture(found, None, None, look))
            continue
        calibrated = calibration(demo, machine, work, readings.kept)
        firsts = [one.readings[0] for one in found]
        before = modelled_times(demo, machine, firsts)[0].tolist()
        check_valid(trial_picture(found, calibrated, before, look))
        for law in trial_pictures(calibrated)[1:]:
            check_valid(law_picture(law, look))


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


def test_a_long_wait_is_drawn_short_and_said(
    timelines: dict[str, tuple[Timeline, ...]], look: Look
) -> None:
    found = timeline_picture(timelines["laminated"], names(BATCHES["laminated"]), look)
    (band,) = found.figure["layout"]["shapes"]
    assert band["x1"] - band["x0"] < 0.1 * found.figure["layout"]["xaxis"]["range"][1]
    assert "drawn short" in found.reading
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
        assert one.method in text
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
    batch._grid.told(None, {"kind": "cells", "cells": [[4, 0, "1,5"]]}, [])
    assert "must be a whole number" in batch._grid.messages["4.0"]
    assert batch._grid.cells[4][0] == "1,5"
    batch._grid.told(None, {"kind": "cells", "cells": [[4, 0, "1"], [4, 2, "yes"]]}, [])
    assert "needs a print and a laminate" in batch._grid.messages["4"]
    batch._fields.told(None, {"kind": "changed", "key": "month", "value": "999"}, [])
    assert batch._times.reading == good
    batch._grid.told(None, {"kind": "cells", "cells": [[4, 2, "no"]]}, [])
    assert "month" in batch._fields.messages
    batch._fields.told(None, {"kind": "changed", "key": "month", "value": "3"}, [])
    assert batch._grid.messages == {}
    assert batch._times.reading != good
    assert state.trouble is None


def test_an_empty_batch_is_refused(state: FloorState) -> None:
    batch = BatchSection(state)
    batch.view()
    cells = [[row, 0, "0"] for row in range(len(state.study.jobs))]
    batch._grid.told(None, {"kind": "cells", "cells": cells}, [])
    assert "at least one order" in batch._grid.messages["0"]


def test_readings_of_the_demo_are_shown_and_change_the_study_only_when_asked(
    state: FloorState,
) -> None:
    trial = TrialSection(state)
    trial.view()
    assert state.trouble is None
    name, kind, body = trial._changed_file()
    assert (name, kind) == ("quenlow_measured.toml", "application/toml")
    changed = StudyFile.parsed(body.decode()).study
    assert changed.quantity("shop.handling.load_time").source == "measured"
    assert state.study.quantity("shop.handling.load_time").source != "measured"
    before = STUDY.read_bytes()
    trial._written("put", "")  # the package's own file is never written to
    assert STUDY.read_bytes() == before


def test_a_bad_row_is_named_and_the_others_count(state: FloorState) -> None:
    trial = TrialSection(state)
    trial.view()
    count = len(trial._readings.kept)
    column = trial._sheet.headings.index("time [s]")
    trial._grid.told(None, {"kind": "cells", "cells": [[60, column, "soon"]]}, [])
    assert "time 'soon'" in trial._grid.messages["60"]
    assert len(trial._readings.kept) == count - 1
    trial._take.told(None, {"kind": "file", "name": "x.csv"}, [b"nothing,here\n1,2\n"])
    assert "no heading of readings" in trial._take.message
    assert len(trial._readings.kept) == count - 1


def test_a_study_of_one_s_own_starts_with_an_empty_table(tmp_path: Path) -> None:
    path = tmp_path / "quenlow.toml"
    path.write_text(STUDY.read_text())
    trial = TrialSection(FloorState(StudyFile.read(path), path))
    trial.view()
    assert trial._readings.kept == ()
    assert trial._download.disabled
    trial._take.told(None, {"kind": "file", "name": "mine.csv"}, [TRIAL.read_bytes()])
    assert trial._take.message == ""
    trial._written("put", "")
    assert StudyFile.read(path).study.quantity("shop.handling.load_time").source == "measured"
    assert trial._state.study.quantity("shop.handling.load_time").source == "measured"


def test_the_page_puts_the_same_values_into_the_study_as_the_command(
    state: FloorState, readings: Readings
) -> None:
    trial = TrialSection(state)
    trial.view()
    found = trial_results(state.study, readings)
    by_command, said = study_with_trial(state.file, found.calibrations, found.measurements)
    assert trial._changed_file()[2].decode() == by_command.text
    assert all(sentence in unescape(trial._list.value) for sentence in said)


def test_an_allowance_is_said_wherever_it_raises_a_time(state: FloorState) -> None:
    trial = TrialSection(state)
    trial.view()
    trial._fields.told(
        None, {"kind": "changed", "key": "shown", "value": "mid_roll_printer/load"}, []
    )
    assert "goes into the study as it is" in trial._fitted.value
    trial._fields.told(None, {"kind": "changed", "key": "allowance", "value": "15"}, [])
    words = "with an allowance of 15% of job time"
    assert words in trial._fitted.value
    assert words in trial._list.value
    assert words in trial._changed_file()[2].decode()
    trial._fields.told(
        None, {"kind": "changed", "key": "shown", "value": "mid_contour_cutter/find marks"}, []
    )
    assert "goes into the study as it is" in trial._fitted.value


def test_the_sheet_is_taken_back_as_it_was_downloaded_and_as_it_was_filled_in(
    state: FloorState,
) -> None:
    trial = TrialSection(state)
    trial.view()
    name, _, body = trial._trial_sheet()
    trial._take.told(None, {"kind": "file", "name": name}, [body])
    assert trial._take.message == ""
    assert trial._sheet.name == name
    assert "No time filled in" in trial._notes.value
    heads = trial._sheet.headings
    times = [heads.index(one) for one in ("started", "media still")]
    again = next(place for place, cells in enumerate(trial._sheet.cells)
                 if cells[:3] == trial._sheet.cells[0][:3] and cells[3] == "2")  # fmt: skip
    stamped = {0: "9:01:40", 1: "8:00:00", again: "9:01:30"}
    edits = [
        [row, column, text]
        for row, still in stamped.items()
        for column, text in zip(times, ("9:00:00", still), strict=True)
    ]
    trial._grid.told(None, {"kind": "cells", "cells": edits}, [])
    first = body.decode("utf-8-sig").splitlines().index(",".join(heads)) + 2
    assert [(one.row, one.time) for one in trial._readings.discarded] == [(first, 100.0)]
    assert [(one.row, one.time) for one in trial._readings.kept] == [(first + again, 90.0)]
    assert trial._grid.messages["1"].startswith(f"Row {first + 1}: media still")
    assert state.trouble is None


def test_what_was_spoiled_and_off_its_place_is_on_the_page(
    state: FloorState, readings: Readings
) -> None:
    trial = TrialSection(state)
    trial.view()
    cut = readings.of("mid_contour_cutter", "cut")
    row = next(place for place, cells in enumerate(trial._sheet.cells)
               if cells[:2] == ("mid_contour_cutter", "cut") and cells[3] == "2")  # fmt: skip
    heads = trial._sheet.headings
    edits = [[row, heads.index("spoiled"), "2"], [row, heads.index("offset 3 [mm]"), "1.7"]]
    trial._grid.told(None, {"kind": "cells", "cells": edits}, [])
    said = unescape(trial._notes.value)
    assert f"cut, 2 of {sum(one.pieces for one in cut):,} pieces spoiled" in said
    assert "print and cut at most 1.7 mm (0.067 in) apart" in said


def test_a_value_held_at_its_bound_is_said_on_the_page(
    demo: Study, readings: Readings, look: Look
) -> None:
    cut = readings.of("mid_contour_cutter", "cut")
    long = [replace(one, laminated=True) for one in cut if one.piece == "long lines"]
    found = calibration(demo, "mid_contour_cutter", "cut", [*cut, *(
        replace(one, time=0.999 * one.time) for one in long
    )])  # fmt: skip
    text = unescape(estimates_html(found, look))
    assert "100%, held at its bound" in text.replace(" %", "%")
    assert "which cannot be but may well be chance; it is held at 100 %" in text
    with pytest.raises(NotIdentifiedError) as refused:
        calibration(demo, "mid_contour_cutter", "cut", [*cut, *(
            replace(one, time=0.8 * one.time) for one in long
        )])  # fmt: skip
    assert "and it is at most 100 %" in refusal_html(refused.value)


def test_what_cannot_be_told_is_refused_with_what_to_time(demo: Study, readings: Readings) -> None:
    wide = [one for one in readings.of("mid_all_in_one", "print") if one.width > 1.0]
    with pytest.raises(NotIdentifiedError) as refused:
        calibration(demo, "mid_all_in_one", "print", wide)
    text = refusal_html(refused.value)
    assert "Nothing is fitted" in text
    assert "print" in text


def test_repeats_needed_grow_with_the_certainty_wanted(readings: Readings, look: Look) -> None:
    found = series_of(readings.of("mid_all_in_one", "print"))
    rows = [
        series_table(found, look, share=share, rating=1.0, allowance=0.15).rows
        for share in (0.2, 0.0005)
    ]
    assert [row[4] for row in rows[0]] == ["none"] * len(found)
    assert all(int(row[4]) > 0 for row in rows[1])


@pytest.mark.parametrize("body", [b"", b"\x00\x01\x02", b"a,b\n1,2\n"])
def test_refuses_a_file_that_is_no_table_of_readings(state: FloorState, body: bytes) -> None:
    trial = TrialSection(state)
    trial.view()
    shown = trial._sheet
    trial._take.told(None, {"kind": "file", "name": "f.csv"}, [body])
    assert trial._take.message
    assert trial._sheet is shown
    assert state.trouble is None


def test_a_sheet_reads_back_as_it_was_written(demo: Study) -> None:
    sheet = read_sheet("t.csv", TRIAL.read_bytes())
    assert len(sheet.cells) == len(TRIAL.read_text().splitlines()) - 1
    assert sheet.headings[0] == "machine"


def test_a_machine_moved_by_hand_changes_its_plan_only(state: FloorState) -> None:
    room = RoomSection(state)
    room.view()
    before = dict(room._plans)
    cells = [[0, 0, "99"]]
    room._grid.told(None, {"kind": "cells", "cells": cells}, [])
    moved = room._plans["separate"]
    assert moved is not before["separate"]
    assert room._plans["all_in_one"] is before["all_in_one"]
    assert "✕ fails" in room._cards.value
    room._grid.told(None, {"kind": "cells", "cells": [[0, 0, "here"]]}, [])
    assert room._wrong.value
    assert room._plans["separate"] is moved
    room._fields.told(None, {"kind": "pressed", "key": "found"}, [])
    assert room._wrong.value == ""
    assert not room._plans["separate"].by_hand  # type: ignore[union-attr]
    assert state.trouble is None


def test_a_room_that_is_too_small_is_said_at_its_field(state: FloorState) -> None:
    room = RoomSection(state)
    room.view()
    shown = room._cards.value
    room._fields.told(None, {"kind": "changed", "key": "width", "value": "1"}, [])
    assert "width" in room._fields.messages
    assert room._cards.value == shown


MONTH_OF_THE_CUTTER = "\nmonth = 36\n"
STAGED_PLACES = [
    {"machine": key, "left": left, "near": "1 m", "facing": "far"}
    for key, left in (
        ("mid_all_in_one", "0 m"),
        ("mid_contour_cutter", "3 m"),
        ("laminator", "6 m"),
    )
]


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
    low, high = found.figure["layout"]["yaxis"]["range"]
    values = found.figure["data"][0]["y"]
    assert low > 0
    assert "not from 0" in found.figure["layout"]["yaxis"]["title"]["text"]
    levels = [values[0], *(values[0] + np.cumsum(values[1:-1])), values[-1]]
    assert low < min(levels)
    assert high > max(levels)
