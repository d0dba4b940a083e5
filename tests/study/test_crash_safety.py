"""Saved studies under faults: some of each here, hundreds by ``tests/stress/crash_safety.py``."""

import os
import random
import sqlite3
import stat
import time
from collections.abc import Iterator
from pathlib import Path
from unittest.mock import patch

import pytest
from stress import kills
from stress.at_once import begun_at_once, damage_met_at_once
from stress.store_faults import (
    DEMO,
    clock_set_back,
    closed_folder,
    damaged,
    filled,
    full_disk,
    small_disk,
    texts_there,
)

from capex.errors import InputError, StoreError
from capex.study import StudyFile, studies_file
from capex.study.saved_studies import SavedStudies


@pytest.fixture(autouse=True)
def unread() -> Iterator[None]:
    """Take what is saved for a study without reading it: the faults are in the writing."""

    def taken(text: str, source: str = "") -> StudyFile:
        return StudyFile(text, DEMO.study, source)

    with patch.object(StudyFile, "parsed", taken):
        yield


@pytest.mark.parametrize("work", kills.WORKS)
def test_law_what_was_said_done_survives_a_kill(
    work: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(kills, "_ROUNDS", 3)
    for seed in range(1, 100, 10):  # until one falls within a piece of work: most do
        found = kills.killed_works(tmp_path, work, 3, seed)
        assert (found.kills, found.broken) == (3, [])
        if found.within:
            break
    assert found.within


def test_law_damage_is_told_set_aside_and_changes_no_text(tmp_path: Path) -> None:
    figures, broken = damaged(tmp_path, 12)
    assert broken == []
    assert figures["damaged"] == 12
    assert figures["recovered"] > figures["versions"] / 2


def test_a_full_disk_is_told_and_costs_nothing_that_was_saved(tmp_path: Path) -> None:
    with small_disk(tmp_path / "small") as disk:
        assert full_disk(tmp_path / "small", disk.more_room) == []


def test_a_folder_that_cannot_be_written_to_is_told_and_costs_nothing(tmp_path: Path) -> None:
    broken = closed_folder(tmp_path / "closed")
    if broken is None:
        pytest.skip("who runs this may write anywhere and mount nothing")
    assert broken == []


def test_pages_that_begin_a_store_or_meet_its_damage_at_once_lose_nothing(tmp_path: Path) -> None:
    assert begun_at_once(tmp_path, 2) == []
    assert damage_met_at_once(tmp_path, 3) == []


def test_versions_stay_in_order_when_the_clock_is_set_back(tmp_path: Path) -> None:
    assert clock_set_back(tmp_path / "studies.sqlite") == []


def with_a_bit_changed(path: Path, words: bytes) -> bytes:
    body = bytearray(path.read_bytes())
    body[body.index(words) + 2] ^= 1
    path.write_bytes(body)
    return bytes(body)


def test_a_broken_page_costs_what_stands_on_it_and_no_more(tmp_path: Path) -> None:
    store = SavedStudies(tmp_path / "studies.sqlite")
    there = filled(store, 4, 3)
    key = next(study.key for study in store.studies() if study.name == "What if")
    body = with_a_bit_changed(store.path, b"# What if 2 ")
    with pytest.raises(StoreError, match=r"8 saved versions .*not be read: version 2 of What if"):
        store.text(key, 2)
    (aside,) = store.set_aside()
    assert aside.read_bytes() == body
    del there["What if", 2]
    assert texts_there(store) == there
    assert len(store.drafts()) == 3


def four_versions_and_two_drafts(path: Path) -> tuple[SavedStudies, str]:
    store = SavedStudies(path)
    key = store.add("Our shop", DEMO.text).study
    for number in range(2, 5):
        store.save(key, f"# number {number} of ours\n{DEMO.text}")
    store.keep("first", f"# first draft\n{DEMO.text}", key, 3)
    store.keep("second", f"# second draft\n{DEMO.text}", key, 2)
    return store, key


def test_what_is_lost_is_named_and_kept_beside_the_damaged_file(tmp_path: Path) -> None:
    store, _ = four_versions_and_two_drafts(tmp_path / "studies.sqlite")
    with_a_bit_changed(store.path, b"# number 4 of ours")
    with_a_bit_changed(store.path, b"# second draft")
    with pytest.raises(StoreError, match="unsaved work of 1 page could be read") as told:
        store.check()
    (aside,), (report,) = store.set_aside(), store.damage()
    assert report.path == aside
    version, draft = report.lost
    assert version == "version 4 of Our shop"
    assert draft.startswith("unsaved work of 1 page: of Our shop, changed from version 2, kept ")
    assert f"Could not be read: {version}; {draft}." in str(told.value)
    assert "not known" not in str(told.value)
    assert "Open the page once more" not in str(told.value)
    beside = aside.with_name(f"{aside.name}.txt")
    assert beside.read_text().splitlines()[1:] == [f"- {version}", f"- {draft}"]
    assert stat.S_IMODE(beside.stat().st_mode) == 0o600 or os.name != "posix"
    assert [draft.page for draft in store.drafts()] == ["first"]
    assert (store.studies()[0].versions, store.studies()[0].kept) == (3, 3)


def test_a_lost_version_in_between_is_counted_out_and_said_where_it_is_asked_for(
    tmp_path: Path,
) -> None:
    store, key = four_versions_and_two_drafts(tmp_path / "studies.sqlite")
    with_a_bit_changed(store.path, b"# number 2 of ours")
    with pytest.raises(StoreError, match="version 2 of Our shop"):
        store.check()
    assert (store.studies()[0].versions, store.studies()[0].kept) == (4, 3)
    with pytest.raises(InputError, match="is lost: it could not be read from a damaged file"):
        store.text(key, 2)


def test_lost_work_that_cannot_be_counted_is_said_to_be_so(tmp_path: Path) -> None:
    store, _ = four_versions_and_two_drafts(tmp_path / "studies.sqlite")
    with sqlite3.connect(store.path) as connection:
        listed = "SELECT rootpage FROM sqlite_schema WHERE tbl_name = 'draft'"
        pages = [page for (page,) in connection.execute(listed)]
    connection.close()
    with store.path.open("r+b") as file:
        for page in pages:
            file.seek((page - 1) * 4096)
            file.write(random.Random(page).randbytes(4096))
    with pytest.raises(StoreError, match="of how many pages unsaved work is lost, is not known"):
        store.check()
    assert store.studies()[0].kept == 4


def test_unsaved_work_that_only_the_index_still_lists_is_counted(tmp_path: Path) -> None:
    store, _ = four_versions_and_two_drafts(tmp_path / "studies.sqlite")
    with sqlite3.connect(store.path) as connection:
        (page,) = connection.execute(
            "SELECT rootpage FROM sqlite_schema WHERE name = 'draft'").fetchone()  # fmt: skip
    connection.close()
    with store.path.open("r+b") as file:
        file.seek((page - 1) * 4096)
        file.write(random.Random(3).randbytes(4096))
    with pytest.raises(StoreError, match="is damaged"):
        store.check()
    (report,) = store.damage()
    assert report.lost == ("unsaved work of 1 page: nothing else is known of it",) * 2


@pytest.mark.parametrize("size", [1, 100, 4096])
def test_a_lost_first_page_costs_no_version(tmp_path: Path, size: int) -> None:
    store = SavedStudies(tmp_path / "studies.sqlite")
    there = filled(store, 5, 2)
    with store.path.open("r+b") as file:
        file.write(random.Random(size).randbytes(size))
    with pytest.raises(StoreError, match="6 saved versions and the unsaved work of 3 page"):
        store.check()
    assert texts_there(store) == there


@pytest.mark.parametrize("seed", range(3))
def test_a_broken_list_of_tables_costs_no_version(tmp_path: Path, seed: int) -> None:
    store = SavedStudies(tmp_path / "studies.sqlite")
    there = filled(store, 6, 2)
    body = bytearray(store.path.read_bytes())
    place = body.index(b"CREATE TABLE version")
    body[place : place + 60] = random.Random(seed).randbytes(60)
    store.path.write_bytes(body)
    with pytest.raises(StoreError, match="6 saved versions"):
        store.check()
    assert texts_there(store) == there


def test_changes_that_only_the_log_holds_are_recovered_too(tmp_path: Path) -> None:
    store = SavedStudies(tmp_path / "studies.sqlite")
    filled(store, 6, 2)
    holder = sqlite3.connect(store.path)  # as another page: the log is not merged while it reads
    holder.execute("BEGIN").execute("SELECT * FROM study").fetchall()
    key = store.add("Late", DEMO.text).study
    copy = tmp_path / "copy" / "studies.sqlite"
    copy.parent.mkdir()
    for suffix in ("", "-wal"):
        copy.with_name(copy.name + suffix).write_bytes(Path(f"{store.path}{suffix}").read_bytes())
    holder.close()
    with_a_bit_changed(copy, b"# What if 2 ")
    again = SavedStudies(copy)
    with pytest.raises(StoreError, match="set aside"):
        again.check()
    assert again.text(key) == DEMO.text


def test_a_kill_between_setting_aside_and_beginning_anew_costs_nothing(tmp_path: Path) -> None:
    store = SavedStudies(tmp_path / "studies.sqlite")
    there = filled(store, 7, 2)
    store.path.rename(store.path.with_name("studies.sqlite.damaged-20261127T000000-abcdef"))
    assert texts_there(SavedStudies(store.path)) == there


def test_a_page_that_meets_the_same_damage_sets_nothing_whole_aside(tmp_path: Path) -> None:
    one = SavedStudies(tmp_path / "studies.sqlite")
    filled(one, 8, 2)

    def meet() -> None:
        with one._open():
            one.path.write_bytes(b"no database" * 900)
            with pytest.raises(StoreError, match="set aside as"):
                SavedStudies(one.path)
            raise studies_file.Damage

    with pytest.raises(StoreError, match="by another page meanwhile"):
        meet()
    assert len(one.set_aside()) == 1


def test_a_save_into_a_file_that_was_just_set_aside_is_not_called_saved(tmp_path: Path) -> None:
    store = SavedStudies(tmp_path / "studies.sqlite")
    key = store.add("Ours", DEMO.text).study

    def save() -> None:
        with store._writing() as connection:
            connection.execute("UPDATE study SET name = 'x' WHERE key = ?", (key,))
            store._put_aside()

    with pytest.raises(StoreError, match="do this once more"):
        save()


def test_what_an_older_capex_saved_is_taken_over(tmp_path: Path) -> None:
    path = tmp_path / "studies.sqlite"
    with sqlite3.connect(path) as old:
        old.executescript(studies_file._STEPS[0] + ";PRAGMA user_version = 1")
        old.execute("INSERT INTO study VALUES ('0123456789abcdef', 'Ours', ?, NULL)", (now(),))
        old.execute("INSERT INTO version VALUES ('0123456789abcdef', 1, ?, '', 'text', NULL)",
                    (now(),))  # fmt: skip
    old.close()
    store = SavedStudies(path)
    store.check()
    assert texts_there(store) == {("Ours", 1): "text"}
    assert stat.S_IMODE(path.stat().st_mode) == 0o600


def now() -> str:
    return time.strftime("%Y-%m-%dT%H:%M:%S+00:00", time.gmtime())


@pytest.mark.skipif(os.name != "posix", reason="modes of files")
def test_log_and_shared_memory_of_the_file_are_the_owner_s_alone(tmp_path: Path) -> None:
    before = os.umask(0)
    try:
        store = SavedStudies(tmp_path / "mine" / "studies.sqlite")
        with store._writing() as connection:
            connection.execute("DELETE FROM draft")
            modes = {each.name: stat.S_IMODE(each.stat().st_mode)
                     for each in store.path.parent.iterdir()}  # fmt: skip
    finally:
        os.umask(before)
    assert modes == dict.fromkeys(
        ("studies.sqlite", "studies.sqlite-wal", "studies.sqlite-shm"), 0o600
    )
    assert stat.S_IMODE(store.path.parent.stat().st_mode) == 0o700
