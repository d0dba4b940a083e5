"""Offers and amortisation on the bank page: figures are the engine's, gaps are named."""

from __future__ import annotations

from datetime import date

import numpy as np
import numpy_financial as npf
import pytest

from capex.decision.appraise import appraise
from capex.finance.offers import offers_side_by_side
from capex.study import StudyFile, data_folder
from capex.views.bank import amortization, cheapest, offers, request, terms
from capex.views.bank.page import BankPage
from capex.views.chart import figure_json
from capex.views.charts.picture import Look
from capex.views.wording import Currency

DEMO = data_folder() / "studies" / "quenlow.toml"
CENT = 0.0051


@pytest.fixture(scope="module")
def file():
    return StudyFile.read(DEMO)


def look_at(study) -> Look:
    return Look(study, "metric", Currency(study.currency))


def of_table(table):
    return {row[0]: row[1:] for row in table.rows}


def test_offers_stand_beside_each_other_with_the_engines_figures(file):
    study, look = file.study, look_at(file.study)
    for machine in offers.machines_with_offers(study):
        keys = [key for key, offer in study.offers.items() if offer.machine == machine]
        expected = offers_side_by_side(study, keys)
        rows = of_table(offers.offers_table(offers.offers_compared(study, machine), look))
        for k, view in enumerate(expected.views):
            assert rows["Dated"][k] == study.offers[view.key].dated.isoformat()
            cost = round(float(view.net_present_cost[0]))
            assert rows["Cost in today's money, after tax"][k] == f"${cost:,}"
            rate = rows["Effective rate a year"][k]
            if view.kind == "cash":
                assert rate == "nothing is borrowed"
            else:
                assert rate == f"{view.effective_rate.rate[0]:.2%}"


def test_the_offer_called_cheapest_costs_least_and_its_lead_is_over_the_next(file):
    study, look = file.study, look_at(file.study)
    found = offers.offers_compared(study, "mid_all_in_one")
    said = cheapest.offers_words(found, look)[0]
    costs = sorted((float(view.net_present_cost[0]), view.name) for view in found.views)
    least, next_one = (round(cost) for cost, _ in costs[:2])
    assert said.startswith(f"“{costs[0][1]}” is cheapest, ${least:,}")
    assert said.endswith(f"“{costs[1][1]}” is next, ${next_one - least:,} more.")


def test_what_speaks_for_and_against_the_cheapest_is_on_its_own_side(file):
    """The cash offer has the lower price and a trade-in; the lease covers service (study file)."""
    said = cheapest.offers_words(
        offers.offers_compared(file.study, "mid_all_in_one"), look_at(file.study)
    )
    for_it, for_next = said[1:3]
    assert for_it.startswith("For the cheapest: ")
    assert for_next.startswith("For the next: ")
    assert "a price $700 lower" in for_it
    assert "$1,200 more for the old machine in trade" in for_it
    assert "service" in for_next
    assert "service" not in for_it


@pytest.mark.parametrize(("dearer", "side"), [("all_in_one_loan", 1), ("all_in_one_cash", 2)])
def test_the_lower_price_speaks_for_its_own_offer(file, dearer, side):
    """One offer is made so dear that the other is cheapest; only their prices differ much."""
    study = file.changed({f"offers.{dearer}.price": 23_000}).study
    keys = ["all_in_one_cash", "all_in_one_loan"]
    found = offers_side_by_side(study, keys)
    ranked = sorted(found.views, key=lambda view: float(view.net_present_cost[0]))
    said = cheapest.offers_words(found, look_at(study))
    lower = min(keys, key=lambda key: offers.offered_price(study, study.offers[key]))
    place = 1 if ranked[0].key == lower else 2
    assert "lower" in said[place]


def test_an_expired_offer_says_so(file):
    study = file.changed({
        "money.start": date(2027, 2, 1), "offers.all_in_one_cash.valid_until": date(2027, 1, 31),
    }).study  # fmt: skip
    found = offers.offers_compared(study, "mid_all_in_one")
    rows = of_table(offers.offers_table(found, look_at(study)))
    assert rows["Valid until"][0] == "2027-01-31: expired on the day of decision"
    assert rows["Valid until"][1] == "2027-02-15"
    said = " ".join(cheapest.offers_words(found, look_at(study)))
    assert (
        "Expired on the day of decision, to be asked for again: “All-in-one for cash” and" in said
    )


def test_months_of_the_picture_add_up_to_the_offers_cash(file):
    study, look = file.study, look_at(file.study)
    found = offers.offers_compared(study, "mid_roll_printer")
    picture = offers.offers_picture(found, look)
    assert len(picture.table.rows) == found.months + 1
    assert all("before tax" in name or "after tax" in name for name in picture.table.columns[1:])
    for trace, view in zip(picture.figure["data"], found.views, strict=True):
        assert trace["y"][-1] == pytest.approx(view.after_tax_cash[0].sum(), abs=0.51)
    assert "nan" not in figure_json(picture.figure).lower()


def test_against_numpy_financial_the_demo_loan_by_month(file):
    """Payment, interest and balance of the study's plain loan by a general-purpose library."""
    loan, outcome = file.study.money.loan, appraise(file.study).outcomes["separate"]
    found = amortization.of_choice(outcome)
    lent, monthly, term = found.drawn[0], loan.annual_rate.likely / 12, int(loan.term.likely)
    at = np.arange(1, term + 1)
    np.testing.assert_allclose(found.payment[1 : term + 1], -npf.pmt(monthly, term, lent))
    np.testing.assert_allclose(found.interest[at], -npf.ipmt(monthly, at, term, lent))
    np.testing.assert_allclose(found.principal[at], -npf.ppmt(monthly, at, term, lent))
    left = -npf.fv(monthly, at, npf.pmt(monthly, term, lent), lent)
    np.testing.assert_allclose(found.balance[at], left, atol=1e-6)


@pytest.mark.parametrize("key", ["all_in_one_loan", "roll_printer_loan"])
def test_law_every_month_of_an_offer_adds_up(file, key):
    """Payment is interest and principal, and what is owed falls by the principal."""
    look = look_at(file.study)
    table = amortization.amortization_picture(amortization.of_offer(file.study, key), look).table
    rows = np.array([[float(cell.replace(",", "")) for cell in row[1:]] for row in table.rows])
    payment, interest, principal, owed = rows.T
    np.testing.assert_allclose(payment, interest + principal, atol=2 * CENT)
    np.testing.assert_allclose(owed[1:], owed[:-1] - principal[1:], atol=2 * CENT)
    assert owed[-1] == 0.0


def test_a_lease_that_goes_back_lends_nothing(file):
    assert "all_in_one_lease" not in amortization.lending_offers(file.study)
    assert amortization.of_offer(file.study, "all_in_one_lease") is None
    assert amortization.of_choice(appraise(file.study).outcomes["keep"]) is None


def test_the_lessor_pays_the_price_of_a_leased_machine(file):
    path = "alternatives.all_in_one.machines.0.offer"
    study = file.changed({path: "all_in_one_lease"}).study
    look, outcome = look_at(study), appraise(study).outcomes["all_in_one"]
    rows = dict(request.request_table(outcome, look).rows)
    assert rows["Of it by the lessor"] == look.money(study.machines["mid_all_in_one"].price.likely)
    assert rows["Fee of the lease"] == "$150"


def test_no_lessor_where_nothing_is_leased(file):
    rows = dict(request.request_table(appraise(file.study).outcomes["separate"],
                                      look_at(file.study)).rows)  # fmt: skip
    assert "Of it by the lessor" not in rows


def test_terms_of_the_studys_own_loan_are_named(file):
    said = terms.terms_sentences(look_at(file.study), "separate")
    assert said == [
        "Mid roll printer and Mid contour cutter: the study's own loan (assumed), no "
        "offer chosen: 80% of the price at 9.00% a year nominal, 60 monthly level payments at "
        "month ends, no fee."
    ]


@pytest.mark.parametrize(
    ("place", "choice", "offer", "parts"),
    [
        (0, "all_in_one", "all_in_one_loan", ["8.60% a year nominal", "20% own money", "60 monthly",
         "the first 3 of interest alone", "a balloon of $2,500", "a fee of $250"]),
        (0, "all_in_one", "all_in_one_lease", ["84 monthly rents of 2.3% of the price",
         "2 of them on the first day", "service included", "the machine goes back"]),
        (0, "all_in_one", "all_in_one_cash", ["price $21,800", "$1,200 credited", "own money"]),
        (0, "separate", "roll_printer_loan", ["a flat 5.2% a year", "payments in advance",
         "$3,000 of own money", "a fee of 1% of what is borrowed"]),
        (0, "separate", "roll_printer_lease", ["48 monthly rents of $485", "a deposit of $485",
         "bought at the end for $2,100", "service not included"]),
    ],
)  # fmt: skip
def test_an_offer_chosen_in_place_is_named_with_its_terms(file, place, choice, offer, parts):
    """Terms are those of the study file; the offer holds in the appraisal."""
    study = terms.paid_by(file, {(choice, place): offer}).study
    said = terms.terms_sentences(look_at(study), choice)[0]
    assert all(part in said for part in parts), said
    assert study.alternatives[choice].machines[place].offer == offer


def test_a_trade_in_takes_the_place_of_the_sale(file):
    study = terms.paid_by(file, {("all_in_one", 0): "all_in_one_cash"}).study
    outcome = appraise(study).outcomes["all_in_one"]
    assert outcome.path.ledger.line("sold")[0, 0] == 1200.0 + 500.0
    chosen = {("all_in_one", 0): "all_in_one_cash", ("staged", 0): "all_in_one_loan"}
    assert terms.trade_sentences(look_at(study), file.study, chosen, "all_in_one") == [
        "The trade-in takes the place of selling Old roll printer for $1,500."
    ]
    assert terms.trade_sentences(look_at(study), file.study, chosen, "staged") == []


def test_an_offer_chosen_on_the_page_moves_the_lenders_figures_and_back():
    page = BankPage(DEMO)
    page.view()
    before = page.found.each["all_in_one"].view.lowest_year.ratio[0]
    page.request._changed("paid_0", "all_in_one_lease")
    assert page.found.each["all_in_one"].view.lowest_year.ratio[0] != before
    assert "Of it by the lessor" in page.request.table.value
    page._changed("choice", "separate")
    assert "All-in-one on lease" not in page.request.terms.value
    page._changed("choice", "all_in_one")
    assert "All-in-one on lease" in page.request.terms.value
    page.request._changed("paid_0", terms.AS_STATED)
    assert page.found.each["all_in_one"].view.lowest_year.ratio[0] == before


def test_an_offer_that_the_study_refuses_says_why_beside_its_field(tmp_path):
    """The lease ends before the shop stops counting on the machine."""
    path = tmp_path / "study.toml"
    StudyFile.read(DEMO).changed({"offers.all_in_one_lease.lease.term": "5 years"}).write(path)
    page = BankPage(path)
    page.view()
    before = page.request.table.value
    page.request._changed("paid_0", "all_in_one_lease")
    assert page.request.table.value == before
    messages = page.request._fields["all_in_one"].messages
    assert "lease" in messages["paid_0"]


def test_another_machine_and_another_loan_are_shown():
    page = BankPage(DEMO)
    page.view()
    assert "Mid all-in-one" in page.offers.table.value or "Mid roll" in page.offers.table.value
    page.offers._changed("machine", "mid_roll_printer")
    assert "Roll printer on lease" in page.offers.table.value
    page.amortized._changed("loan", "all_in_one_loan")
    assert page.amortized.chart.reading.startswith("All-in-one on a bank loan: $18,000 borrowed")
    page._changed("choice", "keep")
    page.amortized._changed("loan", "of the choice")
    assert "No loan" in page.amortized.nothing.value


def test_names_of_offers_are_escaped(file, tmp_path):
    nasty = "<img src=x onerror=alert(1)>"
    path = tmp_path / "study.toml"
    file.changed({"offers.all_in_one_cash.name": nasty}).write(path)
    page = BankPage(path)
    page.view()
    page.offers._changed("machine", "mid_all_in_one")
    shown = page.offers.table.value + page.offers.said.value + page.offers.chart.figure
    assert "<img" not in shown
    assert "&lt;img" in page.offers.table.value


def test_a_study_without_offers_says_where_to_write_them(file, tmp_path):
    text = DEMO.read_text(encoding="utf-8")
    head, rest = text.split("[offers.", 1)
    tail = rest[rest.index("[jobs.") :]
    path = tmp_path / "study.toml"
    path.write_text(head + tail, encoding="utf-8")
    page = BankPage(path)
    assert "has no offers" in str([child.value for child in page.offers.view().children])


def test_an_offer_that_has_ended_is_refused_in_the_owner_s_words(tmp_path):
    path = tmp_path / "e78ecefc@2.toml"
    ended = StudyFile.read(DEMO).changed({"offers.all_in_one_cash.valid_until": date(2026, 12, 31)})
    path.write_text(ended.text)
    page = BankPage(path, lambda work, done: done(work))
    page.view()
    page._fields.told(None, {"kind": "changed", "key": "choice", "value": "all_in_one"}, [])
    shown = page.request._fields["all_in_one"]
    place = next(field["key"] for field in shown.fields)
    options = dict(next(field["options"] for field in shown.fields))
    assert options["all_in_one_cash"] == "All-in-one for cash (has ended)"
    shown.told(None, {"kind": "changed", "key": place, "value": "all_in_one_cash"}, [])
    said = shown.messages[place]
    assert said.startswith(
        "“All-in-one for cash” ends 2026-12-31, one day before the plan starts (2027-01-01)"
    )
    assert said.endswith("The figures shown are still those of what the study says.")
    assert "toml" not in said
    assert "alternatives" not in said
