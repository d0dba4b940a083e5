"""Sign changes along one input: against a root finder, and what is passed over."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import brentq

from capex.decision.crossover import crossovers, volume_sweep
from capex.decision.sign_changes import sign_changes
from capex.errors import InputError
from capex.study import data_folder, read_study

ROOTS = st.lists(
    st.integers(-900, 900).map(lambda k: k / 100), min_size=1, max_size=5, unique=True
).map(sorted)


def polynomial(roots):
    return lambda x: np.prod([x - root for root in roots], axis=0)


@given(ROOTS, st.floats(1e-9, 1e-2))
def test_against_brentq_on_polynomials(roots, within):
    curve = polynomial(roots)
    points = np.linspace(-10.0, 10.0, 4003)  # no two roots between neighbours
    found = sign_changes(lambda x: curve(x)[:, None], points, within=within)
    assert len(found) == len(roots)
    for change, root in zip(found, roots, strict=True):
        reference = brentq(curve, root - 0.004, root + 0.004, xtol=1e-13)
        assert change.low <= change.value <= change.high
        assert change.high - change.low <= within
        assert change.low - 1e-12 <= reference <= change.high + 1e-12
        assert change.rises == (curve(root + 0.004) > 0)


@given(ROOTS, st.integers(3, 40))
def test_law_the_bracket_holds_a_change_and_what_is_before_and_after_is_there(roots, count):
    curve = polynomial(roots)
    points = np.linspace(-10.0, 10.0, count)
    signs = np.sign(curve(points))
    signs = signs[signs != 0]
    found = sign_changes(lambda x: curve(x)[:, None], points, within=1e-6)
    assert len(found) == np.count_nonzero(np.diff(signs))
    for change in found:
        assert change.before == curve(change.low)
        assert change.after == curve(change.high)
        assert change.before * change.after <= 0 != change.after


@given(st.floats(-5.0, 5.0), st.floats(0.1, 100.0))
def test_law_a_straight_line_is_met_in_a_batch_or_two(root, slope):
    batches = []

    def line(x):
        batches.append(x.size)
        return slope * (x - root)[:, None]

    found = sign_changes(line, [-10.0, 10.0], within=1e-9)
    assert found[0].value == pytest.approx(root, abs=1e-9)
    assert len(batches) <= 4


def test_every_column_is_narrowed_in_the_same_batches():
    batches = []

    def several(x):
        batches.append(x.size)
        return np.stack([x - 0.3, 0.7 - x, np.ones_like(x), x**3 - 0.5], axis=1)

    found = sign_changes(several, [0.0, 1.0], within=1e-6)
    assert [(change.column, change.rises) for change in found] == [(0, True), (1, False), (3, True)]
    assert [change.value for change in found] == pytest.approx([0.3, 0.7, 0.5 ** (1 / 3)], abs=1e-6)
    assert len(batches) <= 6  # the sweep, and rounds that all three share


def test_a_jump_is_narrowed_and_its_step_tells():
    found = sign_changes(lambda x: np.where(x < np.pi, -5.0, 2.0)[:, None], [0, 4], within=1e-9)
    (jump,) = found
    assert jump.low < np.pi <= jump.high <= jump.low + 1e-9
    assert jump.step == 7.0


def test_whole_numbers_are_the_only_ones_asked_for():
    asked = []

    def months(x):
        asked.extend(x.tolist())
        return (x - 31.5)[:, None]

    (found,) = sign_changes(months, [0, 84], within=1e-9, whole=True)
    assert (found.low, found.high) == (31.0, 32.0)
    assert all(value == round(value) for value in asked)


@pytest.mark.parametrize(
    ("values", "changes"),
    [
        ([1, 0, 1], 0),  # a touch
        ([0, 0, 1], 0),  # a stretch of zeros at an end
        ([1, 0, -1], 1),
        ([1, 0, 0, -1], 1),
        ([-1, np.nan, 1], 1),
        ([np.nan, np.nan, 1], 0),
        ([1, -1, 1], 2),
        ([1, -1e-9, 1], 0),  # as small as rounding
    ],
)
def test_points_without_a_sign_are_passed_over(values, changes):
    at = np.arange(len(values), dtype=float)
    curve = np.array(values, dtype=float)
    found = sign_changes(
        lambda x: np.interp(x, at, curve)[:, None], at, curve[:, None], within=1e-6, zero=1e-8
    )
    assert len(found) == changes


def test_a_stretch_of_zeros_between_two_signs_ends_where_the_new_one_begins():
    at, curve = np.array([0.0, 1.0, 2.0, 3.0]), np.array([1.0, 0.0, 0.0, -1.0])
    (found,) = sign_changes(lambda x: np.interp(x, at, curve)[:, None], at, within=1e-9)
    assert found.value == pytest.approx(2.0, abs=1e-8)


@pytest.mark.parametrize(
    ("points", "values", "within", "words"),
    [
        ([1.0, 0.0], None, 1.0, "points.*must ascend"),
        ([0.0, 1.0], None, 0.0, "within: 0.0 must be above 0"),
        ([0.0, 1.0], [[1.0]], 1.0, r"values.*shape \(2, differences\)"),
    ],
)
def test_refuses_what_is_no_sweep(points, values, within, words):
    with pytest.raises(InputError, match=words):
        sign_changes(lambda x: x[:, None], points, values, within=within)


def test_against_brentq_on_single_appraisals_two_alternatives_of_the_demo_cross():
    study = read_study(data_folder() / "studies" / "quenlow.toml")

    def lead(volume):
        gains = volume_sweep(study, volume).gains[0]
        return gains[1] - gains[2]

    sweep = volume_sweep(study, [1.0, 1.25, 1.5])
    (found,) = crossovers(study, 1, 2, sweep, within=1e-6)
    assert found.volume == pytest.approx(brentq(lead, 1.0, 1.5, xtol=1e-9), abs=1e-6)
    assert (found.below, found.above) == ((2, 1) if lead(1.5) > 0 else (1, 2))
