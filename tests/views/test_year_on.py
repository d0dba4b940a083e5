"""The page "A year on" without a browser: what is typed, said, kept and handed out."""

import shutil
from datetime import date
from html import unescape

import pytest

from capex.decision.year_on import year_on
from capex.study import StudyFile, data_folder
from capex.study.saved_studies import SavedStudies
from capex.views import today as calendar
from capex.views.charts.picture import Look
from capex.views.request import requested_study
from capex.views.wording import Currency
from capex.views.year_on import words
from capex.views.year_on.page import YearOnPage
from capex.views.year_on.pictures import figure_picture

STUDIES = data_folder() / "studies"


@pytest.fixture(autouse=True)
def after_the_months(monkeypatch):
    monkeypatch.setattr(calendar, "_fixed", date(2028, 1, 5))


def at_once(work, done):
    done(work)


@pytest.fixture(scope="module")
def file():
    return StudyFile.read(STUDIES / "quenlow_year_on.toml")


@pytest.fixture(scope="module")
def found(file):
    return year_on(file.study)


@pytest.fixture
def page():
    opened = YearOnPage(STUDIES / "quenlow_year_on.toml", at_once)
    opened.view()
    return opened


def look(file, code="USD", rate=1.0):
    return Look(file.study, "metric", Currency(code, rate))


def test_every_recorded_figure_has_its_picture_reading_and_table(file, found):
    for figure, one in found.compared.items():
        picture = figure_picture(found, figure, look(file))
        assert words.FIGURE_NAMES[figure] in picture.reading
        assert len(picture.table.rows) == one.months.size
        (dots,) = [t for t in picture.figure["data"] if t["name"] == "Actual"]
        assert list(dots["x"]) == list(range(1, 13))


def test_money_is_shown_in_the_currency_of_the_page(file, found):
    at_home, abroad = (figure_picture(found, "sales", each).figure["data"][-1]["y"]
                       for each in (look(file), look(file, "EUR", 0.5)))  # fmt: skip
    assert abroad == pytest.approx(0.5 * at_home)
    assert "€" in words.again_sentences(found, look(file, "EUR", 0.5))[0]


def test_the_answer_says_again_and_now(file, found):
    again, now = (says(found, look(file)) for says in
                  (words.again_sentences, words.onward_sentences))  # fmt: skip
    assert again[0].startswith("The choice holds") == found.standing.holds
    assert now[0].startswith("Keep") == found.onward.keep
    assert any("which has been sold" in each for each in now)


def test_a_page_opens_with_its_months_and_says_that_they_are_invented(page, file):
    assert len(page.grid.cells) == 12
    assert "invented" in page.head.value
    assert page.results.said.value == ""
    assert page.chart.version > 0


def test_months_are_kept_as_a_new_version_of_a_saved_study(monkeypatch, tmp_path):
    monkeypatch.setenv("CAPEX_DATA", str(tmp_path))
    saved = SavedStudies()
    key = saved.add("Ours", StudyFile.read(STUDIES / "quenlow.toml").text).study
    monkeypatch.setenv("QUERY_STRING", f"study={key}")
    page = YearOnPage(requested_study(STUDIES), at_once)
    page.view()
    assert page.keep.fields[0]["disabled"]  # nothing to keep
    page.grid.told(None, {"kind": "cells", "cells": [[0, 0, "2027-01"], [0, 1, "130"]]}, [])
    assert not page.keep.fields[0]["disabled"]
    page.keep.told(None, {"kind": "pressed", "key": "keep"}, [])
    assert "Saved as version 2." in page.kept.value
    assert f"{key}@2" in page.kept.value
    assert page.keep.fields[0]["disabled"]
    again = YearOnPage(requested_study(STUDIES), at_once)
    again.view()
    assert again.grid.cells[0][:2] == ["2027-01", "130"]
    again.grid.told(None, {"kind": "cells", "cells": [[0, 1, "many"]]}, [])
    assert again.keep.fields[0]["disabled"]  # what cannot be read is not kept
    assert saved.study(key).versions == 2


def test_a_wrong_cell_keeps_the_last_result_and_is_named(page):
    before, cells = page.chart.version, [list(row) for row in page.grid.cells]
    cells[2][1] = "many"
    page.grid.told(None, {"kind": "cells", "cells": [[2, 1, "many"]]}, [])
    assert set(page.grid.messages) == {"2.1"}
    assert "many" in page.grid.messages["2.1"]
    assert page.grid.cells == cells
    assert "what held before" in page.results.said.value
    assert page.chart.version == before
    page.grid.told(None, {"kind": "cells", "cells": [[2, 1, "30"]]}, [])
    assert page.grid.messages == {}
    assert page.results.said.value == ""


def test_a_month_out_of_order_and_hours_without_wages_are_named(page):
    wide = len(page.grid.columns)
    page.grid.told(None, {"kind": "cells", "cells": [[1, 0, "2027-01"], [3, wide - 4, ""]]}, [])
    assert "must come after" in page.grid.messages["1.0"]
    assert "needs the wages" in page.grid.messages[f"3.{wide - 3}"]


def test_a_row_added_is_read_and_an_emptied_one_goes(page):
    page.grid.told(None, {"kind": "cells", "cells": [[12, 0, "2028-01"], [12, 1, "25"]]}, [])
    assert page.grid.messages == {}
    assert len(page.state.study.actuals.months) == 13
    wide = len(page.grid.columns)
    empty = [[12, column, ""] for column in range(wide)]
    page.grid.told(None, {"kind": "cells", "cells": empty}, [])
    assert len(page.state.study.actuals.months) == 12


def test_orders_in_total_are_those_by_job_type_together(page, file):
    page.fields.told(None, {"kind": "changed", "key": "orders", "value": "total"}, [])
    total = [month.volume for month in file.study.actuals.months]
    assert [float(row[1]) for row in page.grid.cells] == total
    assert [month.volume for month in page.state.study.actuals.months] == total


def test_another_choice_made_is_compared_with_its_own_plan(page):
    before = page.compared.value
    page.fields.told(None, {"kind": "changed", "key": "choice", "value": "separate"}, [])
    assert page.compared.value != before
    assert "Separate machines" in page.answers.value


def test_the_files_hold_the_months_and_what_was_re_estimated(page, found):
    name, _, body = page._study_file()
    assert name == "quenlow_year_on_with_months.toml"
    with_months = StudyFile.parsed(body.decode()).study
    assert with_months.actuals.choice == "all_in_one"
    assert with_months.levers.demand.likely == 1.0
    _, _, body = page._re_estimated_file()
    measured = StudyFile.parsed(body.decode()).study.levers.demand
    assert measured.source == "measured"
    assert measured.likely == pytest.approx(found.values["levers.demand"], rel=1e-6)


def test_a_study_without_months_waits_for_the_first(tmp_path):
    shutil.copy(STUDIES / "quenlow.toml", tmp_path / "own.toml")
    page = YearOnPage(tmp_path / "own.toml", at_once)
    page.view()
    assert "at least one month" in page.results.said.value
    assert page.grid.cells == [["" for _ in page.grid.columns]]
    assert "invented" not in page.head.value
    page.grid.told(None, {"kind": "cells", "cells": [[0, 0, "2027-01"], [0, 1, "118"]]}, [])
    assert page.grid.messages == {}
    assert page.results.said.value == ""
    assert "One month has no interval" in page.ratios.value


def own_page(tmp_path):
    path = tmp_path / "own.toml"
    shutil.copy(STUDIES / "quenlow_year_on.toml", path)
    opened = YearOnPage(path, at_once)
    opened.view()
    return opened


@pytest.mark.parametrize(
    ("today", "said"),
    [
        (date(2028, 1, 1), ""),
        (date(2027, 12, 31), "December 2027 (1 of 12 months) is not over yet: "
                             "today is 31 December 2027"),
        (date(2026, 11, 28), "January 2027 to December 2027 (12 of 12 months) lie in the future: "
                             "today is 28 November 2026"),
    ],
)  # fmt: skip
def test_months_that_are_not_over_are_called_guesses(monkeypatch, tmp_path, today, said):
    monkeypatch.setattr(calendar, "_fixed", today)
    shown = own_page(tmp_path).ahead.value
    assert (said in unescape(shown)) if said else shown == ""
    assert ("is a guess" in shown) == bool(said)


def test_the_demo_s_months_are_invented_and_no_forecast(monkeypatch):
    monkeypatch.setattr(calendar, "_fixed", date(2026, 11, 28))
    opened = YearOnPage(STUDIES / "quenlow_year_on.toml", at_once)
    opened.view()
    assert opened.ahead.value == ""


def _rows(orders, months=12):
    """Notes of the table by input, with orders that stand to those of the plan like this."""
    text = (STUDIES / "quenlow_year_on.toml").read_text()
    file = StudyFile.parsed(text)
    plan = year_on(file.study).compared["orders"].plan
    seen = [{"month": f"2027-{k + 1:02}", "orders": round(float(plan[k]) * orders(k), 3)}
            for k in range(months)]  # fmt: skip
    changed = file.changed({"actuals": {"choice": "all_in_one", "months": seen}})
    return {row[0]: row for row in words.ratios_table(year_on(changed.study)).rows}


def test_a_trend_says_what_was_re_estimated_and_why_it_is_used():
    rows = _rows(lambda k: 0.8 ** (k / 12))
    grown, orders = rows["Orders a year later, over the planned"], rows["Orders"]
    assert grown[1] == "0.800"
    assert "each year has 20% fewer orders than the one before" in grown[4]
    assert "carried on to the end of the plan, from 100% of the planned orders" in grown[4]
    assert "12 months are few" in grown[4]
    assert orders[4].startswith("Not used: the months show a trend")


def test_a_trend_that_chance_may_show_says_that_it_is_not_used_and_orders_do():
    rows = _rows(lambda k: 0.9 if k % 2 else 1.0)
    grown = rows["Orders a year later, over the planned"]
    assert grown[4].startswith("Not used: 12 months that differ as these do")
    assert rows["Orders"][4].startswith("Used: all orders")
    few = _rows(lambda k: 0.9, 3)["Orders a year later, over the planned"]
    assert few[4].startswith("Not re-estimated: a trend needs 6 months")


def test_going_over_says_less_and_more_in_words(file, found):
    said = " ".join(words.onward_sentences(found, look(file)))
    assert "a gain from" not in said
    assert "less over all cases" in said


def test_a_first_table_with_a_problem_points_at_nothing_below(tmp_path):
    path = tmp_path / "own.toml"
    shutil.copy(STUDIES / "quenlow.toml", path)
    opened = YearOnPage(path, at_once)
    opened.view()
    opened._typed([["2027-13", *[""] * 8]])
    assert "stands here once it is put right" in opened.results.said.value
    assert "below" not in opened.results.said.value
