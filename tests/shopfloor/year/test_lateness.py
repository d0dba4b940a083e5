"""Which simulated years are the same years, and that such are simulated once."""

from __future__ import annotations

from dataclasses import astuple

import numpy as np
import pytest

from capex.errors import InputError
from capex.shopfloor.year import lateness
from capex.shopfloor.year.arrivals import arrivals, luck, year_calendar
from capex.shopfloor.year.fingerprint import Fingerprint
from capex.shopfloor.year.lateness import SEED, late_shares
from capex.shopfloor.year.monthly_plan import monthly_plan
from capex.shopfloor.year.program import programs
from capex.study import data_folder, read_study

#: A year in which everything there is happens: both machines of the staged choice work.
KEY, YEAR = "staged", 4
BUSY = {
    "levers.demand": 1.1, "shop.hours.overtime_per_month": 20 * 3600.0,
    "shop.hours.overnight_per_day": 8 * 3600.0, "shop.handling.printing_spoil": 0.08,
    "shop.after_purchase.ramp_up": 12.0, "shop.hours.care_per_day": 1800.0,
    "machines.mid_all_in_one.minor_stop_share": 0.05,
    "machines.mid_all_in_one.warm_up_time": 600.0,
}  # fmt: skip


@pytest.fixture(scope="module")
def demo():
    return read_study(data_folder() / "studies" / "quenlow.toml")


@pytest.fixture
def simulated(monkeypatch):
    """Return what is simulated from now on, nothing being known."""
    lateness._known.forget()
    asked = []
    real = lateness.simulated_year

    def counted(study, key, year, *rest, **more):
        asked.append((key, year))
        return real(study, key, year, *rest, **more)

    monkeypatch.setattr(lateness, "simulated_year", counted)
    return asked


def given(plan):
    """Return everything that the dispatcher is given, and whose orders they are."""
    first, last = 12 * YEAR - 11, 12 * YEAR
    study, alternative = plan.study, plan.alternative
    ways = programs(study, alternative, plan.routes, first, last)
    calendar = year_calendar(study, first, last, plan.output.overtime[0, first - 1 : last])
    came = arrivals(plan, ways, calendar, (SEED, YEAR))
    draws = luck(study, alternative, ways.cell, calendar.shifts, (SEED, YEAR))
    parts = (ways.floor, calendar.shifts, came.orders, draws)
    return [*(x for part in parts for x in astuple(part)), came.job, came.counted]


def same(one, other):
    return all(np.array_equal(a, b) for a, b in zip(one, other, strict=True))


def test_law_years_of_one_key_are_given_the_same_whatever_input_of_the_study_moves(demo):
    study = demo.replaced(BUSY)
    plan = monthly_plan(study, KEY, 12 * YEAR)
    key, mine = Fingerprint(plan).key(0, 12 * YEAR - 11, 12 * YEAR, SEED), given(plan)
    alike, other = [], []
    for path, quantity in study.quantities():
        here = float(quantity.si[0])
        step = 1.0 if quantity.entry.whole else 0.2 * abs(here) or 0.1
        for value in (here + step, here - step):
            try:
                moved = monthly_plan(study.replaced({path: value}), KEY, 12 * YEAR)
                found = Fingerprint(moved).key(0, 12 * YEAR - 11, 12 * YEAR, SEED)
                theirs = given(moved)
            except InputError:
                continue
            if found == key:
                assert same(theirs, mine), path
                alike.append(path)
            else:
                other.append((path, same(theirs, mine)))
            break
    assert {"money.discount_rate", "machines.mid_all_in_one.price"} < set(alike)
    changed = {path for path, nothing in other if not nothing}
    assert {
        "shop.promises.lead_time", "shop.dispatching.order_size_variation",
        "shop.people.operators", "machines.mid_all_in_one.mean_time_to_repair",
        "machines.mid_all_in_one.warm_up_time", "levers.delay", "jobs.banners.orders_per_month",
    } < changed  # fmt: skip
    assert len(alike) > 200
    # what the key knows and the orders do not feel is simulated once too often, no more
    assert len(changed) > 0.6 * len(other)


def test_law_a_scenario_among_others_is_late_as_it_is_alone(demo):
    study = demo.replaced({"money.horizon": 37.0, "shop.promises.lead_time": 1.0})
    batch = {"levers.demand": [0.7, 1.2, 1.2], "shop.promises.lead_time": [1.0, 1.0, 3.0]}
    lateness._known.forget()
    found = late_shares(study.replaced(batch), "all_in_one", 37)
    for i in range(3):
        lateness._known.forget()
        alone = study.replaced({path: values[i] for path, values in batch.items()})
        np.testing.assert_array_equal(late_shares(alone, "all_in_one", 37)[0], found[i])
    assert not np.array_equal(found[0], found[1])
    assert (found[2] <= found[1]).all()
    assert (found[2] < found[1]).any()


def test_years_are_simulated_once_and_once_only_where_something_differs(demo, simulated):
    study = demo.replaced({"money.horizon": 37.0})
    known = late_shares(study, "keep", 37)
    assert simulated == [("keep", 1), ("keep", 2), ("keep", 3), ("keep", 4)]
    dearer = study.replaced({"money.discount_rate": [0.01, 0.2], "levers.machine_price": 1.5})
    np.testing.assert_array_equal(late_shares(dearer, "keep", 37), known)
    assert len(simulated) == 4
    late_shares(study.replaced({"levers.demand": [1.0, 1.3]}), "keep", 37)
    assert simulated[4:] == [("keep", 1), ("keep", 2), ("keep", 3), ("keep", 4)]
    # a month more: the last year is another one
    longer = late_shares(study.replaced({"money.horizon": 38.0}), "keep", 38)
    assert simulated[8:] == [("keep", 4)]
    np.testing.assert_array_equal(longer[..., :36], known[..., :36])


def test_law_each_scenario_is_simulated_to_its_own_horizon(demo, simulated):
    found = late_shares(
        demo.replaced({"money.horizon": [37.0, 48.0], "shop.promises.lead_time": 0.5}), "keep", 48
    )
    assert (found[0, :, 37:] == 0).all()
    assert (found[1, :, 37:] > 0).any()
    assert len(simulated) == 5


def test_only_the_years_asked_for_last_are_kept():
    known = lateness._Known()
    for number in range(lateness._KEPT + 1):
        known.put(str(number).encode(), np.zeros(1))
        assert known.get(b"0") is not None
    assert known.get(b"1") is None
    assert known.get(b"2") is not None
