"""What the time trial shows on the shop floor page, and what goes into the study."""

import json
import re
from dataclasses import replace
from html import unescape
from pathlib import Path

import plotly.graph_objects as go
import pytest

from capex.errors import NotIdentifiedError
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
from capex.views.floor.state import FloorState
from capex.views.floor.trial import TrialSection
from capex.views.floor.trial_pictures import law_picture, series_of, series_table, trial_picture
from capex.views.floor.trial_table import read_sheet
from capex.views.floor.trial_words import estimates_html, refusal_html
from capex.views.wording import Currency

STUDY = data_folder() / "studies" / "quenlow.toml"
TRIAL = data_folder() / "trials" / "quenlow_trial.csv"


@pytest.fixture(scope="module")
def look(demo: Study) -> Look:
    return Look(demo, "metric", Currency("USD"))


@pytest.fixture
def state() -> FloorState:
    return FloorState(StudyFile.read(STUDY), STUDY)


@pytest.fixture(scope="module")
def readings(demo: Study) -> Readings:
    return read_readings(TRIAL, demo)


def check_valid(found: Picture) -> None:
    figure = json.loads(figure_json(found.figure))
    go.Figure(figure)  # raises on any unknown property or value
    assert figure["layout"]["xaxis"]["title"]["text"]
    assert len(found.reading) > 20
    assert all(len(row) == len(found.table.columns) for row in found.table.rows)


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
    said = trial._grid.messages[f"60.{column}"]  # the page marks this cell
    assert said.startswith("Row 62: time 'soon' does not begin with a number")
    assert len(trial._readings.kept) == count - 1
    assert "1 row that cannot be used" in trial._notes.value
    trial._take.told(None, {"kind": "file", "name": "x.csv"}, [b"nothing,here\n1,2\n"])
    assert trial._take.message.startswith("x.csv has no heading of readings")
    assert len(trial._readings.kept) == count - 1


def test_every_bad_cell_of_a_row_is_marked_and_the_row_named_once(state: FloorState) -> None:
    trial = TrialSection(state)
    trial.view()
    heads = trial._sheet.headings
    bad = {heads.index(name): text for name, text in
           (("passes", "1e9"), ("width [mm]", "wide"), ("time [s]", "-12"))}  # fmt: skip
    cells = [[0, column, text] for column, text in [*bad.items(), (heads.index("work"), "")]]
    trial._grid.told(None, {"kind": "cells", "cells": cells}, [])
    messages = trial._grid.messages
    assert set(messages) == {*(f"0.{column}" for column in bad), f"0.{heads.index('work')}"}
    shown = "; ".join(messages[f"0.{column}"] for column in sorted(int(k[2:]) for k in messages))
    assert shown.count("Row 2: ") == 1
    assert shown.startswith("Row 2: ")
    assert "time '-12' must be greater than 0 s" in shown
    assert "1 row that cannot be used" in trial._notes.value


def test_a_time_of_ten_times_the_others_counts_and_is_marked(state: FloorState) -> None:
    trial = TrialSection(state)
    trial.view()
    count = len(trial._readings.kept)
    column = trial._sheet.headings.index("time [s]")
    place = next(one.row for one in trial._readings.kept) - trial._sheet.first_row
    tenfold = f"{10 * float(trial._sheet.cells[place][column]):g}"
    trial._grid.told(None, {"kind": "cells", "cells": [[place, column, tenfold]]}, [])
    assert "times the" in trial._grid.messages[f"{place}.{column}"]
    assert len(trial._readings.kept) == count
    assert "cannot be used" not in trial._notes.value


@pytest.mark.parametrize("rows", [2, 5, None])
def test_readings_of_another_table_are_never_counted_or_put_into_the_study(
    state: FloorState, rows: int | None
) -> None:
    """A file of one first run, one of four, and the blank sheet: none of them counts."""
    trial = TrialSection(state)
    trial.view()
    assert not trial._download.disabled
    body = trial._trial_sheet()[2]
    if rows is not None:
        body = "\n".join(TRIAL.read_text().splitlines()[:rows]).encode()
    trial._take.told(None, {"kind": "file", "name": "few.csv"}, [body])
    assert trial._take.message == ""
    said = unescape(re.sub(r"<[^>]+>", "", trial._notes.value))
    first = 0 if rows is None else rows - 1
    assert said.startswith(f"few.csv: 0 readings that count, {first} first run")
    assert "165" not in said
    assert trial._download.disabled
    assert trial._changed_study is None
    assert "Nothing has been measured yet" in trial._list.value
    assert trial._summary_card.layout.display == "none"
    assert trial._picture_card.layout.display == "none"
    trial._take.told(None, {"kind": "file", "name": "mine.csv"}, [TRIAL.read_bytes()])
    assert trial._picture_card.layout.display == ""
    assert not trial._download.disabled


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
    assert trial._grid.messages[f"1.{times[1]}"].startswith(f"Row {first + 1}: media still")
    assert state.trouble is None


def test_what_was_spoiled_and_off_its_place_is_on_the_page(
    state: FloorState, readings: Readings
) -> None:
    trial = TrialSection(state)
    trial.view()
    cut = readings.of("mid_contour_cutter", "cut")
    row = next(place for place, cells in enumerate(trial._sheet.cells)
               if cells[:2] == ("Mid contour cutter", "cut") and cells[3] == "2")  # fmt: skip
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


@pytest.mark.parametrize(
    ("key", "said"),
    [
        ("share", "'abc' is not a number; it must be from 0.5 to 50 %"),
        ("rating", "'abc' is not a number; it must be from 50 to 150 %"),
    ],
)
def test_a_refused_field_says_its_bound(state: FloorState, key: str, said: str) -> None:
    trial = TrialSection(state)
    trial.view()
    trial._fields.told(None, {"kind": "changed", "key": key, "value": "abc"}, [])
    assert trial._fields.messages == {key: said}


@pytest.mark.parametrize("body", [b"", b"\x00\x01\x02", b"a,b\n1,2\n"])
def test_refuses_a_file_that_is_no_table_of_readings(state: FloorState, body: bytes) -> None:
    trial = TrialSection(state)
    trial.view()
    shown = trial._sheet
    trial._take.told(None, {"kind": "file", "name": "f.csv"}, [body])
    assert trial._take.message.startswith("f.csv ")
    assert trial._take.message.endswith(".")
    assert trial._sheet is shown
    assert state.trouble is None


def test_a_sheet_reads_back_as_it_was_written(demo: Study) -> None:
    sheet = read_sheet("t.csv", TRIAL.read_bytes())
    assert len(sheet.cells) == len(TRIAL.read_text().splitlines()) - 1
    assert sheet.headings[0] == "machine"


def test_the_page_s_units_are_those_of_the_demo_s_table_and_of_the_sheet(
    state: FloorState, readings: Readings
) -> None:
    trial = TrialSection(state)
    trial.view()
    assert trial._sheet.cells[0][0] == "Mid roll printer"  # its name, not its key
    state.units = "us_customary"
    assert "width [in]" in trial._sheet.headings
    assert not any("[mm]" in heading for heading in trial._sheet.headings)
    assert trial._readings.problems == ()
    for one, before in zip(trial._readings.kept, readings.kept, strict=True):
        assert (one.machine, one.row, one.time) == (before.machine, before.row, before.time)
        assert one.width == pytest.approx(before.width, rel=1e-5)
        assert one.cut_length == pytest.approx(before.cut_length, rel=1e-5)
    body = trial._trial_sheet()[2].decode("utf-8-sig")
    assert "cut length [in]" in body
    assert "Mid all-in-one,cut" in body
    trial._take.told(None, {"kind": "file", "name": "sheet.csv"}, [body.encode()])
    shown = trial._sheet
    state.units = "metric"  # what somebody uploaded stays as it is
    assert trial._sheet is shown


def test_a_path_of_one_line_is_one_line(readings: Readings, look: Look) -> None:
    named = [one.name(look.study, "metric") for one in series_of(readings.kept)]
    lines = [name for name in named if "straight line" in name]
    assert any(name.endswith("in 1 straight line") for name in lines)
    assert not any("1 straight lines" in name for name in lines)
