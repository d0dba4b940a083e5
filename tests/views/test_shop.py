"""The page of the own shop without a browser: forms, tables, order book, artwork, saving."""

import re
import tomllib
from collections.abc import Callable
from pathlib import Path

import pytest

from capex.errors import InputError, StoreError
from capex.study import StudyFile, data_folder
from capex.study.saved_studies import SavedStudies
from capex.study.titled import without_name
from capex.views.request import PageRequest
from capex.views.shop.forms import field_paths, form_messages, form_values, part_group, table_group
from capex.views.shop.head import place_words
from capex.views.shop.page import ShopPage
from capex.views.shop.saving import Saving
from capex.views.shop.sections import SECTIONS, act
from capex.views.shop.state import ShopState
from capex.views.shop.study_text import StudyText

DEMO = data_folder() / "studies" / "quenlow.toml"
TEXT = StudyFile.read(DEMO).text
BOOK = data_folder() / "orders" / "quenlow_orders.csv"


def at_once(work: Callable[[], object], done: Callable[..., None]) -> None:
    done(work)


@pytest.fixture(autouse=True)
def own_store(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setenv("CAPEX_DATA", str(tmp_path))


@pytest.fixture
def page() -> ShopPage:
    made = ShopPage(PageRequest(DEMO), at_once)
    made.view()
    assert made.state.trouble is None
    return made


@pytest.fixture
def quiet(monkeypatch: pytest.MonkeyPatch) -> ShopPage:
    """A page that works nothing out, for what needs no verdict."""
    monkeypatch.setattr(ShopState, "_work_out", lambda self: None)
    made = ShopPage(PageRequest(DEMO), at_once)
    made.view()
    assert made.state.trouble is None
    return made


def test_every_quantity_of_the_study_has_a_field_on_the_page() -> None:
    edited = StudyText(TEXT)
    groups = [group for _, _, _, made in SECTIONS for group in made(edited)]
    groups.append(table_group(edited, "jobs", "Jobs"))
    shown = set(field_paths(groups))
    paths = {path for path, _ in edited.study.quantities() if not path.startswith("levers.")}
    assert paths - shown == set()


def test_names_of_users_stand_in_titles_as_they_are_and_fields_name_their_place() -> None:
    edited = StudyText(TEXT.replace('name = "Old cutter"', 'name = "<img src=x>"'))
    group = table_group(edited, "machines", "Machines")["groups"][4]
    assert group["title"] == "<img src=x>"
    assert place_words(edited, "machines.old_cutter.price") == "<img src=x>: price"


def test_a_shop_is_called_invented_until_its_figures_are_the_owner_s(
    quiet: ShopPage, tmp_path: Path
) -> None:
    assert "is invented" in quiet.head.counts.value
    quiet.saving.fields.told(None, {"kind": "pressed", "key": "save"}, [])
    assert quiet.saving.study is not None
    own_file = tmp_path / "own.toml"
    own_file.write_text(SavedStudies().text(quiet.saving.study))
    saved = ShopPage(PageRequest(own_file), at_once)
    saved.view()
    assert "<strong>The shop that stands here is invented" in saved.head.counts.value
    edited = saved.state.edited
    stated = [path for path, each in edited.study.quantities() if each.source != "default"]

    def own(paths: list[str]) -> None:
        with edited.together():
            for path in paths:
                edited.set_part(path, "source", "measured")

    saved.state.change(lambda: own(stated[: len(stated) // 2]))
    assert "with the invented shop" in saved.head.counts.value
    saved.state.change(lambda: own(stated))
    assert "invented" not in saved.head.counts.value


def test_no_figure_of_the_demo_is_called_entered() -> None:
    for name in ("quenlow", "quenlow_year_on"):
        study = StudyFile.read(DEMO.with_name(f"{name}.toml")).study
        assert {each.source for _, each in study.quantities()} == {"assumed", "default"}


@pytest.mark.parametrize(
    ("text", "raw", "value"),
    [("$18,900", "$18,900", 18900), ("18,900", 18900, 18900), ("18 900", 18900, 18900),
     ("18.9k", "18.9k", 18900), ("18900 dollars", "18900 dollars", 18900)],
)  # fmt: skip
def test_a_price_is_read_as_an_owner_writes_it(
    quiet: ShopPage, text: str, raw: object, value: float
) -> None:
    path = "machines.mid_contour_cutter.price"
    quiet.forms["machines"]._entered(path, "value", text)
    assert quiet.state.edited.problems == ()
    assert quiet.state.study.quantity(path).likely == value
    assert quiet.state.edited.raw(path)["value"] == raw


@pytest.mark.parametrize(
    ("text", "says"),
    [("18,9", "must be written 18.9: a comma only groups thousands, as in 18,900"),
     ("18.900", "may be 18900 or 18.9: write it as one of them")],
)  # fmt: skip
def test_a_price_that_may_be_two_is_asked_for_again(quiet: ShopPage, text: str, says: str) -> None:
    path = "machines.mid_contour_cutter.price"
    quiet.forms["machines"]._entered(path, "value", text)
    assert quiet.forms["machines"].form.messages[path] == says
    assert quiet.forms["machines"].form.values[path]["text"] == text


def test_an_offer_that_has_ended_is_said_where_its_date_is_entered(quiet: ShopPage) -> None:
    path, form = "offers.all_in_one_cash.valid_until", quiet.forms["offers"]
    form._entered(path, "value", "2026-12-31")
    said = "“All-in-one for cash” ends 2026-12-31, one day before the plan starts (2027-01-01)"
    assert quiet.state.edited.problems == ()
    assert said in quiet.head.problems.value
    assert form.form.values[path]["unit"] == "before the plan starts (2027-01-01)"
    chosen = "alternatives.all_in_one.machines.0.offer"
    quiet.forms["alternatives"]._entered(chosen, "value", "all_in_one_cash")
    assert chosen in [each.path for each in quiet.state.edited.problems]
    assert said in quiet.head.problems.value
    form._entered(path, "value", "2027-01-01")
    assert "ends" not in quiet.head.problems.value
    assert form.form.values[path]["unit"] == ""


def test_a_choice_says_which_machine_it_lacks_and_takes_over_those_that_are_there(
    quiet: ShopPage,
) -> None:
    form = quiet.forms["alternatives"]
    form._done("new", "alternatives", "")
    path = "alternatives.new_alternative"
    (shown,) = [each for each in form.form.groups[0]["groups"] if each["path"] == path]
    assert [line[:16] for line in shown["said"]] == ["No machines yet:"]
    form._done("place", f"{path}.machines", "mid_roll_printer")
    form._done("place", f"{path}.machines", "mid_contour_cutter")
    (shown,) = [each for each in form.form.groups[0]["groups"] if each["path"] == path]
    assert any(line.startswith("No laminator here: ") for line in shown["said"])
    assert "Fleet badges" in " ".join(shown["said"])
    assert shown["short"]
    (take,) = [each for each in shown["actions"] if each["do"] == "take_over"]
    assert take["label"].endswith(": Old roll printer, Old cutter, Roll laminator")
    form._done("take_over", path, "")
    (shown,) = [each for each in form.form.groups[0]["groups"] if each["path"] == path]
    assert (shown["said"], shown["short"]) == ([], "")
    assert not any(each["do"] == "take_over" for each in shown["actions"])
    placed = quiet.state.study.alternatives["new_alternative"].machines
    assert [each.owned for each in placed] == [False, False, True, True, True]
    quiet.state.change(quiet.state.edited.undo)
    assert len(quiet.state.study.alternatives["new_alternative"].machines) == 2


def test_what_is_added_or_copied_twice_has_two_names(quiet: ShopPage) -> None:
    for key in ("alternatives", "offers", "machines"):
        form = quiet.forms[key]
        table = quiet.state.edited.raw(key)
        one = f"{key}.{next(iter(table))}"
        for _ in range(2):
            form._done("copy", one, "")
            form._done("new", key, "")
        names = [each["name"] for each in quiet.state.edited.raw(key).values()]
        assert len(set(names)) == len(names)
        assert not [each for each in quiet.state.edited.problems if each.path.endswith(".name")]


def test_two_choices_of_one_name_are_said_at_the_name(quiet: ShopPage) -> None:
    form = quiet.forms["alternatives"]
    form._entered("alternatives.staged.name", "value", "keep THINGS as they are")
    assert form.form.messages["alternatives.staged.name"] == (
        "is the name of another alternative too: call one of them something else"
    )


def test_a_range_that_refuses_says_where_it_is_changed(quiet: ShopPage) -> None:
    form = quiet.forms["money"]
    form._entered("shop.premises.rent", "value", "6000 USD/m²/year")
    assert "change low and high too" in form.form.messages["shop.premises.rent"]


def test_user_text_never_becomes_markup_in_the_head(page: ShopPage) -> None:
    page.state.change(lambda: page.state.edited.set("machines.old_cutter.name", "<img src=x>"))
    page.state.change(lambda: page.state.edited.set("shop_name", "<b>'"))
    page.state.change(lambda: page.state.edited.set("machines.old_cutter.price", "<i>"))
    for shown in (page.head.title.value, page.head.verdict.value, page.head.problems.value):
        assert "<img" not in shown
        assert "<b>" not in shown


def test_a_change_moves_the_verdict_and_a_slip_keeps_it(page: ShopPage) -> None:
    first = page.head.verdict.value
    form = page.forms["machines"].form
    form.told(None, {"kind": "entered", "path": "machines.mid_all_in_one.price", "part": "value",
                     "text": "400000"}, [])  # fmt: skip
    second = page.head.verdict.value
    assert second != first
    assert form.values["machines.mid_all_in_one.price"]["source"] == "entered"
    form.told(None, {"kind": "entered", "path": "machines.mid_all_in_one.price", "part": "value",
                     "text": "dear"}, [])  # fmt: skip
    assert form.values["machines.mid_all_in_one.price"]["text"] == "dear"
    assert "does not begin with a number" in form.messages["machines.mid_all_in_one.price"]
    assert "last study without problems" in page.head.verdict.value
    page.saving.steps.told(None, {"kind": "pressed", "key": "undo"}, [])
    assert page.head.verdict.value == second
    assert form.messages == {}


@pytest.mark.parametrize(
    ("changes", "place"),
    [({"machines.mid_all_in_one.price": "0"}, "machines.mid_all_in_one.price"),
     ({"machines.mid_all_in_one.price": "345"}, "machines.mid_all_in_one.price"),
     ({"offers.all_in_one_loan.price": "345"}, "offers.all_in_one_loan.price")],
)  # fmt: skip
def test_a_price_that_an_offer_s_loan_does_not_go_with_is_named_at_the_price_too(
    quiet: ShopPage, changes: dict[str, str], place: str
) -> None:
    edited = quiet.state.edited
    for path, text in changes.items():
        edited.set(path, text)
    table = place.partition(".")[0]
    messages = form_messages(edited, [table_group(edited, table, "")])
    assert messages[place].startswith(
        "All-in-one on a bank loan, “Balloon: a last larger sum”: must"
    )
    assert "what is borrowed: the price " in messages[place]
    edited.set(place, "dear")
    messages = form_messages(edited, [table_group(edited, table, "")])
    assert "does not begin with a number" in messages[place]


def test_the_ten_inputs_are_those_that_move_the_decision_most(page: ShopPage) -> None:
    found = page.state.found
    assert found is not None
    paths = [each["path"] for each in page.ten.form.form.groups[0]["fields"]]
    assert paths == [each.path for each in found.swings.each[:10]]


def test_a_problem_beside_no_field_stands_at_its_group(quiet: ShopPage) -> None:
    quiet.state.change(lambda: act(quiet.state.edited, "new", "alternatives"))
    quiet.state.change(lambda: act(quiet.state.edited, "add", "offers.all_in_one_cash.lease"))
    messages = quiet.forms["offers"].form.messages
    assert messages["offers.all_in_one_cash.lease.term"] == "is missing"
    every = {each.path for each in quiet.state.edited.problems}
    assert every
    for key in quiet.forms:
        known = set(field_paths(quiet.forms[key].form.groups))
        assert not {p for p in every & known if p not in quiet.forms[key].form.messages}


def test_an_alternative_is_built_from_the_catalogue_and_appraised(page: ShopPage) -> None:
    edited, change = page.state.edited, page.state.change
    change(lambda: act(edited, "catalogue", "machines", "small_roll_printer"))
    change(lambda: act(edited, "new", "alternatives"))
    path = "alternatives.new_alternative"
    for machine in ("small_roll_printer", "old_cutter", "laminator"):
        change(lambda machine=machine: act(edited, "place", f"{path}.machines", machine))
    change(lambda: edited.set(f"{path}.machines.1.owned", "yes"))
    change(lambda: edited.set(f"{path}.machines.2.owned", "yes"))
    assert edited.problems == ()
    assert page.state.found is not None
    assert "new_alternative" in page.state.found.appraisal.outcomes
    with pytest.raises(InputError, match="cannot be done here"):
        act(edited, "sell", path)


def test_a_published_tax_regime_is_copied_and_its_figures_are_changed(quiet: ShopPage) -> None:
    state, form = quiet.state, quiet.forms["tax_regimes"]
    form._done("catalogue", "tax_regimes", "us_macrs_5")
    shown = form.form.values
    assert shown["tax_regimes.us_macrs_5.fractions"]["text"].startswith("0.2; 0.32; 0.192")
    form._entered("tax_regimes.us_macrs_5.fractions", "value", "0.5; 0.3, 0.2")
    form._entered("tax_regimes.us_macrs_5.mid_quarter.3", "value", "0.05 0.38 0.57")
    form._entered("tax_regimes.us_macrs_5.as_of", "value", "2026-10-01")
    assert state.edited.problems == ()
    own = state.study.tax_regimes["us_macrs_5"]
    assert own.fractions == (0.5, 0.3, 0.2)
    assert own.as_of.isoformat() == "2026-10-01"
    assert own.mid_quarter is not None
    assert own.mid_quarter[3] == (0.05, 0.38, 0.57)
    form._entered("tax_regimes.us_macrs_5.fractions", "value", "0.5; much")
    assert "fractions" in next(iter(form.form.messages))
    assert state.study.tax_regimes["us_macrs_5"].fractions == (0.5, 0.3, 0.2)


def test_a_yearly_limit_of_a_tax_regime_is_added_and_taken_out(quiet: ShopPage) -> None:
    state, form = quiet.state, quiet.forms["tax_regimes"]
    form._done("catalogue", "tax_regimes", "us_section_179_bonus_macrs_7")
    place = "tax_regimes.us_section_179_bonus_macrs_7.expensing"
    form._done("append", place, "")
    assert {each.path for each in state.edited.problems} == {
        f"{place}.2.tax_year", f"{place}.2.limit"
    }  # fmt: skip
    form._entered(f"{place}.2.tax_year", "value", "2028")
    form._entered(f"{place}.2.limit", "value", "3000000")
    own = state.study.tax_regimes["us_section_179_bonus_macrs_7"]
    assert [each.tax_year for each in own.expensing] == [2025, 2026, 2028]
    form._done("remove", f"{place}.0", "")
    own = state.study.tax_regimes["us_section_179_bonus_macrs_7"]
    assert [each.tax_year for each in own.expensing] == [2026, 2028]


def test_inputs_that_go_together_are_chosen_by_name(quiet: ShopPage) -> None:
    state, form = quiet.state, quiet.forms["uncertainty"]
    before = len(state.study.uncertainty.correlations)
    place = f"uncertainty.correlations.{before}"
    form._done("append", "uncertainty.correlations", "")
    group = form.form.groups[0]["groups"][0]["groups"][before]
    options = dict(group["fields"][0]["options"])
    assert options["money.discount_rate"] == "Discount rate"
    uncertain = [path for path, each in state.study.quantities() if each.low is not None]
    assert set(options) - {""} == set(uncertain)
    form._entered(f"{place}.one", "value", uncertain[0])
    form._entered(f"{place}.other", "value", uncertain[1])
    form._entered(f"{place}.rank", "value", "0.3")
    assert state.edited.problems == ()
    pair = state.study.uncertainty.correlations[before]
    assert (pair.one, pair.other, pair.rank) == (uncertain[0], uncertain[1], 0.3)
    form._entered(f"{place}.rank", "value", "1.5")
    assert "rank" in next(iter(form.form.messages))


def test_every_kind_of_cut_line_can_be_chosen(quiet: ShopPage) -> None:
    form = quiet.job_forms.form

    def told(path: str, text: str) -> None:
        form.told(None, {"kind": "entered", "path": path, "part": "value", "text": text}, [])

    told("jobs.banners.cut.kind", "circle")
    assert form.messages["jobs.banners.cut.diameter"] == "is missing"
    told("jobs.banners.cut.diameter", "80 mm")
    told("jobs.banners.cut.kind", "artwork")
    assert quiet.state.edited.problems == ()
    told("jobs.banners.cut.kind", "")
    assert quiet.state.study.jobs["banners"].cut is None


def test_cells_of_a_spreadsheet_become_job_types(quiet: ShopPage) -> None:
    grid, rows = quiet.jobs.grid, len(quiet.state.study.jobs)
    row = ["Yard signs", "12", "3", "60 cm", "0.45 m", "Cast wrap film", "6", "", "", "4 min",
           "75", "31", "2 %"]  # fmt: skip
    cells = [[rows, column, text] for column, text in enumerate(row)]
    grid.told(None, {"kind": "cells", "cells": [[4, 10, "140"], *cells]}, [])
    assert quiet.state.edited.problems == ()
    jobs = quiet.state.study.jobs
    assert jobs["banners"].price.likely == 140.0
    assert (jobs["yard_signs"].film, jobs["yard_signs"].width.likely) == ("cast_film", 0.6)
    grid.told(None, {"kind": "cells", "cells": [[rows, 3, "wide"]]}, [])
    assert "does not begin with a number" in grid.messages[f"{rows}.3"]
    assert grid.cells[rows][3] == "wide"
    grid.told(None, {"kind": "add"}, [])
    assert (len(grid.cells), len(quiet.state.edited.mapping["jobs"])) == (rows + 2, rows + 1)


def test_an_order_book_is_looked_at_and_then_put_into_the_shop(quiet: ShopPage) -> None:
    quiet.orders.taken("book.csv", BOOK.read_bytes())
    assert "which account" in quiet.orders.said.value
    assert "Rows left out" in quiet.orders.shown.value
    found = quiet.orders.fields.values
    assert found["price"]
    quiet.orders.put.told(None, {"kind": "pressed", "key": "put"}, [])
    assert quiet.state.edited.problems == ()
    sources = {job.orders_per_month.source for job in quiet.state.study.jobs.values()}
    assert sources == {"measured"}
    quiet.state.change(quiet.state.edited.undo)
    assert quiet.state.edited.text == TEXT


def test_columns_that_are_not_guessed_can_be_chosen(quiet: ShopPage) -> None:
    lines = ["Date;Kind;Qty;Width mm;Height mm;Print;Lam;Cut;Zz"]
    lines += [f"2031-{month:02}-15;Banners;2;2400;1000;y;n;n;130" for month in range(1, 13)]
    quiet.orders.taken("book.csv", "\n".join(lines).encode())
    assert "no column for price" in quiet.orders.said.value
    shown = quiet.orders.fields.values
    found = [shown[key] for key in ("date", "type", "quantity", "width", "price")]
    assert found == ["Date", "Kind", "Qty", "Width mm", ""]  # what was found is the one chosen
    quiet.orders.fields.told(None, {"kind": "changed", "key": "price", "value": "Zz"}, [])
    assert "12 orders from 2031-01-15 to 2031-12-15" in quiet.orders.said.value
    quiet.orders.fields.told(None, {"kind": "changed", "key": "laminate", "value": "= all"}, [])
    quiet.state.change(lambda: quiet.state.edited.set("shop.people.wage", "a lot"))
    quiet.orders.put.told(None, {"kind": "pressed", "key": "put"}, [])
    assert "Put right first" in quiet.orders.answer.value
    assert quiet.orders._found is not None
    assert quiet.orders._found[1].groups[0].laminated == 1.0


def test_a_drawing_becomes_the_cut_line_and_a_bad_one_is_said_where_it_was_given(
    quiet: ShopPage,
) -> None:
    square = (
        '<svg xmlns="http://www.w3.org/2000/svg" width="100mm" height="100mm" '
        'viewBox="0 0 10 10"><path d="M0 0H10V10H0Z"/></svg>'
    )
    quiet.artwork.fields.told(
        None, {"kind": "changed", "key": "job", "value": "floor_graphics"}, []
    )
    quiet.artwork.taken("my square.svg", square.encode())
    assert quiet.state.edited.problems == ()
    cut = quiet.state.study.jobs["floor_graphics"].cut
    assert cut is not None
    assert cut.kind == "artwork"
    assert quiet.state.study.artworks["my_square"] == square
    before = quiet.state.edited.text
    quiet.artwork.taken("broken.svg", b"<svg><path d=")
    assert "broken.svg" in quiet.artwork.take.message
    assert quiet.state.edited.text == before


def test_the_first_save_makes_a_study_and_the_next_a_version(quiet: ShopPage) -> None:
    quiet.state.change(lambda: quiet.state.edited.set("shop.people.wage", "25 USD/h"))
    saving = quiet.saving
    saving.fields.told(None, {"kind": "changed", "key": "name", "value": "Ours"}, [])
    saving.fields.told(None, {"kind": "pressed", "key": "save"}, [])
    store = SavedStudies()
    assert [(each.name, each.versions) for each in store.studies()] == [("Ours", 1)]
    assert saving.study == store.studies()[0].key
    assert f"data-study='{saving.study}@1'" in saving.address.value
    assert store.drafts() == ()
    quiet.state.change(lambda: quiet.state.edited.set("shop.people.wage", "26 USD/h"))
    saving.fields.told(None, {"kind": "changed", "key": "note", "value": "dearer"}, [])
    saving.fields.told(None, {"kind": "pressed", "key": "save"}, [])
    assert [each.note for each in store.versions(saving.study)] == ["dearer", ""]
    assert "26 USD/h" in store.text(saving.study)


def test_whoever_saves_second_is_told_and_loses_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(ShopState, "_work_out", lambda self: None)
    store = SavedStudies()
    first = store.add("Ours", TEXT)
    tabs = [Saving(ShopState(StudyText(TEXT), at_once), first.study, 1) for _ in range(2)]
    for tab, wage in zip(tabs, ("25 USD/h", "26 USD/h"), strict=True):
        tab._state.change(
            lambda tab=tab, wage=wage: tab._state.edited.set("shop.people.wage", wage)
        )
    assert tabs[0].save().passed_over == ()
    assert "Another page" not in tabs[0].said.value
    assert tabs[1].save().passed_over == (2,)
    assert "Another page saved version 2 meanwhile" in tabs[1].said.value
    assert "25 USD/h" in store.text(first.study, 2)


def test_unsaved_work_of_a_closed_page_is_offered_again_with_its_slips(quiet: ShopPage) -> None:
    quiet.state.change(lambda: quiet.state.edited.set("shop.people.wage", "a lot"))
    assert len(SavedStudies().drafts()) == 1
    again = ShopPage(PageRequest(DEMO), at_once)
    again.view()
    assert len(again.saving.offered) == 1
    again.saving._chosen("go_0", "")
    assert again.state.edited.raw("shop.people.wage")["likely"] == "a lot"
    assert again.state.edited.problems
    assert [each.page for each in SavedStudies().drafts()] == [again.saving.page]
    third = ShopPage(PageRequest(DEMO), at_once)
    third.view()
    third.saving._chosen("drop_0", "")
    assert SavedStudies().drafts() == ()


def test_unsaved_work_named_by_the_address_is_gone_on_with(quiet: ShopPage) -> None:
    quiet.state.change(lambda: quiet.state.edited.set("shop.people.wage", "31 USD/h"))
    again = ShopPage(PageRequest(DEMO, draft=quiet.saving.page), at_once)
    again.view()
    assert "31 USD/h" in again.state.edited.text


def broken_store(*_told: object, **_named: object) -> None:
    raise StoreError("studies.sqlite: cannot be written to")


def test_what_could_not_be_kept_or_saved_is_said_until_the_user_acts_again(
    page: ShopPage, monkeypatch: pytest.MonkeyPatch
) -> None:
    said = page.head.trouble
    monkeypatch.setattr(SavedStudies, "keep", broken_store)
    page.forms["money"]._entered("shop.people.wage", "value", "31 USD/h")
    assert page.state.found is not None  # worked out anew after that
    assert "cannot be written to" in said.value
    assert "nor kept on this computer" in page.saving.status.value
    assert "; kept on this computer" not in page.saving.status.value
    monkeypatch.undo()
    monkeypatch.setattr(SavedStudies, "add", broken_store)
    page.saving.fields.told(None, {"kind": "changed", "key": "note", "value": "dearer"}, [])
    assert said.value == ""
    page.saving.fields.told(None, {"kind": "pressed", "key": "save"}, [])
    assert "cannot be written to" in said.value


def test_law_a_name_that_is_refused_saves_nothing(quiet: ShopPage) -> None:
    saving = quiet.saving
    saving.save()
    assert saving.study is not None
    quiet.state.change(lambda: quiet.state.edited.set("shop.people.wage", "31 USD/h"))
    saving.fields.told(None, {"kind": "changed", "key": "name", "value": "x" * 121}, [])
    saving.fields.told(None, {"kind": "pressed", "key": "save"}, [])
    assert "121" in quiet.head.trouble.value or "120" in quiet.head.trouble.value
    assert len(SavedStudies().versions(saving.study)) == 1
    assert saving.unsaved


def test_unsaved_work_of_the_same_version_is_told_apart(quiet: ShopPage) -> None:
    store, first = SavedStudies(), quiet.saving.save()
    for page, wage in (("one", "25 USD/h"), ("other", "26 USD/h")):
        store.keep(page, TEXT.replace("22 USD/h", wage), first.study, 1)
    again = ShopPage(PageRequest(DEMO, study=first.study, version=1), at_once)
    again.view()
    shown = again.saving._drafts.children[1].fields
    labels = [field["label"] for field in shown]
    assert len(labels) == 4
    assert all(re.search(r"\d\d:\d\d:\d\d, from version 1$", label) for label in labels)


def test_unsaved_work_is_named_as_its_owner_wrote_it(quiet: ShopPage) -> None:
    quiet.state.change(lambda: quiet.state.edited.set("shop_name", 'A "new" \\ shop'))
    again = ShopPage(PageRequest(DEMO), at_once)
    again.view()
    fields = again.saving._drafts.children[1].fields
    assert fields[0]["hint"] == 'A "new" \\ shop, never saved'


def test_what_keeps_a_study_from_being_saved_is_said_beside_the_verdict(page: ShopPage) -> None:
    page.forms["money"]._entered("shop.people.wage", "value", "a lot")
    assert "To put right: People, wage: does not begin" in page.head.verdict.value


def test_work_that_was_taken_back_is_no_unsaved_work(quiet: ShopPage) -> None:
    quiet.state.change(lambda: quiet.state.edited.set("shop.people.wage", "31 USD/h"))
    quiet.state.change(quiet.state.edited.undo)
    assert SavedStudies().drafts() == ()


def test_the_file_that_is_handed_out_is_the_text_as_it_stands(quiet: ShopPage) -> None:
    quiet.state.change(lambda: quiet.state.edited.set("shop.people.wage", "31 USD/h"))
    name, _kind, body = quiet.saving._file()
    assert name == "quenlow-graphics.toml"
    assert tomllib.loads(body.decode()) == quiet.state.edited.mapping
    assert without_name(body.decode()) == ("Quenlow Graphics", quiet.state.edited.text)


def test_a_length_is_shown_in_metres_and_inches_whatever_its_default(quiet: ShopPage) -> None:
    group = part_group(quiet.state.edited, "room", "Room")
    hints = {each["path"].rpartition(".")[2]: each["hint"] for each in group["fields"]}
    assert hints["exit_access_width"].endswith("Written like 0.75 m or 30 in.")
    assert hints["packing"].endswith("Written like 1.37 m or 54 in.")


def test_an_offer_s_form_speaks_of_deposits_and_months(quiet: ShopPage) -> None:
    form = quiet.forms["offers"]
    form._done("add", "offers.all_in_one_cash.loan", "")
    assert form.form.messages["offers.all_in_one_cash.loan.annual_rate"] == (
        "is missing; or give “Flat rate a year”"
    )
    group = part_group(quiet.state.edited, "offers.all_in_one_cash.loan", "Loan")
    fields = {each["path"].rpartition(".")[2]: each for each in group["fields"]}
    assert fields["equity"]["label"] == "Deposit (your own money)"
    assert fields["term"]["hint"].endswith("Written like 84 months or 7 years.")
    assert dict(fields["timing"]["options"])["advance"] == "at the start of each month"
    assert "month term" not in str(group)
    whole = part_group(quiet.state.edited, "offers.all_in_one_cash", "Offer")
    kinds = {each["path"].rpartition(".")[2]: each["kind"] for each in whole["fields"]}
    assert (kinds["dated"], kinds["valid_until"]) == ("date", "date")


def test_a_part_without_a_model_is_refused() -> None:
    with pytest.raises(InputError, match="is not known here"):
        part_group(StudyText(TEXT), "machines.old_cutter.wings", "Wings")


def test_a_factor_on_all_work_says_what_it_multiplies() -> None:
    """1 of what? Each lever that is a factor says so behind its value."""
    edited = StudyText(TEXT)
    factors = {path for path, quantity in edited.study.quantities()
               if path.startswith("levers.") and quantity.entry.kind == "number"}  # fmt: skip
    units = {path: form_values(edited, [path])[path]["unit"] for path in factors}
    assert units["levers.demand"] == "× the demand entered"
    assert all(unit.startswith("× the ") for unit in units.values())
