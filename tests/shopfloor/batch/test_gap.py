"""The gap between two alternatives: it adds up, and each cause stands for what was changed."""

import pytest
from hand_shop import hand_study

from capex.errors import InputError
from capex.shopfloor.batch import gap as gap_module
from capex.shopfloor.batch.gap import CAUSES, batch_gap
from capex.shopfloor.batch.tasks import BatchEntry
from capex.shopfloor.batch.timeline import batch_timeline
from capex.study import Knife, Machine, PrintEngine, Quantity, Study

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


#: Values for what the hand-worked machines leave open, or have at 0.
OPEN = {
    ("printing", "widest_roll"): ("print_width", 1.05),
    ("cutting", "widest_roll"): ("cut_width", 1.05),
    ("cutting", "travel_speed"): ("set_speed", 0.1),
    ("cutting", "lateral_acceleration"): ("acceleration", 0.05),
}
#: What no batch looks at: what is worn, or a force that no job of this shop asks for.
UNSEEN = {
    "printing": {"head_life", "quoted_rate", "quoted_passes", "quoted_width"},
    "cutting": {"blade_life", "force"},
    "laminating": {"widest_roll"},
    "machine": {"mass"},
}


def entries_of(part):
    """Yield each entry of a part that holds a number, with another value for it."""
    machine = hand_study().machines["frame" if part in ("printing", "cutting") else "laminator"]
    owner = machine if part == "machine" else getattr(machine, part)
    for field in type(owner).model_fields:
        quantity = getattr(owner, field)
        if isinstance(quantity, Quantity):
            factor = 0.4 if field == "mark_set_length" else 0.95  # one set of marks more
            moved = quantity.si * factor if quantity.si.any() else quantity.si + 0.05
            yield field, quantity.replaced(moved, field)
        elif isinstance(quantity, bool):
            yield field, not quantity
        elif (part, field) in OPEN:
            like, factor = OPEN[part, field]
            other = getattr(owner, like)
            yield field, other.replaced(other.si * factor, field)
        else:
            known = UNSEEN[part] | {"name", "ink", "resale_by_year"}
            assert field in known | {"printing", "cutting", "laminating"}, field


@pytest.mark.parametrize("part", ["printing", "cutting", "machine", "laminating"])
def test_law_no_entry_of_a_machine_is_left_out_of_the_causes(part):
    """Once every cause is swapped the batch takes what it takes under the second choice."""
    plain = [BatchEntry("plain", orders=2)]
    moved = set()
    for field, value in entries_of(part):
        study = two_shops(part, **{field: value})
        if part == "laminating":
            study = with_own_laminator(study, field, value)
        for batch in (plain, [*plain, BatchEntry("laminated", laminated=True)]):
            gap = batch_gap(study, "keep", "other", batch)
            for key, found in (("keep", gap.start), ("other", gap.end)):
                timed = batch_timeline(study, key, batch, sequencing="as given").makespan
                assert found == pytest.approx(timed, abs=1e-6), (field, key)
            moved |= {field} if gap.gap else set()
    assert moved == TIMED[part]


#: Entries that move the time of these batches.
TIMED = {
    "printing": {
        "print_width", "swath_height", "carriage_speed", "turn_time", "overrun", "unidirectional",
        "drying_time", "nozzle_check_time",
    },
    "cutting": {
        "cut_width", "set_speed", "acceleration", "corner_dwell", "laminated_speed", "lift_time",
        "mark_scan_time", "mark_set_length", "reload_time",
    },
    "laminating": {"laminating_width", "feed_speed", "load_time"},
    "machine": {"roll_change_time"},
}  # fmt: skip

#: Entries that no operation of a batch takes its time or its machine from.
UNTIMED = {
    PrintEngine: {"head_price", "head_life"},
    Knife: {"blade_price", "blade_life", "spoil_direct", "spoil_reloaded", "spoil_laminated"},
    Machine: {
        "name", "price", "warm_up_time", "service", "mean_time_between_failures",
        "mean_time_to_repair", "minor_stop_share", "power_active", "power_ready", "length", "depth",
        "mass", "clearance_front", "clearance_rear", "clearance_end", "resale_by_year",
    },
}  # fmt: skip


def test_every_entry_of_a_machine_belongs_to_one_cause_or_to_none():
    """A new entry is first put to a cause in `gap.py`, or among those without a time here."""
    listed = {
        PrintEngine: gap_module._ENGINE_FIELDS,
        Knife: gap_module._KNIFE_FIELDS,
        # The laminator goes with handling as a whole.
        Machine: {"handling": ("roll_change_time", "laminating"), "own": ("printing", "cutting")},
    }
    for part, fields in listed.items():
        named = [name for names in fields.values() for name in names]
        assert sorted([*named, *UNTIMED[part]]) == sorted(part.model_fields)


def with_own_laminator(study, field, value):
    """Return the shops with a laminator of the second's own, one entry changed."""
    machine = study.machines["laminator"]
    laminating = machine.laminating.model_copy(update={field: value})
    other = study.alternatives["other"]
    placed = tuple(
        one.model_copy(update={"machine": "own"}) if one.machine == "laminator" else one
        for one in other.machines
    )
    return study.model_copy(
        update={
            "machines": study.machines
            | {"own": machine.model_copy(update={"laminating": laminating})},
            "alternatives": study.alternatives
            | {"other": other.model_copy(update={"machines": placed})},
        }
    )


def handling_entries():
    return [key for key, each in vars(hand_study().shop.handling).items()
            if isinstance(each, Quantity)]  # fmt: skip


@pytest.mark.parametrize("field", handling_entries())
@pytest.mark.parametrize(("start", "end"), [("keep", "frame"), ("frame", "keep")])
def test_law_no_entry_of_handling_is_left_out_of_the_causes(start, end, field):
    quantity = getattr(hand_study().shop.handling, field)
    other = quantity.si * 1.5 if quantity.si.any() else quantity.si + 0.05
    study = hand_study().replaced({f"shop.handling.{field}": other})
    batch = [BatchEntry("plain", orders=2), BatchEntry("laminated", laminated=True)]
    gap = batch_gap(study, start, end, batch)
    for key, found in ((start, gap.start), (end, gap.end)):
        timed = batch_timeline(study, key, batch, sequencing="as given").makespan
        assert found == pytest.approx(timed, abs=1e-6), key


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
