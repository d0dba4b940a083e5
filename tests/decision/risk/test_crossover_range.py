"""The volume at which two change places, over the draws: where it is, and how sure that is."""

from collections.abc import Generator

import numpy as np
import numpy.typing as npt
import pytest

from capex.decision.appraise import appraise
from capex.decision.crossover import crossovers, volume_sweep
from capex.decision.risk.crossover_range import crossover_in_pieces, crossover_range
from capex.decision.risk.draws import draw
from capex.errors import InputError
from capex.study import Study, data_folder, read_study


@pytest.fixture(scope="module")
def demo() -> Study:
    return read_study(data_folder() / "studies" / "quenlow.toml")


def test_against_the_crossover_of_the_study(demo: Study) -> None:
    """Without other uncertain inputs every draw crosses where the study itself does."""
    held = {path: q.likely for path, q in demo.quantities() if q.low != q.high}
    sweep = volume_sweep(demo, np.geomspace(0.4, 2.5, 200))
    exact = crossovers(demo, 1, 2, sweep)[0].volume
    volumes = np.linspace(0.9 * exact, 1.1 * exact, 41)
    found = crossover_range(demo, draw(demo, 32, held=held), 1, 2, held, volumes=volumes)
    assert found.middle is not None
    assert found.middle.value == pytest.approx(exact, rel=1e-3)
    assert found.middle.error == 0.0  # every draw is the same
    assert found.extremes == (found.middle.value, found.middle.value)
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


@pytest.mark.parametrize("crossing", [0, 1, 19, 20, 58, 59, 128])
def test_few_draws_that_cross_have_no_percentiles(
    demo: Study, monkeypatch: pytest.MonkeyPatch, crossing: int
) -> None:
    """Each changes places at a volume of its own; from 20 on the middle is known, from 59 all."""
    changes = np.full(128, np.inf)
    changes[:crossing] = np.linspace(0.6, 1.9, crossing)

    def at(
        self: object, volume: npt.ArrayLike, rows: npt.NDArray[np.int64], *_: float
    ) -> Generator[float, None, npt.NDArray[np.float64]]:
        yield from ()
        return np.asarray(volume) - np.minimum(changes[rows], 100.0)

    monkeypatch.setattr("capex.decision.risk.crossover_range._Lead.at", at)
    found = crossover_range(demo, draw(demo, 128), 1, 2, volumes=np.array([0.5, 1.0, 2.0]))
    assert found.crosses.value == crossing / 128
    if not crossing:
        assert found.extremes is None
    else:
        assert found.extremes == pytest.approx((changes[0], changes[crossing - 1]))
    assert (found.middle is None) == (crossing < 20)
    assert (found.ends is None) == (crossing < 59)
    known = [*([found.middle] if found.middle else []), *(found.ends or ())]
    assert all(one.error > 0.0 for one in known)
    if found.ends is not None:
        assert found.ends[0].value == pytest.approx(
            np.quantile(changes[:crossing], 0.05, method="inverted_cdf")
        )


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
    assert (found.extremes, found.middle, found.ends) == (None, None, None)
    assert found.crosses.value == 0.0
    assert np.isinf(found.volumes).all()


def test_refuses_volumes_that_do_not_ascend(demo: Study) -> None:
    with pytest.raises(InputError, match="at least two, ascending"):
        crossover_range(demo, draw(demo, 32), 1, 2, volumes=[1.0, 0.5])
