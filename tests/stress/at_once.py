"""Several pages that begin the same store, or meet the same damage, at the same moment."""

from __future__ import annotations

import os
import random
import shutil
import time
from collections.abc import Callable
from pathlib import Path

from stress.store_faults import filled, texts_there

from capex.errors import CapexError, StoreError
from capex.study.saved_studies import SavedStudies

__all__ = ["begun_at_once", "damage_met_at_once"]

_PAGES = 6


def _at_once(work: Callable[[int], object]) -> list[str]:
    """Return what each of several processes says that does the work at the same moment."""
    start, pages = time.time() + 0.05, []
    for number in range(_PAGES):
        ours, theirs = os.pipe()
        if child := os.fork():
            os.close(theirs)
            pages.append((child, ours))
            continue
        try:
            time.sleep(max(0.0, start - time.time()))
            work(number)
            os.write(theirs, b"done")
        except CapexError as error:
            os.write(theirs, str(error).encode())
        finally:
            os._exit(0)
    said = []
    for child, ours in pages:
        with os.fdopen(ours) as stream:
            said.append(stream.read())
        os.waitpid(child, 0)
    return said


def begun_at_once(folder: Path, rounds: int) -> list[str]:
    """Return the promises not kept where pages begin a store together."""
    broken = []
    for turn in range(rounds):
        path = folder / f"new-{turn}" / "studies.sqlite"

        def save(page: int, path: Path = path) -> None:
            SavedStudies(path).add(f"Page {page}", f"# {page}")

        said = _at_once(save)
        names = {study.name for study in SavedStudies(path).studies()}
        if said != ["done"] * _PAGES or len(names) != _PAGES:
            broken.append(f"begun at once, {turn}: {said}, {names}")
    return broken


def damage_met_at_once(folder: Path, rounds: int) -> list[str]:
    """Return the promises not kept where pages meet the same damage together."""
    whole, broken = folder / "met" / "studies.sqlite", []
    there = filled(SavedStudies(whole), 9, 3)
    for turn in range(rounds):
        path = folder / f"met-{turn}" / "studies.sqlite"
        path.parent.mkdir()
        body = random.Random(turn).randbytes(100) + whole.read_bytes()[100:]
        path.write_bytes(body)

        def save(page: int, path: Path = path) -> None:
            for _ in range(20):
                try:
                    SavedStudies(path).add(f"Page {page}", f"# {page}")
                except StoreError:
                    continue
                return

        said = _at_once(save)
        store = SavedStudies(path)
        texts, asides = texts_there(store), store.set_aside()
        pages = {(f"Page {page}", 1): f"# {page}" for page in range(_PAGES)}
        if said != ["done"] * _PAGES or texts != there | pages or len(asides) != 1:
            broken.append(f"met at once, {turn}: {said}, {sorted(texts)}, {asides}")
        shutil.rmtree(path.parent)
    return broken
