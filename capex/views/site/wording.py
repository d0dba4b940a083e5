"""Times, file names and troubles of saved studies in words.

Plain text only: the templates escape it. May import from capex errors and
`views.input_names`.
"""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass, replace
from datetime import datetime

from capex.errors import CapexError, Problem, StoreError, StudyError
from capex.views.input_names import problem_place

__all__ = ["SAID", "Trouble", "file_name", "trouble", "when"]

#: What an action has done, by the word that stands in the address afterwards.
SAID = {
    "saved": "Saved as a new study.",
    "duplicated": "Duplicated: the copy goes its own way from here.",
    "renamed": "Renamed.",
    "removed": "Removed from the list; its versions are kept.",
    "back": "Brought back, with all its versions.",
    "restored": "Restored: saved once more as the newest version; none in between is lost.",
    "discarded": "The unsaved work was discarded.",
}


@dataclass(frozen=True)
class Trouble:
    """What went wrong, for a page.

    Parameters
    ----------
    title, words : str
    problems : tuple of Problem
        Of a study that cannot be used.
    status : int
        HTTP's.
    """

    title: str
    words: str
    problems: tuple[Problem, ...] = ()
    status: int = 400


def trouble(error: CapexError) -> Trouble:
    """Return an error for a page.

    Examples
    --------
    >>> trouble(StudyError("own.toml", [Problem("shop", None, "is missing")])).title
    'own.toml cannot be used yet: 1 problem'
    """
    if isinstance(error, StudyError):
        many = len(error.problems)
        title = f"{error.source} cannot be used yet: {many} problem{'s' if many != 1 else ''}"
        it = "it" if many == 1 else "them"
        named = (replace(each, words=problem_place(each)) for each in error.listed)
        return Trouble(title, "Nothing was saved, and nothing saved has changed. Put "
                       f"{it} right in the file and open it again.", tuple(named))  # fmt: skip
    if isinstance(error, StoreError):
        return Trouble("The saved studies cannot be read or written", str(error), status=503)
    return Trouble("This cannot be done", str(error))


def when(at: datetime, now: datetime | None = None, clock: str = "%H:%M") -> str:
    """Return a moment in the words and the time zone of this computer.

    Parameters
    ----------
    at : datetime
        With its time zone.
    now : datetime, optional
        By default the present.
    clock : str
        How the time of day is written, as ``strftime`` takes it.

    Examples
    --------
    >>> from datetime import UTC
    >>> noon = datetime(2026, 11, 5, 12, 0, tzinfo=UTC)
    >>> when(noon, now=noon)[:9], when(noon, now=datetime(2027, 1, 1, tzinfo=UTC))[:18]
    ('today at ', '5 November 2026 at')
    """
    local = at.astimezone()
    today = (now or datetime.now().astimezone()).astimezone()
    day = "today" if local.date() == today.date() else f"{local.day} {local:%B %Y}"
    return f"{day} at {local.strftime(clock)}"


def file_name(name: str, version: int | None = None) -> str:
    """Return a name for a study's file that every system takes.

    Examples
    --------
    >>> file_name("Müller & Söhne: “new” shop", 3), file_name("看板")
    ('muller-sohne-new-shop-version-3.toml', 'study.toml')
    """
    plain = unicodedata.normalize("NFKD", name).encode("ascii", "ignore").decode()
    stem = re.sub(r"[^a-z0-9]+", "-", plain.lower()).strip("-")[:60].strip("-") or "study"
    return f"{stem}-version-{version}.toml" if version else f"{stem}.toml"
