"""Printing: published swath figures, a swath-by-swath loop, and laws."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from shopfloor_rows import published

from capex.errors import InputError
from capex.shopfloor.printing import (
    ASSUMED_WIDTH_CONSTANT,
    long_run_print_rate,
    print_time,
    print_time_at_quoted_rate,
    swath_count,
    turn_time,
    width_constant,
)

ENGINE = {"swath_height": 0.05, "carriage_speed": 1.0, "overrun": 0.05, "turn_time": 0.3}
engines = st.fixed_dictionaries(
    {
        "swath_height": st.floats(0.005, 0.2),
        "carriage_speed": st.floats(0.1, 2.0),
        "overrun": st.floats(0.0, 0.2),
        "turn_time": st.floats(0.0, 1.0),
        "passes": st.integers(1, 32),
        "directions": st.sampled_from([1.0, 2.0]),
    }
)
widths = st.floats(0.05, 3.0)
lengths = st.floats(0.05, 50.0)


@pytest.mark.parametrize(
    ("function", "inputs", "expected", "tolerance"), published("long_run_print_rate")
)
def test_published_long_run_rates(function, inputs, expected, tolerance):
    assert function == "long_run_print_rate"
    assert float(long_run_print_rate(**inputs)) * 3600 == pytest.approx(expected, abs=tolerance)


def swath_by_swath_time(width, length, passes, engine, directions):
    """Advance the film by h/N per crossing until its last strip has had all its passes."""
    advance = engine["swath_height"] / passes
    strips = 0
    while strips * advance < length * (1 - 1e-9):
        strips += 1
    seconds = 0.0
    for _ in range(strips + passes - 1):
        for _ in range(int(directions)):
            seconds += (width + 2 * engine["overrun"]) / engine["carriage_speed"]
            seconds += engine["turn_time"]
    return seconds


@given(widths, st.floats(0.05, 5.0), engines)
def test_against_a_swath_by_swath_loop(width, length, engine):
    by_loop = swath_by_swath_time(width, length, engine["passes"], engine, engine["directions"])
    assert float(print_time(width, length, **engine)) == pytest.approx(by_loop, rel=1e-9)


@pytest.mark.parametrize("noise", [-1e-12, 0.0, 1e-12, 1e-10])
def test_law_float_noise_starts_no_swath(noise):
    # 0.6 m at 8 passes of 50 mm is 96 advances; 12.000000001 of them are 12.
    assert float(swath_count(0.6 * (1 + noise), passes=8, swath_height=0.05)) == 96 + 7
    assert float(swath_count(12.000000001, passes=1, swath_height=1.0)) == 12
    assert float(swath_count(12.001, passes=1, swath_height=1.0)) == 13


@given(widths, engines)
def test_law_long_runs_approach_the_long_run_rate(width, engine):
    length = 1e5
    rate = width * length / float(print_time(width, length, **engine))
    assert rate == pytest.approx(float(long_run_print_rate(width, **engine)), rel=1e-3)


@given(widths, lengths, engines, st.floats(1.0, 3.0))
def test_law_a_faster_carriage_is_never_slower(width, length, engine, factor):
    faster = engine | {"carriage_speed": engine["carriage_speed"] * factor}
    assert print_time(width, length, **faster) <= print_time(width, length, **engine) * (1 + 1e-12)


@given(widths, lengths, engines, st.floats(0.1, 10.0))
def test_law_a_change_of_the_unit_of_length_changes_no_time(width, length, engine, scale):
    scaled = {
        name: value * scale if name in ("swath_height", "carriage_speed", "overrun") else value
        for name, value in engine.items()
    }
    plain = float(print_time(width, length, **engine))
    one_swath = plain / float(
        swath_count(length, passes=engine["passes"], swath_height=engine["swath_height"])
    )
    assert float(print_time(width * scale, length * scale, **scaled)) == pytest.approx(
        plain, rel=1e-9, abs=one_swath * 1e-6
    )


@given(widths, engines, st.floats(1.01, 5.0))
def test_law_narrow_work_prints_slower_per_area(width, engine, factor):
    narrow = float(long_run_print_rate(width, **engine))
    assert narrow <= float(long_run_print_rate(width * factor, **engine)) * (1 + 1e-12)


@given(widths, lengths, engines)
def test_law_a_quote_at_the_true_width_constant_gives_the_long_run_time(width, length, engine):
    parts = {name: engine[name] for name in ("carriage_speed", "overrun", "turn_time")}
    quoted = print_time_at_quoted_rate(
        width,
        length,
        quoted_rate=long_run_print_rate(1.3, **engine),
        quoted_width=1.3,
        width_constant=width_constant(**parts),
    )
    expected = width * length / float(long_run_print_rate(width, **engine))
    assert float(quoted) == pytest.approx(expected, rel=1e-9)


def test_a_quoted_rate_holds_at_its_own_width_and_falls_with_passes():
    at_quote = print_time_at_quoted_rate(1.3, 10.0, quoted_rate=0.0065, quoted_width=1.3)
    assert float(at_quote) == pytest.approx(13.0 / 0.0065)
    twice = print_time_at_quoted_rate(
        1.3, 10.0, quoted_rate=0.0065, quoted_width=1.3, passes=8, quoted_passes=4
    )
    assert float(twice) == pytest.approx(2 * 13.0 / 0.0065)
    assert float(width_constant(carriage_speed=1, overrun=0.05, turn_time=0.3)) == pytest.approx(
        ASSUMED_WIDTH_CONSTANT
    )


def test_turning_takes_the_slower_of_carriage_and_film():
    slow_carriage = turn_time(1.0, acceleration=5.0, feed_time=0.1, settle_time=0.1)
    slow_film = turn_time(1.0, acceleration=50.0, feed_time=0.1, settle_time=0.15)
    assert (float(slow_carriage), float(slow_film)) == pytest.approx((0.4, 0.25))


def test_nothing_printed_takes_no_time():
    assert float(print_time(0.0, 0.0, passes=8, **ENGINE)) == 0.0


def test_scenarios_and_jobs_broadcast_and_agree_with_single_calls():
    speed = np.linspace(0.5, 1.5, 5)[:, None]
    width, length, passes = np.array([0.3, 1.2]), np.array([4.0, 2.5]), np.array([8, 4])
    engine = ENGINE | {"carriage_speed": speed}
    table = print_time(width, length, passes=passes, **engine)
    assert table.shape == (5, 2)
    single = ENGINE | {"carriage_speed": float(speed[3, 0])}
    assert table[3, 1] == pytest.approx(float(print_time(1.2, 2.5, passes=4, **single)))


@pytest.mark.parametrize(
    ("field", "value", "bound"),
    [
        ("swath_height", 0.0, "greater than 0 m"),
        ("carriage_speed", -1.0, "greater than 0 m/s"),
        ("turn_time", math.nan, "at least 0 s"),
        ("overrun", math.inf, "at least 0 m"),
        ("passes", 0, "at least 1"),
        ("directions", 3, "at most 2"),
    ],
)
def test_refuses_values_outside_their_bounds(field, value, bound):
    arguments = ENGINE | {"passes": 8} | {field: value}
    with pytest.raises(InputError, match=bound) as caught:
        print_time(1.0, 1.0, **arguments)
    assert caught.value.field == field
