"""The ledger's lines worked out by hand in a shop of round figures (`hand_shop`)."""

import numpy as np
import pytest
from hand_shop import LOAD, PRINT, TAKE_OFF, hand_study

from capex.decision.appraise import appraise
from capex.errors import InputError

FRAME = {"machine": "frame", "freight_and_installation": 1000, "training": 500}
OWNED = {"machine": "laminator", "owned": True}
IDLE = {"jobs__plain__orders_per_month": 0, "jobs__laminated__orders_per_month": 0}
SHIFT = 20 * 8 * 3600.0
WAGE = 20 / 3600


def ledger(key="frame", machines=(FRAME, OWNED), **changes):
    study = hand_study(alternatives__frame__machines=list(machines), **changes)
    return appraise(study).outcomes[key].details.ledger


def line(name, **changes) -> np.ndarray:
    return ledger(**changes).line(name)[0]


def test_sales_and_materials_of_a_month():
    found = ledger("keep")
    assert found.line("sales.plain")[0, 1:].tolist() == [1000.0] * 36
    assert found.line("film")[0, 1] == pytest.approx(-20 * 1.02 * 5)
    assert found.line("laminate")[0, 1] == pytest.approx(-10 * 1.02 * 3)
    assert found.line("ink")[0, 1] == pytest.approx(-20 * 1.0 * 10e-3 * 100)
    assert found.line("sales.plain")[0, 0] == 0


def test_bought_in_work_is_sold_and_paid():
    # a quarter leaves the house: 2.5 of 10 orders at 40 each
    found = ledger(
        "keep", jobs__plain__bought_in_price=40, alternatives__keep__bought_in={"plain": 0.25}
    )
    assert found.line("bought_in")[0, 1] == pytest.approx(-2.5 * 40)
    assert found.line("sales.plain")[0, 1] == pytest.approx(1000)
    assert found.line("film")[0, 1] == pytest.approx(-17.5 * 1.02 * 5)


def test_staffed_hours_are_paid_whatever_is_made():
    assert line("wages")[1] == pytest.approx(-2 * SHIFT * WAGE)
    assert line("wages", **IDLE)[1] == pytest.approx(-2 * SHIFT * WAGE)


def test_idle_hours_that_are_redeployed_are_not_paid_here():
    idle = {**IDLE, "shop__people__idle_time_redeployed": 0.75}
    assert line("wages", **idle)[1] == pytest.approx(-2 * SHIFT * WAGE * 0.25)


def test_prices_rise_once_a_year():
    found = ledger("keep", money__escalation={"prices": 0.1, "wages": 0.05, "materials": 0.2})
    assert found.line("sales.plain")[0, [12, 13, 36]] == pytest.approx([1000, 1100, 1210])
    assert found.line("wages")[0, [12, 13]] == pytest.approx([-6400, -6400 * 1.05])
    assert found.line("film")[0, 13] / found.line("film")[0, 12] == pytest.approx(1.2)


def test_overtime_is_paid_to_the_whole_cell_at_its_premium():
    # 1,600 orders of 348.2 s against 0.9 × 160 h: short of hours, so all overtime is worked.
    found = ledger(
        "keep", jobs__plain__orders_per_month=1600, jobs__laminated__orders_per_month=0,
        jobs__plain__weeding_time="0 min", jobs__plain__finishing_time="0 min",
        jobs__plain__packing_time="0 min", shop__people__operators=9,
        shop__hours__overtime_per_month="10 h", shop__hours__overtime_premium=1.5,
    )  # fmt: skip
    assert found.line("overtime")[0, 1] == pytest.approx(-10 * 10 * 20 * 1.5)


def test_service_insurance_and_room_by_month():
    changes = {
        "machines__frame__service": "1200 USD/year",
        "shop__premises__insurance": 0.012,
        "shop__premises__rent": "12 USD/m²/year",
    }
    found = ledger(**changes)
    assert found.line("service")[0, 1:].tolist() == pytest.approx([-100] * 36)
    assert found.line("insurance")[0, 1] == pytest.approx(-2 * 10)  # frame and laminator
    # envelopes 0.5 + 2 + 0.5 + 2 + 0.5 m along the wall by 0.5 + 1 + 1 m deep, shared ends
    assert found.line("floor_space")[0, 1] == pytest.approx(-5.5 * 2.5)


def test_room_that_is_paid_anyway_costs_nothing():
    found = line(
        "floor_space", shop__premises__rent="12 USD/m²/year",
        shop__premises__room_already_paid=True, shop__premises__reason="The hall is ours.",
    )  # fmt: skip
    assert not found.any()


def test_floor_space_grows_when_the_second_machine_comes():
    staged = [FRAME, {"machine": "cutter", "month": 6}]
    found = line("floor_space", machines=staged, shop__premises__rent="12 USD/m²/year", **{
        "jobs__laminated__laminated": 0})  # fmt: skip
    assert found[[6, 7]] == pytest.approx([-3.0 * 2.5, -5.5 * 2.5])


def test_power_while_ready_is_what_the_shift_leaves():
    found = ledger("keep", machines__printer__power_ready="1 kW",
                   shop__premises__electricity="0.36 USD/kWh")  # fmt: skip
    held = 20 * (LOAD + PRINT + TAKE_OFF)
    assert found.line("standby")[0, 1] == pytest.approx(-(SHIFT - held) * 1000 * 0.36 / 3.6e6)


def test_tax_of_an_idle_machine_by_hand():
    """No orders and no wages: only 500 training, 11,000 in straight line, and resale 4,000."""
    found = ledger(
        **IDLE, shop__people__wage="0 USD/h", money__tax__regime="straight_line_5",
        money__tax__rate=0.3,
    )  # fmt: skip
    tax = found.line("tax")[0]
    assert tax[[12, 24, 36]] == pytest.approx([0.3 * 2700, 0.3 * 2200, 0.3 * (2200 + 400)])
    assert np.count_nonzero(tax) == 3
    net = found.net_cash_flow[0]
    assert net[0] == pytest.approx(-11_500)
    assert net[36] == pytest.approx(4_000 + 0.3 * 2600)


def test_losses_carried_forward_save_no_tax_before_there_is_profit():
    found = ledger(
        **IDLE, shop__people__wage="0 USD/h", money__tax__regime="straight_line_5",
        money__tax__rate=0.3, money__tax__losses="carried_forward",
    )  # fmt: skip
    assert not found.line("tax").any()


def test_a_horizon_within_a_year_settles_tax_at_the_horizon():
    found = ledger(
        **IDLE, shop__people__wage="0 USD/h", money__tax__regime="straight_line_5",
        money__tax__rate=0.3, money__horizon=18,
    )  # fmt: skip
    # resale at 18 months is 5,500; 11,000 − 4,400 is left
    assert found.line("tax")[0, [12, 18]] == pytest.approx([0.3 * 2700, 0.3 * (2200 + 1100)])


def test_working_capital_follows_sales_and_comes_back():
    season = [2, 0, *[1] * 10]
    found = line("working_capital", money__working_capital=1.5, shop__seasonality=season,
                 machines=[FRAME, OWNED])  # fmt: skip
    assert found[:4] == pytest.approx([0, 0, 1.5 * 4000, -1.5 * 2000])
    assert found[36] == pytest.approx(1.5 * (2000 - 4000))
    assert found.sum() == pytest.approx(0)
    growing = line("working_capital", money__working_capital=1.0, jobs__plain__growth=0.5)
    assert growing[36] == pytest.approx(1000 * (1.5 ** (35 / 12) - 1.5 ** (34 / 12)) * -1
                                        + 1000 * (1.5 ** (35 / 12) - 1))  # fmt: skip


def test_loan_by_hand():
    """80 % of 10,000 at 12 % over 48 months; what is left after 36 is repaid at the horizon."""
    found = ledger(money__loan={"share": 0.8, "annual_rate": 0.12, "term": 48, "fee": 0.01},
                   **IDLE)  # fmt: skip
    payment = 8000 * 0.01 / (1 - 1.01**-48)
    assert found.line("loan")[0, 0] == 8000
    assert found.line("loan_fee")[0, 0] == pytest.approx(-80)
    assert found.line("interest")[0, 1] == pytest.approx(-80)
    assert found.line("principal")[0, 1] == pytest.approx(-(payment - 80))
    left = payment * (1 - 1.01**-12) / 0.01
    last = found.line("principal")[0, 36]
    assert last == pytest.approx(-(payment - payment * (1 - 1.01**-13)))
    settled = found.line("loan_settled")[0]
    assert settled[36] == pytest.approx(-left)
    assert np.count_nonzero(settled) == 1
    assert found.line("principal").sum() == pytest.approx(-8000 + left)
    own = found.net_cash_flow + found.group("financing")
    assert own == pytest.approx(found.equity_cash_flow)


def test_interest_saves_tax_with_the_financing_and_not_with_the_investment():
    loan = {"share": 1, "annual_rate": 0.12, "term": 36}
    taxed = {"money__tax__rate": 0.25, "money__tax__regime": "straight_line_5"}
    without, with_loan = ledger(**taxed), ledger(**taxed, money__loan=loan)
    assert with_loan.line("tax") == pytest.approx(without.line("tax"))
    saved = with_loan.line("interest_tax")[0]
    yearly = with_loan.line("interest")[0, 1:].reshape(3, 12).sum(axis=1)
    assert saved[[12, 24, 36]] == pytest.approx(-0.25 * yearly)


def test_a_shorter_horizon_in_a_batch_ends_its_own_rows():
    study = hand_study(money__working_capital=1.0, jobs__plain__growth=0.1)
    both = appraise(study, {"money.horizon": [36, 20]}).outcomes["frame"].details.ledger
    assert not both.table[1, :, 21:].any()
    assert both.line("salvage")[1, 20] > 0
    assert both.line("working_capital").sum(axis=1) == pytest.approx([0, 0])


def test_refuses_an_unknown_line():
    with pytest.raises(InputError, match="rent"):
        ledger().line("rent")
