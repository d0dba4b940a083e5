"""Level-payment loans."""

import numpy as np
import numpy_financial
import pytest
import QuantLib
from hypothesis import given
from hypothesis import strategies as st
from money_rows import published

from capex.errors import InputError
from capex.finance.loans import (
    amortization,
    effective_annual_rate,
    flat_rate_apr,
    level_payment,
)
from capex.finance.measures import internal_rate_of_return

AMOUNTS = st.floats(1.0, 1e6)
RATES = st.floats(0.0, 0.5)
TERMS = st.integers(1, 120)
TIMINGS = st.sampled_from(["arrears", "advance"])


@published("level_payment")
def test_published_level_payment(row):
    row.check(level_payment(**row.inputs))


@published("first_payment")
def test_published_first_payment(row):
    loan = amortization(**row.inputs, months=1)
    row.check([loan.interest[1], loan.principal[1]])


@published("flat_rate_apr")
def test_published_flat_rate_apr(row):
    row.check(flat_rate_apr(**row.inputs))


@pytest.mark.parametrize(("rate", "term"), [(0.06, 36), (0.0, 24), (0.129, 60), (0.002, 7)])
def test_against_numpy_financial_amortization(rate, term):
    amount, month, each = 32000.0, range(1, term + 1), rate / 12
    with np.errstate(invalid="ignore"):  # the oracle divides by a rate of 0 before it looks
        payment = -float(numpy_financial.pmt(each, term, amount))
        owed = [float(numpy_financial.fv(each, m, payment, -amount)) for m in month]
        interest = [-float(numpy_financial.ipmt(each, m, term, amount)) for m in month]
    loan = amortization(amount, rate, term, months=term)
    np.testing.assert_allclose(loan.payment[1:], payment, rtol=1e-11)
    np.testing.assert_allclose(loan.interest[1:], interest, rtol=1e-9, atol=1e-9)
    np.testing.assert_allclose(loan.balance[1:], owed, rtol=0, atol=1e-7)


def test_against_numpy_financial_payment_in_advance():
    expected = -float(numpy_financial.pmt(0.08 / 12, 48, 25000.0, when="begin"))
    assert float(level_payment(25000.0, 0.08, 48, "advance")) == pytest.approx(expected, rel=1e-12)


def test_against_quantlib_balances():
    owed = QuantLib.sinkingNotionals(
        QuantLib.Period(60, QuantLib.Months), QuantLib.Monthly, 0.0725, 54000.0
    )
    loan = amortization(54000.0, 0.0725, 60, months=60)
    np.testing.assert_allclose(loan.balance, owed, rtol=0, atol=1e-6)


def test_against_quantlib_effective_rate():
    quoted = QuantLib.InterestRate(
        0.0725, QuantLib.Actual365Fixed(), QuantLib.Compounded, QuantLib.Monthly
    )
    expected = quoted.equivalentRate(QuantLib.Compounded, QuantLib.Annual, 1.0).rate()
    assert float(effective_annual_rate(0.0725)) == pytest.approx(expected, rel=1e-12)


@given(AMOUNTS, RATES, TERMS, TIMINGS)
def test_law_principal_repays_the_amount_and_nothing_is_owed(amount, rate, term, timing):
    loan = amortization(amount, rate, term, term + 5, timing)
    assert np.all(loan.balance[term:] == 0.0)
    assert float(loan.principal.sum()) == pytest.approx(amount, rel=1e-9)
    assert np.all(loan.payment[term + 1 :] == 0.0)
    np.testing.assert_allclose(amount - loan.principal.cumsum(), loan.balance, atol=1e-9 * amount)


@given(AMOUNTS, RATES, TERMS, TIMINGS)
def test_law_every_payment_is_the_level_payment(amount, rate, term, timing):
    loan = amortization(amount, rate, term, term, timing)
    paid = loan.payment[1:] if timing == "arrears" else loan.payment[:-1]
    level = float(level_payment(amount, rate, term, timing))
    np.testing.assert_allclose(paid, level, rtol=1e-9)
    assert np.all(loan.interest >= 0.0)


@given(AMOUNTS, st.floats(0.001, 0.5), st.integers(2, 120), TIMINGS)
def test_law_rate_of_the_loan_is_the_rate_of_its_flows(amount, rate, term, timing):
    loan = amortization(amount, rate, term, term, timing)
    found = internal_rate_of_return(loan.cash_flow)
    assert found.borrowing
    assert 12 * float(found.rate) == pytest.approx(rate, rel=1e-6)


@given(AMOUNTS, RATES, TERMS, st.integers(0, 130), TIMINGS)
def test_law_a_shorter_table_is_the_start_of_a_longer_one(amount, rate, term, months, timing):
    short = amortization(amount, rate, term, months, timing)
    long = amortization(amount, rate, term, 130, timing)
    np.testing.assert_array_equal(short.balance, long.balance[: months + 1])
    np.testing.assert_array_equal(short.payment, long.payment[: months + 1])


@given(st.floats(0.0, 0.3), TERMS)
def test_law_flat_rate_charges_its_interest(flat, term):
    payment = float(level_payment(1.0, flat_rate_apr(flat, term), term))
    assert payment * term == pytest.approx(1.0 + flat * term / 12, rel=1e-9)


def test_scenarios_have_their_own_terms():
    loan = amortization([1000.0, 2000.0, 0.0], [0.0, 0.12, 0.1], [10, 24, 36], months=12)
    assert loan.balance.shape == (3, 13)
    np.testing.assert_allclose(loan.payment[0, 1:11], 100.0)
    assert loan.balance[0, 12] == 0.0
    assert loan.balance[1, 12] > 0.0
    assert np.all(loan.cash_flow[2] == 0.0)
    np.testing.assert_allclose(loan.cash_flow[:, 0], [1000.0, 2000.0, 0.0])


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: amortization(-1.0, 0.1, 12, 12), "amount.*0 or more"),
        (lambda: amortization(1.0, 0.1, 0, 12), "term.*greater than 0 months"),
        (lambda: amortization(1.0, 0.1, 12.5, 12), "term.*whole number"),
        (lambda: amortization(1.0, 0.1, 12, -1), "months"),
        (lambda: amortization(1.0, -12.0, 12, 12), "annual_rate.*above -1"),
        (lambda: level_payment(1.0, 0.1, 12, "sometime"), "timing.*arrears"),
        (lambda: flat_rate_apr(-0.1, 12), "flat_rate.*0 or more"),
    ],
)
def test_refuses_bad_input(call, words):
    with pytest.raises(InputError, match=words):
        call()
