"""Saved studies: no save is ever lost or overwritten, whoever saves and whatever breaks."""

import os
import sqlite3
import stat
import subprocess
import sys
from pathlib import Path

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from capex.errors import InputError, StoreError, StudyError
from capex.study import StudyFile, data_folder
from capex.study.name_checks import hidden_fault
from capex.study.saved_studies import SavedStudies, saved_studies_file

TEXT = StudyFile.read(data_folder() / "studies" / "quenlow.toml").text


def marked(mark: object) -> str:
    """Return the demo's text with a comment that tells it from others."""
    return f"# {mark}\n{TEXT}"


@pytest.fixture
def saved(tmp_path: Path) -> SavedStudies:
    return SavedStudies(tmp_path / "mine" / "studies.sqlite")


def test_every_save_is_a_version_that_comes_back_to_the_last_comment(saved: SavedStudies) -> None:
    key = saved.add("Our shop", marked("first"), "as it is").study
    saved.save(key, marked("second"), "new wage")
    assert [(v.number, v.note, v.made_from) for v in saved.versions(key)] == [
        (2, "new wage", 1), (1, "as it is", None),
    ]  # fmt: skip
    assert saved.text(key, 1) == marked("first")
    assert saved.text(key) == marked("second")


def test_two_pages_on_one_study_lose_nothing_and_the_later_is_told(saved: SavedStudies) -> None:
    key = saved.add("Our shop", marked(0)).study
    one = saved.save(key, marked("one"), made_from=1)
    other = saved.save(key, marked("other"), made_from=1)
    assert (one.number, one.passed_over) == (2, ())
    assert (other.number, other.passed_over, other.made_from) == (3, (2,), 1)
    assert saved.text(key, 2) == marked("one")


def test_restoring_adds_a_version(saved: SavedStudies) -> None:
    key = saved.add("Our shop", marked("old")).study
    saved.save(key, marked("new"))
    again = saved.restore(key, 1)
    assert (again.number, again.note) == (3, "as version 1")
    assert saved.text(key) == marked("old")
    assert saved.text(key, 2) == marked("new")


def test_duplicates_go_their_own_way(saved: SavedStudies) -> None:
    key = saved.add("Our shop", marked("old")).study
    copy = saved.duplicate(key, "What if").study
    saved.save(copy, marked("changed"))
    assert saved.text(key) == marked("old")
    assert {(one.name, one.versions) for one in saved.studies()} == {
        ("Our shop", 1),
        ("What if", 2),
    }


def test_a_removed_study_comes_back_whole(saved: SavedStudies) -> None:
    key = saved.add("Our shop", marked("old")).study
    saved.remove(key)
    assert saved.studies() == ()
    with pytest.raises(InputError, match="is not a saved study"):
        saved.text(key)
    saved.bring_back(key)
    assert saved.text(key) == marked("old")


def test_unsaved_work_is_kept_even_with_problems_and_dropped_on_demand(saved: SavedStudies) -> None:
    saved.keep("page", "wage = ", None)
    saved.keep("page", "wage = 22", None)
    saved.keep("other page", marked("draft"), "key", 3)
    first, second = saved.drafts()
    assert (first.page, first.study, first.made_from) == ("other page", "key", 3)
    assert second.text == "wage = 22"
    saved.drop("page")
    assert [draft.page for draft in saved.drafts()] == ["other page"]


def test_what_has_problems_is_not_saved(saved: SavedStudies) -> None:
    key = saved.add("Our shop", marked("old")).study
    with pytest.raises(StudyError):
        saved.save(key, TEXT.replace('currency = "USD"', 'currency = "usd"'))
    assert len(saved.versions(key)) == 1


@pytest.mark.parametrize("name", ["", "   ", "x" * 121])
def test_refuses_names_that_are_none(saved: SavedStudies, name: str) -> None:
    with pytest.raises(InputError, match="must be 1 to 120 characters"):
        saved.add(name, TEXT)


@pytest.mark.parametrize("sign", ["\0", "\n", "\x7f", "\x85", "\u202e", "\u2067"])
def test_refuses_names_with_characters_that_nobody_sees(saved: SavedStudies, sign: str) -> None:
    code = f"U\\+{ord(sign):04X}"
    with pytest.raises(InputError, match=f"name: .* must not hold the control character {code}"):
        saved.add(f"Our{sign}shop", TEXT)
    key = saved.add("Our shop", TEXT).study
    with pytest.raises(InputError, match=code):
        saved.rename(key, f"Our{sign}shop")
    escaped = f"\\u{ord(sign):04x}"
    hidden = TEXT.replace('shop_name = "Quenlow', f'shop_name = "Quenlow{escaped}')
    with pytest.raises(StudyError, match=f"shop_name: .* must not hold the control .* {code}"):
        saved.save(key, hidden)
    assert [(study.name, study.versions) for study in saved.studies()] == [("Our shop", 1)]


def test_names_of_other_scripts_are_taken(saved: SavedStudies) -> None:
    for name in ("看板", "שלט\u200f 2", "Zoë & “Söhne”", "shop 👩\u200d🎨"):
        assert saved.study(saved.add(name, TEXT).study).name == name


def test_refuses_versions_that_are_none(saved: SavedStudies) -> None:
    key = saved.add("Our shop", TEXT).study
    with pytest.raises(InputError, match="known: 1 to 1"):
        saved.text(key, 2)
    with pytest.raises(InputError, match="known: 1 to 1"):
        saved.save(key, TEXT, made_from=7)
    assert len(saved.versions(key)) == 1


@settings(max_examples=20)
@given(name=st.text(min_size=1, max_size=60).filter(str.strip), note=st.text(max_size=60))
def test_law_any_words_come_back_as_typed(
    tmp_path_factory: pytest.TempPathFactory, name: str, note: str
) -> None:
    saved = SavedStudies(tmp_path_factory.mktemp("words") / "studies.sqlite")
    assume(not hidden_fault(name.strip()))
    key = saved.add(name, TEXT, note).study
    assert saved.studies()[0].name == name.strip()
    assert saved.versions(key)[0].note == note


def test_only_the_owner_can_read(saved: SavedStudies) -> None:
    saved.add("Our shop", TEXT)
    for path in saved.path.parent.iterdir():
        assert stat.S_IMODE(path.stat().st_mode) & 0o077 == 0, path
    assert stat.S_IMODE(saved.path.parent.stat().st_mode) == 0o700


def test_a_damaged_file_is_set_aside_and_saving_begins_anew(saved: SavedStudies) -> None:
    saved.add("Our shop", TEXT)
    body = b"no database at all" * 1000
    saved.path.write_bytes(body)
    with pytest.raises(StoreError, match=r"is damaged .* set aside as studies\.sqlite\.damaged-"):
        SavedStudies(saved.path).studies()
    (aside,) = (
        p
        for p in saved.path.parent.glob("*.damaged-*")
        if not p.name.endswith(("wal", "shm", "txt"))
    )
    assert aside.read_bytes() == body
    assert SavedStudies(saved.path).studies() == ()


def test_a_file_of_a_newer_layout_is_left_alone(saved: SavedStudies) -> None:
    with sqlite3.connect(saved.path) as connection:
        connection.execute("PRAGMA user_version = 99")
    connection.close()
    with pytest.raises(StoreError, match="written by a newer capex"):
        SavedStudies(saved.path)


def test_the_folder_can_be_chosen(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setenv("CAPEX_DATA", str(tmp_path / "elsewhere"))
    assert saved_studies_file() == tmp_path / "elsewhere" / "studies.sqlite"


WRITER = """
import sys
from pathlib import Path
from capex.study.saved_studies import SavedStudies
path, key, mark = Path(sys.argv[1]), sys.argv[2], sys.argv[3]
saved, text = SavedStudies(path), Path(sys.argv[4]).read_text()
for number in range(int(sys.argv[5])):
    found = saved.save(key, f"# {mark} {number}\\n{text}", note=f"{mark} {number}", made_from=1)
    print(found.number, flush=True)
"""


def writer(saved: SavedStudies, key: str, mark: str, count: int) -> "subprocess.Popen[str]":
    text = saved.path.parent / "demo.toml"
    text.write_text(TEXT)
    arguments = [str(saved.path), key, mark, str(text), str(count)]
    return subprocess.Popen(
        [sys.executable, "-c", WRITER, *arguments], stdout=subprocess.PIPE, text=True,
        env={**os.environ, "PYTHONPATH": str(data_folder().parent)},
    )  # fmt: skip


def test_pages_that_save_at_the_same_time_all_get_their_versions(saved: SavedStudies) -> None:
    key = saved.add("Our shop", TEXT).study
    pages = [writer(saved, key, mark, 5) for mark in ("a", "b")]
    assert [page.wait(timeout=120) for page in pages] == [0, 0]
    versions = saved.versions(key)
    assert sorted(v.number for v in versions) == list(range(1, 12))
    assert {v.note for v in versions} == {""} | {f"{m} {k}" for m in "ab" for k in range(5)}
    for page in pages:
        assert page.stdout is not None
        page.stdout.close()
