"""What late orders cost stands in the ledger as the simulated years say."""

from __future__ import annotations

import numpy as np
import pytest

from capex.decision.appraise import appraise, held_lateness
from capex.decision.crossover import crossovers, volume_sweep
from capex.decision.explanation import explanation
from capex.decision.swings import swings
from capex.errors import InputError
from capex.shopfloor.year import lateness
from capex.shopfloor.year.simulated_year import simulated_year
from capex.study import data_folder, read_study


@pytest.fixture(scope="module")
def short():
    demo = read_study(data_folder() / "studies" / "quenlow.toml")
    return demo.replaced({"money.horizon": 37.0, "shop.promises.lead_time": 1.0})


def test_law_the_line_is_late_orders_times_their_cost(short):
    costs = {"shop.promises.cost_of_late_order": 30.0, "shop.promises.price_lost_when_late": 0.1}
    outcome = appraise(short.replaced(costs)).outcomes["separate"]
    path = outcome.details
    line = path.ledger.line("late")[0, 1:]
    for year in (1, 3):
        late = simulated_year(short, "separate", year, seed=1).late_share
        for month in (12 * year - 12, 12 * year - 1):
            expected = 0.0
            for v, route in enumerate(path.routes.each):
                price = path.mix.price[0, route.job] * path.prices.sales[0, month]
                amount = 30.0 * path.prices.overheads[0, month] + 0.1 * price
                expected += path.output.made[0, v, month] * late[route.job] * amount
            assert line[month] == pytest.approx(-expected, rel=1e-9)
    assert (line < 0).any()


def test_law_being_late_costs_money_only_where_the_study_says_so(short):
    free = appraise(short)
    assert "late" not in {line.key for line in free.baseline.details.ledger.lines}
    dear = appraise(short, {"shop.promises.cost_of_late_order": [0.0, 10.0, 20.0]})
    for key, outcome in dear.outcomes.items():
        worth = outcome.net_present_value
        assert worth[0] == pytest.approx(free.outcomes[key].net_present_value[0], rel=1e-12)
        # every amount of cost counts alike, after tax
        assert worth[1] - worth[0] == pytest.approx(worth[2] - worth[1], rel=1e-9)
        assert np.all(np.diff(worth) <= 0)


def test_law_a_year_in_which_nothing_is_made_costs_nothing_for_being_late(short):
    delayed = short.replaced({"levers.delay": 12.0, "shop.promises.cost_of_late_order": 30.0})
    found = appraise(delayed).outcomes
    for key in ("separate", "all_in_one", "staged"):
        line = found[key].path.ledger.line("late")[0]
        assert (line[:13] == 0).all()
        assert (line[13:] < 0).any()
    assert (found["keep"].path.ledger.line("late")[0, 1:13] < 0).any()


@pytest.mark.parametrize(
    ("changes", "years"),
    [
        ({}, (5, 7)),
        ({"levers.demand": 1.2, "shop.dispatching.overtime_trigger": 0.5}, (3,)),
        ({"levers.demand": 2.2, "shop.people.wage": 1 / 3600}, (3, 7)),
    ],
)
@pytest.mark.parametrize("late", [0.0, 30.0])
def test_law_the_ledger_pays_every_hour_of_overtime_that_the_year_works(changes, years, late):
    """Month by month, whether or not being late costs anything."""
    demo = read_study(data_folder() / "studies" / "quenlow.toml")
    study = demo.replaced(changes | {"shop.promises.cost_of_late_order": late})
    path = appraise(study).outcomes["all_in_one"].path
    people, hours = study.shop.people, study.shop.hours
    hour = (people.operators.likely + people.finishers.likely) * hours.overtime_premium.likely
    hour = hour * people.wage.likely * people.on_cost_factor.likely * path.prices.wages[0]
    paid = -path.ledger.line("overtime")[0, 1:] / hour
    for year in years:
        found = simulated_year(study, "all_in_one", year)
        month, first = found.calendar.month, found.calendar.first
        counted = slice(first, first + found.calendar.days)
        worked = np.bincount(month[counted], found.record.extended[counted], minlength=84)
        assert (worked <= paid + 1e-6).all()
        assert found.overtime == pytest.approx(worked.sum() / 3600)
        assert (found.overtime > 0) == (paid[12 * year - 12 : 12 * year].sum() > 0)
    assert (paid.sum() > 0) == (changes.get("levers.demand") == 2.2)


@pytest.fixture
def simulated(monkeypatch):
    """Return the years that are simulated from now on, nothing being known."""
    lateness._known.forget()
    asked = []
    real = lateness.simulated_year

    def counted(study, key, year, *rest, **more):
        asked.append((key, year))
        return real(study, key, year, *rest, **more)

    monkeypatch.setattr(lateness, "simulated_year", counted)
    return asked


def test_law_held_shares_are_those_of_the_scenario_and_move_nothing_there(short):
    study = short.replaced({"shop.promises.cost_of_late_order": 30.0})
    held = held_lateness(study, {"levers.demand": 1.2})
    alone = appraise(study, {"levers.demand": 1.2})
    batch = appraise(study, {"levers.demand": [1.2, 0.6]}, lateness=held)
    each = appraise(study, {"levers.demand": [1.2, 0.6]})
    for key, outcome in batch.outcomes.items():
        lines = [found.outcomes[key].path.ledger.line("late") for found in (batch, alone, each)]
        np.testing.assert_array_equal(lines[0][0], lines[1][0])
        np.testing.assert_array_equal(held[key][0], alone.outcomes[key].path.late[0, :, :37])
        worth = alone.outcomes[key].net_present_value[0]
        assert outcome.net_present_value[0] == pytest.approx(worth, rel=1e-12)
    # fewer orders would be late, which held shares do not know
    held_line, own_line = (
        found.outcomes["keep"].path.ledger.line("late")[1].sum() for found in (batch, each)
    )
    assert held_line < own_line < 0


def test_law_held_shares_go_on_beyond_their_horizon(short):
    study = short.replaced({"shop.promises.cost_of_late_order": 30.0})
    held = held_lateness(study)
    longer = appraise(study, {"money.horizon": [37.0, 60.0]}, lateness=held)
    for key, outcome in longer.outcomes.items():
        late = outcome.path.late
        assert late.shape[-1] == 60
        np.testing.assert_array_equal(late[..., :37], held[key])
        np.testing.assert_array_equal(late[0, :, 40], held[key][0, :, 36])
    with pytest.raises(InputError, match=r"^lateness: .* must have shares for separate"):
        appraise(study, lateness={"keep": held["keep"]})


def test_sweeps_simulate_the_years_of_their_own_scenario_only(short, simulated):
    study = short.replaced({"shop.promises.cost_of_late_order": 30.0})
    appraise(study)
    years = len(simulated)
    assert years == 4 * 4
    sweep = volume_sweep(study, [0.5, 1.0, 2.0])
    found = swings(study)
    crossovers(study, 1, 2, sweep)
    explanation(study, "gain", "separate")
    assert len(simulated) == years
    gains = appraise(study).net_present_value[0]
    np.testing.assert_allclose(found.gains, gains, rtol=1e-12)
    np.testing.assert_allclose(sweep.gains[1], gains, rtol=1e-12)


def test_nothing_is_simulated_where_being_late_costs_nothing(short, simulated):
    assert held_lateness(short) is None
    assert appraise(short).lateness is None
    swings(short)
    assert simulated == []
