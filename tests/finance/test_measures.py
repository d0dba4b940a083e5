"""Discounting, rates and the textbook measures."""

import numpy as np
import numpy_financial
import pytest
import pyxirr
from hypothesis import given
from hypothesis import strategies as st
from money_rows import published

from capex.errors import InputError
from capex.finance.measures import (
    after_tax_salvage,
    annual_rate,
    annuity_factor,
    break_even_volume,
    discount_factors,
    effective_annual_rate,
    equivalent_annual_value,
    monthly_rate,
    net_present_value,
    nominal_rate,
    periodic_discount_factors,
    profitability_index,
    real_rate,
    replacement_chain_value,
)

RATES = st.floats(-0.5, 2.0)
AMOUNTS = st.floats(-1e6, 1e6)


def worth(cash_flow, rate):
    return net_present_value(cash_flow, periodic_discount_factors(rate, len(cash_flow) - 1))


@published("net_present_value")
def test_published_net_present_value(row):
    row.check(worth(row.inputs["cash_flow"], row.inputs["rate"]))


@published("profitability_index")
def test_published_profitability_index(row):
    flows = row.inputs["cash_flow"]
    row.check(profitability_index(worth(flows, row.inputs["rate"]), flows[0]))


@published("replacement_chain_value")
def test_published_replacement_chain(row):
    one = worth(row.inputs["cash_flow"], row.inputs["rate"])
    row.check(
        replacement_chain_value(one, row.inputs["rate"], row.inputs["life"], row.inputs["horizon"])
    )


@published("real_rate")
def test_published_real_rate(row):
    row.check(real_rate(**row.inputs))


@published("inflation_net_present_value")
def test_published_inflation(row):
    flows = np.array(row.inputs["cash_flow"], dtype=float)
    inflation, nominal = row.inputs["inflation"], row.inputs["nominal_rate"]
    if row.inputs["flows"] == "real":
        flows = flows * periodic_discount_factors(inflation, len(flows) - 1)
    real = row.inputs["discounting"] == "real"
    row.check(worth(flows, real_rate(nominal, inflation) if real else nominal))


@published("break_even_volume")
def test_published_break_even_volume(row):
    row.check(break_even_volume(**row.inputs))


@published("annuity_factor")
def test_published_annuity_factor(row):
    row.check(annuity_factor(**row.inputs))


@published("effective_annual_rate")
def test_published_effective_annual_rate(row):
    row.check(effective_annual_rate(**row.inputs))


def test_against_numpy_financial_and_pyxirr_net_present_value():
    flows = np.random.default_rng(1).normal(0.0, 1e4, (200, 121))
    rates = np.linspace(-0.02, 0.05, 200)
    computed = net_present_value(flows, periodic_discount_factors(rates, 120))
    scale = np.abs(flows).sum(axis=1) * np.exp(120 * np.maximum(-np.log1p(rates), 0.0))
    for oracle in (numpy_financial.npv, pyxirr.npv):
        expected = [oracle(float(r), list(f)) for r, f in zip(rates, flows, strict=True)]
        assert np.all(np.abs(computed - expected) <= 1e-13 * scale)


def test_against_numpy_financial_annuity():
    for rate, periods in ((0.08, 5), (0.004, 240), (-0.1, 7), (0.0, 12)):
        with np.errstate(invalid="ignore"):  # the oracle divides by a rate of 0 before it looks
            expected = -numpy_financial.pv(rate, periods, 1.0)
        assert float(annuity_factor(rate, periods)) == pytest.approx(float(expected), rel=1e-12)


@given(RATES, st.integers(0, 130))
def test_law_months_compound_to_years(rate, months):
    factors = discount_factors(rate, months)
    assert factors.shape == (months + 1,)
    assert factors[0] == 1.0
    years = factors[::12]
    np.testing.assert_allclose(years, (1.0 + rate) ** -np.arange(len(years)), rtol=1e-12)


@given(st.floats(0.0, 2.0), st.integers(1, 130))
def test_law_year_end_is_never_worth_more_than_monthly(rate, months):
    monthly, year_end = discount_factors(rate, months), discount_factors(rate, months, "year_end")
    assert np.all(year_end <= monthly * (1 + 1e-12))
    np.testing.assert_allclose(year_end[::12], monthly[::12], rtol=1e-12)


@given(st.lists(AMOUNTS, min_size=2, max_size=40), RATES)
def test_law_baseline_minus_itself_is_nothing(flows, rate):
    flows = np.array(flows)
    assert worth(flows - flows, rate) == 0.0


@given(st.lists(st.tuples(AMOUNTS, AMOUNTS), min_size=2, max_size=40), RATES)
def test_law_worth_of_a_difference_is_the_difference_of_worths(pairs, rate):
    one, other = np.array(pairs).T
    scale = worth(np.abs(one) + np.abs(other), rate)
    gap = worth(one - other, rate) - (worth(one, rate) - worth(other, rate))
    assert abs(gap) <= 1e-12 * scale


@given(st.floats(-1e6, 1e6), RATES, st.integers(1, 40))
def test_law_equivalent_annual_value_is_worth_the_same(present_value, rate, years):
    level = equivalent_annual_value(present_value, rate, years)
    flows = np.concatenate([[0.0], np.full(years, level)])
    assert float(worth(flows, rate)) == pytest.approx(present_value, rel=1e-9, abs=1e-9)


@given(st.floats(-1e6, 1e6), st.floats(0.0, 1.0), st.integers(1, 10), st.integers(1, 5))
def test_law_chain_is_the_sum_of_its_links(present_value, rate, life, links):
    chained = replacement_chain_value(present_value, rate, life, life * links)
    starts = periodic_discount_factors(rate, life * links)[: life * links : life]
    assert float(chained) == pytest.approx(present_value * starts.sum(), rel=1e-9, abs=1e-9)


@given(RATES)
def test_law_annual_and_monthly_rates_are_inverse(rate):
    assert float(annual_rate(monthly_rate(rate))) == pytest.approx(rate, rel=1e-12, abs=1e-14)


@given(RATES, RATES)
def test_law_real_and_nominal_rates_are_inverse(rate, inflation):
    back = nominal_rate(real_rate(rate, inflation), inflation)
    assert float(back) == pytest.approx(rate, rel=1e-9, abs=1e-12)


@given(st.floats(0, 1e6), st.floats(0, 1e6), st.floats(0, 1))
def test_law_a_sale_at_its_tax_basis_is_not_taxed(proceeds, other, rate):
    assert after_tax_salvage(proceeds, proceeds, rate) == proceeds
    # Gain and loss mirror each other.
    kept = after_tax_salvage(proceeds, other, rate) + after_tax_salvage(other, proceeds, rate)
    assert float(kept) == pytest.approx(proceeds + other, rel=1e-12, abs=1e-9)


def test_total_loss_and_no_rate_stay_what_they_are():
    np.testing.assert_array_equal(annual_rate([-1.0, np.nan, 0.0]), [-1.0, np.nan, 0.0])


def test_leading_axes_broadcast():
    flows = np.arange(24.0).reshape(2, 3, 4)
    values = net_present_value(flows, periodic_discount_factors([[0.0], [0.1]], 3))
    assert values.shape == (2, 3)
    assert values[0, 0] == flows[0, 0].sum()
    assert float(values[1, 2]) == pytest.approx(float(worth(flows[1, 2], 0.1)))
    assert discount_factors([0.1, 0.2], 24).shape == (2, 25)


def test_no_volume_is_enough_without_contribution():
    np.testing.assert_array_equal(break_even_volume(100.0, [0.0, -1.0, 50.0]), [np.inf, np.inf, 2])


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: discount_factors(-1.0, 12), "discount_rate.*above -1"),
        (lambda: discount_factors([0.1, np.nan], 12), r"discount_rate\[1\].*finite"),
        (lambda: discount_factors(0.1, -1), "months.*0 months or more"),
        (lambda: discount_factors(0.1, 12, "weekly"), "convention.*monthly"),
        (lambda: periodic_discount_factors(0.1, -1), "periods"),
        (lambda: net_present_value([1.0], [1.0]), "cash_flow.*2 periods"),
        (lambda: net_present_value([1.0, 2.0], [1.0]), "discount_factors.*2 periods"),
        (lambda: net_present_value([[1.0, 2.0], [3.0, np.inf]], [1, 1]), r"cash_flow\[1, 1\]"),
        (lambda: net_present_value([[1.0], [2.0, 3.0]], [1, 1]), "equal length"),
        (lambda: profitability_index(1.0, 0.0), "initial_outlay"),
        (lambda: equivalent_annual_value(1.0, 0.1, 0), "years.*greater than 0"),
        (lambda: replacement_chain_value(1.0, 0.1, 3, 7), "whole number of lives"),
        (lambda: break_even_volume(-1.0, 2.0), "fixed_cost"),
        (lambda: break_even_volume(1.0, 2.0, 1.0, 1.0), "tax_rate"),
        (lambda: annual_rate(-1.5), "monthly_rate.*-1"),
        (lambda: effective_annual_rate(0.1, 0), "periods_per_year"),
    ],
)
def test_refuses_bad_input(call, words):
    with pytest.raises(InputError, match=words):
        call()
