"""Calibration: the physics of the appraisal, known values found again, refusals with reasons."""

from dataclasses import replace
from datetime import date

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats
from trial_shop import CUTTER, PRINTER, STUDY, TRUE, plan, timed

from capex.errors import InputError, NotIdentifiedError, TrialError
from capex.shopfloor.mix import job_mix
from capex.shopfloor.operations import MachineSet, operations
from capex.shopfloor.trial.calibration import calibration
from capex.shopfloor.trial.into_study import study_with_trial
from capex.shopfloor.trial.picture import trial_pictures
from capex.shopfloor.trial.pieces import expected_half_widths, proposed_pieces
from capex.shopfloor.trial.reading import Reading
from capex.shopfloor.trial.times import modelled_times
from capex.study import (
    Circle,
    DescribedPath,
    Rectangle,
    Study,
    StudyFile,
    data_folder,
    shipped_machines,
)

FILE = StudyFile.read(data_folder() / "studies" / "quenlow.toml")
SHAPES = FILE.changed({
    "jobs.sticker_sets.cut": {"kind": "circle", "diameter": "48 mm"},
    "jobs.fleet_badges.cut": {"kind": "rectangle", "radius": "9 mm"},
    "jobs.floor_graphics.cut": {"kind": "artwork", "name": "gecko"},
}).study  # fmt: skip
MACHINE = {"print": PRINTER, "cut": CUTTER}


def values(found):
    return {one.parameter.name: one.value for one in found.estimates}


@pytest.mark.parametrize("machine", ["mid_all_in_one", "mid_roll_printer"])
def test_law_printing_takes_as_long_as_in_the_appraisal(machine):
    mix = job_mix(STUDY)
    found = operations(STUDY, mix, MachineSet(machine, "laminator", CUTTER, in_one=False))
    busy = next(one.busy for one in found.plain if one.name == "print")[0]
    checked = 0
    for place, job in enumerate(mix.jobs):
        if not mix.printed[place]:
            continue
        run = Reading(
            2, machine, "print", 1.0,
            width=float(found.layout.printed_width[0, place]),
            height=float(found.layout.printed_length[0, place]),
            passes=int(job.passes.likely),
        )  # fmt: skip
        assert modelled_times(STUDY, machine, [run])[0, 0] == pytest.approx(busy[place], rel=1e-12)
        checked += 1
    assert checked > 5


@pytest.mark.parametrize("laminated", [False, True])
@pytest.mark.parametrize("machine", ["mid_all_in_one", "mid_contour_cutter", "old_cutter"])
def test_law_cutting_takes_as_long_as_in_the_appraisal(machine, laminated):
    study = SHAPES.replaced({f"machines.{machine}.cutting.laminated_speed": 0.8})
    mix = job_mix(study)
    found = operations(study, mix, MachineSet(PRINTER, "laminator", machine, in_one=False))
    route = found.laminated if laminated else found.plain
    busy = next(one.busy for one in route if one.name == "cut")[0]
    kinds = set()
    for place, job in enumerate(mix.jobs):
        if job.cut is None:
            continue
        size = {"width": job.width.likely, "height": job.height.likely}
        if isinstance(job.cut, DescribedPath):
            shape = {"cut_length": job.cut.length.likely, "segments": int(job.cut.segments.likely),
                     "lifts": int(job.cut.lifts.likely)}  # fmt: skip
        elif isinstance(job.cut, Rectangle):
            shape = size | {"radius": job.cut.radius.likely}
        elif isinstance(job.cut, Circle):
            shape = {"width": job.cut.diameter.likely}
        else:
            shape = {"artwork": job.cut.name}
        run = Reading(
            2, machine, "cut", 1.0, cut=job.cut.kind, pieces=int(job.pieces_per_order.likely),
            passes=int(job.cut_passes.likely), laminated=laminated, **shape,
        )  # fmt: skip
        assert modelled_times(study, machine, [run])[0, 0] == pytest.approx(busy[place], rel=1e-12)
        kinds.add(job.cut.kind)
    assert kinds == {"path", "rectangle", "circle", "artwork"}


@settings(max_examples=12, derandomize=True)
@given(
    st.floats(0.3, 2.0), st.floats(0.05, 1.5), st.floats(0.2, 1.5), st.floats(0.006, 0.25),
    st.floats(0.0, 0.05), st.floats(0.0, 0.3),
)  # fmt: skip
def test_law_known_values_are_found_again_from_readings_without_scatter(
    carriage, turn, speed, reach, dwell, lift
):
    """Within factors of about four of the study's values, which set the pieces."""
    rate = speed**2 / reach  # between the teeth of 3 mm and the long lines of 1.17 m
    true = {
        "print": {"carriage_speed": carriage, "turn_time": turn},
        "cut": {"set_speed": speed, "acceleration": rate, "corner_dwell": dwell, "lift_time": lift},
    }
    for work, machine in MACHINE.items():
        names = ("long lines", "zigzag, large teeth", "zigzag, small teeth", "short lines")
        runs = timed(plan(machine, work, 2, names if work == "cut" else ()), true[work])
        found = values(calibration(STUDY, machine, work, runs))
        for name, value in true[work].items():
            assert found[name] == pytest.approx(value, rel=1e-6, abs=1e-8)


@pytest.mark.parametrize("work", ["print", "cut"])
def test_law_intervals_hold_the_truth_as_often_as_they_say(work, measured):
    """Seeds 0 to 119, 0.5 s of scatter: the count inside lies in 99.9 % of the binomial law."""
    machine, count = MACHINE[work], 120
    names = ("long lines", "zigzag, large teeth", "zigzag, small teeth", "short lines")
    runs = plan(machine, work, 5, names if work == "cut" else ())
    inside = dict.fromkeys(TRUE[work], 0)
    for seed in range(count):
        found = calibration(STUDY, machine, work, timed(runs, TRUE[work], scatter=0.5, seed=seed))
        for one in found.estimates:
            inside[one.parameter.name] += one.low <= TRUE[work][one.parameter.name] <= one.high
    low, high = stats.binom.ppf([0.0005, 0.9995], count, 0.95)
    shown = ", ".join(f"{name} {hits}" for name, hits in inside.items())
    measured(f"95 % intervals that hold the truth, of {count} trials, {work}: {shown}")
    assert all(low <= hits <= high for hits in inside.values()), inside


@pytest.mark.parametrize("work", ["print", "cut"])
def test_law_intervals_shrink_with_repeats(work):
    machine = MACHINE[work]
    few, many = (
        expected_half_widths(STUDY, machine, work, plan(machine, work, repeats))
        for repeats in (5, 20)
    )
    for name, half in few.items():
        assert 0.4 * half < many[name] < 0.5 * half  # √(5/20), and fewer degrees of freedom


@pytest.mark.parametrize("key", sorted(shipped_machines()))
def test_law_the_proposed_pieces_identify_every_machine(key):
    study: Study = STUDY.model_copy(update={"machines": {key: shipped_machines()[key]}})
    pieces = [replace(one.setting, machine=key) for one in proposed_pieces(study, [key])]
    machine = study.machines[key]
    for work in {one.work for one in pieces}:
        half = expected_half_widths(study, key, work, pieces * 5)
        part = {"print": machine.printing, "cut": machine.cutting, "laminate": machine.laminating}
        for name, width in half.items():
            assert width < max(0.1 * getattr(part[work], name).likely, 0.006), name


def test_law_a_rest_below_zero_goes_on_in_a_straight_line():
    runs = plan(CUTTER, "cut", 1)
    ends = {"corner_dwell": np.array([-0.01, 0.0, 0.01]), "lift_time": np.array([-0.02, 0.0, 0.02])}
    times = modelled_times(STUDY, CUTTER, runs, ends)
    assert times[0] + times[2] == pytest.approx(2 * times[1])


def laminated_plan():
    long = [replace(one, laminated=True) for one in plan(CUTTER, "cut", 5, ("long lines",))]
    return [*plan(CUTTER, "cut"), *long]


#: Truths on a bound, by the parameter that stands there.
ON_A_BOUND = {
    "corner_dwell": (plan(CUTTER, "cut"), TRUE["cut"] | {"corner_dwell": 0.0}, 0.0),
    "laminated_speed": (laminated_plan(), TRUE["cut"] | {"laminated_speed": 1.0}, 1.0),
}


@pytest.mark.parametrize("name", ON_A_BOUND)
def test_law_a_value_held_at_its_bound_leaves_the_fit_of_the_others_with_it(name):
    """As where the study states that value and it is kept; and it is said."""
    runs, true, bound = ON_A_BOUND[name]
    study = STUDY.replaced({f"machines.{CUTTER}.cutting.{name}": bound})
    held_ones = 0
    for seed in range(6):
        readings = timed(runs, true, scatter=0.5, seed=seed)
        found = calibration(STUDY, CUTTER, "cut", readings)
        mine = next(one for one in found.estimates if one.parameter.name == name)
        assert mine.low <= mine.value <= mine.high
        assert mine.low < mine.high
        assert mine.is_held == (mine.value == bound)
        if not mine.is_held:
            continue
        held_ones += 1
        kept = calibration(study, CUTTER, "cut", readings, hold=[name])
        others = [one for one in found.estimates if one is not mine]
        for one, same in zip(others, kept.estimates, strict=True):
            ends = (same.value, same.low, same.high)
            assert (one.value, one.low, one.high) == pytest.approx(ends, rel=1e-6, abs=1e-9)
        assert found.lack_of_fit == pytest.approx(kept.lack_of_fit, rel=1e-6)
        assert found.modelled == pytest.approx(kept.modelled, rel=1e-9)
        assert "it is held at" in found.notes[-1]
        assert len(trial_pictures(found)) == 2
        changed, said = study_with_trial(FILE, [found], on=date(2026, 11, 25))
        assert "held at its bound" in changed.study.quantity(mine.path).note
        assert "held at its bound" in " ".join(said)
    assert 0 < held_ones < 6


@pytest.mark.parametrize(
    ("runs", "beyond", "name", "said"),
    [
        (plan(CUTTER, "cut"), {"corner_dwell": -0.05}, "corner_dwell", "ask for -50 ms"),
        (laminated_plan(), {"laminated_speed": 1.25}, "laminated_speed", "ask for 125 %"),
    ],
)
@pytest.mark.parametrize("scatter", [0.0, 0.3])
def test_refuses_readings_that_ask_for_what_cannot_be(runs, beyond, name, said, scatter):
    readings = timed(runs, TRUE["cut"] | beyond, scatter=scatter, seed=3)
    ((refused, reason),) = refusal(CUTTER, "cut", readings).items()
    assert refused == name
    assert "cannot be fitted: the readings ask for" in reason
    if not scatter:
        assert said in reason


def test_a_fit_with_nothing_left_free_is_still_a_result():
    readings = timed(*ON_A_BOUND["corner_dwell"][:2], scatter=0.5, seed=0)
    study = STUDY.replaced({
        f"machines.{CUTTER}.cutting.{name}": TRUE["cut"][name]
        for name in ("set_speed", "acceleration", "lift_time")
    })  # fmt: skip
    found = calibration(
        study, CUTTER, "cut", readings, hold=["set_speed", "acceleration", "lift_time"]
    )
    (only,) = found.estimates
    assert (only.value, only.low, only.is_held) == (0.0, 0.0, True)
    assert found.fit.values.size == 0


def test_law_an_accelerating_knife_in_curves_is_found_where_it_is_asked_for():
    circles = [
        Reading(9, CUTTER, "cut", 1.0, "circles", width=size, pieces=200, cut="circle")
        for size in (0.006, 0.012)
    ]
    true = TRUE["cut"] | {"lateral_acceleration": 4.0}
    runs = timed([*plan(CUTTER, "cut"), *circles * 3], true)
    found = calibration(STUDY, CUTTER, "cut", runs, fit=["lateral_acceleration"])
    assert values(found) == pytest.approx(true, rel=1e-6)


def test_law_speed_in_laminate_is_found_where_laminated_film_was_cut():
    laminated = [replace(one, laminated=True) for one in plan(CUTTER, "cut", 3, ("long lines",))]
    true = TRUE["cut"] | {"laminated_speed": 0.7}
    found = calibration(STUDY, CUTTER, "cut", timed([*plan(CUTTER, "cut"), *laminated], true))
    assert values(found) == pytest.approx(true, rel=1e-6)


def test_law_crossings_tell_the_height_of_the_swath():
    runs = [replace(one, crossings=1) for one in plan(PRINTER, "print", 3)]
    study = STUDY.replaced({f"machines.{PRINTER}.printing.swath_height": 0.0581})
    counted = [
        replace(one, crossings=int(np.ceil(one.height * one.passes / 0.0581)) + one.passes - 1)
        for one in runs
    ]
    found = calibration(STUDY, PRINTER, "print", timed(counted, TRUE["print"], study=study))
    height = found.swath_height
    assert height.low <= 0.0581 <= height.high
    assert height.high - height.low < 0.001
    assert not height.is_of_study
    assert calibration(study, PRINTER, "print", counted_times(study, counted)).swath_height.value \
        == 0.0581  # fmt: skip


def counted_times(study, runs):
    return timed(runs, TRUE["print"], study=study)


def test_a_machine_unlike_the_model_is_told_by_its_lack_of_fit():
    runs = timed(plan(PRINTER, "print"), TRUE["print"], scatter=0.3, seed=1)
    assert calibration(STUDY, PRINTER, "print", runs).lack_of_fit > 0.01
    bent = [replace(one, time=one.time + 8 * (one.piece == "half-wide print")) for one in runs]
    found = calibration(STUDY, PRINTER, "print", bent)
    assert found.lack_of_fit < 1e-6
    assert "not held equal" in found.notes[-1]


def refusal(machine, work, runs, **given):
    with pytest.raises(NotIdentifiedError) as caught:
        calibration(STUDY, machine, work, runs, **given)
    return {problem.path: str(problem) for problem in caught.value.problems}


@pytest.mark.parametrize("scatter", [0.0, 0.2, 0.5])
@pytest.mark.parametrize("seed", range(6))
def test_refuses_set_speed_from_small_pieces(scatter, seed):
    small = ("zigzag, large teeth", "zigzag, small teeth", "short lines")
    runs = timed(plan(CUTTER, "cut", 5, small), TRUE["cut"], scatter=scatter, seed=seed)
    said = refusal(CUTTER, "cut", runs)
    assert "set_speed" in said
    assert "cut long straight lines" in said["set_speed"]
    held = calibration(STUDY, CUTTER, "cut", runs, hold=["set_speed"])
    assert [one.parameter.name for one in held.estimates] == [
        "acceleration", "corner_dwell", "lift_time",
    ]  # fmt: skip
    assert held.notes[0] == "Kept as in the study: set speed."


@pytest.mark.parametrize("scatter", [0.0, 0.4])
def test_refuses_carriage_speed_from_one_width(scatter):
    runs = timed(plan(PRINTER, "print", 8, ("wide print",)), TRUE["print"], scatter=scatter)
    said = refusal(PRINTER, "print", runs)
    assert "carriage_speed" in said
    assert "print at least two widths" in said["carriage_speed"]


def test_refuses_overrun_beside_turn_time():
    runs = timed(plan(PRINTER, "print"), TRUE["print"], scatter=0.3)
    said = refusal(PRINTER, "print", runs, fit=["overrun"])
    assert set(said) == {"turn_time", "overrun"}
    assert "rule" in said["overrun"]


def test_refuses_acceleration_from_long_lines_only():
    runs = timed(plan(CUTTER, "cut", 6, ("long lines",)), TRUE["cut"], scatter=0.3)
    said = refusal(CUTTER, "cut", runs)
    assert {"corner_dwell"} <= set(said)  # no corner anywhere
    said = refusal(CUTTER, "cut", runs, hold=["corner_dwell"])
    assert "cannot be told apart" in said["acceleration"]


def test_refuses_an_interval_that_says_nothing():
    runs = timed(plan(PRINTER, "print", 2), TRUE["print"], scatter=14.0, seed=3)
    said = refusal(PRINTER, "print", runs)
    assert "the interval is" in " ".join(said.values())


def test_refuses_as_many_parameters_as_readings():
    runs = timed(plan(CUTTER, "cut", 1)[:4], TRUE["cut"])
    assert "must be at least 5" in refusal(CUTTER, "cut", runs)["readings"]


def test_refuses_no_readings():
    with pytest.raises(TrialError, match="none to calibrate by"):
        calibration(STUDY, CUTTER, "cut", [])


def test_refuses_crossings_that_contradict_each_other():
    runs = timed(plan(PRINTER, "print", 2), TRUE["print"])
    runs = [replace(one, crossings=count) for one, count in zip(runs, (60, 90, 80), strict=False)]
    assert "contradict" in refusal(PRINTER, "print", runs)["crossings"]


@pytest.mark.parametrize(
    ("given", "said"),
    [
        ({"fit": ["price"]}, "is no parameter of print"),
        ({"hold": ["set_speed"]}, "is no parameter of print"),
        ({"hold": ["carriage_speed", "turn_time"]}, "leaves nothing to fit"),
    ],
)
def test_refuses_what_is_no_parameter(given, said):
    with pytest.raises(InputError, match=said):
        calibration(STUDY, PRINTER, "print", timed(plan(PRINTER, "print"), TRUE["print"]), **given)


def test_refuses_a_machine_that_the_study_has_not():
    with pytest.raises(InputError, match="is not in the study"):
        calibration(STUDY, "new_printer", "print", [])
