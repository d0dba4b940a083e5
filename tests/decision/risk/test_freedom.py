"""Deciding later: never worth less than nothing, nothing without uncertainty, a textbook case."""

from collections.abc import Generator
from typing import Any

import numpy as np
import numpy.typing as npt
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp
from risk_rows import published

from capex.decision.appraise import appraise
from capex.decision.crossover import crossovers, volume_sweep
from capex.decision.risk.crossover_range import crossover_in_pieces, crossover_range
from capex.decision.risk.draws import SETS, draw
from capex.decision.risk.freedom import staging_freedom, value_of_freedom
from capex.decision.staging import purchase_timing
from capex.errors import InputError
from capex.study import Study, data_folder, read_study

WORTHS = hnp.arrays(
    np.float64,
    st.tuples(st.integers(1, 3).map(lambda k: k * SETS), st.integers(1, 4)),
    elements=st.integers(-50, 50).map(float),
)


@pytest.fixture(scope="module")
def demo() -> Study:
    return read_study(data_folder() / "studies" / "quenlow.toml")


def test_published_a_factory_that_can_wait() -> None:
    """Build now: 600. Wait a year and build only if the price is high: 773; freedom is worth 173.

    Source dixit-pindyck-1994, chapter 2: printed 600, 773 and 173.
    """
    prices = np.array([300.0, 100.0])
    now = -1600 + 200 + prices / 0.1
    later = (-1600 + prices + prices / 0.1) / 1.1
    assert now.mean() == pytest.approx(600, abs=0.5)
    worths = np.tile(np.stack([later, np.zeros(2)], axis=1), (SETS, 1))
    waiting = value_of_freedom(worths).value + worths.mean(axis=0).max()
    assert waiting == pytest.approx(773, abs=0.5)
    assert waiting - now.mean() == pytest.approx(173, abs=0.5)


@pytest.mark.parametrize(("inputs", "expected", "tolerance"), published("freedom"))
def test_published_freedom_to_decide_later(
    inputs: dict[str, Any], expected: float, tolerance: float
) -> None:
    net = np.array(inputs["payoffs"], dtype=np.float64) - inputs["cost"]
    worth = net / (1 + inputs["rate"]) ** inputs["years"]
    worths = np.tile(np.stack([worth, np.zeros(2)], axis=1), (SETS, 1))
    assert value_of_freedom(worths).value == pytest.approx(expected, abs=tolerance)


@given(WORTHS)
def test_law_freedom_is_never_worth_less_than_nothing(worths: Any) -> None:
    assert value_of_freedom(worths).value >= 0.0


@given(WORTHS)
def test_law_freedom_to_do_what_is_best_anyway_is_worth_nothing(worths: Any) -> None:
    ahead = np.concatenate([worths, worths.max(axis=1, keepdims=True) + 1.0], axis=1)
    assert value_of_freedom(ahead).value == 0.0


def test_law_without_uncertainty_freedom_is_worth_nothing(demo: Study) -> None:
    held = {path: q.likely for path, q in demo.quantities() if q.low != q.high}
    found = staging_freedom(demo, draw(demo, 32, held=held), "staged", held=held)
    assert found.worth.value == 0.0
    timing = purchase_timing(demo, "staged", months=[m for m in found.months if m], scenario=held)
    assert found.fixed == timing.best_month


def test_against_single_appraisals(demo: Study) -> None:
    draws = draw(demo, 32)
    found = staging_freedom(demo, draws, "staged", months=[24, 60])
    values = {path: v[3] for path, v in draws.scenarios().items()}
    path = "alternatives.staged.machines.1.month"
    each = [appraise(demo, {**values, path: m}).outcomes["staged"] for m in (24.0, 60.0)]
    assert found.months == (24, 60, None)
    assert sum(share.value for share in found.shares) == pytest.approx(1.0)
    assert all(share.error > 0.0 for share in found.shares)
    assert len({one.net_present_value[0] for one in each}) == 2


def test_refuses_months_beyond_the_horizon(demo: Study) -> None:
    with pytest.raises(InputError, match="must be 1 to 83, before the horizon"):
        staging_freedom(demo, draw(demo, 32), "staged", months=[84])


def test_against_the_crossover_of_the_study(demo: Study) -> None:
    """Without other uncertain inputs every draw crosses where the study itself does."""
    held = {path: q.likely for path, q in demo.quantities() if q.low != q.high}
    sweep = volume_sweep(demo, np.geomspace(0.4, 2.5, 200))
    exact = crossovers(demo, 1, 2, sweep)[0].volume
    volumes = np.linspace(0.9 * exact, 1.1 * exact, 41)
    found = crossover_range(demo, draw(demo, 32, held=held), 1, 2, held, volumes=volumes)
    assert [one.value for one in found.middle] == pytest.approx([exact] * 3, rel=1e-3)
    assert [one.error for one in found.middle] == [0.0] * 3
    assert found.crosses.value == 1.0


def test_law_two_that_are_equal_at_a_volume_looked_at_change_places_there(
    demo: Study, monkeypatch: pytest.MonkeyPatch
) -> None:
    def at(
        self: object, volume: npt.ArrayLike, rows: npt.NDArray[np.int64], *_: float
    ) -> Generator[float, None, npt.NDArray[np.float64]]:
        yield from ()
        return (np.asarray(volume) - 1.0) * np.ones(rows.size)

    monkeypatch.setattr("capex.decision.risk.crossover_range._Lead.at", at)
    found = crossover_range(demo, draw(demo, 32), 1, 2, volumes=np.array([0.5, 1.0, 2.0]))
    assert found.volumes.tolist() == [1.0] * 32


def test_against_many_volumes_in_every_draw(demo: Study) -> None:
    """Halved brackets come to where the lead changes sign among 400 volumes of the same draw."""
    draws = draw(demo, 32)
    found = crossover_range(demo, draws, 1, 2)
    fine = np.geomspace(0.4, 2.5, 400)
    for row in range(0, 32, 5):
        values = {path: np.full(fine.size, v[row]) for path, v in draws.scenarios().items()}
        gains = appraise(demo, values | {"levers.demand": fine}, keep="cash").net_present_value
        changes = np.flatnonzero(np.diff(np.sign(gains[:, 1] - gains[:, 2])))
        assert found.volumes[row] == pytest.approx(fine[changes[0]], rel=0.01)


def test_work_on_a_crossover_comes_in_pieces_that_ascend(demo: Study) -> None:
    *shares, last = crossover_in_pieces(demo, draw(demo, 32), 1, 2)
    assert shares == sorted(shares)
    assert shares[-1] == pytest.approx(1.0)
    assert last.middle is not None


def test_a_crossover_that_is_not_there_is_said(demo: Study) -> None:
    found = crossover_range(demo, draw(demo, 32), 0, 0, volumes=[0.5, 1.0])
    assert found.middle is None
    assert found.crosses.value == 0.0
    assert np.isinf(found.volumes).all()


def test_refuses_volumes_that_do_not_ascend(demo: Study) -> None:
    with pytest.raises(InputError, match="at least two, ascending"):
        crossover_range(demo, draw(demo, 32), 1, 2, volumes=[1.0, 0.5])
