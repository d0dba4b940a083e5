"""Rows of finished studies, each study's in a file of its own, so that no run loses or redoes them.

A file is there whole or not at all. One that cannot be read back, or says that it is of something
else, counts as not there.

Imports numpy and scipy for their versions, `capex.errors`, `capex.study.whole_file` and, of this
folder, `draws` and `study_rows`.
"""

from __future__ import annotations

import hashlib
import json
from functools import cache
from importlib.metadata import version
from pathlib import Path
from typing import Final

import numpy as np
import scipy

from capex.decision.risk.draws import sobol_points
from capex.decision.risk.study_rows import COLUMNS, Row
from capex.errors import StoreError
from capex.study import whole_file

__all__ = ["FinishedRows", "figures_version", "write_whole"]

_PACKAGE: Final = Path(__file__).parents[2]


def figures_version() -> str:
    """Return the versions that figures depend on, and a digest of the package's own sources.

    Examples
    --------
    >>> figures_version().startswith("capex ")
    True
    """
    return (
        f"capex {version('capex')} (sources {_sources_digest(_PACKAGE)}), "
        f"numpy {np.__version__}, scipy {scipy.__version__}"
    )


@cache
def _sources_digest(package: Path) -> str:
    """Return twelve digits of a hash of all sources that figures come from, once a process.

    Pages and commands are left out: they show figures and make none.
    """
    told = hashlib.sha256()
    for path in sorted(package.rglob("*.py")):
        name = path.relative_to(package)
        if name.parts[0] != "views":
            told.update(name.as_posix().encode() + b"\0")
            told.update(hashlib.sha256(path.read_bytes()).digest())
    return told.hexdigest()[:12]


class FinishedRows:
    """A folder of finished rows.

    Parameters
    ----------
    folder : path
        Made where it is not there.
    count : int
        Draws.
    seed : int or None
        Of all draws; None for each study's own.

    Raises
    ------
    InputError
        Draws or a seed outside their bounds.
    StoreError
        A folder that cannot be made.
    """

    def __init__(self, folder: Path, count: int, seed: int | None) -> None:
        sobol_points(count, 0, 0 if seed is None else seed)  # refuses both before any work
        self.folder, self.count, self.seed = folder, count, seed
        try:
            folder.mkdir(mode=0o700, parents=True, exist_ok=True)
        except OSError as error:
            raise StoreError(f"{folder}: cannot be made a folder: {error.strerror}") from None

    def key(self, content: bytes) -> str:
        """Return the name under which the rows of a study are kept.

        Parameters
        ----------
        content : bytes
            Of the study file.
        """
        settings = [self.count, self.seed, figures_version(), list(COLUMNS)]
        told = hashlib.sha256(json.dumps(settings).encode())
        told.update(hashlib.sha256(content).digest())
        return told.hexdigest()

    def read(self, key: str) -> list[Row] | None:
        """Return finished rows, or None where there are none to be relied on."""
        try:
            found = json.loads(self._path(key).read_text(encoding="utf-8"))
        except (OSError, ValueError):
            return None
        if not isinstance(found, dict) or found.get("key") != key:
            return None
        rows = found.get("rows")
        whole = isinstance(rows, list) and rows and all(isinstance(row, dict) for row in rows)
        return rows if whole else None

    def needed(self, key: str, name: str) -> list[Row]:
        """Return finished rows that must be there.

        Raises
        ------
        StoreError
            They are not.
        """
        rows = self.read(key)
        if rows is None:
            raise StoreError(f"{name}: not finished; the same command goes on from there")
        return rows

    def write(self, key: str, rows: list[Row]) -> None:
        """Keep rows, whole or not at all.

        Raises
        ------
        StoreError
            They cannot be written.
        """
        text = json.dumps({"key": key, "rows": rows}, allow_nan=False)
        write_whole(self._path(key), text.encode())

    def _path(self, key: str) -> Path:
        return self.folder / f"{key}.json"


def write_whole(path: Path, content: bytes) -> None:
    """Write a file whole or not at all; see `capex.study.whole_file`.

    Raises
    ------
    StoreError
        It cannot be written; what was there before still is.
    """
    try:
        whole_file.write_whole(path, content)
    except OSError as error:
        raise StoreError(f"{path}: cannot be written: {error.strerror}") from None
