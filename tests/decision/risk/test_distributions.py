"""What an input may turn out to be: moments as derived, ends as stated, ranks to values."""

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from risk_rows import published
from scipy import special

from capex.decision.risk.distributions import InputDistribution
from capex.errors import InputError
from capex.study import default
from capex.study.quantity import Entry
from capex.study.spread import P90

ENTRY = Entry("number")


def input_of(
    low: float, likely: float, high: float, distribution: str = "pert", **more: Any
) -> InputDistribution:
    entry = more.pop("entry", ENTRY)
    quantity = replace(
        default(likely, entry), low=low, high=high, distribution=distribution, **more
    )
    return InputDistribution("input", quantity)


@pytest.mark.parametrize(("inputs", "expected", "tolerance"), published("pert", "triangular"))
def test_published_moments(inputs: dict[str, Any], expected: float, tolerance: float) -> None:
    result = inputs.pop("result")
    found = input_of(**inputs)
    if result == "below_likely":
        ranks = np.linspace(0.0, 1.0, 100_001)
        below = ranks[found.values(ranks) <= inputs["likely"] * (1 + 1e-12)].max()
        assert below == pytest.approx(expected, abs=tolerance + 1e-5)
        return
    assert getattr(found, result) == pytest.approx(expected, abs=tolerance)


@pytest.mark.parametrize(("inputs", "expected", "tolerance"), published("normal"))
def test_published_what_a_capacity_serves(
    inputs: dict[str, Any], expected: float, tolerance: float
) -> None:
    half = P90 * inputs["deviation"]
    demand = input_of(inputs["mean"] - half, inputs["mean"], inputs["mean"] + half, "normal")
    middles = (np.arange(2**20) + 0.5) / 2**20
    served = np.minimum(demand.values(middles), inputs["most"])
    assert served.mean() == pytest.approx(expected, abs=tolerance)


SHAPES = ("pert", "triangular", "normal", "lognormal")


@pytest.mark.parametrize("shape", SHAPES)
def test_against_numeric_moments(shape: str) -> None:
    """Mean and variance are those of the values at evenly spread ranks."""
    likely = np.sqrt(40.0 * 100.0) if shape == "lognormal" else 70.0
    found = input_of(40.0, likely, 100.0, shape)
    values = found.values((np.arange(2**20) + 0.5) / 2**20)
    assert values.mean() == pytest.approx(found.mean, rel=1e-5)
    assert values.var() == pytest.approx(found.variance, rel=1e-3)


@pytest.mark.parametrize("shape", ["normal", "lognormal"])
def test_low_and_high_are_the_tenth_and_ninetieth_percentile(shape: str) -> None:
    likely = 60.0 if shape == "lognormal" else 65.0
    low, high = 40.0, 90.0
    found = input_of(low, likely, high, shape)
    assert found.values([0.1, 0.5, 0.9]) == pytest.approx([low, likely, high], rel=1e-12)


def test_a_normal_distribution_ends_at_the_bounds_of_its_field() -> None:
    found = input_of(40.0, 100.0, 160.0, "normal", entry=Entry("number", at_least=0.0))
    assert found.values([0.0, 1e-9]).min() >= 0.0
    assert found.values([1.0 - 1e-12])[0] > 250.0


def test_a_lognormal_distribution_ends_at_the_bounds_of_its_field() -> None:
    """What is cut off is shared out over the rest: ranks and moments by numbers alone."""
    entry = Entry("number", at_least=25.0, at_most=160.0)
    found = input_of(40.0, 60.0, 90.0, "lognormal", entry=entry)
    ranks = (np.arange(2**20) + 0.5) / 2**20
    values = found.values(ranks)
    assert found.values([0.0, 1.0]) == pytest.approx([25.0, 160.0])
    assert values.min() >= 25.0
    assert values.max() <= 160.0
    whole = np.exp(np.log(60.0) + np.log(90.0 / 60.0) / P90 * special.ndtri(ranks))
    kept = whole[(whole >= 25.0) & (whole <= 160.0)]
    assert 0.99 < kept.size / whole.size < 0.999
    assert np.quantile(values, [0.01, 0.5, 0.99]) == pytest.approx(
        np.quantile(kept, [0.01, 0.5, 0.99]), rel=1e-4
    )
    assert found.mean == pytest.approx(kept.mean(), rel=1e-5)
    assert found.variance == pytest.approx(kept.var(), rel=1e-4)


def test_discrete_values_come_as_often_as_stated() -> None:
    found = input_of(1.0, 2.0, 4.0, "discrete", chances=(0.25, 0.5, 0.25))
    ranks = (np.arange(1000) + 0.5) / 1000
    values, counts = np.unique(found.values(ranks), return_counts=True)
    assert values.tolist() == [1.0, 2.0, 4.0]
    assert counts.tolist() == [250, 500, 250]
    assert (found.mean, found.variance) == (2.25, 1.1875)


@pytest.mark.parametrize(
    ("chances", "possible"),
    [((0.3, 0.7, 0.0), [1.0, 2.0]), ((0.0, 0.3, 0.7), [2.0, 4.0]), ((0.4, 0.0, 0.6), [1.0, 4.0]),
     ((0.0, 1.0, 0.0), [2.0])],
)  # fmt: skip
def test_law_a_discrete_value_of_chance_nothing_is_never_drawn(
    chances: tuple[float, float, float], possible: list[float]
) -> None:
    found = input_of(1.0, 2.0, 4.0, "discrete", chances=chances)
    values = found.values([0.0, *np.cumsum(chances), *np.linspace(0.0, 1.0, 1001), 1.0])
    assert np.unique(values).tolist() == possible
    assert (values[0], values[-1]) == (possible[0], possible[-1])


def test_counts_are_drawn_whole() -> None:
    found = input_of(1.0, 2.0, 5.0, entry=Entry("number", at_least=0.0, whole=True))
    values = found.values(np.linspace(0, 1, 101))
    assert set(values.tolist()) == {1.0, 2.0, 3.0, 4.0, 5.0}


@given(st.sampled_from(SHAPES), st.floats(0.001, 0.999), st.floats(0.001, 0.999))
def test_law_values_grow_with_their_rank(shape: str, one: float, other: float) -> None:
    found = input_of(40.0, 60.0 if shape == "lognormal" else 65.0, 90.0, shape)
    low, high = found.values(sorted([one, other]))
    assert low <= high


@pytest.mark.parametrize("rank", [-0.1, 1.1, float("nan")])
def test_refuses_ranks_that_are_none(rank: float) -> None:
    with pytest.raises(InputError, match="must lie between 0 and 1") as refused:
        input_of(1.0, 2.0, 3.0).values([0.5, rank])
    assert str(rank) in str(refused.value)


def test_refuses_an_input_without_a_spread() -> None:
    with pytest.raises(InputError, match="has no low and high value"):
        InputDistribution("wage", default(2, ENTRY)).values([0.5])
