"""The bank page: its figures are the engine's, its gaps have reasons, its words are escaped."""

from __future__ import annotations

from pathlib import Path

import pytest

from capex.decision.stress import stress_test
from capex.finance.coverage import CoverDefinition
from capex.study import StudyFile, data_folder, read_study
from capex.views.bank import pictures, words
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


def test_law_own_money_and_loan_pay_for_all_that_is_bought(found, look):
    for key, figures in found.each.items():
        rows = dict(words.request_table(found.appraisal.outcomes[key], look).rows)
        ledger = found.appraisal.outcomes[key].path.ledger
        loan = ledger.line("loan")[0].sum() if key != "keep" else 0.0
        assert rows["Of it by loan"] == look.money(float(loan))
        assert figures.view.owed[0].max() <= loan + 1e-6


def test_law_the_loan_by_year_is_repaid_in_full(found, look):
    table = words.repayment_table(found.appraisal.outcomes["separate"], look)
    assert table.rows[-1][-1] == look.money(0.0)
    assert words.repayment_table(found.appraisal.outcomes["keep"], look) is None


def test_stress_rows_are_the_engines_figures(found, look):
    table, figures = words.stress_table(found, "all_in_one", look), found.each["all_in_one"]
    assert [row[0] for row in table.rows] == [found.amounts.words[case] for case in found.cases]
    for k, row in enumerate(table.rows):
        assert row[1] == money_text(float(figures.gain[k]), look.currency)
        assert row[2] == f"{figures.view.lowest_year.ratio[k]:.2f}"
        assert row[5].startswith("✓" if figures.meets[k] else "✗")


def test_without_a_loan_every_gap_has_its_reason(found, look):
    assert "nothing is due to a lender" in words.cards_html(found, "keep", look)
    assert "nothing is borrowed" in pictures.owed_picture(found, "keep", look).reading.lower()
    for picture in (
        pictures.cover_picture(found, look),
        pictures.owed_picture(found, "keep", look),
    ):
        assert "nan" not in str(picture.table).lower()


def test_another_definition_of_cover_is_shown_and_counted():
    page = BankPage(DEMO)
    page.view()
    before = page.found.each["separate"].view.lowest_year.ratio[0]
    page._changed("tax", "no")
    view = page.found.each["separate"].view
    assert view.definition == CoverDefinition(after_tax=False)
    assert view.lowest_year.ratio[0] > before
    assert "before tax" in page._defined.value


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
    shown = [page._cards.value, page._stress.value, page._repaid.value, page._request.value]
    assert not any("<img" in html for html in shown)
    assert any("&lt;img" in html for html in shown)
