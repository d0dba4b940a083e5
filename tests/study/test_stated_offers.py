"""Offers of a study: what they must say, what an alternative may choose, and old files."""

from datetime import date

import pytest
from hand_shop import hand_study

from capex.errors import InputError, StudyError
from capex.study import Study, StudyFile, data_folder

LOAN = {"annual_rate": 0.08, "term": 36}
LEASE = {"rent": 300, "term": 36, "at_end": "return"}
OLD = {"machine": "printer", "owned": True, "sold_in_month": 0, "sale_proceeds": 0}


def shop(machine=None, others=(), start="2027-01-01", **terms) -> Study:
    """Return the hand-worked shop with one offer, chosen where `machine` is given."""
    offers = {"one": {"machine": "frame", "name": "Offer", "dated": "2026-11-20"} | terms}
    placed = {"machine": "frame"} if machine is None else {"machine": "frame", "offer": "one"}
    placed |= machine or {}
    machines = [placed, {"machine": "laminator", "owned": True}, *others]
    return hand_study(offers=offers, alternatives__frame__machines=machines, money__start=start)


def problems(**given) -> list[tuple[str, str]]:
    with pytest.raises(StudyError) as caught:
        shop(**given)
    return [(problem.path, problem.bound) for problem in caught.value.problems]


def test_what_an_offer_is_follows_from_what_it_has():
    assert shop().offers["one"].kind == "cash"
    assert shop(loan=LOAN).offers["one"].kind == "loan"
    assert shop(lease=LEASE).offers["one"].kind == "lease"


def test_a_study_without_offers_has_none():
    study = hand_study()
    assert study.offers == {}
    assert study.alternatives["frame"].machines[0].offer is None


def test_an_offer_holds_through_its_last_day():
    offer = shop(valid_until="2027-01-31").offers["one"]
    assert not offer.expired_on(date(2027, 1, 31))
    assert offer.expired_on(date(2027, 2, 1))
    assert not shop().offers["one"].expired_on(date(2099, 1, 1))


def test_every_amount_is_an_input():
    study = shop(loan=LOAN | {"balloon": 500})
    assert study.quantity("offers.one.loan.balloon").likely == 500
    assert study.replaced({"offers.one.loan.term": [24, 48]}).offers["one"].loan.term.si.size == 2
    assert study.replaced({"offers.one.price": 9000}).offers["one"].price.likely == 9000


@pytest.mark.parametrize(
    ("given", "path", "says"),
    [
        ({"valid_until": "2026-11-19"}, "offers.one.valid_until",
         "must not be before the date of the offer (2026-11-20)"),
        ({"machine": {}, "valid_until": "2026-12-31"}, "alternatives.frame.machines.0.offer",
         "“Offer” ends 2026-12-31, one day before the plan starts (2027-01-01): ask for a new one"),
        ({"loan": LOAN, "lease": LEASE}, "offers.one.lease", "the offer has a loan"),
        ({"loan": LOAN | {"flat_rate": 0.05}}, "offers.one.loan.flat_rate", "annual_rate is given"),
        ({"loan": {"term": 36}}, "offers.one.loan.annual_rate", "or give flat_rate"),
        ({"loan": LOAN | {"equity": 10, "equity_share": 0.1}}, "offers.one.loan.equity_share",
         "where equity is given"),
        ({"loan": LOAN | {"fee": 10, "fee_share": 0.1}}, "offers.one.loan.fee_share",
         "where fee is given"),
        ({"loan": LOAN | {"equity": 10_001}}, "offers.one.loan.equity",
         "10,000 USD, the price of Frame"),
        ({"price": 9000, "loan": LOAN | {"equity": 9001}}, "offers.one.loan.equity",
         "9,000 USD, the price that the offer states"),
        ({"loan": LOAN | {"equity_share": 0.5, "balloon": 5001}}, "offers.one.loan.balloon",
         "must be at most 5,000 USD, what is borrowed: the price of Frame, 10,000 USD, less "
         "5,000 USD paid at once. Change one of them"),
        ({"loan": LOAN | {"interest_only_months": 36}}, "offers.one.loan.interest_only_months",
         "must be less than offers.one.loan.term (36 months)"),
        ({"loan": LOAN | {"interest_only_months": 2, "timing": "advance"}},
         "offers.one.loan.interest_only_months", "payments are in advance"),
        ({"loan": {"flat_rate": 0.05, "term": 24, "balloon": 100}}, "offers.one.loan.flat_rate",
         "ask for the annual rate"),
        ({"loan": {"flat_rate": 0.05, "term": 1, "timing": "advance"}}, "offers.one.loan.term",
         "2 months or more"),
        ({"lease": {"term": 36, "at_end": "return"}}, "offers.one.lease.rent",
         "or give rate_factor"),
        ({"lease": LEASE | {"rate_factor": 0.03}}, "offers.one.lease.rate_factor",
         "where rent is given"),
        ({"lease": LEASE | {"rentals_in_advance": 37}}, "offers.one.lease.rentals_in_advance",
         "must be at most offers.one.lease.term (36 months)"),
        ({"lease": LEASE | {"at_end": "purchase"}}, "offers.one.lease.residual", "is missing"),
        ({"lease": LEASE | {"residual": 500}}, "offers.one.lease.residual", "must be left out"),
        ({"lease": LEASE | {"at_end": "ownership", "rentals_in_advance": 34}},
         "offers.one.lease.rentals_in_advance", "less than the price"),
        ({"lease": LEASE | {"at_end": "ownership", "rent": 10, "rentals_in_advance": 36}},
         "offers.one.lease.rentals_in_advance", "nothing is lent"),
        ({"machine": {}, "lease": LEASE | {"term": 30}}, "alternatives.frame.machines.0.offer",
         "in month 30, before the plan ends (month 36)"),
        ({"machine": {"month": 6, "sold_in_month": 20}, "lease": LEASE | {"term": 12}},
         "alternatives.frame.machines.0.offer", "before the machine is sold (month 20)"),
        ({"machine": {"sold_in_month": 20, "sale_proceeds": 900}, "lease": LEASE},
         "alternatives.frame.machines.0.sale_proceeds", "takes the machine back"),
        ({"machine": {"price": 9000}}, "alternatives.frame.machines.0.price",
         "where an offer is chosen"),
        ({"machine": {"owned": True}}, "alternatives.frame.machines.0.offer", "owned already"),
        ({"machine": {"machine": "cutter"}}, "alternatives.frame.machines.0.offer",
         "is for Frame, and this machine is Cutter"),
        ({"machine": {"offer": "two"}}, "alternatives.frame.machines.0.offer", "known: one"),
        ({"trade_in": 500}, "offers.one.trade_in_of", "is missing"),
        ({"trade_in_of": "printer"}, "offers.one.trade_in", "is missing"),
        ({"trade_in": 500, "trade_in_of": "press"}, "offers.one.trade_in_of", "known machine"),
        ({"machine": {}, "trade_in": 500, "trade_in_of": "printer"},
         "alternatives.frame.machines.0.offer", "in which month that machine goes"),
        ({"machine": {}, "trade_in": 500, "trade_in_of": "printer",
          "others": [OLD | {"sale_proceeds": 500}]},
         "alternatives.frame.machines.2.sale_proceeds", "must be 0, as “Offer” credits"),
        ({"machine": {}, "trade_in": 500, "trade_in_of": "printer",
          "others": [OLD, {"machine": "frame", "offer": "one"}]},
         "alternatives.frame.machines.3.offer", "trades in already"),
    ],
)  # fmt: skip
def test_refuses_what_cannot_be(given, path, says):
    ((found, bound),) = problems(**given)
    assert found == path
    assert says in bound


@pytest.mark.parametrize(
    ("bought", "sold", "says"),
    [
        (6, {"low": 4, "likely": 6, "high": 8}, "alternatives.frame.machines.0.month (6 months)"),
        ({"low": 6, "likely": 6, "high": 9}, 6, "alternatives.frame.machines.0.month (9 months)"),
    ],
)
def test_refuses_dates_of_a_trade_in_that_part_at_an_end_of_a_spread(bought, sold, says):
    ((path, bound),) = problems(
        machine={"month": bought}, trade_in=500, trade_in_of="printer",
        others=[OLD | {"sold_in_month": sold}],
    )  # fmt: skip
    assert path == "alternatives.frame.machines.2.sold_in_month"
    assert says in bound
    assert "neither may have another low or high" in bound


def test_refuses_an_end_that_is_none():
    found = problems(lease=LEASE | {"at_end": "burn"})
    assert [path for path, _ in found] == ["offers.one.lease.at_end"]


def test_several_problems_come_at_once():
    found = problems(
        valid_until="2026-11-01", loan={"term": 36, "balloon": 20_000}, trade_in=5,
        machine={"price": 1},
    )  # fmt: skip
    assert len(found) == 6


def test_an_offer_that_nobody_chose_may_be_old():
    assert shop(valid_until="2026-12-31").offers["one"].expired_on(date(2027, 1, 1))


def test_a_lease_that_reaches_the_sale_is_allowed():
    shop(machine={"month": 6, "sold_in_month": 20}, lease=LEASE | {"term": 14})
    shop(machine={"month": 6}, lease=LEASE | {"term": 30})


def test_a_trade_in_of_a_machine_that_goes_for_nothing_else_is_allowed():
    study = shop(machine={}, trade_in=500, trade_in_of="printer", others=[OLD])
    assert study.offers["one"].trade_in.likely == 500


def test_refuses_months_of_interest_beyond_the_term_in_a_scenario():
    with pytest.raises(InputError, match="must be less than"):
        shop(loan=LOAN).replaced({"offers.one.loan.interest_only_months": 36})


def test_the_demo_s_offers_are_kept_when_the_file_is_changed():
    demo = StudyFile.read(data_folder() / "studies" / "quenlow.toml")
    changed = demo.changed({"offers.all_in_one_loan.loan.term": "4 years"})
    assert changed.study.offers["all_in_one_loan"].loan.term.likely == 48
    assert changed.study.offers.keys() == demo.study.offers.keys()


@pytest.mark.parametrize(("bought", "sold"), [(12, 3), (0, 30)])
def test_an_old_machine_goes_in_the_month_in_which_it_is_credited(bought, sold):
    found = problems(
        machine={"month": bought},
        others=[OLD | {"sold_in_month": sold}],
        trade_in=3000,
        trade_in_of="printer",
    )
    path = "alternatives.frame.machines.2.sold_in_month"
    ((where, bound),) = found
    assert where == path
    assert f"machines.0.month ({bought} months): the purchase by one credits it" in bound
