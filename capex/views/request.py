"""Which study a page was asked to show, and where what is changed on the page goes.

An address names a study as ``?study=KEY`` (the last version of a saved study), ``?study=KEY@N``
(version N of it) or ``?study=NAME`` (a shipped one, such as the demo); ``&draft=PAGE`` names
unsaved work to go on with, ``&start=SECTION`` where to begin.

May import: voila (inside a preheated kernel only), and from capex errors and study.
"""

from __future__ import annotations

import os
import re
from dataclasses import dataclass
from html import escape
from pathlib import Path
from typing import Final
from urllib.parse import parse_qs

from capex.errors import InputError, StoreError
from capex.study.files import StudyFile
from capex.study.saved_studies import SavedStudies, saved_studies_file
from capex.study.whole_file import write_whole

__all__ = [
    "Kept",
    "PageRequest",
    "named_study",
    "page_request",
    "requested_study",
    "where_written",
    "written",
]

_SAVED: Final = re.compile(r"([0-9a-f]{16})(?:@([1-9]\d{0,8}))?", re.ASCII)


@dataclass(frozen=True)
class PageRequest:
    """What a page was asked to show.

    Parameters
    ----------
    path : Path or None
        File that holds the study; None where neither the address nor the server names one.
    study : str or None
        Key of the saved study; None where it is not one of those.
    version : int or None
        Which version of it.
    draft : str or None
        Unsaved work to go on with: the `page` of a `capex.study.saved_studies.Draft`.
    start : str
        Part of the page to begin with, for example ``orders``; empty for the first.
    """

    path: Path | None
    study: str | None = None
    version: int | None = None
    draft: str | None = None
    start: str = ""


def page_request(folder: Path) -> PageRequest:
    """Return what this page was asked to show.

    In a kernel that was started ahead of the visit this waits for the visit: call it after
    everything that does not depend on the study.

    Parameters
    ----------
    folder : Path
        Folder of the studies that an address may name.

    Raises
    ------
    InputError
        ``?study=`` names no study of the folder, no saved study, or no version of it.
    StoreError
        The saved studies cannot be read.
    """
    if os.environ.get("VOILA_PREHEAT") == "True":
        from voila.utils import wait_for_request  # 1.5 s to import, hidden by the preheating

        wait_for_request()
    asked = {key: words[0] for key, words in parse_qs(os.environ.get("QUERY_STRING", "")).items()}
    draft, start = asked.get("draft"), asked.get("start", "")
    if not (name := asked.get("study", "")):
        started_with = os.environ.get("CAPEX_STUDY")
        path = Path(started_with) if started_with else None
        return PageRequest(path, draft=draft, start=start)
    found = named_study(name, folder)
    if isinstance(found, Path):
        return PageRequest(found, draft=draft, start=start)
    return PageRequest(_opened(*found), *found, draft, start)


def requested_study(folder: Path) -> Path | None:
    """Return the study file that this page shall show; see `page_request`.

    Parameters
    ----------
    folder : Path
        Folder of the studies that an address may name.

    Returns
    -------
    Path or None
        The study named by ``?study=``, else the one that the server was started with, else None.

    Raises
    ------
    InputError
        ``?study=`` names no study of the folder, no saved study, or no version of it.
    StoreError
        The saved studies cannot be read.
    """
    return page_request(folder).path


def named_study(name: str, folder: Path) -> Path | tuple[str, int]:
    """Return what a name in an address stands for: a file, or key and version of a saved study.

    Parameters
    ----------
    name : str
        ``KEY``, ``KEY@N`` or the name of a study in the folder.
    folder : Path
        Folder of the studies that an address may name.

    Raises
    ------
    InputError
        It stands for nothing that is there.
    StoreError
        The saved studies cannot be read.

    Examples
    --------
    >>> from capex.study import data_folder
    >>> named_study("quenlow", data_folder() / "studies").name
    'quenlow.toml'
    """
    # Names only, never paths: an address must not make the page read some other file.
    if re.fullmatch(r"[\w-]{1,60}", name) and (path := folder / f"{name}.toml").is_file():
        return path
    if (match := _SAVED.fullmatch(name)) is None:
        known = ", ".join(sorted(path.stem for path in folder.glob("*.toml")))
        raise InputError("study", name, f"is no saved study; else it must be one of: {known}")
    key, number = match[1], match[2]
    last = SavedStudies().study(key).versions
    version = int(number) if number else last
    if version > last:
        raise InputError("version", version, f"is not one of the study; known: 1 to {last}")
    return key, version


@dataclass(frozen=True)
class Kept:
    """Where a changed study went.

    Parameters
    ----------
    said : str
        In words.
    path : Path
        File that holds it now: what is changed next goes on from there.
    study : str
        ``KEY@N`` of a saved study, for the page's address; else empty.
    """

    said: str
    path: Path
    study: str = ""

    def html(self, then: str = "") -> str:
        """Return it as a piece of HTML that also tells the page's header which version this is.

        Examples
        --------
        >>> Kept("Saved.", Path("a"), "0123456789abcdef@2").html()
        "<p class='capex-good' role='status' data-study='0123456789abcdef@2'>Saved.</p>"
        """
        study = f" data-study='{self.study}'" if self.study else ""
        said = escape(f"{self.said} {then}".strip())
        return f"<p class='capex-good' role='status'{study}>{said}</p>"


def written(file: StudyFile, path: Path, note: str = "") -> Kept:
    """Keep a changed study where it came from.

    Parameters
    ----------
    file : StudyFile
        The changed study.
    path : Path
        The file that it was read from, as `requested_study` gave it. A saved study gets a new
        version, any other file is written.
    note : str, optional
        To the new version.

    Returns
    -------
    Kept

    Raises
    ------
    StudyError
        The file cannot be written.
    StoreError
        The saved studies cannot be written.
    """
    if (match := _saved_version(path)) is None:
        file.write(path)
        return Kept(f"Written to {path}.", path)
    saved = SavedStudies().save(match[1], file.text, note, made_from=int(match[2]))
    others = ", ".join(map(str, saved.passed_over))
    beside = f" Beside it stands what was saved meanwhile: version {others}." if others else ""
    now = _opened(saved.study, saved.number)
    said = f"Saved as version {saved.number}.{beside}"
    return Kept(said, now, f"{saved.study}@{saved.number}")


def where_written(path: Path) -> str:
    """Return beforehand, in words, what `written` would do.

    Examples
    --------
    >>> where_written(Path("/home/shop/own.toml")).replace(os.sep, "/")
    'Writes /home/shop/own.toml'
    """
    return "Saves a new version of this study" if _saved_version(path) else f"Writes {path}"


def _saved_version(path: Path) -> re.Match[str] | None:
    return _SAVED.fullmatch(path.stem) if path.parent == _opened_folder() else None


def _opened_folder() -> Path:
    return saved_studies_file().parent / "opened"


def _opened(key: str, version: int) -> Path:
    """Return a file with the text of a saved version, written anew for whoever wants a path."""
    saved = SavedStudies()
    text = saved.text(key, version)
    path = _opened_folder() / f"{key}@{version}.toml"
    try:
        path.parent.mkdir(mode=0o700, exist_ok=True)
        write_whole(path, text.encode())
    except OSError as error:
        raise StoreError(f"{path}: cannot be written: {error.strerror}") from None
    return path
