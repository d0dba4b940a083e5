"""What a plan passes and fails: rules at their printed bounds, cells, and laws of moving."""

from __future__ import annotations

import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from plan_rooms import cells, reached, room_of, solid

from capex.shopfloor.plan import Spot, check_plan
from capex.shopfloor.plan.clear_way import clear_floor, clear_way_width, free_floor, reaches
from capex.shopfloor.room import Footprint

BARE = Footprint(length=2.0, depth=1.0)
INCH, FOOT = 0.0254, 0.3048


def statuses(room, spots, rule, new=()):
    return [finding.status for finding in check_plan(room, spots, new) if finding.rule == rule]


# Electrical working space


# 29 CFR 1910.303 Table S-1 as printed, in feet, and paragraph (g)(1)(i)(B), 30 in; the rows stand
# in data/room_rules.csv with their source.
@pytest.mark.parametrize(
    ("voltage", "condition", "feet"),
    [(120, "A", 3.0), (150, "C", 3.0), (277, "A", 3.0), (277, "B", 3.5), (277, "C", 4.0)],
)
def test_published_depth_is_where_the_working_space_ends(voltage, condition, feet):
    panel = {
        "wall": "far", "position": "2 m", "width": "20 in", "depth": "0 m",
        "voltage_to_ground": f"{voltage} V", "condition": condition,
    }  # fmt: skip
    room = room_of(6, 5, panels={"main": panel})
    edge = 5 - feet * FOOT - BARE.depth
    for gap, status in ((1e-4, "pass"), (-1e-4, "fail")):
        spot = Spot("Printer", BARE, 1.5, edge - gap, "near")
        assert statuses(room, [spot], "Working space at electrical panels") == [status]


@pytest.mark.parametrize(("panel", "wide"), [(20, 30), (36, 36)])
def test_published_width_is_the_greater_of_30_inches_and_the_panel(panel, wide):
    entries = {
        "wall": "far", "position": "2 m", "width": f"{panel} in", "voltage_to_ground": "120 V",
    }  # fmt: skip
    room = room_of(8, 5, panels={"main": entries})
    right = 2 + panel / 2 * INCH + wide / 2 * INCH
    for gap, status in ((1e-4, "pass"), (-1e-4, "fail")):
        spot = Spot("Printer", BARE, right + gap, 4.0, "near")
        assert statuses(room, [spot], "Working space at electrical panels") == [status]


def test_the_working_space_moves_along_the_wall_out_of_a_corner():
    panel = {"wall": "left", "position": "0 m", "width": "0.2 m", "voltage_to_ground": "120 V"}
    (found,) = room_of(6, 5, panels={"main": panel}).panels
    assert found.working_space == pytest.approx((0, 0, 0.15 + 3 * FOOT, 30 * INCH))


def test_a_room_too_small_for_the_working_space_fails():
    panel = {"wall": "left", "position": "1 m", "voltage_to_ground": "480 V"}
    room = room_of(1.2, 5, panels={"main": panel})
    assert statuses(room, [], "Working space at electrical panels") == ["fail"]


# The way out


@pytest.mark.parametrize(("gap", "status"), [(28 * INCH, "pass"), (28 * INCH - 5e-4, "fail")])
def test_published_way_out_is_28_inches_wide_at_all_points(gap, status):
    # A bench across the room leaves one gap at its right end; the machine stands beyond it.
    bench = {"bench": solid(0, 2, 6 - gap, 1)}
    room = room_of(6, 6, obstacles=bench)
    spot = Spot("Printer", BARE, 1.0, 5.0, "near")
    assert statuses(room, [spot], "Way out") == [status]


def test_a_door_narrower_than_the_way_out_is_none():
    door = {"wall": "near", "position": "1 m", "width": "0.7 m"}
    room = room_of(6, 6, doors={"a": door})
    assert statuses(room, [Spot("Printer", BARE, 1.0, 5.0, "near")], "Way out") == ["fail"]


def test_a_door_that_leads_nowhere_is_no_way_out():
    store = {"wall": "near", "position": "3 m", "width": "1.2 m", "leads_to_exit": False}
    street = {"wall": "far", "position": "0 m", "width": "1 m"}
    bench = {"bench": solid(0, 3, 6, 0.5)}
    room = room_of(6, 6, doors={"a": store, "b": street}, obstacles=bench)
    spots = [Spot("Near", BARE, 1, 0.5, "far"), Spot("Far", BARE, 1, 4.6, "near")]
    assert statuses(room, spots, "Way out") == ["fail", "pass"]


@given(st.integers(0, 2**30 - 1), st.integers(0, 5), st.integers(0, 5), st.integers(0, 4))
@settings(max_examples=60)
def test_against_straight_steps_on_a_grid(blocks, door, x, y):
    # Between blocks on whole metres, a disc of 1 m passes exactly where straight steps do.
    width, depth = 6, 5
    free = ~blocks & cells(0, 0, width, depth, width, depth)
    taken = {
        f"b{k}": solid(k % width, k // width, 1, 1) for k in range(width * depth) if blocks >> k & 1
    }
    entries = {"wall": "near", "position": f"{door} m", "width": "1 m", "swing": "sliding"}
    room = room_of(width, depth, doors={"a": entries}, obstacles=taken)
    out = reached(cells(door, 0, door + 1, 1, width, depth), free, width)
    ways = free_floor(room, [])
    middle = (x + 0.5, y + 0.5, x + 0.5, y + 0.5)
    start = (middle[0] - 0.01, middle[1] - 0.01, middle[2] + 0.01, middle[3] + 0.01)
    (found,) = reaches(room, ways, [shapely.box(*start)], 1.0)
    assert found == bool(out >> (y * width + x) & 1)
    swept = clear_floor(room, ways, 1.0)
    assert bool(swept) == bool(out)


def test_the_width_found_is_that_of_the_narrowest_point():
    bench = {"bench": solid(0, 2, 5.1, 1)}
    room = room_of(6, 6, obstacles=bench)
    start = shapely.box(0.0, 4.0, 2.0, 5.0)
    assert clear_way_width(room, free_floor(room, []), start) == pytest.approx(0.9, abs=1.1e-3)


@pytest.mark.parametrize("front", [0.0, 0.2, 0.3, 1.0])
@pytest.mark.parametrize("opening", [0.0, 0.8])
def test_no_way_out_leads_through_what_stands_before_a_machine(front, opening):
    """A rail from wall to wall just beyond the clearance shuts the operator in."""
    rail = solid(0.0, 3.0 + front, 6.0 - opening, 0.02, name="Rail")
    street = {"wall": "far", "position": "4.5 m", "width": "1 m", "swing": "sliding"}
    room = room_of(6, 6, doors={"street": street}, obstacles={"rail": rail})
    machine = Spot("Printer", Footprint(length=2.0, depth=0.8, front=front), 2.0, 2.2, "far")
    (status,) = statuses(room, [machine], "Way out")
    # behind the rail the way along the machine's front is as wide as its clearance
    assert status == ("pass" if opening and front >= 0.8 else "fail")


# Doors


@pytest.mark.parametrize(("far", "status"), [(0.81, "pass"), (0.79, "fail")])
def test_a_leaf_sweeps_a_quarter_disc(far, status):
    # The leaf of 1 m hangs at (2, 0); the corner (2.6, far) is 1 m away at far = 0.8.
    door = {"wall": "near", "position": "2 m", "width": "1 m"}
    room = room_of(6, 6, doors={"a": door})
    spot = Spot("Cutter", BARE, 2.6, far, "far")
    assert statuses(room, [spot], "Doors open fully") == [status]


def test_the_other_hinge_sweeps_the_other_quarter():
    door = {"wall": "near", "position": "2 m", "width": "1 m", "hinge": "last"}
    room = room_of(6, 6, doors={"a": door})
    spot = Spot("Cutter", BARE, 2.6, 0.81, "far")
    assert statuses(room, [spot], "Doors open fully") == ["fail"]


def test_a_leaf_that_opens_out_strikes_nothing():
    door = {"wall": "near", "position": "2 m", "width": "1 m", "swing": "out"}
    room = room_of(6, 6, doors={"a": door})
    assert statuses(room, [Spot("Cutter", BARE, 2.6, 0.1, "far")], "Doors open fully") == ["pass"]


def test_a_crate_wider_than_every_door_does_not_come_in():
    room = room_of(6, 6, packing="0.1 m")
    wide = Spot("Wide", Footprint(2.0, 0.81), 1, 3, "far")
    slim = Spot("Slim", Footprint(2.0, 0.8), 1, 3, "far")
    assert statuses(room, [wide], "Way in", ["Wide"]) == ["fail"]
    assert statuses(room, [slim], "Way in", ["Slim"]) == ["pass"]
    assert statuses(room, [wide], "Way in") == []


# Machines beside each other


def test_clearances_may_overlap_and_footprints_may_not():
    size = Footprint(length=2.0, depth=1.0, front=1.0)
    one = Spot("One", size, 0, 0, "far")
    for near, facing, expected in (
        (3.0, "near", ("pass", "pass", "pass")),
        (2.5, "near", ("pass", "pass", "ask")),
        (1.5, "far", ("pass", "fail", "ask")),
        (0.5, "far", ("fail", "fail", "ask")),
    ):
        other = Spot("Other", size, 0, near, facing)
        room = room_of(6, 6, doors={"a": {"wall": "right", "position": "5 m", "width": "0.9 m"}})
        rules = (
            "Machines side by side", "Clearance to serve each machine",
            "Clearance that neighbours share",
        )  # fmt: skip
        found = [statuses(room, [one, other], rule) for rule in rules]
        assert tuple(min(each) if "fail" in each else each[0] for each in found) == expected
    apart = room_of(6, 6, shared_clearances=False)
    spots = [one, Spot("Other", size, 0, 2.5, "near")]
    assert statuses(apart, spots, "Clearance that neighbours share") == ["fail"]


def test_every_finding_carries_a_caution():
    panel = {"wall": "left", "position": "1 m", "voltage_to_ground": "120 V"}
    room = room_of(6, 6, panels={"p": panel})
    found = check_plan(room, [Spot("One", BARE, 2, 3, "far")], ["One"])
    assert len(found) >= 6
    assert all(len(finding.caution) > 40 for finding in found)


# Laws

cm = st.integers(0, 500).map(lambda k: k / 100)
spots_drawn = st.lists(
    st.tuples(cm, cm, st.sampled_from(("far", "right", "near", "left")), st.integers(50, 250)),
    min_size=1, max_size=3,
)  # fmt: skip
DOOR = {"wall": "near", "position": 0.5, "width": 0.9, "hinge": "first"}
PANEL = {"wall": "left", "position": 2.0, "width": 0.4}


def laid_out(drawn):
    return [
        Spot(f"Machine {k}", Footprint(long / 100, 0.7, 0.9, 0.5, 0.4), left, near, facing)
        for k, (left, near, facing, long) in enumerate(drawn)
    ]


def outfitted(width, depth, door, panel, block):
    def entry(part):
        return {
            name: f"{value} m" if name in ("position", "width") else value
            for name, value in part.items()
        }

    return room_of(
        width, depth, doors={"a": entry(door)},
        panels={"p": entry(panel) | {"voltage_to_ground": "277 V"}},
        obstacles={"b": solid(*block)},
    )  # fmt: skip


def told(room, spots):
    found = check_plan(room, spots, [spot.name for spot in spots])
    return sorted((f.status, f.rule, f.subject, f.reason) for f in found)


@given(spots_drawn)
@settings(max_examples=40)
def test_law_a_mirror_image_keeps_every_finding(drawn):
    width, depth, block = 6.0, 5.5, (3.0, 2.5, 0.4, 0.3)
    spots = laid_out(drawn)
    turned = {"left": "right", "right": "left", "near": "near", "far": "far"}
    mirrored = [
        Spot(s.name, s.size, width - s.footprint[2], s.near, turned[s.facing]) for s in spots
    ]
    door = DOOR | {"position": width - 0.5 - 0.9, "hinge": "last"}
    there = outfitted(
        width, depth, door, PANEL | {"wall": "right"}, (width - 3.4, *block[1:])
    )  # fmt: skip
    assert told(there, mirrored) == told(outfitted(width, depth, DOOR, PANEL, block), spots)


@given(spots_drawn)
@settings(max_examples=40)
def test_law_a_quarter_turn_of_everything_keeps_every_finding(drawn):
    # Everything turns about the corner: (x, y) goes to (depth - y, x).
    width, depth, block = 6.0, 5.5, (3.0, 2.5, 0.4, 0.3)
    spots = laid_out(drawn)
    turn = {"far": "left", "left": "near", "near": "right", "right": "far"}
    moved = [Spot(s.name, s.size, depth - s.footprint[3], s.left, turn[s.facing]) for s in spots]
    door = DOOR | {"wall": "right"}
    panel = PANEL | {"wall": "near", "position": depth - 2.0 - 0.4}
    there = outfitted(
        depth, width, door, panel, (depth - 2.8, 3.0, 0.3, 0.4)
    )  # fmt: skip
    assert told(there, moved) == told(outfitted(width, depth, DOOR, PANEL, block), spots)


@given(spots_drawn, st.floats(0.0, 4.0), st.floats(0.0, 4.0))
@settings(max_examples=40)
def test_law_a_bigger_room_never_fails_what_passed(drawn, wider, deeper):
    spots = laid_out(drawn)
    block = (3.0, 2.5, 0.4, 0.3)
    small = outfitted(6.0, 5.5, DOOR, PANEL, block)
    big = outfitted(6.0 + wider, 5.5 + deeper, DOOR, PANEL, block)

    def failing(room):
        return {(f.rule, f.subject) for f in check_plan(room, spots) if f.status == "fail"}

    assert failing(big) <= failing(small)


@given(spots_drawn)
@settings(max_examples=30)
def test_law_a_machine_taken_away_never_narrows_a_way_out(drawn):
    room = outfitted(6.0, 5.5, DOOR, PANEL, (3.0, 2.5, 0.4, 0.3))
    spots = laid_out(drawn)
    start = shapely.box(*spots[0].front(1.0))
    boxes = [spot.footprint for spot in spots]
    fewer = clear_way_width(room, free_floor(room, boxes[:1]), start)
    assert fewer >= clear_way_width(room, free_floor(room, boxes), start)
