"""Make or buy against a plain derivation, and its break-even price on the whole path."""

from __future__ import annotations

from pathlib import Path

import pytest
from hand_shop import hand_study
from hypothesis import given, settings
from hypothesis import strategies as st
from test_plain_ledger import badge_order, letter_order

from capex import appraise, read_study
from capex.decision.make_or_buy import make_or_buy
from capex.errors import InputError
from capex.study import data_folder

PLAIN = Path(__file__).with_name("plain_shop.toml")


@pytest.fixture(scope="module")
def demo():
    return read_study(data_folder() / "studies" / "quenlow.toml")


def of(found, job):
    return next(item for item in found if item.job == job)


@given(price=st.floats(20.0, 400.0), year=st.integers(1, 7), wage=st.floats(0.0, 60.0))
@settings(max_examples=15, deadline=None)
def test_law_difference_is_nil_at_the_break_even_price(demo, price, year, wage):
    inputs = {
        "jobs.fleet_badges.price": price, "shop.people.wage": wage / 3600.0,
        "money.escalation.materials": 0.03, "money.escalation.wages": 0.02,
        "shop.people.idle_time_redeployed": 0.4,
    }  # fmt: skip
    found = of(make_or_buy(appraise(demo, inputs).outcomes["separate"], year), "fleet_badges")
    today = found.break_even_price / 1.03 ** (year - 1)
    even = appraise(demo, inputs | {"jobs.fleet_badges.bought_in_price": today})
    again = of(make_or_buy(even.outcomes["separate"], year), "fleet_badges")
    assert again.difference == pytest.approx(0.0, abs=1e-9)
    assert again.yearly_difference == pytest.approx(0.0, abs=1e-9 * again.orders)


@pytest.mark.parametrize("key", ["separate", "all_in_one"])
def test_law_the_months_plan_buys_in_below_the_break_even_price_only(demo, key):
    """The same price at which the plan of the months changes its mind, with hours to spare."""
    quiet = {"levers.demand": 0.2, "shop.people.idle_time_redeployed": 0.5}
    found = of(make_or_buy(appraise(demo, quiet).outcomes[key]), "floor_graphics")
    assert found.break_even_price < found.price
    path = "jobs.floor_graphics.bought_in_price"
    around = [found.break_even_price * factor for factor in (1 - 1e-9, 1 + 1e-9)]
    output = appraise(demo, quiet | {path: around}).outcomes[key].path.output
    j = list(demo.jobs).index("floor_graphics")
    assert output.bought_in[0, j, 0] == pytest.approx(output.demand[0, j, 0])
    assert output.bought_in[1, j, 0] == 0.0


def test_against_a_plain_derivation_of_an_order():
    """The hand shop: 1 m of film 1.02 m wide at 5, a square metre of ink at 1, no power.

    People are paid anyway; 10 orders a month, bought in at 30.
    """
    study = hand_study(jobs__plain__bought_in_price=30, inks__ink__laid_down="10 mL/m²")
    found = of(make_or_buy(appraise(study).baseline), "plain")
    film, ink = 1.0 * 1.02 * 5.0, 4 * 0.25 * 10e-6 * 100e3
    assert found.direct_cost == pytest.approx(film + ink)
    assert found.labour == 0.0
    cost = film + ink
    assert found.made == pytest.approx(100 - cost)
    assert found.bought == pytest.approx(70)
    assert found.yearly_difference == pytest.approx((30 - cost) * 120)
    assert found.difference_per_hour == pytest.approx((30 - cost) / found.station_hours)


def test_says_why_a_type_cannot_be_made_or_bought(demo):
    study = hand_study(
        alternatives__frame__machines=[{"machine": "printer"}, {"machine": "cutter", "month": 20}]
    )
    later = make_or_buy(appraise(study).outcomes["frame"])
    assert of(later, "plain").cannot_make == "a machine that it needs is not at work in this year"
    assert of(later, "laminated").cannot_make == "no machine of this choice can do it"
    assert of(later, "plain").cannot_buy == "the study has no price to buy it in at"
    assert of(later, "plain").difference is None
    assert of(later, "plain").yearly_difference is None
    third = make_or_buy(appraise(study).outcomes["frame"], year=3)
    assert of(third, "plain").cannot_make is None
    with pytest.raises(InputError, match="from 1 to 3"):
        make_or_buy(appraise(study).outcomes["frame"], year=4)


def test_against_the_second_derivation_of_the_plain_shop():
    """Cost of an order of the plain shop from a derivation that shares no code with the package."""
    study = read_study(PLAIN)
    for year, material, wages in ((1, 1.0, 1.0), (2, 1.03, 1.04)):
        found = make_or_buy(appraise(study).outcomes["new"], year)
        for key, order in (("badge", badge_order()), ("letter", letter_order())):
            hours = (order.operators + order.finishers) / 3600
            assert of(found, key).direct_cost == pytest.approx(sum(order.costs.values()) * material)
            assert of(found, key).labour == pytest.approx(hours * 20 * 1.3 * 0.25 * wages)
        assert of(found, "badge").bought_in_price == pytest.approx(109 * material)
        assert of(found, "letter").bought_in_price is None
