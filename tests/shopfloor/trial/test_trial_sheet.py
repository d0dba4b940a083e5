"""The trial sheet, its way back as readings, and measured values on their way into a study."""

import csv
from dataclasses import replace
from datetime import date, time

import numpy as np
import pytest
from scipy import stats
from trial_shop import CUTTER, PRINTER, STUDY, TRUE, plan, timed
from typer.testing import CliRunner

from capex.__main__ import app
from capex.decision.appraise import appraise
from capex.errors import InputError, NotIdentifiedError
from capex.shopfloor.trial.calibration import calibration
from capex.shopfloor.trial.into_study import study_with_trial
from capex.shopfloor.trial.measurements import attended_shares, handling_times
from capex.shopfloor.trial.picture import trial_pictures
from capex.shopfloor.trial.protocol import CAUTIONS, PROTOCOL, STAMPS
from capex.shopfloor.trial.reading import Reading
from capex.shopfloor.trial.readings import read_readings
from capex.shopfloor.trial.results import trial_results
from capex.shopfloor.trial.sheet import machine_names, readings_table, trial_sheet
from capex.shopfloor.trial.work import WORK
from capex.study import StudyFile, data_folder

ON = date(2026, 11, 25)
FILE = StudyFile.read(data_folder() / "studies" / "quenlow.toml")


def test_machines_take_turns_and_each_goes_first():
    rows = trial_sheet(STUDY, [PRINTER, "mid_all_in_one"]).rows
    wide = [(one.run, one.machine) for one in rows if one.piece == "wide print"]
    assert [run for run, _ in wide] == sorted([*range(1, 7)] * 2)
    firsts = [machine for _, machine in wide[::2]]
    assert firsts == [PRINTER, "mid_all_in_one"] * 3


def test_no_machine_is_asked_for_what_it_cannot_do():
    rows = trial_sheet(STUDY, [PRINTER, CUTTER, "laminator"]).rows
    assert {one.machine for one in rows if one.work == "print"} == {PRINTER}
    assert {one.machine for one in rows if one.work == "find marks"} == {CUTTER}
    assert {one.machine for one in rows if one.work == "laminate"} == {"laminator"}


@pytest.mark.parametrize("word", ["Blades", "nip points", "heavy", "fumes", "local safety rules"])
def test_the_sheet_warns(word):
    assert trial_sheet(STUDY, [CUTTER]).cautions == CAUTIONS
    assert word in " ".join(CAUTIONS)


def test_law_a_filled_sheet_reads_back_and_gives_the_machine_that_it_was_filled_by(tmp_path):
    """Every run but the first takes what known values make of it; no scatter."""
    filled = []
    for run in trial_sheet(STUDY, [PRINTER, CUTTER], handling=False).rows:
        filled += timed([run], TRUE[run.work])
    path = tmp_path / "filled.csv"
    path.write_text(readings_table(filled), encoding="utf-8")
    table = read_readings(path, STUDY)
    assert table.problems == ()
    assert [one.run for one in table.discarded] == [1] * len(table.discarded)
    found = trial_results(STUDY, table)
    assert found.refusals == ()
    for one in found.calibrations:
        assert {each.parameter.name: each.value for each in one.estimates} == pytest.approx(
            TRUE[one.work], rel=1e-6
        )


def test_law_a_table_reads_back_to_the_same(tmp_path):
    before = read_readings(data_folder() / "trials" / "quenlow_trial.csv", STUDY)
    path = tmp_path / "again.csv"
    path.write_text(
        readings_table(sorted([*before.kept, *before.discarded], key=lambda one: one.row)),
        encoding="utf-8",
    )
    after = read_readings(path, STUDY)
    assert (after.kept, after.discarded) == (before.kept, before.discarded)


def test_an_empty_sheet_has_no_readings_yet(tmp_path):
    path = tmp_path / "empty.csv"
    path.write_text(trial_sheet(STUDY, [CUTTER]).csv(), encoding="utf-8")
    found = read_readings(path, STUDY)
    assert (found.kept, found.problems) == ((), ())
    lines = len(path.read_text(encoding="utf-8").splitlines())
    first = lines - len(trial_sheet(STUDY, [CUTTER]).rows) + 1
    assert found.notes == (f"No time filled in, left out: rows {first} to {lines}.",)


def test_the_sheet_carries_protocol_cautions_and_clock_above_the_table():
    sheet = trial_sheet(STUDY, [PRINTER, CUTTER])
    lines = sheet.csv().splitlines()
    top = next(place for place, line in enumerate(lines) if not line.startswith("#"))
    assert lines[top].startswith("machine,work,piece,run,")
    assert len(lines) == top + 1 + len(sheet.rows)
    above = [cells[1] for cells in csv.reader(lines[:top])]
    for line in (*CAUTIONS, *STAMPS, *(line for part in PROTOCOL for line in part.lines)):
        assert line in above
    for work in {one.work for one in sheet.rows}:
        assert f"{work.capitalize()}: {WORK[work].words}." in above
    for row in csv.DictReader(lines[top:]):
        assert WORK[row["work"]].words in (row["note"].removeprefix("clock: "), row["piece"])


@pytest.mark.parametrize("word", [
    "run 1: it is discarded", "At least 5 more runs", "take turns", "Attended:", "Spoiled:",
    "Offset:", "same files", "Print: from the carriage", "Cut: from the knife",
])  # fmt: skip
def test_the_sheet_says_what_a_fair_trial_needs(word):
    assert word in trial_sheet(STUDY, [PRINTER, CUTTER]).csv().replace('"', "")


@pytest.mark.parametrize("separator", [",", ";"])
def test_law_the_sheet_filled_in_below_its_protocol_is_read(tmp_path, separator):
    """As a spreadsheet saves it: with either separator and the comments padded."""
    sheet = trial_sheet(STUDY, [CUTTER], handling=False)
    lines = list(csv.reader(sheet.csv().splitlines()))
    top = next(place for place, cells in enumerate(lines) if cells[0] != "#")
    place, runs = lines[top].index("time [s]"), timed(list(sheet.rows), TRUE["cut"])
    for cells, run in zip(lines[top + 1 :], runs, strict=True):
        cells[place] = repr(run.time)
    path = tmp_path / "filled.csv"
    with path.open("w", encoding="utf-8-sig", newline="") as file:
        csv.writer(file, delimiter=separator).writerows(
            cells + [""] * (len(lines[top]) - len(cells)) for cells in lines
        )
    table = read_readings(path, STUDY)
    assert table.problems == ()
    assert table.discarded[0].row == top + 2
    assert len(table.kept) + len(table.discarded) == len(runs)
    (found,) = trial_results(STUDY, table).calibrations
    assert {one.parameter.name: one.value for one in found.estimates} == pytest.approx(
        TRUE["cut"], rel=1e-6
    )


def test_law_stamps_read_back_to_the_same(tmp_path):
    run = Reading(
        2, CUTTER, "load", 75.5, started=time(9, 59, 30), media_still=time(10, 0, 45, 500000)
    )
    path = tmp_path / "stamped.csv"
    path.write_text(readings_table([run]), encoding="utf-8")
    assert read_readings(path, STUDY, discard_first=False).kept == (run,)


@pytest.mark.parametrize(
    ("machines", "given", "said"),
    [
        ([CUTTER], {"repeats": 4}, "repeats: 4 must be at least 5"),
        ([], {}, "machines: 0 must be at least 1"),
        (["new_one"], {}, "'new_one' is not in the study"),
        ([], {"pieces": []}, "machines: 0 must be at least 1"),
        (["new_one"], {"pieces": []}, "machine: 'new_one' is not in the study; known: mid_roll"),
        ([CUTTER], {"pieces": [], "handling": False}, "pieces: 0 must be at least 1 where"),
    ],
)
def test_refuses_a_sheet_that_is_no_trial(machines, given, said):
    with pytest.raises(InputError, match=said):
        trial_sheet(STUDY, machines, **given)


def test_measured_values_enter_the_study_with_source_date_interval_and_comments_kept():
    text = FILE.text.replace(
        'set_speed = { value = "0.95 m/s", source = "assumed" }',
        'set_speed = { value = "0.95 m/s", source = "assumed" }  # what we run it at',
    )
    runs = timed(plan(CUTTER, "cut"), TRUE["cut"], scatter=0.4, seed=2)
    found = calibration(FILE.study, CUTTER, "cut", runs)
    changed, said = study_with_trial(StudyFile.parsed(text), [found], on=ON)
    knife = changed.study.machines[CUTTER].cutting
    for one in found.estimates:
        entry = getattr(knife, one.parameter.name)
        assert (entry.source, entry.on) == ("measured", ON)
        assert entry.likely == pytest.approx(one.value, rel=1e-3)
        assert (entry.low, entry.high) == pytest.approx((one.low, one.high), rel=1e-3)
    assert "# what we run it at" in changed.text
    assert text.count("#") == changed.text.count("#")
    assert said[0].startswith("Mid contour cutter, set speed: 0.6")
    untouched = {path for path, _ in FILE.study.quantities()} - {e.path for e in found.estimates}
    before, after = dict(FILE.study.quantities()), dict(changed.study.quantities())
    assert all(before[path] == after[path] for path in untouched)


def test_the_appraisal_reads_what_was_measured():
    runs = timed(plan(CUTTER, "cut"), TRUE["cut"], scatter=0.4, seed=2)
    found = calibration(FILE.study, CUTTER, "cut", runs)
    changed, _ = study_with_trial(FILE, [found], on=ON)
    before, after = appraise(FILE.study), appraise(changed.study)
    # The cutter was found slower than assumed: only what it works in gets worse.
    names = list(FILE.study.alternatives)
    uses = [
        any(one.machine == CUTTER for one in FILE.study.alternatives[name].machines)
        for name in names
    ]
    assert True in uses
    assert False in uses
    moved = [
        after.outcomes[name].net_present_value[0] - before.outcomes[name].net_present_value[0]
        for name in names
    ]
    assert all(
        change < 0 if used else change == 0 for change, used in zip(moved, uses, strict=True)
    )


def test_the_date_is_that_of_the_last_reading_and_refused_where_there_is_none():
    runs = timed(plan(PRINTER, "print"), TRUE["print"], scatter=0.4, seed=2)
    dated = [replace(one, on=date(2026, 11, 3 + one.run)) for one in runs]
    changed, _ = study_with_trial(FILE, [calibration(STUDY, PRINTER, "print", dated)])
    engine = changed.study.machines[PRINTER].printing
    assert engine.turn_time.on == date(2026, 11, 9)
    with pytest.raises(InputError, match="no reading has a date"):
        study_with_trial(FILE, [calibration(STUDY, PRINTER, "print", runs)])
    with pytest.raises(InputError, match="nothing to enter"):
        study_with_trial(FILE, on=ON)


def test_handling_is_a_mean_with_allowances_on_operator_work_only():
    runs = [
        Reading(row, CUTTER, work, time, pieces=pieces)
        for row, (work, time, pieces) in enumerate(
            [
                ("load", 170.0, 1),
                ("load", 190.0, 1),
                ("find marks", 12.0, 2),
                ("find marks", 16.0, 2),
            ]
        )
    ]
    load, marks = handling_times(runs, allowance=0.15, basis="workday")
    assert (load.path, load.value) == ("shop.handling.load_time", pytest.approx(180 / 0.85))
    assert marks.path == f"machines.{CUTTER}.cutting.mark_scan_time"
    assert marks.value == pytest.approx(7.0)
    assert load.low < load.value < load.high
    assert handling_times(runs[:1]) == ()


def test_a_raised_time_says_by_what_it_was_raised_and_a_plain_mean_does_not():
    runs = [Reading(row, CUTTER, "load", time) for row, time in enumerate((170.0, 190.0))]
    runs += [replace(one, work="find marks", time=12.0 + one.row) for one in runs]
    plain, said = study_with_trial(FILE, measurements=handling_times(runs), on=ON)
    assert plain.study.shop.handling.load_time.note == "stopwatch, mean of 2 runs"
    assert "allowance" not in " ".join(said)
    raised, said = study_with_trial(
        FILE, measurements=handling_times(runs, rating=1.1, allowance=0.15), on=ON
    )
    entry = raised.study.shop.handling.load_time
    assert entry.likely == pytest.approx(180.0 * 1.1 * 1.15, rel=1e-3)
    words = "rated at 110% of a steady pace, with an allowance of 15% of job time"
    assert entry.note == f"stopwatch, mean of 2 runs, {words}"
    load, marks = said
    assert marks.startswith("Mid contour cutter, find marks: ")
    assert words in load
    assert "allowance" not in marks  # the machine sets that time


def test_machines_that_differ_beyond_chance_in_a_shared_time_are_named():
    times = {PRINTER: (196.0, 199.0, 194.0), CUTTER: (245.0, 241.0, 249.0)}
    runs = [Reading(2, key, "load", time) for key, each in times.items() for time in each]
    (load,) = handling_times(runs)
    assert [key for key, _ in load.unequal.means] == [PRINTER, CUTTER]
    changed, said = study_with_trial(FILE, measurements=[load], on=ON)
    assert "The machines differ by more than chance (Mid roll printer 196 s, Mid" in said[0]
    assert "below 5% is called more than chance: one-way analysis of variance" in said[0]
    assert changed.study.shop.handling.load_time.note.endswith("; machines differ")
    alike = [replace(one, time=190.0 + k % 3) for k, one in enumerate(runs)]
    (load,) = handling_times(alike)
    assert load.unequal is None
    _, said = study_with_trial(FILE, measurements=[load], on=ON)
    assert "differ" not in said[0]
    # Of one machine's own time nothing is shared.
    (own,) = handling_times([replace(one, work="find marks", machine=CUTTER) for one in runs])
    assert own.unequal is None


def test_attended_time_is_a_share_of_the_run():
    runs = [Reading(2, CUTTER, "cut", 100.0, attended=a) for a in (10.0, 20.0, 30.0)]
    (share,) = attended_shares([*runs, Reading(3, CUTTER, "cut", 50.0)])
    assert (share.value, share.count) == (pytest.approx(0.2), 3)
    assert share.low == 0.0  # the interval passes below and is cut off


@pytest.mark.parametrize("work", ["print", "cut"])
def test_law_pictures_show_all_readings_and_the_curve_goes_through_exact_ones(work):
    machine = {"print": PRINTER, "cut": CUTTER}[work]
    runs = timed(plan(machine, work), TRUE[work])
    pictures = trial_pictures(calibration(STUDY, machine, work, runs))
    assert len(pictures) == 2
    for picture in pictures:
        assert sum(len(point.readings) for point in picture.points) == len(runs)
        for point in picture.points:
            assert np.interp(point.x, picture.x, picture.y) == pytest.approx(point.y, rel=5e-3)
            assert point.low <= point.y <= point.high
        assert np.all(picture.low <= picture.y + 1e-12)
        assert np.all(picture.y <= picture.high + 1e-12)


def test_a_picture_says_which_series_it_has_no_place_for():
    circles = [Reading(9, CUTTER, "cut", 1.0, "circles", width=0.02, pieces=60, cut="circle")] * 2
    runs = timed([*plan(CUTTER, "cut"), *circles], TRUE["cut"], scatter=0.3)
    whole, lines = trial_pictures(calibration(STUDY, CUTTER, "cut", runs))
    assert (whole.aside, lines.aside) == ((), ("circles",))


def test_refusals_stand_beside_what_was_found():
    runs = timed(plan(PRINTER, "print"), TRUE["print"], scatter=0.2)
    small = timed(plan(CUTTER, "cut", 5, ("short lines",)), TRUE["cut"], scatter=0.2)
    table = read_readings(data_folder() / "trials" / "quenlow_trial.csv", STUDY)
    found = trial_results(STUDY, replace(table, kept=(*runs, *small)))
    assert [one.work for one in found.calibrations] == ["print"]
    assert isinstance(found.refusals[0], NotIdentifiedError)
    with pytest.raises(InputError, match="'price' is no parameter"):
        trial_results(STUDY, table, hold=["price"])


def test_the_command_puts_a_trial_into_a_study_and_keeps_the_old_one(tmp_path):
    study = tmp_path / "study.toml"
    FILE.write(study)
    trial = str(data_folder() / "trials" / "quenlow_trial.csv")
    shown = CliRunner().invoke(app, ["trial", trial, "--into", str(study), "--dry-run"])
    assert shown.exit_code == 0
    assert "Mid contour cutter, set speed" in shown.output
    assert study.read_text(encoding="utf-8") == FILE.text
    done = CliRunner().invoke(app, ["trial", trial, "--into", str(study)])
    assert done.exit_code == 0
    assert (tmp_path / "study.toml.before").read_text(encoding="utf-8") == FILE.text
    assert StudyFile.read(study).study.machines[CUTTER].cutting.set_speed.source == "measured"


def test_the_command_says_what_was_spoiled_and_off_its_place(tmp_path):
    study, trial = tmp_path / "study.toml", tmp_path / "trial.csv"
    FILE.write(study)
    runs = timed(plan(CUTTER, "cut"), TRUE["cut"], scatter=0.3)
    marked = [replace(one, on=ON, spoiled=0) for one in runs]
    marked[0] = replace(marked[0], spoiled=3, offsets=(0.0001, 0.0012, 0.0, 0.0003))
    trial.write_text(readings_table(marked), encoding="utf-8")
    command = ["trial", str(trial), "--into", str(study), "--dry-run", "--keep-first"]
    shown = " ".join(CliRunner().invoke(app, command).output.split())
    pieces = sum(one.pieces for one in runs)
    exact = stats.binomtest(3, pieces).proportion_ci(0.95, method="exact")
    assert f"cut, 3 of {pieces:,} pieces spoiled, {3 / pieces:.1%}" in shown
    assert f"95% interval {exact.low:.1%} to {exact.high:.1%}" in shown
    assert "print and cut at most 1.2 mm (0.047 in) apart" in shown


def test_the_command_writes_nothing_from_a_table_with_bad_rows(tmp_path):
    study, trial = tmp_path / "study.toml", tmp_path / "trial.csv"
    FILE.write(study)
    trial.write_text(
        "machine,work,time [s],date\n,load,181,2026-11-05\n,load,fast,2026-11-05\n"
        ",load,186,2026-11-05\n,load,190,2026-11-05\n",
        encoding="utf-8",
    )
    command = ["trial", str(trial), "--into", str(study)]
    refused = CliRunner().invoke(app, command)
    assert "row 3, time: 'fast'" in str(refused.exception)
    assert study.read_text(encoding="utf-8") == FILE.text
    done = CliRunner().invoke(app, [*command, "--leave-out"])
    assert done.exit_code == 0
    assert "row 3, time" in done.output
    assert StudyFile.read(study).study.shop.handling.load_time.likely == pytest.approx(188.0)


def test_the_command_prints_a_sheet(tmp_path, capfd):
    study = tmp_path / "study.toml"
    FILE.write(study)
    with pytest.raises(SystemExit) as done:
        app(["trial-sheet", str(study), "--machine", CUTTER])
    assert done.value.code == 0
    assert capfd.readouterr().out == trial_sheet(FILE.study, [CUTTER]).csv()


def test_machines_of_one_name_keep_their_keys():
    names = machine_names(STUDY)
    assert names[CUTTER] == STUDY.machines[CUTTER].name
    alike = FILE.changed({f"machines.{CUTTER}.name": STUDY.machines[PRINTER].name.upper()}).study
    assert machine_names(alike)[CUTTER] == CUTTER
    assert machine_names(alike)[PRINTER] == PRINTER
