"""Orders with several routes: no choice of routes beats the bound, and one near the best is found.

Batches are invented; what is best is found by trying all, or by OR-Tools CP-SAT.
"""

from dataclasses import replace
from itertools import groupby, permutations, product

import pytest
from constraint_models import flexible_job_shop
from hand_shop import hand_study
from hypothesis import given, settings
from hypothesis import strategies as st

from capex.shopfloor.batch.bounds import batch_lower_bound, stream_lower_bound
from capex.shopfloor.batch.dispatch import batch_makespan
from capex.shopfloor.batch.tasks import BatchEntry, Cell, Place, Task
from capex.shopfloor.batch.timeline import batch_timeline

times = st.integers(1, 9)


def task(machine, time):
    return Task("work", "print" if machine == 0 else "cut", machine, None, float(time), 0.0, 0.0)


@st.composite
def shops(draw):
    """Return a printer and two cutters, or an all-in-one among them, and orders with routes."""
    count = draw(st.integers(1, 3))
    cell = Cell(tuple(Place(f"machine {m}", 1, 1.0) for m in range(3)), (), (0, 1, 2))
    routes = draw(
        st.lists(
            st.tuples(st.integers(0, 2), st.integers(0, 2)), min_size=1, max_size=3, unique=True
        )
    )
    orders = []
    for _ in range(count):
        own = draw(st.lists(st.sampled_from(routes), min_size=1, max_size=3, unique=True))
        lag = draw(st.integers(0, 9))
        dry = (Task("dry", None, None, None, 0.0, 0.0, float(lag)),) if lag else ()
        orders.append([(task(one, draw(times)), *dry, task(two, draw(times))) for one, two in own])
    return cell, orders


@settings(max_examples=60)
@given(shops())
def test_law_no_routes_and_no_sequence_beat_the_bound(shop):
    cell, orders = shop
    best = min(
        batch_makespan(cell, chosen, sequence, rule)
        for chosen in product(*orders)
        for sequence in permutations(range(len(orders)))
        for rule in ("first_come", "furthest_along")
    )
    bound = batch_lower_bound(cell, orders)
    assert bound <= best + 1e-9
    for chosen in product(*orders):
        assert bound <= batch_lower_bound(cell, [[order] for order in chosen]) + 1e-9


@settings(max_examples=30)
@given(shops())
def test_law_no_stream_runs_faster_than_its_pace_at_best(shop):
    cell, orders = shop
    name, pace = stream_lower_bound(cell, orders)
    assert name
    for chosen in product(*orders):
        few, many = (batch_makespan(cell, list(chosen) * count) for count in (20, 60))
        # the ends of a run may hide a batch's time, so over a long run
        assert many >= 60 * pace - 1e-9
        assert few >= 20 * pace - 1e-9


def two_cutters(**changes):
    """Return the shop with a printer and two separate equal cutters, and people for everything."""
    placed = [
        {"machine": name, "owned": True} for name in ("printer", "cutter", "cutter", "laminator")
    ]
    return hand_study(
        alternatives__keep__machines=placed, shop__people__operators=9,
        shop__people__finishers=9, machines__cutter__cutting__set_speed="0.01 m/s", **changes,
    )  # fmt: skip


def in_tenths(tasks):
    """Return the stays of an order on machines, and the time between, in tenths of a second."""
    parts = [(one.machine, one.elapsed) for one in tasks]
    stays = [(m, sum(t for _, t in same)) for m, same in groupby(parts, key=lambda part: part[0])]
    return [(machine, round(10 * time)) for machine, time in stays]


@pytest.mark.parametrize(
    "pieces", [(24, 20, 16, 12, 12), (40, 8, 8, 8, 8), (28, 24, 20, 16, 12), (4, 8, 12, 16, 36)]
)
def test_against_a_constraint_model_two_equal_cutters(pieces, measured):
    timeline = batch_timeline(
        two_cutters(), "keep", [BatchEntry("plain", pieces=p) for p in pieces]
    )
    assert {len(ways) for ways in timeline.ways} == {2}
    best = flexible_job_shop([[in_tenths(way) for way in ways] for ways in timeline.ways]) / 10
    measured(
        f"pieces {pieces}: bound {timeline.lower_bound:.0f} s, best {best:.0f} s, "
        f"found {timeline.makespan:.0f} s"
    )
    assert timeline.lower_bound <= best + 2.0  # every stay is rounded to a tenth
    assert best <= timeline.makespan + 2.0
    # rules and moves promise nothing; the first routes that can do it are 8 % off
    assert timeline.makespan <= 1.03 * best
    if timeline.is_shortest:
        assert timeline.makespan == pytest.approx(best, abs=2.0)


def test_the_bound_speaks_for_all_routes_and_not_only_for_those_taken():
    entries = [BatchEntry("plain", pieces=p) for p in (24, 20, 16, 12, 12)]
    timeline = batch_timeline(two_cutters(), "keep", entries)
    taken = batch_lower_bound(timeline.cell, [[order] for order in timeline.orders])
    assert timeline.lower_bound < taken <= timeline.makespan


def test_it_is_shortest_only_where_the_bound_is_reached():
    timeline = batch_timeline(hand_study(), "keep", [BatchEntry("plain")])
    assert timeline.is_shortest
    lower = replace(timeline, lower_bound=timeline.makespan * (1.0 - 2e-4))
    assert not lower.is_shortest
