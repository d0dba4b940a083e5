"""Cutting: derivable figures, a step-by-step integration of the speed profile, and laws."""

import cmath
import itertools
import math

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from shopfloor_rows import published

from capex.errors import InputError
from capex.shopfloor.contour import Contour, circle_contour, drawn_contour, rectangle_contour
from capex.shopfloor.curves import CubicBezier, EllipticArc, Line
from capex.shopfloor.cutting import (
    blades_used,
    contour_time,
    cut_time_per_piece,
    mark_scan_time,
    segment_time,
    segmented_path_time,
    speed_matters_above,
)

KNIFE = {"speed": 1.0, "acceleration": 10.0}
SHAPES = {"rectangle_contour": rectangle_contour, "circle_contour": circle_contour}
speeds = st.floats(0.05, 3.0)
rates = st.floats(0.5, 60.0)
knives = st.fixed_dictionaries(
    {"speed": speeds, "acceleration": rates, "lateral_acceleration": rates}
)
sizes = st.floats(0.005, 1.5)

WAVE = [
    CubicBezier(0, 0.05 + 0.12j, 0.1 - 0.1j, 0.2),
    CubicBezier(0.2, 0.24 + 0.04j, 0.3 + 0.02j, 0.32 + 0.1j),
    Line(0.32 + 0.1j, 0.6 + 0.1j),
]
EGG = [EllipticArc(0j, 0.2 + 0.05j, -0.02 + 0.06j, 0.3, 5.0)]
SLOT = [
    EllipticArc(0j, 0.03j, -0.03, 0.0, math.pi),
    Line(-0.03j, 0.4 - 0.03j),
    EllipticArc(0.4, -0.03j, 0.03, 0.0, math.pi),
    Line(0.4 + 0.03j, 0.03j),
]
ANGULAR = [
    Line(0, 0.15),
    CubicBezier(0.15, 0.15 + 0.1j, 0.05 + 0.1j, 0.05 + 0.2j),
    EllipticArc(0.05 + 0.26j, -0.06j, 0.06, 0.0, -1.5),
    Line(0.05 + 0.26j + 0.06 * cmath.exp(1j * (-math.pi / 2 - 1.5)), 0.4 + 0.3j),
]
DRAWINGS = {"wave": WAVE, "egg": EGG, "slot": SLOT, "angular": ANGULAR}


@pytest.mark.parametrize(
    ("function", "inputs", "expected", "tolerance"),
    published("segment_time", "segmented_path_time", *SHAPES),
)
def test_published_knife_times(function, inputs, expected, tolerance):
    if function in SHAPES:
        knife = {name: inputs.pop(name) for name in KNIFE}
        seconds = contour_time(SHAPES[function](**inputs), **knife)
    else:
        seconds = {"segment_time": segment_time, "segmented_path_time": segmented_path_time}[
            function
        ](**inputs)
    assert float(seconds) == pytest.approx(expected, abs=tolerance)


@given(st.floats(0.001, 0.5), rates)
def test_published_circle_time_holds_for_every_radius_and_acceleration(radius, rate):
    exact = (2 * math.pi + 1) * math.sqrt(radius / rate)
    assume(math.sqrt(rate * radius) < 10)
    seconds = contour_time(circle_contour(2 * radius), speed=10.0, acceleration=rate)
    assert float(seconds) == pytest.approx(exact, rel=1e-12)


def points_of(piece, count):
    """Return points along a piece by its defining formula."""
    t = np.linspace(0.0, 1.0, count)
    if isinstance(piece, Line):
        return piece.start + t * (piece.end - piece.start)
    if isinstance(piece, EllipticArc):
        theta = piece.angle + t * piece.sweep
        return piece.centre + np.cos(theta) * piece.axis_1 + np.sin(theta) * piece.axis_2
    s = 1 - t
    return (
        s**3 * piece.start
        + 3 * s * s * t * piece.control_1
        + 3 * s * t * t * piece.control_2
        + t**3 * piece.end
    )


def integrated_time(pieces, knife, corner_angle, count=6000):
    """Drive along dense points one by one: caps, ramp forward, ramp back, sum of 2Δs/(v0 + v1)."""
    lateral = knife.get("lateral_acceleration", knife["acceleration"])
    gaps, caps, last = [], [], None
    for piece in pieces:
        points = points_of(piece, count)
        chord = np.diff(points)
        direction = np.angle(chord[1:] / chord[:-1])
        curvature = np.abs(direction) / ((np.abs(chord[1:]) + np.abs(chord[:-1])) / 2)
        inner = np.minimum(knife["speed"] ** 2, lateral / np.maximum(curvature, 1e-12))
        cap = np.concatenate(([inner[0]], inner, [inner[-1]]))
        if last is None:
            caps = list(cap)
        else:
            corner = abs(cmath.phase(chord[0] / last)) > corner_angle
            caps[-1] = 0.0 if corner else min(caps[-1], cap[0])
            caps += list(cap[1:])
        gaps += list(np.abs(chord))
        last = chord[-1]
    caps[0] = caps[-1] = 0.0
    for place, gap in enumerate(gaps):
        caps[place + 1] = min(caps[place + 1], caps[place] + 2 * knife["acceleration"] * gap)
    for place in range(len(gaps) - 1, -1, -1):
        caps[place] = min(caps[place], caps[place + 1] + 2 * knife["acceleration"] * gaps[place])
    total = 0.0
    for place, gap in enumerate(gaps):
        total += 2 * gap / (math.sqrt(caps[place]) + math.sqrt(caps[place + 1]))
    return total


@pytest.mark.parametrize(
    "knife",
    [
        KNIFE,
        {"speed": 0.3, "acceleration": 5.0},
        {"speed": 2.0, "acceleration": 30.0, "lateral_acceleration": 8},
    ],
)
@pytest.mark.parametrize("drawing", DRAWINGS)
def test_against_integration_of_the_speed_profile(drawing, knife):
    pieces, threshold = DRAWINGS[drawing], math.radians(10)
    seconds = float(contour_time(drawn_contour([pieces]), corner_angle=threshold, **knife))
    assert seconds == pytest.approx(integrated_time(pieces, knife, threshold), rel=1e-3)


@given(sizes, sizes, st.floats(0.0, 1.0), knives)
@settings(max_examples=20, deadline=None)
def test_against_integration_of_random_rounded_rectangles(width, height, share, knife):
    radius = share * min(width, height) / 2
    assume(radius == 0 or radius > 0.002)
    sides = {"x": width - 2 * radius, "y": height - 2 * radius}
    pieces, point, heading = [], 0j, 1 + 0j
    for axis in "xyxy":
        if radius:
            centre = point + 1j * heading * radius
            pieces.append(
                EllipticArc(centre, -1j * heading * radius, heading * radius, 0, math.pi / 2)
            )
            point = centre + heading * radius
        heading *= 1j
        if sides["y" if axis == "x" else "x"] > 1e-6:
            end = point + heading * sides["y" if axis == "x" else "x"]
            pieces.append(Line(point, end))
            point = end
    seconds = float(contour_time(rectangle_contour(height, width, radius), **knife))
    threshold = math.radians(20)
    assert seconds == pytest.approx(integrated_time(pieces, knife, threshold, 2000), rel=2e-3)


@given(st.floats(0.0, 3.0), st.floats(0.0, 1.0), st.floats(0.0, 1.0), speeds, rates)
def test_against_integration_of_one_segment(length, first, last, speed, rate):
    start, end = first * speed, last * speed
    assume(abs(end**2 - start**2) <= 2 * rate * length)
    assume(length > 0 or start == end == 0)
    way = np.linspace(0.0, length, 20001)
    squared = np.minimum(start**2 + 2 * rate * way, end**2 + 2 * rate * (length - way))
    velocity = np.sqrt(np.maximum(0.0, np.minimum(squared, speed**2)))
    pace = velocity[1:] + velocity[:-1]
    expected = float(np.sum(2 * np.diff(way)[pace > 0] / pace[pace > 0]))
    exact = float(segment_time(length, start, end, speed=speed, acceleration=rate))
    assert exact == pytest.approx(expected, rel=2e-3, abs=1e-6)


@pytest.mark.parametrize("drawing", DRAWINGS)
def test_law_finer_sampling_converges(drawing):
    times = [
        float(contour_time(drawn_contour([DRAWINGS[drawing]], turn_per_step=angle), **KNIFE))
        for angle in np.radians([30.0, 5.0, 1.0, 0.1])
    ]
    coarse, usual, fine = (abs(seconds / times[-1] - 1) for seconds in times[:-1])
    assert coarse < 0.02
    assert usual < 1e-3
    assert fine < 1e-4


def test_law_arcs_need_no_sampling():
    turns = [drawn_contour([SLOT], turn_per_step=angle) for angle in (0.5, 0.01)]
    assert [contour.step_length.size for contour in turns] == [4, 4]


def test_law_an_arc_of_an_ellipse_tends_to_the_arc_of_a_circle():
    nearly = drawn_contour([[EllipticArc(0j, 0.025, 0.025j * (1 + 1e-6), 0.0, math.tau)]])
    assert nearly.step_length.size > 40
    assert float(contour_time(nearly, **KNIFE)) == pytest.approx(0.364159, abs=2e-6)


@given(sizes, sizes, st.floats(0.0, 1.0), knives, st.floats(1.0, 4.0))
def test_law_more_of_any_ability_is_never_slower(width, height, share, knife, factor):
    contour = rectangle_contour(width, height, share * min(width, height) / 2)
    plain = float(contour_time(contour, **knife))
    for ability in knife:
        better = knife | {ability: knife[ability] * factor}
        assert float(contour_time(contour, **better)) <= plain * (1 + 1e-9)


@given(st.sampled_from(sorted(DRAWINGS)), knives, st.floats(1.0, 4.0))
def test_law_more_of_any_ability_is_never_slower_on_curves(drawing, knife, factor):
    contour = drawn_contour([DRAWINGS[drawing]])
    plain = float(contour_time(contour, **knife))
    for ability in knife:
        better = knife | {ability: knife[ability] * factor}
        assert float(contour_time(contour, **better)) <= plain * (1 + 1e-9)


@given(st.sampled_from(sorted(DRAWINGS)), knives, st.floats(0.1, 10.0))
def test_law_a_change_of_the_unit_of_time_scales_the_time(drawing, knife, scale):
    contour = drawn_contour([DRAWINGS[drawing]])
    slowed = {
        name: value / scale if name == "speed" else value / scale**2
        for name, value in knife.items()
    }
    plain = float(contour_time(contour, **knife))
    assert float(contour_time(contour, **slowed)) == pytest.approx(plain * scale, rel=1e-9)


@given(st.sampled_from(sorted(DRAWINGS)), knives)
def test_law_the_other_way_round_takes_as_long(drawing, knife):
    def reversed_piece(piece):
        if isinstance(piece, Line):
            return Line(piece.end, piece.start)
        if isinstance(piece, CubicBezier):
            return CubicBezier(piece.end, piece.control_2, piece.control_1, piece.start)
        return EllipticArc(
            piece.centre, piece.axis_1, piece.axis_2, piece.angle + piece.sweep, -piece.sweep
        )

    there = drawn_contour([DRAWINGS[drawing]])
    back = drawn_contour([[reversed_piece(piece) for piece in reversed(DRAWINGS[drawing])]])
    assert float(contour_time(back, **knife)) == pytest.approx(
        float(contour_time(there, **knife)), rel=1e-9
    )


@given(st.sampled_from(sorted(DRAWINGS)), knives)
def test_law_no_time_beats_the_set_speed_or_a_single_straight_cut(drawing, knife):
    contour = drawn_contour([DRAWINGS[drawing]])
    straight = segment_time(
        contour.path_length, 0, 0, speed=knife["speed"], acceleration=knife["acceleration"]
    )
    assert float(contour_time(contour, **knife)) >= float(straight) * (1 - 1e-9)


@given(st.floats(0.01, 50.0), st.integers(1, 500), speeds, rates, st.integers(2, 4))
def test_law_more_stops_are_never_faster(length, segments, speed, rate, factor):
    knife = {"speed": speed, "acceleration": rate}
    few = float(segmented_path_time(length, segments, **knife))
    assert few <= float(segmented_path_time(length, segments * factor, **knife)) * (1 + 1e-12)


@given(st.integers(3, 40), sizes, speeds, rates)
def test_law_a_polygon_is_its_length_and_segments(corners, size, speed, rate):
    points = [size * cmath.exp(2j * math.pi * k / corners) for k in range(corners + 1)]
    lines = [Line(*pair) for pair in itertools.pairwise(points)]
    knife = {"speed": speed, "acceleration": rate}
    drawn = contour_time(drawn_contour([lines]), corner_angle=0.0, corner_dwell=0.1, **knife)
    length = 2 * corners * size * math.sin(math.pi / corners)
    described = segmented_path_time(length, corners, corner_dwell=0.1, **knife)
    assert float(drawn) == pytest.approx(float(described), rel=1e-9)


def test_law_a_fine_polygon_is_cut_like_its_circle():
    points = [0.05 * cmath.exp(2j * math.pi * k / 720) for k in range(721)]
    polygon = drawn_contour([[Line(*pair) for pair in itertools.pairwise(points)]])
    circle = float(contour_time(circle_contour(0.1), **KNIFE))
    assert float(contour_time(polygon, **KNIFE)) == pytest.approx(circle, rel=2e-3)


def test_below_the_length_that_matters_the_set_speed_changes_nothing():
    length = float(speed_matters_above(1.0, 10.0))
    assert length == pytest.approx(0.1)
    times = segment_time([length, 2 * length], 0, 0, speed=[[1.0], [1.5]], acceleration=10.0)
    assert times[0, 0] == pytest.approx(times[1, 0])
    assert times[1, 1] < times[0, 1]


def test_lifts_travel_passes_and_dwell_add_up():
    square = [Line(0, 0.1), Line(0.1, 0.1 + 0.1j), Line(0.1 + 0.1j, 0.1j), Line(0.1j, 0)]
    far = [Line(piece.start + 0.3, piece.end + 0.3) for piece in square]
    contour = drawn_contour([square, far])
    assert (contour.subpath_count, contour.travel_length) == (2, pytest.approx(0.3))
    seconds = contour_time(
        contour, **KNIFE, corner_dwell=0.01, lift_time=0.05, travel_speed=0.5, passes=3
    )
    once = 2 * 0.8 + 2 * 3 * 0.01 + 2 * 0.05 + (0.3 / 0.5 + 0.5 / 10)
    assert float(seconds) == pytest.approx(3 * once, rel=1e-12)
    assert float(cut_time_per_piece(1.0, passes=2, lifts=3, lift_time=0.1)) == pytest.approx(2.6)


def test_thick_laminate_is_a_slower_set_speed():
    contour = rectangle_contour(0.5, 0.5, 0.05)
    assert float(contour_time(contour, **KNIFE, speed_factor=0.5)) == float(
        contour_time(contour, speed=0.5, acceleration=10.0, travel_speed=1.0)
    )
    assert float(segmented_path_time(4, 4, **KNIFE, speed_factor=0.5)) == pytest.approx(4 * 2.05)


def test_corners_at_the_threshold_are_no_stops():
    square = rectangle_contour(1.0, 1.0)
    stops = float(contour_time(square, **KNIFE, corner_angle=math.radians(89)))
    soft = float(contour_time(square, **KNIFE, corner_angle=math.radians(90)))
    assert stops == pytest.approx(4 * 1.1)
    assert soft < stops


def test_a_reversal_within_a_curve_is_a_stop():
    # Both handles cross so that the curve runs into a cusp at its middle.
    cusp = drawn_contour([[CubicBezier(0, 0.1 + 0.1j, 0.1j, 0.1)]])
    assert np.isfinite(cusp.node_turn).sum() == cusp.node_turn.size - 2
    slowest = float(cusp.node_turn[1:-1].max())
    assert slowest == pytest.approx(math.pi, abs=0.05)
    assert float(contour_time(cusp, **KNIFE)) > float(segment_time(cusp.path_length, 0, 0, **KNIFE))


def test_a_handle_on_its_end_point_is_no_obstacle():
    straight = drawn_contour([[CubicBezier(0, 0, 0.1, 0.1)]])
    assert float(contour_time(straight, **KNIFE)) == pytest.approx(0.2, rel=1e-6)
    bent = drawn_contour([[CubicBezier(0, 0, 0.05 + 0.05j, 0.1)]])
    assert 0.2 < float(contour_time(bent, **KNIFE)) < 0.4


def test_scenarios_broadcast_and_agree_with_single_calls():
    contour = drawn_contour([WAVE, EGG])
    speed, rate = np.linspace(0.2, 1.2, 7)[:, None], np.array([3.0, 10.0, 30.0])
    table = contour_time(contour, speed=speed, acceleration=rate, lift_time=0.05)
    assert table.shape == (7, 3)
    for row, column in ((0, 0), (3, 2), (6, 1)):
        single = contour_time(
            contour, speed=float(speed[row, 0]), acceleration=rate[column], lift_time=0.05
        )
        assert table[row, column] == pytest.approx(float(single), rel=1e-12)
    many = np.tile(speed, (2000, 1))
    blocks = contour_time(contour, speed=many, acceleration=rate, lift_time=0.05)
    assert np.array_equal(blocks[:7], table)
    assert np.array_equal(blocks[-7:], table)


def test_marks_count_for_every_panel_and_blades_for_every_pass():
    assert float(mark_scan_time(4, time_per_set=6.0, panels=3)) == 72.0
    assert float(blades_used(25.0, blade_life=3000.0, passes=2)) == pytest.approx(50 / 3000)


def test_no_path_takes_no_time():
    none = segmented_path_time([0.0, 0.4], [0, 4], **KNIFE, lift_time=0.1, corner_dwell=0.01)
    assert none.tolist() == pytest.approx([0.0, 0.93])


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"speed": 0.0}, "speed"),
        ({"acceleration": math.nan}, "acceleration"),
        ({"lateral_acceleration": -1.0}, "lateral_acceleration"),
        ({"corner_angle": 4.0}, "corner_angle"),
        ({"corner_dwell": -0.1}, "corner_dwell"),
        ({"travel_speed": math.inf}, "travel_speed"),
        ({"lift_time": -1.0}, "lift_time"),
        ({"passes": 0}, "passes"),
        ({"speed_factor": 1.5}, "speed_factor"),
    ],
)
def test_refuses_knives_outside_their_bounds(changes, field):
    with pytest.raises(InputError) as caught:
        contour_time(circle_contour(0.1), **(KNIFE | changes))
    assert caught.value.field == field


def test_refuses_segments_that_cannot_be_driven():
    with pytest.raises(InputError, match="set speed"):
        segment_time(1.0, 0.0, 1.5, **KNIFE)
    with pytest.raises(InputError, match="too short"):
        segment_time(0.01, 0.0, 1.0, **KNIFE)
    with pytest.raises(InputError, match="at least 1 where there is a path"):
        segmented_path_time(1.0, 0, **KNIFE)


def test_refuses_shapes_without_a_size():
    with pytest.raises(InputError, match="diameter"):
        circle_contour(0.0)
    with pytest.raises(InputError, match="radius"):
        rectangle_contour(0.1, 0.05, 0.03)
    with pytest.raises(InputError, match="piece with a length"):
        drawn_contour([[Line(0, 0)]])
    one, none = np.ones(1), np.ones(0)
    with pytest.raises(InputError, match="one node more"):
        Contour(one, one, one, one, one, none)
    with pytest.raises(InputError, match="radius"):
        Contour(one, 0 * one, one, np.ones(2), np.ones(2), none)
