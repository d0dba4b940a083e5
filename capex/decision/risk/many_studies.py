"""All studies of a folder, each with draws, into one table; what is finished is never redone.

A study's rows depend on its bytes, the draws, the seed and the versions of the package and of its
numerical libraries alone; their file is named by a hash of all of these and written whole or not
at all. The process that was asked writes them as they come, so that workers on other machines
need no common folder.

Imports csv, `capex.errors` and, of this folder, `finished_rows`, `study_rows` and `workers`.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from capex.decision.risk.finished_rows import FinishedRows, write_whole
from capex.decision.risk.study_rows import COLUMNS, Cell, Row, refusal, study_rows
from capex.decision.risk.workers import Task, results
from capex.errors import InputError

__all__ = ["ManyStudies", "Step", "study_files", "write_table"]

_LARGEST: Final = 16_000_000  # bytes; a study file is at most as large
_FORMULA: Final = ("=", "+", "-", "@", "\t", "\r", "\n")


@dataclass(frozen=True)
class Step:
    """How far a run is.

    Parameters
    ----------
    done, total : int
        Studies.
    name : str
        Of the one that was just finished; empty at the start.
    """

    done: int
    total: int
    name: str


def study_files(folder: Path) -> tuple[Path, ...]:
    """Return all TOML files in a folder and the folders in it, by name.

    Parameters
    ----------
    folder : path

    Raises
    ------
    InputError
        No folder, or none with such a file.

    Examples
    --------
    >>> from capex.study import data_folder
    >>> [path.name for path in study_files(data_folder() / "studies")]
    ['quenlow.toml', 'quenlow_year_on.toml']
    """
    if not folder.is_dir():
        raise InputError("folder", str(folder), "is not a folder")
    found = [path for path in folder.rglob("*") if path.suffix.lower() == ".toml"]
    if not found:
        raise InputError("folder", str(folder), "has no study file (*.toml)")
    return tuple(sorted(found, key=lambda path: path.relative_to(folder).as_posix()))


class ManyStudies:
    """A run over all studies of a folder.

    Parameters
    ----------
    folder : path
        Of the studies.
    count : int
        Draws of each: a power of two, 32 to 1,048,576.
    kept : path
        Folder of the finished rows; made where it is not there.
    seed : int, optional
        Of all draws; by default each study's own.

    Raises
    ------
    InputError
        A folder without study files, or draws or a seed outside their bounds.
    StoreError
        A folder that cannot be made or written to.
    """

    def __init__(self, folder: Path, count: int, kept: Path, seed: int | None = None) -> None:
        self._folder = folder
        self._files = study_files(folder)
        self._rows = FinishedRows(kept, count, seed)
        self._unkept: dict[Path, list[Row]] = {}
        self._keys: dict[Path, str] = {}

    def run(self, *, jobs: int | None = None, dask: str | None = None) -> Iterator[Step]:
        """Appraise all studies that are not finished, and yield after each.

        Parameters
        ----------
        jobs : int, optional
            Processes on this machine; by default one a core.
        dask : str, optional
            Address of a Dask scheduler that does the work instead.

        Raises
        ------
        InputError
            Fewer than one job, or a cluster that does not answer or has another version.
        StoreError
            Finished rows that cannot be written.
        """
        total = len(self._files)
        todo = self._unfinished()
        done = total - len({path for paths in todo.values() for path in paths[1]})
        yield Step(done, total, "")
        tasks = [
            Task(key, content, self._rows.count, self._rows.seed)
            for key, (content, _) in todo.items()
        ]
        for key, rows, lasting in results(tasks, study_rows, jobs=jobs, dask=dask):
            paths = todo[key][1]
            if lasting:
                self._rows.write(key, rows)
            else:
                self._unkept |= dict.fromkeys(paths, rows)
            for path in paths:
                done += 1
                yield Step(done, total, self._name(path))

    def _unfinished(self) -> dict[str, tuple[bytes, list[Path]]]:
        """Return contents and files of each study to appraise by key; equal files go together."""
        todo: dict[str, tuple[bytes, list[Path]]] = {}
        for path in self._files:
            try:
                content = _content(path)
            except (OSError, InputError) as error:
                reason = getattr(error, "strerror", None) or str(error)
                self._unkept[path] = refusal(f"cannot be read: {reason}")
                continue
            key = self._keys[path] = self._rows.key(content)
            if self._rows.read(key) is None:
                todo.setdefault(key, (content, []))[1].append(path)
        return todo

    def table(self) -> list[Row]:
        """Return the rows of all studies in the order of their names, once a run is through.

        Raises
        ------
        StoreError
            A study that is not finished.
        """
        found: list[Row] = []
        for path in self._files:
            rows = self._unkept.get(path)
            if rows is None:
                rows = self._rows.needed(self._keys[path], self._name(path))
            found += [{"file": self._name(path), **row} for row in rows]
        return found

    def _name(self, path: Path) -> str:
        return path.relative_to(self._folder).as_posix()


def _content(path: Path) -> bytes:
    if not path.is_file():
        raise InputError("file", path.name, "is not a file")
    if path.stat().st_size > _LARGEST:
        raise InputError("file", path.name, f"must be at most {_LARGEST:,} bytes")
    return path.read_bytes()


def write_table(rows: list[Row], path: Path) -> None:
    """Write rows as CSV (RFC 4180), whole or not at all.

    UTF-8 with its mark, so that spreadsheets read names right. Numbers are written so that they
    read back to the last bit; a text that a spreadsheet would run as a formula gets a ' in front.

    Parameters
    ----------
    rows : list of dict
        See `ManyStudies.table`.
    path : path
        What is there is replaced.

    Raises
    ------
    StoreError
        It cannot be written.
    """
    lines = io.StringIO(newline="")
    table = csv.DictWriter(lines, ("file", *COLUMNS))
    table.writeheader()
    table.writerows({name: _cell(cell) for name, cell in row.items()} for row in rows)
    write_whole(path, lines.getvalue().encode("utf-8-sig", "surrogateescape"))


def _cell(value: Cell) -> Cell:
    return f"'{value}" if isinstance(value, str) and value.startswith(_FORMULA) else value
