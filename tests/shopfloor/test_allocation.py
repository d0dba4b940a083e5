"""The kernel of the monthly programmes against scipy's HiGHS, ties and empty bounds included."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import linprog

from capex.errors import NoAnswerError
from capex.shopfloor.allocation import least_loss_relief


def programmes(seed: int, kind: str, count: int = 40):
    """Return random covering programmes of one shape: excess, relief and loss."""
    draw = np.random.default_rng(seed)
    rows, moves = int(draw.integers(1, 7)), int(draw.integers(1, 16))
    relief = draw.uniform(0.1, 2.0, (rows, moves, count))
    relief[draw.random(relief.shape) < 0.4] = 0.0
    loss = draw.uniform(0.0, 5.0, (moves, count))
    if kind == "moves between stations":  # relief of one row at the expense of another
        relief *= np.where(draw.random(relief.shape) < 0.25, -1.0, 1.0)
    elif kind == "ties":  # equal losses and reliefs, several of them zero
        relief, loss = np.round(relief), np.round(loss / 2.0)
    elif kind == "no loss":
        loss[:] = 0.0
    # a point inside the bounds keeps every programme solvable; some rows have room
    point = draw.uniform(0.0, 1.0, (moves, count))
    if kind == "only just":  # every move has to be made in full
        point[:] = 1.0
    excess = (relief * point).sum(axis=1)
    excess -= draw.uniform(0.0, 0.5, excess.shape) * (draw.random(excess.shape) < 0.5)
    excess[draw.random(excess.shape) < 0.2] -= 10.0
    if kind == "only just":
        excess = (relief * point).sum(axis=1) * (1 - 1e-9)
    return excess, relief, loss


KINDS = ("plain", "moves between stations", "ties", "no loss", "only just")


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("seed", range(8))
def test_against_highs_random_covering_programmes(seed, kind):
    excess, relief, loss = programmes(seed, kind)
    found = least_loss_relief(excess, relief, loss)
    assert found.moves.min() >= 0.0
    assert found.moves.max() <= 1.0
    for p in range(loss.shape[1]):
        best = linprog(loss[:, p], -relief[..., p], -excess[:, p], bounds=(0, 1), method="highs")
        assert best.status == 0
        got = relief[..., p] @ found.moves[:, p]
        assert (got >= excess[:, p] - 1e-7).all()
        assert loss[:, p] @ found.moves[:, p] == pytest.approx(best.fun, rel=1e-7, abs=1e-7)


@pytest.mark.parametrize("kind", KINDS[:3])
@pytest.mark.parametrize("seed", range(8))
def test_law_worth_is_a_dual_solution(seed, kind):
    """Weak duality closes: worth·excess less what bounded moves would overpay is the loss."""
    excess, relief, loss = programmes(seed, kind)
    found = least_loss_relief(excess, relief, loss)
    assert found.worth.min() >= -1e-9
    reduced = loss - np.einsum("rp,rvp->vp", found.worth, relief)
    dual = (found.worth * excess).sum(axis=0) + np.minimum(reduced, 0.0).sum(axis=0)
    primal = (loss * found.moves).sum(axis=0)
    assert dual == pytest.approx(primal, rel=1e-6, abs=1e-6)


@pytest.mark.parametrize("kind", KINDS)
def test_law_problems_solved_together_are_solved_as_if_alone(kind):
    excess, relief, loss = programmes(3, kind)
    together = least_loss_relief(excess, relief, loss)
    for p in range(0, loss.shape[1], 3):
        alone = least_loss_relief(excess[:, [p]], relief[..., [p]], loss[:, [p]])
        value = loss[:, p] @ together.moves[:, p]
        assert loss[:, p] @ alone.moves[:, 0] == pytest.approx(value, rel=1e-9, abs=1e-9)


@settings(max_examples=25)
@given(st.integers(0, 10_000), st.sampled_from(KINDS[:3]), st.floats(0.01, 100.0))
def test_law_scaled_losses_scale_the_worth(seed, kind, factor):
    excess, relief, loss = programmes(seed, kind, count=3)
    one, other = (least_loss_relief(excess, relief, loss * f) for f in (1.0, factor))
    value = (loss * one.moves).sum(axis=0)
    assert (loss * other.moves).sum(axis=0) == pytest.approx(value, rel=1e-7, abs=1e-8)


def test_nothing_is_moved_where_there_is_room():
    found = least_loss_relief(np.array([[-1.0]]), np.array([[[2.0]]]), np.array([[3.0]]))
    assert found.moves.tolist() == [[0.0]]
    assert found.worth.tolist() == [[0.0]]


def test_a_limit_row_shares_what_can_be_moved():
    # Two ways out for the same orders: together they cannot move more than all of them.
    excess = np.array([[3.0], [-1.0]])
    relief = np.array([[[2.0], [4.0]], [[-1.0], [-1.0]]])
    found = least_loss_relief(excess, relief, np.array([[1.0], [4.0]]))
    assert found.moves[:, 0] == pytest.approx([0.5, 0.5])


def test_refuses_what_no_move_can_relieve():
    with pytest.raises(NoAnswerError, match="cannot be relieved"):
        least_loss_relief(np.array([[3.0]]), np.array([[[2.0]]]), np.array([[1.0]]))
