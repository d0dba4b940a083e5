"""A headline figure is its lines, and the inputs behind it are those that move it."""

from __future__ import annotations

import numpy as np
import pytest

from capex.decision.appraise import appraise
from capex.decision.cover import lender_view_of
from capex.decision.explanation import FIGURES, explanation
from capex.errors import InputError
from capex.study import Study, data_folder, read_study


@pytest.fixture(scope="module")
def study() -> Study:
    return read_study(data_folder() / "studies" / "quenlow.toml")


@pytest.mark.parametrize(
    "key", ["gain", "net_present_value", "equivalent_annual_value", "lowest_cash"]
)
@pytest.mark.parametrize("alternative", ["keep", "staged"])
def test_law_lines_and_opening_cash_add_up_to_the_figure(study, key, alternative):
    why = explanation(study, key, alternative)
    assert why.total == pytest.approx(why.value, rel=1e-12, abs=1e-6)
    assert (why.opening is not None) == (key == "lowest_cash")


@pytest.mark.parametrize("alternative", ["separate", "all_in_one"])
def test_against_sums_by_hand_the_cover_is_cash_lines_over_debt_service_lines(study, alternative):
    """The year's operating cash, tax in it, over interest and repayment: every line by hand."""
    why = explanation(study, "least_cover", alternative)
    outcome = appraise(study).outcomes[alternative]
    ledger, view = outcome.path.ledger, lender_view_of(outcome)
    year = int(view.lowest_year.when[0])
    months = slice(12 * (year - 1) + (year > 1), 12 * year + 1)
    assert why.value == view.by_year.ratio[0, year - 1]
    below = {each.key: each.worth for each in why.summands if each.below}
    assert {"interest", "principal"} <= set(below)
    for key, worth in below.items():
        assert worth == pytest.approx(-ledger.line(key)[0, months].sum(), rel=1e-12)
    for each in why.summands:
        if not each.below:
            paid = ledger.line(each.key)[0, months].sum()
            assert each.worth == pytest.approx(paid, rel=1e-12)
    assert sum(below.values()) == pytest.approx(why.divisor, rel=1e-12)
    assert why.total / why.divisor == pytest.approx(why.value, rel=1e-12)


def test_law_loan_to_value_is_the_lines_of_the_loan_over_what_the_machines_fetch(study):
    why = explanation(study, "highest_loan_to_value", "separate")
    assert {each.key for each in why.summands} <= {"loan", "principal", "loan_settled"}
    assert why.total / why.divisor == pytest.approx(why.value, rel=1e-12)
    assert "shop.people.wage" not in {each.path for each in why.inputs}


def test_a_choice_without_a_loan_has_no_cover_and_no_lines_behind_it(study):
    for key in ("least_cover", "highest_loan_to_value"):
        why = explanation(study, key, "keep")
        assert np.isnan(why.value)
        assert not why.summands


def test_law_at_its_own_rate_of_return_the_lines_add_up_to_nothing(study):
    why = explanation(study, "internal_rate_of_return", "separate")
    moved = sum(abs(each.worth) for each in why.summands)
    assert abs(why.total) < 1e-9 * moved


def test_law_payback_is_the_month_in_which_its_lines_turn_positive(study):
    """Up to the month of payback the cash is back; up to the month before it was not."""
    why = explanation(study, "payback_period", "separate")
    outcome = appraise(study).outcomes["separate"]
    month = int(np.ceil(12 * why.value))
    cash = outcome.incremental_cash_flow[0].cumsum()
    assert why.total == pytest.approx(cash[month], rel=1e-12)
    assert cash[month - 1] < 0 <= cash[month]


@pytest.mark.parametrize("key", ["gain", "least_cover", "fullest_load", "lead_time", "floor_space"])
def test_against_a_single_appraisal_for_each_input(study, key):
    """An effect is the figure with that input alone at its other value, less the figure."""
    why = explanation(study, key, "all_in_one")
    for behind in (*why.inputs[:3], *why.inputs[-3:]):
        moved = appraise(study.replaced({behind.path: behind.moved_to}))
        after = FIGURES[key].value(moved.outcomes["all_in_one"])[0]
        assert after - why.value == pytest.approx(behind.effect, rel=1e-6, abs=1e-9)


def test_law_what_does_not_touch_a_figure_is_not_behind_it(study):
    """Money does not move a load, nor another choice's machine this choice's own cash."""
    load = {each.path for each in explanation(study, "fullest_load", "separate").inputs}
    assert "money.tax.rate" not in load
    assert "shop.hours.hours_per_day" in load
    own = {each.path for each in explanation(study, "net_present_value", "separate").inputs}
    assert "machines.mid_all_in_one.price" not in own
    assert {"money.tax.rate", "machines.mid_contour_cutter.price"} <= own
    assert "money.loan.annual_rate" not in own


def test_law_a_scenario_is_explained_as_it_stands(study):
    why = explanation(study, "gain", "separate", {"levers.demand": 1.3})
    assert why.value == appraise(study, {"levers.demand": 1.3}).outcomes["separate"].gain[0]


def test_unknown_names_are_refused(study):
    with pytest.raises(InputError, match="known: gain"):
        explanation(study, "profit", "keep")
    with pytest.raises(InputError, match="known: keep"):
        explanation(study, "gain", "other")
