"""What knowing is worth: a textbook case, closed forms of normal gains, and its bounds."""

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp
from risk_rows import published
from scipy import stats

from capex.decision.risk.distributions import InputDistribution
from capex.decision.risk.draws import SETS, Draws, joined_ranks, sobol_points
from capex.decision.risk.information import perfect_information, value_of_knowing
from capex.study import default
from capex.study.quantity import Entry

GAINS = hnp.arrays(
    np.float64,
    st.tuples(st.integers(1, 4).map(lambda k: k * SETS), st.integers(1, 4)),
    elements=st.integers(-50, 50).map(float),
)


def draws_of(*names: str, count: int = 4096, seed: int = 1) -> Draws:
    quantity = replace(default(0.5, Entry("number")), low=0.0, high=1.0)
    ranks = sobol_points(count, len(names), seed)
    return Draws(tuple(InputDistribution(name, quantity) for name in names), ranks, ranks, seed)


@pytest.mark.parametrize(("inputs", "expected", "tolerance"), published("evpi"))
def test_published_perfect_information(
    inputs: dict[str, Any], expected: float, tolerance: float
) -> None:
    gains = np.tile(np.array(inputs["gains"], dtype=np.float64), (SETS, 1))
    assert perfect_information(gains).value == pytest.approx(expected, abs=tolerance)


@given(GAINS)
def test_law_knowing_is_never_worth_less_than_nothing(gains: Any) -> None:
    assert perfect_information(gains).value >= 0.0


@given(GAINS)
def test_law_knowing_is_worth_nothing_where_one_is_always_best(gains: Any) -> None:
    ahead = np.concatenate([gains, gains.max(axis=1, keepdims=True) + 1.0], axis=1)
    assert perfect_information(ahead).value == 0.0


def normal_loss(middle: float, deviation: float) -> float:
    """E[max(0, X)] of a normal X; source raiffa-schlaifer-1961."""
    z = middle / deviation
    return float(deviation * stats.norm.pdf(z) + middle * stats.norm.cdf(z))


def test_against_the_normal_loss_integral(measured: Any) -> None:
    """Gain −1 + 3 z₁ + 2 z₂ against none: everything, each input alone, and one that is idle."""
    draws = draws_of("idle", "first", "second", count=16384)
    z = stats.norm.ppf(draws.ranks)
    gains = np.stack([np.zeros(len(z)), -1.0 + 3.0 * z[:, 1] + 2.0 * z[:, 2]], axis=1)
    whole = perfect_information(gains)
    assert whole.value == pytest.approx(normal_loss(-1.0, np.hypot(3.0, 2.0)), rel=0.01)
    found = {one.path: one for one in value_of_knowing(draws, gains)}
    for path, deviation in (("first", 3.0), ("second", 2.0)):
        exact = normal_loss(-1.0, deviation)
        measured(f"worth of knowing the {path}: {found[path].worth.value:.4f}, exact {exact:.4f}")
        assert found[path].worth.value == pytest.approx(exact, rel=0.02)
        assert found[path].share == pytest.approx(exact / whole.value, rel=0.03)
    assert found["idle"].worth.value <= 0.01 * whole.value


def holds(runs: int) -> int:
    """Return how many of so many intervals hold in all but one of a thousand tries at 95 %."""
    return int(stats.binom.ppf(0.001, runs, 0.95))


def test_law_the_interval_of_a_share_holds_the_truth(measured: Any) -> None:
    """Of 400 simulations 95 % hold the exact share; source raiffa-schlaifer-1961."""
    exact = normal_loss(-1.0, 3.0) / normal_loss(-1.0, np.hypot(3.0, 2.0))
    held, apart = 0, 0
    for seed in range(400):
        draws = draws_of("first", "second", count=1024, seed=seed)
        z = stats.norm.ppf(draws.ranks)
        gains = np.stack([np.zeros(len(z)), -1.0 + 3.0 * z[:, 0] + 2.0 * z[:, 1]], axis=1)
        found = next(one for one in value_of_knowing(draws, gains) if one.path == "first")
        held += abs(found.share - exact) <= found.share_error
        worth = found.worth.value / found.share  # of everything
        apart += found.worth.error / worth > found.share_error
    measured(f"95 % intervals of a share: {held} of 400 hold it")
    assert holds(400) <= held < 400
    assert apart > 200  # the same draws: a share is surer than its worth alone


def test_a_share_of_nothing_is_none() -> None:
    draws = draws_of("only", count=64)
    (found,) = value_of_knowing(draws, np.tile([1.0, 2.0], (64, 1)))
    assert (found.share, found.share_error, found.worth.value) == (0.0, 0.0, 0.0)


def test_law_inputs_come_with_the_most_worth_knowing_first() -> None:
    draws = draws_of("small", "large")
    gains = np.stack([np.zeros(4096), (draws.ranks - 0.5) @ np.array([1.0, 5.0])], axis=1)
    first, second = value_of_knowing(draws, gains)
    assert (first.path, second.path) == ("large", "small")
    assert first.worth.value > second.worth.value


def test_law_noise_is_not_taken_for_knowledge() -> None:
    """An idle input is worth nothing, whatever the other does, within its error."""
    for seed in range(5):
        draws = draws_of("idle", "other", count=512, seed=seed)
        gains = np.stack([np.zeros(512), draws.ranks[:, 1] - 0.5], axis=1)
        idle = next(one for one in value_of_knowing(draws, gains) if one.path == "idle")
        assert idle.worth.value <= max(idle.worth.error, 0.005)


def input_of(name: str, low: float, likely: float, high: float, **more: Any) -> InputDistribution:
    quantity = default(likely, more.pop("entry", Entry("number")))
    return InputDistribution(name, replace(quantity, low=low, high=high, **more))


def drawn(inputs: tuple[InputDistribution, ...], ranks: Any, seed: int) -> Draws:
    values = np.stack([one.values(ranks[:, k]) for k, one in enumerate(inputs)], axis=1)
    return Draws(inputs, ranks, values, seed)


def worth_of_groups(chances: Any, leads: Any) -> float:
    """Return Σ p·max(0, lead) − max(0, Σ p·lead): knowing which group holds, against no lead."""
    chances, leads = np.asarray(chances), np.asarray(leads)
    return float(chances @ np.maximum(leads, 0.0) - max(chances @ leads, 0.0))


@pytest.mark.parametrize("noise", [0.0, 3.0])
@pytest.mark.parametrize(
    ("chances", "leads", "exact"),
    [
        ((0.05, 0.9, 0.05), (-1.0, -1.0, 30.0), 0.95),
        ((0.02, 0.96, 0.02), (-40.0, 1.0, 1.0), 0.8),
        ((0.25, 0.5, 0.25), (-3.0, 1.0, 3.0), 0.75),
    ],
)
def test_against_closed_form_an_input_of_three_values(
    chances: Any, leads: Any, exact: float, noise: float, measured: Any
) -> None:
    """The lead hangs on the value alone, and on another input that comes to 0 on average."""
    assert worth_of_groups(chances, leads) == pytest.approx(exact)
    three = input_of("three", 1, 2, 3, distribution="discrete", chances=chances)
    held = 0
    for seed in range(40):
        draws = drawn((three, input_of("other", 0.0, 0.5, 1.0)), sobol_points(4096, 2, seed), seed)
        lead = np.array(leads)[draws.values[:, 0].astype(int) - 1]
        lead = lead + noise * stats.norm.ppf(draws.ranks[:, 1])
        gains = np.stack([np.zeros(4096), lead], axis=1)
        found = next(one for one in value_of_knowing(draws, gains) if one.path == "three")
        assert found.worth.value == pytest.approx(exact, rel=0.05)
        held += abs(found.worth.value - exact) <= found.worth.error + 1e-12
    measured(f"worth of an input of three values, exact {exact}: {held} of 40 intervals hold it")
    assert held >= holds(40)


def test_against_closed_form_an_input_of_whole_numbers() -> None:
    """How many come is drawn whole: only three of the five are good to have."""
    number = input_of("number", 1, 2, 5, entry=Entry("number", at_least=0.0, whole=True))
    draws = drawn((number,), sobol_points(4096, 1, 1), 1)
    curve = stats.beta(1.0 + 4.0 * 1.0 / 4.0, 1.0 + 4.0 * 3.0 / 4.0, loc=1.0, scale=4.0)
    chances = np.diff(curve.cdf([0.5, 1.5, 2.5, 3.5, 4.5, 5.5]))
    leads = np.array([-8.0, -8.0, 20.0, -8.0, -8.0])
    gains = np.stack([np.zeros(4096), leads[draws.values[:, 0].astype(int) - 1]], axis=1)
    (found,) = value_of_knowing(draws, gains)
    assert found.worth.value == pytest.approx(worth_of_groups(chances, leads), rel=2e-3)
    assert found.share == pytest.approx(1.0, abs=1e-12)


def test_law_the_rank_within_one_value_says_nothing_of_another_input(measured: Any) -> None:
    """One of three values, correlated with the normal variable that the lead is.

    Known is only in which tenth the first lies; its rank would tell far more of the second.
    """
    three = input_of("three", 1, 2, 3, distribution="discrete", chances=(0.1, 0.8, 0.1))
    correlations = np.array([[1.0, 0.9], [0.9, 1.0]])
    ranks = joined_ranks(sobol_points(16384, 2, 1), correlations)
    draws = drawn((three, input_of("other", 0.0, 0.5, 1.0)), ranks, 1)
    gains = np.stack([np.zeros(16384), stats.norm.ppf(ranks[:, 1]) - 0.1], axis=1)
    found = {one.path: one for one in value_of_knowing(draws, gains)}
    tail = 0.9 * float(stats.norm.pdf(stats.norm.ppf(0.9))) / 0.1
    exact = worth_of_groups([0.1, 0.8, 0.1], [-tail - 0.1, -0.1, tail - 0.1])
    by_rank = normal_loss(-0.1, 0.9)
    measured(f"known by its value {found['three'].worth.value:.4f}, exact {exact:.4f}; by rank "
             f"it would be {by_rank:.4f}")  # fmt: skip
    assert by_rank > 2.0 * exact
    assert found["three"].worth.value == pytest.approx(exact, rel=0.02)


def test_law_what_only_a_tail_turns_is_found(measured: Any) -> None:
    """Gain −2.5 + z₁ + ½ z₂ against none: one draw in 160 turns; source raiffa-schlaifer-1961."""
    exact, found = normal_loss(-2.5, 1.0), []
    for seed in range(60):
        draws = draws_of("first", "second", seed=seed)
        z = stats.norm.ppf(draws.ranks)
        gains = np.stack([np.zeros(len(z)), -2.5 + z[:, 0] + 0.5 * z[:, 1]], axis=1)
        found.append(next(one for one in value_of_knowing(draws, gains) if one.path == "first"))
    values = np.array([one.worth.value for one in found])
    held = sum(abs(one.worth.value - exact) <= one.worth.error for one in found)
    measured(f"worth of what a tail turns: {values.mean():.5f}, exact {exact:.5f}; {held} of 60")
    assert values.min() > 0.0
    assert values.mean() == pytest.approx(exact, rel=0.1)
    assert held >= holds(60)


@pytest.mark.parametrize(("rank", "high"), [(0.73, 5.0), (0.9, 10.0), (0.98, 30.0)])
def test_law_a_jump_is_found_though_it_is_no_polynomial(rank: float, high: float) -> None:
    """The lead is −1 up to a rank and high above it; what is left out is under one percent."""
    exact = worth_of_groups([rank, 1.0 - rank], [-1.0, high])
    values = []
    for seed in range(20):
        draws = draws_of("first", "second", seed=seed)
        lead = np.where(draws.ranks[:, 0] > rank, high, -1.0)
        lead = lead + 2.0 * stats.norm.ppf(draws.ranks[:, 1])
        found = value_of_knowing(draws, np.stack([np.zeros(4096), lead], axis=1))
        values.append(next(one.worth.value for one in found if one.path == "first"))
    assert np.mean(values) == pytest.approx(exact, rel=0.01)


def test_law_where_nothing_is_found_there_is_a_bound_that_holds(measured: Any) -> None:
    """Never 0 ± 0 while knowing everything is worth something, and at most what that is."""
    exact, none, held = normal_loss(-2.5, 1.0), 0, 0
    for seed in range(300):
        draws = draws_of("first", "second", count=256, seed=seed)
        z = stats.norm.ppf(draws.ranks)
        gains = np.stack([np.zeros(len(z)), -2.5 + z[:, 0] + 1.5 * z[:, 1]], axis=1)
        everything = perfect_information(gains)
        for one in value_of_knowing(draws, gains):
            assert one.worth.error > 0.0
            assert one.share_error > 0.0
            if one.path == "first" and one.worth.value == 0.0:
                assert one.worth.error <= everything.value + everything.error
                assert one.share_error == pytest.approx(one.worth.error / everything.value)
                none += 1
                held += one.worth.error >= exact
    measured(f"nothing found in {none} of 300: the bound holds in {held}")
    assert none > 100
    assert held >= holds(none)
