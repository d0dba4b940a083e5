"""Ratio of actual to plan and its trend, against scipy; how often an interval holds the truth."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from capex.decision.year_on.estimates import LEAST_FOR_TREND, ratio, trend

months_seen = st.lists(st.tuples(st.floats(1.0, 1e5), st.floats(0.3, 3.0)), min_size=2, max_size=24)


@given(months_seen)
def test_against_scipy_the_interval_of_a_mean_of_logarithms(seen):
    plan = np.array([before for before, _ in seen])
    actual = plan * np.array([share for _, share in seen])
    found = ratio("demand", plan, actual)
    logs = np.log(actual / plan)
    scatter = stats.sem(logs)
    assert found.value == pytest.approx(stats.gmean(actual / plan))
    if scatter > 1e-12:  # scipy returns nothing for an interval without width
        ends = np.exp(stats.t.interval(0.8, logs.size - 1, loc=logs.mean(), scale=scatter))
        assert (found.low, found.high) == pytest.approx(tuple(ends))


@given(st.lists(st.floats(0.3, 3.0), min_size=LEAST_FOR_TREND, max_size=24))
def test_against_scipy_the_trend(shares):
    month = np.arange(1, len(shares) + 1)
    found = trend(month, np.full(len(shares), 50.0), 50.0 * np.array(shares))
    line = stats.linregress((month - 1) / 12, np.log(shares))
    assert found.start == pytest.approx(np.exp(line.intercept), rel=1e-6)
    assert found.yearly == pytest.approx(np.exp(line.slope), rel=1e-6)
    if line.stderr > 1e-6:
        half = stats.t.ppf(0.9, len(shares) - 2) * line.stderr
        assert np.log(found.high) == pytest.approx(line.slope + half, rel=1e-6, abs=1e-6)
        assert np.log(found.low) == pytest.approx(line.slope - half, rel=1e-6, abs=1e-6)
        if abs(line.pvalue - 0.05) > 1e-6:
            assert found.counts == (line.pvalue < 0.05 and abs(line.slope) > 1e-9)


def test_the_interval_holds_the_truth_as_often_as_it_says():
    """Seed 1; 4,000 years of a lognormal scatter of 10 %: 80 % ± three standard errors."""
    drawn = np.random.default_rng(1).normal(np.log(0.9), 0.1, size=(4000, 12))
    held = 0
    for logs in drawn:
        found = ratio("demand", np.ones(12), np.exp(logs))
        held += found.low <= 0.9 <= found.high
    assert held / 4000 == pytest.approx(0.8, abs=3 * np.sqrt(0.8 * 0.2 / 4000))


def test_law_as_planned_is_exactly_one():
    plan = [97.3, 110.2, 121.9, 80.7, 33.3, 12.1]
    found, line = ratio("demand", plan, plan), trend(range(1, 7), plan, plan)
    assert (found.value, found.low, found.high) == (1.0, 1.0, 1.0)
    assert (line.start, line.yearly, line.counts) == (1.0, 1.0, False)


def test_few_or_empty_months_are_named():
    one = ratio("demand", [10.0], [9.0])
    assert (one.value, one.low, one.months) == (pytest.approx(0.9), None, 1)
    assert "no interval" in one.note
    gap = ratio("bought_in", [10.0, 0.0], [4.0, 1.0])
    assert gap.value == 0.5
    assert gap.low is None
    assert "ratio of the sums" in gap.note
    assert ratio("bought_in", [0.0], [4.0]) is None
    assert trend([1, 2], [1.0, 1.0], [1.0, 2.0]) is None
