"""The SQLite file of the saved studies: opened, read and written whole or not at all.

A file that is damaged is set aside, never deleted, and a new one begins with what can be read of
it; one of a newer layout is left alone.

Imports sqlite3, platformdirs, `capex.errors` and, of this folder, `damage_report`,
`readable_rows` and `whole_file`.
"""

from __future__ import annotations

import os
import re
import sqlite3
import stat
import time
from collections.abc import Iterator
from contextlib import closing, contextmanager
from datetime import UTC, datetime
from pathlib import Path
from typing import Final

import platformdirs

from capex.errors import StoreError
from capex.study.damage_report import SUFFIX, DamageReport, damage_report, kept_report
from capex.study.readable_rows import ReadableRows, digest, readable_rows
from capex.study.whole_file import force_names

__all__ = ["Damage", "StudiesFile", "as_saved", "saved_studies_file"]

#: Environment variable that names another folder.
FOLDER_VARIABLE: Final = "CAPEX_DATA"
_WAIT: Final = 10.0  # for another page's save [s]
#: What leads from each layout to the next.
_STEPS: Final = (
    """
CREATE TABLE study (
    key TEXT PRIMARY KEY, name TEXT NOT NULL, made_at TEXT NOT NULL, removed_at TEXT
) STRICT;
CREATE TABLE version (
    study TEXT NOT NULL REFERENCES study(key), number INTEGER NOT NULL, saved_at TEXT NOT NULL,
    note TEXT NOT NULL, text TEXT NOT NULL, made_from INTEGER, PRIMARY KEY (study, number)
) STRICT;
CREATE TABLE draft (
    page TEXT PRIMARY KEY, study TEXT, made_from INTEGER, kept_at TEXT NOT NULL, text TEXT NOT NULL
) STRICT
""",
    """
ALTER TABLE version ADD COLUMN digest TEXT NOT NULL DEFAULT '';
ALTER TABLE draft ADD COLUMN digest TEXT NOT NULL DEFAULT '';
UPDATE version SET digest = digest(text);
UPDATE draft SET digest = digest(text)
""",
)
_LAYOUT: Final = len(_STEPS)
_NO_LAYOUT: Final = 1_000  # nor will a newer capex ever have so many
_BESIDE: Final = ("-journal", "-wal", "-shm")
_DAMAGED: Final = ("SQLITE_CORRUPT", "SQLITE_NOTADB", "SQLITE_TOOBIG")
#: Beginnings of what is said of a file whose tables or texts are no longer what they were.
_UNREADABLE: Final = (
    "Could not decode", "no such ", "table ", "duplicate column", "user-defined function raised",
)  # fmt: skip
_ELSEWHERE: Final = "was damaged and set aside by another page meanwhile; do this once more"
_WORDS: Final = {
    "SQLITE_FULL": "the disk is full",
    "SQLITE_READONLY": "cannot be written to",
    "SQLITE_CANTOPEN": "cannot be opened, or its folder cannot be written to",
    "SQLITE_BUSY": "another page has been saving all this time; try again",
    "SQLITE_IOERR": "the disk did not take or give what it was asked for",
}


class Damage(sqlite3.DatabaseError):
    """A file that the database takes for whole, and that is not."""


def saved_studies_file() -> Path:
    """Return where saved studies stand: in ``$CAPEX_DATA``, else in the user's data folder."""
    given = os.environ.get(FOLDER_VARIABLE)
    folder = Path(given) if given else platformdirs.user_data_path("capex", appauthor=False)
    return folder / "studies.sqlite"


class StudiesFile:
    """One file of saved studies.

    Parameters
    ----------
    path : path, optional
        By default `saved_studies_file`; the file and its folder are made where there are none,
        readable by their owner only.

    Raises
    ------
    StoreError
        The file cannot be read or written. A damaged one has been set aside under a name that
        the message gives, and a new one holds what could be read of it.

    Examples
    --------
    >>> import tempfile
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     StudiesFile(Path(folder) / "studies.sqlite").set_aside()
    ()
    """

    def __init__(self, path: Path | None = None) -> None:
        self.path = path or saved_studies_file()
        with self._open():
            pass

    def set_aside(self) -> tuple[Path, ...]:
        """Return the damaged files that were set aside beside this one, the oldest first."""
        found = self.path.parent.glob(f"{self.path.name}.damaged-*")
        kept = [path for path in found if not path.name.endswith((*_BESIDE, SUFFIX))]
        return tuple(sorted(kept, key=lambda path: (_number(path), path.name)))

    def damage(self) -> tuple[DamageReport, ...]:
        """Return what became of each file that was set aside, the latest first."""
        return tuple(kept_report(path) for path in reversed(self.set_aside()))

    def check(self) -> None:
        """Look at every page and every text of the file.

        Raises
        ------
        StoreError
            It is damaged, and was set aside.
        """
        with self._open() as connection:
            (said,) = connection.execute("PRAGMA integrity_check(1)").fetchone()
            if said != "ok":
                raise Damage(said)
            for table in ("version", "draft"):
                for text, mark in connection.execute(f"SELECT text, digest FROM {table}"):
                    as_saved(text, mark)

    @contextmanager
    def _open(self) -> Iterator[sqlite3.Connection]:
        """Open the file for one piece of work; what it wrote is on the disk at the end."""
        opened = None
        try:
            self._make()
            opened = self._identity()
            with self._connected() as connection:
                yield connection
            if self._identity() != opened:
                raise StoreError(f"{self.path}: {_ELSEWHERE}")
        except sqlite3.DatabaseError as error:
            raise self._trouble(error, opened) from None
        except UnicodeDecodeError:  # of the words with which the library complains
            raise self._trouble(Damage("its list of tables is broken"), opened) from None
        except OSError as error:
            raise StoreError(f"{self.path}: cannot be written: {error.strerror}") from None

    @contextmanager
    def _writing(self) -> Iterator[sqlite3.Connection]:
        """Make all of a change or none of it, one page after the other."""
        with self._open() as connection:
            connection.execute("BEGIN IMMEDIATE")
            try:
                yield connection
            except BaseException:
                if connection.in_transaction:  # a full disk has ended it already
                    connection.execute("ROLLBACK")
                raise
            connection.execute("COMMIT")

    def _identity(self) -> tuple[int, int] | None:
        """Return what tells this file from another of the same name."""
        try:
            found = self.path.stat()
        except FileNotFoundError:
            return None
        return found.st_dev, found.st_ino

    def _make(self) -> None:
        """Make the file and its folder where there are none; only their owner can read them."""
        folder = self.path.parent
        if not folder.is_dir():
            folder.mkdir(mode=0o700, parents=True, exist_ok=True)
        if not self.path.exists():
            os.close(os.open(self.path, os.O_CREAT | os.O_WRONLY, 0o600))
            force_names(folder)
        elif os.name == "posix" and stat.S_IMODE(self.path.stat().st_mode) & 0o077:
            self.path.chmod(0o600)  # a copy put here by hand

    @contextmanager
    def _connected(self) -> Iterator[sqlite3.Connection]:
        wal = self.path.with_name(f"{self.path.name}-wal")
        if not self.path.stat().st_size and wal.exists() and wal.stat().st_size:
            raise Damage("all but the latest changes are gone")  # which SQLite would now delete
        address = f"{self.path.absolute().as_uri()}?mode=rw"
        connection = sqlite3.connect(address, timeout=_WAIT, isolation_level=None, uri=True)
        with closing(connection):
            connection.execute("PRAGMA synchronous = FULL")
            connection.execute("PRAGMA foreign_keys = ON")
            if not 0 <= (known := _layout(connection)) < _NO_LAYOUT:
                raise Damage("its first page is not one of capex")
            if known > _LAYOUT:
                raise StoreError(
                    f"{self.path}: was written by a newer capex (layout {known}, this one reads "
                    f"{_LAYOUT}); nothing was changed"
                )
            if known < _LAYOUT:
                self._lay_out(connection)
            yield connection

    def _lay_out(self, connection: sqlite3.Connection) -> None:
        """Bring the file to the layout; a new one takes over what a damaged one still gives."""
        if not _layout(connection):
            _log_ahead(connection)
        connection.execute("BEGIN IMMEDIATE")
        known = _layout(connection)  # another page may have been first
        _take_steps(connection, known)
        if not known and (aside := self.set_aside()):
            rows = readable_rows(aside[-1], _new_file())
            _put_in(connection, rows)
            damage_report(aside[-1], rows).keep()
        connection.execute("COMMIT")

    def _trouble(self, error: sqlite3.DatabaseError, opened: tuple[int, int] | None) -> StoreError:
        name = getattr(error, "sqlite_errorname", "")
        unreadable = str(error).startswith(_UNREADABLE)
        if not (isinstance(error, Damage) or unreadable or name.startswith(_DAMAGED)):
            words = next((_WORDS[key] for key in _WORDS if name.startswith(key)), str(error))
            return StoreError(f"{self.path}: {words}; what was saved before is unchanged")
        why = "not all in it can be read" if unreadable else str(error)
        try:
            with self._alone():
                if self._identity() != opened:
                    return StoreError(f"{self.path}: {_ELSEWHERE}")
                aside = self._put_aside()
                anew = self._begin_anew(aside)
        except (OSError, sqlite3.Error) as trouble:
            reason = getattr(trouble, "strerror", None) or trouble
            return StoreError(
                f"{self.path}: is damaged ({why}) and cannot be set aside ({reason}); nothing of "
                "it was changed or deleted"
            )
        return StoreError(
            f"{self.path}: is damaged ({why}); it was set aside as {aside.name}, nothing of it was "
            f"deleted. {anew}"
        )

    @contextmanager
    def _alone(self) -> Iterator[None]:
        """Let one page at a time set a file aside; the lock of one that is killed goes with it."""
        lock = self.path.with_name(f"{self.path.name}.lock")
        os.close(os.open(lock, os.O_CREAT | os.O_WRONLY, 0o600))
        with closing(sqlite3.connect(lock, timeout=_WAIT, isolation_level=None)) as connection:
            connection.execute("BEGIN EXCLUSIVE")
            yield

    def _put_aside(self) -> Path:
        """Give the file another name, and those beside it first: a new file must not find them."""
        number = max((_number(path) for path in self.set_aside()), default=0) + 1
        stamp = datetime.now(UTC).strftime("%Y%m%dT%H%M%S")
        aside = self.path.with_name(f"{self.path.name}.damaged-{number}-{stamp}")
        moved: list[str] = []
        try:
            for suffix in (*_BESIDE, ""):
                part = self.path.with_name(self.path.name + suffix)
                if part.exists():
                    part.rename(aside.with_name(aside.name + suffix))
                    moved.append(suffix)
        except OSError:
            for suffix in moved:
                beside = aside.with_name(aside.name + suffix)
                beside.rename(self.path.with_name(self.path.name + suffix))
            raise
        force_names(self.path.parent)
        return aside

    def _begin_anew(self, aside: Path) -> str:
        """Begin a new file with what can be read of the damaged one, and say what that is."""
        try:
            self._make()
            with self._connected():
                pass
        except (OSError, sqlite3.Error):
            return "A new file could not be begun; capex tries again at the next opening."
        return f"{kept_report(aside).words()} A page that was open before is to be opened anew."


def as_saved(text: str, mark: str) -> str:
    """Return a text that is the one that was saved.

    Raises
    ------
    Damage
        It is another.
    """
    if digest(text) != mark:
        raise Damage("a text in it is not the one that was saved")
    return text


def _number(path: Path) -> int:
    """Return which damaged file of its folder one is, as its name says; 0 where it does not."""
    found = re.search(r"\.damaged-(\d+)-", path.name)
    return int(found[1]) if found else 0


def _log_ahead(connection: sqlite3.Connection) -> None:
    """Turn the log on; the library itself does not wait for other pages here."""
    end = time.monotonic() + _WAIT
    while True:
        try:
            connection.execute("PRAGMA journal_mode = WAL")
        except sqlite3.OperationalError as error:
            if error.sqlite_errorname != "SQLITE_BUSY" or time.monotonic() > end:
                raise
            time.sleep(0.02)
        else:
            return


def _layout(connection: sqlite3.Connection) -> int:
    return int(connection.execute("PRAGMA user_version").fetchone()[0])


def _take_steps(connection: sqlite3.Connection, known: int) -> None:
    connection.create_function("digest", 1, digest, deterministic=True)
    for step in _STEPS[known:]:
        for statement in step.split(";"):
            connection.execute(statement)
    connection.execute(f"PRAGMA user_version = {_LAYOUT}")


def _new_file() -> bytes:
    """Return a file of this layout that holds nothing."""
    with closing(sqlite3.connect(":memory:", isolation_level=None)) as connection:
        _take_steps(connection, 0)
        return connection.serialize()


def _put_in(connection: sqlite3.Connection, rows: ReadableRows) -> None:
    connection.executemany("INSERT OR IGNORE INTO study VALUES (?, ?, ?, ?)", rows.studies)
    known = {row[0] for row in rows.studies}
    for key, at in {
        row[0]: row[2] for row in reversed(rows.versions) if row[0] not in known
    }.items():
        connection.execute(
            "INSERT OR IGNORE INTO study VALUES (?, ?, ?, NULL)", (key, f"Name lost {key[:4]}", at)
        )
    connection.executemany(
        "INSERT OR IGNORE INTO version VALUES (?, ?, ?, ?, ?, ?, ?)", rows.versions
    )
    connection.executemany("INSERT OR IGNORE INTO draft VALUES (?, ?, ?, ?, ?, ?)", rows.drafts)
