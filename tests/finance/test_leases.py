"""Leases: rents by period, instalment purchases, and leasing against owning."""

import numpy as np
import pytest
import pyxirr
from hypothesis import given
from hypothesis import strategies as st
from offer_rows import all_offer_rows, published_offers

from capex.errors import InputError
from capex.finance.leases import (
    after_tax_cash_flow,
    after_tax_rate,
    instalments,
    lease_rents,
    net_advantage_to_leasing,
)
from capex.finance.loans import amortization, level_payment

RATE = st.floats(0.001, 0.3)
TERM = st.integers(2, 84)


@published_offers("lease_or_own")
def test_published_lease_or_own(row):
    given_, years = row.inputs, row.inputs["years"]
    rents = lease_rents(given_["rent"], years, years, in_advance=1)
    lease = after_tax_cash_flow(-rents, rents, given_["tax_rate"])
    upkeep = np.array([0.0, *[given_["maintenance"]] * years])
    own, deducted = -upkeep, upkeep.copy()
    own[0] -= given_["price"]
    own[years] += given_["residual"]
    deducted[1:] += given_["price"] * np.array(given_["depreciation"])
    deducted[years] -= given_["residual"]
    own = after_tax_cash_flow(own, deducted, given_["tax_rate"])
    rate = after_tax_rate(given_["borrowing_rate"], given_["tax_rate"])
    nothing = np.zeros(years + 1)
    costs = [-net_advantage_to_leasing(flow, nothing, rate) for flow in (lease, own)]
    row.check([*costs, net_advantage_to_leasing(lease, own, rate)])


def test_every_published_row_is_asked_for():
    kinds = {row.kind for row in all_offer_rows()}
    assert kinds == {"level_payment", "annual_percentage_rate", "lease_or_own"}


@pytest.mark.parametrize(
    ("in_advance", "term", "rent"),
    [(0, 36, 700.0), (1, 36, 700.0), (3, 48, 560.0), (6, 24, 950.0)],
)
def test_against_pyxirr_interest_of_an_instalment_purchase(in_advance, term, rent):
    price, later = 20000.0, term - in_advance
    each = pyxirr.irr([price - in_advance * rent, *[-rent] * later])
    table = instalments(price, rent, term, term, in_advance)
    owed = price - in_advance * rent
    for month in range(1, later + 1):
        assert float(table.interest[month]) == pytest.approx(owed * each, abs=1e-6)
        owed -= rent - owed * each
        assert float(table.balance[month]) == pytest.approx(owed, abs=1e-6)
    assert owed == pytest.approx(0.0, abs=1e-6)


@given(st.floats(10.0, 1e5), TERM, st.integers(0, 84))
def test_law_all_rentals_are_paid_once(rent, term, first):
    first = min(first, term)
    paid = lease_rents(rent, term, term + 4, first)
    assert float(paid.sum()) == pytest.approx(rent * term, rel=1e-12)
    assert np.all(paid[term - first + 1 :] == 0.0)
    assert float(paid[0]) == pytest.approx(first * rent)


@given(st.floats(100.0, 1e6), RATE, TERM)
def test_law_instalments_at_the_payment_of_a_loan_are_that_loan(price, rate, term):
    table = instalments(price, level_payment(price, rate, term), term, term)
    loan = amortization(price, rate, term, term)
    np.testing.assert_allclose(table.interest, loan.interest, atol=1e-7 * price)
    np.testing.assert_allclose(table.balance, loan.balance, atol=1e-7 * price)
    early = instalments(price, level_payment(price, rate, term, "advance"), term, term, 1)
    loan = amortization(price, rate, term, term, "advance")
    np.testing.assert_allclose(early.cash_flow, loan.cash_flow, atol=1e-7 * price)


@given(st.floats(100.0, 1e6), st.floats(0.005, 0.2), TERM, st.integers(0, 6))
def test_law_instalments_repay_the_price(price, share, term, first):
    rent = price * (1 + share) / term
    first = min(first, term - 1)
    table = instalments(price, rent, term, term, first) if first * rent < price else None
    if table is not None:
        assert float(table.principal.sum()) == pytest.approx(price, rel=1e-9)
        assert float(table.interest.sum()) == pytest.approx(price * share, abs=1e-6 * price)


@given(st.floats(100.0, 1e6), RATE, TERM, st.floats(0.0, 0.5))
def test_law_a_lease_that_equals_the_loan_has_no_advantage(price, rate, term, tax):
    """Owning for cash against a lease with the flows and deductions of a loan at that rate."""
    loan = amortization(price, rate, term, term)
    written_off = np.r_[0.0, np.full(term, price / term)]
    buying = np.r_[-price, np.zeros(term)]
    own = after_tax_cash_flow(buying, written_off, tax)
    lease = after_tax_cash_flow(buying + loan.cash_flow, written_off + loan.interest, tax)
    found = net_advantage_to_leasing(lease, own, after_tax_rate(rate / 12, tax))
    assert float(found) == pytest.approx(0.0, abs=1e-9 * price * term)


@given(st.floats(10.0, 1e5), RATE, TERM)
def test_law_the_same_rents_paid_earlier_cost_more(rent, rate, term):
    late = lease_rents(rent, term, term)
    early = lease_rents(rent, term, term, 1)
    assert net_advantage_to_leasing(-early, -late, rate / 12) < 0.0


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: lease_rents(10.0, 12, 12, 13), "in_advance.*at most the term"),
        (lambda: instalments(100.0, 50.0, 12, 12, 2), "in_advance.*paid later"),
        (lambda: instalments(100.0, 10.0, 2, 12, 2), "in_advance.*paid later"),
        (lambda: after_tax_rate(0.1, 40), "tax_rate.*0.25 for 25 %"),
        (lambda: net_advantage_to_leasing([1, 2], [1, 2, 3], 0.1), "ownership.*2 periods"),
    ],
)  # fmt: skip
def test_refuses_bad_input(call, words):
    with pytest.raises(InputError, match=words):
        call()
