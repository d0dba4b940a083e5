"""A headline figure is its lines, and the inputs behind it are those that move it."""

from __future__ import annotations

import numpy as np
import numpy_financial as npf
import pytest
import pyxirr

from capex.decision.appraise import appraise
from capex.decision.cover import cover_volumes, lender_view_of
from capex.decision.explanation import FIGURES, explanation
from capex.decision.solutions import volume_for_cover, walk_away_price
from capex.decision.walk_away import walk_away_prices
from capex.errors import InputError
from capex.study import Study, data_folder, read_study
from capex.views.why import why_sentences
from capex.views.wording import Currency


@pytest.fixture(scope="module")
def study() -> Study:
    return read_study(data_folder() / "studies" / "quenlow.toml")


@pytest.mark.parametrize(
    "key",
    ["gain", "net_present_value", "equivalent_annual_value", "lowest_cash", "cost_of_owning"],
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
    said = " ".join(why_sentences(study, why, Currency("USD"), "metric"))
    without = f"Without that, cover there is {view.recurring_by_year.ratio[0, year - 1]:,.2f}"
    assert without in said


def test_law_loan_to_value_is_the_lines_of_the_loan_over_what_the_machines_fetch(study):
    why = explanation(study, "highest_loan_to_value", "separate")
    assert {each.key for each in why.summands} <= {"loan", "principal", "loan_settled"}
    assert why.total / why.divisor == pytest.approx(why.value, rel=1e-12)
    assert "shop.people.wage" not in {each.path for each in why.inputs}


def test_law_the_index_is_what_its_lines_bring_over_capital(study):
    """Own lines of capital of the staged purchase, discounted by hand; the rest comes back."""
    why = explanation(study, "profitability_index", "staged")
    below = {each.key: each.worth for each in why.summands if each.below}
    assert set(below) <= {"purchase", "sales_tax", "installation", "training", "sold"}
    outcome = appraise(study).outcomes["staged"]
    for key, worth in below.items():
        flow = outcome.path.ledger.line(key)[0] - outcome.baseline.path.ledger.line(key)[0]
        factors = 1.0 / (1.0 + outcome.discount_rate[0]) ** (np.arange(flow.size) / 12.0)
        assert worth == pytest.approx(-flow @ factors, rel=1e-9)
    assert sum(below.values()) == pytest.approx(why.divisor, rel=1e-12)
    assert why.total / why.divisor == pytest.approx(why.value, rel=1e-12)


@pytest.mark.parametrize("convention", ["monthly", "year_end"])
def test_against_numpy_financial_the_modified_rate_is_its_lines_at_both_ends(study, convention):
    shown = study.model_copy(
        update={"money": study.money.model_copy(update={"convention": convention})}
    )
    why = explanation(shown, "modified_rate_of_return", "staged")
    outcome = appraise(shown).outcomes["staged"]
    flow, rate, years = outcome.incremental_cash_flow[0], outcome.discount_rate[0], 7
    if convention == "monthly":
        rate = (1.0 + rate) ** (1.0 / 12.0) - 1.0
        expected = (1.0 + npf.mirr(flow, rate, rate)) ** 12 - 1.0
    else:
        yearly = np.concatenate([flow[:1], flow[1:].reshape(years, 12).sum(axis=1)])
        expected = npf.mirr(yearly, rate, rate)
    assert why.value == pytest.approx(expected, rel=1e-9)
    assert (why.total / why.divisor) ** (1.0 / years) - 1.0 == pytest.approx(expected, rel=1e-9)
    below = sum(each.worth for each in why.summands if each.below)
    assert below == pytest.approx(why.divisor, rel=1e-9)


def test_against_pyxirr_the_lines_of_loans_are_worth_nothing_at_their_rate(study):
    why = explanation(study, "annual_percentage_rate", "separate")
    ledger = appraise(study).outcomes["separate"].path.ledger
    assert {each.key for each in why.summands} <= {"loan", "loan_fee", "interest", "principal"}
    flow = sum(ledger.line(each.key)[0] for each in why.summands)
    assert why.value == pytest.approx(12.0 * pyxirr.irr(flow), rel=1e-9)
    assert abs(why.total) < 1e-9 * sum(abs(each.worth) for each in why.summands)
    behind = {each.path for each in why.inputs}
    assert "money.loan.annual_rate" in behind
    assert "shop.people.wage" not in behind


def test_law_a_walk_away_price_is_opened_where_the_choices_are_level(study):
    """The lower of both limits; there the lines over the rival add up to nothing."""
    why = explanation(study, "walk_away_price", "separate", machine="mid_contour_cutter")
    found = next(
        each for each in walk_away_prices(study, "separate")
        if each.machine == "mid_contour_cutter"
    )  # fmt: skip
    assert why.value == min(found.against_baseline.price, found.against_rival.price)
    assert why.sought == "Mid contour cutter, level with All-in-one"
    assert abs(why.total) < 1e-6
    assert "alternatives.separate.machines.1.price" not in {each.path for each in why.inputs}
    staged = walk_away_price(study, "staged")
    assert staged.words.endswith("; against the best rival not worth having even at the lowest "
                                 "price tried")  # fmt: skip
    with pytest.raises(InputError, match="is not one that separate buys"):
        explanation(study, "walk_away_price", "separate", machine="mid_all_in_one")


def test_law_at_the_volume_of_cover_1_cash_is_debt_service(study):
    why = explanation(study, "break_even_volume", "all_in_one")
    found = next(each for each in cover_volumes(study) if each.key == "all_in_one")
    assert why.value == pytest.approx(found.volume, abs=1e-4)
    assert why.total == pytest.approx(why.divisor, rel=1e-6)
    assert "levers.demand" not in {each.path for each in why.inputs}


@pytest.mark.parametrize(
    ("key", "seek", "paths"),
    [
        ("walk_away_price", walk_away_price,
         ["machines.mid_all_in_one.printing.head_price", "levers.machine_price",
          "alternatives.all_in_one.machines.0.training"]),
        ("break_even_volume", volume_for_cover, ["shop.people.wage", "shop.premises.rent"]),
    ],
)  # fmt: skip
def test_against_a_search_anew_with_each_input_moved(study, key, seek, paths):
    """Slopes of a few percent of curvature would be seen: these inputs enter in proportion."""
    why = explanation(study, key, "all_in_one")
    effects = {each.path: each for each in why.inputs}
    for path in paths:
        moved = seek(study.replaced({path: effects[path].moved_to}), "all_in_one")
        assert moved.value - why.value == pytest.approx(effects[path].effect, rel=1e-5)


def test_what_is_sought_and_not_there_has_its_reason(study):
    for key, says in (
        ("walk_away_price", "it buys no machine that could be walked away from"),
        ("break_even_volume", "nothing is due to a lender, so there is no cover"),
    ):
        why = explanation(study, key, "keep")
        assert np.isnan(why.value)
        assert why.sought == says
        (said,) = why_sentences(study, why, Currency("USD"), "metric")
        assert says in said


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
