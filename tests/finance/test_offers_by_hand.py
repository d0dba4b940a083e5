"""Offers and a sale out of a pool worked out a second time, from their terms alone.

Nothing is taken from the package but the figures compared: payments are written down month by
month, rates come from numpy-financial and QuantLib.
"""

import numpy as np
import numpy_financial as npf
import pytest
import QuantLib
from hand_shop import hand_study

from capex.decision.appraise import appraise
from capex.finance.offers import offers_side_by_side

IDLE = {
    "jobs__plain__orders_per_month": 0, "jobs__laminated__orders_per_month": 0,
    "shop__people__wage": "0 USD/h", "shop__premises__insurance": 0,
}  # fmt: skip
BORROWED = {"money__loan": {"share": 0.8, "annual_rate": 0.09, "term": 36}}
TAXED = {"money__tax": {"regime": "straight_line_5", "rate": 0.25}}
OWNED = {"machine": "laminator", "owned": True}


def viewed(changes, **terms):
    """Return an offer for the frame of 10,000 over 36 months."""
    offer = {"machine": "frame", "name": "One", "dated": "2026-11-20"} | terms
    study = hand_study(**(IDLE | BORROWED | {"offers": {"one": offer}} | changes))
    return offers_side_by_side(study, ["one"]).views[0]


@pytest.mark.parametrize("timing", ["arrears", "advance"])
@pytest.mark.parametrize(("flat", "term", "fee"), [(0.052, 36, 0.0), (0.07, 24, 150.0)])
def test_against_numpy_financial_and_quantlib_a_flat_rate(timing, flat, term, fee):
    """8,000 borrowed at a flat rate: interest on all of it for the whole term, in equal parts."""
    loan = {"flat_rate": flat, "term": term, "timing": timing, "equity": 2000, "fee": fee}
    found = viewed({}, loan=loan)
    payment = 8000 * (1 + flat * term / 12) / term
    paid = np.concatenate([found.cash[0, :1] + 10_000 - 8000 + fee, found.cash[0, 1:]])
    first = 0 if timing == "advance" else 1
    paid[36] -= 4000  # what the frame fetches at three years of age
    np.testing.assert_allclose(paid[first : first + term], -payment, rtol=1e-12)
    assert abs(paid.sum() + term * payment) < 1e-8
    when = "begin" if timing == "advance" else "end"
    monthly = npf.rate(term, -payment, 8000 - fee, 0, when=when)
    assert found.annual_percentage_rate.rate[0] == pytest.approx(12 * monthly, rel=1e-8)
    days, compounded = QuantLib.Thirty360(QuantLib.Thirty360.USA), QuantLib.Compounded
    nominal = QuantLib.InterestRate(12 * monthly, days, compounded, QuantLib.Monthly)
    effective = nominal.equivalentRate(compounded, QuantLib.Annual, 1.0).rate()
    assert found.effective_rate.rate[0] == pytest.approx(effective, rel=1e-8)
    assert found.annual_percentage_rate.rate[0] > 1.7 * flat  # the usual mistake takes them as one


def test_against_a_lease_with_a_purchase_option_written_down():
    """Rents and fee are deducted; the option, once paid, is written off and settled at the end.

    24 rents of 290, one of them in advance, a fee of 80, a deposit of 300 that comes back, 1,200
    for the machine in month 24. It is sold for 4,000 in month 36. Service of 600 a year is covered
    by the rent until month 24. Straight line over 5 years, 25 %.
    """
    lease = {
        "rent": 290, "term": 24, "rentals_in_advance": 1, "fee": 80, "deposit": 300,
        "at_end": "purchase", "residual": 1200, "maintenance_included": True,
    }  # fmt: skip
    found = viewed(TAXED | {"machines__frame__service": "600 USD/year"}, lease=lease)
    cash = np.zeros(37)
    cash[0] = -290 - 80 - 300
    cash[1:24] -= 290
    cash[24] += 300 - 1200
    cash[25:] -= 50
    cash[36] += 4000
    np.testing.assert_allclose(found.cash[0], cash, atol=1e-9)
    # tax by project year; month 0 is of the first, and the 24th rent is the one in advance
    claimed = 1200 / 5  # bought in month 24, written off from year 3 on, settled in that year
    income = [-(290 * 13 + 80), -290 * 11, -12 * 50 - claimed + 4000 - (1200 - claimed)]
    after = cash.copy()
    after[[12, 24, 36]] -= 0.25 * np.array(income)
    np.testing.assert_allclose(found.after_tax_cash[0], after, atol=1e-9)
    each = 0.09 / 12 * 0.75
    cost = -npf.npv(each, after)
    assert found.net_present_cost[0] == pytest.approx(cost, rel=1e-12)
    # the same machine on a loan of its whole price over the lease's term, service to be paid
    payment, owed, bought = -npf.pmt(0.09 / 12, 24, 10_000), 10_000.0, np.zeros(37)
    interest = np.zeros(37)
    for month in range(1, 25):
        interest[month] = owed * 0.09 / 12
        owed -= payment - interest[month]
        bought[month] -= payment
    bought[1:] -= 50
    bought[36] += 4000
    for year in range(3):
        months = slice(12 * year + 1, 12 * year + 13)
        gain = 4000 - (10_000 - 3 * 2000) if year == 2 else 0.0
        deducted = 2000 + 600 + interest[months].sum() - gain
        bought[12 * year + 12] += 0.25 * deducted
    advantage = npf.npv(each, after) - npf.npv(each, bought)
    assert found.net_advantage[0] == pytest.approx(advantage, rel=1e-9)


def test_against_a_sale_out_of_a_pool_by_hand():
    """10,000 goes in, 14 % is written down, 3,000 comes back in year 2: the rest is claimed then.

    As a pool that closes with the sale (from memory: CAA 2001, sections 55 and 65); one that goes
    on would write the rest down at 14 % a year, which the regime's note says.
    """
    machines = [{"machine": "frame", "sold_in_month": 18, "sale_proceeds": 3000}, OWNED]
    found = appraise(hand_study(
        **IDLE, money__tax={"regime": "uk_main_pool", "rate": 0.25}, money__start="2027-01-01",
        alternatives__frame__machines=machines,
        alternatives__keep__machines=[{"machine": "laminator", "owned": True}],
    ))  # fmt: skip
    tax = [
        found.outcomes[key].path.ledger.line("tax")[0, [12, 24, 36]] for key in ("frame", "keep")
    ]
    pooled = 10_000 * (1 - 0.14)
    np.testing.assert_allclose(tax[0] - tax[1], [0.25 * 1400, 0.25 * (pooled - 3000), 0.0])
