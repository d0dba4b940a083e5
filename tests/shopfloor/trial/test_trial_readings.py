"""Tables of readings: every row kept, discarded with a word, or named with its reason."""

from datetime import datetime, time

import pytest
from trial_shop import PRINTER, STUDY

from capex.errors import TrialError
from capex.shopfloor.trial.readings import parse_readings, read_readings
from capex.shopfloor.trial.times import modelled_times
from capex.study import data_folder

GOOD = {
    "machine": PRINTER, "work": "print", "width": "1.2 m", "height": "600 mm", "passes": "6",
    "time": "98.4 s",
}  # fmt: skip
CUT = {"machine": "old_cutter", "work": "cut", "seconds": "31.2", "pieces": 10}


def test_units_stand_in_the_heading_or_the_cell_and_times_as_people_write_them():
    rows = [
        {"Machine": "Mid roll printer", "what": "Print", "Width [in]": wide, "length (mm)": "600",
         "passes": "6", "seconds": time}
        for wide, time in (("40", "98.4"), ("40 in", "1:38.4"), ("1016 mm", "1.64 min"),
                           ("101,6 cm", "98,4"))
    ]  # fmt: skip
    found = parse_readings(rows, STUDY, discard_first=False)
    assert found.problems == ()
    assert {one.machine for one in found.kept} == {PRINTER}
    assert [one.width for one in found.kept] == pytest.approx([1.016] * 4)
    assert [one.time for one in found.kept] == pytest.approx([98.4] * 4)


def test_the_first_run_of_each_series_is_set_aside_and_said():
    narrow = GOOD | {"width": "0.3 m"}
    found = parse_readings([GOOD, narrow, GOOD, narrow, GOOD], STUDY)
    assert [one.row for one in found.discarded] == [2, 3]
    assert [one.row for one in found.kept] == [4, 5, 6]
    assert found.notes == ("Discarded as first runs of their series: rows 2 to 3.",)
    whole = parse_readings([GOOD, narrow, GOOD], STUDY, discard_first=False)
    assert (len(whole.kept), whole.discarded, whole.notes) == (3, (), ())


def test_run_numbers_say_which_run_was_the_first():
    rows = [GOOD | {"run": run} for run in (3, 1, 2)]
    assert [one.row for one in parse_readings(rows, STUDY).discarded] == [3]
    later = parse_readings([GOOD | {"run": run} for run in (2, 3)], STUDY)
    assert len(later.kept) == 2
    assert later.notes == ("No run 1 in the series of row 2: nothing discarded from it.",)


def test_a_series_of_one_run_is_said_to_have_nothing_left():
    found = parse_readings([GOOD], STUDY)
    assert found.kept == ()
    assert "The series of row 2 has no run after its first." in found.notes


def test_rows_without_a_time_are_named():
    found = parse_readings([GOOD, GOOD | {"time": ""}, GOOD, GOOD | {"time": None}], STUDY)
    assert "No time filled in, left out: rows 3, 5." in found.notes
    assert len(found.kept) + len(found.discarded) == 2


@pytest.mark.parametrize(
    ("row", "said"),
    [
        (GOOD | {"time": "-3 s"}, "row 3, time: '-3 s' must be greater than 0 s"),
        (GOOD | {"time": "0 s"}, "row 3, time: '0 s' must be greater than 0 s"),
        (GOOD | {"time": "fast"}, "row 3, time: 'fast' does not begin with a number"),
        (GOOD | {"time": "nan s"}, "row 3, time: 'nan s' does not begin with a number"),
        (GOOD | {"time": "12 kg"}, "row 3, time: '12 kg' has a unit of another kind"),
        (GOOD | {"time": "98.4"}, "row 3, time: '98.4' has no unit"),
        (GOOD | {"time": "2:75"}, "row 3, time: '2:75'"),
        (GOOD | {"time": "30 h"}, "row 3, time: '30 h' must be at most 24 h"),
        (GOOD | {"width": "1.2 s"}, "row 3, width: '1.2 s' has a unit of another kind"),
        (GOOD | {"width": "1,20.5 mm"}, "row 3, width: '1,20.5 mm'"),
        (GOOD | {"width": "1.4 m"}, "row 3, width: '1.4 m' across the roll, the machine takes 1.3"),
        (GOOD | {"width": ""}, "row 3, width: '' is needed for print"),
        (GOOD | {"passes": "6.5"}, "row 3, passes: '6.5' must be a whole number"),
        (GOOD | {"passes": 0}, "row 3, passes: 0 must be at least 1"),
        (GOOD | {"passes": "1e9"}, "row 3, passes: '1e9' must be at most 100"),
        (GOOD | {"height": "1.3 mm"}, "row 3, height: '1.3 mm' must be at least 5 mm; is it in"),
        (GOOD | {"machine": "Fast one"}, "row 3, machine: 'Fast one' is not in the study; known:"),
        (GOOD | {"machine": ""}, "row 3, machine: '' is needed for print"),
        (GOOD | {"machine": "old_cutter"}, "row 3, machine: 'old_cutter' has no part for printing"),
        (GOOD | {"work": "paint"}, "row 3, work: 'paint' is not timed here; known: print, cut"),
        (GOOD | {"attended": "99 s"}, "row 3, attended: 99.0 must be at most 98.4 s"),
        (GOOD | {"spoiled": "2"}, "row 3, spoiled: 2 must be at most 1"),
        (GOOD | {"date": "5/11/26"}, "row 3, date: '5/11/26' is not a date such as 2026-11-25"),
        (GOOD | {"laminated": "maybe"}, "row 3, laminated: 'maybe' must be yes or no"),
    ],
)
def test_refuses_a_bad_row_with_its_number_and_reason(row, said):
    found = parse_readings([GOOD, row, GOOD], STUDY, discard_first=False)
    assert [one.row for one in found.kept] == [2, 4]
    assert str(found.problems[0]).startswith(said)
    with pytest.raises(TrialError, match="row 3"):
        found.check()


@pytest.mark.parametrize(
    ("heading", "cell", "said"),
    [
        ("time [s]", "-12", "time: '-12' must be greater than 0 s"),
        ("time [min]", "-12", "time: '-12' must be greater than 0 min"),
        ("time [s]", "soon", "time: 'soon' does not begin with a number; needs a value such as 90"),
        ("width [mm]", "0", "width: '0' must be greater than 0 mm"),
        ("width [in]", "1E6", "width: '1E6' must be at most 393.701 in"),
        ("width [in]", "wide", "width: 'wide' does not begin with a number; needs a value such as"),
        ("offset 1 [mm]", "400", "offset 1: '400' must be at most 100 mm"),
    ],
)
def test_bounds_are_said_in_the_unit_of_the_column(heading, cell, said):
    row = {key: text for key, text in GOOD.items() if key != heading.split(" [")[0]}
    (problem,) = parse_readings([row | {heading: cell}], STUDY).problems
    assert str(problem).startswith(f"row 2, {said}")


def test_a_run_far_from_its_like_counts_and_is_pointed_at():
    """A digit too many: the middle run of the series does not move with it, as a mean would."""
    times = ("98.4 s", "98.1 s", "981 s", "98.9 s")
    found = parse_readings([GOOD | {"time": t} for t in times], STUDY, discard_first=False)
    assert [one.time for one in found.kept] == [98.4, 98.1, 981.0, 98.9]
    (said,) = (note for note in found.notes if "mistyped" in note)
    assert said.startswith("Row 4 counts, but its 981 s are 9.9 times the 98.65 s")
    assert not any("mistyped" in note for note in parse_readings([GOOD] * 4, STUDY).notes)


@pytest.mark.parametrize(("factor", "odd"), [(2.9, False), (3.1, True), (1 / 3.1, True)])
def test_a_series_far_from_what_the_study_expects_is_pointed_at(factor, odd):
    (run,) = parse_readings([GOOD], STUDY, discard_first=False).kept
    expected = float(modelled_times(STUDY, run.machine, [run])[0, 0])
    rows = [GOOD | {"time": f"{factor * expected} s"}] * 3
    found = parse_readings(rows, STUDY, discard_first=False)
    assert len(found.kept) == 3
    said = [note for note in found.notes if "that the study expects" in note]
    assert [note[:5] for note in said] == (["Row 2"] if odd else [])


STAMPED = GOOD | {"started": "9:58:10", "media still": "9:59:48"}


@pytest.mark.parametrize("given", ["", "98 s", "1:39.9", "96 s"])
def test_the_time_follows_from_the_stamps_where_none_is_given(given):
    (run,) = parse_readings([STAMPED | {"time": given}], STUDY, discard_first=False).kept
    assert run.time == pytest.approx({"": 98.0, "98 s": 98.0, "1:39.9": 99.9, "96 s": 96.0}[given])
    assert (run.started, run.media_still) == (time(9, 58, 10), time(9, 59, 48))


def test_stamps_alone_are_a_table_of_readings():
    row = {name: cell for name, cell in STAMPED.items() if name != "time"}
    assert parse_readings([row], STUDY, discard_first=False).kept[0].time == 98.0


def test_stamps_of_a_workbook_are_times_of_day():
    cells = {"started": time(23, 0, 0), "media still": datetime(2026, 11, 5, 23, 1, 30), "time": ""}
    assert parse_readings([GOOD | cells], STUDY, discard_first=False).kept[0].time == 90.0


@pytest.mark.parametrize(
    ("cells", "said"),
    [
        ({"time": "100.5 s"}, "time: '100.5 s' must agree with the stamps, 98 s apart, within 2 s"),
        ({"time": "95.5 s"}, "time: '95.5 s' must agree with the stamps, 98 s apart, within 2 s"),
        ({"media still": "9:58:09"}, "media still: '09:58:09' must be after started, 09:58:10"),
        ({"media still": "9:58:10"}, "media still: '09:58:10' must be after started, 09:58:10"),
        ({"media still": ""}, "media still: '' is needed beside started"),
        ({"started": ""}, "started: '' is needed beside media still"),
        ({"started": "9:58"}, "started: '9:58' is not a time of day with its seconds"),
        ({"started": "25:00:00"}, "started: '25:00:00' is not a time of day with its seconds"),
        ({"started": "9:61:00"}, "started: '9:61:00' is not a time of day with its seconds"),
    ],
)
def test_refuses_stamps_out_of_order_or_unlike_the_time(cells, said):
    found = parse_readings([STAMPED | {"time": ""} | cells], STUDY)
    assert found.kept == ()
    (problem,) = found.problems
    assert str(problem).startswith(f"row 2, {said}")


def test_comments_are_passed_over_and_named_below_the_headings(tmp_path):
    path = tmp_path / "trial.csv"
    path.write_text(
        "# hold equal, on all, machines, the film\n#,stamps\n\nmachine,work,time [s]\n"
        "old_cutter,load,180\n# old_cutter,load,190,a cell too many\nold_cutter,load,fast\n",
        encoding="utf-8",
    )
    found = read_readings(path, STUDY, discard_first=False)
    assert [(one.row, one.time) for one in found.kept] == [(5, 180.0)]
    assert found.notes == ("Begin with # and are no readings: row 6.",)
    assert str(found.problems[0]).startswith("row 7, time: 'fast'")


def test_a_file_of_comments_has_no_readings(tmp_path):
    path = tmp_path / "trial.csv"
    path.write_text("# machine,work,time [s]\n", encoding="utf-8")
    with pytest.raises(TrialError, match="has no readings"):
        read_readings(path, STUDY)


@pytest.mark.parametrize(
    ("cells", "said"),
    [
        ({}, "row 2, cut: '' is needed for cut"),
        ({"cut": "star"}, "row 2, cut: 'star' must be one of path, rectangle, circle, artwork"),
        ({"cut": "path", "segments": 4}, "row 2, cut length: '' is needed for cut"),
        ({"cut": "path", "cut length": "1 m", "segments": 2, "lifts": 3}, "row 2, lifts: 3 must"),
        ({"cut": "circle"}, "row 2, width: '' is needed for cut"),
        ({"cut": "rectangle", "width": "10 mm", "height": "8 mm", "radius": "5 mm"},
         "row 2, radius: '5 mm' must be at most half of the shorter side, 4 mm"),
        ({"cut": "artwork", "artwork": "cat"}, "row 2, artwork: 'cat' is not an artwork"),
    ],
)  # fmt: skip
def test_refuses_a_cut_that_is_not_described(cells, said):
    assert str(parse_readings([CUT | cells], STUDY).problems[0]).startswith(said)


def test_all_that_is_wrong_with_a_row_is_said_at_once():
    row = GOOD | {"machine": "x", "width": "-1 m", "time": "soon"}
    paths = [one.path for one in parse_readings([row], STUDY).problems]
    assert sorted(paths) == ["row 2, machine", "row 2, time", "row 2, width"]


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "is empty"),
        ("machine,work,time [s]\n", "has no readings"),
        ("machine,work,speed\nold_cutter,cut,3\n", "'speed' is no column of readings"),
        ("machine,work,width [mm]\nold_cutter,cut,3\n", "'time' is missing"),
        ("machine,work,time [kg]\nold_cutter,cut,3\n", "has a unit of another kind"),
        ("machine,work,time [s],seconds\nold_cutter,cut,3,3\n", "holds time a second time"),
        ("machine [mm],work,time [s]\nold_cutter,cut,3\n", "has a unit, but its cells have none"),
    ],
)
def test_refuses_a_table_without_readings(tmp_path, text, said):
    path = tmp_path / "trial.csv"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(TrialError, match=said):
        read_readings(path, STUDY)


def test_refuses_a_file_that_is_not_there(tmp_path):
    with pytest.raises(TrialError, match="cannot be opened"):
        read_readings(tmp_path / "nothing.csv", STUDY)


def test_a_row_with_too_many_cells_is_named_and_the_others_are_read(tmp_path):
    path = tmp_path / "trial.csv"
    path.write_text(
        "machine;work;time [s]\nold_cutter;load;180,5\nold_cutter;load;170,5;3\n"
        "old_cutter;load;190,5\n",
        encoding="utf-8",
    )
    found = read_readings(path, STUDY, discard_first=False)
    assert [one.time for one in found.kept] == [180.5, 190.5]
    assert str(found.problems[0]) == "row 3: has 4 cells, the heading 3"


def test_every_row_of_the_demo_trial_is_accounted_for():
    path = data_folder() / "trials" / "quenlow_trial.csv"
    found = read_readings(path, STUDY)
    lines = len(path.read_text(encoding="utf-8").splitlines()) - 1
    assert len(found.kept) + len(found.discarded) == lines
    assert found.problems == ()
