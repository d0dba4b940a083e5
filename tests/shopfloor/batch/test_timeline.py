"""A timed batch: times by hand, a recursion, laws of any schedule, names of what is not made."""

import itertools

import hand_shop as hand
import pytest
from hand_shop import hand_study
from hypothesis import given, settings
from hypothesis import strategies as st

from capex.errors import InputError
from capex.shopfloor.batch.bounds import batch_lower_bound, two_machine_sequence
from capex.shopfloor.batch.dispatch import Wait, placed_tasks
from capex.shopfloor.batch.lower_bounds import reentrant_lower_bound
from capex.shopfloor.batch.sequences import completion_times, makespan
from capex.shopfloor.batch.streaming import reentrant_makespan, streamed_makespan
from capex.shopfloor.batch.tasks import BatchEntry, Cell, Place, Task
from capex.shopfloor.batch.timeline import batch_timeline

SET_UP = 5 * 60.0
BENCH = hand.WEED + hand.FINISH + hand.PACK
PLAIN = [BatchEntry("plain")]
LAMINATED = [BatchEntry("laminated", laminated=True)]


def last(placed):
    return max(task.finish for task in placed)


def task(role, machine, busy, attended=0.0, people=None):
    return Task(role, role, machine, people, float(busy), float(attended), 0.0)


def wait(seconds):
    return Task("wait", None, None, None, 0.0, 0.0, float(seconds))


def machines(*servers):
    places = tuple(Place(f"machine {m}", count, count) for m, count in enumerate(servers))
    return Cell(places, (), tuple(range(len(servers))))


def bound_of(cell, orders):
    """Return the bound of a batch whose orders have one route each."""
    return batch_lower_bound(cell, [[order] for order in orders])


def spans(timeline):
    return {one.task.name: (one.start, one.finish) for one in timeline.tasks}


def test_one_order_on_two_machines_by_hand():
    timeline = batch_timeline(hand_study(), "keep", PLAIN)
    found = spans(timeline)
    start = SET_UP + hand.LOAD
    assert found["print"] == pytest.approx((start, start + hand.PRINT))
    dry = start + hand.PRINT + 120.0
    assert found["dry"] == pytest.approx((dry, dry + hand.DRY))
    cut = dry + hand.DRY + hand.RELOAD + hand.MARKS
    assert found["cut"] == pytest.approx((cut, cut + hand.CUT))
    assert timeline.makespan == pytest.approx(cut + hand.CUT + hand.TAKE_OFF + BENCH)
    assert timeline.lower_bound == pytest.approx(timeline.makespan)


def test_one_order_in_one_machine_by_hand():
    timeline = batch_timeline(hand_study(), "frame", PLAIN)
    inside = hand.PRINT + hand.DRY + hand.REWIND + hand.MARKS + hand.CUT + hand.TAKE_OFF
    assert timeline.makespan == pytest.approx(SET_UP + hand.LOAD + inside + BENCH)
    assert {one.machine for one in timeline.tasks} == {"Frame", None}
    assert timeline.streaming.cycle_time == pytest.approx(hand.LOAD + inside)
    assert timeline.streaming.bottleneck == "Frame"


def test_one_laminated_order_leaves_the_machine_and_comes_back_by_hand():
    timeline = batch_timeline(hand_study(), "frame", LAMINATED)
    found = spans(timeline)
    out = SET_UP + hand.LOAD + hand.PRINT + 120.0
    back = out + 24 * 3600.0 + hand.LAMINATE
    assert found["laminate"] == pytest.approx((back - hand.LAMINATE, back))
    whole = back + hand.RELOAD + hand.MARKS + hand.CUT + hand.TAKE_OFF + BENCH
    assert timeline.makespan == pytest.approx(whole)


def test_print_only_and_cut_only_have_one_machine():
    study = hand_study(
        jobs__plain__cut=None, jobs__laminated__film=None, jobs__laminated__laminate=None,
        jobs__laminated__laminated=0, jobs__laminated__cut_material="vinyl",
    )  # fmt: skip
    timeline = batch_timeline(study, "keep", [BatchEntry("plain"), BatchEntry("laminated")])
    used = [{one.machine for one in timeline.tasks if one.order == n} for n in (0, 1)]
    assert used == [{"Printer", None}, {"Cutter", None}]


def test_two_orders_show_who_waits_for_whom():
    timeline = batch_timeline(hand_study(), "frame", [BatchEntry("plain", orders=2)],
                              sequencing="as given")  # fmt: skip
    second = {one.task.name: one for one in timeline.tasks if one.order == 1}
    assert second["set up the order"].waits_for == Wait("Operators", 0)
    assert second["load and check"].waits_for == Wait("Frame", 0)
    first = {one.task.name: one for one in timeline.tasks if one.order == 0}
    assert second["load and check"].start == first["take off the machine"].finish
    assert first["weed"].waits_for is None


def test_pieces_and_repeats_are_those_of_the_batch():
    study = hand_study()
    one, more = (
        batch_timeline(study, "keep", [BatchEntry("plain", pieces=pieces)]) for pieces in (4, 12)
    )
    length = [spans(line)["cut"][1] - spans(line)["cut"][0] for line in (one, more)]
    assert length == pytest.approx([hand.CUT, 3 * hand.CUT])
    listed, repeated = (
        batch_timeline(study, "keep", [BatchEntry("plain", orders=3 // n)], repeats=n)
        for n in (1, 3)
    )
    assert listed.tasks == repeated.tasks


def test_a_staged_machine_is_there_from_its_month():
    study = hand_study(shop__people__operators=4, shop__people__finishers=4,
                       alternatives__frame__machines=[
                           {"machine": "frame"}, {"machine": "cutter", "month": 12}])  # fmt: skip
    names = [
        {place.name for place in batch_timeline(study, "frame", PLAIN, month=month).cell.machines}
        for month in (12, 13)
    ]
    assert names == [{"Frame"}, {"Frame", "Cutter"}]
    batch = [BatchEntry("plain", orders=4)]
    early, late = (batch_timeline(study, "frame", batch, month=month) for month in (12, 13))
    assert late.makespan < early.makespan


def test_types_that_cannot_be_made_are_named():
    study = hand_study(jobs__plain__width="0.8 m", jobs__plain__height="0.8 m",
                       machines__frame__printing__print_width="0.7 m",
                       machines__frame__printing__widest_roll="1.1 m",
                       alternatives__frame__machines=[{"machine": "frame"}])  # fmt: skip
    timeline = batch_timeline(study, "frame", [*PLAIN, *LAMINATED, BatchEntry("laminated")])
    assert [(one.entry, one.job, one.name) for one in timeline.not_made] == [
        (0, "plain", "Plain"), (1, "laminated", "Laminated")]  # fmt: skip
    assert "too wide" in timeline.not_made[0].reason
    assert "no machine" in timeline.not_made[1].reason
    assert timeline.entry_of == (2,)
    nothing = batch_timeline(study, "frame", PLAIN)
    assert (nothing.tasks, nothing.makespan, nothing.lower_bound) == ((), 0.0, 0.0)
    with pytest.raises(InputError, match="can make nothing of it"):
        _ = nothing.streaming


times = st.integers(1, 9)
flow_orders = st.lists(st.tuples(times, times), min_size=1, max_size=6)


@given(flow_orders, st.integers(0, 5))
def test_against_the_recursion_of_a_flow_shop(rows, lag):
    orders = [
        (task("print", 0, p), *([wait(lag)] if lag else []), task("cut", 1, c)) for p, c in rows
    ]
    expected = makespan(completion_times([rows], lags=float(lag)))[0]
    assert last(placed_tasks(machines(1, 1), orders)) == expected


@settings(max_examples=40)
@given(flow_orders)
def test_against_enumeration_johnson_on_the_floor(rows):
    orders = [(task("print", 0, p), task("cut", 1, c)) for p, c in rows[:4]]
    cell = machines(1, 1)
    name, sequence = two_machine_sequence(cell, orders)
    assert name == "Johnson's rule"
    lists = itertools.permutations(range(len(orders)))
    best = min(last(placed_tasks(cell, orders, one)) for one in lists)
    assert last(placed_tasks(cell, orders, sequence)) == best


@given(times, times, st.integers(1, 6), st.integers(0, 60))
def test_against_closed_forms_of_streams(p, c, count, lag):
    between = [wait(lag)] if lag else []
    order = (task("print", 0, p), *between, task("cut", 1, c))
    assert last(placed_tasks(machines(1, 1), [order] * count)) == streamed_makespan(
        p, c, count, lag
    )
    if lag >= count * p:
        back = (task("print", 0, p), *between, task("cut", 0, c))
        found = last(placed_tasks(machines(1), [back] * count))
        assert found == reentrant_makespan(p, c, count, lag)


kinds = st.tuples(st.sampled_from(["machine", "wait", "bench"]), st.integers(0, 1), times,
                  st.integers(0, 9), st.integers(0, 1))  # fmt: skip


@st.composite
def batches(draw):
    servers = draw(st.tuples(st.integers(1, 2), st.integers(1, 2)))
    persons = draw(st.tuples(st.integers(1, 2), st.integers(1, 2)))
    people = tuple(Place(f"people {p}", count, count) for p, count in enumerate(persons))
    orders = []
    for rows in draw(st.lists(st.lists(kinds, min_size=1, max_size=5), min_size=1, max_size=5)):
        tasks = []
        for kind, machine, busy, attended, who in rows:
            if kind == "machine":
                stood_by = min(attended, busy)
                tasks.append(task("print", machine, busy, stood_by, who if stood_by else None))
            elif kind == "wait":
                tasks.append(wait(busy))
            else:
                tasks.append(Task("bench", None, None, who, 0.0, float(busy), 0.0))
        orders.append(tuple(tasks))
    return Cell(machines(*servers).machines, people, (0, 1)), orders


@given(batches(), st.sampled_from(["first_come", "furthest_along", "shortest"]), st.randoms())
def test_law_of_any_schedule(batch, rule, random):
    cell, orders = batch
    sequence = random.sample(range(len(orders)), len(orders))
    placed = placed_tasks(cell, orders, sequence, rule)
    assert len(placed) == sum(map(len, orders))
    for before, after in itertools.pairwise(placed):
        if before.order == after.order:
            assert after.start >= after.ready == before.finish
    for name in {one.machine for one in placed} - {None}:
        busy = sorted((one.start, one.finish) for one in placed if one.machine == name)
        assert all(one[1] <= two[0] for one, two in itertools.pairwise(busy))
    for place in cell.people:
        seen = [one for one in placed if one.people == place.name]
        for moment in [one.attended_from for one in seen]:
            at_work = [one for one in seen if one.attended_from <= moment < one.attended_until]
            assert len(at_work) <= place.servers
        for one in seen:
            assert one.attended_until - one.attended_from == pytest.approx(one.task.attended)
    assert last(placed) >= bound_of(cell, orders) - 1e-9
    assert all((one.waits_for is None) == (one.start <= one.ready) for one in placed)


@settings(max_examples=40)
@given(st.lists(st.tuples(times, times), min_size=1, max_size=4), st.integers(0, 1))
def test_law_an_added_machine_never_makes_the_optimal_makespan_longer(rows, where):
    orders = [(task("print", 0, p), task("cut", 1, c)) for p, c in rows]
    more = [1, 1]
    more[where] = 2
    lists = list(itertools.permutations(range(len(orders))))
    best = [
        min(last(placed_tasks(cell, orders, one)) for one in lists)
        for cell in (machines(1, 1), machines(*more))
    ]
    assert best[1] <= best[0]
    assert best[1] >= bound_of(machines(*more), orders)


@settings(max_examples=40)
@given(batches(), st.sampled_from([0.25, 2.0, 8.0]))
def test_law_times_scaled_scale_the_batch(batch, factor):
    cell, orders = batch
    scaled = [
        tuple(
            Task(one.name, one.role, one.machine, one.people,
                 one.busy * factor, one.attended * factor, one.wait * factor)
            for one in tasks
        )
        for tasks in orders
    ]  # fmt: skip
    assert last(placed_tasks(cell, scaled)) == last(placed_tasks(cell, orders)) * factor
    assert bound_of(cell, scaled) == pytest.approx(bound_of(cell, orders) * factor)


@given(st.lists(st.tuples(times, times, times), min_size=1, max_size=5))
def test_against_the_reentrant_bound(rows):
    orders = [(task("print", 0, p), wait(lag), task("cut", 0, c)) for p, lag, c in rows]
    first, lags, second = ([list(column)] for column in zip(*rows, strict=True))
    expected = reentrant_lower_bound(first, lags, second)[0]
    assert bound_of(machines(1), orders) == expected


def test_the_method_is_named_and_never_longer_than_the_list_given():
    batch = [BatchEntry("plain", pieces=40), BatchEntry("plain", pieces=4, orders=3)]
    study = hand_study(shop__people__operators=9, shop__people__finishers=9)
    given_list = batch_timeline(study, "keep", batch, sequencing="as given")
    shortest = batch_timeline(study, "keep", batch)
    assert given_list.method == "as given"
    assert shortest.method.startswith("Johnson's rule with lags")
    assert shortest.lower_bound <= shortest.makespan <= given_list.makespan


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"entries": []}, "batch"),
        ({"entries": [BatchEntry("posters")]}, "batch.0.job"),
        ({"entries": [BatchEntry("plain", orders=0)]}, "batch.0.orders"),
        ({"entries": [BatchEntry("plain", pieces=0)]}, "batch.0.pieces"),
        ({"entries": [BatchEntry("plain", laminated=True)]}, "batch.0.laminated"),
        ({"alternative": "none"}, "alternative"),
        ({"month": 0}, "month"),
        ({"repeats": 0}, "repeats"),
        ({"study": hand_study().replaced({"levers.print_rate": [1.0, 2.0]})}, "print"),
    ],
)
def test_refuses_a_batch_that_is_none(change, field):
    asked = {"study": hand_study(), "alternative": "keep", "entries": PLAIN} | change
    with pytest.raises(InputError) as error:
        batch_timeline(**asked)
    assert error.value.field == field


def test_refuses_a_list_that_leaves_orders_out():
    orders = [(task("print", 0, 1),), (task("print", 0, 2),)]
    with pytest.raises(InputError, match="must name each of 2 orders once"):
        placed_tasks(machines(1), orders, [0, 0])
    with pytest.raises(InputError, match="at least one task each"):
        placed_tasks(machines(1), [()])


def test_a_person_goes_on_with_an_order_whoever_is_first_in_the_list():
    trim, weed, pack = (
        Task(name, None, None, 0, 0.0, time, 0.0)
        for name, time in (("trim", 3.0), ("weed", 5.0), ("pack", 2.0))
    )
    long, bench = (trim, wait(1), pack), (weed, pack)
    cell = Cell((), (Place("Finishers", 1, 1.0),), ())
    placed = placed_tasks(cell, [long, bench])
    assert [one.start for one in placed if one.order == 1] == [3.0, 8.0]
    assert placed[2].start == 10.0


def test_the_share_of_laminated_work_does_not_touch_what_the_batch_says():
    study = hand_study(levers__laminated_share=0.9)
    whole = batch_timeline(study, "keep", [*PLAIN, *LAMINATED])
    assert {one.task.name for one in whole.tasks if one.order == 0}.isdisjoint({"laminate"})
    study = hand_study(alternatives__keep__machines=[
        {"machine": name, "owned": True} for name in ("printer", "cutter")],
        jobs__plain__laminate="laminate", levers__laminated_share=0.9)  # fmt: skip
    assert batch_timeline(study, "keep", PLAIN).not_made == ()


@pytest.mark.parametrize(("month", "there"), [(1, False), (2, False), (3, True)])
def test_a_machine_that_waits_for_a_trigger_is_there_after_the_month_that_it_finds(month, there):
    """A load above nothing is passed in month 1: bought in month 2, at work from month 3."""
    names = ("printer", "cutter", "laminator")
    shop = hand_study(alternatives__frame__machines=[
        {"machine": "frame", "when_load_passes": 0.0001},
        *({"machine": name, "owned": True} for name in names)])  # fmt: skip
    cell = batch_timeline(shop, "frame", PLAIN, month=month).cell
    assert ("Frame" in [place.name for place in cell.machines]) == there
