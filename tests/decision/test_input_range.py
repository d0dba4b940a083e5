"""How far an input is moved: the rules one by one, and ends that other inputs refuse."""

from __future__ import annotations

import numpy as np
import pytest
from hand_shop import hand_study
from hypothesis import given
from strategies import laws, studies

from capex.decision.appraise import appraise
from capex.decision.input_range import input_range, pulled_in
from capex.decision.input_sweep import input_sweeps, swept_values
from capex.errors import InputError

SPREAD = {"low": "15 USD/h", "likely": "20 USD/h", "high": "30 USD/h"}


@pytest.mark.parametrize(
    ("path", "low", "high"),
    [
        ("machines.frame.price", 0.0, 30000.0),  # 0 to three times
        ("machines.frame.printing.carriage_speed", 1 / 3, 3.0),  # a third where 0 is barred
        ("shop.handling.orders_per_run", 1.0, 6.0),  # the field begins at 1
        ("money.discount_rate", 0.0, 1.0),  # a share
        ("shop.handling.printing_attended", 0.0, 1.0),
        ("shop.handling.media_waste", 0.0, 0.99),  # short of a bound that is not allowed
        ("jobs.plain.growth", -0.2, 0.2),  # a share that can be negative
        ("money.opening_cash", -10000.0, 10000.0),  # 0 today, can be negative: the largest amount
        ("alternatives.frame.machines.0.training", 0.0, 10000.0),  # 0 today
        ("shop.hours.overnight_per_day", 0.0, 16 * 3600.0),  # what the staffed hours leave
        ("money.horizon", 1.0, 108.0),
        ("machines.frame.service", 0.0, 0.0),  # nothing of its kind in the study
    ],
)
def test_the_rules_one_by_one(path, low, high):
    found = input_range(hand_study(), path)
    step = 16 * 3600 / 2**11 if "overnight" in path else 1e-9
    assert (found.low, found.high) == (pytest.approx(low), pytest.approx(high, abs=step))
    assert found.origins == ("reach", "reach")


def test_a_stated_spread_is_the_range_unless_another_end_is_asked_for():
    study = hand_study(shop__people__wage=SPREAD)
    found = input_range(study, "shop.people.wage")
    assert np.array([found.low, found.high]) * 3600 == pytest.approx([15, 30])
    assert found.words == "its own low and high"
    wider = input_range(study, "shop.people.wage", high=40 / 3600)
    assert (wider.low, wider.high) == (found.low, 40 / 3600)
    assert wider.words == "low: its own low and high; high: as asked"


@pytest.mark.parametrize(
    ("path", "ends", "words"),
    [
        ("shop.nothing", {}, "not known"),
        ("machines.frame.price", {"low": -1.0}, "at least 0 USD"),
        ("machines.frame.price", {"low": 5.0, "high": 5.0}, "5 USD to 5 USD.*low must be below"),
        ("money.horizon", {"high": 90.5}, "whole number"),
    ],
)
def test_refuses_an_end_that_is_not_allowed(path, ends, words):
    with pytest.raises(InputError, match=words):
        input_range(hand_study(), path, **ends)


def test_a_whole_number_is_pulled_in_to_a_whole_number():
    study = hand_study(alternatives__frame__machines=[
        {"machine": "frame", "month": 7}, {"machine": "laminator", "owned": True}])  # fmt: skip
    found = input_range(study, "money.horizon", None, 100.0)
    assert found.low == 8.0  # a purchase in month 7 needs an eighth
    assert pulled_in(found, lambda value: value <= 50.0).high == 50.0


@laws(6)
@given(studies())
def test_law_every_input_can_be_replaced_by_both_ends_and_todays_value_is_between(study):
    for path, quantity in study.quantities():
        found = input_range(study, path)
        assert found.low <= quantity.likely <= found.high
        study.replaced({path: [found.low, found.high]})
        values = swept_values(found, 5)
        assert (np.diff(values) > 0).all()
        assert quantity.likely in values


def test_law_inputs_moved_side_by_side_come_to_what_each_comes_to_alone():
    study = hand_study(shop__hours__hours_per_day="0.5 h")
    here = appraise(study)
    wanted = [
        ("levers.demand", np.array([0.5, 1.0, 2.0])),
        ("levers.print_rate", np.array([-1.0])),  # refused, alone
        ("machines.frame.price", np.array([5000.0, 20000.0])),
        ("money.horizon", np.array([12.0, 48.0])),
        ("jobs.plain.lost_customers", np.array([0.0, 0.5])),
    ]
    found = input_sweeps(study, here, wanted)
    assert found[1] is None
    for (path, values), sweep in zip(wanted, found, strict=True):
        if sweep is None:
            continue
        for place, value in enumerate(values):
            alone = appraise(study, {path: value})
            assert sweep.gains[place] == pytest.approx(alone.net_present_value[0], abs=1e-6)
            outputs = [outcome.path.output for outcome in alone.outcomes.values()]
            assert sweep.made[place] == pytest.approx([each.made.sum() for each in outputs])
            assert sweep.asked[place] == pytest.approx([each.demand.sum() for each in outputs])
