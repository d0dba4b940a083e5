"""What is lost today against plain figures, and where nothing can be lost."""

from __future__ import annotations

import pytest
from hand_shop import hand_study

from capex import appraise, read_study
from capex.decision.lost_today import lost_today
from capex.errors import InputError
from capex.study import data_folder

ORDER = 1.0 * 1.02 * 5.0 + 4 * 0.25 * 10e-6 * 100e3  # film and ink of a plain order


@pytest.fixture(scope="module")
def demo():
    return read_study(data_folder() / "studies" / "quenlow.toml")


def shop(**changes):
    return hand_study(inks__ink__laid_down="10 mL/m²", **changes)


def test_law_nothing_is_lost_with_endless_hours_and_nothing_bought_in(demo):
    away = demo.alternatives["keep"].bought_in
    endless = {
        "shop.people.operators": 1e6, "shop.people.finishers": 1e6,
        "shop.after_purchase.recovered_demand": 0.0,
        **{f"alternatives.keep.machines.{i}.count": 100 for i in range(3)},
        **{f"alternatives.keep.bought_in.{key}": 0.0 for key in away},
    }  # fmt: skip
    found = lost_today(appraise(demo, endless))
    # what is bought in because it is cheaper so loses nothing
    assert found.total == 0.0
    assert found.waterfall == ()
    assert found.unknown == ()
    assert lost_today(appraise(demo)).total > 0


def test_against_plain_figures_of_work_refused():
    """Four thousand orders a month are more than the printer has hours for: the rest is refused."""
    study = shop(jobs__plain__orders_per_month=4000, jobs__laminated__orders_per_month=0)
    output = appraise(study).baseline.path.output
    refused = 12 * 4000 - float(output.made[0, 0, :12].sum())
    assert refused > 10000
    found = lost_today(appraise(study))
    (loss,) = found.each
    assert (loss.kind, loss.job, loss.made_by) == ("refused", "plain", "keep")
    assert loss.orders == pytest.approx(refused)
    assert loss.amount == pytest.approx(refused * (100 - ORDER))


def test_against_plain_figures_of_work_bought_in_and_turned_away():
    """A quarter of 120 orders a year at 40, and a tenth of 120 that nobody asks for any more."""
    study = shop(
        jobs__plain__bought_in_price=40,
        jobs__laminated__orders_per_month=0,
        alternatives__keep__bought_in={"plain": 0.25},
        shop__after_purchase={"recovered_demand": 0.1},
    )
    found = lost_today(appraise(study))
    amounts = {loss.kind: loss.amount for loss in found.each}
    assert amounts == pytest.approx(
        {"turned away": 12 * (100 - ORDER), "bought in": 30 * (40 - ORDER)}
    )
    assert found.total == pytest.approx(sum(amounts.values()))
    ends = [(step.kind, step.start, step.end) for step in found.waterfall]
    assert ends[0] == ("turned away", 0.0, pytest.approx(12 * (100 - ORDER)))
    assert ends[1] == ("bought in", ends[0][2], pytest.approx(found.total))


def test_law_late_orders_are_those_of_the_ledger(demo):
    costs = {"shop.promises.cost_of_late_order": 30.0, "shop.promises.lead_time": 1.0}
    found = appraise(demo, costs | {"money.horizon": 37})
    late = [loss for loss in lost_today(found).each if loss.kind == "late"]
    line = found.baseline.path.ledger.line("late")[0]
    assert [loss.amount for loss in late] == [pytest.approx(-line[1:13].sum())]
    assert late[0].amount > 0


def test_costs_work_on_the_first_machines_that_can_do_it_and_says_what_nobody_can_cost():
    nothing_cuts = [{"machine": "printer", "owned": True}]
    study = shop(alternatives__keep__machines=nothing_cuts, jobs__laminated__orders_per_month=0)
    (loss,) = lost_today(appraise(study)).each
    assert loss.made_by == "frame"
    assert loss.amount == pytest.approx(120 * (100 - ORDER))
    nowhere = shop(
        alternatives__keep__machines=nothing_cuts,
        alternatives__frame__machines=[{"machine": "printer"}],
        jobs__laminated__orders_per_month=0,
    )
    found = lost_today(appraise(nowhere))
    assert [(loss.name, loss.amount) for loss in found.unknown] == [("Plain", None)]
    assert found.total == 0.0


def test_refuses_a_year_beyond_the_horizon(demo):
    with pytest.raises(InputError, match="from 1 to 7"):
        lost_today(appraise(demo), year=8)
