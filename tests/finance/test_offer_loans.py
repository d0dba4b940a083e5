"""Loans as they are offered: in advance, with a balloon, a fee, months of interest only."""

import math
from datetime import date

import numpy as np
import numpy_financial
import pytest
import pyxirr
import QuantLib
from hypothesis import given
from hypothesis import strategies as st
from offer_rows import published_offers

from capex.errors import InputError
from capex.finance.loans import (
    amortization,
    annual_percentage_rate,
    effective_annual_rate,
    flat_rate_apr,
    level_payment,
)

RATE = st.floats(0.001, 0.4)
TIMING = st.sampled_from(["arrears", "advance"])
CASES = [
    pytest.param({}, id="arrears"),
    pytest.param({"timing": "advance"}, id="advance"),
    pytest.param({"balloon": 9000.0}, id="balloon"),
    pytest.param({"timing": "advance", "balloon": 9000.0}, id="balloon in advance"),
    pytest.param({"interest_only": 6}, id="interest only"),
    pytest.param({"interest_only": 6, "balloon": 9000.0, "fee": 350.0}, id="all of it"),
]


@st.composite
def loans(draw):
    """Return amount, rate, term and the rest of any loan that an offer can describe."""
    amount, term = draw(st.floats(100.0, 1e6)), draw(st.integers(1, 120))
    timing = draw(TIMING)
    more = {
        "timing": timing,
        "balloon": amount * draw(st.floats(0.0, 1.0)),
        "interest_only": draw(st.integers(0, term - 1)) if timing == "arrears" else 0,
    }
    return amount, draw(st.floats(0.0, 0.4)), term, more


@published_offers("level_payment")
def test_published_level_payment(row):
    row.check(level_payment(**row.inputs))


@published_offers("annual_percentage_rate")
def test_published_annual_percentage_rate(row):
    amount, payment, term = (row.inputs[name] for name in ("amount", "payment", "term"))
    row.check(annual_percentage_rate([amount, *[-payment] * term]).rate)


@pytest.mark.parametrize("terms", CASES)
def test_against_pyxirr_rate_of_the_loan_s_own_flows(terms):
    loan = amortization(30000.0, 0.0725, 48, 48, **terms)
    expected = 12.0 * pyxirr.irr(loan.cash_flow.tolist())
    found = float(annual_percentage_rate(loan.cash_flow).rate)
    assert found == pytest.approx(expected, rel=1e-9)
    if "fee" in terms:
        assert found > 0.0735
    else:
        assert found == pytest.approx(0.0725, rel=1e-9)


@pytest.mark.parametrize("terms", CASES)
def test_against_quantlib_yield_of_the_loan_s_own_flows(terms):
    """Each payment as a dated flow, months of equal length in the library's 30/360 calendar."""
    loan = amortization(30000.0, 0.0725, 48, 48, **terms)
    start = QuantLib.Date(1, 1, 2027)
    days = [start + QuantLib.Period(m, QuantLib.Months) for m in range(1, 49)]
    paid = [-float(flow) for flow in loan.cash_flow[1:]]
    leg = QuantLib.Leg(
        [QuantLib.SimpleCashFlow(amount, day) for amount, day in zip(paid, days, strict=True)]
    )
    QuantLib.Settings.instance().evaluationDate = start
    found = QuantLib.CashFlows.yieldRate(
        leg, float(loan.cash_flow[0]), QuantLib.Thirty360(QuantLib.Thirty360.BondBasis),
        QuantLib.Compounded, QuantLib.Monthly, False, start, start, 1e-12, 200, 0.08,
    )  # fmt: skip
    rate = annual_percentage_rate(loan.cash_flow).rate
    assert float(rate) == pytest.approx(found, rel=1e-7)
    effective = QuantLib.InterestRate(
        found, QuantLib.Thirty360(QuantLib.Thirty360.BondBasis), QuantLib.Compounded,
        QuantLib.Monthly,
    ).equivalentRate(QuantLib.Compounded, QuantLib.Annual, 1.0).rate()  # fmt: skip
    assert float(effective_annual_rate(rate)) == pytest.approx(effective, rel=1e-7)


@pytest.mark.parametrize("timing", ["arrears", "advance"])
@pytest.mark.parametrize("balloon", [0.0, 4000.0])
def test_against_pyxirr_amortization(timing, balloon):
    amount, rate, term = 25000.0, 0.085, 36
    due = timing == "advance"
    payment = -pyxirr.pmt(rate / 12, term, amount, -balloon, pmt_at_beginning=due)
    assert float(level_payment(amount, rate, term, timing, balloon=balloon)) == pytest.approx(
        payment, rel=1e-12
    )
    loan = amortization(amount, rate, term, term, timing, balloon=balloon)
    # What is owed after m whole months, the payment at the beginning of the next still to come.
    for month in range(1, term):
        owed = -pyxirr.fv(rate / 12, month, -payment, amount, pmt_at_beginning=due)
        left = float(loan.balance[month]) + (payment if due else 0.0)
        assert left == pytest.approx(owed, abs=1e-7)


def test_against_numpy_financial_months_of_interest_only():
    """After six months of interest alone the rest is an ordinary loan of 30 months."""
    amount, each = 25000.0, 0.085 / 12
    loan = amortization(amount, 0.085, 36, 36, interest_only=6, balloon=4000.0)
    np.testing.assert_allclose(loan.payment[1:7], amount * each, rtol=1e-12)
    rest = -float(numpy_financial.pmt(each, 30, amount, -4000.0))
    np.testing.assert_allclose(loan.payment[7:36], rest, rtol=1e-11)
    assert float(loan.payment[36]) == pytest.approx(rest + 4000.0, rel=1e-11)


def test_against_pyxirr_dated_flows_are_near_the_effective_rate():
    """Calendar months differ by a few days, so the dated rate is near and not the same."""
    loan = amortization(30000.0, 0.0725, 48, 48, fee=350.0)
    days = [date(2027 + m // 12, m % 12 + 1, 1) for m in range(49)]
    found = effective_annual_rate(annual_percentage_rate(loan.cash_flow).rate)
    assert float(found) == pytest.approx(pyxirr.xirr(days, loan.cash_flow.tolist()), abs=2e-4)


@given(loans())
def test_law_principal_repays_the_amount(loan):
    amount, rate, term, more = loan
    found = amortization(amount, rate, term, term + 3, **more)
    assert float(found.principal.sum()) == pytest.approx(amount, rel=1e-9)
    np.testing.assert_allclose(amount - found.principal.cumsum(), found.balance, atol=1e-8 * amount)
    assert np.all(found.balance[term:] == 0.0)


@given(loans())
def test_law_what_is_owed_is_never_negative_nor_more_than_was_borrowed(loan):
    amount, rate, term, more = loan
    balance = amortization(amount, rate, term, term, **more).balance
    assert np.all(balance >= 0.0)
    assert np.all(balance <= amount * (1 + 1e-9))
    assert np.all(np.diff(balance) <= 1e-9 * amount)


@given(loans())
def test_law_flows_are_worth_nothing_at_the_loan_s_own_rate(loan):
    amount, rate, term, more = loan
    flow = amortization(amount, rate, term, term, **more).cash_flow
    worth = flow @ (1 + rate / 12) ** -np.arange(term + 1.0)
    assert worth == pytest.approx(0.0, abs=1e-9 * amount * term)


@given(loans())
def test_law_every_repaying_payment_is_the_level_payment(loan):
    amount, rate, term, more = loan
    found = amortization(amount, rate, term, term, **more)
    level = float(level_payment(amount, rate, term, **more))
    paid = found.payment.copy()
    paid[term] -= more["balloon"]
    first = 0 if more["timing"] == "advance" else 1
    last = paid[first + more["interest_only"] : first + term]
    np.testing.assert_allclose(last, level, atol=1e-8 * amount)
    waiting = paid[first : first + more["interest_only"]]
    np.testing.assert_allclose(waiting, amount * rate / 12, atol=1e-8 * amount)


@given(st.floats(1.0, 1e6), RATE, st.integers(2, 120), st.floats(0.0, 1.0))
def test_law_a_payment_in_advance_is_less_than_one_in_arrears(amount, rate, term, share):
    balloon = share * amount * (1 + rate / 12) ** -1.0
    late = level_payment(amount, rate, term, "arrears", balloon=balloon)
    early = level_payment(amount, rate, term, "advance", balloon=balloon)
    assert 0.0 < early < late
    assert float(early) == pytest.approx(float(late) / (1 + rate / 12), rel=1e-9)


@given(st.floats(0.001, 0.3), st.integers(3, 120))
def test_law_a_flat_rate_in_advance_is_dearer_than_in_arrears(flat, term):
    late, early = flat_rate_apr(flat, term), flat_rate_apr(flat, term, "advance")
    assert flat < late < early
    payment = float(level_payment(1.0, early, term, "advance"))
    assert payment * term == pytest.approx(1.0 + flat * term / 12, rel=1e-9)


@given(st.floats(0.0, 0.1), RATE, st.integers(2, 60))
def test_law_a_fee_raises_the_rate(share, rate, term):
    flow = amortization(1000.0, rate, term, term, fee=1000.0 * share).cash_flow
    found = float(annual_percentage_rate(flow).rate)
    assert found >= rate - 1e-9
    assert (found > rate + 1e-9) or math.isclose(share, 0.0, abs_tol=1e-8)


def test_scenarios_have_their_own_balloons_and_months_of_interest():
    found = amortization(
        [1000.0, 1000.0, 1000.0], 0.12, [10, 10, 5], 12, balloon=[0.0, 400.0, 1000.0],
        interest_only=[0, 3, 0], fee=[0.0, 5.0, 0.0],
    )  # fmt: skip
    assert found.balance.shape == (3, 13)
    np.testing.assert_allclose(found.balance[1, :4], 1000.0)
    np.testing.assert_allclose(found.payment[2, 1:5], 10.0)
    assert float(found.payment[2, 5]) == pytest.approx(1010.0)
    np.testing.assert_allclose(found.cash_flow[:, 0], [1000.0, 995.0, 1000.0])
    alone = amortization(1000.0, 0.12, 10, 12)
    np.testing.assert_allclose(found.balance[0], alone.balance, rtol=1e-12)


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: amortization(100.0, 0.1, 12, 12, balloon=101.0), "balloon.*at most the amount"),
        (lambda: amortization(100.0, 0.1, 12, 12, balloon=-1.0), "balloon.*0 or more"),
        (lambda: amortization(100.0, 0.1, 12, 12, fee=-1.0), "fee.*0 or more"),
        (lambda: amortization(100.0, 0.1, 12, 12, interest_only=12), "interest_only.*less than"),
        (lambda: amortization(100.0, 0.1, 12, 12, interest_only=1.5), "interest_only.*whole"),
        (lambda: amortization(100.0, 0.1, 12, 12, "advance", interest_only=2), "in advance"),
        (lambda: flat_rate_apr(0.1, 1, "advance"), "term.*2 months"),
        (lambda: flat_rate_apr(0.1, 12, "sometime"), "timing.*arrears"),
    ],
)
def test_refuses_bad_input(call, words):
    with pytest.raises(InputError, match=words):
        call()
