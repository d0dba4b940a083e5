"""The tax rules in words: their age, and what they refuse to whom."""

from datetime import date

from hand_shop import hand_study

from capex.decision.appraise import appraise
from capex.views.tables import headline_data, notices
from capex.views.tax import tax_notice, tax_sentence

FRESH = date(2026, 12, 1)
USED = [{"machine": "frame", "second_hand": True}]


def test_an_old_regime_says_so():
    study = hand_study(money__tax__regime="us_macrs_5")
    assert "more than a year old" not in tax_sentence(study, FRESH)
    assert "more than a year old: compare it with its source" in tax_sentence(
        study, date(2027, 11, 26)
    )


def test_a_second_hand_machine_that_gets_no_allowance_is_named():
    refused = "its first-year allowance is for new machines and not claimed for Frame;"
    for regime, machines, says in (
        ("uk_first_year_allowance", USED, True),
        ("uk_first_year_allowance", [{"machine": "frame"}], False),
        ("uk_main_pool", USED, False),
    ):
        study = hand_study(money__tax__regime=regime, alternatives__frame__machines=machines)
        assert (refused in tax_sentence(study, FRESH)) == says


def test_every_sentence_sends_to_the_accountant():
    for regime in ("none", "us_macrs_5", "uk_main_pool"):
        said = tax_sentence(hand_study(money__tax__regime=regime), FRESH)
        assert said.endswith("; confirm with your accountant.")


def test_what_a_pool_does_with_a_sale_is_told():
    early = "a sale is settled in its year, which may be earlier than the pool does"
    assert early in tax_sentence(hand_study(money__tax__regime="uk_main_pool"), FRESH)
    assert early not in tax_sentence(hand_study(money__tax__regime="us_macrs_5"), FRESH)


def test_sales_tax_and_the_income_limit_are_told():
    limited = "what is deducted at once is not held to the year's business income"
    bonus = {"money__tax__regime": "us_section_179_bonus_macrs_7", "currency": "USD"}
    said = tax_sentence(hand_study(**bonus, money__tax__on_purchases="8 %"), FRESH)
    assert "8% sales tax on machines bought" in said
    assert f"{limited}, what exceeds it being absorbed by your other income;" in said
    carried = tax_sentence(hand_study(**bonus, money__tax__losses="carried_forward"), FRESH)
    assert f"{limited}, what exceeds it being carried forward as a loss;" in carried
    plain = tax_sentence(hand_study(money__tax__regime="us_macrs_7"), FRESH)
    assert limited not in plain
    assert "sales tax" not in plain


def test_what_becomes_of_a_years_loss_is_told_where_there_is_tax():
    taxed = {"money__tax__regime": "us_macrs_7", "money__tax__rate": "25 %"}
    said = tax_sentence(hand_study(**taxed), FRESH)
    assert "; a year's loss is taken to save tax on your other income;" in said
    carried = tax_sentence(hand_study(**taxed, money__tax__losses="carried_forward"), FRESH)
    assert "; a year's loss waits for later profits, without limit of time or amount;" in carried
    assert "loss" not in tax_sentence(hand_study(money__tax__regime="us_macrs_7"), FRESH)


def test_a_tax_rate_without_any_deduction_is_a_notice():
    taxed = hand_study(money__tax={"regime": "none", "rate": "25 %"})
    said = tax_notice(taxed)
    assert "profit is taxed at 25%, while no cost of a machine is deducted" in said
    assert said.endswith("confirm with your accountant.")
    found = appraise(taxed)
    assert notices(found)[0] == said
    assert headline_data(found)["notices"][0] == said
    for other in ({"regime": "none", "rate": 0}, {"regime": "straight_line_5", "rate": "25 %"}):
        assert tax_notice(hand_study(money__tax=other)) == ""
