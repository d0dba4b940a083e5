"""Rates of return: values, reasons, and the count of roots."""

from fractions import Fraction
from itertools import pairwise

import numpy as np
import numpy_financial
import pytest
import pyxirr
from hypothesis import assume, example, given
from hypothesis import strategies as st
from money_rows import published

from capex.errors import InputError
from capex.finance.measures import (
    RateReason,
    crossover_rate,
    internal_rate_of_return,
    modified_internal_rate_of_return,
    net_present_value,
    periodic_discount_factors,
    rates_of_return,
    terminal_value,
)

FLOWS = st.lists(st.integers(-30, 30), min_size=2, max_size=10)


@published("internal_rate_of_return")
def test_published_internal_rate_of_return(row):
    found = internal_rate_of_return(**row.inputs)
    assert found.reason == RateReason.FOUND
    row.check(found.rate)


@published("rates_of_return")
def test_published_rates_of_return(row):
    row.check(rates_of_return(**row.inputs))
    assert internal_rate_of_return(**row.inputs).reason == RateReason.SEVERAL_ROOTS


@published("one_of_rates_of_return")
def test_published_one_of_several_rates(row):
    rates = rates_of_return(**row.inputs)
    assert len(rates) > 1
    row.check(rates[np.argmin(np.abs(rates - row.expected))])


@published("modified_internal_rate_of_return")
def test_published_modified_internal_rate_of_return(row):
    row.check(modified_internal_rate_of_return(**row.inputs).rate)


@published("terminal_value")
def test_published_terminal_value(row):
    row.check(terminal_value(row.inputs["cash_flow"], row.inputs["rate"]))


def conventional(rows, periods, seed):
    generator = np.random.default_rng(seed)
    flows = generator.uniform(0.0, 30.0, (rows, periods + 1))
    flows[:, 0] = -generator.uniform(10.0, 15.0 * periods, rows)
    return flows


def test_against_numpy_financial_internal_rate_of_return():
    flows = conventional(300, 10, seed=2)
    found = internal_rate_of_return(flows)
    assert np.all(found.reason == RateReason.FOUND)
    assert found.rate.min() < 0.0 < found.rate.max()
    expected = [numpy_financial.irr(row) for row in flows]
    np.testing.assert_allclose(found.rate, expected, rtol=0, atol=1e-9)


def test_against_pyxirr_internal_rate_of_return_over_120_months():
    flows = conventional(200, 120, seed=3)
    found = internal_rate_of_return(flows)
    assert np.all(found.reason == RateReason.FOUND)
    expected = [pyxirr.irr(list(row)) for row in flows]
    np.testing.assert_allclose(found.rate, expected, rtol=0, atol=1e-9)


def test_against_numpy_financial_modified_rate():
    flows = np.random.default_rng(4).normal(0.0, 100.0, (100, 12))
    found = modified_internal_rate_of_return(flows, 0.07, 0.04)
    expected = [numpy_financial.mirr(row, 0.07, 0.04) for row in flows]
    np.testing.assert_allclose(found.rate, expected, rtol=1e-10)


def sturm_chain(coefficients):
    """Sturm's sequence in exact fractions; coefficients by falling power."""

    def remainder(top, bottom):
        top = list(top)
        while len(top) >= len(bottom):
            factor = top[0] / bottom[0]
            top = [a - factor * b for a, b in zip(top, [*bottom, *[0] * len(top)], strict=False)][
                1:
            ]
        while top and top[0] == 0:
            top = top[1:]
        return top

    degree = len(coefficients) - 1
    chain = [coefficients, [c * (degree - i) for i, c in enumerate(coefficients[:-1])]]
    while len(chain[-1]) > 1 and (rest := remainder(chain[-2], chain[-1])):
        chain.append([-c for c in rest])
    return chain


def changes(values):
    signs = [value > 0 for value in values if value != 0]
    return sum(a != b for a, b in pairwise(signs))


def exact_root_counts(flows):
    """Distinct roots with −1 < r < 0, r = 0 and r > 0, or None where one is a double root."""
    coefficients = [Fraction(flow) for flow in flows]
    while coefficients[-1] == 0:
        coefficients.pop()
    while coefficients[0] == 0:
        coefficients.pop(0)
    if len(coefficients) == 1:
        return 0, 0, 0
    chain = sturm_chain(coefficients)
    if len(chain[-1]) > 1:
        return None
    at_zero = changes([poly[-1] for poly in chain])
    at_one = changes([sum(poly) for poly in chain])
    at_infinity = changes([poly[0] for poly in chain])
    even = int(sum(coefficients) == 0)
    return at_zero - at_one - even, even, at_one - at_infinity


@given(FLOWS)
@example([-350, 950, -620])
@example([-5, 10, 1, -8, 1])
@example([0, -1, 3, -2, 0])
@example([1, -6, 11, -6])
def test_against_sturm_the_count_of_roots_is_exact(flows):
    assume(any(flow > 0 for flow in flows) and any(flow < 0 for flow in flows))
    exact = exact_root_counts(flows)
    assume(exact is not None)
    below, even, above = exact
    rates = rates_of_return(flows)
    counts = ((rates < 0).sum(), (rates == 0).sum(), (rates > 0).sum())
    assert counts == exact
    found = internal_rate_of_return(flows)
    if even + above > 1:
        assert found.reason == RateReason.SEVERAL_ROOTS
    elif even + above + below:
        assert found.reason == RateReason.FOUND
        expected = rates[rates >= 0] if even + above else rates[-1:]
        np.testing.assert_allclose(found.rate, expected[0], rtol=1e-9, atol=1e-12)
    else:
        assert found.reason == RateReason.NO_ROOT


@given(st.lists(st.floats(-1e5, 1e5), min_size=2, max_size=121))
def test_law_worth_at_a_rate_of_return_is_nothing(flows):
    flows = np.array(flows)
    for rate in [*rates_of_return(flows), float(internal_rate_of_return(flows).rate)]:
        if rate > -1.0:
            # At the rate itself and per unit of the largest discounted flow.
            exponents = -np.log1p(rate) * np.arange(len(flows))
            factors = np.exp(exponents - exponents.max())
            size = np.abs(flows * factors).sum()
            assert abs((flows * factors).sum()) <= 1e-9 * size + 1e-11 * np.abs(flows).max()


@given(FLOWS, st.floats(0.0, 5.0))
def test_law_a_found_rate_tells_how_any_discount_rate_compares(flows, discount_rate):
    found = internal_rate_of_return(flows)
    assume(found.reason == RateReason.FOUND and abs(found.rate - discount_rate) > 1e-6)
    value = net_present_value(flows, periodic_discount_factors(discount_rate, len(flows) - 1))
    wanted = bool(found.rate > discount_rate) != bool(found.borrowing)
    assert bool(value > 0) == wanted


@given(st.lists(FLOWS.filter(lambda flow: len(flow) > 5), min_size=1, max_size=8))
def test_law_a_rate_does_not_depend_on_its_neighbours(rows):
    width = min(map(len, rows))
    batch = np.array([row[:width] for row in rows])
    together = internal_rate_of_return(batch)
    for row, rate, reason in zip(batch, together.rate, together.reason, strict=True):
        alone = internal_rate_of_return(row)
        assert alone.reason == reason
        np.testing.assert_allclose(alone.rate, rate, rtol=1e-9, atol=1e-12)


@given(FLOWS, st.floats(1e-6, 1e6))
def test_law_a_missing_rate_always_has_a_reason_and_currency_does_not_matter(flows, scale):
    found = internal_rate_of_return(flows)
    assert bool(np.isnan(found.rate)) == (found.reason != RateReason.FOUND)
    opposite = internal_rate_of_return(-np.array(flows, dtype=float) * scale)
    if found.reason == RateReason.FOUND and found.rate > -1.0 and exact_root_counts(flows):
        np.testing.assert_allclose(opposite.rate, found.rate, rtol=1e-7, atol=1e-9)


@pytest.mark.parametrize(
    ("flows", "reason"),
    [
        ([0, 0, 0], RateReason.NO_FLOW),
        ([5, 0, 3], RateReason.NO_SIGN_CHANGE),
        ([-5, -1, -3], RateReason.NO_SIGN_CHANGE),
        ([1, -1, 1], RateReason.NO_ROOT),
        ([-1000, 2500, -1540], RateReason.SEVERAL_ROOTS),
    ],
)
def test_no_rate_has_a_named_reason(flows, reason):
    found = internal_rate_of_return(flows)
    assert found.reason == reason
    assert np.isnan(found.rate)
    assert RateReason(int(found.reason)).words


def test_total_loss_is_minus_one():
    found = internal_rate_of_return([[-100, 0, 0], [0, -100, 0]])
    np.testing.assert_array_equal(found.rate, [-1.0, -1.0])
    np.testing.assert_array_equal(rates_of_return([-100, 0, 0]), [-1.0])
    assert modified_internal_rate_of_return([-100, 0, 0], 0.1, 0.1).rate == -1.0


def test_money_back_without_gain_is_zero():
    assert internal_rate_of_return([-0.3, 0.1, 0.1, 0.1]).rate == 0.0
    assert internal_rate_of_return([-100, 250, -300, 150]).rate == 0.0


def test_a_root_that_only_touches_zero_is_not_a_found_rate():
    # −(x − 1.5)² · 4: never worth more than nothing.
    found = internal_rate_of_return([-4, 12, -9])
    assert found.reason == RateReason.SEVERAL_ROOTS
    np.testing.assert_allclose(rates_of_return([-4, 12, -9]), [0.5], atol=1e-6)


def test_a_double_root_at_zero_is_exactly_zero():
    flows = [-13, 14, 19, -21, -6, 7]
    assert internal_rate_of_return(flows).rate == 0.0
    assert (rates_of_return(flows) == 0.0).sum() == 1


def test_borrowing_is_marked():
    found = internal_rate_of_return([[-100, 110], [100, -110], [0, 5]])
    assert found.borrowing.tolist() == [False, True, True]


def test_extreme_rates_are_found():
    flows = np.zeros((3, 121))
    flows[0, :2] = -1.0, 1e9
    flows[1, [0, 120]] = -1e9, 1.0
    flows[2, [3, 120]] = -1.0, 1e-11
    expected = [1e9 - 1.0, 1e9 ** (-1 / 120) - 1.0, 1e-11 ** (1 / 117) - 1.0]
    np.testing.assert_allclose(internal_rate_of_return(flows).rate, expected, rtol=1e-9)


def test_rounding_left_by_a_difference_does_not_make_a_rate():
    flows = np.array([-100.0, 30.0, 0.1 + 0.2, 90.0])
    found = internal_rate_of_return(flows - np.array([-90.0, 30.0, 0.3, 75.0]))
    assert found.reason == RateReason.FOUND
    assert float(found.rate) == pytest.approx(1.5 ** (1 / 3) - 1)


def test_crossover_is_the_rate_of_the_difference():
    one, other = np.array([-100.0, 20.0, 150.0]), np.array([-60.0, 60.0, 40.0])
    found = crossover_rate(one, other)
    factors = periodic_discount_factors(found.rate, 2)
    gap = net_present_value(one, factors) - net_present_value(other, factors)
    assert float(gap) == pytest.approx(0.0, abs=1e-9)
    assert crossover_rate(one, one).reason == RateReason.NO_FLOW


def test_modified_rate_without_outlay_has_a_reason():
    found = modified_internal_rate_of_return([[1, 2], [0, 0]], 0.1, 0.1)
    assert found.reason.tolist() == [RateReason.NO_SIGN_CHANGE, RateReason.NO_FLOW]
    assert np.isnan(found.rate).all()


def test_leading_axes_are_kept():
    found = internal_rate_of_return(conventional(6, 4, seed=5).reshape(2, 3, 5))
    assert found.rate.shape == found.reason.shape == found.borrowing.shape == (2, 3)


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: internal_rate_of_return([-1.0]), "2 periods or more"),
        (lambda: internal_rate_of_return([-1.0, np.nan]), r"cash_flow\[1\]"),
        (lambda: rates_of_return([[-1.0, 2.0]]), "one flow"),
        (lambda: terminal_value([-1.0, 2.0], -1.0), "reinvestment_rate"),
        (lambda: modified_internal_rate_of_return([-1.0, 2.0], -2.0, 0.1), "finance_rate"),
    ],
)
def test_refuses_bad_input(call, words):
    with pytest.raises(InputError, match=words):
        call()
