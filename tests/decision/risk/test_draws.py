"""Draws: even in every direction, together as stated, the same for the same seed."""

import re

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from capex.decision.risk.distributions import uncertain_inputs
from capex.decision.risk.draws import SETS, draw, joined_ranks, sobol_points
from capex.errors import InputError, StudyError
from capex.study import StudyFile, data_folder
from capex.study.uncertainty import RankCorrelation, normal_correlations

STUDY = data_folder() / "studies" / "quenlow.toml"
WAGE, RENT = "shop.people.wage", "shop.premises.rent"


@pytest.fixture(scope="module")
def file() -> StudyFile:
    return StudyFile.read(STUDY)


def test_law_every_set_is_even_in_every_input() -> None:
    """A set of 2^m Sobol points has exactly one in each of 2^m equal parts of every axis."""
    points = sobol_points(1024, 7, seed=3).reshape(SETS, 64, 7)
    for each in points:
        assert np.array_equal(
            np.sort(np.floor(each * 64), axis=0), np.tile(np.arange(64)[:, None], 7)
        )


def test_law_the_seed_alone_decides() -> None:
    assert np.array_equal(sobol_points(64, 3, 5), sobol_points(64, 3, 5))
    assert not np.array_equal(sobol_points(64, 3, 5), sobol_points(64, 3, 6))


def test_law_sets_differ() -> None:
    sets = sobol_points(512, 2, 1).reshape(SETS, -1)
    assert len({each.tobytes() for each in sets}) == SETS


@pytest.mark.parametrize("count", [0, 31, 33, 4095, 2**21])
def test_refuses_counts_that_are_no_power_of_two(count: int) -> None:
    with pytest.raises(InputError, match="must be a power of two, 32 to 1,048,576"):
        sobol_points(count, 2, 1)


@given(st.floats(-1.0, 1.0))
def test_against_scipy_the_ranks_have_the_stated_correlation(rank: float) -> None:
    pair = [RankCorrelation(one="a", other="b", rank=rank)]
    points = sobol_points(4096, 2, seed=11)
    joined = joined_ranks(points, normal_correlations(["a", "b"], pair))
    assert stats.spearmanr(joined).statistic == pytest.approx(rank, abs=0.01)
    for column in joined.T:  # each input keeps its own distribution
        assert stats.kstest(column, "uniform").statistic < 0.01


def test_law_three_correlated_inputs_keep_every_pair() -> None:
    pairs = [
        RankCorrelation(one="a", other="b", rank=0.6),
        RankCorrelation(one="b", other="c", rank=-0.5),
        RankCorrelation(one="a", other="c", rank=-0.2),
    ]
    names = ["a", "x", "b", "c"]
    points = sobol_points(16384, 4, seed=2)
    joined = joined_ranks(points, normal_correlations(names, pairs))
    found = stats.spearmanr(joined).statistic
    assert found[0, 2] == pytest.approx(0.6, abs=0.01)
    assert found[2, 3] == pytest.approx(-0.5, abs=0.01)
    assert found[0, 3] == pytest.approx(-0.2, abs=0.01)
    assert np.array_equal(joined[:, 1], points[:, 1])


def test_a_study_s_correlations_reach_its_draws(file: StudyFile) -> None:
    pair = [{"one": WAGE, "other": RENT, "rank": -0.7}]
    study = file.changed({"uncertainty.correlations": pair, "uncertainty.seed": 9}).study
    found = draw(study, 4096)
    values = found.scenarios()
    assert found.seed == 9
    assert stats.spearmanr(values[WAGE], values[RENT]).statistic == pytest.approx(-0.7, abs=0.02)
    assert set(draw(study, 32, held={WAGE: 22 / 3600}).scenarios()) == set(values) - {WAGE}


def test_refuses_correlations_that_cannot_hold_at_once(file: StudyFile) -> None:
    third = next(p for p, q in file.study.quantities() if q.low != q.high and p not in (WAGE, RENT))
    pairs = [
        {"one": WAGE, "other": RENT, "rank": 0.9},
        {"one": RENT, "other": third, "rank": 0.9},
        {"one": WAGE, "other": third, "rank": -0.9},
    ]
    with pytest.raises(StudyError, match="cannot hold all at once"):
        file.changed({"uncertainty.correlations": pairs})


@pytest.mark.parametrize(
    ("pair", "bound"),
    [
        ({"one": WAGE, "other": "no.such.input", "rank": 0.5}, "must be the path of an input"),
        ({"one": WAGE, "other": WAGE, "rank": 0.5}, "two different inputs"),
        ({"one": WAGE, "other": RENT, "rank": 1.5}, "less than or equal to 1"),
    ],
)
def test_refuses_correlations_that_are_none(file: StudyFile, pair: object, bound: str) -> None:
    with pytest.raises(StudyError, match=bound):
        file.changed({"uncertainty.correlations": [pair]})


def test_refuses_a_pair_stated_twice(file: StudyFile) -> None:
    pair = {"one": WAGE, "other": RENT, "rank": 0.5}
    turned = {"one": RENT, "other": WAGE, "rank": 0.2}
    with pytest.raises(StudyError, match="a second time"):
        file.changed({"uncertainty.correlations": [pair, turned]})


def test_law_a_correlation_with_a_certain_input_changes_no_draw(file: StudyFile) -> None:
    pair = [{"one": WAGE, "other": RENT, "rank": 0.9}]
    alone = draw(file.changed({RENT: "130 USD/m²/year", "uncertainty.correlations": []}).study, 64)
    stated = {RENT: "130 USD/m²/year", "uncertainty.correlations": pair}
    together = draw(file.changed(stated).study, 64)
    assert RENT not in [one.path for one in together.inputs]
    assert together.scenarios(slice(0, 64)).keys() == alone.scenarios(slice(0, 64)).keys()
    for path, values in alone.scenarios(slice(0, 64)).items():
        assert np.array_equal(together.scenarios(slice(0, 64))[path], values)


def test_values_that_cannot_go_together_are_refused_with_their_draw(file: StudyFile) -> None:
    """Each fits with the other's likely value, so the study is read; its draws do not all fit.

    A day has 24 hours, of which the demo allows two for overtime.
    """
    hours, night = "shop.hours.hours_per_day", "shop.hours.overnight_per_day"
    study = file.changed({
        hours: {"low": "6 h", "likely": "9 h", "high": "14 h"},
        night: {"low": "2 h", "likely": "8 h", "high": "13 h"},
    }).study  # fmt: skip
    with pytest.raises(InputError, match=r"leave room for .*; so it is in draw") as refused:
        draw(study, 1024)
    said = str(refused.value)
    assert "narrow their low and high values" in said
    first = int(re.search(r"in draw ([\d,]+) of 1,024", said)[1].replace(",", ""))  # type: ignore[index]
    ranks = joined_ranks(
        sobol_points(1024, len(uncertain_inputs(study)), study.uncertainty.seed),
        normal_correlations(
            [one.path for one in uncertain_inputs(study)], study.uncertainty.correlations
        ),
    )
    both = sum(
        one.values(ranks[:, k])
        for k, one in enumerate(uncertain_inputs(study))
        if one.path in {hours, night}
    )
    assert int(np.argmax(both > 22 * 3600.0)) + 1 == first
    held = draw(study, 1024, held={hours: 8 * 3600.0})
    assert held.count == 1024
    with pytest.raises(InputError, match=r"so it is in draw"):
        draw(study, 1024, held={hours: 12 * 3600.0})
