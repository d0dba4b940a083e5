"""Depreciation under the tax regimes, and the tax itself."""

import csv
from datetime import date

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from money_rows import DATA, published

from capex.errors import InputError
from capex.finance.depreciation import (
    declining_balance,
    depreciation_fractions,
    straight_line,
    sum_of_years,
    tax_payable,
    undepreciated_share,
    writing_down,
)
from capex.finance.measures import (
    after_tax_salvage,
    net_present_value,
    periodic_discount_factors,
)
from capex.study.catalogue import shipped_tax_regimes
from capex.study.tax import TaxRegime

METHODS = {
    "straight_line": straight_line,
    "declining_balance": declining_balance,
    "sum_of_years": sum_of_years,
}
LIVES = st.integers(1, 40)
SHARES = st.floats(0.0, 1.0)
INCOMES = st.lists(st.integers(-1000, 1000), min_size=1, max_size=15)


@published("straight_line", "declining_balance", "sum_of_years")
def test_published_methods(row):
    inputs = dict(row.inputs)
    cost, salvage = inputs.pop("cost"), inputs.pop("salvage", 0.0)
    claims = cost * METHODS[row.kind](salvage_share=salvage / cost, **inputs)
    row.check(claims[: len(row.expected)])


@published("regime_percentages")
def test_published_regimes_claim_what_their_source_prints(row):
    years = row.inputs.get("years", len(row.expected))
    regime = shipped_tax_regimes()[row.inputs["regime"]]
    row.check(100 * depreciation_fractions(regime, years))
    assert regime.source == row.source


@published("after_tax_worth")
def test_published_after_tax_worth(row):
    cost, life, rate = row.inputs["cost"], row.inputs["life"], row.inputs["rate"]
    income = row.inputs["income"] - cost * METHODS[row.inputs["method"]](life)
    tax = tax_payable(income, row.inputs["tax_rate"], "absorbed")
    flows = np.concatenate([[-cost], row.inputs["income"] - tax])
    row.check(net_present_value(flows, periodic_discount_factors(rate, life)))


@published("sold_salvage")
def test_published_salvage_of_a_machine_sold_early(row):
    regime = shipped_tax_regimes()[row.inputs["regime"]]
    basis = row.inputs["cost"] * undepreciated_share(regime, row.inputs["year"])[-1]
    row.check(after_tax_salvage(row.inputs["proceeds"], basis, row.inputs["tax_rate"]))


@published("tax_shield")
def test_published_tax_shield(row):
    claims = depreciation_fractions(shipped_tax_regimes()[row.inputs["regime"]], 12)
    shield = row.inputs["cost"] * row.inputs["tax_rate"] * np.concatenate([[0.0], claims])
    row.check(net_present_value(shield, periodic_discount_factors(row.inputs["rate"], 12)))


def test_every_shipped_regime_has_a_source_a_date_and_a_caution():
    with (DATA / "sources.csv").open(encoding="utf-8", newline="") as file:
        known = {line["id"] for line in csv.DictReader(file)}
    assert len(shipped_tax_regimes()) >= 9
    for regime in shipped_tax_regimes().values():
        assert regime.source in known
        assert regime.as_of > date(2025, 1, 1)
        assert "confirm with your accountant" in regime.note.lower()


def regime(**fields):
    given_ = {"title": "ours", "jurisdiction": "-", "source": "assumed", "as_of": date(2026, 1, 1)}
    return TaxRegime(**given_, **fields)


REGIMES = st.one_of(
    st.builds(
        lambda life, share: regime(method="straight_line", life=life, first_year_allowance=share),
        LIVES,
        SHARES,
    ),
    st.builds(
        lambda life, multiple: regime(method="declining_balance", life=life, multiple=multiple),
        LIVES,
        st.floats(1.0, 3.0),
    ),
    st.builds(lambda life: regime(method="sum_of_years", life=life), LIVES),
    st.sampled_from([3, 5, 7, 10]).map(lambda life: shipped_tax_regimes()[f"us_macrs_{life}"]),
)
POOLS = st.builds(
    lambda rate, share: regime(method="pool", writing_down_rate=rate, first_year_allowance=share),
    SHARES,
    SHARES,
)


@given(REGIMES)
def test_law_depreciation_sums_to_the_cost(chosen):
    fractions = depreciation_fractions(chosen, 60)
    assert np.all(fractions >= 0.0)
    assert fractions.sum() == pytest.approx(1.0, abs=1e-12)


@given(st.one_of(REGIMES, POOLS), st.integers(1, 60))
def test_law_a_shorter_horizon_only_cuts_the_list(chosen, years):
    whole = depreciation_fractions(chosen, 60)
    np.testing.assert_allclose(depreciation_fractions(chosen, years), whole[:years], atol=1e-15)
    left = undepreciated_share(chosen, years)
    assert np.all((left >= -1e-12) & (left <= 1.0))
    assert np.all(np.diff(left) <= 1e-15)


@given(LIVES, st.floats(0.0, 0.9), st.floats(1.0, 3.0))
def test_law_salvage_is_never_claimed_and_switching_never_claims_later(life, salvage, multiple):
    switched = declining_balance(life, multiple, salvage)
    stayed = declining_balance(life, multiple, salvage, switch=False)
    assert switched.sum() == pytest.approx(1.0 - salvage, abs=1e-12)
    assert stayed.sum() <= 1.0 - salvage + 1e-12
    assert np.all(switched.cumsum() >= stayed.cumsum() - 1e-12)
    for method in (straight_line, sum_of_years):
        assert method(life, salvage).sum() == pytest.approx(1.0 - salvage, abs=1e-12)


@given(SHARES, st.integers(0, 40))
def test_law_a_pool_keeps_a_constant_share_of_its_balance(rate, years):
    left = 1.0 - writing_down(rate, years).cumsum()
    np.testing.assert_allclose(left, (1.0 - rate) ** np.arange(1, years + 1), atol=1e-12)


@given(INCOMES, SHARES)
def test_law_waiting_for_relief_never_lowers_the_tax_paid_so_far(incomes, rate):
    carried = tax_payable(incomes, rate)
    absorbed = tax_payable(incomes, rate, "absorbed")
    unrelieved = rate * np.maximum(incomes, 0.0)
    assert np.all(carried >= 0.0)
    assert np.all(carried.cumsum() >= absorbed.cumsum() - 1e-9)
    assert np.all(carried <= unrelieved + 1e-9)


@given(INCOMES, SHARES)
def test_against_a_loss_account_kept_by_hand(incomes, rate):
    waiting, expected = 0, []
    for income in incomes:
        used = min(waiting, max(income, 0))
        waiting += max(-income, 0) - used
        expected.append(rate * (max(income, 0) - used))
    np.testing.assert_allclose(tax_payable(incomes, rate), expected, atol=1e-9)


@given(st.lists(st.integers(0, 1000), min_size=1, max_size=15), SHARES)
def test_law_without_losses_both_rules_agree(incomes, rate):
    np.testing.assert_allclose(
        tax_payable(incomes, rate), tax_payable(incomes, rate, "absorbed"), atol=1e-9
    )


def test_scenarios_have_their_own_rates():
    tax = tax_payable([[100.0, -50.0, 100.0], [100.0, -50.0, 100.0]], [0.2, 0.4])
    np.testing.assert_allclose(tax, [[20.0, 0.0, 10.0], [40.0, 0.0, 20.0]])


def test_no_regime_claims_nothing():
    assert depreciation_fractions(shipped_tax_regimes()["none"], 5).tolist() == [0.0] * 5


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: depreciation_fractions(regime(method="none"), 0), "years.*1 year or more"),
        (lambda: straight_line(0), "life.*1 year"),
        (lambda: writing_down(1.5, 3), "rate.*0 to 1"),
        (lambda: writing_down(0.5, -1), "years"),
        (lambda: tax_payable([1.0], 1.5), "tax_rate.*0 to 1"),
        (lambda: tax_payable([np.nan], 0.2), r"taxable_income\[0\]"),
        (lambda: tax_payable([1.0], 0.2, "forgotten"), "losses.*carried_forward"),
    ],
)
def test_refuses_bad_input(call, words):
    with pytest.raises(InputError, match=words):
        call()
