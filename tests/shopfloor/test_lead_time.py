"""Lead times: a plain event simulation, plain sums, and laws. The demo only supplies inputs."""

import math
import random
import statistics
from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from simulated_cell import CHOICES, NO_SPOIL, OFTEN_SHORTLY_DOWN, STUDY, Path, simulated_lead_time

from capex.errors import InputError
from capex.shopfloor.calendar import chance_of_work, working_calendar
from capex.shopfloor.lead_time import working_days
from capex.shopfloor.visits import visits
from capex.shopfloor.year.arrivals import working_time, year_calendar
from capex.shopfloor.year.compiled import warm
from capex.shopfloor.year.monthly_plan import monthly_plan
from capex.shopfloor.year.simulated_year import simulated_year

VARIATION = "shop.dispatching.order_size_variation"
NIGHT = {"shop.hours.overnight_per_day": 10 * 3600.0, "levers.demand": 3.0}


# ------------------------------------------------------------------ visits


@pytest.mark.parametrize("key", CHOICES)
@pytest.mark.parametrize("scenarios", [{}, NIGHT, {"jobs.sticker_sets.laminated": [0.2, 0.9]}])
def test_law_visits_bring_exactly_the_station_time_of_the_routes(key, scenarios):
    path = Path(key, scenarios)
    found = visits(path.mix, path.routes)
    np.testing.assert_allclose(found.time, path.routes.load, rtol=1e-12, atol=1e-9)
    # one visit of the mean time is the least that a number of visits can be, squared and summed
    with np.errstate(divide="ignore", invalid="ignore"):
        least = np.where(found.count > 0, found.time**2 / found.count, 0.0)
    assert (found.square >= least * (1 - 1e-12)).all()


def test_laminated_work_comes_back_to_the_all_in_one_and_plain_work_stays():
    path = Path("all_in_one", NO_SPOIL)
    count = visits(path.mix, path.routes).count
    job = {name: place for place, name in enumerate(path.mix.keys)}
    each = [count[0, route, 0] for route in range(len(path.routes.each))]
    of = {path.routes.each[v].job: visits_ for v, visits_ in enumerate(each)}
    assert of[job["sticker_sets"]] == 1  # printed and cut without leaving
    assert of[job["fleet_badges"]] == 2  # printed, laminated elsewhere, cut
    assert of[job["banners"]] == 1  # printed only
    assert of[job["cut_only_lettering"]] == 1


def plain_working_days(path, job, route):
    """Sum the operations of an order that is alone in the shop, one after another."""
    hours, content = path.study.shop.hours, path.routes.contents[route]
    places = path.routes.each[route]
    shift = hours.hours_per_day.likely - hours.care_per_day.likely
    people = path.study.shop.people
    total = 0.0
    laminated = path.mix.laminated[0, job]
    done = content.operations
    for share, spoil, operations in (
        (1 - laminated, done.spoil_plain, done.plain),
        (laminated, done.spoil_laminated, done.laminated),
    ):
        for operation in operations if share else ():
            busy, attended, wait = (
                float(np.broadcast_to(part, spoil.shape)[0, job])
                for part in (operation.busy, operation.attended, operation.wait)
            )
            if operation.at is None:
                persons = getattr(people, operation.by).likely
                time = attended / (shift * min(persons, 1.0))
            else:
                place = getattr(places, operation.at)
                if place is None:
                    assert busy == attended == 0
                    continue
                machine = path.study.machines[path.choice.machines[place].machine]
                up, down = (
                    machine.mean_time_between_failures.likely,
                    machine.mean_time_to_repair.likely,
                )
                day = (shift - machine.warm_up_time.likely) * (1 - machine.minor_stop_share.likely)
                time = max(busy, attended) / (day * up / (up + down))
            passed = working_days(
                wait,
                hours_per_day=shift,
                days_per_month=hours.days_per_month.likely,
            )
            total += share / (1 - spoil[0, job]) * (time + float(passed))
    return total


@pytest.mark.parametrize("key", CHOICES)
def test_against_a_plain_sum_for_an_order_alone_in_the_shop(key):
    quiet = {"levers.demand": 1e-7, "shop.after_purchase.ramp_up": 0.0}
    path = Path(key, quiet)
    found = path.lead_times()
    assert found.queue.max() < 1e-5
    checked = 0
    for v, route in enumerate(path.routes.each):
        made = path.output.made[0, :, 3]
        if made[v] == made[path.routes.job_of == route.job].sum() > 0:
            plain = plain_working_days(path, route.job, v)
            assert found.by_type[0, route.job, 3] == pytest.approx(plain, rel=1e-4)
            checked += 1
    assert checked >= 8


# ------------------------------------------------------------------ waits around the clock


@given(st.floats(0, 400), st.floats(0.5, 24), st.floats(1, 30))
def test_law_working_days_of_waits(hours, staffed, days):
    def passed(wait):
        return float(working_days(wait * 3600, hours_per_day=staffed * 3600, days_per_month=days))

    assert 0 <= passed(hours) <= passed(hours + 0.1) + 1e-12
    assert passed(hours) <= 0.5 + hours / 24 + 1e-9 or staffed > 12
    assert passed(hours) <= hours / staffed + 1e-9


def days_by_week(days_per_month, weeks):
    """Return working days: from a week's first on, as many as are due and not yet worked."""
    weekly = 7 * Fraction(days_per_month) * 12 / Fraction("365.25")
    there, due = [], Fraction(0)
    for week in range(weeks):
        due += weekly
        there += [7 * week + day for day in range(math.ceil(due) - len(there))]
    return there


@pytest.mark.parametrize("days", [6.0, 13.0, 21.0, 26.0])
def test_against_a_calendar_week_by_week(days):
    there = days_by_week(days, 5_000)
    np.testing.assert_array_equal(working_calendar(len(there), days), there)
    weeks = np.bincount(np.array(there) // 7)
    assert weeks.max() - weeks.min() <= 1
    known = set(there)
    for later in (*range(1, 9), 13, 14, 15, 27, 28):
        share = sum(day + later in known for day in there[:-200]) / len(there[:-200])
        assert float(chance_of_work(later, days)) == pytest.approx(share, abs=1e-3)


@pytest.mark.parametrize("wait", [0.5, 5, 10, 17, 20, 24, 31, 48, 90])
def test_against_a_walk_through_a_calendar(wait):
    """Start at random in the shift of a working day and count staffed minutes, day by day."""
    staffed, days, rng = 8.0, 21.0, random.Random(int(wait * 10))
    there = days_by_week(days, 900)
    known = set(there)
    sample = []
    for _ in range(20_000):
        first = rng.choice(there[:-10])
        begin = rng.uniform(0, staffed)
        end = begin + wait
        counted, day = 0.0, 0
        while 24 * day < end:
            if first + day in known:
                opens, closes = 24.0 * day, 24.0 * day + staffed
                counted += max(0.0, min(end, closes) - max(begin, opens))
            day += 1
        sample.append(counted / staffed)
    half = 3.3 * statistics.stdev(sample) / len(sample) ** 0.5  # 99.9 %
    found = working_days(wait * 3600, hours_per_day=staffed * 3600, days_per_month=days)
    assert abs(statistics.fmean(sample) - float(found)) < half + 1e-12


@pytest.mark.parametrize("days", [6.0, 13.0, 21.0, 30.0])
@pytest.mark.parametrize("wait", [6.0, 24.0, 48.0])
def test_law_a_wait_is_as_long_in_the_simulated_year(days, wait):
    """Begin all over the shifts of seven years, which are the whole pattern within a hundredth."""
    study = STUDY.replaced({"shop.hours.days_per_month": days, "money.horizon": 84.0})
    calendar = year_calendar(study, 1, 84)
    shifts, hours = calendar.shifts, study.shop.hours
    into = shifts.shift * (np.arange(100.0)[None, :] + 0.5) / 100.0
    begin = (shifts.opens[calendar.first : calendar.first + calendar.days, None] + into).ravel()
    passed = working_time(shifts, begin + wait * 3600.0) - working_time(shifts, begin)
    staffed = hours.hours_per_day.likely - hours.care_per_day.likely
    assert shifts.shift == staffed
    found = working_days(wait * 3600, hours_per_day=staffed, days_per_month=days)
    assert passed.mean() / shifts.shift == pytest.approx(float(found), abs=0.01)


@pytest.mark.parametrize("days", [6.0, 13.0, 21.0, 30.0])
def test_law_a_year_of_working_days_is_a_year_of_the_calendar(days):
    calendar = year_calendar(STUDY.replaced({"shop.hours.days_per_month": days}), 1, 12)
    opens = calendar.shifts.opens / 86400.0
    year = opens[calendar.first + calendar.days] - opens[calendar.first]
    assert abs(year - 365.25) <= 7.0


# ------------------------------------------------------------------ the whole cell, simulated


@pytest.mark.parametrize(
    ("key", "demand"), [("all_in_one", 1.1), ("all_in_one", 1.3), ("separate", 1.4)]
)
def test_against_an_event_simulation_of_the_cell(key, demand):
    """The estimate treats stations as if alone: allowed are 10 % of the queues for that."""
    month = 4
    path = Path(
        key,
        {
            **NO_SPOIL,
            **OFTEN_SHORTLY_DOWN,
            "levers.demand": demand,
            "shop.people.finishers": 2.0,
            "shop.after_purchase.ramp_up": 0.0,
        },
    )
    found = path.lead_times()
    servers = {"operators": 1, "finishers": 2}
    servers |= {s.placement: 1 for s in path.routes.stations if s.placement is not None}
    rng = random.Random(20270104)
    sample = [simulated_lead_time(path, month, servers, rng, 8_000) for _ in range(48)]
    half = 3.51 * statistics.stdev(sample) / len(sample) ** 0.5  # Student, 99.9 %, 48 repetitions
    mean = statistics.fmean(sample)
    queue = found.queue[0, :, month].sum()
    assert not found.saturated[0, :, month].any()
    assert half < 0.10 * queue
    assert abs(found.mean[0, month] - mean) < half + 0.10 * queue


@pytest.mark.parametrize("variation", [0.5, 1.0])
@pytest.mark.parametrize(
    ("key", "demand"),
    [("separate", 0.3), ("separate", 1.3), ("all_in_one", 0.3), ("all_in_one", 1.2)],
)
def test_law_the_estimate_is_the_mean_of_simulated_years(key, demand, variation, measured):
    """A quiet and a busy shop: 99 % of the simulation's own error, and 10 % of the queues for
    stations that are taken as if alone and machines that wait for people."""
    usual = {"shop.after_purchase.ramp_up": 0.0, **OFTEN_SHORTLY_DOWN}
    path = Path(key, {**usual, "levers.demand": demand, VARIATION: variation})
    found = path.lead_times()
    orders = found.orders[0].sum(axis=0)
    estimate = np.average(found.mean[0], weights=orders)
    queue = np.average(found.queue[0].sum(axis=0), weights=orders)
    warm(wait=True)
    plan = monthly_plan(path.study, key, 12)
    years = [simulated_year(path.study, key, 1, seed, plan=plan) for seed in range(1, 49)]
    sample = [year.lead_time.mean() for year in years]
    assert not any(year.unfinished for year in years)
    half = 2.68 * statistics.stdev(sample) / len(sample) ** 0.5  # Student, 99 %, 48 years
    mean = statistics.fmean(sample)
    measured(
        f"lead time, {key} at {demand:g} of the orders, variation {variation:g}: estimate "
        f"{estimate:.3f}, years {mean:.3f} ± {half:.3f} working days, of it {queue:.3f} in queues"
    )
    assert half < (0.10 * queue if demand > 1 else 0.02 * mean)
    assert abs(estimate - mean) < half + 0.10 * queue


# ------------------------------------------------------------------ laws


@pytest.mark.parametrize("key", CHOICES)
@pytest.mark.parametrize("demand", [0.5, 1.0, 1.8])
def test_law_the_mix_is_the_mean_of_its_orders_and_the_sum_of_its_parts(key, demand):
    found = Path(key, {"levers.demand": demand}).lead_times()
    weighted = (np.nan_to_num(found.by_type) * found.orders).sum(axis=1) / found.orders.sum(axis=1)
    np.testing.assert_allclose(found.mean, weighted, rtol=1e-12)
    assert (found.queue >= 0).all()
    assert (found.work > 0).all()


@pytest.mark.parametrize("key", CHOICES)
def test_law_more_orders_of_the_same_mix_never_shorten_the_lead_time(key):
    found = Path(key, {"levers.demand": np.linspace(0.2, 0.9, 15)}).lead_times()
    kept = found.made_in_house
    assert (np.abs(np.diff(kept, axis=0)) < 1e-12).all()
    steps = np.diff(found.by_type, axis=0)
    assert (steps[~np.isnan(steps)] > 0).all()


def test_law_a_second_machine_shortens_queues():
    path = Path("all_in_one", {"alternatives.all_in_one.machines.0.count": [1.0, 2.0, 3.0]})
    found = path.lead_times()
    np.testing.assert_allclose(found.orders[0], found.orders[1])
    assert (np.diff(found.queue[:, 0], axis=0) < 0).all()
    np.testing.assert_allclose(found.work[0], found.work[1])
    np.testing.assert_allclose(found.queue[0, 1:], found.queue[1, 1:])


def test_law_rarer_and_shorter_breakdowns_shorten_queues():
    hours = np.array([4.0, 16.0, 40.0]) * 3600
    path = Path("all_in_one", {"machines.mid_all_in_one.mean_time_to_repair": hours})
    found = path.lead_times()
    assert (np.diff(found.queue[:, 0], axis=0) > 0).all()


def test_law_orders_that_differ_more_wait_longer():
    found = Path("separate", {VARIATION: [0.0, 0.5, 1.0]}).lead_times()
    assert (np.diff(found.queue, axis=0) > 0).all()
    assert found.work.shape[0] == found.wait.shape[0] == 1
    # waits go by the square of the variation
    grown = found.queue - found.queue[:1]
    np.testing.assert_allclose(grown[2], 4 * grown[1], rtol=1e-9)


def test_law_set_ups_do_not_differ_with_the_size_of_an_order():
    """A stop for set-ups alone keeps its squares; the rest of a visit has them twice over."""
    path = Path("all_in_one")
    brought = visits(path.mix, path.routes)
    assert (brought.scaled_square <= brought.square * (1 + 1e-12)).all()
    some = {"shop.handling.load_time": 7200.0, "shop.handling.unload_time": 7200.0}
    slower = Path("all_in_one", some)
    longer = visits(slower.mix, slower.routes)
    np.testing.assert_allclose(longer.scaled_square, brought.scaled_square, rtol=1e-12)
    assert longer.square.sum() > 2 * brought.square.sum()


def test_law_a_batch_is_its_scenarios_one_by_one():
    values = {
        "levers.demand": [0.8, 1.2, 2.4],
        "shop.hours.overtime_per_month": [0.0, 36000.0, 72000.0],
        "machines.mid_all_in_one.mean_time_to_repair": [3600.0, 57600.0, 90000.0],
        "inks.solvent.outgassing_time": [21600.0, 86400.0, 172800.0],
        "shop.people.operators": [0.8, 1.0, 1.3],
        "shop.people.wage": [1 / 3600, 5 / 3600, 2 / 3600],
    }
    batch = Path("all_in_one", values).lead_times()
    assert batch.by_type.shape == (3, len(STUDY.jobs), 12)
    for place in range(3):
        one = Path("all_in_one", {path: part[place] for path, part in values.items()}).lead_times()
        for name in ("by_type", "work", "wait", "queue", "utilization", "saturated", "mean"):
            np.testing.assert_allclose(
                getattr(batch, name)[place], getattr(one, name)[0], rtol=1e-9, atol=1e-12
            )
        assert batch.worst_month[place] == one.worst_month[0]


# ------------------------------------------------------------------ what is said, and what is not


def test_bought_in_orders_are_left_out_and_said_so():
    path = Path("keep")
    found = path.lead_times()
    elsewhere = (path.output.bought_in + path.output.refused).sum(axis=1)
    np.testing.assert_allclose(
        found.made_in_house, 1 - elsewhere / path.output.demand.sum(axis=1), rtol=1e-9
    )
    assert found.made_in_house.max() < 0.9
    np.testing.assert_array_equal(np.isnan(found.by_type), found.orders == 0)
    assert np.isnan(found.by_type).any()


def test_a_shop_that_buys_everything_in_has_no_lead_time():
    every = {"keep": STUDY.alternatives["keep"].model_copy(update={"bought_in": {
        key: STUDY.quantity("alternatives.keep.bought_in.sticker_sets").replaced(1.0, key)
        for key in STUDY.jobs
    }})}  # fmt: skip
    study = STUDY.model_copy(update={"alternatives": {**STUDY.alternatives, **every}})
    found = Path("keep", study=study).lead_times()
    assert np.isnan(found.mean).all()
    assert found.worst_month.tolist() == [0]
    assert np.isnan(found.worst).all()
    assert (found.made_in_house == 0).all()


def test_the_worst_month_lies_within_the_horizon():
    choices = {key: choice for key, choice in STUDY.alternatives.items() if key != "staged"}
    study = STUDY.model_copy(update={"alternatives": choices})
    horizons = {"money.horizon": [6.0, 24.0, 48.0]}
    found = Path("all_in_one", horizons, months=48, study=study).lead_times()
    assert found.worst_month.shape == (3,)
    assert (found.worst_month <= [6, 24, 48]).all()
    for place, horizon in enumerate((6, 24, 48)):
        assert found.worst[place] == found.mean[0, :horizon].max()
        assert found.worst_month[place] == found.mean[0, :horizon].argmax() + 1


def test_work_that_waits_for_the_night_waits_half_a_day():
    """Without outgassing nothing else waits in one machine: ink dries in it."""
    path = Path("all_in_one", {**NIGHT, "inks.solvent.outgassing_time": 0.0})
    found = path.lead_times()
    night = next(k for k, s in enumerate(found.stations) if s.work == "overnight")
    assert path.output.used[0, night].max() > 0
    brought = visits(path.mix, path.routes)
    by_night = [v for v, route in enumerate(path.routes.each) if route.overnight]
    assert (brought.count[0, by_night, night] > 0).all()
    by_day = [v for v, route in enumerate(path.routes.each) if not route.overnight]
    assert (brought.count[0, by_day, night] == 0).all()
    share = (path.output.made[0, by_night] * brought.count[0, by_night, night][:, None]).sum(axis=0)
    share /= path.output.made[0].sum(axis=0)
    assert share.max() > 0.01
    np.testing.assert_allclose(found.wait[0], 0.5 * share, rtol=1e-12, atol=1e-15)


@pytest.mark.parametrize(
    ("name", "value"),
    [("wait", -1.0), ("hours_per_day", 0.0), ("hours_per_day", 90000.0), ("days_per_month", 0.0)],
)
def test_refuses_impossible_calendars(name, value):
    good = {"wait": 3600.0, "hours_per_day": 28800.0, "days_per_month": 21.0}
    with pytest.raises(InputError, match=name):
        working_days(**{**good, name: value})
