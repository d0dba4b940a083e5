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
from capex.decision.risk.draws import SETS, Draws, sobol_points
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


def test_law_the_interval_of_a_share_holds_the_truth(measured: Any) -> None:
    """Of 200 simulations at least 90 % hold the exact share; source raiffa-schlaifer-1961."""
    exact = normal_loss(-1.0, 3.0) / normal_loss(-1.0, np.hypot(3.0, 2.0))
    held, apart = 0, 0
    for seed in range(200):
        draws = draws_of("first", "second", count=1024, seed=seed)
        z = stats.norm.ppf(draws.ranks)
        gains = np.stack([np.zeros(len(z)), -1.0 + 3.0 * z[:, 0] + 2.0 * z[:, 1]], axis=1)
        found = next(one for one in value_of_knowing(draws, gains) if one.path == "first")
        held += abs(found.share - exact) <= found.share_error
        worth = found.worth.value / found.share  # of everything
        apart += found.worth.error / worth > found.share_error
    measured(f"95 % intervals of a share: {held} of 200 hold it")
    assert 180 <= held < 200
    assert apart > 100  # the same draws: a share is surer than its worth alone


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
