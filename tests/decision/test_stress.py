"""Stress cases: the same path with inputs replaced, never better together, thresholds by hand."""

import numpy as np
import pytest
from hand_shop import hand_study
from hypothesis import given
from hypothesis import strategies as st
from strategies import Size, laws, studies

from capex.decision.appraise import appraise
from capex.decision.cover import lender_view_of
from capex.decision.stress import StressAmounts, stress_test
from capex.errors import InputError, StudyError
from capex.study import data_folder, read_study
from capex.study.money import Lender

SMALL = studies(Size(jobs=3, frames=1, years=2))
OWNED = [{"machine": name, "owned": True} for name in ("printer", "cutter", "laminator")]


@pytest.fixture(scope="module")
def demo():
    return read_study(data_folder() / "studies" / "quenlow.toml")


def shop(**changes):
    return hand_study(
        jobs__plain__price=1000,
        jobs__laminated__price=1000,
        money__loan={"share": 0.75, "annual_rate": 0.12, "term": 24},
        alternatives__frame__machines=[{"machine": "frame"}, *OWNED],
        **changes,
    )


# What the cases are


def test_each_case_is_the_path_with_its_input_replaced(demo):
    scenario = {"levers.demand": 1.1, "money.lender.owner_draws": 4000.0}
    amounts = StressAmounts(volume=-0.3, price=-0.05, delay=2, loan_rate=0.03)
    found = stress_test(demo, scenario, amounts)
    changes = {
        "volume": {"levers.demand": 1.1 * 0.7},
        "price": {"levers.price": 0.95},
        "delay": {"levers.delay": 2.0},
        "loan_rate": {"levers.loan_rate_shift": 0.03},
    }
    together = {path: value for change in changes.values() for path, value in change.items()}
    singles = [{}, *changes.values(), together]
    for case, change in zip(found.cases, singles, strict=True):
        place = found.cases.index(case)
        alone = appraise(demo, scenario | change)
        for key, figures in found.each.items():
            outcome = alone.outcomes[key]
            view = lender_view_of(outcome)
            assert figures.gain[place] == pytest.approx(outcome.gain[0], rel=1e-12)
            assert figures.view.lowest_cash[place] == pytest.approx(view.lowest_cash[0])
            np.testing.assert_allclose(
                figures.view.lowest_year.ratio[place], view.lowest_year.ratio[0], rtol=1e-12
            )


def test_words_say_the_amounts():
    words = StressAmounts(volume=-0.25, delay=1, loan_rate=0.015).words
    assert words["volume"] == "Volume −25%"
    assert words["delay"] == "Start 1 month late"
    assert words["loan_rate"] == "Loan rate +1.5 points"


@laws(10)
@given(SMALL)
def test_law_no_stress_at_all_changes_nothing(study):
    found = stress_test(study, amounts=StressAmounts(0.0, 0.0, 0, 0.0))
    for outcome in found.appraisal.outcomes.values():
        table = outcome.path.ledger.table
        assert (table == table[:1]).all()


def assert_all_together_is_worst(study):
    """Working capital is off: less tied up in sales is money too. Cover below 0 has no order."""
    for figures in stress_test(study.replaced({"money.working_capital": 0.0})).each.values():
        view = figures.view
        cover = view.lowest_year.ratio
        for row in (
            figures.net_present_value, view.lowest_cash, -view.highest_loan_to_value.ratio,
            cover[(cover >= 0) | (np.arange(len(cover)) == len(cover) - 1)],
        ):  # fmt: skip
            assert np.isnan(row).all() or (row[-1] <= row + 1e-9 * np.abs(row).max()).all()


@laws(15)
@given(SMALL)
def test_law_all_together_is_never_better_than_one(study):
    assert_all_together_is_worst(study)


def test_law_all_together_is_never_better_than_one_in_the_demo(demo):
    assert_all_together_is_worst(demo)
    assert_all_together_is_worst(shop())


# Thresholds


def test_thresholds_are_the_lenders():
    """Cover of 20,000 a month over 353; 7,500 of 10,000 owed; the bank begins at 0."""
    found = stress_test(shop()).each["frame"]
    assert found.meets_cover.all()
    assert found.view.lowest_year.ratio[0] > 30
    level = float(found.view.lowest_year.ratio[0])
    edges = [level * (1 - 1e-6), level * (1 + 1e-6)]
    for minimum, met in zip(edges, (True, False), strict=True):
        asked = stress_test(shop(), {"money.lender.minimum_cover": minimum})
        assert bool(asked.each["frame"].meets_cover[0]) is met
    ratio = float(found.view.highest_loan_to_value.ratio[0])
    for most, met in ((ratio * (1 + 1e-6), True), (ratio * (1 - 1e-6), False)):
        asked = stress_test(shop(), {"money.lender.highest_loan_to_value": most})
        assert bool(asked.each["frame"].meets_loan_to_value[0]) is met
    # 2,500 are paid from the bank on the first day.
    for least, met in ((-2500.0, True), (-2499.0, False)):
        asked = stress_test(shop(), {"money.lender.lowest_cash": least})
        assert bool(asked.each["frame"].meets_cash[0]) is met
        assert bool(asked.each["frame"].meets[0]) is (met and bool(found.meets_loan_to_value[0]))


def test_nothing_is_asked_where_nothing_is_owed(demo):
    keep = stress_test(demo).each["keep"]
    assert keep.meets_cover.all()
    assert keep.meets_loan_to_value.all()


def test_the_usual_thresholds_carry_source_and_date():
    asked = Lender()
    assert asked.minimum_cover.likely == 1.25
    assert asked.minimum_cover.source == "default"
    assert asked.minimum_cover.on is not None
    assert "secondary source" in asked.minimum_cover.note
    assert asked.highest_loan_to_value.source == "assumed"
    own = shop(money__lender={"minimum_cover": {"value": 1.4, "source": "quoted",
                                                "date": "2026-11-02"}})  # fmt: skip
    assert own.money.lender.minimum_cover.on.isoformat() == "2026-11-02"
    with pytest.raises(StudyError, match=r"money.lender.minimum_cover: 0 must be greater than 0"):
        shop(money__lender={"minimum_cover": 0})


# Levers


@laws(10)
@given(SMALL, st.integers(1, 6))
def test_law_a_delayed_machine_works_as_one_bought_later(study, delay):
    """What is made, bought in and refused is that of machines which come later."""
    later = {
        f"alternatives.{key}.machines.{place}.month": placement.month.si + delay
        for key, choice in study.alternatives.items()
        for place, placement in enumerate(choice.machines)
        if not placement.owned
    }
    horizon = {"money.horizon": 36.0}
    held_up = appraise(study, {**horizon, "levers.delay": delay})
    came_later = appraise(study, {**horizon, **later})
    for key, outcome in held_up.outcomes.items():
        mine, other = outcome.path.output, came_later.outcomes[key].path.output
        for name in ("available", "made", "bought_in", "refused", "used"):
            np.testing.assert_allclose(
                getattr(mine, name), getattr(other, name), rtol=1e-7, atol=1e-7, err_msg=name
            )
        bought = outcome.path.ledger.line("purchase")
        assert (bought == appraise(study, horizon).outcomes[key].path.ledger.line("purchase")).all()


def test_a_delay_past_the_horizon_leaves_the_work_to_what_is_there():
    study = shop()
    found = appraise(study, {"levers.delay": [0.0, 36.0]})
    keep, frame = found.outcomes["keep"], found.outcomes["frame"]
    place = [station.placement for station in frame.stations].index(0)
    used = frame.path.output.used[:, place].sum(axis=1)
    assert used[0] > 0
    assert used[1] == 0
    sales = [o.path.ledger.line("sales.plain")[-1].sum() for o in (keep, frame)]
    assert sales[0] == pytest.approx(sales[1])
    assert frame.path.ledger.line("purchase")[1, 0] == -10000


@laws(10)
@given(SMALL, st.floats(0, 0.1))
def test_law_a_rate_shift_is_a_dearer_loan_and_moves_no_investment(study, points):
    shifted = appraise(study, {"levers.loan_rate_shift": points})
    dearer = appraise(study, {"money.loan.annual_rate": study.money.loan.annual_rate.si + points})
    plain = appraise(study)
    for key, outcome in shifted.outcomes.items():
        assert (outcome.net_cash_flow == plain.outcomes[key].net_cash_flow).all()
        other = dearer.outcomes[key].equity_cash_flow
        np.testing.assert_allclose(outcome.equity_cash_flow, other, rtol=1e-9, atol=1e-6)


def test_refuses_a_rate_below_nothing():
    with pytest.raises(InputError, match=r"levers\.loan_rate_shift"):
        appraise(shop(), {"levers.loan_rate_shift": -0.2})


@pytest.mark.parametrize(
    ("amounts", "words"),
    [
        ({"volume": -1.0}, "stress.volume: -1.0 must be above -1"),
        ({"price": float("nan")}, "stress.price: nan must be a finite number"),
        ({"delay": 1.5}, "stress.delay: 1.5 must be a whole number of months"),
        ({"delay": -1}, "stress.delay: -1 must be"),
    ],
)
def test_refuses_amounts_that_are_no_stress(amounts, words):
    with pytest.raises(InputError, match=words):
        StressAmounts(**amounts)
