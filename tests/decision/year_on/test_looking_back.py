"""What was true is found again from its own months, and a plan that came true changes nothing."""

import numpy as np
import pytest
from seen_months import plan_of, records, seen, shop

from capex.decision.appraise import appraise
from capex.decision.year_on import year_on
from capex.decision.year_on.inputs import KINDS, inputs_of
from capex.errors import InputError
from capex.study import data_folder, read_study


@pytest.mark.parametrize("by_job", [False, True])
@pytest.mark.parametrize("choice", ["frame", "keep"])
def test_law_a_plan_that_came_true_changes_no_figure(choice, by_job):
    study = shop()
    months = records(study, plan_of(study, choice), range(1, 13), by_job=by_job)
    found = year_on(seen(choice, months))
    assert {key: one.value for key, one in found.ratios.items()} == dict.fromkeys(found.ratios, 1.0)
    assert set(found.mix.values()) <= {1.0}
    assert not found.trend.counts
    gains = found.standing.appraisal.net_present_value
    plan = appraise(study)
    np.testing.assert_array_equal(gains[1], plan.net_present_value[0])
    assert found.standing.best(1) == list(plan.outcomes)[int(plan.best[0])]
    assert found.standing.turned_by == ()
    assert all(one.difference == 0.0 for one in found.compared.values())


@pytest.mark.parametrize("key", KINDS)
def test_law_a_ratio_that_was_true_is_found(key):
    """Of the months in which one kind of input was 1.25 times the plan, the ratio is 1.25."""
    changes = {"jobs__plain__bought_in_price": 60, "jobs__laminated__bought_in_price": 80,
               "alternatives__frame__bought_in": {"plain": 0.5}}  # fmt: skip
    study = shop(**changes)
    planned = seen("frame", [], **changes)
    true = {path: planned.quantity(path).likely * 1.25 for path in inputs_of(planned, key)}
    months = records(study, plan_of(study, "frame", true), range(1, 13))
    found = year_on(seen("frame", months, **changes))
    for other in KINDS:
        expected = 1.25 if other == key else 1.0
        assert found.ratios[other].value == pytest.approx(expected, rel=1e-6), other
    for path, value in true.items():
        assert found.values[path] == pytest.approx(value, rel=1e-6)


def test_law_a_level_and_a_growth_that_were_true_are_found():
    growth = {"jobs__plain__growth": 0.04, "jobs__laminated__growth": 0.04}
    study = shop(**growth)
    true = {"levers.demand": 0.8, "levers.growth_shift": 0.15}
    months = records(study, plan_of(study, "frame", true), range(1, 19))
    found = year_on(seen("frame", months, **growth))
    assert found.trend.counts
    assert found.values["levers.demand"] == pytest.approx(0.8, rel=1e-9)
    assert found.values["levers.growth_shift"] == pytest.approx(0.15, rel=1e-9)


def test_law_a_mix_that_was_true_is_found():
    study = shop()
    true = {"jobs.plain.orders_per_month": 14.0, "jobs.laminated.orders_per_month": 5.0}
    months = records(study, plan_of(study, "frame", true), range(1, 7), by_job=True)
    found = year_on(seen("frame", months))
    lever = found.values["levers.demand"]
    for path, orders in true.items():
        assert found.values[path] * lever == pytest.approx(orders, rel=1e-9)


def test_law_what_is_known_now_is_appraised_as_any_scenario():
    study = shop()
    months = records(study, plan_of(study, "frame", {"levers.demand": 0.7}), range(1, 13))
    found = year_on(seen("frame", months))
    alone = appraise(study, {path: [value] for path, value in found.values.items()})
    np.testing.assert_allclose(
        found.standing.appraisal.net_present_value[1], alone.net_present_value[0], rtol=1e-9
    )


def test_what_was_learned_of_one_machine_is_tried_on_all():
    """Repairs that last longer: of the machines that were bought, and in one case of every one."""
    slow = {"machines.frame.mean_time_to_repair": 1.5 * 360_000.0}
    study = shop()
    found = year_on(seen("frame", records(study, plan_of(study, "frame", slow), range(1, 7))))
    case = next(one for one in found.standing.cases if one.kind == "alike")
    other = "machines.printer.mean_time_to_repair"
    assert other not in found.values
    own = found.values["machines.frame.mean_time_to_repair"]
    assert case.values["machines.frame.mean_time_to_repair"] == own
    assert case.values[other] == own > 360_000.0


def test_fewer_orders_can_turn_the_choice():
    study = shop()
    months = records(study, plan_of(study, "frame", {"levers.demand": 0.02}), range(1, 13))
    found = year_on(seen("frame", months))
    assert found.standing.best(1) == "keep"
    assert not found.standing.holds
    assert found.standing.lead < 0


def test_the_plan_by_job_is_the_ledger():
    study = read_study(data_folder() / "studies" / "quenlow.toml")
    for key, outcome in appraise(study).outcomes.items():
        plan = plan_of(study, key)
        for name, table in plan.by_job.items():
            parts = table.sum(axis=0)
            if name == "upkeep":
                lines = ("service", "insurance", "standby")
                parts = parts - sum(outcome.path.ledger.line(line)[0, 1:] for line in lines)
            np.testing.assert_allclose(parts, plan.total[name], rtol=1e-9, atol=1e-6)
        costs = sum(plan.total[name] for name in ("materials", "bought_in", "wages", "upkeep"))
        ledger = outcome.path.ledger
        groups = ("materials", "bought-in work", "people", "machines")
        np.testing.assert_allclose(-costs, sum(ledger.group(g)[0, 1:] for g in groups))


def test_nothing_to_look_back_on_is_named():
    with pytest.raises(InputError, match="at least one month"):
        year_on(shop())


def test_machines_cannot_be_broken_for_longer_than_they_are_staffed():
    study = shop()
    (month,) = records(study, plan_of(study, "frame"), range(1, 2))
    month["downtime"] = "400 h"
    with pytest.raises(InputError, match=r"400 h.*must be less than 320 h"):
        year_on(seen("frame", [month]))


def test_hours_paid_are_those_staffed_whatever_the_on_cost():
    """20 days of 8 hours for two people: 320 h."""
    plan = plan_of(shop(shop__people__on_cost_factor=1.4), "frame")
    assert plan.total["hours_paid"] / 3600 == pytest.approx(np.full(60, 320.0))
