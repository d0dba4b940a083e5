"""What the first page lists: saved and removed studies, unsaved work, what can be compared.

May import from capex errors and study.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Final
from urllib.parse import urlencode

from capex.errors import StoreError
from capex.study.damage_report import DamageReport
from capex.study.saved_studies import Draft, SavedStudies, SavedStudy
from capex.views.site.wording import Trouble, trouble, when

__all__ = ["LIMIT", "Listing", "UnsavedWork", "listing"]

#: Of a study file that is opened [bytes].
LIMIT: Final = 16_000_000


@dataclass(frozen=True)
class UnsavedWork:
    """Work of a closed page that was not saved.

    Parameters
    ----------
    page : str
        Whose it was.
    name : str
        Of the study; empty where it was never saved or is removed.
    made_from : int or None
        The version that it changes.
    kept_at : datetime
    query : str
        Part of the address that goes on with it.
    """

    page: str
    name: str
    made_from: int | None
    kept_at: datetime
    query: str

    @property
    def called(self) -> str:
        """What tells it from other unsaved work: its time to the second, and what it changes."""
        at = when(self.kept_at, clock="%H:%M:%S")
        return f"{at}, from version {self.made_from}" if self.made_from is not None else at


@dataclass(frozen=True)
class Listing:
    """What is there.

    Parameters
    ----------
    studies, removed : tuple of SavedStudy
    drafts : tuple of UnsavedWork
    comparable : tuple of (str, str)
        Key and name of whatever can stand beside another.
    damage : tuple of DamageReport
        What became of damaged files that were set aside, the latest first.
    trouble : Trouble or None
        Why nothing can be listed.
    """

    studies: tuple[SavedStudy, ...] = ()
    removed: tuple[SavedStudy, ...] = ()
    drafts: tuple[UnsavedWork, ...] = ()
    comparable: tuple[tuple[str, str], ...] = ()
    damage: tuple[DamageReport, ...] = ()
    trouble: Trouble | None = None


def listing(shipped: Path) -> Listing:
    """Return what is saved; where the file cannot be read, why.

    Parameters
    ----------
    shipped : Path
        Folder of the studies that come with capex.

    Examples
    --------
    >>> import os, tempfile
    >>> from unittest.mock import patch
    >>> from capex.study import data_folder
    >>> with tempfile.TemporaryDirectory() as folder, patch.dict(os.environ, CAPEX_DATA=folder):
    ...     listing(data_folder() / "studies").studies
    ()
    """
    try:
        saved = SavedStudies()
        studies = saved.studies()
        names = {study.key: study.name for study in studies}
        drafts = tuple(_unsaved(draft, names) for draft in saved.drafts())
        stems = sorted(path.stem for path in shipped.glob("*.toml"))
        demos = [(stem, f"{stem.replace('_', ' ').capitalize()} (demo)") for stem in stems]
        comparable = (*names.items(), *demos)
        return Listing(studies, saved.removed(), drafts, comparable, saved.damage())
    except StoreError as error:
        return Listing(trouble=trouble(error))


def _unsaved(draft: Draft, names: dict[str, str]) -> UnsavedWork:
    name = names.get(draft.study or "", "")
    query = {"draft": draft.page}
    if name and draft.study:
        query = {"study": f"{draft.study}@{draft.made_from}", **query}
    made_from = draft.made_from if name else None
    return UnsavedWork(draft.page, name, made_from, draft.kept_at, urlencode(query))
