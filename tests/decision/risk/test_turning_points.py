"""What would have to be true: against the break-evens of one input at a time, and as laws."""

from __future__ import annotations

import numpy as np
import pytest

from capex.decision.appraise import appraise
from capex.decision.break_even import BreakEvenReason, break_evens
from capex.decision.risk.turning_points import turning_points, turning_points_in_pieces
from capex.errors import InputError
from capex.study import Study, data_folder, read_study

PRICE = "machines.mid_all_in_one.price"
PATHS = (
    "shop.people.wage", "levers.demand", "levers.laminated_share", PRICE, "money.horizon",
    "machines.mid_all_in_one.cutting.blade_life", "levers.price",
)  # fmt: skip


@pytest.fixture(scope="module")
def demo() -> Study:
    return read_study(data_folder() / "studies" / "quenlow.toml")


@pytest.fixture(scope="module")
def found(demo: Study):
    return turning_points(demo, PATHS)


def test_against_break_evens_worked_out_one_by_one(demo: Study, found) -> None:
    even = [one for one in found if one.reason is BreakEvenReason.FOUND]
    assert len(even) >= 3
    for one in even:
        (alone,) = break_evens(demo, one.path, [(one.alternative, one.against)])
        width = one.reach.high - one.reach.low
        assert one.value == pytest.approx(alone.value, abs=1e-5 * width)
        assert one.today == alone.today


def test_law_both_leave_the_same_at_a_turning_point_and_change_sides(demo: Study, found) -> None:
    for one in found:
        for change, jump in zip(one.changes, one.jumps, strict=True):
            values = np.array([change.low, change.high])
            ends = appraise(demo, {one.path: values}).outcomes
            lead = ends[one.alternative].gain - ends[one.against].gain
            assert lead[0] * lead[1] < 0.0
            assert jump == one.reach.quantity.entry.whole


def test_law_nearest_first_and_none_left_out(found) -> None:
    assert {one.path for one in found} == set(PATHS)
    away = [abs(one.distance) for one in found if one.distance is not None]
    assert away == sorted(away)


def test_law_an_input_that_the_study_leaves_out_moves_no_other(demo: Study, found) -> None:
    without = turning_points(demo, [path for path in PATHS if path != "levers.laminated_share"])
    values = {one.path: one.value for one in found if one.path != "levers.laminated_share"}
    assert {one.path: one.value for one in without} == values


def test_held_inputs_count_as_the_study_stands(demo: Study) -> None:
    (one,) = turning_points(demo, [PRICE], {"levers.demand": 1.1})
    (alone,) = break_evens(
        demo, PRICE, [(one.alternative, one.against)], {"levers.demand": 1.1}
    )  # fmt: skip
    assert one.value == pytest.approx(alone.value, rel=1e-5)


def test_work_comes_in_pieces_that_ascend(demo: Study) -> None:
    *shares, last = turning_points_in_pieces(demo, PATHS)
    assert shares == sorted(shares)
    assert shares[-1] == 1.0
    assert isinstance(last, tuple)


def test_refuses_an_input_that_is_none(demo: Study) -> None:
    with pytest.raises(InputError, match=r"no\.such"):
        turning_points(demo, ["no.such"])
