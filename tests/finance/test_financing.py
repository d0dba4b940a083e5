"""What loans and leases bring into the ledger, and that the investment does not see them.

A shop of round figures (`hand_shop`): price 10,000, no orders, no wages. Months are worked out
by hand.
"""

import numpy as np
import pytest
from hand_shop import hand_study

from capex.decision.appraise import appraise
from capex.errors import InputError
from capex.finance.loans import amortization, flat_rate_apr

IDLE = {
    "jobs__plain__orders_per_month": 0, "jobs__laminated__orders_per_month": 0,
    "shop__people__wage": "0 USD/h",
}  # fmt: skip
TAXED = {"money__tax__rate": 0.25, "money__tax__regime": "straight_line_5"}
FRAME = {"machine": "frame", "freight_and_installation": 1000}
OWNED = {"machine": "laminator", "owned": True}
OLD = {"machine": "printer", "owned": True, "sold_in_month": 0, "sale_proceeds": 0}
LOAN = {"annual_rate": 0.12, "term": 24}
LEASE = {"rent": 300, "term": 36, "at_end": "return"}
BOUGHT = LEASE | {"at_end": "purchase", "residual": 900, "term": 20}


def offer(**terms):
    return {"machine": "frame", "name": "Offer", "dated": "2026-11-20"} | terms


def ledger(terms=None, machine=None, others=(OWNED,), scenarios=None, **changes):
    """Return the ledger of the frame under an offer with the given terms, or without one."""
    placement = FRAME | (machine or {})
    if terms is not None:
        placement |= {"offer": "one"}
        changes |= {"offers": {"one": offer(**terms)}}
    study = hand_study(**IDLE | {"alternatives__frame__machines": [placement, *others]} | changes)
    return appraise(study, scenarios).outcomes["frame"].path.ledger


def lines(found):
    return {line.key: found.line(line.key)[0] for line in found.lines if line.group == "financing"}


def only(**at):
    """Return 37 months of nothing but the given ones: ``m3=5`` is 5 in month 3."""
    flow = np.zeros(37)
    for month, amount in at.items():
        flow[int(month[1:])] = amount
    return flow


# The investment


@pytest.mark.parametrize(
    "terms",
    [
        pytest.param({}, id="cash"),
        pytest.param({"loan": LOAN}, id="loan"),
        pytest.param({"loan": LOAN | {"equity": 3000, "balloon": 2000, "fee": 90}}, id="balloon"),
        pytest.param({"loan": {"flat_rate": 0.06, "term": 36, "timing": "advance"}}, id="flat"),
        pytest.param({"lease": LEASE | {"maintenance_included": True}}, id="lease, back"),
        pytest.param({"lease": BOUGHT}, id="bought at the end"),
        pytest.param({"lease": LEASE | {"at_end": "ownership"}}, id="owned at the end"),
    ],
)  # fmt: skip
@pytest.mark.parametrize("losses", ["absorbed", "carried_forward"])
def test_the_investment_does_not_move_with_what_pays_for_it(terms, losses):
    """Also where losses wait for profit, and with the study's own loan beside it."""
    changes = TAXED | {"money__tax__losses": losses, "machines__frame__service": "600 USD/year"}
    plain = ledger(**changes)
    found = ledger(terms, **changes, money__loan={"share": 0.5, "annual_rate": 0.3, "term": 12})
    np.testing.assert_array_equal(found.net_cash_flow, plain.net_cash_flow)
    own = {line.key for line in found.lines if line.group != "financing"}
    for key in own:
        np.testing.assert_array_equal(found.line(key), plain.line(key), err_msg=key)
    moved = found.equity_cash_flow - found.net_cash_flow
    assert np.any(moved != 0.0) == bool(terms)


def test_net_present_value_does_not_move_with_rates_and_rents():
    changes = {
        "offers": {"one": offer(loan=LOAN), "two": offer(lease=LEASE) | {"name": "Two"}},
        "alternatives__other": {"name": "Leased", "machines": [FRAME | {"offer": "two"}, OWNED]},
        "alternatives__frame__machines": [FRAME | {"offer": "one"}, OWNED],
    }
    moves = {"offers.one.loan.annual_rate": [0.0, 0.1, 0.5], "offers.two.lease.rent": [1, 300, 999]}
    found = appraise(hand_study(**TAXED | changes), moves)
    for key in ("frame", "other"):
        value = found.outcomes[key].net_present_value
        assert value.tolist() == [value[0]] * 3
        assert len(set(found.outcomes[key].path.ledger.equity_cash_flow.sum(axis=1))) == 3
    both = [found.outcomes[key].net_present_value for key in ("frame", "other")]
    np.testing.assert_array_equal(*both)


# Loans


def test_an_offered_loan_by_hand():
    """30 % equity, a fee of 2 % of the loan, and the rest as the table of a loan of 7,000."""
    found = lines(ledger({"loan": LOAN | {"equity_share": 0.3, "fee_share": 0.02}}))
    table = amortization(7000.0, 0.12, 24, 36)
    np.testing.assert_allclose(found["loan"], only(m0=7000))
    np.testing.assert_allclose(found["loan_fee"], only(m0=-140))
    np.testing.assert_allclose(found["interest"], -table.interest)
    np.testing.assert_allclose(found["principal"], -table.principal)
    assert not found["loan_settled"].any()


def test_a_loan_ends_when_its_machine_is_sold():
    found = lines(ledger({"loan": LOAN}, {"month": 6, "sold_in_month": 18}))
    table = amortization(10_000.0, 0.12, 24, 36)
    np.testing.assert_allclose(found["loan"], only(m6=10_000))
    np.testing.assert_allclose(found["loan_settled"], only(m18=-table.balance[12]))
    np.testing.assert_allclose(found["principal"][6:19], -table.principal[:13])
    assert not found["principal"][19:].any()
    assert found["loan"].sum() == pytest.approx(-(found["principal"] + found["loan_settled"]).sum())


def test_a_flat_rate_is_the_loan_behind_it():
    flat = lines(ledger({"loan": {"flat_rate": 0.06, "term": 36}}))
    assert flat["interest"].sum() == pytest.approx(-0.06 * 3 * 10_000)
    rate = float(flat_rate_apr(0.06, 36))
    same = lines(ledger({"loan": {"annual_rate": rate, "term": 36}}))
    for key, flow in flat.items():
        np.testing.assert_allclose(flow, same[key], atol=1e-6, err_msg=key)


def test_an_offer_takes_the_place_of_the_study_s_loan_for_its_machine_alone():
    both = [{"machine": "cutter"}, OWNED]
    found = ledger({}, others=both, money__loan={"share": 0.8, "annual_rate": 0.1, "term": 36})
    np.testing.assert_allclose(found.line("loan")[0], only(m0=8000))
    offered = ledger(
        {"loan": LOAN}, others=both, money__loan={"share": 0.8, "annual_rate": 0.1, "term": 36}
    )
    np.testing.assert_allclose(offered.line("loan")[0], only(m0=18_000))


def test_an_offered_loan_on_the_terms_of_the_study_s_is_the_same():
    terms = {"annual_rate": 0.09, "term": 48}
    plain = ledger(**TAXED, money__loan=terms | {"share": 0.8, "fee": 0.01})
    found = ledger({"loan": terms | {"equity_share": 0.2, "fee_share": 0.01}}, **TAXED)
    assert [line.key for line in plain.lines] == [line.key for line in found.lines]
    np.testing.assert_allclose(found.table, plain.table, atol=1e-8)


def test_several_machines_are_lent_for_alike():
    two = lines(ledger({"loan": LOAN | {"equity": 1000, "fee": 50}}, {"count": 2}))
    one = lines(ledger({"loan": LOAN | {"equity": 1000, "fee": 50}}))
    for key, flow in one.items():
        np.testing.assert_allclose(two[key], 2 * flow, err_msg=key)


# Leases


def test_a_lease_that_gives_the_machine_back_by_hand():
    """Two rentals first; resale 4,000 after 36 months is the lessor's.

    Tax at 25 %: rents are deducted and 10,000 is not written off (2,000 a year, the rest of
    4,000 against the resale); installation still is. First year 600 + 12 × 300 of rent.
    """
    terms = {"lease": LEASE | {"rentals_in_advance": 2, "fee": 120, "deposit": 500}}
    found = lines(ledger(terms, **TAXED))
    rent = np.r_[-600.0, np.full(34, -300.0), 0.0, 0.0]
    np.testing.assert_allclose(found["lease"], only(m0=10_000))
    np.testing.assert_allclose(found["rent"], rent)
    np.testing.assert_allclose(found["lease_fee"], only(m0=-120))
    np.testing.assert_allclose(found["lease_deposit"], only(m0=-500, m36=500))
    np.testing.assert_allclose(found["lease_returned"], only(m36=-4000))
    assert not found["rent_settled"].any()
    first, second, third = (
        600 + 3600 + 120 - 2000,
        3600 - 2000,
        3000 - 2000 - (10_000 - 6000 - 4000),
    )
    by_hand = only(m12=0.25 * first, m24=0.25 * second, m36=0.25 * third)
    np.testing.assert_allclose(found["lease_tax"], by_hand, atol=1e-9)


def test_a_lease_with_a_purchase_at_its_end_by_hand():
    """20 rentals and 900 in month 20, second year; straight line over 5 years from there.

    The machine fetches 4,000 at the horizon either way. Bought: 2,000 a year and 4,000 left.
    Leased: 180 in the second and third year, 540 left of the 900.
    """
    found = lines(ledger({"lease": BOUGHT}, **TAXED))
    np.testing.assert_allclose(found["lease_option"], only(m20=-900))
    np.testing.assert_allclose(found["rent"], np.r_[0.0, np.full(20, -300.0), np.zeros(16)])
    assert "lease_returned" not in found
    first, second = 3600 - 2000, 2400 + 180 - 2000
    third = (180 - 4000 + 540) - (2000 - 4000 + 4000)
    by_hand = only(m12=0.25 * first, m24=0.25 * second, m36=0.25 * third)
    np.testing.assert_allclose(found["lease_tax"], by_hand, atol=1e-9)


def test_a_lease_that_ends_in_ownership_is_money_lent():
    """Two of 40 rentals repay 600 at once; the other 38 carry 2,000 of interest in all."""
    terms = LEASE | {"at_end": "ownership", "term": 40, "rentals_in_advance": 2, "deposit": 450}
    found = lines(ledger({"lease": terms | {"fee": 80}}, **TAXED, money__horizon=48))
    np.testing.assert_allclose(found["loan"][0], 10_000)
    assert (found["loan_fee"][0], found["loan_fee"].sum()) == (-80, -80)
    assert (found["lease_deposit"][[0, 40]].tolist(), found["lease_deposit"].sum()) == (
        [-450, 450],
        0,
    )
    assert found["principal"][0] == pytest.approx(-600)
    assert found["interest"].sum() == pytest.approx(-2000)
    assert (found["principal"] + found["interest"])[1:39] == pytest.approx(-300)
    assert found["interest_tax"].sum() == pytest.approx(0.25 * 2080)
    assert "lease_tax" not in found


def test_service_within_the_rent_is_not_paid_twice():
    """600 a year of service, dearer by a tenth each year; the lease ends after 30 months."""
    terms = {"lease": LEASE | {"maintenance_included": True, "term": 30, "at_end": "purchase",
                               "residual": 0}}  # fmt: skip
    changes = {"machines__frame__service": "600 USD/year", "money__escalation": {"overheads": 0.1}}
    found = ledger(terms, **changes)
    covered = found.line("lease_service")[0]
    np.testing.assert_allclose(covered[1:31], -found.line("service")[0, 1:31])
    assert covered[24] == pytest.approx(55.0)
    assert not covered[31:].any()


def test_rents_still_to_come_are_due_when_the_machine_goes():
    terms = {"lease": LEASE | {"term": 60}}
    found = lines(ledger(terms, {"month": 3, "sold_in_month": 15}))
    assert found["rent"].sum() == pytest.approx(-12 * 300)
    np.testing.assert_allclose(found["rent_settled"], only(m15=-48 * 300))
    sold = ledger(None, {"month": 3, "sold_in_month": 15}).line("sold")[0]
    np.testing.assert_allclose(found["lease_returned"], -sold)


def test_what_a_returned_lease_leaves_is_installation_and_rent():
    """Over its life the shop pays rent and installation, and sees nothing of the machine."""
    found = ledger({"lease": LEASE})
    assert found.equity_cash_flow.sum() == pytest.approx(-36 * 300 - 1000)


def test_the_lever_on_prices_moves_the_whole_offer():
    terms = {"lease": LEASE | {"fee": 100, "deposit": 200}}
    found = ledger(terms, scenarios={"levers.machine_price": [1.0, 1.5]})
    for key in ("lease", "rent", "lease_fee", "lease_deposit", "lease_returned"):
        np.testing.assert_allclose(found.line(key)[1], 1.5 * found.line(key)[0], err_msg=key)


@pytest.mark.parametrize(
    ("path", "values"),
    [
        ("offers.one.lease.rent", [100, 300]),
        ("offers.one.lease.term", [12, 30]),
        ("offers.one.lease.residual", [0, 2000]),
        ("offers.one.price", [8000, 12_000]),
        ("alternatives.frame.machines.0.month", [0, 13]),
        ("money.horizon", [24, 36]),
        ("levers.demand", [0.5, 1.5]),
    ],
)
def test_a_batch_of_two_is_two_of_one(path, values):
    terms = {"price": 9000, "lease": LEASE | {"at_end": "purchase", "residual": 500, "term": 20,
                                              "maintenance_included": True}}  # fmt: skip
    changes = TAXED | {"machines__frame__service": "600 USD/year"}
    both = ledger(terms, scenarios={path: values}, **changes)
    for row, value in enumerate(values):
        alone = ledger(terms, scenarios={path: [value]}, **changes)
        months = alone.table.shape[-1]
        np.testing.assert_allclose(both.table[row, :, :months], alone.table[0], atol=1e-9)
        assert not both.table[row, :, months:].any()


def test_a_later_purchase_is_the_same_lease_later():
    terms = {"lease": LEASE | {"term": 20, "at_end": "purchase", "residual": 500}}
    now, later = lines(ledger(terms)), lines(ledger(terms, {"month": 9}))
    for key in ("lease", "rent", "lease_option", "lease_deposit"):
        np.testing.assert_allclose(later[key][9:], now[key][:28], err_msg=key)
        assert not later[key][:9].any()


# Trade-in


def test_a_trade_in_is_credited_once_and_taxed_as_a_sale():
    """The offer's credit of 800 against the same 800 as proceeds of the old machine."""
    terms = {"trade_in": 800, "trade_in_of": "printer"}
    credited = ledger(terms, others=(OWNED, OLD), **TAXED)
    sold = ledger(None, others=(OWNED, OLD | {"sale_proceeds": 800}), **TAXED)
    np.testing.assert_allclose(credited.line("sold"), sold.line("sold"))
    np.testing.assert_allclose(credited.net_cash_flow, sold.net_cash_flow)
    several = ledger(terms, {"count": 2}, others=(OWNED, OLD), **TAXED)
    assert several.line("sold").sum() == pytest.approx(800)


def test_the_price_of_an_offer_is_what_is_paid():
    assert ledger({"price": 9100}).line("purchase")[0, 0] == -9100


# Refusals of scenarios


@pytest.mark.parametrize(
    ("terms", "scenario", "words"),
    [
        ({"loan": LOAN | {"balloon": 5000}}, {"offers.one.price": 4000}, "loan.balloon.*borrowed"),
        ({"loan": LOAN | {"equity": 5000}}, {"offers.one.price": 4000}, "loan.equity.*price"),
        ({"lease": LEASE}, {"offers.one.lease.term": 30}, "lease.term.*at least 36 months"),
        ({"lease": LEASE | {"at_end": "ownership", "rentals_in_advance": 6}},
         {"offers.one.price": 1500}, "rentals_in_advance.*less than the price"),
        ({"loan": LOAN}, {"offers.one.loan.interest_only_months": 24}, "interest_only_months"),
        ({"lease": LEASE}, {"offers.one.lease.rentals_in_advance": 40}, "rentals_in_advance"),
    ],
)  # fmt: skip
def test_refuses_a_scenario_that_breaks_an_offer(terms, scenario, words):
    with pytest.raises(InputError, match=words):
        ledger(terms, scenarios=scenario)
