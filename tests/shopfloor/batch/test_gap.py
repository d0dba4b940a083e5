"""The gap between two alternatives: it adds up, and each cause stands for what was changed."""

import pytest
from hand_shop import hand_study

from capex.errors import InputError
from capex.shopfloor.batch.gap import CAUSES, batch_gap
from capex.shopfloor.batch.tasks import BatchEntry
from capex.shopfloor.batch.timeline import batch_timeline
from capex.study import Study

BATCH = [BatchEntry("plain"), BatchEntry("laminated", laminated=True, orders=2)]


def two_shops(part: str = "", **changes: object) -> Study:
    """Return a shop whose second alternative has its own printer and cutter, one part changed."""
    study = hand_study()
    copies = {}
    for name in ("printer", "cutter"):
        machine = study.machines[name]
        if part == "machine":
            machine = machine.model_copy(update=changes)
        elif part and getattr(machine, part) is not None:
            changed = getattr(machine, part).model_copy(update=changes)
            machine = machine.model_copy(update={part: changed})
        copies[f"other_{name}"] = machine
    keep = study.alternatives["keep"]
    placed = tuple(
        one.model_copy(update={"machine": f"other_{one.machine}"})
        if f"other_{one.machine}" in copies else one
        for one in keep.machines
    )  # fmt: skip
    other = keep.model_copy(update={"machines": placed, "baseline": False})
    return study.model_copy(
        update={
            "machines": study.machines | copies,
            "alternatives": study.alternatives | {"other": other},
        }
    )


def scaled(part: str, field: str, factor: float) -> Study:
    """Return the two shops with one entry of the second one's machines multiplied."""
    machine = next(
        one for one in hand_study().machines.values()
        if (one if part == "machine" else getattr(one, part)) is not None
    )  # fmt: skip
    owner = machine if part == "machine" else getattr(machine, part)
    quantity = getattr(owner, field)
    return two_shops(part, **{field: quantity.replaced(quantity.si * factor, field)})


@pytest.mark.parametrize("sequencing", ["as given", "shortest found"])
@pytest.mark.parametrize(("start", "end"), [("keep", "frame"), ("frame", "keep")])
def test_law_the_causes_add_up_to_the_gap(start, end, sequencing):
    study = hand_study(inks__ink__outgassing_time="30 min")
    batch = [BatchEntry("plain", orders=4), *BATCH]
    gap = batch_gap(study, start, end, batch, sequencing=sequencing)
    ends = [
        batch_timeline(study, key, batch, sequencing=sequencing).makespan for key in (start, end)
    ]
    assert [gap.start, gap.end] == ends
    assert gap.gap != 0
    for alone in (True, False):
        assert sum(step for _, step in gap.waterfall(alone=alone)) == pytest.approx(
            gap.gap, abs=1e-6
        )
    assert [one.cause for one in gap.contributions] == list(CAUSES)


def test_law_an_alternative_has_no_gap_with_its_copy():
    gap = batch_gap(two_shops(), "keep", "other", BATCH)
    assert {step for _, step in gap.waterfall()} == {0.0}


@pytest.mark.parametrize(
    ("cause", "part", "field", "factor"),
    [
        ("print engine", "printing", "carriage_speed", 0.5),
        ("print engine", "printing", "swath_height", 0.5),
        ("print engine", "printing", "overrun", 3.0),
        ("knife", "cutting", "set_speed", 0.3),
        ("knife", "cutting", "acceleration", 0.3),
        ("knife", "cutting", "lift_time", 9.0),
        ("marks", "cutting", "mark_scan_time", 20.0),
        ("handling", "cutting", "reload_time", 3.0),
        ("handling", "printing", "nozzle_check_time", 9.0),
        ("handling", "machine", "roll_change_time", 9.0),
        ("drying", "printing", "drying_time", 5.0),
    ],
)
def test_law_one_change_is_one_cause(cause, part, field, factor):
    gap = batch_gap(scaled(part, field, factor), "keep", "other", BATCH[:1])
    assert gap.gap > 0
    steps = {"alone": {}, "in_turn": {}}
    for one in gap.contributions:
        steps["alone"][one.cause], steps["in_turn"][one.cause] = one.alone, one.in_turn
    expected = {name: gap.gap if name == cause else 0.0 for name in CAUSES}
    assert steps == {"alone": pytest.approx(expected), "in_turn": pytest.approx(expected)}
    assert gap.interaction == pytest.approx(0.0, abs=1e-6)


def test_two_machines_of_equal_parts_gain_by_overlap_and_drying_beside_the_machine():
    gap = batch_gap(hand_study(), "frame", "keep", [BatchEntry("plain", orders=6)])
    steps = dict(gap.waterfall(alone=False))
    assert steps["print engine"] == steps["knife"] == steps["marks"] == 0.0
    assert steps["handling"] > 0
    assert steps["drying"] < 0
    assert steps["overlap"] <= 0
    # By itself too: while one order dries beside the machine, the machine prints the next.
    assert dict(gap.waterfall())["drying"] < 0


def test_entries_that_one_cannot_make_are_left_out():
    study = hand_study(alternatives__frame__machines=[{"machine": "frame"}])
    gap = batch_gap(study, "keep", "frame", BATCH)
    assert gap.left_out == (1,)
    assert gap.start == batch_timeline(study, "keep", BATCH[:1], sequencing="as given").makespan
    with pytest.raises(InputError, match="must have an entry that both can make"):
        batch_gap(study, "keep", "frame", BATCH[1:])
