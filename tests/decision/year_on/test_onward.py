"""Keep or go over: the past drops out, and what is sold and bought is the ledger's."""

import numpy as np
import pytest
from seen_months import plan_of, records, seen, shop

from capex.decision.appraise import appraise
from capex.decision.year_on import year_on
from capex.decision.year_on.onward import switched
from capex.errors import NoAnswerError
from capex.finance.purchases import resale_value
from capex.study import Study

TODAY = 12
BOTH = {
    "name": "Separate",
    "machines": [{"machine": "printer"}, {"machine": "cutter", "freight_and_installation": 700},
                 {"machine": "laminator", "owned": True}],
}  # fmt: skip
OLD = [{"machine": name, "owned": True, "sold_in_month": 0, "sale_proceeds": 0}
       for name in ("printer", "cutter")]  # fmt: skip
FRAME = [{"machine": "frame"}, {"machine": "laminator", "owned": True}, *OLD]
MORE = {"name": "Frame, then a cutter", "machines": [
    {"machine": "frame"}, {"machine": "cutter", "month": 30},
    {"machine": "laminator", "owned": True}]}  # fmt: skip
CHOICES = {"alternatives__both": BOTH, "alternatives__more": MORE,
           "alternatives__frame__machines": FRAME}  # fmt: skip


def found(choice: str = "frame", demand: float = 1.0, **changes):
    changes = CHOICES | changes
    study = shop(**changes)
    plan = plan_of(study, choice, {"levers.demand": demand})
    return year_on(seen(choice, records(study, plan, range(1, TODAY + 1)), **changes))


def ways(study: Study, other: str):
    made = study.alternatives["frame"]
    return made, switched(study, made, study.alternatives[other], TODAY)


def test_law_the_months_before_today_are_the_same_either_way():
    """What has been spent is spent: it stands in both and drops out of the difference."""
    study = shop(**CHOICES)
    made, other = ways(study, "both")
    fields = {name: getattr(study, name) for name in type(study).model_fields}
    two = {"made": made.model_copy(update={"baseline": True}), "other": other}
    outcomes = appraise(Study.model_construct(**{**fields, "alternatives": two})).outcomes
    one, another = outcomes["made"].net_cash_flow, outcomes["other"].net_cash_flow
    np.testing.assert_array_equal(one[:, :TODAY], another[:, :TODAY])
    assert (one[:, TODAY:] != another[:, TODAY:]).any()


def test_law_a_sunk_cost_changes_nothing():
    """Installation of what stands there already, dearer or not: keep or go over is the same."""
    dear = [{"machine": "frame", "freight_and_installation": 9000, "training": 4000}, *FRAME[1:]]
    cheap, dear_ = found(), found(alternatives__frame__machines=dear)
    for one, other in zip(cheap.onward.switches, dear_.onward.switches, strict=True):
        assert one.key == other.key
        np.testing.assert_allclose(one.gain, other.gain, rtol=1e-9, atol=1e-6)


def test_going_over_sells_at_the_resale_curve_and_buys_today():
    switch = next(one for one in found().onward.switches if one.key == "both")
    study = shop(**CHOICES)
    share = float(resale_value(study.machines["frame"], TODAY)[0])
    assert switch.proceeds == pytest.approx(share * 10_000)
    assert switch.outlay == pytest.approx(2 * 10_000 + 700)


def test_a_later_purchase_of_the_other_choice_stays_later():
    study = shop(**CHOICES)
    _, other = ways(study, "more")
    assert [(one.machine, one.month.likely) for one in other.machines if not one.owned] == [
        ("frame", 0.0), ("cutter", 30.0)
    ]  # fmt: skip
    switch = next(one for one in found().onward.switches if one.key == "more")
    assert (switch.proceeds, switch.outlay) == (0.0, 0.0)


def test_a_purchase_still_to_come_is_dropped_when_going_over():
    study = shop(**CHOICES)
    other = switched(study, study.alternatives["more"], study.alternatives["frame"], TODAY)
    assert [one.machine for one in other.machines if not one.owned] == ["frame"]
    assert all(one.sold_in_month is None for one in other.machines if not one.owned)


def test_there_is_no_way_back_to_machines_that_are_sold():
    study = shop(**CHOICES)
    with pytest.raises(NoAnswerError, match="which has been sold"):
        ways(study, "keep")
    assert list(found().onward.closed) == ["Keep"]


def test_other_shares_bought_in_cannot_be_compared():
    priced = {"jobs__plain__bought_in_price": 60}
    study = shop(**CHOICES, **priced, alternatives__more__bought_in={"plain": 0.5})
    with pytest.raises(NoAnswerError, match="other shares"):
        ways(study, "more")


def test_going_over_is_worth_it_where_the_new_machine_earns_more_than_it_costs():
    """A frame that is broken half of its time, and orders for more: going over leaves more."""
    slow = {"machines__frame__mean_time_to_repair": "20000 h",
            "jobs__plain__orders_per_month": 900}  # fmt: skip
    assert found().onward.keep
    poor = found(**slow)
    assert not poor.onward.keep
    assert poor.onward.switches[0].gain[1] > 0


def test_at_the_horizon_nothing_is_left_to_decide():
    study = shop(money__horizon=12)
    months = records(study, plan_of(study, "frame"), range(1, 13))
    assert year_on(seen("frame", months, money__horizon=12)).onward is None


def test_law_a_gain_is_of_the_months_to_come_in_money_of_today():
    """Cash from today on, discounted to today by hand: (1 + r)^(months/12)."""
    study = shop(**CHOICES)
    made, other = ways(study, "both")
    fields = {name: getattr(study, name) for name in type(study).model_fields}
    two = {"made": made.model_copy(update={"baseline": True}), "other": other}
    outcomes = appraise(Study.model_construct(**{**fields, "alternatives": two})).outcomes
    more = outcomes["other"].net_cash_flow[0] - outcomes["made"].net_cash_flow[0]
    worth = sum(flow / 1.1 ** (k / 12) for k, flow in enumerate(more[TODAY:]))
    switch = next(one for one in found().onward.switches if one.key == "both")
    assert switch.gain[1] == pytest.approx(worth, rel=1e-9)
