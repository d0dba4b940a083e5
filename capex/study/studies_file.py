"""The SQLite file of the saved studies: opened, read and written whole or not at all.

A file that is damaged is set aside, never deleted; one of a newer layout is left alone.

Imports sqlite3, platformdirs and `capex.errors`.
"""

from __future__ import annotations

import os
import secrets
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path
from typing import Final

import platformdirs

from capex.errors import StoreError

__all__ = ["StudiesFile", "saved_studies_file"]

#: Environment variable that names another folder.
FOLDER_VARIABLE: Final = "CAPEX_DATA"
_WAIT: Final = 10.0  # for another page's save [s]
_LAYOUT: Final = 1
_TABLES: Final = """
CREATE TABLE IF NOT EXISTS study (
    key TEXT PRIMARY KEY, name TEXT NOT NULL, made_at TEXT NOT NULL, removed_at TEXT
) STRICT;
CREATE TABLE IF NOT EXISTS version (
    study TEXT NOT NULL REFERENCES study(key), number INTEGER NOT NULL, saved_at TEXT NOT NULL,
    note TEXT NOT NULL, text TEXT NOT NULL, made_from INTEGER, PRIMARY KEY (study, number)
) STRICT;
CREATE TABLE IF NOT EXISTS draft (
    page TEXT PRIMARY KEY, study TEXT, made_from INTEGER, kept_at TEXT NOT NULL, text TEXT NOT NULL
) STRICT;
"""


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
        the message gives, and the next opening begins a new one.

    Examples
    --------
    >>> import tempfile
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     StudiesFile(Path(folder) / "studies.sqlite").set_aside()
    ()
    """

    def __init__(self, path: Path | None = None) -> None:
        self.path = path or saved_studies_file()
        try:
            self.path.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
            if not self.path.exists():
                os.close(os.open(self.path, os.O_CREAT | os.O_WRONLY, 0o600))
        except OSError as error:
            raise StoreError(f"{self.path}: cannot be written: {error.strerror}") from None
        with self._open() as connection:
            known = connection.execute("PRAGMA user_version").fetchone()[0]
            if known > _LAYOUT:
                raise StoreError(
                    f"{self.path}: was written by a newer capex (layout {known}, this one reads "
                    f"{_LAYOUT}); nothing was changed"
                )
            if known < _LAYOUT:
                connection.execute("PRAGMA journal_mode = WAL")
                connection.executescript(f"BEGIN IMMEDIATE;{_TABLES}"
                                         f"PRAGMA user_version = {_LAYOUT};COMMIT;")  # fmt: skip

    @contextmanager
    def _open(self) -> Iterator[sqlite3.Connection]:
        """Open the file for one piece of work; what it wrote is on the disk at the end."""
        connection = None
        try:
            connection = sqlite3.connect(self.path, timeout=_WAIT, isolation_level=None)
            connection.execute("PRAGMA synchronous = FULL")
            connection.execute("PRAGMA foreign_keys = ON")
            yield connection
        except sqlite3.DatabaseError as error:
            if connection is not None:
                connection.close()
            raise self._trouble(error) from None
        finally:
            if connection is not None:
                connection.close()

    def _trouble(self, error: sqlite3.DatabaseError) -> StoreError:
        damaged = error.sqlite_errorname in {"SQLITE_CORRUPT", "SQLITE_NOTADB"} if hasattr(
            error, "sqlite_errorname"
        ) else False  # fmt: skip
        if not damaged:
            return StoreError(f"{self.path}: {error}; what was saved before is unchanged")
        stamp = datetime.now(UTC).strftime("%Y%m%dT%H%M%S")
        aside = self.path.with_name(f"{self.path.name}.damaged-{stamp}-{secrets.token_hex(3)}")
        for suffix in ("", "-wal", "-shm"):
            part = self.path.with_name(self.path.name + suffix)
            if part.exists():
                part.rename(aside.with_name(aside.name + suffix))
        return StoreError(
            f"{self.path}: is damaged ({error}); it was set aside as {aside.name}, nothing of it "
            "was deleted; saving starts anew"
        )

    @contextmanager
    def _writing(self) -> Iterator[sqlite3.Connection]:
        """Make all of a change or none of it, one page after the other."""
        with self._open() as connection:
            connection.execute("BEGIN IMMEDIATE")
            try:
                yield connection
            except BaseException:
                connection.execute("ROLLBACK")
                raise
            connection.execute("COMMIT")

    def set_aside(self) -> tuple[Path, ...]:
        """Return the damaged files that were set aside beside this one, the oldest first."""
        found = self.path.parent.glob(f"{self.path.name}.damaged-*")
        return tuple(sorted(path for path in found if not path.name.endswith(("-wal", "-shm"))))
