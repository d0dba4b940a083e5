"""What a month makes: against a linear programme of flows solved by HiGHS, and its laws.

The reference is `plain_program`: its own hours, times, costs and unknowns. A month's output is put
into the reference's unknowns, so that feasibility and contribution are judged by its figures.
"""

from dataclasses import replace
from functools import cache, lru_cache

import numpy as np
import pytest
from hand_shop import hand_study
from hypothesis import given
from hypothesis import strategies as st
from plain_program import PlainProgram, solution
from strategies import Size, laws, seeded_study, studies

from capex.decision.audit.plain_hours import orders_asked_for
from capex.shopfloor.capacity import monthly_output
from capex.shopfloor.content import Contents
from capex.shopfloor.mix import job_mix
from capex.shopfloor.output import Output
from capex.shopfloor.prices import price_levels
from capex.shopfloor.routes import routes
from capex.study import data_folder, read_study

KEYS = ("many", "staged", "keep")
HOW_TIGHT = 1.6
STUDIES = 210
BUSY = Size(redeployed=False)


def made(study, key):
    """Return routes and output of one alternative."""
    mix, choice = job_mix(study), study.alternatives[key]
    ways = routes(Contents(study, mix), choice)
    months = int(np.max(study.money.horizon.si))
    return ways, monthly_output(study, mix, choice, ways, price_levels(study, months))


def loads(output: Output) -> np.ndarray:
    """Return time asked for over time there is, 0 where a station is absent."""
    there = output.available > 0
    return np.divide(output.asked, output.available, out=np.zeros_like(output.asked), where=there)


@cache
def tight_study(seed: int, size: Size = BUSY, tightness: float = HOW_TIGHT):
    """Return a random study and alternative with its third fullest station asked so far."""
    study, key = seeded_study(seed, size), KEYS[seed % 3]
    third = np.sort(loads(made(study, key)[1])[0].mean(axis=1))[-3]
    return study.replaced({"levers.demand": tightness / max(third, 1e-3)}), key


@lru_cache(maxsize=2)
def demo():
    return read_study(data_folder() / "studies" / "quenlow.toml")


def unknowns(rows, program, ways, output, month) -> np.ndarray:
    """Return the output of a month (from 1) in the unknowns of the reference."""
    x, keys, column = np.zeros(len(rows.columns)), list(program.study.jobs), rows.columns
    for v, route in enumerate(ways.each):
        orders = output.made[0, v, month - 1]
        if orders == 0:
            continue
        cell = (keys[route.job], route.print, route.cut)
        x[column["cell", *cell]] += orders
        if route.overnight:
            x[column["night", *cell]] += orders
        if route.laminate is not None:
            x[column["lamination", *cell, route.laminate]] += orders
    for j, key in enumerate(keys):
        x[column["bought", key]] = output.bought_in[0, j, month - 1]
        x[column["refused", key]] = output.refused[0, j, month - 1]
    x[column["overtime",]] = output.overtime[0, month - 1]
    for who in ("operators", "finishers"):
        k = rows.stations.index((who,))
        x[column["idle", who]] = max(rows.limit[k] - rows.matrix[k] @ x, 0.0)
    return x


def gaps(study, key, months=None):
    """Return how far each month falls short of HiGHS, and how many stations HiGHS fills."""
    ways, output = made(study, key)
    program, keys = PlainProgram(study, study.alternatives[key]), list(study.jobs)
    short, full = [], []
    for month in months or range(1, output.demand.shape[2] + 1):
        wanted = dict(zip(keys, output.demand[0, :, month - 1], strict=True))
        rows = program.rows(month, wanted)
        x = unknowns(rows, program, ways, output, month)
        where = f"{key}, month {month}"
        over = (rows.matrix @ x - rows.limit) / np.maximum(np.abs(rows.limit), 1.0)
        assert over.max() <= 1e-8, where
        assert np.abs(rows.equal @ x - rows.total).max() <= 1e-9 * max(rows.total.max(), 1), where
        assert x.min() >= -1e-9, where
        best = solution(rows)
        short.append((-best.fun - rows.value @ x) / max(abs(best.fun), 1.0))
        stations = len(rows.stations)
        hours = rows.limit[:stations]
        full.append(int(((best.slack[:stations] < 1e-7 * hours) & (hours > 0)).sum()))
    return short, full


def row_of(station) -> tuple:
    """Return the reference's name of a station."""
    return (station.work,) if station.placement is None else (station.work, station.placement)


def spread(short) -> str:
    parts = np.percentile(short, [50, 95, 100, 0])
    return "median {:.1e}, P95 {:.1e}, worst {:.1e}, best {:.1e}".format(*parts)


@pytest.mark.parametrize("seed", range(24))
def test_against_plain_python_loads_costs_hours_and_demand(seed):
    study, key = seeded_study(seed), KEYS[seed % 3]
    choice, keys = study.alternatives[key], list(study.jobs)
    ways, output = made(study, key)
    program = PlainProgram(study, choice)
    for v, route in enumerate(ways.each):
        name = (keys[route.job], route.print, route.cut, route.laminate)
        found = program.contents.get(name)
        assert bool(ways.makeable[0, v]) == (found is not None), name
        if found is None:
            continue
        assert ways.direct_cost[0, v] == pytest.approx(found.cost, rel=1e-9), name
        for k, station in enumerate(ways.stations):
            if station.placement is None:
                people = found.people_by_day if route.overnight else found.people
                expected = people.get(station.work, 0.0)
            elif station.work == "machine":
                alone = route.overnight and station.placement == route.print
                expected = found.held.get(station.placement, 0.0) - alone * found.alone
            else:
                alone = route.overnight and station.placement == route.print
                expected = alone * found.alone
            assert ways.load[0, v, k] == pytest.approx(expected, rel=1e-9, abs=1e-6), (
                name,
                station.key,
            )
    for month in range(1, output.demand.shape[2] + 1):
        wanted = [orders_asked_for(study, choice, name, month) for name in keys]
        assert output.demand[0, :, month - 1] == pytest.approx(wanted, rel=1e-12)
        hours = program.hours(month)
        for k, station in enumerate(ways.stations):
            name = row_of(station)
            assert output.available[0, k, month - 1] == pytest.approx(hours[name][0], rel=1e-12)


@pytest.mark.parametrize("demand", [1.0, 1.5, 2.5])
def test_against_highs_on_every_month_of_the_demo(demand, measured):
    study = demo().replaced({"levers.demand": demand})
    short, full = [], []
    for key in study.alternatives:
        months = range(1, 85) if demand == 1.0 else range(3, 85, 4)
        found = gaps(study, key, months)
        short += found[0]
        full += found[1]
    measured(
        f"demo, demand × {demand}: {len(short)} months, {np.mean(np.array(full) > 0):.0%} with a "
        f"full station; short of HiGHS: {spread(short)}"
    )
    assert min(short) >= -1e-7
    assert max(short) <= 0.005


@pytest.fixture(scope="module")
def random_gaps():
    short, full = [], []
    for seed in range(STUDIES):
        study, key = tight_study(seed)
        horizon = int(study.money.horizon.likely)
        found = gaps(study, key, range(1 + seed % 4, horizon + 1, 5))
        short += found[0]
        full += found[1]
    return np.array(short), np.array(full)


def test_against_highs_on_random_studies(random_gaps, measured):
    short, full = random_gaps
    counts = ", ".join(f"{n}: {count}" for n, count in enumerate(np.bincount(full)))
    measured(f"{STUDIES} random studies: {len(short)} months by number of full stations: {counts}")
    measured(f"{STUDIES} random studies; short of HiGHS: {spread(short)}")
    assert np.mean(full >= 2) >= 0.5
    assert short.min() >= -1e-7
    assert np.median(short) <= 0.001
    assert np.percentile(short, 95) <= 0.01
    assert short.max() <= 0.05


def test_against_highs_the_kernel_is_exact(random_gaps):
    short, _ = random_gaps
    assert short.max() <= 1e-9


def test_against_highs_where_idle_time_is_redeployed(measured):
    # Idle hours, overtime included, are paid elsewhere: an hour of overtime that is used costs its
    # premium less what it would have brought there.
    short = []
    for seed in range(60):
        study, key = tight_study(seed, replace(BUSY, redeployed=True), 1.1)
        study = study.replaced({"shop.people.idle_time_redeployed": 1.0})
        short += gaps(study, key, range(2, int(study.money.horizon.likely) + 1, 4))[0]
    measured(f"idle time redeployed: {len(short)} months; short of HiGHS: {spread(short)}")
    assert min(short) >= -1e-7
    assert max(short) <= 1e-6


def test_overtime_is_worked_where_an_order_leaves_more_than_its_premium():
    """One operator at 20 an hour: overtime costs 30, an hour of orders leaves about 40."""
    study = hand_study(
        shop__people__finishers=0,
        shop__people__idle_time_redeployed=1,
        shop__hours__overtime_per_month="10 h",
        shop__hours__overtime_premium=1.5,
        jobs__plain__orders_per_month=2000,
        jobs__plain__price=22,
        jobs__laminated__orders_per_month=0,
    )
    _, output = made(study, "keep")
    assert output.overtime[0] == pytest.approx([36000.0] * 36)


def test_against_highs_after_customers_are_lost():
    for seed in range(0, 24):
        study, key = tight_study(seed, replace(BUSY, lost_customers=True, years=2))
        short, _ = gaps(study, key, range(2, int(study.money.horizon.likely) + 1, 5))
        assert min(short) >= -1e-7
        assert max(short) <= 1e-9


def test_against_highs_worth_of_an_hour(measured):
    """The worth lies between what HiGHS gains by a bit more and loses by a bit less.

    By concavity that holds for any bit, degenerate or not; where both agree the worth is unique.
    """
    checked, sharp = 0, 0
    for seed in range(0, 45):
        study, key = tight_study(seed)
        ways, output = made(study, key)
        program, keys = PlainProgram(study, study.alternatives[key]), list(study.jobs)
        month = 1 + seed % 12
        rows = program.rows(month, dict(zip(keys, output.demand[0, :, month - 1], strict=True)))
        best = -solution(rows).fun
        for k, station in enumerate(ways.stations):
            row = rows.stations.index(row_of(station))
            step = 1e-3 * rows.limit[row]
            if step == 0:
                continue
            bit = np.zeros_like(rows.limit)
            bit[row] = step
            more = (-solution(rows, bit).fun - best) / step
            less = (best + solution(rows, -bit).fun) / step
            worth = output.worth[0, k, month - 1]
            slack = 1e-6 * less + 1e-10 * abs(best) / step
            assert more - slack <= worth <= less + slack, (seed, station.key)
            checked += 1
            sharp += abs(more - less) <= 2 * slack < less
    measured(f"worth of an hour: {checked} stations, {sharp} with one positive worth")
    assert sharp >= 30


SMALL = studies(Size(jobs=4, frames=1, years=2, redeployed=False))
PRESSURE = st.sampled_from([0.5, 2.0, 5.0, 20.0])


@laws(25)
@given(SMALL, PRESSURE)
def test_law_orders_in_are_made_bought_in_or_refused(study, pressure):
    study = study.replaced({"levers.demand": [1.0, pressure]})
    for key in study.alternatives:
        ways, output = made(study, key)
        by_job = np.zeros_like(output.demand)
        np.add.at(by_job, (slice(None), ways.job_of), output.made)
        out = by_job + output.bought_in + output.refused
        assert out == pytest.approx(output.demand, rel=1e-9, abs=1e-9)
        for part in (by_job, output.bought_in, output.refused):
            assert part.min() >= -1e-9


@laws(25)
@given(SMALL, PRESSURE)
def test_law_used_time_is_within_available_time_and_overtime(study, pressure):
    study = study.replaced({"levers.demand": [1.0, pressure]})
    limit = study.shop.hours.overtime_per_month.likely
    for key in study.alternatives:
        ways, output = made(study, key)
        program = PlainProgram(study, study.alternatives[key])
        assert output.overtime.min() >= 0
        assert output.overtime.max() <= limit * (1 + 1e-12)
        for month in range(1, output.demand.shape[2] + 1):
            hours = program.hours(month)
            for k, station in enumerate(ways.stations):
                normal, gained = hours[row_of(station)]
                most = normal + gained * output.overtime[:, month - 1]
                assert (output.used[:, k, month - 1] <= most * (1 + 1e-9) + 1e-6).all(), station.key


@pytest.mark.parametrize("seed", [1, 3, 11, 20, 22, 63, 67, 87])
def test_law_nights_that_never_complete_are_no_nights(seed):
    """A station without a second of its own: the same as one that is not there."""
    study = seeded_study(seed).replaced({"levers.demand": 50.0})
    for key in study.alternatives:
        never = {"shop.hours.overnight_completion": 0.0}
        no_night = {"shop.hours.overnight_per_day": 0.0}
        mine, theirs = (made(study.replaced(change), key)[1] for change in (never, no_night))
        assert mine.bought_in == pytest.approx(theirs.bought_in, rel=1e-6, abs=1e-6)
        assert mine.refused == pytest.approx(theirs.refused, rel=1e-6, abs=1e-6)


CAPACITY = {
    "shop.hours.overtime_per_month": 2.0,
    "shop.hours.overnight_per_day": 2.0,
    "shop.hours.overnight_completion": 1.0,
    "machines.old_printer.mean_time_between_failures": 1.5,
    "machines.frame_0.mean_time_between_failures": 1.5,
    "machines.old_cutter.mean_time_between_failures": 1.5,
    "levers.print_rate": 1.2,
}


@laws(20)
@given(SMALL, PRESSURE, st.sampled_from(sorted(CAPACITY)))
def test_law_more_capacity_never_lowers_contribution(study, pressure, path):
    study = study.replaced({"levers.demand": pressure})
    had = study.quantity(path)
    most = np.inf if had.entry.at_most is None else had.entry.at_most
    more = study.replaced({path: min(had.likely * CAPACITY[path], most)})
    for key in study.alternatives:
        less, most = contribution(study, key), contribution(more, key)
        assert (most >= less - 1e-9 * np.abs(less).max()).all()


def contribution(study, key) -> np.ndarray:
    """Return contribution by month through the reference's figures, which take any output."""
    ways, output = made(study, key)
    program, keys = PlainProgram(study, study.alternatives[key]), list(study.jobs)
    found = []
    for month in range(1, output.demand.shape[2] + 1, 3):
        wanted = dict(zip(keys, output.demand[0, :, month - 1], strict=True))
        rows = program.rows(month, wanted)
        found.append(rows.value @ unknowns(rows, program, ways, output, month))
    return np.array(found)


@laws(25)
@given(SMALL, PRESSURE)
def test_law_what_no_machine_can_make_is_bought_in_or_refused(study, pressure):
    """A type wider than the knife is never made where only that knife is left."""
    wide = {f"machines.{name}.cutting.cut_width": 0.04 for name in study.machines
            if study.machines[name].cutting is not None}  # fmt: skip
    study = study.replaced({"levers.demand": pressure, **wide})
    for key in study.alternatives:
        ways, output = made(study, key)
        for j, job in enumerate(study.jobs.values()):
            if job.cut is None:
                continue
            assert output.made[:, ways.job_of == j].sum() == 0
            assert output.used.min() >= 0
            out = output.bought_in[:, j] + output.refused[:, j]
            assert out == pytest.approx(output.demand[:, j], rel=1e-12)
            if job.bought_in_price is None:
                assert output.bought_in[:, j].sum() == 0


def test_a_narrow_machine_leaves_wide_work_to_the_others():
    study = seeded_study(3, replace(BUSY, overnight=False))
    width = {"machines.narrow_cutter.cutting.cut_width": 0.04, "levers.demand": 10.0}
    ways, output = made(study.replaced(width), "many")
    narrow = [i for i, place in enumerate(study.alternatives["many"].machines)
              if place.machine == "narrow_cutter"]  # fmt: skip
    on_it = np.array([route.cut in narrow for route in ways.each])
    assert on_it.any()
    assert output.made[:, on_it].sum() == 0
    assert output.made[:, ~on_it].sum() > 0


def test_law_a_scenario_without_nights_asks_nothing_of_the_night():
    """Though another scenario of the batch has nights, and labour that a night saves counts."""
    study = read_study(data_folder() / "studies" / "quenlow.toml")
    study = study.replaced({"shop.people.idle_time_redeployed": 0.5})
    alone = made(study, "all_in_one")[1]
    ways, both = made(study.replaced({"shop.hours.overnight_per_day": [0.0, 8 * 3600.0]}),
                      "all_in_one")  # fmt: skip
    night = np.array([place.work == "overnight" for place in ways.stations])
    assert both.asked[1][night].max() > 0
    assert both.asked[0][night].max() == 0
    assert (both.asked[0][~night] == alone.asked[0]).all()
