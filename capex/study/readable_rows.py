"""What can still be read of a damaged file of saved studies.

The damaged file itself is only copied, never opened. Each row is looked at by its place in the
table, from both ends and then one by one, so that a broken page costs what stands on it and no
more. Where the file's first page is broken, that of a new file stands in for it: all files of one
layout have their tables at the same pages. A text that is not the one that was saved, by its
digest, is left out. What must have been there besides is told from the index of each table and from
the beginnings of its rows, which may be whole where a long text is not.

Imports sqlite3 and hashlib.
"""

from __future__ import annotations

import hashlib
import shutil
import sqlite3
import tempfile
from collections.abc import Callable, Iterator, Mapping
from contextlib import closing, suppress
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import Any, Final

__all__ = ["ReadableRows", "digest", "readable_rows"]

Row = tuple[Any, ...]
#: Rows looked at one by one beyond the last that can be read.
_BEYOND: Final = 2_000
#: What reading a broken page may end with; the library's complaint may itself be no text.
_BROKEN: Final = (sqlite3.Error, UnicodeDecodeError, MemoryError)
_STUDY: Final = "SELECT rowid, key, name, made_at, removed_at FROM study NOT INDEXED"
_VERSION: Final = (
    "SELECT rowid, study, number, saved_at, note, text, made_from, digest FROM version NOT INDEXED"
)
_DRAFT: Final = "SELECT rowid, page, study, made_from, kept_at, text, digest FROM draft NOT INDEXED"
#: The beginnings of rows alone, which stand apart from a long text.
_VERSION_HEAD: Final = "SELECT rowid, study, number FROM version NOT INDEXED"
_DRAFT_HEAD: Final = "SELECT rowid, page, study, made_from, kept_at FROM draft NOT INDEXED"
#: Read from the index alone.
_VERSION_INDEX: Final = "SELECT study, number FROM version INDEXED BY sqlite_autoindex_version_1"
_DRAFT_INDEX: Final = "SELECT page FROM draft INDEXED BY sqlite_autoindex_draft_1"


def digest(text: str) -> str:
    """Return the mark by which a changed text is known: SHA-256, in hexadecimal.

    Examples
    --------
    >>> digest("abc")[:16]
    'ba7816bf8f01cfea'
    """
    return hashlib.sha256(text.encode("utf-8", "surrogatepass")).hexdigest()


@dataclass(frozen=True)
class ReadableRows:
    """Rows as their tables hold them, in the order in which they were written.

    Parameters
    ----------
    studies, versions, drafts : tuple of tuple
    known_versions : frozenset of (str, int)
        Study and number of versions that were there, whether their texts can be read or not.
    known_drafts : mapping of str to tuple
        By page: the study, the version changed and the time of unsaved work that was there; empty
        where only the page is known.
    all_known : bool
        Whether both tables could be counted to the end, so that nothing else was there.
    """

    studies: tuple[Row, ...] = ()
    versions: tuple[Row, ...] = ()
    drafts: tuple[Row, ...] = ()
    known_versions: frozenset[tuple[str, int]] = frozenset()
    known_drafts: Mapping[str, Row] = field(default_factory=dict)
    all_known: bool = False

    def missing_versions(self) -> tuple[str, ...]:
        """Return in words the versions that must have been there and could not be read."""
        names = {row[0]: " ".join(row[1].split()) for row in self.studies}
        there: dict[str, set[int]] = {}
        for row in self.versions:
            there.setdefault(row[0], set()).add(row[1])
        known: dict[str, set[int]] = {key: set(range(1, max(each))) for key, each in there.items()}
        for key, number in sorted(self.known_versions):
            known.setdefault(key, set()).add(number)
        found = []
        for key in dict.fromkeys([*names, *known]):
            name = names.get(key, "a study whose name is lost")
            if key in there:
                lost = sorted(known[key] - there[key])
                found += [f"version {number} of {name}" for number in lost]
            else:
                found.append(f"all versions of {name}")
        return tuple(found)

    def missing_drafts(self) -> tuple[Row, ...]:
        """Return what is known of unsaved work that could not be read, as `known_drafts` has it."""
        there = {row[0] for row in self.drafts}
        return tuple(row for page, row in self.known_drafts.items() if page not in there)


def readable_rows(path: Path, fresh: bytes) -> ReadableRows:
    """Return what can be read of a damaged file.

    Parameters
    ----------
    path : path
        The damaged file; what was written lately may stand beside it in its ``-wal`` file.
    fresh : bytes
        A new file of the same layout.

    Raises
    ------
    OSError
        It cannot be copied to be read.
    """
    with tempfile.TemporaryDirectory(dir=path.parent, prefix=f".{path.name}.") as folder:
        copy = Path(folder) / "copy.sqlite"
        for suffix in ("", "-wal"):
            beside = path.with_name(path.name + suffix)
            if beside.exists():
                shutil.copyfile(beside, copy.with_name(copy.name + suffix))
        found = _read(copy)
        if found == ReadableRows() and copy.stat().st_size > _page(fresh):
            _put_first_page(copy, fresh)
            found = _read(copy)
    return found


def _page(fresh: bytes) -> int:
    """Return the size of a page, as the file's header says it [bytes]."""
    return int.from_bytes(fresh[16:18], "big")


def _put_first_page(path: Path, fresh: bytes) -> None:
    """Put in a new file's first page, which lets what stands in the -wal file count too."""
    page = bytearray(fresh[: _page(fresh)])
    page[18:20] = b"\2\2"
    page[24:28] = page[92:96] = (1).to_bytes(4, "big")  # alike: the count of pages then holds
    page[28:32] = (path.stat().st_size // len(page)).to_bytes(4, "big")
    with path.open("r+b") as file:
        file.write(page)


def _read(path: Path) -> ReadableRows:
    # Closed before the folder goes: the library writes into the copy until then.
    try:
        with closing(sqlite3.connect(path, isolation_level=None)) as connection:
            connection.text_factory = bytes
            versions, all_versions = _listed(connection, _VERSION_INDEX, _version_head)
            drafts, all_drafts = _listed(connection, _DRAFT_INDEX, _draft_head)
            versions |= set(_rows(connection, _VERSION_HEAD, _version_head))
            heads = {row[0]: row[1:] for row in _rows(connection, _DRAFT_HEAD, _draft_head)}
            return ReadableRows(
                tuple(_rows(connection, _STUDY, _study)),
                tuple(_rows(connection, _VERSION, _version)),
                tuple(_rows(connection, _DRAFT, _draft)),
                frozenset((row[0], row[1]) for row in versions),
                dict.fromkeys((row[0] for row in sorted(drafts)), ()) | heads,
                all_versions and all_drafts,
            )
    except _BROKEN:
        return ReadableRows()


def _rows(
    connection: sqlite3.Connection, select: str, whole: Callable[[Row], Row]
) -> Iterator[Row]:
    """Yield the rows that are whole: up to the first that breaks, then each on its own."""
    found: dict[int, Row] = {}
    ends = []
    for order in ("ASC", "DESC"):
        seen: list[int] = []
        with suppress(*_BROKEN):
            for row in connection.execute(f"{select} ORDER BY rowid {order}"):
                seen.append(row[0])
                found[row[0]] = row[1:]
        ends.append(seen)
    first = max(ends[0], default=0) + 1
    last = min(ends[1], default=first + _BEYOND)
    for place in range(first, min(last, first + 100 * _BEYOND)):
        with suppress(*_BROKEN):
            for row in connection.execute(f"{select} WHERE rowid = ?", (place,)):
                found[place] = row[1:]
    for place in sorted(found):
        with suppress(ValueError, TypeError, AttributeError):
            yield whole(found[place])


def _listed(
    connection: sqlite3.Connection, select: str, whole: Callable[[Row], Row]
) -> tuple[set[Row], bool]:
    """Return what an index lists, and whether it could be read to its end."""
    found: set[Row] = set()
    try:
        for row in connection.execute(select):
            found.add(whole(row))
    except (*_BROKEN, ValueError, TypeError, AttributeError):
        return found, False
    return found, True


def _version_head(row: Row) -> Row:
    study, number = row
    _check_number(number)
    return _text(study), number


def _draft_head(row: Row) -> Row:
    page, *rest = row
    if not rest:
        return (_text(page),)
    study, made_from, kept_at = rest
    if made_from is not None:
        _check_number(made_from)
    return _text(page), None if study is None else _text(study), made_from, _time(kept_at)


def _study(row: Row) -> Row:
    key, name, made_at, removed_at = row
    return (
        _text(key),
        _text(name),
        _time(made_at),
        None if removed_at is None else _time(removed_at),
    )


def _version(row: Row) -> Row:
    study, number, saved_at, note, text, made_from, mark = row
    _check_number(number)
    if made_from is not None:
        _check_number(made_from)
    said = _as_saved(text, mark)
    return _text(study), number, _time(saved_at), _text(note), said, made_from, digest(said)


def _draft(row: Row) -> Row:
    page, study, made_from, kept_at, text, mark = row
    if made_from is not None:
        _check_number(made_from)
    said = _as_saved(text, mark)
    known = None if study is None else _text(study)
    return _text(page), known, made_from, _time(kept_at), said, digest(said)


def _as_saved(value: bytes, mark: bytes) -> str:
    """Return a text that is the one that was saved; an older layout has no mark of it."""
    said = _text(value)
    if mark != b"" and digest(said) != _text(mark):
        raise ValueError
    return said


def _text(value: bytes) -> str:
    return value.decode("utf-8")


def _time(value: bytes) -> str:
    return datetime.fromisoformat(_text(value)).isoformat(timespec="microseconds")


def _check_number(value: object) -> None:
    if not isinstance(value, int) or value < 1:
        raise ValueError
