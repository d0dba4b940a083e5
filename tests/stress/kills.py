"""Work on what is kept, in a process that is killed at a random moment; then what is there."""

from __future__ import annotations

import os
import random
import signal
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Final
from unittest.mock import patch

from capex.decision.risk import many_studies
from capex.decision.risk.many_studies import ManyStudies, write_table
from capex.study import StudyFile, data_folder
from capex.study.saved_studies import SavedStudies
from capex.views.site.handlers import _imported

__all__ = ["WORKS", "Killed", "killed_works"]

DEMO: Final = StudyFile.read(data_folder() / "studies" / "quenlow.toml")
_LONGEST: Final = 0.03  # from the first thing that was said done until the kill [s]
_ROUNDS: Final = 20  # kills on one store
_STUDIES: Final = 30  # of a batch
Say = Callable[..., object]


@dataclass
class Killed:
    """What came of killing one kind of work.

    Parameters
    ----------
    kills, done, within : int
        Processes killed; pieces of work said done; kills while a piece was not done.
    broken : list of str
        Promises that were not kept.
    """

    kills: int = 0
    done: int = 0
    within: int = 0
    broken: list[str] = field(default_factory=list)


def whole_text(number: int, seed: int) -> str:
    """Return a study's text, told from all others, of another length each."""
    filling = "x" * random.Random(number * 7919 + seed).randrange(40_000)
    return f"# {seed} {number} {filling}\n{DEMO.text}"


def killed(work: Callable[[int, Say], None], start: int, dice: random.Random) -> tuple[int, bool]:
    """Return the last piece that a killed process said was done, and whether one was begun.

    Parameters
    ----------
    work : callable
        Does one piece, by its number, and says so, and whether more of it is to do; called until
        it is killed.
    start : int
        The first piece.
    dice : Random
    """
    ours, theirs = os.pipe()

    def say(done: int, more: bool = False) -> None:
        os.write(theirs, b"d%d\n%s" % (done, b"b%d\n" % done if more else b""))

    child = os.fork()
    if not child:
        os.close(ours)
        try:
            for number in range(start, start + 100_000):
                os.write(theirs, b"b%d\n" % number)
                work(number, say)
        finally:
            os._exit(9)
    os.close(theirs)
    said = b""
    waits = dice.random() < 0.9  # else it may be killed before anything is done
    while waits and b"d" not in said and (part := os.read(ours, 64)):
        said += part
    time.sleep(dice.uniform(0, _LONGEST))
    os.kill(child, signal.SIGKILL)
    _, status = os.waitpid(child, 0)
    while part := os.read(ours, 65536):
        said += part
    os.close(ours)
    if not os.WIFSIGNALED(status):
        raise RuntimeError("the work ended by itself")
    lines = said.decode().split()
    done = [int(line[1:]) for line in lines if line[0] == "d"]
    return max(done, default=start - 1), bool(lines) and lines[-1][0] == "b"


def saving(folder: Path, seed: int, dice: random.Random, found: Killed) -> None:
    """Save versions of a study; every one said saved is there, and none in part."""
    store = SavedStudies(folder / "studies.sqlite")
    key, last = store.add("Ours", whole_text(1, seed)).study, 1
    for _ in range(_ROUNDS):

        def save(number: int, say: Say) -> None:
            say(SavedStudies(store.path).save(key, whole_text(number, seed)).number)

        said, within = killed(save, last + 1, dice)
        _count(found, said - last, within)
        again = SavedStudies(store.path)
        again.check()
        numbers = [version.number for version in reversed(again.versions(key))]
        last = len(numbers)
        if numbers != list(range(1, last + 1)) or last < said:
            found.broken.append(f"save, seed {seed}: said {said}, there {numbers}")
        for number in numbers:
            if again.text(key, number) != whole_text(number, seed):
                found.broken.append(f"save, seed {seed}: version {number} is another")


def keeping(folder: Path, seed: int, dice: random.Random, found: Killed) -> None:
    """Keep unsaved work; the last said kept, or a later one, is there whole."""
    store, last = SavedStudies(folder / "studies.sqlite"), 0
    for _ in range(_ROUNDS):

        def keep(number: int, say: Say) -> None:
            SavedStudies(store.path).keep("page", whole_text(number, seed))
            say(number)

        said, within = killed(keep, last + 1, dice)
        _count(found, said - last, within)
        again = SavedStudies(store.path)
        again.check()
        drafts = again.drafts()
        texts = {whole_text(number, seed): number for number in range(last, said + 2)}
        if len(drafts) > 1 or (said and (not drafts or texts.get(drafts[0].text, -1) < said)):
            found.broken.append(f"autosave, seed {seed}: said {said}")
        last = texts.get(drafts[0].text, said) if drafts else said


def importing(folder: Path, seed: int, dice: random.Random, found: Killed) -> None:
    """Open study files as the site does; every one said saved is there whole under its name."""
    last = 0
    with patch.dict(os.environ, CAPEX_DATA=str(folder)):
        for _ in range(_ROUNDS):

            def take_in(number: int, say: Say) -> None:
                _imported("own.toml", whole_text(number, seed).encode(), f"Study {number}")
                say(number)

            said, within = killed(take_in, last + 1, dice)
            _count(found, said - last, within)
            again = SavedStudies()
            again.check()
            there = {int(each.name.split()[1]): each.key for each in again.studies()}
            if set(range(1, said + 1)) - set(there):
                found.broken.append(f"import, seed {seed}: said {said}, there {sorted(there)}")
            for number, key in there.items():
                if again.text(key) != whole_text(number, seed):
                    found.broken.append(f"import, seed {seed}: study {number} is another")
            last = max(there, default=0)


def exporting(folder: Path, seed: int, dice: random.Random, found: Killed) -> None:
    """Write a study file over itself; it is one of the texts written, whole, and no older."""
    path, last = folder / "own.toml", 0
    for _ in range(_ROUNDS):

        def export(number: int, say: Say) -> None:
            StudyFile(whole_text(number, seed), DEMO.study).write(path)
            say(number)

        said, within = killed(export, last + 1, dice)
        _count(found, said - last, within)
        texts = {whole_text(number, seed): number for number in range(last, said + 2)}
        text = path.read_text() if path.exists() else None
        if texts.get(text or "", -1 if said else 0) < said:
            found.broken.append(f"export, seed {seed}: said {said}")
        last = texts.get(text or "", said)


def _rows(content: bytes, count: int, seed: int | None) -> tuple[list[dict[str, object]], bool]:
    return [{"name": content.decode()[:40], "draws": count, "gain_mean": len(content) / 3}], True


def batching(folder: Path, seed: int, dice: random.Random, found: Killed) -> None:
    """Appraise a folder; rows said finished are kept, and the run goes on to the same table."""
    studies, kept, table = folder / "studies", folder / "kept", folder / "table.csv"
    studies.mkdir()
    for number in range(_STUDIES):
        (studies / f"s{number:02}.toml").write_text(f"# {seed} {number}")
    with patch.object(many_studies, "study_rows", _rows):
        whole = ManyStudies(studies, 32, folder / "whole")
        for _ in whole.run(jobs=1):
            pass
        write_table(whole.table(), folder / "whole.csv")
        for turn in range(_ROUNDS):

            def appraise(number: int, say: Say, draws: int = 32 << turn % 4) -> None:
                for step in ManyStudies(studies, draws, kept).run(jobs=1):
                    say(step.done, more=True)  # rows, or the table
                write_table(whole.table(), table)

            said, within = killed(appraise, 1, dice)
            _count(found, said, within)
            again = ManyStudies(studies, 32 << turn % 4, kept)
            steps = list(again.run(jobs=1))
            if steps[0].done < said or len(again.table()) != _STUDIES:
                found.broken.append(f"batch, seed {seed}: said {said}, kept {steps[0].done}")
            if table.exists() and table.read_bytes() != (folder / "whole.csv").read_bytes():
                found.broken.append(f"batch, seed {seed}: the table is another")


def _count(found: Killed, done: int, within: bool) -> None:
    found.kills += 1
    found.done += done
    found.within += within


#: Kinds of work by name.
WORKS: Final = {
    "save": saving,
    "autosave": keeping,
    "import": importing,
    "export": exporting,
    "batch": batching,
}


def killed_works(folder: Path, name: str, count: int, seed: int = 1) -> Killed:
    """Return what came of at least `count` kills during a kind of work.

    What is saved is taken for a study without being read, so that kills fall into the writing.
    """
    found = Killed()

    def unread(text: str, source: str = "study") -> StudyFile:
        return StudyFile(text, DEMO.study, source)

    with patch.object(StudyFile, "parsed", unread):
        while found.kills < count:
            place = folder / f"{name}-{seed}-{found.kills}"
            place.mkdir()
            WORKS[name](place, seed + found.kills, random.Random(seed + found.kills), found)
    return found
