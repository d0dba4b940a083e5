"""How pages open on odd studies, and what they say when building them fails."""

import importlib
from collections.abc import Callable
from pathlib import Path
from typing import Any

import ipywidgets as widgets
import pytest
import tomlkit

from capex.study import data_folder
from capex.views import guard
from capex.views.decide import study_page

Edit = Callable[[Any], None]

#: Module, function of the page, and what of the module builds it.
PAGES = [
    ("capex.views.decide", "decide_page", "study_page"),
    ("capex.views.shop.page", "shop_page", "ShopPage"),
    ("capex.views.shop_floor", "shop_floor_page", "floor_page"),
    ("capex.views.costs.page", "costs_page", "CostsPage"),
    ("capex.views.bank.page", "bank_page", "BankPage"),
    ("capex.views.explore.page", "explore_page", "ExplorePage"),
    ("capex.views.year_on.page", "year_on_page", "YearOnPage"),
]


def texts(page: widgets.Widget) -> str:
    """All HTML of a page."""
    own = page.value if isinstance(page, widgets.HTML) else ""
    return own + "".join(texts(child) for child in getattr(page, "children", ()))


def test_every_notebook_is_among_the_pages() -> None:
    folder = Path(__file__).parents[2] / "notebooks"
    said = {path: path.read_text() for path in folder.glob("*.ipynb")}
    found = {path.stem for path in said for _, function, _ in PAGES if function in said[path]}
    assert found == {path.stem for path in said}


@pytest.mark.parametrize(("module", "function", "builder"), PAGES)
@pytest.mark.parametrize("preheated", [False, True])
def test_a_fault_while_a_page_is_built_is_logged_and_said_with_what_to_do(
    module: str, function: str, builder: str, preheated: bool,
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch,
) -> None:  # fmt: skip
    def broken(*_arguments: object, **_named: object) -> None:
        raise ZeroDivisionError("a secret of the shop")

    page = importlib.import_module(module)
    monkeypatch.setattr(page, builder, broken)
    monkeypatch.setattr(guard.platformdirs, "user_log_path", lambda *_a, **_n: tmp_path)
    if preheated and builder in ("study_page", "ShopPage"):  # which wait for no visit here
        monkeypatch.setenv("VOILA_PREHEAT", "True")
    said = texts(getattr(page, function)())
    log = (tmp_path / "capex.log").read_text()
    reference = log.split("[", 1)[1].split("]", 1)[0]
    assert f"(reference {reference})" in said
    assert "This page cannot be shown" in said
    assert "reload this page" in said
    assert "a secret of the shop" not in said
    assert "a secret of the shop" in log


def _nothing(study: Any) -> None:
    study["alternatives"].add("nothing", {"name": "Nothing"})


def _nothing_and_banners_refused(study: Any) -> None:
    _nothing(study)
    del study["jobs"]["banners"]["bought_in_price"]


def _all_sold(study: Any) -> None:
    sold = {"machine": "old_cutter", "owned": True, "sold_in_month": 0, "sale_proceeds": 0}
    study["alternatives"].add("sold", {"name": "Sold", "machines": [sold]})


def _only_a_cutter(study: Any) -> None:
    study["alternatives"].add("c", {"name": "C", "machines": [{"machine": "mid_contour_cutter"}]})


def _one_alternative(study: Any) -> None:
    del study["offers"]
    for key in list(study["alternatives"])[1:]:
        del study["alternatives"][key]


def _one_alternative_and_nothing(study: Any) -> None:
    _one_alternative(study)
    study["alternatives"]["keep"]["machines"] = []


def _one_job_type(study: Any) -> None:
    for key in list(study["jobs"])[1:]:
        del study["jobs"][key]
    only = next(iter(study["jobs"]))
    bought_in = study["alternatives"]["keep"]["bought_in"]
    study["alternatives"]["keep"]["bought_in"] = {only: bought_in[only]}
    del study["uncertainty"]["correlations"]
    study["shop"]["after_purchase"].pop("recovered_demand", None)


def _long_names(study: Any) -> None:
    for table in ("alternatives", "jobs", "machines"):
        for key, entry in study[table].items():
            entry["name"] = f"{key} {'of the workshop beside the yard ' * 2}"[:60].strip()


@pytest.fixture
def page_of(tmp_path: Path) -> Callable[[Edit], str]:
    """Texts of the decision's page on the demo's study once it was edited."""
    demo = (data_folder() / "studies" / "quenlow.toml").read_text()

    def shown(edit: Edit) -> str:
        study = tomlkit.parse(demo)
        edit(study)
        path = tmp_path / "odd.toml"
        path.write_text(tomlkit.dumps(study))
        return texts(study_page(path))

    return shown


@pytest.mark.parametrize(
    ("edit", "said"),
    [
        (_nothing, "This alternative has no machines: all its work is bought in."),
        (
            _nothing_and_banners_refused,
            "This alternative has no machines: its work is bought in where it can be. "
            "Banners: refused, no printer here.",
        ),
        (_all_sold, "This alternative has no machines: all its work is bought in."),
        (_only_a_cutter, "no printer and no laminator here"),
        (_one_alternative, "is the only choice in this study"),
        (_one_alternative_and_nothing, "This alternative has no machines"),
        (_one_job_type, "Sticker sets: "),
        (_long_names, "staged of the workshop beside the yard of the workshop besid"),
    ],
)
def test_decide_opens_on_odd_studies(page_of: Callable[[Edit], str], edit: Edit, said: str) -> None:
    shown = page_of(edit)
    assert said in shown
    assert 'role="alert"' not in shown


def test_a_choice_without_machines_has_no_fullest_station_and_no_lead_time(
    page_of: Callable[[Edit], str],
) -> None:
    card = page_of(_nothing).split('data-alternative="nothing"')[1]
    for term in ("Fullest station", "Lead time, slowest month"):
        assert f"<dt>{term}</dt><dd>–<small>nothing is made in the house</small></dd>" in card
