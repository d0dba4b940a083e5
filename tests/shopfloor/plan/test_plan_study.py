"""The plan of a study, and the floor that its ledger counts."""

from __future__ import annotations

import numpy as np
import pytest
from hand_shop import hand_study

from capex.decision.appraise import appraise
from capex.errors import InputError, NoAnswerError
from capex.shopfloor.floor import occupied_area
from capex.shopfloor.plan import floor_plan, spots_by_hand
from capex.shopfloor.room import Footprint, floor_area, union_area
from capex.views.plan_svg import plan_svg

DOORS = {"street": {"wall": "near", "position": "7 m", "width": "1.2 m"}}
ROOM = {"width": "9 m", "depth": "6 m", "doors": DOORS}
# Every machine of this shop is 2 × 1 m, with 1 m before it, 0.5 m behind it and at its ends.
SIZE = Footprint(2.0, 1.0, 1.0, 0.5, 0.5)
# The frame in the corner with its back to the near wall; the laminator faces it across 1 m.
FACING = [
    {"machine": "frame", "left": "0.5 m", "near": "0.5 m", "facing": "far"},
    {"machine": "laminator", "left": "0.5 m", "near": "2.5 m", "facing": "near"},
]


def placed(**changes):
    return hand_study(room=ROOM | {"positions": {"frame": FACING}}, **changes)


def test_the_floor_of_a_plan_by_hand_is_worked_out_by_hand():
    # Envelopes 3 m wide, from 0 to 2.5 and from 1.5 to 4 m deep: 3 × 4 together.
    plan = floor_plan(placed(), "frame")
    assert plan.by_hand
    assert plan.area == pytest.approx(12.0)
    assert [spot.envelope for spot in plan.spots] == [(0, 0, 3, 2.5), (0, 1.5, 3, 4.0)]
    assert {finding.status for finding in plan.findings} == {"pass", "ask"}


def test_the_ledger_counts_the_floor_as_placed_and_else_a_row():
    study = placed()
    assert occupied_area(study, "frame", 36) == pytest.approx(np.full((1, 36), 12.0))
    row = floor_area([SIZE] * 3)
    assert occupied_area(study, "keep", 36) == pytest.approx(np.full((1, 36), row))
    unplaced = hand_study(room=ROOM)
    assert np.array_equal(occupied_area(unplaced, "frame", 36),
                          occupied_area(hand_study(), "frame", 36))  # fmt: skip


def test_rent_of_the_floor_as_placed_reaches_the_ledger():
    rent = {"shop__premises__rent": "120 USD/m²/year"}
    ledgers = [
        appraise(study).outcomes["frame"].details.ledger
        for study in (placed(**rent), hand_study(**rent))
    ]
    by_hand, row = (ledger.line("floor_space")[0, 1:] for ledger in ledgers)
    assert by_hand == pytest.approx(np.full(36, -12.0 * 120 / 12))
    assert row == pytest.approx(np.full(36, -floor_area([SIZE] * 2) * 120 / 12))


def test_a_machine_that_comes_later_takes_its_place_then():
    study = placed(alternatives__frame__machines__0__month=12)
    area = occupied_area(study, "frame", 36)[0]
    assert area[:12] == pytest.approx(7.5)
    assert area[12:] == pytest.approx(12.0)
    assert len(floor_plan(study, "frame").spots) == 2


def test_sizes_vary_over_scenarios_and_places_stay():
    study = placed().replaced({"machines.frame.length": [2.0, 3.0, 2.0]})
    area = occupied_area(study, "frame", 2)
    # 1 m longer: 4 × 2.5 with the laminator's 3 × 2.5 less the 3 × 1 they share.
    assert area == pytest.approx(np.array([[12.0] * 2, [14.5] * 2, [12.0] * 2]))
    moved = placed().replaced({"room.positions.frame.1.near": [2.5, 3.5]})
    assert occupied_area(moved, "frame", 1)[:, 0] == pytest.approx([12.0, 15.0])


def test_law_the_union_is_at_most_the_sum():
    plan = floor_plan(hand_study(room=ROOM), "keep")
    single = [union_area([spot.envelope]) for spot in plan.spots]
    assert max(single) <= plan.area <= sum(single)


def test_a_place_is_found_where_none_is_given():
    plan = floor_plan(hand_study(room=ROOM), "keep")
    assert not plan.by_hand
    assert {finding.status for finding in plan.findings} == {"pass", "ask"}
    assert spots_by_hand(hand_study(room=ROOM), "keep") is None


def test_machines_of_one_kind_are_told_apart():
    study = hand_study(room=ROOM, alternatives__frame__machines__0__count=2)
    names = [spot.name for spot in floor_plan(study, "frame").spots]
    assert names == ["Frame (1)", "Frame (2)", "Laminator"]


@pytest.mark.parametrize("name", ["Frame (2)", "Frame (1.3 m)", "Frame"])
def test_labels_differ_whatever_the_names_and_each_spot_knows_its_machine(name):
    study = hand_study(
        room=ROOM, machines__laminator__name=name, alternatives__frame__machines__0__count=2
    )
    plan = floor_plan(study, "frame")
    labels = [spot.name for spot in plan.spots]
    assert len(set(labels)) == 3
    assert [one.key for one in plan.standing] == ["frame", "frame", "laminator"]
    assert [one.placement for one in plan.standing] == [0, 0, 1]
    assert [spot.size for spot in plan.spots] == [one.size for one in plan.standing]
    assert labels == [one.name for one in plan.standing]


def test_a_comma_in_a_name_hides_no_machine_that_fails():
    places = [FACING[0] | {"left": "0.1 m"}, FACING[1]]
    room = ROOM | {"positions": {"frame": places}}
    study = hand_study(room=room, machines__frame__name="Frame, wide")
    failing = [one for one in floor_plan(study, "frame").findings if one.status == "fail"]
    assert [one.machines for one in failing] == [("Frame, wide",)]
    assert plan_svg(floor_plan(study, "frame")).count('class="p-fails"') == 1


def test_machines_sold_at_once_need_no_place():
    change = {"machine": "printer", "owned": True, "sold_in_month": 0, "sale_proceeds": 100}
    study = placed(alternatives__frame__machines=[
        {"machine": "frame"}, {"machine": "laminator", "owned": True}, change])  # fmt: skip
    assert [spot.name for spot in floor_plan(study, "frame").spots] == ["Frame", "Laminator"]
    assert occupied_area(study, "frame", 1) == pytest.approx(12.0)


def test_only_machines_that_are_bought_come_through_the_door():
    found = [f for f in floor_plan(placed(), "frame").findings if f.rule == "Way in"]
    assert [f.subject for f in found if f.needed is not None] == ["Frame"]
    (owned,) = (f for f in found if f.needed is None)
    assert (owned.subject, owned.status) == ("Laminator", "pass")
    assert owned.reason == "is in the shop already and is not brought in"


def test_what_others_decide_is_always_asked_and_never_passed():
    plan = floor_plan(placed(), "frame")
    asked = {finding.rule for finding in plan.findings if finding.status == "ask"}
    others = {
        "Ventilation", "Floor load", "Sprinklers and fire load", "Accessibility",
        "Circuits and disconnects", "Number and place of exits",
    }  # fmt: skip
    assert others <= asked
    assert not any(f.rule in others and f.status != "ask" for f in plan.findings)


def test_refuses_another_number_of_machines_than_places():
    study = placed().replaced({"alternatives.frame.machines.0.count": [1, 2]})
    with pytest.raises(InputError, match=r"machines\.0\.count: 2 must stay 1"):
        occupied_area(study, "frame", 12)
    study = placed().replaced({"alternatives.frame.machines.0.count": 2})
    with pytest.raises(InputError, match=r"room\.positions\.frame: 2 must hold a place"):
        occupied_area(study, "frame", 12)


def test_refuses_a_plan_without_a_room_or_an_alternative():
    with pytest.raises(InputError, match="room"):
        floor_plan(hand_study(), "frame")
    with pytest.raises(InputError, match="known: keep, frame"):
        floor_plan(placed(), "nothing")


def test_refuses_a_room_smaller_than_a_machine_and_the_ledger_stands():
    tiny = {"width": "1.5 m", "depth": "1.9 m",
            "doors": {"a": {"wall": "near", "position": "0 m", "width": "0.9 m"}}}  # fmt: skip
    study = hand_study(room=tiny)
    with pytest.raises(NoAnswerError, match=r"Frame is 2 m × 1 m; the room is 1\.5 m × 1\.9 m"):
        floor_plan(study, "frame")
    assert occupied_area(study, "frame", 1) == pytest.approx(floor_area([SIZE] * 2))
