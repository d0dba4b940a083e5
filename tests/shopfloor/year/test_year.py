"""The simulated year of a study: what must hold whatever happens."""

from __future__ import annotations

from dataclasses import replace

import counted
import numpy as np
import pytest

from capex.errors import InputError
from capex.shopfloor.year.arrivals import arrivals, luck, working_time, year_calendar
from capex.shopfloor.year.kernel import dispatched
from capex.shopfloor.year.lateness import late_shares
from capex.shopfloor.year.monthly_plan import monthly_plan
from capex.shopfloor.year.program import programs
from capex.shopfloor.year.simulated_year import Standstill, simulated_year
from capex.study import data_folder, read_study


@pytest.fixture(scope="module")
def demo():
    return read_study(data_folder() / "studies" / "quenlow.toml")


#: Nights, frequent failures and spoiled orders: everything that a year can have, but overtime.
BUSY = {
    "levers.demand": 1.1, "shop.hours.overnight_per_day": 8 * 3600.0,
    "shop.handling.printing_spoil": 0.08,
    "machines.mid_all_in_one.mean_time_between_failures": 40 * 3600.0,
    "machines.mid_roll_printer.mean_time_between_failures": 40 * 3600.0,
}  # fmt: skip
#: So much work, at such wages, that the month's plan pays overtime.
LONG_DAYS = {"levers.demand": 2.2, "shop.people.wage": 1 / 3600}


def floor_and_orders(study, key, year, seed):
    """Return what the dispatcher was given."""
    plan = monthly_plan(study, key, 12 * year)
    ways = programs(study, plan.alternative, plan.routes, 12 * year - 11, 12 * year)
    paid = plan.output.overtime[0, 12 * year - 12 : 12 * year]
    calendar = year_calendar(study, 12 * year - 11, 12 * year, paid)
    return ways, arrivals(plan, ways, calendar, (seed, year)), calendar


@pytest.mark.parametrize("key", ["keep", "separate", "all_in_one", "staged"])
@pytest.mark.parametrize("changes", [{}, BUSY])
def test_law_every_order_has_left_or_waits_or_is_worked_on_at_every_hour(demo, key, changes):
    study = demo.replaced(changes)
    found = simulated_year(study, key, 3, seed=5)
    ways, came, calendar = floor_and_orders(study, key, 3, 5)
    arrived, left, waiting, under_way, doubt = counted.present_by_hour(
        ways.floor, calendar.shifts, came.orders, found.record
    )
    assert arrived.size > 2000
    twice = waiting + under_way - (arrived - left)
    assert (twice >= 0).all()
    assert (twice <= doubt).all()
    assert (twice == 0).mean() > 0.99
    made = np.bincount(found.job, minlength=len(found.jobs))
    assert (made + found.bought_in + found.refused == found.came).all()
    assert (np.diff(found.percentiles(0.1, 0.5, 0.9, 1.0)[made > 0], axis=1) >= 0).all()


def orders_of(study, key, year, seed):
    """Return every order made in the house: type, arrival, size, passes, due."""
    came = floor_and_orders(study, key, year, seed)[1]
    orders = came.orders
    parts = (came.job, orders.arrival, orders.size, orders.passes, orders.due)
    return set(zip(*(part.tolist() for part in parts), strict=True))


def all_made_in_the_house(demo, changes):
    """Return the demo with nothing bought in, in no choice, and hours for all of it."""
    hours = {"shop.hours.hours_per_day": 20 * 3600.0, "shop.people.operators": 3.0,
             "shop.people.finishers": 4.0}  # fmt: skip
    away = {
        f"alternatives.{key}.bought_in.{job}": 0.0
        for key, choice in demo.alternatives.items()
        for job in choice.bought_in
    }
    return demo.replaced(hours | away | changes)


@pytest.mark.parametrize("year", [1, 4])
def test_law_what_comes_today_comes_alike_with_every_choice_and_more_comes_beside_it(demo, year):
    """Moment, size, remakes and promise, with work that comes back after a purchase."""
    study = all_made_in_the_house(demo, {"shop.after_purchase.recovered_demand": 0.3})
    today, *others = (orders_of(study, key, year, 8) for key in ("keep", "separate", "staged"))
    today = {order for order in today if order[0] in {one[0] for one in others[0]}}
    assert len(today) > 2000
    for other in others:
        assert today < other
        # a year at full pace has 30 % more, within four standard errors
        if year == 4:
            more = len(other) - len({order for order in other if order in today})
            assert more == pytest.approx(0.3 * len(today), abs=4 * (0.3 * len(today)) ** 0.5 + 60)
    assert others[0] == others[1]


def test_law_fewer_orders_are_some_of_the_same_orders(demo):
    less, usual, more, twice = (
        orders_of(all_made_in_the_house(demo, {"levers.demand": demand}), "separate", 2, 6)
        for demand in (0.4, 1.0, 1.5, 2.5)
    )
    assert less < usual < more < twice
    for some, demand in ((less, 0.4), (more, 1.5), (twice, 2.5)):
        assert len(some) == pytest.approx(demand * len(usual), rel=0.06)


def test_law_customers_lost_for_good_drop_out_of_the_same_orders(demo):
    full = {"levers.demand": 3.0, "shop.people.operators": 0.4}
    never = {f"jobs.{job}.bought_in_price": 1e6 for job, it in demo.jobs.items()
             if it.bought_in_price is not None}  # fmt: skip
    lost = {f"jobs.{job}.lost_customers": 0.5 for job in demo.jobs}
    everybody, some = (
        simulated_year(demo.replaced(full | never | changes), "separate", 2, seed=4)
        for changes in ({}, lost)
    )
    assert everybody.refused.sum() > 100
    assert (some.came <= everybody.came).all()
    assert some.came.sum() < 0.8 * everybody.came.sum()


def test_law_every_choice_sees_the_same_orders(demo):
    """Without work that only comes with a purchase, and with everything made in the house."""
    same = demo.replaced({"shop.after_purchase.recovered_demand": 0.0})
    one, other = (simulated_year(same, key, 2, seed=9) for key in ("separate", "all_in_one"))
    assert (one.came == other.came).all()
    assert (one.job == other.job).all()
    again = simulated_year(same, "separate", 2, seed=9)
    assert (again.record.finished == one.record.finished).all()
    assert (simulated_year(same, "separate", 2, seed=10).came != one.came).any()


@pytest.mark.parametrize("changes", [{}, LONG_DAYS])
def test_law_the_year_works_no_overtime_that_its_month_does_not_pay(demo, changes):
    study = demo.replaced(changes)
    for key, year in (("all_in_one", 5), ("all_in_one", 7), ("separate", 1)):
        paid = monthly_plan(study, key, 84).output.overtime[0, 12 * year - 12 : 12 * year]
        found = simulated_year(study, key, year, seed=1)
        calendar = found.calendar
        counted = slice(calendar.first, calendar.first + calendar.days)
        month = calendar.month[counted] - (12 * year - 12)
        worked = np.bincount(month, found.record.extended[counted], minlength=12)
        assert (worked <= paid + 1e-6).all()
        assert found.overtime == pytest.approx(worked.sum() / 3600)
        assert found.overtime_paid == pytest.approx(paid.sum() / 3600)
        assert (found.overtime > 0) == bool(changes)


def test_law_the_days_around_a_year_take_nothing_of_its_overtime(demo):
    for days in (21.0, 9.5, 30.4):
        paid = 3600.0 * np.arange(1.0, 13.0)
        study = demo.replaced({"shop.hours.days_per_month": days})
        calendar = year_calendar(study, 13, 24, paid)
        shifts, end = calendar.shifts, calendar.first + calendar.days
        before, year, after = np.split(shifts.month_of, [calendar.first, end])
        assert not set(before) & set(year)
        assert not set(year) & set(after)
        left = shifts.overtime_left
        assert left[year] == pytest.approx(paid[calendar.month[calendar.first : end] - 12])
        assert (left[before] == paid[0]).all()
        assert (left[after] == paid[11]).all()
        assert np.bincount(after)[after[0] :].max() <= np.ceil(days)
        assert (np.diff(shifts.month_of) >= 0).all()


@pytest.mark.parametrize("key", ["separate", "all_in_one"])
@pytest.mark.parametrize("changes", [{}, BUSY, LONG_DAYS])
def test_law_states_add_up_and_a_station_works_what_its_orders_bring(demo, key, changes):
    study = demo.replaced(changes)
    found = simulated_year(study, key, 3, seed=2)
    ways, came, calendar = floor_and_orders(study, key, 3, 2)
    floor, shifts = ways.floor, calendar.shifts
    draws = luck(study, study.alternatives[key], ways.cell, shifts, (2, 3))
    # all days, those before and after the year included: until the last order is done
    record = dispatched(floor, replace(shifts, counted=(0, 10**6)), came.orders, draws)
    np.testing.assert_array_equal(record.finished, found.record.finished)
    assert np.isfinite(record.ended).all()
    assert not changes or record.down.sum() > 0
    _, step, duration = counted.steps_of(floor, came.orders, record)
    for m, group in enumerate(floor.group_of):
        assert (floor.group_of == group).sum() == 1
        mine = floor.machine[step] == group
        ran = record.working[m] + record.set_up[m] + record.at_night[m]
        assert ran == pytest.approx(duration[mine].sum(), rel=1e-9)
        if record.at_night[m] == 0:
            set_ups = duration[mine & floor.set_up[step]].sum()
            assert record.set_up[m] == pytest.approx(set_ups, rel=1e-9)
    for group, worked in enumerate(record.busy):
        assert worked == pytest.approx(duration[floor.people[step] == group].sum(), rel=1e-9)
    for state in found.stations:
        states = (state.working, state.set_up, state.blocked, state.down, state.idle)
        assert sum(states) == pytest.approx(1.0, abs=1e-9)
        assert min(states) >= 0
    assert (found.overtime > 0) == (changes is LONG_DAYS)
    plan = monthly_plan(study, key, 36)
    at_night = [v for v, route in enumerate(plan.routes.each) if route.overnight]
    nights = plan.output.made[0, at_night, 24:].sum() > 1
    assert (sum(state.at_night for state in found.stations) > 0) == nights
    assert nights or changes is not BUSY or key == "separate"


@pytest.mark.parametrize("key", ["separate", "all_in_one"])
@pytest.mark.parametrize("changes", [{}, BUSY, LONG_DAYS])
def test_law_states_are_those_of_the_year_alone(demo, key, changes):
    """What had been done by the end of the year, less what had been done at its beginning."""
    study = demo.replaced({**changes, "shop.hours.overnight_per_day": 0.0})
    found = simulated_year(study, key, 3, seed=2)
    ways, came, calendar = floor_and_orders(study, key, 3, 2)
    draws = luck(study, study.alternatives[key], ways.cell, calendar.shifts, (2, 3))
    ends = []
    for days in (calendar.first, calendar.first + calendar.days):
        short = replace(
            calendar.shifts, opens=calendar.shifts.opens[:days],
            month_of=calendar.shifts.month_of[:days], counted=(0, days),
        )  # fmt: skip
        nights = replace(draws, night=draws.night[:, :days])
        ends.append(dispatched(ways.floor, short, came.orders, nights))
    year = slice(calendar.first, calendar.first + calendar.days)
    open_time = calendar.shifts.shift * calendar.days + found.record.extended[year].sum()
    for name in ("working", "set_up", "blocked", "down"):
        spent = getattr(ends[1], name) - getattr(ends[0], name)
        shares = [getattr(state, name) for state in found.stations[: spent.size]]
        assert np.array(shares) * open_time == pytest.approx(spent, abs=1e-3)
    staff = np.array([place.staff for place in ways.cell.people])
    busy = np.array([state.working for state in found.stations[-staff.size :]])
    assert busy * open_time * staff == pytest.approx(ends[1].busy - ends[0].busy, abs=1e-3)
    assert found.record.extended[year].sum() / 3600 == pytest.approx(found.overtime)


def test_law_a_machine_is_not_idle_before_it_comes(demo):
    later = demo.replaced({"alternatives.staged.machines.1.month": 30.0})
    half = simulated_year(later, "staged", 3, seed=2)
    calendar, record = half.calendar, half.record
    cutter = [place for place in half.stations if place.working > 0][1]
    days = (calendar.month[calendar.first : calendar.first + calendar.days] >= 30).sum()
    assert days == 126
    names = [state.name for state in half.stations]
    m = names.index(cutter.name)
    worked = cutter.working * calendar.shifts.shift * days
    assert worked == pytest.approx(record.working[m], rel=1e-9)
    assert sum((cutter.working, cutter.set_up, cutter.blocked, cutter.down, cutter.idle)) == (
        pytest.approx(1.0)
    )


def test_law_a_standstill_delays_and_never_speeds_up_the_work_at_its_end(demo):
    calm = simulated_year(demo, "all_in_one", 5, seed=4)
    stop = Standstill("cut", day=90, length=4.0)
    hit = simulated_year(demo, "all_in_one", 5, seed=4, standstill=stop)
    assert (hit.backlog[:89] == calm.backlog[:89]).all()
    after = slice(89, 93)
    assert hit.backlog[after].sum() > calm.backlog[after].sum()
    assert hit.lead_time.mean() > calm.lead_time.mean()
    assert hit.late.sum() >= calm.late.sum()


def test_law_working_time_counts_shifts_only(demo):
    shifts = simulated_year(demo, "keep", 1, seed=1).calendar.shifts
    walls = shifts.opens[:, None] + np.array([-1.0, 0.0, shifts.shift, shifts.shift + 3600.0])
    passed = working_time(shifts, walls)
    day = np.arange(len(shifts.opens))[:, None]
    assert passed == pytest.approx(shifts.shift * (day + np.array([0.0, 0.0, 1.0, 1.0])))
    assert shifts.opens[5] - shifts.opens[4] == 3 * 86400.0  # a weekend


def test_law_more_demand_means_more_orders_and_longer_leads(demo):
    usual = simulated_year(demo, "all_in_one", 7, seed=3)
    more = simulated_year(demo.replaced({"levers.demand": 1.15}), "all_in_one", 7, seed=3)
    assert more.came.sum() > usual.came.sum()
    assert more.lead_time.mean() > usual.lead_time.mean()


def test_law_late_shares_are_those_of_each_year_and_each_scenario(demo):
    short = demo.replaced({"money.horizon": 40.0})
    two = short.replaced({"levers.demand": [1.0, 1.3], "shop.promises.lead_time": 1.0})
    shares = late_shares(two, "separate", 40)
    assert shares.shape == (2, 10, 40)
    for i, demand in enumerate((1.0, 1.3)):
        one = short.replaced({"levers.demand": demand, "shop.promises.lead_time": 1.0})
        for year, month in ((1, 0), (4, 39)):
            late = simulated_year(one, "separate", year, seed=1).late_share
            assert (shares[i, :, month] == late).all()
    assert 0 < shares.mean() < 1


@pytest.mark.parametrize(
    ("asked", "field"),
    [
        ({"key": "none"}, "alternative"),
        ({"year": 8}, "year"),
        ({"year": 0}, "year"),
        ({"seed": -1}, "seed"),
        ({"standstill": Standstill("print", 400, 1.0)}, "standstill.day"),
        ({"standstill": Standstill("print", 10, 0.0)}, "standstill.length"),
    ],
)
def test_refuses_what_cannot_be_simulated(demo, asked, field):
    with pytest.raises(InputError) as caught:
        simulated_year(demo, **{"key": "separate", **asked})
    assert caught.value.field == field


def test_a_standstill_outside_the_year_is_refused_with_its_unit(demo):
    for stop, said in (
        (
            Standstill("print", 400, 1.0),
            r"standstill\.day: 400 must be from 1 to 252, a working day",
        ),
        (Standstill("print", 1, 400.0), r"400\.0 must be above 0 and at most 252 working days"),
    ):
        with pytest.raises(InputError, match=said):
            simulated_year(demo, "separate", standstill=stop)


@pytest.mark.parametrize(
    "path",
    ["money.horizon", "levers.demand", "machines.laminator.mean_time_to_repair",
     "shop.promises.lead_time", "jobs.banners.price"],
)  # fmt: skip
def test_refuses_several_scenarios_by_the_path_of_the_input(demo, path):
    two = demo.replaced({path: demo.quantity(path).likely * np.array([1.0, 1.5])})
    with pytest.raises(InputError, match=r": 2 values must be one: a year") as caught:
        simulated_year(two, "separate")
    assert caught.value.field == path


def test_a_month_has_a_working_day_at_least(demo):
    few = demo.replaced({"shop.hours.days_per_month": 1.0, "levers.demand": 0.01})
    found = simulated_year(few, "separate", 1, seed=1)
    assert found.calendar.days == 12
    assert np.isfinite(found.queue).all()
    with pytest.raises(InputError, match=r"days_per_month: '0\.03' must be at least 1"):
        demo.replaced({"shop.hours.days_per_month": 0.03})


@pytest.mark.parametrize("key", ["separate", "all_in_one"])
def test_law_what_a_larger_batch_order_takes_no_longer_takes_no_longer_in_the_year(demo, key):
    """The timed batch knows the size of an order as its pieces, the year as its work content."""
    larger = demo.replaced(
        {f"jobs.{job}.pieces_per_order": 4 * found.pieces_per_order.si
         for job, found in demo.jobs.items()}
    )  # fmt: skip
    plans = [monthly_plan(study, key, 12) for study in (demo, larger)]
    seen = set()
    for one, other in zip(*(plan.routes.contents for plan in plans), strict=True):
        for route in ("plain", "laminated"):
            parts = [getattr(content.operations, route) for content in (one, other)]
            for small, large in zip(*parts, strict=True):
                if small.at is None or not (small.busy > 0).any():
                    continue  # bench work is entered by the order
                alike = np.array_equal(small.busy, large.busy)
                assert small.set_up or not alike, small.name
                seen.add((small.name, alike))
    assert {("print", False), ("cut", False), ("load and register", True)} < seen
    assert (("dry in the machine", True) in seen) == (key == "all_in_one")


def sold_before_bought(demo):
    """Return the demo with its old machines sold at once and the new ones bought a year later."""
    bought = {
        f"alternatives.{key}.machines.{number}.month": 12.0
        for key, numbers in (("separate", (0, 1)), ("all_in_one", (0,)))
        for number in numbers
    }
    return demo.replaced(bought)


@pytest.mark.parametrize("key", ["separate", "all_in_one"])
@pytest.mark.parametrize("late", ["delayed", "bought"])
def test_law_a_year_in_which_nothing_is_made_has_orders_and_no_lateness(demo, key, late):
    study = demo.replaced({"levers.delay": 12.0})
    if late == "bought":
        study = sold_before_bought(demo)
    found = simulated_year(study, key, 1, seed=3)
    assert found.came.sum() > 1000
    assert (found.bought_in + found.refused == found.came).all()
    assert found.job.size == found.record.begun.size == found.unfinished == 0
    assert (found.late_share == 0).all()
    assert np.isnan(found.percentiles(0.5)).all()
    assert found.overtime == 0
    for states in found.stations:
        assert (states.idle, states.working) == (1.0, 0.0)
    assert found.queue.sum() == found.backlog.sum() == 0
    with pytest.raises(InputError, match=r"standstill\.role"):
        simulated_year(study, key, 1, 3, Standstill("print", 3, 2.0))
    again = simulated_year(study, key, 2, seed=3)
    assert again.job.size > 500
    assert again.unfinished == 0
