"""New against second-hand: by hand where years are alike, and what must hold whatever the study."""

import numpy as np
import pytest
from hand_shop import hand_study
from hypothesis import given
from hypothesis import strategies as st
from strategies import Size, laws, studies

from capex.decision.appraise import appraise
from capex.decision.price_limit import PriceReason
from capex.decision.used_or_new import used_machine, used_or_new
from capex.errors import InputError
from capex.finance.purchases import resale_value

SMALL = studies(Size(jobs=2, frames=1, years=2))
HOUR = 3600.0
TAX, RATE = 0.3, 0.1


def shop(**changes):
    usual = {
        "money__convention": "year_end",
        "money__horizon": 60,
        "money__tax": {"regime": "straight_line_5", "rate": TAX},
        "shop__premises__insurance": 0,
        "machines__frame__resale_by_year": [0.8, 0.6, 0.5, 0.4, 0.3],
        "machines__frame__service": "900 USD/year",
    }
    return hand_study(**(usual | changes))


def test_the_old_machine_given_in_trade_tells_nothing_of_new_and_used():
    """A used one that is as good as new, at its price: level, whatever the trade-in."""
    offer = {"machine": "frame", "name": "One", "dated": "2026-11-01",
             "trade_in": 3000, "trade_in_of": "printer"}  # fmt: skip
    old = {"machine": "printer", "owned": True, "sold_in_month": 0, "sale_proceeds": 0}
    study = shop(
        offers={"one": offer},
        alternatives__frame__machines=[
            {"machine": "frame", "offer": "one"}, old, {"machine": "laminator", "owned": True},
        ],
    )  # fmt: skip
    found = used_or_new(study, "frame", 0, used_machine(study.machines["frame"], 0))
    assert found.ahead == pytest.approx(0.0, abs=1e-6)
    assert found.level.price == pytest.approx(10000, rel=1e-9)


def test_against_the_level_price_by_hand():
    """Two years old it is worth 0.6, and keeps 0.3 · (0.3/0.4)² / 0.6 of that five years on.

    Each unit of price costs 1 − t·z − s·(1 − t)·v⁵, new and used; used service is 200 dearer.
    """
    study = shop()
    old = used_machine(study.machines["frame"], 24, service=1100)
    found = used_or_new(study, "frame", 0, old)
    assert found.used.price == pytest.approx(6000)
    assert (found.new.service, found.used.service) == (900, 1100)

    level = sum(1.1**-year for year in range(1, 6))
    claimed, end = 0.2 * level, 1.1**-5

    def each(share):
        return 1 - TAX * claimed - share * (1 - TAX) * end

    kept = 0.3 * 0.75**2 / 0.6
    dearer = 200 * (1 - TAX) * level
    expected = (10000 * each(0.3) - dearer) / each(kept)
    assert found.level.price == pytest.approx(expected, rel=1e-9)
    assert found.ahead == pytest.approx(10000 * each(0.3) - dearer - 6000 * each(kept), rel=1e-9)
    assert found.new.resale == pytest.approx(3000)
    assert found.used.resale == pytest.approx(6000 * kept)
    assert found.level.today == pytest.approx(6000)
    assert found.level.against == "frame"


def test_against_the_hours_that_it_stands_still():
    """Hopp and Spearman: availability is MTBF/(MTBF + MTTR)."""
    study = shop()
    old = used_machine(
        study.machines["frame"], 24, mean_time_between_failures=300 * HOUR,
        mean_time_to_repair=200 * HOUR,
    )  # fmt: skip
    found = used_or_new(study, "frame", 0, old)
    assert (found.new.availability, found.used.availability) == (0.9, 0.6)


@laws(8)
@given(SMALL)
def test_law_a_used_one_like_the_new_one_is_worth_its_price(study):
    """No age, no wear, and no allowance that asks for a new one."""
    like_new = used_machine(study.machines["frame_0"], 0)
    found = used_or_new(study, "staged", 0, like_new)
    assert found.ahead == pytest.approx(0.0, abs=1e-6)
    assert found.used.resale == pytest.approx(found.new.resale, rel=1e-12)
    assert found.level.price == pytest.approx(found.new.price, rel=1e-6)


@laws(12)
@given(st.integers(0, 60), st.floats(300, 2000), st.floats(1.05, 4))
def test_law_one_that_fails_more_is_worth_less_where_its_hours_are_short(age, hours, times):
    """The frame is full all year, everybody else has time: each of its hours makes orders."""
    study = shop(
        jobs__plain__orders_per_month=4000,
        jobs__plain__weeding_time="0 min",
        shop__people={"operators": 50, "finishers": 50, "wage": "20 USD/h"},
    )
    assert appraise(study).outcomes["frame"].load[0].max() > 1
    frame = study.machines["frame"]
    worse, better = (
        used_or_new(
            study, "frame", 0, used_machine(frame, age, mean_time_between_failures=between * HOUR)
        )
        for between in (hours, hours * times)
    )
    assert worse.used.gain < better.used.gain
    assert worse.new == better.new
    if worse.level.reason is better.level.reason is PriceReason.FOUND:
        assert worse.level.price < better.level.price


@laws(6)
@given(SMALL, st.integers(1, 60))
def test_law_both_leave_the_same_at_the_level_price(study, age):
    old = used_machine(study.machines["frame_0"], age, service=4000)
    level = used_or_new(study, "staged", 0, old).level
    if level.reason is not PriceReason.FOUND:
        return
    there = old.model_copy(
        update={
            "price": old.price.replaced(level.price / study.levers.machine_price.likely, "price")
        }
    )
    worth = abs(appraise(study).outcomes["staged"].net_present_value[0])
    assert used_or_new(study, "staged", 0, there).ahead == pytest.approx(0.0, abs=1e-9 * worth)


def test_an_allowance_for_new_machines_only_makes_the_used_one_worth_less():
    """40 % in the first year and 14 % of the rest, against 14 % from the start: published."""
    study = shop(money__tax={"regime": "uk_first_year_allowance", "rate": TAX})
    found = used_or_new(study, "frame", 0, used_machine(study.machines["frame"], 0))

    def each(claims):
        factors = 1.1 ** -np.arange(1.0, 6.0)
        left = 1 - sum(claims)
        shield = (np.array(claims) * factors).sum() + left * 1.1**-5
        return 1 - TAX * shield - 0.3 * (1 - TAX) * 1.1**-5

    new = each([0.4, *(0.6 * 0.14 * 0.86**year for year in range(4))])
    used = each([0.14 * 0.86**year for year in range(5)])
    assert found.ahead == pytest.approx(10000 * (new - used), rel=1e-9)
    assert found.ahead < 0
    assert found.level.price == pytest.approx(10000 * new / used, rel=1e-9)


def test_its_least_cash_is_what_it_saves_on_the_first_day():
    study = shop(money__opening_cash=100000)
    found = used_or_new(study, "frame", 0, used_machine(study.machines["frame"], 36, price=4000))
    assert found.used.price == 4000
    kept = appraise(study).outcomes["frame"].worst_month_end_cash[0]
    assert found.new.least_cash == pytest.approx(kept)
    assert found.used.least_cash > found.new.least_cash


def test_a_quotation_or_an_offer_for_the_new_one_is_not_the_used_ones():
    study = shop(alternatives__frame__machines__0__price=9000)
    found = used_or_new(study, "frame", 0, used_machine(study.machines["frame"], 24))
    assert (found.new.price, found.used.price) == (9000, pytest.approx(6000))


def test_the_rest_of_the_curve_goes_on():
    new = shop().machines["frame"]
    old = used_machine(new, 18)
    ages = np.array([12.0, 24.0, 36.0, 48.0, 60.0])
    expected = resale_value(new, ages + 18) / resale_value(new, 18.0)
    np.testing.assert_allclose(resale_value(old, ages), expected, rtol=1e-12)


def test_what_is_refused():
    study = shop()
    frame = study.machines["frame"]
    with pytest.raises(InputError, match="missing: printing"):
        used_or_new(study, "frame", 0, study.machines["cutter"])
    with pytest.raises(InputError, match="which frame buys"):
        used_or_new(study, "frame", 1, frame)
    with pytest.raises(InputError, match="at least 0 months"):
        used_machine(frame, -1)
    with pytest.raises(InputError, match="greater than 0"):
        used_machine(frame, 12, mean_time_between_failures=0.0)
    worthless = shop(machines__frame__resale_by_year=[0.5, 0]).machines["frame"]
    with pytest.raises(InputError, match="resale is above 0"):
        used_machine(worthless, 24)
    share = frame.resale_by_year[2]
    rising = (*frame.resale_by_year[:2], share.replaced(0.9, "x"), *frame.resale_by_year[3:])
    with pytest.raises(InputError, match=r"90\.0%.* must not rise after 24 months, .* 60\.0%"):
        used_machine(frame.model_copy(update={"resale_by_year": rising}), 24)
    second = shop(alternatives__frame__machines__0__second_hand=True)
    with pytest.raises(InputError, match="second-hand already"):
        used_or_new(second, "frame", 0, frame)


def test_the_scenario_counts():
    study = shop()
    old = used_machine(study.machines["frame"], 24)
    found = used_or_new(study, "frame", 0, old, {"levers.machine_price": 0.5})
    assert (found.new.price, found.used.price) == (5000, pytest.approx(3000))
