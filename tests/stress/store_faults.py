"""Full disks, read-only folders, damaged pages and a clock set back, against saved studies."""

from __future__ import annotations

import io
import itertools
import os
import random
import resource
import shutil
import signal
import subprocess
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import contextmanager, redirect_stdout
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from functools import cache
from pathlib import Path
from typing import Final
from unittest.mock import patch

from capex.decision.risk.many_studies import write_table
from capex.errors import CapexError, StoreError
from capex.study import StudyFile, data_folder, saved_studies
from capex.study.saved_studies import SavedStudies
from capex.views.charts.picture import Look
from capex.views.commands import reporting
from capex.views.documents.paper.bank_document import bank_document
from capex.views.documents.paper.content import Letterhead
from capex.views.documents.paper.findings import lender_findings
from capex.views.documents.paper.typesetting import pdf
from capex.views.documents.workbook.document import workbook
from capex.views.wording import Currency

__all__ = ["clock_set_back", "closed_folder", "damaged", "filled", "full_disk", "small_disk",
           "texts_there"]  # fmt: skip

DEMO: Final = StudyFile.read(data_folder() / "studies" / "quenlow.toml")
_DISK: Final = 3_900_000  # bytes
_ROOM: Final = 300_000  # that somebody makes who tidies up [bytes]
_TIDIED: Final = 7  # times, once for each kind of work
Texts = dict[tuple[str, int], str]


def texts_there(store: SavedStudies) -> Texts:
    """Return the text of every version by its study's name and its number."""
    return {
        (study.name, version.number): store.text(study.key, version.number)
        for study in store.studies()
        for version in store.versions(study.key)
    }


def filled(store: SavedStudies, seed: int, versions: int = 6) -> Texts:
    """Save some studies and unsaved work; return what was said saved."""
    dice = random.Random(seed)
    for name in ("Ours", "What if", "Removed once"):
        key = store.add(name, f"# {name} 1\n{DEMO.text}").study
        for number in range(2, versions + 1):
            store.save(key, f"# {name} {number} {'x' * dice.randrange(9000)}\n{DEMO.text}")
        store.keep(f"page of {name}", f"# unsaved {name}", key, 1)
    return texts_there(store)


@dataclass(frozen=True)
class SmallDisk:
    """A folder with little room.

    Parameters
    ----------
    how : str
        In words.
    more_room : callable
        Makes some room, as somebody who tidies up.
    own : bool
        Whether it is a disk of its own.
    """

    how: str
    more_room: Callable[[], object]
    own: bool


@contextmanager
def small_disk(folder: Path) -> Iterator[SmallDisk]:
    """Make a folder a disk of its own where that is allowed; else let no file grow far."""
    folder.mkdir()
    options = f"size={_DISK},mode=700"
    asked = ["mount", "-t", "tmpfs", "-o", options, "tmpfs", str(folder)]
    if shutil.which("mount") and not subprocess.run(asked, capture_output=True).returncode:
        for number in range(_TIDIED):
            (folder / f"full {number}").write_bytes(bytes(_ROOM))
        try:
            yield SmallDisk(f"a disk of {_DISK / 1e6:g} MB", lambda: _tidied(folder), True)
        finally:
            subprocess.run(["umount", str(folder)], check=True)
        return
    before = resource.getrlimit(resource.RLIMIT_FSIZE)
    handler = signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
    most = iter(range(_DISK // 4, 4 * _DISK, _ROOM))

    def more_room() -> None:
        resource.setrlimit(resource.RLIMIT_FSIZE, (next(most), before[1]))

    try:
        more_room()
        yield SmallDisk(f"no disk can be made here: files of {_DISK / 4e3:g} kB", more_room, False)
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, before)
        signal.signal(signal.SIGXFSZ, handler)


def _tidied(folder: Path) -> None:
    next(folder.glob("full *")).unlink()


@cache
def _documents() -> dict[str, bytes]:
    """Return the files that the report command writes of the demo, by its options."""
    study, on = DEMO.study, date(2026, 11, 27)
    document = bank_document(
        lender_findings(study, None, draws=64), Look(study, "metric", Currency(study.currency)),
        made_on=on, letterhead=Letterhead(study.shop_name, ()), sections=["stress"], paper="a4",
    )  # fmt: skip
    return {"xlsx": workbook(study, None, on), "pdf": pdf(document)}


def _report(option: str, path: Path, times: int) -> None:
    with redirect_stdout(io.StringIO()):
        reporting._write(f"--{option}", path, _documents()[option] * times)


def _files_written(folder: Path) -> dict[str, tuple[Path, Callable[[int], object]]]:
    """Return what writes a file over itself, larger by its number, and where, by what it is."""
    xlsx, pdf_, table, own = (
        folder / name for name in ("book.xlsx", "document.pdf", "table.csv", "own.toml")
    )

    def rows(count: int) -> list[dict[str, object]]:
        return [{"file": f"{k}.toml", "name": "x" * 500} for k in range(count)]

    return {
        "workbook": (xlsx, lambda n: _report("xlsx", xlsx, n + 1)),
        "document": (pdf_, lambda n: _report("pdf", pdf_, n + 1)),
        "batch": (table, lambda n: write_table(rows(40 * (n + 1)), table)),
        "export": (own, lambda n: StudyFile(f"# {n} {'x' * 20_000 * n}", DEMO.study).write(own)),
    }


def _left_in_part(path: Path, before: bytes) -> bool:
    """Return whether a file that could not be written is another, or left a part beside it."""
    return path.read_bytes() != before or bool(list(path.parent.glob(f".{path.name}.*")))


def full_disk(folder: Path, more_room: Callable[[], object]) -> list[str]:
    """Fill the disk by each kind of work; return the promises that were not kept.

    Parameters
    ----------
    folder : path
    more_room : callable
        Makes some room.
    """
    store, broken = SavedStudies(folder / "studies.sqlite"), []
    there = filled(store, 1, 2)
    key = store.studies()[0].key
    files = _files_written(folder)  # come first: a workbook needs more room than is made once
    for _, work in files.values():
        work(0)
    works = {name: work for name, (_, work) in files.items()} | {
        "save": lambda n: store.save(key, f"# {n} {'x' * 20_000}\n{DEMO.text}"),
        "autosave": lambda n: store.keep("page", f"# {n} {'x' * 20_000 * n}"),
        "import": lambda n: store.add(f"New {n}", f"# {n} {'x' * 20_000}\n{DEMO.text}"),
    }
    for name, work in works.items():
        path = files[name][0] if name in files else None
        before = path.read_bytes() if path else b""
        try:
            for number in range(1, 1000):
                work(number)
                before = path.read_bytes() if path else b""
                if name in ("save", "import"):
                    there = texts_there(store)
            broken.append(f"full disk, {name}: never full")
        except CapexError as error:
            said = str(error)
            if "the disk" not in said and "cannot be written" not in said:
                broken.append(f"full disk, {name}: {said}")
        if path and _left_in_part(path, before):
            broken.append(f"full disk, {name}: what was there before is another")
        more_room()  # and work goes on
        again = SavedStudies(store.path)
        again.check()
        if texts_there(again) != there or again.set_aside():
            broken.append(f"full disk, {name}: saved versions are others")
        try:
            work(0)
        except CapexError as error:
            broken.append(f"full disk, {name}: room again, still {error}")
        there = texts_there(again)
    return broken


def read_only(folder: Path, close: Callable[[], None], open_: Callable[[], None]) -> list[str]:
    """Save into a folder that cannot be written to; return the promises that were not kept.

    Parameters
    ----------
    folder : path
    close, open_ : callable
        Make the folder one that cannot be written to, and let it be written to again.
    """
    store, broken = SavedStudies(folder / "studies.sqlite"), []
    there = filled(store, 2, 2)
    key = store.studies()[0].key
    works: dict[str, Callable[[], object]] = {
        "save": lambda: SavedStudies(store.path).save(key, DEMO.text),
        "autosave": lambda: SavedStudies(store.path).keep("page", "x"),
        "import": lambda: SavedStudies(store.path).add("New", DEMO.text),
        "export": lambda: DEMO.write(folder / "own.toml"),
        "damaged": lambda: SavedStudies(folder / "other.sqlite"),
    }
    (folder / "other.sqlite").write_bytes(b"no database" * 900)
    close()
    for name, work in works.items():
        try:
            work()
            broken.append(f"read only, {name}: nothing was said")
        except CapexError as error:
            if not any(words in str(error) for words in ("written", "cannot be set aside")):
                broken.append(f"read only, {name}: {error}")
    open_()
    again = SavedStudies(store.path)
    again.check()
    if texts_there(again) != there or again.set_aside():
        broken.append("read only: saved versions are others")
    return broken


def _remounted(folder: Path, mode: str) -> Callable[[], None]:
    """Return what lets a disk of its own be written to, or not."""
    asked = ["mount", "-o", f"remount,{mode}", str(folder)]
    return lambda: subprocess.run(asked, check=True) and None


def closed_folder(folder: Path) -> list[str] | None:
    """Return the promises not kept where a folder cannot be written to; None where none is made.

    Whoever may write anywhere needs a disk of its own that is made one to read only.
    """
    with small_disk(folder) as disk:
        if disk.own:
            return read_only(folder, _remounted(folder, "ro"), _remounted(folder, "rw"))
    folder.chmod(0o500)
    closed = not os.access(folder, os.W_OK)
    folder.chmod(0o700)
    if not closed:
        return None
    return read_only(folder, lambda: folder.chmod(0o500), lambda: folder.chmod(0o700))


def harmed(path: Path, dice: random.Random) -> str:
    """Damage a file as disks do; return what was done."""
    body = bytearray(path.read_bytes())
    pages = len(body) // 4096
    kind = dice.choice(["page", "zeros", "bytes", "bit", "end", "first page", "copy"])
    place = dice.randrange(pages) * 4096
    if kind == "page":
        body[place : place + 4096] = dice.randbytes(4096)
    elif kind == "zeros":
        body[place : place + 4096] = bytes(4096)
    elif kind == "copy":
        other = dice.randrange(pages) * 4096
        body[place : place + 4096] = body[other : other + 4096]
    elif kind == "first page":
        size = dice.choice([1, 16, 100, 4096])
        body[:size] = dice.randbytes(size)
    elif kind == "end":
        del body[dice.randrange(1, len(body)) :]
    else:
        for _ in range(1 if kind == "bit" else dice.randrange(1, 64)):
            body[dice.randrange(len(body))] ^= 1 << dice.randrange(8)
    path.write_bytes(body)
    return kind


def damaged(folder: Path, count: int, seed: int = 1) -> tuple[Counter[str], list[str]]:
    """Damage a store `count` times; return what came of it, and the promises not kept."""
    whole = folder / "whole" / "studies.sqlite"
    store = SavedStudies(whole)
    there, drafts = filled(store, seed), {draft.text for draft in store.drafts()}
    figures, broken = Counter[str](), list[str]()
    for number in range(count):
        dice = random.Random(seed * 100_000 + number)
        path = folder / f"{number}" / "studies.sqlite"
        path.parent.mkdir()
        shutil.copyfile(whole, path)
        kind = harmed(path, dice)
        body = path.read_bytes()
        told = _read_until_whole(path)
        again = SavedStudies(path)
        asides = again.set_aside()
        found = {draft.text for draft in again.drafts()}
        read = {key: text for key, text in texts_there(again).items() if key in there}
        lost_names = len(texts_there(again)) - len(read)
        figures += Counter(damaged=1, told=bool(told), versions=len(there),
                           recovered=len(read) + lost_names)  # fmt: skip
        figures[f"{kind}: recovered"] += len(read) + lost_names
        figures[f"{kind}: versions"] += len(there)
        texts = set(there.values())
        if not set(texts_there(again).values()) <= texts or not found <= drafts:
            broken.append(f"damage {number} ({kind}): a text is another")
        if not told and (set(texts_there(again).values()) != texts or found != drafts):
            broken.append(f"damage {number} ({kind}): something is lost and nothing was said")
        if told and (not asides or asides[0].read_bytes() != body):
            broken.append(f"damage {number} ({kind}): the damaged file is not set aside as it was")
        shutil.rmtree(path.parent)
    return figures, broken


def _read_until_whole(path: Path) -> list[str]:
    """Return what was said until a file could be read from end to end."""
    told = []
    for _ in range(3):
        try:
            SavedStudies(path).check()
        except StoreError as error:
            told.append(str(error))
        else:
            return told
    raise AssertionError(f"{path} is still not whole: {told}")


def clock_set_back(path: Path) -> list[str]:
    """Save while the clock runs backwards; return the promises that were not kept."""
    broken = []
    start = datetime(2026, 11, 27, tzinfo=UTC)
    ticks = (start - timedelta(days=day) for day in itertools.count())
    with patch.object(saved_studies, "_now", lambda: next(ticks).isoformat("T", "microseconds")):
        store = SavedStudies(path)
        keys = [store.add(name, f"# {name}\n{DEMO.text}").study for name in ("first", "second")]
        for number in range(2, 6):
            store.save(keys[0], f"# first {number}\n{DEMO.text}")
        store.keep("one page", "older")
        store.keep("other page", "newer")
        versions = [version.number for version in store.versions(keys[0])]
        if versions != [5, 4, 3, 2, 1] or store.text(keys[0]) != f"# first 5\n{DEMO.text}":
            broken.append(f"clock: versions come as {versions}")
        if [study.name for study in store.studies()] != ["first", "second"]:
            broken.append("clock: the study saved last does not come first")
        if [draft.text for draft in store.drafts()] != ["newer", "older"]:
            broken.append("clock: the unsaved work kept last does not come first")
        if store.save(keys[0], DEMO.text, made_from=3).passed_over != (4, 5):
            broken.append("clock: whoever saves second is not told of the first")
    return broken
