"""Room: published rules and areas, an exact sweep, and laws of rows."""

import csv
import itertools
import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from shopfloor_rows import DATA, published

from capex.errors import InputError
from capex.shopfloor.room import (
    Footprint,
    exit_access_width,
    floor_area,
    room_rules,
    row_boxes,
    union_area,
    working_space_depth,
    working_space_width,
)

FUNCTIONS = {
    "working_space_depth": lambda **inputs: working_space_depth(**inputs) / 0.3048,
    "working_space_width": lambda **inputs: working_space_width(**inputs) / 0.0254,
    "exit_access_width": lambda: exit_access_width() / 0.0254,
    "union_area": union_area,
}
small = st.floats(0.0, 2.0)
machines = st.builds(
    Footprint,
    length=st.floats(0.5, 4.0),
    depth=st.floats(0.4, 1.5),
    front=small,
    rear=small,
    end=small,
)
boxes = st.lists(
    st.tuples(*[st.integers(0, 20)] * 2, *[st.integers(1, 8)] * 2).map(
        lambda box: (box[0], box[1], box[0] + box[2], box[1] + box[3])
    ),
    min_size=1,
    max_size=8,
)


@pytest.mark.parametrize(("function", "inputs", "expected", "tolerance"), published(*FUNCTIONS))
def test_published_room_values(function, inputs, expected, tolerance):
    assert FUNCTIONS[function](**inputs) == pytest.approx(expected, abs=tolerance)


def swept_area(boxes):
    """Return the covered area by sweeping vertical strips between all box edges."""
    edges = sorted({x for box in boxes for x in (box[0], box[2])})
    total = 0.0
    for left, right in itertools.pairwise(edges):
        spans = sorted((b[1], b[3]) for b in boxes if b[0] <= left and b[2] >= right)
        reached = -math.inf
        for near, far in spans:
            total += (right - left) * max(0.0, far - max(near, reached))
            reached = max(reached, far)
    return total


@given(boxes)
def test_against_a_strip_sweep(boxes):
    assert union_area(boxes) == pytest.approx(swept_area(boxes), rel=1e-12)


@given(st.lists(machines, min_size=1, max_size=5), st.booleans())
def test_against_a_strip_sweep_of_the_row(row, share_ends):
    envelopes = row_boxes(row, share_ends=share_ends).envelopes
    assert floor_area(row, share_ends=share_ends) == pytest.approx(swept_area(envelopes), rel=1e-9)


@given(st.lists(machines, min_size=2, max_size=5), st.booleans())
def test_law_footprints_never_overlap_and_keep_their_clearance(row, share_ends):
    footprints = row_boxes(row, share_ends=share_ends).footprints
    for place in range(len(row) - 1):
        free = footprints[place + 1][0] - footprints[place][2]
        ends = (row[place].end, row[place + 1].end)
        assert free >= (max(ends) if share_ends else sum(ends)) - 1e-9
    assert footprints[0][0] >= row[0].end


@given(st.lists(machines, min_size=1, max_size=5))
def test_law_sharing_ends_never_takes_more_floor(row):
    shared, apart = floor_area(row), floor_area(row, share_ends=False)
    alone = sum(floor_area([machine]) for machine in row)
    assert shared <= apart * (1 + 1e-9)
    assert apart == pytest.approx(alone, rel=1e-9)
    assert shared >= sum(machine.length * machine.depth for machine in row)


@given(st.lists(machines, min_size=1, max_size=4), machines)
def test_law_one_more_machine_never_takes_less_floor(row, more):
    assert floor_area([*row, more]) >= floor_area(row) * (1 - 1e-9)


def test_no_machine_takes_no_floor():
    assert floor_area([]) == 0.0


def test_every_rule_names_a_source_and_agrees_with_what_is_printed():
    with (DATA / "sources.csv").open(encoding="utf-8", newline="") as lines:
        sources = {row["id"] for row in csv.DictReader(lines)}
    assert {rule.source for rule in room_rules()} <= sources
    metres = {"ft": 0.3048, "in": 0.0254}
    with (DATA / "room_rules.csv").open(encoding="utf-8", newline="") as lines:
        for row in csv.DictReader(lines):
            number, unit = row["as_printed"].split()
            assert float(row["clear_m"]) == pytest.approx(float(number) * metres[unit], abs=1e-12)


@pytest.mark.parametrize(("voltage", "condition"), [(601, "A"), (-1, "A"), (math.nan, "A")])
def test_refuses_voltages_that_the_rule_does_not_cover(voltage, condition):
    with pytest.raises(InputError, match="voltage_to_ground"):
        working_space_depth(voltage, condition)


def test_refuses_an_unknown_condition():
    with pytest.raises(InputError, match="A, B or C"):
        working_space_depth(120, "D")


def test_refuses_sizes_outside_their_bounds():
    with pytest.raises(InputError, match="depth"):
        Footprint(length=2.0, depth=0.0)
    with pytest.raises(InputError, match="rear clearance"):
        Footprint(length=2.0, depth=0.8, rear=-0.1)
    with pytest.raises(InputError, match="longer and deeper"):
        union_area([(0, 0, 0, 1)])
    with pytest.raises(InputError, match="equipment_width"):
        working_space_width(0.0)
