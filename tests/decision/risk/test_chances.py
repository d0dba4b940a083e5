"""Chances, percentiles, regret, dominance: errors that hold, and what must follow from what."""

from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp
from scipy import stats

from capex.decision.risk.chances import (
    best_shares,
    chance,
    dominance,
    mean,
    percentile,
    percentiles,
    regret,
)
from capex.decision.risk.draws import SETS, sobol_points
from capex.errors import InputError

GAINS = hnp.arrays(
    np.float64,
    st.tuples(st.integers(1, 4).map(lambda k: k * SETS), st.integers(1, 4)),
    elements=st.integers(-50, 50).map(float),
)


@given(GAINS)
def test_law_chances_of_being_best_add_up_to_one(gains: Any) -> None:
    assert sum(one.value for one in best_shares(gains)) == pytest.approx(1.0, abs=1e-12)


@given(GAINS)
def test_law_regret_is_never_negative_and_the_best_has_none(gains: Any) -> None:
    found = regret(gains)
    assert (found >= 0.0).all()
    assert (found.min(axis=1) == 0.0).all()


@given(GAINS, st.data())
def test_law_dominance_implies_the_order_of_means(gains: Any, data: st.DataObject) -> None:
    one, other = (data.draw(st.integers(0, gains.shape[1] - 1)) for _ in range(2))
    order = dominance(gains, one, other)
    if order:
        assert gains[:, one].mean() >= gains[:, other].mean() - 1e-9
        assert dominance(gains, other, one) != 1


@given(GAINS, st.data())
def test_against_utilities_second_order_dominance(gains: Any, data: st.DataObject) -> None:
    """Second order: E[min(X, c)] is at least as much at every level c; first: P(X > c) is."""
    one, other = (data.draw(st.integers(0, gains.shape[1] - 1)) for _ in range(2))
    mine, theirs = gains[:, one], gains[:, other]
    levels = np.unique(gains[:, [one, other]])
    same = np.array_equal(np.sort(mine), np.sort(theirs))
    first = all((mine >= c).sum() >= (theirs >= c).sum() for c in levels)
    second = all(np.minimum(mine, c).sum() >= np.minimum(theirs, c).sum() - 1e-6 for c in levels)
    expected = 0 if same else 1 if first else 2 if second else 0
    assert dominance(gains, one, other) == expected


def test_law_an_identical_alternative_dominates_nothing() -> None:
    gains = np.tile(np.random.default_rng(1).normal(size=(64, 1)), (1, 2))
    assert dominance(gains, 0, 1) == 0


def test_law_the_interval_of_a_mean_holds_the_truth(measured: Any) -> None:
    """Of 400 simulations of a known mean about 95 % hold it: between 91 % and 99 %."""
    held = 0
    for seed in range(400):
        points = sobol_points(256, 3, seed)
        found = mean(np.exp(points).prod(axis=1))
        held += abs(found.value - (np.e - 1.0) ** 3) <= found.error
    measured(f"95 % intervals of a mean by Sobol sets: {held} of 400 hold it")
    assert 364 <= held <= 396


def test_law_the_interval_of_a_chance_holds_the_truth(measured: Any) -> None:
    held = 0
    for seed in range(400):
        points = sobol_points(512, 2, seed)
        found = chance(points.sum(axis=1) < 0.7)
        held += abs(found.value - 0.245) <= found.error
    measured(f"95 % intervals of a chance by Sobol sets: {held} of 400 hold it")
    assert 364 <= held <= 396


#: Fewer than these hold in one of a thousand runs of 400 intervals that are truly at 95 %.
HOLD_AT_LEAST = int(stats.binom.ppf(0.001, 400, 0.95))


@pytest.mark.parametrize("usual", [False, True])
@pytest.mark.parametrize("expected", [2.5, 3.2, 4.0, 5.0, 6.0])
def test_law_the_interval_of_a_rare_chance_holds_the_truth(
    expected: float, usual: bool, measured: Any
) -> None:
    """Seen in 2 to 6 of 256 draws, or missed in as few: a triangle at a corner of the square."""
    exact, held = expected / 256, 0
    for seed in range(400):
        found = chance((sobol_points(256, 2, seed).sum(axis=1) < np.sqrt(2.0 * exact)) ^ usual)
        held += abs(found.value - (1.0 - exact if usual else exact)) <= found.error
    measured(f"95 % intervals of a chance seen {expected:g} times: {held} of 400 hold it")
    assert held >= HOLD_AT_LEAST


@pytest.mark.parametrize("count", [1, 3, 12, 20])
@pytest.mark.parametrize("size", [64, 4096])
def test_against_scipy_few_seen(count: int, size: int) -> None:
    """Spread evenly over the sets, so that the sets alone would say next to nothing."""
    happens = np.zeros(size, dtype=bool)
    happens[:: size // count] = True
    happens[np.flatnonzero(happens)[count:]] = False
    interval = stats.binomtest(count, size).proportion_ci(0.95, method="exact")
    expected = max(interval.high - count / size, count / size - interval.low)
    found = chance(happens)
    assert found.value == count / size
    assert found.error >= expected * (1.0 - 1e-9)
    if count in (3, 12):
        assert found.error == pytest.approx(expected, rel=1e-9)


def test_law_the_mean_of_what_is_rarely_seen_is_as_unsure_as_its_chance() -> None:
    happens = np.zeros(4096, dtype=bool)
    happens[::700] = True
    seen = chance(happens)
    found = mean(np.where(happens, -250.0, 0.0))
    assert found.value == pytest.approx(-250.0 * seen.value)
    assert found.error == pytest.approx(250.0 * seen.error)


@pytest.mark.parametrize("share", [0.05, 0.5, 0.95])
@pytest.mark.parametrize("has", [1.0, 0.7])
def test_law_the_interval_of_a_percentile_holds_the_truth(
    share: float, has: float, measured: Any
) -> None:
    """Of a normal variable, also where three draws in ten have none: at least 91 % of 400 hold it.

    Near an end, where some 90 draws leave few beyond it, the interval is too wide.
    """
    exact, held = float(stats.norm.ppf(share)), 0
    for seed in range(400):
        points = sobol_points(128, 3, seed)
        figures = stats.norm.ppf(points[:, :2]) @ np.array([0.6, 0.8])
        found = percentile(np.where(points[:, 2] < has, figures, np.inf), share)
        held += abs(found.value - exact) <= found.error
    measured(f"95 % intervals of percentile {share:.0%}, {has:.0%} have one: {held} of 400 hold it")
    assert 364 <= held < 400


def test_a_percentile_counts_those_that_have_one() -> None:
    figures = np.tile([1.0, 2.0, 3.0, np.inf], 16)
    known = figures[np.isfinite(figures)]
    for share in (0.05, 0.4, 0.95):
        assert percentile(figures, share).value == np.quantile(known, share, method="inverted_cdf")


def test_what_was_never_seen_has_an_error_all_the_same() -> None:
    assert chance(np.ones(64, dtype=bool)).error == pytest.approx(2.9957 / 64, rel=1e-4)


def test_percentiles_keep_what_is_never_paid_back() -> None:
    years = np.array([1.0, 2.0, np.inf, np.inf])[:, None]
    assert percentiles(years, [0.0, 0.25, 0.5, 0.75, 1.0])[:, 0].tolist() == [
        1.0, 1.0, 2.0, np.inf, np.inf,
    ]  # fmt: skip


@given(GAINS)
def test_against_numpy_percentiles(gains: Any) -> None:
    shares = [0.05, 0.25, 0.5, 0.95]
    theirs = np.quantile(gains, shares, axis=0, method="inverted_cdf")
    assert np.array_equal(percentiles(gains, shares), theirs)


def test_refuses_what_is_no_set_of_draws() -> None:
    with pytest.raises(InputError, match="multiple of 16"):
        mean([1.0] * 17)
    with pytest.raises(InputError, match="multiple of 16"):
        chance([True] * 17)
    with pytest.raises(InputError, match="must be finite"):
        mean([np.inf] * 16)
    with pytest.raises(InputError, match="between 0 and 1"):
        percentiles(np.zeros((16, 1)), [1.5])
    with pytest.raises(InputError, match="finite in some"):
        percentile(np.full(16, np.inf), 0.5)
