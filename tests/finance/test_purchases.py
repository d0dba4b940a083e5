"""Purchases, resale and their tax, worked out by hand (`hand_shop`: price 10,000)."""

import numpy as np
import pytest
from hand_shop import hand_study
from hypothesis import given
from hypothesis import strategies as st
from strategies import laws, studies

from capex.finance.purchases import Purchases, resale_value, tax_regime
from capex.study.catalogue import shipped_tax_regimes

INSTALLED = {"machine": "frame", "freight_and_installation": 1000, "training": 500}
STRAIGHT = {"money__tax__regime": "straight_line_5"}
OWNED = {"machine": "laminator", "owned": True}


def purchases(*placements, **changes) -> Purchases:
    study = hand_study(alternatives__frame__machines=list(placements), **changes)
    return Purchases(study, study.alternatives["frame"], int(study.money.horizon.likely))


def taxable(bought: Purchases) -> list[float]:
    horizon = bought.horizon
    return bought.taxable_by_year(-(-bought.months // 12), horizon)[0].tolist()


def at(flow, month):
    """Return the amount in a month once it is the only one."""
    assert np.count_nonzero(flow) == (1 if flow[0, month] else 0)
    return float(flow[0, month])


@pytest.mark.parametrize(
    ("age", "share"),
    [
        (0, 1.0),
        (6, 0.8),  # half way from 1 to 0.6
        (12, 0.6),
        (18, 0.55),
        (33, 0.425),  # three quarters of the way from 0.5 to 0.4
        (36, 0.4),
        (48, 0.4 * 0.8),  # the last yearly ratio, 0.4/0.5, goes on
        (42, 0.4 * 0.8**0.5),
    ],
)
def test_resale_is_straight_between_years_and_goes_on_at_the_last_ratio(age, share):
    machine = hand_study().machines["frame"]
    assert resale_value(machine, np.array([age]))[0] == pytest.approx(share)


def test_resale_of_one_entered_year_goes_on_from_new():
    machine = hand_study(machines__frame__resale_by_year=[0.5]).machines["frame"]
    assert resale_value(machine, [6.0, 12.0, 24.0]) == pytest.approx([0.75, 0.5, 0.25])


def test_a_machine_bought_today_is_paid_installed_and_worth_its_resale_at_the_horizon():
    bought = purchases(INSTALLED, **STRAIGHT)
    assert at(bought.price, 0) == 10_000
    assert at(bought.installation, 0) == 1_000
    assert at(bought.training, 0) == 500
    assert at(bought.salvage, 36) == pytest.approx(4_000)
    assert not bought.sold.any()


def test_straight_line_and_the_loss_on_disposal():
    # 11,000 over 5 years is 2,200 a year; after 3 years 4,400 is left, sold for 4,000.
    assert taxable(purchases(INSTALLED, **STRAIGHT)) == pytest.approx([-2200, -2200, -2200 - 400])


def test_a_gain_on_disposal_is_taxed():
    first_year = purchases(INSTALLED, money__tax__regime="us_macrs_3")
    # 33.33, 44.45 and 14.81 % of 11,000; 7.41 % left, sold for 4,000.
    shares = np.array([0.3333, 0.4445, 0.1481])
    expected = -11_000 * shares
    expected[2] += 4_000 - 11_000 * 0.0741
    assert taxable(first_year) == pytest.approx(expected.tolist())


def test_all_that_was_expensed_comes_back_as_a_gain():
    # the year of purchase claims all 11,000; sold for 4,000 at the end, nothing is left to deduct
    regime = {"money__tax__regime": "us_section_179_bonus_macrs_7", "currency": "USD"}
    assert taxable(purchases(INSTALLED, **regime)) == pytest.approx([-11_000, 0, 4_000])


def test_a_late_purchase_moves_all_machines_of_its_year_to_the_quarters():
    late = purchases(INSTALLED | {"month": 10}, money__tax__regime="us_macrs_5")
    early = {"machine": "frame", "month": 1}
    both = purchases(early, INSTALLED | {"month": 10}, money__tax__regime="us_macrs_5")
    assert taxable(late)[0] == pytest.approx(-0.05 * 11_000)
    assert taxable(both)[0] == pytest.approx(-0.05 * 11_000 - 0.35 * 10_000)


def test_a_second_hand_machine_gets_no_allowance_for_new_ones():
    regime = {"money__tax__regime": "uk_first_year_allowance"}
    used = purchases(INSTALLED | {"second_hand": True}, **regime)
    assert taxable(used)[0] == pytest.approx(-0.14 * 11_000)
    assert taxable(purchases(INSTALLED, **regime))[0] == pytest.approx(-0.40 * 11_000)


def test_a_staged_purchase_is_claimed_from_its_own_year():
    bought = purchases(INSTALLED | {"month": 14}, **STRAIGHT)
    assert at(bought.price, 14) == 10_000
    # 22 months old at the horizon: ten twelfths of the way from 0.6 to 0.5
    worth = 10_000 * (0.6 - 0.1 * 10 / 12)
    assert at(bought.salvage, 36) == pytest.approx(worth)
    by_hand = [0, -2200, -2200 + worth - (11_000 - 4_400)]
    assert taxable(bought) == pytest.approx(by_hand)


def test_a_purchase_at_the_turn_of_a_year_belongs_to_the_year_that_begins():
    bought = purchases(INSTALLED | {"month": 12}, **STRAIGHT)
    assert taxable(bought)[:2] == pytest.approx([0, -2200])


def test_a_machine_sold_on_the_way_brings_what_was_agreed():
    bought = purchases(INSTALLED | {"sold_in_month": 18, "sale_proceeds": 7000}, OWNED, **STRAIGHT)
    assert at(bought.sold, 18) == 7_000
    assert not bought.salvage.any()
    # both years claim 2,200; 6,600 is left against 7,000
    assert taxable(bought) == pytest.approx([-2200, -2200 + 400, 0])


def test_a_machine_sold_on_the_way_without_agreement_brings_its_resale():
    bought = purchases(INSTALLED | {"sold_in_month": 18}, **STRAIGHT)
    assert at(bought.sold, 18) == pytest.approx(5_500)


def test_an_owned_machine_is_written_off_and_its_sale_is_all_gain():
    bought = purchases(OWNED | {"sold_in_month": 0, "sale_proceeds": 800}, **STRAIGHT)
    assert not bought.price.any()
    assert at(bought.sold, 0) == 800
    assert taxable(bought) == [800, 0, 0]


def test_several_of_one_machine_are_each_paid_and_installed():
    bought = purchases(INSTALLED | {"count": 3}, **STRAIGHT)
    assert at(bought.price, 0) == 30_000
    assert at(bought.installation, 0) == 3_000
    assert at(bought.salvage, 36) == pytest.approx(12_000)


def test_a_quotation_takes_the_place_of_the_catalogue_price():
    assert at(purchases(INSTALLED | {"price": 9_000}).price, 0) == 9_000


def test_a_purchase_after_the_horizon_of_a_scenario_costs_nothing():
    study = hand_study(alternatives__frame__machines=[INSTALLED | {"month": 24}], **STRAIGHT)
    # a study refuses such a scenario (tests/study/test_bounds.py); the batch must hold without it
    horizon = study.money.horizon.replaced([36, 12], "money.horizon")
    study = study.model_copy(update={"money": study.money.model_copy(update={"horizon": horizon})})
    bought = Purchases(study, study.alternatives["frame"], 36)
    horizon = study.money.horizon.si.astype(int)
    assert bought.price.sum(axis=1).tolist() == [10_000, 0]
    assert bought.salvage.sum(axis=1).tolist() == [6_000, 0]
    assert bought.taxable_by_year(3, horizon)[1].tolist() == [0, 0, 0]


def test_law_without_a_regime_machines_stay_outside_taxation():
    assert taxable(purchases(INSTALLED)) == [0, 0, 0]


@laws(25)
@given(studies(), st.sampled_from(sorted(set(shipped_tax_regimes()) - {"none"})))
def test_law_what_tax_sees_of_a_machine_is_what_it_brought_less_what_it_cost(study, regime):
    tax = study.money.tax.model_copy(update={"regime": regime})
    study = study.model_copy(update={"money": study.money.model_copy(update={"tax": tax})})
    assert tax_regime(study).method != "none"
    for choice in study.alternatives.values():
        months = int(study.money.horizon.likely)
        bought = Purchases(study, choice, months)
        seen = bought.taxable_by_year(-(-months // 12), bought.horizon).sum()
        brought = (bought.sold + bought.salvage).sum()
        cost = (bought.price + bought.installation).sum()
        assert seen == pytest.approx(brought - cost, abs=1e-6)


def test_sales_tax_is_paid_with_the_price_and_written_off_with_it():
    """Cost basis takes in sales tax, freight and installation (irs-pub-551): here 8 % of 10,000."""
    bought = purchases(INSTALLED, money__tax__on_purchases="8 %", **STRAIGHT)
    assert at(bought.price, 0) == 10_000
    assert at(bought.sales_tax, 0) == 800
    assert at(bought.salvage, 36) == pytest.approx(4_000)  # a share of the price alone
    # 11,800 over 5 years is 2,360 a year; after 3 years 4,720 is left, sold for 4,000.
    assert taxable(bought) == pytest.approx([-2360, -2360, -2360 - 720])


def test_an_owned_machine_bears_no_sales_tax():
    assert not purchases(OWNED, money__tax__on_purchases="8 %").sales_tax.any()
