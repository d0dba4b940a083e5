"""Simple and discounted payback."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from money_rows import published

from capex.errors import InputError
from capex.finance.measures import (
    discounted_payback_period,
    payback_period,
    periodic_discount_factors,
)

FLOWS = st.lists(st.integers(-1000, 1000), min_size=2, max_size=30)


@published("payback_period")
def test_published_payback_period(row):
    row.check(payback_period(**row.inputs))


@published("discounted_payback_period")
def test_published_discounted_payback_period(row):
    flows = row.inputs["cash_flow"]
    factors = periodic_discount_factors(row.inputs["rate"], len(flows) - 1)
    row.check(discounted_payback_period(flows, factors))


@given(FLOWS, st.floats(1e-6, 1e6))
def test_law_currency_does_not_matter(flows, scale):
    flows = np.array(flows, dtype=float)
    one, other = payback_period(flows), payback_period(flows * scale)
    assert float(one) == pytest.approx(float(other), rel=1e-9)


@given(FLOWS)
def test_law_the_money_is_back_at_payback_and_stays_back(flows):
    cumulative, period = np.cumsum(flows), float(payback_period(flows))
    if np.isinf(period):
        assert cumulative[-1] < 0
    elif period == 0.0:
        assert np.all(cumulative >= 0)
    else:
        at = np.interp(period, np.arange(len(flows)), cumulative)
        assert at == pytest.approx(0.0, abs=1e-9)
        assert np.all(cumulative[np.arange(len(flows)) > period] >= 0)
        assert cumulative[int(np.ceil(period)) - 1] < 0


@given(st.lists(st.integers(1, 1000), min_size=1, max_size=30), st.floats(0.0, 0.5))
def test_law_discounting_never_shortens_payback(inflows, rate):
    flows = np.array([-sum(inflows[:5]) - 1, *inflows], dtype=float)
    factors = periodic_discount_factors(rate, len(inflows))
    assert discounted_payback_period(flows, factors) >= payback_period(flows) - 1e-9


def test_a_second_purchase_puts_payback_off():
    # Back after 2 years, spent again in year 3, back for good in year 5.
    assert float(payback_period([-100, 50, 50, -100, 50, 50])) == 5.0


def test_never_back_is_infinite_and_never_out_is_nothing():
    np.testing.assert_array_equal(
        payback_period([[-9, 1, 1], [9, -1, -1], [0, 0, 0]]), [np.inf, 0, 0]
    )


def test_back_exactly_at_the_end_survives_rounding():
    assert float(payback_period([-0.3, 0.1, 0.1, 0.1])) == pytest.approx(3.0)


def test_months_are_given_in_years():
    assert float(payback_period([-36.0, *[2.0] * 24], periods_per_year=12)) == 1.5


def test_refuses_bad_input():
    with pytest.raises(InputError, match="periods_per_year"):
        payback_period([-1, 2], 0)
    with pytest.raises(InputError, match="discount_factors"):
        discounted_payback_period([-1, 2], [1, np.nan])
