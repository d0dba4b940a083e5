"""The simulated year of a study: what must hold whatever happens."""

from __future__ import annotations

import numpy as np
import pytest

from capex.errors import InputError
from capex.shopfloor.year.arrivals import working_time
from capex.shopfloor.year.lateness import late_shares
from capex.shopfloor.year.simulated_year import Standstill, simulated_year
from capex.study import data_folder, read_study


@pytest.fixture(scope="module")
def demo():
    return read_study(data_folder() / "studies" / "quenlow.toml")


@pytest.mark.parametrize("key", ["keep", "separate", "all_in_one", "staged"])
@pytest.mark.parametrize("year", [1, 7])
def test_law_every_order_is_made_bought_in_refused_or_unfinished(demo, key, year):
    found = simulated_year(demo, key, year, seed=5)
    made = np.bincount(found.job, minlength=len(found.jobs))
    assert (made + found.bought_in + found.refused == found.came).all()
    assert found.lead_time.size == found.late.size == made.sum() > 500
    assert (found.lead_time > 0).all()
    assert (np.diff(found.percentiles(0.1, 0.5, 0.9, 1.0)[made > 0], axis=1) >= 0).all()


def test_law_every_choice_sees_the_same_orders(demo):
    """Without work that only comes with a purchase, and with everything made in the house."""
    same = demo.replaced({"shop.after_purchase.recovered_demand": 0.0})
    one, other = (simulated_year(same, key, 2, seed=9) for key in ("separate", "all_in_one"))
    assert (one.came == other.came).all()
    assert (one.job == other.job).all()
    again = simulated_year(same, "separate", 2, seed=9)
    assert (again.record.finished == one.record.finished).all()
    assert (simulated_year(same, "separate", 2, seed=10).came != one.came).any()


def test_law_states_add_up_and_a_station_works_what_its_orders_bring(demo):
    found = simulated_year(demo, "all_in_one", 3, seed=2)
    for station in found.stations:
        states = (station.working, station.set_up, station.blocked, station.down, station.idle)
        assert sum(states) == pytest.approx(1.0, abs=1e-9)
        assert min(states) >= 0
    record = found.record
    on = record.on >= 0
    held = (record.ended - record.begun)[on]
    assert (held > 0).all()


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


def test_refuses_several_scenarios(demo):
    with pytest.raises(InputError, match="one scenario"):
        simulated_year(demo.replaced({"money.horizon": [60.0, 72.0]}), "separate")
