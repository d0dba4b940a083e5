"""Purchases in month T, never, or when a load passes a trigger; and functions that come later."""

from __future__ import annotations

from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
import test_plain_ledger as plain
from hand_shop import hand_study
from hypothesis import given, settings
from hypothesis import strategies as st

from capex import appraise, read_study
from capex.decision.jobs import jobs_made_elsewhere
from capex.decision.staging import purchase_timing, triggered_purchases
from capex.errors import InputError, StudyError
from capex.shopfloor.year.monthly_plan import monthly_plan
from capex.study import data_folder

PLAIN = Path(__file__).with_name("plain_shop.toml")
CUTTER = "alternatives.staged.machines.1"


@pytest.fixture(scope="module")
def demo():
    return read_study(data_folder() / "studies" / "quenlow.toml")


def by_load(study, trigger, **more):
    """Return inputs under which the demo's staged cutter waits for a load."""
    return study.replaced({f"{CUTTER}.month": 0, f"{CUTTER}.when_load_passes": trigger, **more})


# The month of the purchase


def test_law_the_studys_own_month_gives_its_own_net_present_value(demo):
    found = purchase_timing(demo, "staged")
    own = appraise(demo).outcomes["staged"]
    at = int(np.flatnonzero(found.months == 36)[0])
    assert found.net_present_value[at] == own.net_present_value[0]
    assert found.gain[at] == own.gain[0]
    assert found.months.tolist() == list(range(84))
    assert found.best == max(found.net_present_value.max(), found.never)


@given(demand=st.floats(0.5, 3.0), price=st.floats(1000, 40000))
@settings(max_examples=8, deadline=None)
def test_law_never_is_the_alternative_without_the_machine(demo, demand, price):
    inputs = {"levers.demand": demand}
    changed = demo.replaced({"machines.mid_contour_cutter.price": price})
    found = purchase_timing(changed, "staged", months=[5, 40], scenario=inputs)
    choice = changed.alternatives["staged"]
    machines = (choice.machines[0], *choice.machines[2:])
    less = changed.model_copy(
        update={"alternatives": changed.alternatives
                | {"staged": choice.model_copy(update={"machines": machines})}}
    )  # fmt: skip
    without = appraise(less, inputs).outcomes["staged"]
    assert found.never == pytest.approx(without.net_present_value[0], rel=1e-12)
    assert found.gain_never == pytest.approx(without.gain[0], rel=1e-9, abs=1e-6)
    assert (found.best_month is None) == bool(found.never >= found.net_present_value.max())


def test_against_the_plain_shop_bought_in_other_months(monkeypatch):
    """The second derivation of the whole ledger, its month of purchase moved."""
    months = [0, 1, 2, 3, 4]
    found = purchase_timing(read_study(PLAIN), "new", months=months)
    assert found.place == 0
    values = []
    for month in months:
        monkeypatch.setattr(plain, "BOUGHT", month)
        aged = 0.65 + (0.5 - 0.65) * (20 - month - 12) / 12
        monkeypatch.setattr(plain, "AGED_17_MONTHS", aged)
        values.append(plain.plain_ledger.__wrapped__(renewed=True)[1])
    np.testing.assert_allclose(found.net_present_value, values, rtol=1e-9)
    assert found.best_month == months[int(np.argmax(values))] or found.never > max(values)


def test_names_the_machine_or_asks_which(demo):
    assert purchase_timing(demo, "separate", "mid_contour_cutter", [0, 9]).place == 1
    assert purchase_timing(demo, "separate", 0, [0, 9]).machine == "Mid roll printer"
    for machine, said in ((None, "any bought later"), ("laminator", "laminator"), (4, "4")):
        with pytest.raises(InputError, match=f"{said}.*must name one machine that is bought"):
            purchase_timing(demo, "separate", machine)
    with pytest.raises(InputError, match=r"must be before money\.horizon"):
        purchase_timing(demo, "staged", months=[84])
    with pytest.raises(InputError, match="at least one month"):
        purchase_timing(demo, "staged", months=[])


def test_law_a_trigger_gives_way_to_the_month_tried(demo):
    dated = purchase_timing(demo, "staged", months=[7, 36])
    loaded = purchase_timing(by_load(demo, 0.9), "staged", months=[7, 36])
    assert np.array_equal(dated.net_present_value, loaded.net_present_value)
    assert dated.never == loaded.never


# The trigger


def test_law_a_trigger_of_nothing_buys_at_once_and_a_huge_one_never(demo):
    at_once = appraise(demo, {f"{CUTTER}.month": 0}).outcomes["staged"]
    zero = appraise(by_load(demo, 0.0)).outcomes["staged"]
    assert np.array_equal(zero.net_cash_flow, at_once.net_cash_flow)
    assert np.array_equal(zero.equity_cash_flow, at_once.equity_cash_flow)
    never = appraise(by_load(demo, 10.0)).outcomes["staged"]
    assert never.net_present_value[0] == purchase_timing(demo, "staged", months=[36]).never
    assert triggered_purchases(zero)[0].month == 0
    found = triggered_purchases(never)[0]
    assert found.month is None
    assert found.words == (
        "Mid contour cutter: never bought within the 84 months, as the load of Mid all-in-one does "
        "not pass 1,000% in time."
    )
    assert never.path.ledger.line("purchase")[0].sum() == at_once.path.ledger.line("purchase")[
        0
    ].sum() + float(demo.machines["mid_contour_cutter"].price.likely)


@given(trigger=st.floats(0.3, 1.5), demand=st.floats(0.6, 2.0))
@settings(max_examples=12, deadline=None)
def test_law_the_month_is_the_one_after_the_load_first_passes(demo, trigger, demand):
    """Followed without the machine: below the trigger up to a month, above it in that one."""
    outcome = appraise(by_load(demo, trigger), {"levers.demand": demand}).outcomes["staged"]
    (found,) = triggered_purchases(outcome)
    later = {f"{CUTTER}.month": 83, "levers.demand": demand}
    output = appraise(demo, later).outcomes["staged"].path.output
    load = output.asked[0, 0, :83] / output.available[0, 0, :83]
    if found.month is None:
        assert (load[:81] <= trigger).all()
        return
    assert (load[: found.month - 2] <= trigger).all()
    assert load[found.month - 2] > trigger
    dated = appraise(demo, {f"{CUTTER}.month": found.month, "levers.demand": demand})
    assert outcome.net_present_value[0] == dated.outcomes["staged"].net_present_value[0]


def test_law_a_batch_finds_each_scenarios_own_month(demo):
    demand, trigger = np.array([0.8, 1.0, 1.3, 2.0, 1.0]), np.array([0.9, 0.9, 0.8, 0.0, 5.0])
    horizon = np.array([84.0, 30.0, 84.0, 60.0, 84.0])
    inputs = {"levers.demand": demand, f"{CUTTER}.when_load_passes": trigger,
              "money.horizon": horizon}  # fmt: skip
    together = appraise(by_load(demo, 0.5), inputs).outcomes["staged"]
    months = set()
    for i in range(5):
        one = {path: values[i] for path, values in inputs.items()}
        alone = appraise(by_load(demo, 0.5), one).outcomes["staged"]
        found = triggered_purchases(alone)
        assert triggered_purchases(together, i) == found
        months.add(found[0].month)
        assert together.net_present_value[i] == pytest.approx(alone.net_present_value[0], rel=1e-12)
    assert len(months) > 2
    assert None in months


def test_law_nothing_is_bought_at_the_horizon_or_later(demo):
    found = triggered_purchases(appraise(by_load(demo, 0.9)).outcomes["staged"])[0]
    ends = {"money.horizon": [found.month, found.month + 1]}
    cut = appraise(by_load(demo, 0.9), ends).outcomes["staged"]
    assert [triggered_purchases(cut, i)[0].month for i in (0, 1)] == [None, found.month]
    spent = cut.path.ledger.line("purchase")
    assert spent[0, 1:].sum() == 0
    assert spent[1, found.month] < 0


def test_against_the_plain_shops_load_month_by_month():
    """Machine seconds of the second derivation over the hours of one machine, in plain Python."""
    study = read_study(PLAIN)
    mapping = {
        "name": "Second one later",
        "machines": [
            {"machine": "all_in_one", "owned": True},
            {"machine": "laminator", "owned": True},
            {"machine": "all_in_one", "when_load_passes": "45 %"},
        ],
    }
    table = study.model_dump(exclude_unset=True)
    table["alternatives"]["later"] = mapping
    study = type(study).from_mapping(table)
    hours = 20 * (8 - 0.5 - 0.2) * 3600 * 600 / 616 * 0.95
    load = [
        sum(
            job.orders
            * (1 + job.growth) ** ((month - 1) / 12)
            * plain.SEASON[(plain.APRIL + month - 1) % 12]
            * job.order.machine
            for job in plain.jobs().values()
        )
        / hours
        for month in range(1, 21)
    ]
    triggers = [0.5 * (a + b) for a, b in pairwise(load[:7])]
    path = "alternatives.later.machines.2.when_load_passes"
    found = appraise(study, {path: triggers}).outcomes["later"]
    months = set()
    for i, trigger in enumerate(triggers):
        first = next(month for month, part in enumerate(load, start=1) if part > trigger)
        assert triggered_purchases(found, i)[0].month == first + 1
        months.add(first)
    assert len(months) > 2


def test_law_the_simulated_years_plan_buys_in_the_same_month(demo):
    study = by_load(demo, 0.9)
    outcome = appraise(study).outcomes["staged"]
    plan = monthly_plan(study, "staged", 84)
    month = triggered_purchases(outcome)[0].month
    assert plan.alternative.machines[1].month.likely == month
    np.testing.assert_array_equal(plan.output.made, outcome.path.output.made)


def test_refuses_a_trigger_that_nothing_can_pass_or_beside_a_date():
    def staged(**later):
        machines = [{"machine": "printer"}, {"machine": "cutter"} | later]
        return hand_study(alternatives__frame__machines=machines)

    for later, said in (
        ({"when_load_passes": "85 %"}, "needs another machine in the alternative for cutting"),
        ({"machine": "printer", "when_load_passes": "85 %", "month": 3}, "must be left out where"),
        ({"machine": "printer", "when_load_passes": "85 %", "owned": True}, "owned already"),
        ({"machine": "printer", "when_load_passes": "85 %", "sold_in_month": 3}, "sold_in_month"),
        ({"machine": "printer", "when_load_passes": 85}, "at most 1,000%"),
    ):
        with pytest.raises(StudyError, match=said):
            staged(**later)


# A function that comes later


@pytest.mark.parametrize("price", [None, 40])
@pytest.mark.parametrize("later", ["cutter", "printer"])
def test_work_that_lacks_a_machine_until_its_month_is_refused_or_bought_in(later, price):
    """A printer now and a cutter later, and the reverse: lettering is only cut, prints need both.

    12 of 36 months, with the same orders in each.
    """
    changes = {} if price is None else {"jobs__plain__bought_in_price": price}
    first = "printer" if later == "cutter" else "cutter"
    study = hand_study(
        jobs__laminated__orders_per_month=0,
        jobs__letters={
            "name": "Letters", "orders_per_month": 10, "pieces_per_order": 4, "width": "0.5 m",
            "height": "0.5 m", "cut_material": "vinyl", "price": 100,
            "cut": {"kind": "path", "length": "2 m", "segments": 4, "lifts": 1},
        },
        alternatives__frame__machines=[{"machine": first}, {"machine": later, "month": 12}],
        **changes,
    )  # fmt: skip
    outcome = appraise(study).outcomes["frame"]
    output, job_of = outcome.path.output, outcome.path.routes.job_of
    waits = {"plain"} if later == "printer" else {"plain", "letters"}
    said = {item.job: item for item in jobs_made_elsewhere(outcome)}
    assert set(said) == waits
    for j, key in enumerate(study.jobs):
        made = output.made[0, job_of == j].sum(axis=0)
        if key == "laminated":
            continue
        start = 12 if key in waits else 0
        assert (made[:start] == 0).all()
        np.testing.assert_allclose(made[start:], 10.0)
        bought = key == "plain" and price is not None and start
        elsewhere = output.bought_in if bought else output.refused
        np.testing.assert_allclose(elsewhere[0, j, :start], 10.0)
        assert (output.bought_in + output.refused)[0, j, start:].sum() == 0
    for key in waits:
        assert said[key].reason == "no machine yet"
        assert said[key].share == pytest.approx(1 / 3)
        assert said[key].bought_in == (key == "plain" and price is not None)


def test_work_whose_machine_never_comes_is_named(demo):
    machines = [{"machine": "printer"}, {"machine": "cutter", "month": 35}]
    study = hand_study(alternatives__frame__machines=machines)
    said = {item.job: item for item in jobs_made_elsewhere(appraise(study).outcomes["frame"])}
    assert said["plain"].reason == "no machine yet"
    assert said["plain"].share == pytest.approx(35 / 36)
    assert said["laminated"].reason == "no machine"
