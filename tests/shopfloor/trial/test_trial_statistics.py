"""Mean, interval, repeats, normal and standard time: published values, a library, and laws."""

import csv
import json
import math
from pathlib import Path

import numpy as np
import pytest
from hypothesis import example, given
from hypothesis import strategies as st
from scipy import stats

from capex.errors import InputError
from capex.shopfloor.trial import statistics
from capex.shopfloor.trial.least_squares import least_squares_fit

DATA = Path(__file__).parents[3] / "data"

#: NIST StRD Misra1a: pressure and volume.
PRESSURE = np.array([77.6, 114.9, 141.1, 190.8, 239.9, 289.0, 332.8, 378.4, 434.8, 477.3, 536.8,
                     593.1, 689.1, 760.0])  # fmt: skip
VOLUME = np.array([10.07, 14.73, 17.94, 23.93, 29.61, 35.18, 40.02, 44.82, 50.76, 55.05, 61.01,
                   66.40, 75.47, 81.78])  # fmt: skip


def misra1a(start, result):
    fit = least_squares_fit(
        lambda b: b[:, :1] * (1.0 - np.exp(-b[:, 1:] * PRESSURE)), VOLUME, start
    )
    return {
        "b1": fit.values[0],
        "b2": fit.values[1],
        "error of b1": fit.standard_error[0],
        "error of b2": fit.standard_error[1],
        "residual deviation": fit.residual_deviation,
        "sum of squares": fit.sum_of_squares,
    }[result]


def rows():
    with (DATA / "sources.csv").open(encoding="utf-8", newline="") as lines:
        sources = {row["id"] for row in csv.DictReader(lines)}
    with (DATA / "published" / "time_study.csv").open(encoding="utf-8", newline="") as lines:
        for row in csv.DictReader(lines):
            assert row["source"] in sources, row
            name = row["case"].partition(":")[0]
            function = misra1a if name == "misra1a" else getattr(statistics, name)
            numbers = float(row["expected"]), float(row["tolerance"])
            yield pytest.param(function, json.loads(row["inputs"]), *numbers, id=row["case"])


@pytest.mark.parametrize(("function", "inputs", "expected", "tolerance"), list(rows()))
def test_published_time_study(function, inputs, expected, tolerance):
    assert abs(float(function(**inputs)) - expected) <= tolerance


def test_published_repeats_are_rounded_up():
    """Sources `ilo-work-study`, `niebel`: 9 and 21 readings."""
    assert math.ceil(statistics.charted_repeats([7, 6, 7, 7, 6])) == 9
    assert math.ceil(statistics.repeats_needed(0.3, 0.03, count=10)) == 21


readings = st.lists(st.floats(1.0, 500.0), min_size=3, max_size=30)


@given(readings, st.floats(0.5, 0.999))
def test_against_scipy_interval_of_a_mean(values, confidence):
    found = statistics.sample_mean(values, confidence=confidence)
    error = stats.sem(values)
    if error < 1e-9:
        assert float(found.high - found.low) == pytest.approx(0.0, abs=1e-6)
        return
    low, high = stats.t.interval(confidence, len(values) - 1, np.mean(values), error)
    assert float(found.low) == pytest.approx(low, rel=1e-9, abs=1e-9)
    assert float(found.high) == pytest.approx(high, rel=1e-9, abs=1e-9)


@given(st.integers(1, 60), st.data())
def test_against_scipy_interval_of_a_share(whole, data):
    part = data.draw(st.integers(0, whole))
    low, high = statistics.share_interval(part, whole)
    exact = stats.binomtest(part, whole).proportion_ci(0.95, method="exact")
    assert (float(low), float(high)) == pytest.approx((exact.low, exact.high), abs=1e-9)


@example([409.82532130955065] * 3)
@given(readings)
def test_law_the_interval_shrinks_with_the_same_readings_again(values):
    once, twice = statistics.sample_mean(values), statistics.sample_mean([*values, *values])
    width = float(once.high - once.low)
    rounding = 1e-12 * float(once.mean)  # equal readings spread by what their sum leaves
    assert float(twice.high - twice.low) <= width + rounding
    if width > 1e-6:
        assert float(twice.high - twice.low) < 0.9 * width


@given(readings, st.floats(0.51, 0.98), st.floats(0.001, 0.01))
def test_law_more_confidence_is_a_wider_interval(values, confidence, more):
    narrow = statistics.sample_mean(values, confidence=confidence)
    wide = statistics.sample_mean(values, confidence=confidence + more)
    assert float(wide.low) <= float(narrow.low)
    assert float(wide.high) >= float(narrow.high)


@given(st.floats(1.0, 500.0), st.floats(0.01, 50.0), st.integers(2, 50))
def test_law_repeats_needed_are_those_made_where_the_interval_is_as_wanted(mean, deviation, count):
    half = float(statistics.student_quantile(count - 1)) * deviation / math.sqrt(count)
    needed = statistics.repeats_needed(mean, deviation, count=count, share=half / mean)
    assert float(needed) == pytest.approx(count)


def test_law_everything_has_a_leading_axis():
    values = np.array([[7.0, 6.0, 7.0, 7.0, 6.0], [70.0, 60.0, 70.0, 70.0, 60.0]])
    found = statistics.sample_mean(values)
    assert found.high.shape == (2,)
    assert found.high[1] == pytest.approx(10 * found.high[0])
    assert statistics.charted_repeats(values) == pytest.approx([8.8154, 8.8154], abs=1e-4)


def test_law_allowances_never_touch_machine_time():
    base = statistics.standard_time(0.0, allowance=[0.0, 0.15, 0.5], machine_time=90.0)
    assert base.tolist() == [90.0, 90.0, 90.0]


@pytest.mark.parametrize(
    ("call", "said"),
    [
        (lambda: statistics.sample_mean([5.0]), "readings: 1 must be at least 2"),
        (lambda: statistics.sample_mean([5.0, math.nan]), "must be a finite number"),
        (lambda: statistics.sample_mean([5.0, 6.0], confidence=1.0), "must be less than 1"),
        (lambda: statistics.charted_repeats([5.0, 0.0]), "must be greater than 0"),
        (lambda: statistics.repeats_needed(0.0, 1.0, count=5), "mean: 0.0 must be greater than 0"),
        (lambda: statistics.normal_time(-1.0), "observed: -1.0 must be at least 0 s"),
        (lambda: statistics.standard_time(1.0, allowance=1.0, basis="workday"), "less than 1"),
        (lambda: statistics.standard_time(1.0, allowance=0.1, basis="year"), "'job' or 'workday'"),
        (lambda: statistics.share_interval(3, 2), "must be at most the whole"),
    ],
)
def test_refuses_what_has_no_statistics(call, said):
    with pytest.raises(InputError, match=said):
        call()
