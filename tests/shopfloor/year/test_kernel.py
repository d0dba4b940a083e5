"""Laws of the dispatcher, its two forms, and what it refuses. Shops are random and invented."""

from __future__ import annotations

import threading
import time
from dataclasses import fields, replace
from pathlib import Path
from typing import Any

import counted
import numpy as np
import pytest
from random_floors import Case, random_case

from capex.errors import InputError
from capex.shopfloor.year import compiled
from capex.shopfloor.year.kernel import dispatched
from capex.shopfloor.year.plan import Breakdown, Floor, Luck, Orders, Record, Shifts
from capex.shopfloor.year.shop import Lists, shop_of

SEEDS = range(24)
#: Sums of many steps differ in their last digits [s].
ROUNDING = 1e-5


def steps_of(case: Case, record: Record) -> tuple[Any, Any, Any]:
    """Return order, step and whole duration of every entry of a record."""
    return counted.steps_of(case.floor, case.orders, record)


def without_failures(case: Case) -> Case:
    never = np.full((case.floor.group_of.size, 1), np.inf)
    return replace(case, luck=Luck(never, never, case.luck.night), breakdown=None)


@pytest.mark.parametrize("seed", SEEDS)
def test_law_an_order_goes_through_its_steps_one_after_the_other(seed: int) -> None:
    case = random_case(seed)
    record = dispatched(*case.everything)
    order, _, _ = steps_of(case, record)
    assert (record.begun[record.offset] >= case.orders.arrival).all()
    assert (record.ended >= record.begun).all()
    same = order[1:] == order[:-1]
    assert (record.begun[1:][same] >= record.ended[:-1][same]).all()
    last = np.append(record.offset[1:], order.size) - 1
    np.testing.assert_array_equal(record.finished, record.ended[last])


@pytest.mark.parametrize("seed", SEEDS)
def test_law_no_machine_works_on_two_orders_at_once(seed: int) -> None:
    case = random_case(seed)
    record = dispatched(*case.everything)
    _, step, _ = steps_of(case, record)
    begun = np.isfinite(record.begun) & (case.floor.machine[step] >= 0)
    assert (case.floor.group_of[record.on[begun]] == case.floor.machine[step][begun]).all()
    for machine in range(case.floor.group_of.size):
        here = np.flatnonzero(begun & (record.on == machine))
        here = here[np.argsort(record.begun[here], kind="stable")]
        assert (record.begun[here][1:] >= record.ended[here][:-1]).all()


@pytest.mark.parametrize("seed", SEEDS)
def test_law_no_more_people_work_than_there_are(seed: int) -> None:
    # without failures nobody is called away from a step that has begun
    case = without_failures(random_case(seed))
    record = dispatched(*case.everything)
    _, step, _ = steps_of(case, record)
    for group, persons in enumerate(case.floor.persons):
        here = (case.floor.people[step] == group) & np.isfinite(record.begun)
        times = np.concatenate([record.ended[here], record.begun[here]])
        change = np.repeat([-1, 1], here.sum())
        at_work = np.cumsum(change[np.lexsort((change, times))])
        assert at_work.max(initial=0) <= np.ceil(persons)


@pytest.mark.parametrize("seed", SEEDS)
def test_law_time_worked_is_the_time_that_steps_take(seed: int) -> None:
    case = random_case(seed)
    record = dispatched(*case.everything)
    _, step, duration = steps_of(case, record)
    done = np.isfinite(record.ended)
    begun = np.isfinite(record.begun)
    set_up = case.floor.set_up[step]
    for machine in range(case.floor.group_of.size):
        here = record.on == machine
        ran = record.working[machine] + record.set_up[machine] + record.at_night[machine]
        assert ran >= duration[here & done].sum() - ROUNDING
        assert ran <= duration[here & begun].sum() + ROUNDING
        if not (case.floor.set_up & case.floor.alone).any():
            assert record.set_up[machine] >= duration[here & done & set_up].sum() - ROUNDING
    for group in range(case.floor.persons.size):
        theirs = case.floor.people[step] == group
        assert record.busy[group] >= duration[theirs & done].sum() - ROUNDING
        assert record.busy[group] <= duration[theirs & begun].sum() + ROUNDING


@pytest.mark.parametrize("seed", SEEDS)
def test_law_states_of_a_machine_fit_into_the_time_that_the_shop_is_open(seed: int) -> None:
    case = random_case(seed)
    record = dispatched(*case.everything)
    shifts = case.shifts
    ends = shifts.opens + shifts.shift + record.extended
    until = record.finished.max()
    open_time = np.clip(np.minimum(ends, until) - shifts.opens, 0.0, None).sum()
    states = (record.working, record.set_up, record.blocked, record.down)
    for state in states:
        assert (state >= -ROUNDING).all()
    assert (sum(states) <= open_time + ROUNDING).all()
    whole, part = np.floor(case.floor.persons), case.floor.persons % 1.0
    longest = (case.floor.fixed + case.floor.scaled * case.orders.size.max()).max()
    most = whole * open_time + (part > 0) * shifts.opens.size * (part * shifts.shift + longest)
    assert (record.busy <= most + ROUNDING).all()


@pytest.mark.parametrize("seed", SEEDS)
def test_law_backlog_lies_between_what_has_not_begun_and_what_has_not_ended(seed: int) -> None:
    case = random_case(seed)
    record = dispatched(*case.everything)
    order, step, duration = steps_of(case, record)
    # a pass counts from the moment that it begins
    first = case.floor.first[case.orders.program[order]]
    before = np.append(np.inf, record.ended[:-1])
    began_pass = np.empty(order.size)
    for i in range(case.orders.arrival.size):
        mine = order == i
        begins = np.where(step[mine] == first[mine], before[mine], -np.inf)
        begins[0] = case.orders.arrival[i]
        began_pass[mine] = np.maximum.accumulate(begins)
    closings = case.shifts.opens + case.shifts.shift + record.extended
    groups = record.machine_queue.shape[2]
    for day, closing in enumerate(closings[closings < record.finished.max()]):
        here = began_pass <= closing
        for station, found in enumerate(record.backlog[day]):
            needs = case.floor.machine if station < groups else case.floor.people
            theirs = here & (needs[step] == station - groups * (station >= groups))
            least = duration[theirs & (record.begun > closing)].sum()
            most = duration[theirs & (record.ended > closing)].sum()
            assert least - ROUNDING <= found <= most + ROUNDING


@pytest.mark.parametrize("seed", SEEDS)
def test_law_who_came_has_left_or_waits_or_is_worked_on_at_every_hour(seed: int) -> None:
    """An opening shows what stood there at the closing before, and what the night made of it."""
    case = random_case(seed)
    for one in (case, without_failures(case)):
        record = dispatched(*one.everything)
        came, left, waiting, under_way, doubt = counted.present_by_hour(
            one.floor, one.shifts, one.orders, record
        )
        assert came.size > 0
        twice = waiting + under_way - (came - left)
        # a placed breakdown may stop a machine that holds an order between two steps
        assert (twice >= (0 if one.breakdown is None else -1)).all()
        assert (twice <= (doubt if one is case else 0)).all()


@pytest.mark.parametrize("seed", SEEDS)
def test_law_work_brought_is_work_done_or_left_at_every_closing(seed: int) -> None:
    """The shop is closed for good after each day; its machines have run what they no longer owe."""
    case = random_case(seed)
    whole = dispatched(*case.everything)
    groups = whole.machine_queue.shape[2]
    closings = case.shifts.opens + case.shifts.shift + whole.extended
    days = int((closings < min(whole.finished.max(), closings[-1])).sum())
    assert days > 0
    first = 1 if case.breakdown is None else case.breakdown.day + 1
    for day in range(first, days + 1):
        part = changed(case, "shifts", opens=case.shifts.opens[:day],
                       month_of=case.shifts.month_of[:day])  # fmt: skip
        record = dispatched(*changed(part, "luck", night=case.luck.night[:, :day]).everything)
        brought = counted.work_brought(case.floor, case.orders, record, closings[day - 1])
        ran = record.working + record.set_up + record.at_night
        done = np.bincount(case.floor.group_of, ran, minlength=groups)
        np.testing.assert_allclose(
            done + whole.backlog[day - 1, :groups], brought, rtol=0, atol=ROUNDING
        )


@pytest.mark.parametrize("seed", SEEDS)
def test_law_overtime_stays_within_its_limits(seed: int) -> None:
    case = random_case(seed)
    record = dispatched(*case.everything)
    assert (record.extended <= case.shifts.overtime).all()
    by_month = np.bincount(case.shifts.month_of, weights=record.extended)
    limits = case.shifts.overtime_left[: by_month.size]
    assert (by_month <= limits + ROUNDING).all()
    # a day is extended by all that is left, or not at all
    for day in np.flatnonzero(record.extended):
        earlier = case.shifts.month_of[:day] == case.shifts.month_of[day]
        left = limits[case.shifts.month_of[day]] - record.extended[:day][earlier].sum()
        assert record.extended[day] == pytest.approx(min(case.shifts.overtime, left))


@pytest.mark.parametrize("seed", SEEDS)
def test_law_twice_every_time_is_twice_every_answer(seed: int) -> None:
    case = random_case(seed)
    floor, shifts, orders, luck = case.floor, case.shifts, case.orders, case.luck
    doubled = dispatched(
        replace(floor, fixed=2 * floor.fixed, scaled=2 * floor.scaled),
        replace(
            shifts,
            opens=2 * shifts.opens,
            shift=2 * shifts.shift,
            overtime=2 * shifts.overtime,
            overtime_left=2 * shifts.overtime_left,
            night=2 * shifts.night,
        ),
        replace(orders, arrival=2 * orders.arrival, due=2 * orders.due),
        replace(luck, until=2 * luck.until, repair=2 * luck.repair),
        case.breakdown and replace(case.breakdown, length=2 * case.breakdown.length),
    )
    record = dispatched(*case.everything)
    for name in ("begun", "ended", "finished", "extended"):
        np.testing.assert_array_equal(getattr(doubled, name), 2 * getattr(record, name))
    np.testing.assert_array_equal(doubled.on, record.on)
    for name in ("working", "set_up", "blocked", "down", "at_night", "busy", "backlog"):
        np.testing.assert_allclose(
            getattr(doubled, name), 2 * getattr(record, name), rtol=0, atol=2 * ROUNDING
        )


@pytest.mark.parametrize("seed", SEEDS)
def test_law_what_comes_later_changes_nothing_before(seed: int) -> None:
    case = random_case(seed)
    orders = case.orders
    some = orders.arrival.size // 2
    cut = Orders(*(getattr(orders, field.name)[:some] for field in fields(orders)))
    whole, half = dispatched(*case.everything), dispatched(*replace(case, orders=cut).everything)
    before = orders.arrival[some]
    for name in ("begun", "ended"):
        all_of_it, part = getattr(whole, name)[: half.begun.size], getattr(half, name)
        early = np.minimum(all_of_it, part) < before
        np.testing.assert_array_equal(all_of_it[early], part[early])


@pytest.mark.skipif(not compiled.can_compile(), reason="needs numba")
def test_against_the_compiled_dispatcher_to_the_last_bit() -> None:
    for seed in range(60):
        case = random_case(seed)
        fast, plain = shop_of(*case.everything), shop_of(*case.everything)
        compiled.run(fast, wait=True)
        compiled.plain(plain)
        for name in Lists.recorded:
            np.testing.assert_array_equal(getattr(fast, name), getattr(plain, name), name)


def test_plain_python_where_it_is_asked_for(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("CAPEX_PLAIN", "1")
    assert not compiled.can_compile()
    assert not compiled.is_ready()
    compiled.warm(wait=True)
    assert np.isfinite(dispatched(*random_case(1).everything).begun).any()


def batch(steps: int, count: int, first: float, then: float) -> Record:
    """Return what becomes of like orders on one machine or on two in a row, all there at 0."""
    both = np.arange(2) if steps == 2 else np.zeros(2, int)
    no = np.zeros(2, bool)
    floor = Floor(
        group_of=np.unique(both),
        persons=np.ones(1),
        first=np.array([0]),
        last=np.array([1]),
        machine=both,
        people=np.full(2, -1),
        fixed=np.array([first, then]),
        scaled=np.zeros(2),
        wall=no,
        alone=no,
        set_up=no,
        keeps_machine=np.array([steps == 1, False]),
        keeps_person=no,
    )
    endless = Shifts(np.zeros(1), 1e9, 0.0, np.zeros(1), np.zeros(1, int), 1.0, 0.0, 0.0)
    zero, one = np.zeros(count), np.ones(count)
    machines = floor.group_of.size
    never = Luck(np.full((machines, 1), np.inf), np.ones((machines, 1)), np.ones((machines, 1)))
    return dispatched(
        floor, endless, Orders(zero, zero.astype(int), one, one.astype(int), one), never
    )


@pytest.mark.parametrize(("first", "then"), [(300.0, 500.0), (700.0, 200.0), (400.0, 400.0)])
def test_against_the_makespan_of_streamed_batches(first: float, then: float) -> None:
    # derivable: p + c + (n - 1) max(p, c) on two machines, n (p + c) on one
    assert batch(2, 10, first, then).finished.max() == first + then + 9 * max(first, then)
    assert batch(1, 10, first, then).finished.max() == 10 * (first + then)


def test_without_orders_nothing_happens() -> None:
    case = random_case(3)
    none = Orders(*(getattr(case.orders, field.name)[:0] for field in fields(case.orders)))
    record = dispatched(*replace(case, orders=none).everything)
    assert record.finished.size == 0
    assert not record.down.any()
    assert not record.extended.any()


def changed(case: Case, part: str, **values: Any) -> Case:
    return replace(case, **{part: replace(getattr(case, part), **values)})


def test_refuses_what_cannot_be() -> None:
    case = random_case(0)
    floor = case.floor
    last = np.zeros(floor.machine.size, bool)
    last[floor.last] = True
    wrong = {
        "machine_rule": changed(case, "floor", machine_rule="largest"),
        "keeps_machine": changed(case, "floor", keeps_machine=floor.keeps_machine | last),
        "alone": changed(case, "floor", alone=np.ones(last.size, bool)),
        "fixed": changed(case, "floor", fixed=np.zeros(last.size), scaled=np.zeros(last.size)),
        "persons": changed(case, "floor", persons=np.zeros(floor.persons.size)),
        "arrival": changed(case, "orders", arrival=case.orders.arrival[::-1].copy()),
        "program": changed(case, "orders", program=case.orders.program + 99),
        "passes": changed(case, "orders", passes=np.zeros_like(case.orders.passes)),
        "luck.night": changed(case, "luck", night=case.luck.night[:, :1]),
        "shifts.night": changed(case, "shifts", night=86400.0),
        "breakdown": replace(case, breakdown=Breakdown(99, 0, 1.0)),
    }
    for name, bad in wrong.items():
        with pytest.raises(InputError, match=name):
            dispatched(*bad.everything)


NAN, INF = float("nan"), float("inf")


@pytest.mark.parametrize(
    ("part", "name", "value", "said"),
    [
        ("orders", "arrival", NAN, r"orders\.arrival\[1\]: nan must be finite .* \[s\]"),
        ("orders", "arrival", -1.0, r"orders\.arrival\[1\]: -1\.0 must be .* before it \[s\]"),
        ("orders", "due", NAN, r"orders\.due\[1\]: nan must be a finite working time \[s\]"),
        ("orders", "size", INF, r"orders\.size\[1\]: inf must be finite and above 0 times"),
        ("orders", "passes", 0, r"orders\.passes\[1\]: 0 must be at least 1 pass"),
        ("orders", "program", 99, r"orders\.program\[1\]: 99 must be a program, from 0 to \d"),
        ("luck", "until", NAN, r"luck\.until\[0, 1\]: nan must be at least 0 s"),
        ("luck", "repair", NAN, r"luck\.repair\[0, 1\]: nan must be at least 0 s"),
        ("luck", "repair", -5.0, r"luck\.repair\[0, 1\]: -5\.0 must be at least 0 s"),
        ("luck", "night", NAN, r"luck\.night\[0, 1\]: nan must be at least 0"),
        ("breakdown", "machine", 99, r"breakdown\.machine: 99 must be a machine, from 0 to \d"),
        ("breakdown", "day", -1, r"breakdown\.day: -1 must be a day, from 0 to \d"),
        ("breakdown", "length", NAN, r"breakdown\.length: nan must be .* at least 0 s"),
    ],
)
def test_refuses_one_bad_value_by_place_bound_and_unit(
    part: str, name: str, value: float, said: str
) -> None:
    case = next(case for case in map(random_case, SEEDS) if case.breakdown)
    values: Any = value
    if part != "breakdown":
        values = getattr(getattr(case, part), name).copy()
        values[(0, 1) if part == "luck" else 1] = value
    with pytest.raises(InputError, match=said):
        dispatched(*changed(case, part, **{name: values}).everything)


def test_refuses_to_go_on_without_luck() -> None:
    case = random_case(0)
    short = changed(case, "luck", until=case.luck.until[:, :1], repair=case.luck.repair[:, :1])
    with pytest.raises(InputError, match=r"luck\.until"):
        dispatched(*short.everything)


@pytest.mark.skipif(not compiled.can_compile(), reason="needs numba")
def test_law_two_pages_never_compile_at_once(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    """Whoever comes second waits, and then finds on disk what the first has compiled."""
    here, most = [], []

    def compiling(*_: object, **__: object) -> None:
        here.append(1)
        most.append(len(here))
        time.sleep(0.05)
        here.pop()

    monkeypatch.setattr(compiled, "user_cache_path", lambda *_, **__: tmp_path)
    monkeypatch.setattr(compiled.subprocess, "run", compiling)
    monkeypatch.setattr(compiled, "run", lambda *_, **__: None)
    pages = [threading.Thread(target=compiled._compile_beside) for _ in range(3)]
    for page in pages:
        page.start()
    for page in pages:
        page.join()
    assert most == [1, 1, 1]
