"""Offers side by side: against the ledger, other libraries, and laws."""

from pathlib import Path

import numpy as np
import pytest
import pyxirr
from hand_shop import hand_study
from hypothesis import given
from hypothesis import strategies as st
from strategies import laws

from capex.decision.appraise import appraise
from capex.errors import InputError
from capex.finance.loans import level_payment
from capex.finance.offers import offers_side_by_side
from capex.finance.rate_of_return import RateReason
from capex.study import data_folder, read_study

IDLE = {
    "jobs__plain__orders_per_month": 0, "jobs__laminated__orders_per_month": 0,
    "shop__people__wage": "0 USD/h", "machines__frame__service": "600 USD/year",
    "money__escalation": {"overheads": 0.03},
}  # fmt: skip
TAXED = {"money__tax__rate": 0.25, "money__tax__regime": "straight_line_5"}
BORROWED = {"money__loan": {"share": 0.8, "annual_rate": 0.09, "term": 36}}
LEASE = {"rent": 290, "term": 36, "rentals_in_advance": 1, "at_end": "return", "fee": 80,
         "maintenance_included": True}  # fmt: skip
OFFERS = {
    "cash": {"price": 9500, "trade_in": 700, "trade_in_of": "printer"},
    "loan": {"loan": {"annual_rate": 0.08, "term": 30, "equity": 1500, "balloon": 1000,
                      "interest_only_months": 4, "fee": 120}},
    "flat": {"loan": {"flat_rate": 0.06, "term": 24, "timing": "advance"}},
    "back": {"lease": LEASE},
    "bought": {"lease": LEASE | {"at_end": "purchase", "residual": 1200, "term": 24,
                                 "deposit": 300}},
    "owned": {"lease": LEASE | {"at_end": "ownership", "rent": 350}},
}  # fmt: skip


def stated(**offers):
    return {
        key: {"machine": "frame", "name": key, "dated": "2026-11-20"} | terms
        for key, terms in offers.items()
    }


def shop(offers=OFFERS, **changes):
    return hand_study(**IDLE | BORROWED | {"offers": stated(**offers)} | changes)


def view(terms, study=None, **changes):
    found = offers_side_by_side(shop({"one": terms}, **TAXED | changes), ["one"])
    return found.views[0]


@pytest.mark.parametrize("key", OFFERS)
@pytest.mark.parametrize(("horizon", "sales_tax"), [(24, 0), (31, 0), (36, 0), (24, 0.07)])
def test_side_by_side_is_the_ledger_of_the_alternative_that_chooses_it(key, horizon, sales_tax):
    """An idle shop with nothing but the machine: all of its cash is the offer's."""
    old = {"machine": "printer", "owned": True, "sold_in_month": 0, "sale_proceeds": 0}
    others = [old] if key == "cash" else []
    study = shop(
        **TAXED, money__horizon=horizon, money__tax__on_purchases=sales_tax,
        alternatives__frame__machines=[{"machine": "frame", "offer": key}, *others],
    )  # fmt: skip
    ledger = appraise(study).outcomes["frame"].path.ledger
    found = offers_side_by_side(study, [key], months=horizon).views[0]
    np.testing.assert_allclose(found.after_tax_cash, ledger.equity_cash_flow, atol=1e-8)
    before = ledger.equity_cash_flow - ledger.group("tax")
    for tax in {"interest_tax", "lease_tax"} & {line.key for line in ledger.lines}:
        before = before - ledger.line(tax)
    np.testing.assert_allclose(found.cash, before, atol=1e-8)
    assert float(found.equity_needed[0]) == pytest.approx(-before[0, 0])


def test_against_pyxirr_rates_of_offers():
    """Money lent or saved on the first day against all that is paid for it later, by hand."""
    found = {one.key: one for one in offers_side_by_side(shop(), list(OFFERS)).views}
    loan = [10_000 - 1500 - 120, *[-8500 * 0.08 / 12] * 4]
    rest = -pyxirr.pmt(0.08 / 12, 26, 8500, -1000)
    loan += [-rest] * 25 + [-rest - 1000]
    flat = 10_000 * (1 + 0.06 * 2) / 24
    service = [50 * 1.03 ** ((month - 1) // 12) for month in range(1, 37)]
    back = [10_000 - 80 - 290, *[saved - 290 for saved in service[:35]], service[35] - 4000]
    bought = [10_000 - 80 - 290 - 300, *[saved - 290 for saved in service[:23]]]
    bought.append(service[23] - 1200 + 300)
    flows = {"loan": loan, "flat": [10_000 - flat, *[-flat] * 23], "back": back, "bought": bought}
    for key, flow in flows.items():
        each = pyxirr.irr(flow)
        assert float(found[key].annual_percentage_rate.rate[0]) == pytest.approx(
            12 * each, rel=1e-8
        )
        effective = (1 + each) ** 12 - 1
        assert float(found[key].effective_rate.rate[0]) == pytest.approx(effective, rel=1e-8)
    cash = found["cash"].annual_percentage_rate
    assert int(cash.reason[0]) == RateReason.NO_FLOW
    assert np.isnan(cash.rate[0])


def test_against_pyxirr_net_present_cost():
    """Of the after-tax flows, at 9 % less a quarter of tax: 6.75 % a year, by the month."""
    for one in offers_side_by_side(shop(**TAXED), list(OFFERS)).views:
        cost = -pyxirr.npv(0.0675 / 12, one.after_tax_cash[0].tolist())
        assert float(one.net_present_cost[0]) == pytest.approx(cost, rel=1e-9)


@laws(40)
@given(st.floats(0.02, 0.2), st.integers(6, 36), st.floats(0.0, 0.5), st.booleans())
def test_law_a_lease_that_equals_the_loan_has_no_advantage(rate, term, tax, early):
    """Ownership at the end and the payments of a loan of the whole price at the same rate.

    In advance only without tax: tax on the interest of a loan in arrears is saved a little later.
    """
    tax = 0.0 if early else tax
    rent = float(level_payment(10_000.0, rate, term, "advance" if early else "arrears"))
    terms = {"rent": rent, "term": term, "at_end": "ownership", "rentals_in_advance": int(early)}
    study = shop({"one": {"lease": terms}}, **TAXED | {"money__tax__rate": tax})
    found = offers_side_by_side(study, ["one"], borrowing_rate=rate).views[0]
    assert float(found.annual_percentage_rate.rate[0]) == pytest.approx(rate, rel=1e-6)
    assert float(found.net_advantage[0]) == pytest.approx(0.0, abs=1e-4)


@laws(40)
@given(st.floats(0.01, 0.2), st.integers(6, 36), st.floats(0.0, 1.0))
def test_law_without_tax_borrowing_at_the_borrowing_rate_changes_no_cost(rate, term, equity):
    study = shop({
        "cash": {}, "loan": {"loan": {"annual_rate": rate, "term": term, "equity_share": equity}},
    })  # fmt: skip
    cash, loan = offers_side_by_side(study, ["cash", "loan"], borrowing_rate=rate).views
    assert float(loan.net_present_cost[0]) == pytest.approx(
        float(cash.net_present_cost[0]), abs=1e-5
    )


def test_advantage_is_the_difference_of_costs_without_tax():
    """Borrowing at the borrowing rate is free, so buying with debt costs what cash does."""
    study = shop({"cash": {}, "lease": {"lease": LEASE}})
    cash, lease = offers_side_by_side(study, ["cash", "lease"]).views
    gap = float(cash.net_present_cost[0] - lease.net_present_cost[0])
    assert float(lease.net_advantage[0]) == pytest.approx(gap, abs=1e-6)
    assert cash.net_advantage is None


def test_payments_in_advance_cost_more_at_the_same_rental():
    late = view({"lease": LEASE | {"rentals_in_advance": 0}})
    early = view({"lease": LEASE | {"rentals_in_advance": 3}})
    assert early.net_present_cost > late.net_present_cost
    assert early.annual_percentage_rate.rate > late.annual_percentage_rate.rate


def test_offers_are_compared_over_the_shortest_lease_that_takes_the_machine_back():
    short = {"cash": {}, "lease": {"lease": LEASE | {"term": 30}}}
    found = offers_side_by_side(shop(short), ["cash", "lease"])
    assert found.months == 30
    # half way from 0.5 to 0.4 of the price
    assert float(found.views[0].cash[0, 30]) == pytest.approx(4500 - 50 * 1.03**2)
    with pytest.raises(InputError, match=r"months.*1 to 30 months"):
        offers_side_by_side(shop(short), ["lease"], months=31)


def test_scenarios_run_along():
    study = shop(**TAXED).replaced({"offers.loan.loan.annual_rate": [0.08, 0.12],
                                    "levers.machine_price": [1.0, 1.2]})  # fmt: skip
    found = {one.key: one for one in offers_side_by_side(study, list(OFFERS)).views}
    assert all(one.cash.shape == (2, 37) for one in found.values())
    assert (
        found["loan"].annual_percentage_rate.rate[1] > found["loan"].annual_percentage_rate.rate[0]
    )
    alone = offers_side_by_side(shop(**TAXED), ["back"]).views[0]
    np.testing.assert_allclose(found["back"].cash[0], alone.cash[0])
    np.testing.assert_allclose(found["back"].net_advantage[0], alone.net_advantage[0])


def test_an_offer_that_no_longer_holds_says_so():
    held = shop({"one": {"valid_until": "2027-01-01"}, "two": {"valid_until": "2026-12-31"}})
    one, two = offers_side_by_side(held, ["one", "two"]).views
    assert (one.expired, two.expired) == (False, True)


def test_the_demo_chooses_none_of_its_offers():
    study = read_study(Path(data_folder()) / "studies" / "quenlow.toml")
    assert not any(p.offer for c in study.alternatives.values() for p in c.machines)
    kinds = {}
    for offer in study.offers.values():
        kinds.setdefault(offer.machine, []).append(offer.kind)
    assert kinds == {name: ["cash", "loan", "lease"] for name in ("mid_all_in_one",
                                                                  "mid_roll_printer")}  # fmt: skip


@pytest.mark.parametrize(
    ("keys", "changes", "words"),
    [
        ([], {}, "keys.*at least one"),
        (["gone"], {}, "offer.*not one of the study; known: cash"),
        (["cash", "other"], {}, "is for cutter, and cash is for frame"),
    ],
)
def test_refuses_bad_input(keys, changes, words):
    offers = stated(**OFFERS) | {"other": stated(other={})["other"] | {"machine": "cutter"}}
    study = hand_study(**IDLE | BORROWED | {"offers": offers} | changes)
    with pytest.raises(InputError, match=words):
        offers_side_by_side(study, keys)


def test_refuses_a_comparison_without_a_borrowing_rate():
    study = hand_study(**IDLE | {"offers": stated(**OFFERS)})
    with pytest.raises(InputError, match=r"borrowing_rate.*money\.loan"):
        offers_side_by_side(study, ["cash"])
    assert offers_side_by_side(study, ["cash"], borrowing_rate=0.08).borrowing_rate == [0.08]
