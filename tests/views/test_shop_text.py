"""The text of a study being edited: what is typed stands in it, and nothing else changes."""

import re
import tomllib
from datetime import date

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pydantic import BaseModel

from capex.errors import InputError, StudyError
from capex.study import Study, StudyFile, data_folder
from capex.study.machines import Machine
from capex.views.shop.slots import hints, introduction, slot_at, slots
from capex.views.shop.study_text import StudyText

TEXT = StudyFile.read(data_folder() / "studies" / "quenlow.toml").text
TODAY = date(2026, 11, 27)


def shop(text: str = TEXT) -> StudyText:
    return StudyText(text, today=lambda: TODAY)


def parts(model: type[BaseModel]) -> set[type[BaseModel]]:
    found = {model}
    for slot in slots(model).values():
        inner = slot
        while inner.inner is not None:
            inner = inner.inner
        if inner.part is not None:
            found |= parts(inner.part)
    return found


def test_law_every_place_of_the_demo_has_a_slot_that_takes_what_stands_there() -> None:
    study, edited = Study.from_mapping(tomllib.loads(TEXT)), shop()
    for path, quantity in study.quantities():
        slot = slot_at(path, edited.mapping)
        assert (slot.shape, slot.entry) == ("quantity", quantity.entry), path


def test_every_field_of_every_part_has_a_slot() -> None:
    for part in parts(Study):
        assert set(slots(part)) == set(part.model_fields)
        assert set(hints(part)) == set(part.model_fields)
    assert introduction(Machine).startswith("One model of machine")


def test_a_typed_value_is_entered_today_and_keeps_spread_note_and_all_other_lines() -> None:
    edited = shop()
    edited.set("inks.solvent.laid_down", "12 mL/m²")
    entry = edited.raw("inks.solvent.laid_down")
    assert (entry["low"], entry["likely"], entry["high"]) == ("7 mL/m²", "12 mL/m²", "16 mL/m²")
    assert (entry["source"], entry["date"]) == ("entered", TODAY)
    assert "published 10.8 to 16.1" in entry["note"]
    old, new = TEXT.splitlines(), edited.text.splitlines()
    assert len(old) == len(new)
    differing = [k for k in range(len(old)) if old[k] != new[k]]
    assert [old[k].split()[0] for k in differing] == ["laid_down"]


def test_a_default_is_written_out_and_an_empty_text_brings_it_back() -> None:
    edited = shop()
    edited.set("shop.promises.lead_time", "7")
    assert edited.study.shop.promises.lead_time.source == "entered"
    edited.set("shop.promises.lead_time", "")
    assert edited.study.shop.promises.lead_time.source == "default"
    edited.set_part("shop.promises.lead_time", "source", "measured")
    assert edited.raw("shop.promises.lead_time")["value"] == 5


def test_ends_of_a_spread_are_entered_one_by_one_and_taken_away_together() -> None:
    edited, path = shop(), "machines.mid_all_in_one.price"
    edited.set_part(path, "low", "20000")
    assert "has one end of a spread" in edited.problems[0].bound
    edited.set_part(path, "high", "25000")
    assert edited.problems == ()
    price = edited.study.machines["mid_all_in_one"].price
    assert (price.low, price.likely, price.high) == (20000.0, 22500.0, 25000.0)
    edited.set_part(path, "low", "")
    edited.set_part(path, "high", "")
    assert edited.raw(path)["value"] == 22500.0
    assert edited.problems == ()


def test_a_refused_value_stays_in_the_text_and_the_last_study_beside_it() -> None:
    edited = shop()
    before = edited.study
    edited.set("shop.people.wage", "a lot")
    edited.set("machines.old_cutter.length", "-3 m")
    assert {each.path for each in edited.problems} == {
        "shop.people.wage", "machines.old_cutter.length",
    }  # fmt: skip
    assert edited.study is before
    assert edited.raw("shop.people.wage")["likely"] == "a lot"


def test_parts_are_copied_added_and_removed() -> None:
    edited = shop()
    path = edited.copy("alternatives.keep")
    assert path == "alternatives.keep_things_as_they_are_copy"
    assert len(edited.study.alternatives) == 5
    assert not edited.study.alternatives["keep_things_as_they_are_copy"].baseline
    edited.append(f"{path}.machines", {"machine": "mid_roll_printer"})
    assert len(edited.study.alternatives["keep_things_as_they_are_copy"].machines) == 4
    edited.remove(f"{path}.machines.0")
    assert len(edited.study.alternatives["keep_things_as_they_are_copy"].machines) == 3
    edited.remove(path)
    assert edited.problems == ()
    assert list(edited.study.alternatives) == ["keep", "separate", "all_in_one", "staged"]
    edited.remove("machines.mid_contour_cutter")
    assert all("machine" in each.path for each in edited.problems)
    while edited.can_undo:
        edited.undo()
    assert edited.text == TEXT


def test_a_room_and_a_loan_are_added_where_there_are_none() -> None:
    edited = shop()
    edited.remove("room")
    assert edited.study.room is None
    edited.add("room", {"width": "8 m", "depth": "6 m", "doors": {"one": {
        "wall": "near", "position": "1 m", "width": "1 m"}}})  # fmt: skip
    assert edited.study.room is not None
    edited.add("offers.all_in_one_cash.loan", {})
    assert {each.path for each in edited.problems} >= {"offers.all_in_one_cash.loan.term"}
    with pytest.raises(InputError, match="is there already"):
        edited.add("room", {})


def test_one_month_of_a_default_season_writes_out_all_twelve() -> None:
    edited = shop(re.sub(r"(?s)seasonality = \[.*?\]\n", "", TEXT, count=1))
    edited.set("shop.seasonality.4", "1.4")
    edited.set("shop.seasonality.0", "0.6")
    assert edited.problems == ()
    assert [factor.source for factor in edited.study.shop.seasonality].count("default") == 10


def test_a_text_that_is_no_toml_is_refused_and_changes_nothing() -> None:
    edited = shop()
    with pytest.raises(StudyError):
        edited.replace("shop = [")
    assert edited.text == TEXT
    with pytest.raises(InputError, match="is not known here"):
        edited.set("machines.old_cutter.colour", "red")


PLACES = [
    "machines.old_cutter.price", "machines.mid_all_in_one.cutting.acceleration", "jobs.banners.cut",
    "jobs.sticker_sets.cut.segments", "alternatives.staged.machines.1.month", "shop.seasonality.3",
    "money.start", "offers.roll_printer_lease.lease.rent", "alternatives.keep.bought_in.banners",
    "shop.handling.load_time", "room.doors.yard.swing", "alternatives.keep.baseline",
]  # fmt: skip
COPIED = ["machines.laminator", "jobs.banners", "alternatives.staged", "offers.all_in_one_lease"]


@settings(deadline=None, max_examples=8)
@given(
    st.lists(
        st.one_of(
            st.tuples(st.just("set"), st.sampled_from(PLACES),
                      st.sampled_from(["", "3", "54 in", "x'\"\\\n#", "yes", "2027-02-01"])),
            st.tuples(st.just("copy"), st.sampled_from(COPIED), st.just("")),
            st.tuples(st.just("remove"), st.sampled_from(COPIED), st.just("")),
        ),
        min_size=1, max_size=5,
    )
)  # fmt: skip
def test_law_the_text_reads_back_as_what_is_shown_and_undo_brings_every_text_back(
    steps: list[tuple[str, str, str]],
) -> None:
    edited = shop()
    seen = [edited.text]
    for kind, path, text in steps:
        if kind != "set" and edited.raw(path) is None:
            continue
        if kind == "set":
            edited.set(path, text)
        elif kind == "copy":
            edited.copy(path)
        else:
            edited.remove(path)
        assert tomllib.loads(edited.text) == edited.mapping
        if edited.text != seen[-1]:
            seen.append(edited.text)
    for text in reversed(seen[:-1]):
        edited.undo()
        assert edited.text == text
    for text in seen[1:]:
        edited.redo()
        assert edited.text == text


def test_law_reading_only_what_changed_gives_the_same_study_and_problems() -> None:
    edited = shop()
    for path, text in [
        ("machines.old_cutter.price", "4000"), ("shop.people.wage", "24 USD/h"),
        ("jobs.banners.film", "no_such_film"), ("jobs.banners.film", "banner"),
        ("machines.old_cutter.price", "dear"), ("currency", "EUR"), ("currency", "USD"),
    ]:  # fmt: skip
        edited.set(path, text)
        try:
            whole = Study.from_mapping(tomllib.loads(edited.text))
        except StudyError as error:
            found = {(each.path, each.bound) for each in error.problems}
            assert {(each.path, each.bound) for each in edited.problems} == found
        else:
            assert edited.problems == ()
            assert edited.study == whole
