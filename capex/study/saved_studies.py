"""Saved studies: every save a new version that nothing overwrites, and unsaved work kept aside.

One SQLite file in the user's own folder. A version is the whole text of a study file, so that it
comes back to the last comment. Two pages may have the same study open: whoever saves second adds
a version too and is told of the other's. A file that is damaged is set aside, never deleted.

Which comes later is told by what was saved last, never by the clock, which may be set back.

Imports sqlite3, `capex.errors` and, of this folder, `files`, `name_checks`,
`readable_rows` and `studies_file`.
"""

from __future__ import annotations

import secrets
import sqlite3
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Final

from capex.errors import InputError
from capex.study.files import StudyFile
from capex.study.name_checks import hidden_fault
from capex.study.readable_rows import digest
from capex.study.studies_file import Damage, StudiesFile, as_saved, saved_studies_file

__all__ = ["Draft", "SavedStudies", "SavedStudy", "Version", "saved_studies_file"]

_NAME: Final = 120
_STUDIES: Final = """
SELECT key, name, number, saved_at, note,
    (SELECT COUNT(*) FROM version WHERE study = key)
FROM study JOIN version ON version.study = key
WHERE number = (SELECT MAX(number) FROM version WHERE study = key) AND {which}
ORDER BY version.rowid DESC
"""


@dataclass(frozen=True)
class SavedStudy:
    """A study that is saved.

    Parameters
    ----------
    key : str
        Never changes; stands in the address of a page.
    name : str
    versions : int
        Number of the last.
    saved_at : datetime
        Of the last one, UTC.
    note : str
        Of the last one, the user's own words.
    kept : int
        How many versions are there: fewer than that number where a damaged file has cost some.
    """

    key: str
    name: str
    versions: int
    saved_at: datetime
    note: str
    kept: int


@dataclass(frozen=True)
class Version:
    """One save of a study.

    Parameters
    ----------
    study : str
        Its key.
    number : int
        From 1.
    saved_at : datetime
        UTC.
    note : str
        The user's own words.
    made_from : int or None
        The version that it was changed from; None where it is the first.
    passed_over : tuple of int
        Versions saved by others since then, which are kept beside it.
    """

    study: str
    number: int
    saved_at: datetime
    note: str
    made_from: int | None
    passed_over: tuple[int, ...] = ()


@dataclass(frozen=True)
class Draft:
    """Unsaved work of one page.

    Parameters
    ----------
    page : str
        Whose.
    study : str or None
        Key of the study; None where it was never saved.
    made_from : int or None
        The version it changes.
    kept_at : datetime
        UTC.
    text : str
        Of the study file, perhaps with problems.
    """

    page: str
    study: str | None
    made_from: int | None
    kept_at: datetime
    text: str


class SavedStudies(StudiesFile):
    """The saved studies of one file.

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
    >>> from pathlib import Path
    >>> from capex.study import StudyFile, data_folder
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     saved = SavedStudies(Path(folder) / "studies.sqlite")
    ...     text = StudyFile.read(data_folder() / "studies" / "quenlow.toml").text
    ...     first = saved.add("Our shop", text)
    ...     second = saved.save(first.study, text, note="wage of November", made_from=1)
    ...     second.number, second.passed_over, saved.studies()[0].versions
    (2, (), 2)
    """

    def studies(self) -> tuple[SavedStudy, ...]:
        """Return all studies, the last saved first."""
        return self._studies("removed_at IS NULL")

    def removed(self) -> tuple[SavedStudy, ...]:
        """Return the studies that were taken off the list, the last saved first."""
        return self._studies("removed_at IS NOT NULL")

    def study(self, key: str) -> SavedStudy:
        """Return one study.

        Raises
        ------
        InputError
            No such study.
        """
        for found in self._studies("removed_at IS NULL AND key = ?", key):
            return found
        raise InputError("study", key, "is not a saved study")

    def _studies(self, which: str, *values: str) -> tuple[SavedStudy, ...]:
        with self._open() as connection:
            rows = connection.execute(_STUDIES.format(which=which), values)
            return tuple(
                SavedStudy(key, name, last, _time(at), note, kept)
                for key, name, last, at, note, kept in rows
            )

    def versions(self, study: str) -> tuple[Version, ...]:
        """Return all versions of a study, the last first.

        Raises
        ------
        InputError
            No such study.
        """
        with self._open() as connection:
            _known(connection, study)
            rows = connection.execute(
                "SELECT number, saved_at, note, made_from FROM version WHERE study = ? "
                "ORDER BY number DESC", (study,),
            )  # fmt: skip
            return tuple(Version(study, n, _time(at), note, base) for n, at, note, base in rows)

    def text(self, study: str, number: int | None = None) -> str:
        """Return the text of a version; of the last one where no number is given.

        Raises
        ------
        InputError
            No such study or version.
        """
        with self._open() as connection:
            last = _known(connection, study)
            row = connection.execute(
                "SELECT text, digest FROM version WHERE study = ? AND number = ?",
                (study, last if number is None else number),
            ).fetchone()
            if row is None:
                lost = number is not None and 1 <= number <= last
                bound = (
                    "is lost: it could not be read from a damaged file"
                    if lost
                    else (f"is not one of the study; known: 1 to {last}")
                )
                raise InputError("version", number, bound)
            return as_saved(*row)

    def add(self, name: str, text: str, note: str = "") -> Version:
        """Save a study for the first time.

        Raises
        ------
        InputError
            A name that is empty, longer than 120 characters, or holds a control character.
        StudyError
            The text has problems.
        """
        StudyFile.parsed(text, name)
        key, at = secrets.token_hex(8), _now()
        with self._writing() as connection:
            connection.execute("INSERT INTO study VALUES (?, ?, ?, NULL)", (key, _named(name), at))
            connection.execute(
                "INSERT INTO version VALUES (?, 1, ?, ?, ?, NULL, ?)",
                (key, at, note, text, digest(text)),
            )
        return Version(key, 1, _time(at), note, None)

    def save(self, study: str, text: str, note: str = "", made_from: int | None = None) -> Version:
        """Save a study once more, as a new version.

        Parameters
        ----------
        study : str
            Its key.
        text : str
            Of the study file.
        note : str
            The user's own words.
        made_from : int, optional
            Version that was changed, by default the last one.

        Returns
        -------
        Version
            Names in `passed_over` what others saved since `made_from`.

        Raises
        ------
        InputError
            No such study or version.
        StudyError
            The text has problems.
        """
        StudyFile.parsed(text, study)
        with self._writing() as connection:
            last = _known(connection, study)
            base = last if made_from is None else made_from
            if not 1 <= base <= last:
                raise InputError("made_from", base, f"is not a version; known: 1 to {last}")
            at = _now()
            connection.execute(
                "INSERT INTO version VALUES (?, ?, ?, ?, ?, ?, ?)",
                (study, last + 1, at, note, text, base, digest(text)),
            )
        return Version(study, last + 1, _time(at), note, base, tuple(range(base + 1, last + 1)))

    def restore(self, study: str, number: int) -> Version:
        """Save an old version once more as the newest; none in between is lost."""
        return self.save(study, self.text(study, number), f"as version {number}")

    def duplicate(self, study: str, name: str, number: int | None = None) -> Version:
        """Save a version as a study of its own under another name."""
        return self.add(name, self.text(study, number))

    def rename(self, study: str, name: str) -> None:
        """Give a study another name."""
        with self._writing() as connection:
            _known(connection, study)
            connection.execute("UPDATE study SET name = ? WHERE key = ?", (_named(name), study))

    def remove(self, study: str) -> None:
        """Take a study off the list; its versions stay in the file, and `bring_back` undoes it."""
        with self._writing() as connection:
            _known(connection, study)
            connection.execute("UPDATE study SET removed_at = ? WHERE key = ?", (_now(), study))

    def bring_back(self, study: str) -> None:
        """Put a removed study on the list again."""
        with self._writing() as connection:
            connection.execute("UPDATE study SET removed_at = NULL WHERE key = ?", (study,))
            _known(connection, study)

    def keep(
        self, page: str, text: str, study: str | None = None, made_from: int | None = None
    ) -> None:
        """Keep a page's unsaved work, in place of what was kept of it before."""
        with self._writing() as connection:
            connection.execute(
                "INSERT OR REPLACE INTO draft VALUES (?, ?, ?, ?, ?, ?)",
                (page, study, made_from, _now(), text, digest(text)),
            )

    def drop(self, page: str) -> None:
        """Forget a page's unsaved work: it has been saved, or is not wanted."""
        with self._writing() as connection:
            connection.execute("DELETE FROM draft WHERE page = ?", (page,))

    def drafts(self) -> tuple[Draft, ...]:
        """Return all unsaved work that is kept, the newest first."""
        with self._open() as connection:
            rows = connection.execute(
                "SELECT page, study, made_from, kept_at, text, digest FROM draft "
                "ORDER BY rowid DESC"
            )
            return tuple(
                Draft(page, key, base, _time(at), as_saved(text, mark))
                for page, key, base, at, text, mark in rows
            )


def _known(connection: sqlite3.Connection, study: str) -> int:
    """Return the number of a study's last version."""
    row = connection.execute(
        "SELECT MAX(number) FROM version JOIN study ON key = study "
        "WHERE study = ? AND removed_at IS NULL", (study,),
    ).fetchone()  # fmt: skip
    if row[0] is None:
        raise InputError("study", study, "is not a saved study")
    return int(row[0])


def _named(name: str) -> str:
    if not name.strip() or len(name.strip()) > _NAME:
        raise InputError("name", name, f"must be 1 to {_NAME} characters")
    if fault := hidden_fault(name.strip()):
        raise InputError("name", name, fault)
    return name.strip()


def _now() -> str:
    return datetime.now(UTC).isoformat(timespec="microseconds")


def _time(text: str) -> datetime:
    try:
        return datetime.fromisoformat(text)
    except ValueError:
        raise Damage("a time in it is none") from None
