"""Machines that differ in a time that the study has once: against a library, and at the ends."""

import math

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from scipy import stats

from capex.errors import InputError
from capex.shopfloor.trial.reading import Reading
from capex.shopfloor.trial.readings import read_readings
from capex.shopfloor.trial.unequal import LEVEL, one_way_chance, unequal_machines
from capex.study import data_folder, read_study

tenths = st.integers(10, 5000).map(lambda tenth: tenth / 10)
group = st.lists(tenths, min_size=2, max_size=8)


@given(st.lists(group, min_size=2, max_size=5))
def test_against_scipy_one_way_analysis_of_variance(groups):
    assume(any(max(each) > min(each) for each in groups))
    expected = stats.f_oneway(*groups).pvalue
    assume(not math.isnan(expected))  # of equal means: rounding leaves less than nothing between
    assert one_way_chance(groups) == pytest.approx(expected, rel=1e-6, abs=1e-9)


@pytest.mark.parametrize(
    ("groups", "chance"), [([[7.1] * 3, [7.1] * 4], 1.0), ([[7.1] * 3, [7.2] * 4], 0.0)]
)
def test_readings_without_scatter_are_alike_or_not(groups, chance):
    assert one_way_chance(groups) == chance


def test_the_level_decides():
    """Two groups of three, moved apart until their chance passes the level."""

    def runs(apart):
        times = {"a": (199.0, 200.0, 201.0), "b": (199.0 + apart, 200.0 + apart, 201.0 + apart)}
        return [Reading(2, key, "load", time) for key, each in times.items() for time in each]

    # F = 3·apart²/2 and F(1, 4) at 5 % is 7.7086: apart = 2.267.
    assert unequal_machines(runs(2.26)) is None
    found = unequal_machines(runs(2.28))
    assert found is not None
    assert 0.04 < found.chance < LEVEL


def test_a_machine_timed_once_is_left_aside():
    runs = [Reading(2, "a", "load", time) for time in (200.0, 201.0, 199.0)]
    assert unequal_machines([*runs, Reading(3, "b", "load", 400.0)]) is None
    assert unequal_machines(runs) is None


def test_the_demo_s_machines_differ_in_what_its_readings_show():
    study = read_study(data_folder() / "studies" / "quenlow.toml")
    table = read_readings(data_folder() / "trials" / "quenlow_trial.csv", study)
    for work in ("load", "unload", "set up"):
        mine = [one for one in table.kept if one.work == work]
        groups: dict[str, list[float]] = {}
        for one in mine:
            groups.setdefault(one.machine, []).append(one.time / one.pieces)
        differ = len(groups) > 1 and stats.f_oneway(*groups.values()).pvalue < LEVEL
        assert (unequal_machines(mine) is not None) == differ


@pytest.mark.parametrize("groups", [[], [[1.0, 2.0]], [[1.0], [2.0]], [[1.0, 2.0], []]])
def test_refuses_what_has_no_variance(groups):
    with pytest.raises(InputError, match="must be at least 2"):
        one_way_chance(groups)
