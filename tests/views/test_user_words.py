"""What a user wrote stays words: on every page, in drawings, in the workbook.

All pages, that of exploring too, are opened in a browser by ``tests/stress/hostile_words.py``.
"""

from collections.abc import Callable
from pathlib import Path

import ipywidgets as widgets
import pytest
from stress.hostile_words import FORMULA, MARKUP, Markup, formulas, hostile_text

from capex.shopfloor.plan import floor_plan
from capex.study import StudyFile
from capex.views.bank.page import bank_page
from capex.views.costs.page import costs_page
from capex.views.decide import decide_page
from capex.views.documents.workbook.document import workbook
from capex.views.plan_svg import plan_svg
from capex.views.shop.page import shop_page
from capex.views.shop_floor import shop_floor_page
from capex.views.year_on.page import year_on_page

PAGES = (
    bank_page, costs_page, decide_page, shop_page, shop_floor_page, year_on_page,
)  # fmt: skip


@pytest.fixture(scope="module")
def study(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("words") / "own.toml"
    path.write_text(hostile_text(MARKUP), encoding="utf-8")
    return path


@pytest.mark.parametrize("make", PAGES, ids=lambda make: make.__name__)
def test_no_word_becomes_markup_on_a_page(
    make: Callable[[], widgets.Widget], study: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("CAPEX_STUDY", str(study))
    monkeypatch.setenv("CAPEX_DATA", str(study.parent))
    monkeypatch.delenv("QUERY_STRING", raising=False)
    widgets.Widget.close_all()
    make()
    known = list(widgets.widget._instances.values())
    pieces = [Markup(each.value) for each in known if isinstance(each, widgets.HTML)]
    assert [caught for piece in pieces for caught in piece.caught] == []
    assert "onerror=alert" in "".join(word for piece in pieces for word in piece.words)
    assert not any(getattr(each, "description_allow_html", False) for each in known)


def test_a_page_that_cannot_open_says_why_without_markup(
    study: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    broken = tmp_path / "own.toml"
    broken.write_text(study.read_text().replace('kind = "rectangle"', f"kind = '''{MARKUP}'''"))
    monkeypatch.setenv("CAPEX_STUDY", str(broken))
    monkeypatch.setenv("CAPEX_DATA", str(tmp_path))
    widgets.Widget.close_all()
    decide_page()
    pieces = [Markup(each.value) for each in widgets.widget._instances.values()
              if isinstance(each, widgets.HTML)]  # fmt: skip
    assert [caught for piece in pieces for caught in piece.caught] == []
    assert "onerror=alert" in "".join(word for piece in pieces for word in piece.words)


def test_no_word_becomes_an_element_of_the_floor_plan(study: Path) -> None:
    read = StudyFile.read(study).study
    drawn = Markup(plan_svg(floor_plan(read, "separate"), "metric"))
    assert drawn.caught == []
    assert "onerror=alert" in "".join(drawn.words)


def test_no_word_becomes_a_formula_of_the_workbook() -> None:
    found, words = formulas(workbook(StudyFile.parsed(hostile_text(FORMULA)).study))
    assert found == []
    assert words > 10
