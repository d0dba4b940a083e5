"""The bank page: its figures are the engine's, its gaps have reasons, its words are escaped."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from capex.decision.appraise import appraise
from capex.decision.cover import CoverVolume, VolumeReason
from capex.decision.stress import stress_test
from capex.decision.swings import swings
from capex.decision.verdict import Verdict
from capex.finance.coverage import CoverDefinition
from capex.study import StudyFile, data_folder, read_study
from capex.views.bank import evidence, lender_words, pictures, request, words
from capex.views.bank.page import BankPage
from capex.views.charts.picture import Look
from capex.views.wording import Currency, money_text

DEMO = data_folder() / "studies" / "quenlow.toml"


@pytest.fixture(scope="module")
def found():
    return stress_test(read_study(DEMO))


@pytest.fixture(scope="module")
def look(found):
    study = found.appraisal.study
    return Look(study, "metric", Currency(study.currency))


def amounts(table):
    """Whole units of each row."""
    return {name: int(text.replace("−", "-").replace("$", "").replace(",", ""))
            for name, text in table.rows}  # fmt: skip


@pytest.mark.parametrize("key", ["separate", "all_in_one", "staged"])
@pytest.mark.parametrize(
    "changes",
    [
        {},
        {"money.tax.on_purchases": "8.25 %", "money.loan.fee": "1.3 %"},
        {"alternatives.all_in_one.machines.0.offer": "all_in_one_loan"},
        {"alternatives.all_in_one.machines.0.offer": "all_in_one_lease"},
        {"alternatives.separate.machines.0.offer": "roll_printer_lease"},
        {"alternatives.separate.machines.0.offer": "roll_printer_loan"},
    ],
)
def test_law_own_money_is_the_owners_cash_of_the_day(key, changes):
    """What moves in the bank on the day of decision, where nothing is bought later."""
    study = StudyFile.read(DEMO).changed(changes).study
    outcome = appraise(study).outcomes[key]
    rows = amounts(request.request_table(outcome, Look(study, "metric", Currency("USD"))))
    split = list(rows).index("To be paid for")
    values = list(rows.values())
    assert sum(values[:split]) == values[split] == sum(values[split + 1 :])
    if key != "staged":  # each row is rounded to the unit, so that all may differ by some
        ledger = outcome.path.ledger
        assert rows["Of it own money"] == pytest.approx(-ledger.equity_cash_flow[0, 0], abs=4.0)
        assert rows["Of it by loan"] == pytest.approx(_line(ledger, "loan").sum(), abs=0.51)


@pytest.mark.parametrize("rate", [0.9, 0.78, 151.3])
def test_law_rows_add_up_in_another_currency_too(found, rate):
    look = Look(found.appraisal.study, "metric", Currency("USD", rate))
    values = list(amounts(request.request_table(found.appraisal.outcomes["staged"], look)).values())
    assert sum(values[:3]) == values[3] == sum(values[4:])


def _line(ledger, key):
    there = key in [line.key for line in ledger.lines]
    return ledger.line(key)[0] if there else np.zeros(1)


def test_rents_paid_in_advance_are_a_use_of_funds():
    """Two rents of 2.3 % of 22,500 USD."""
    changes = {"alternatives.all_in_one.machines.0.offer": "all_in_one_lease"}
    study = StudyFile.read(DEMO).changed(changes).study
    look = Look(study, "metric", Currency("USD"))
    found = appraise(study)
    outcome = found.outcomes["all_in_one"]
    assert amounts(request.request_table(outcome, look))["Rents due on the day of decision"] == 1035
    said = " ".join(request.request_notes(outcome, found.baseline, look))
    assert "Rents that fall due later are no part of the request" in said


def test_a_machine_sold_after_the_last_purchase_pays_for_none():
    changes = {"alternatives.all_in_one.machines.2.sold_in_month": 40}
    study = StudyFile.read(DEMO).changed(changes).study
    rows = amounts(request.request_table(appraise(study).outcomes["all_in_one"],
                                         Look(study, "metric", Currency("USD"))))  # fmt: skip
    assert rows["Of it by old machines sold or traded in"] == 500


def test_working_capital_is_said_to_be_left_out(found, look):
    outcomes = found.appraisal.outcomes
    tied = -outcomes["separate"].path.ledger.line("working_capital")[0, :13].cumsum()
    said = request.request_notes(outcomes["separate"], outcomes["keep"], look)[-1]
    assert f"at most ${tied.max():,.0f} more than today in the first year" in said


def test_what_is_bought_later_is_named_with_its_month(found, look):
    outcomes = found.appraisal.outcomes
    said = request.request_notes(outcomes["staged"], outcomes["keep"], look)[0]
    cutter = look.study.machines["mid_contour_cutter"].price.likely  # in month 36
    assert said == (
        f"Of the machines, those for ${cutter:,.0f} in December of year 3 are bought later."
    )


def test_law_the_loan_by_year_is_repaid_in_full(found, look):
    table = words.repayment_table(found.appraisal.outcomes["separate"], look)
    assert table.rows[-1][-1] == look.money(0.0)
    assert words.repayment_table(found.appraisal.outcomes["keep"], look) is None


@pytest.mark.parametrize("key", ["keep", "separate", "all_in_one"])
def test_stress_rows_are_the_engines_figures_each_with_its_own_tick(found, look, key):
    table, figures = words.stress_table(found, key, look), found.each[key]
    view, currency = figures.view, look.currency
    assert [row[0] for row in table.rows] == [found.amounts.words[case] for case in found.cases]
    for k, row in enumerate(table.rows):
        ticks = ["✓" if each[k] else "✗" for each in (figures.meets_cover,
                                                      figures.meets_loan_to_value)]  # fmt: skip
        cover = f"{ticks[0]} {view.lowest_year.ratio[k]:.2f}"
        value = f"{ticks[1]} {view.highest_loan_to_value.ratio[k]:.0%}"
        if key == "keep":
            cover, value = "nothing due", "nothing owed"
        first, later = view.month_end_cash[k, 0], view.month_end_cash[k, 1:85].min()
        assert row[1:] == [
            money_text(float(figures.gain[k]), currency), cover,
            value, f"✓ {money_text(first, currency)}",
            f"✓ {money_text(later, currency)}",
        ]  # fmt: skip


@pytest.mark.parametrize(("asked", "ticks"), [(18_000, "✗✓"), (22_000, "✗✗"), (12_000, "✓✓")])
def test_cash_of_the_day_and_later_cash_are_judged_apart(asked, ticks):
    """Separate machines leave 17,340 on the day; later at least 20,000, all stresses 13,700."""
    study = StudyFile.read(DEMO).changed({"money.lender.lowest_cash": asked}).study
    test = stress_test(study)
    row = words.stress_table(test, "separate", Look(study, "metric", Currency("USD"))).rows[0]
    view = test.each["separate"].view
    real = (view.month_end_cash[0, 0] >= asked, view.month_end_cash[0, 1:85].min() >= asked)
    assert row[4][0] + row[5][0] == "".join("✓" if each else "✗" for each in real)
    assert row[4][0] == ticks[0]


def test_own_money_that_would_pass_loan_to_value_is_said(found, look):
    said = lender_words.limit_sentences(found, "separate", look)[0]
    ratio = found.each["separate"].view.highest_loan_to_value.ratio
    more, worst = (23_040 * (1.0 - 0.8 / ratio[k]) for k in (0, -1))
    assert f"would pass with ${more:,.0f} more of own money" in said
    assert f"${23_040 - more:,.0f} lent instead of $23,040" in said
    assert f"At least ${25_000 - 7_660 - more:,.0f} is then left" in said
    assert f"it takes ${worst:,.0f} more own money" in said


def test_no_own_money_is_asked_for_where_loan_to_value_passes(found, look):
    assert "own money" not in " ".join(lender_words.limit_sentences(found, "keep", look))
    study = StudyFile.read(DEMO).changed({"money.lender.highest_loan_to_value": 1.5}).study
    passing = Look(study, "metric", Currency("USD"))
    said = " ".join(lender_words.limit_sentences(stress_test(study), "separate", passing))
    assert "Loan to value" not in said


def test_owners_draws_that_nobody_entered_are_said_beside_the_cover(found, look):
    assert (
        lender_words.cards_html(found, "separate", look).count("no owner&#x27;s draws entered") == 2
    )
    study = StudyFile.read(DEMO).changed({"money.lender.owner_draws": 3000}).study
    entered = Look(study, "metric", Currency("USD"))
    test = stress_test(study)
    assert "draws of $3,000 a month entered" in lender_words.cards_html(test, "separate", entered)
    said = " ".join(lender_words.limit_sentences(test, "separate", entered))
    assert "Owner's draws: $3,000 a month (entered)." in said
    assert "a month more drawn" in said


def test_volume_is_said_in_orders(found, look):
    study = look.study
    orders = sum(job.orders_per_month.likely for job in study.jobs.values())
    volume = CoverVolume("separate", 1.25, 0.5, VolumeReason.FOUND, True, (0.05, 3.0))
    (said,) = words.volume_sentences([volume], "separate", study)
    assert said.endswith(f"50% of the orders that the study begins with: {orders / 2:,.0f} of "
                         f"{orders:,.0f} a month.")  # fmt: skip


def test_volume_is_said_once_where_nothing_is_due(look):
    nothing = [CoverVolume("keep", level, np.nan, VolumeReason.NO_DEBT_SERVICE, False, (0.05, 3.0))
               for level in (1.0, 1.25)]  # fmt: skip
    assert len(words.volume_sentences(nothing, "keep", look.study)) == 1


def test_debt_without_a_machine_has_a_cross_and_no_remedy():
    """Both machines are sold in month 24; the study's own loan runs for 60 months."""
    place = "alternatives.separate.machines"
    changes = {f"{place}.{k}.{entry}": value for k in (0, 1)
               for entry, value in (("sold_in_month", 24), ("sale_proceeds", 5000))}  # fmt: skip
    study = StudyFile.read(DEMO).changed(changes).study
    test, shown = stress_test(study), Look(study, "metric", Currency("USD"))
    assert words.stress_table(test, "separate", shown).rows[0][3] == "✗ no machine"
    assert "cannot pass" in lender_words.limit_sentences(test, "separate", shown)[0]
    assert "nan" not in str(words.stress_table(test, "separate", shown)).lower()


def test_without_a_loan_every_gap_has_its_reason(found, look):
    assert "nothing is due to a lender" in lender_words.cards_html(found, "keep", look)
    assert pictures.owed_picture(found, "keep", look) is None
    assert "nan" not in str(pictures.cover_picture(found, look).table).lower()


def test_no_chart_of_what_is_owed_where_nothing_is():
    page = BankPage(DEMO)
    page.view()
    assert page._owed_drawn.layout.display is None
    page._changed("choice", "keep")
    assert page._owed_drawn.layout.display == "none"
    assert "Nothing is owed for this choice" in page._nothing_owed.value


def test_the_page_opens_on_the_choice_that_leaves_most_and_says_for_which_it_is():
    page = BankPage(DEMO)
    page.view()
    gains = {key: each.gain[0] for key, each in page.found.each.items()}
    best = max(gains, key=gains.get)
    assert page.values["choice"] == best
    name = page.found.appraisal.outcomes[best].name
    assert f"All that follows is for {name}, the first of all choices." in page.about.value
    page._changed("choice", "separate")
    behind = money_text(gains[best] - gains["separate"], Currency("USD"))
    assert f"{name} comes first, with {behind} more." in page.about.value


def test_where_no_purchase_pays_the_page_opens_on_the_best_of_them(look):
    ranked = Verdict(("keep", "staged", "separate"), (0.0, -1.0, -2.0), (), (), False)
    assert words.opening_choice(ranked, look.study) == "staged"
    alone = Verdict(("keep",), (0.0,), (), (), False)
    assert words.opening_choice(alone, look.study) == "keep"


def test_far_above_the_minimum_the_axis_of_cover_is_logarithmic_and_a_jump_has_its_reason(
    found, look
):
    picture = pictures.cover_picture(found, look)
    scale = picture.figure["layout"]["yaxis"]
    covers = [each for trace in picture.figure["data"] for each in trace["y"]]
    assert scale["type"] == "log"
    assert scale["range"][0] < np.log10(min(1.25, *covers))
    assert scale["range"][1] > np.log10(max(covers))
    assert "The axis is logarithmic" in picture.reading
    due = found.each["staged"].view.debt_service_by_year[0]
    fall = f"from {look.money(due[4])} to {look.money(due[5])}"
    assert f"jumps in year 6, as debt service falls {fall}" in picture.reading


def test_where_a_cover_is_not_above_zero_the_axis_is_cut_and_says_where():
    changes = {"money.lender.owner_draws": 16_500}
    study = StudyFile.read(DEMO).changed(changes).study
    test = stress_test(study)
    covers = np.concatenate([each.view.by_year.ratio[0] for each in test.each.values()])
    assert np.nanmin(covers) < 0.0
    picture = pictures.cover_picture(test, Look(study, "metric", Currency("USD")))
    assert picture.figure["layout"]["yaxis"]["range"][1] == 10.0
    assert "The axis ends at 10" in picture.reading


def test_evidence_counts_the_studys_own_sources(found, look):
    known = swings(look.study)
    sources = [quantity.source for _, quantity in look.study.quantities()]
    without = sources.count("default") + sources.count("assumed")
    said = evidence.evidence_sentences(look, known)
    assert f"Of the {len(sources)} figures" in said[0]
    assert f"{without} are assumed or default" in said[0]
    assert "owner's draws $0 a month (default)" in said[1]
    table = evidence.evidence_table(known, look)
    assert len(table.rows) == 10
    assert [row[4] for row in table.rows] == [each.quantity.source for each in known.each[:10]]
    moved = [abs(each.gains[:, 2] - each.gains[:, 1] - known.gains[2] + known.gains[1]).max()
             for each in known.each[:10]]  # fmt: skip
    assert [row[5] for row in table.rows] == [look.money(float(each)) for each in moved]


def test_another_definition_of_cover_is_shown_and_counted():
    page = BankPage(DEMO)
    page.view()
    before = page.found.each["separate"].view.lowest_year.ratio[0]
    page._changed("tax", "no")
    view = page.found.each["separate"].view
    assert view.definition == CoverDefinition(after_tax=False)
    assert view.lowest_year.ratio[0] > before
    assert "before tax" in page._defined.value


def test_a_study_without_a_loan_of_its_own_is_shown_as_paid_in_own_money(tmp_path: Path):
    path = tmp_path / "study.toml"
    StudyFile.read(DEMO).changed({"money.loan": None}).write(path)
    page = BankPage(path)
    page.view()
    assert "own money, as the study has no loan and no offer" in page.request.terms.value
    assert "Nothing is owed for this choice" in page._nothing_owed.value
    assert "nothing due" in page._stress.value
    assert "No loan of this choice to show" in page.amortized.nothing.value
    assert "nan" not in (page._stress.value + page._tests.value + page._cards.value).lower()


def test_names_of_the_study_are_escaped(tmp_path: Path):
    nasty = "<img src=x onerror=alert(1)>"
    file = StudyFile.read(DEMO).changed({
        "shop_name": nasty, "alternatives.separate.name": nasty,
    })  # fmt: skip
    path = tmp_path / "study.toml"
    file.write(path)
    page = BankPage(path)
    page.view()
    page._changed("choice", "separate")
    shown = [page._cards.value, page._stress.value, page._repaid.value, page.request.table.value,
             page.request.terms.value, page.about.value, page._tests.value]  # fmt: skip
    assert not any("<img" in html for html in shown)
    assert any("&lt;img" in html for html in shown)
