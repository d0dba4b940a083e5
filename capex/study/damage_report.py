"""What became of a damaged file of saved studies: said once, and kept in a text file beside it.

Imports, of this folder, `readable_rows` and `whole_file`.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Final

from capex.study.readable_rows import ReadableRows, Row
from capex.study.whole_file import write_whole

__all__ = ["SUFFIX", "DamageReport", "damage_report", "kept_report"]

#: Behind the name of a damaged file: the text file that says what became of it.
SUFFIX: Final = ".txt"
_NAMED: Final = 5  # of each kind of what is lost
_LARGEST: Final = 1_000_000  # of the text file [bytes]
_LOST: Final = "- "
_NOT_COUNTED: Final = (
    "Whether more of it could not be read, and of how many pages unsaved work is lost, is not "
    "known: its lists are damaged too."
)


@dataclass(frozen=True)
class DamageReport:
    """What became of a damaged file.

    Parameters
    ----------
    path : Path
        The damaged file, under the name that it was set aside as.
    said : tuple of str
        Whole sentences.
    lost : tuple of str
        What is known of what could not be read, an entry each.
    """

    path: Path
    said: tuple[str, ...]
    lost: tuple[str, ...] = ()

    def words(self) -> str:
        """Return it as one paragraph.

        Examples
        --------
        >>> DamageReport(Path("a"), ("Two versions are here.",), ("version 3 of Ours",)).words()
        'Two versions are here. Could not be read: version 3 of Ours.'
        """
        first, *rest = self.said
        more = len(self.lost) - 2 * _NAMED
        lost = "; ".join(self.lost[: 2 * _NAMED]) + (f"; and {more} more" if more > 0 else "")
        named = [f"Could not be read: {lost}."] if self.lost else []
        return " ".join([first, *named, *rest])

    def keep(self) -> None:
        """Write it beside the damaged file, for its owner alone.

        Raises
        ------
        OSError
            It cannot be written.
        """
        lines = [*self.said, *(f"{_LOST}{each}" for each in self.lost)]
        write_whole(_beside(self.path), "".join(f"{each}\n" for each in lines).encode())


def damage_report(aside: Path, rows: ReadableRows) -> DamageReport:
    """Return what became of a damaged file, by what can be read of it.

    Examples
    --------
    >>> rows = ReadableRows(known_drafts={"a": ()}, all_known=True)
    >>> damage_report(Path("studies.sqlite.damaged-1"), rows).lost
    ('unsaved work of 1 page: nothing else is known of it',)
    """
    count, drafts = len(rows.versions), len(rows.drafts)
    said = f"{count} saved version{'s' if count != 1 else ''}"
    if drafts:
        said += f" and the unsaved work of {drafts} page{'s' if drafts != 1 else ''}"
    said += " could be read and are here again."
    if not (count or drafts):
        said = "Nothing of it could be read: saving starts anew."
    names = {row[0]: " ".join(row[1].split()) for row in rows.studies}
    lost = (*rows.missing_versions(), *_drafts_in_words(rows.missing_drafts(), names))
    return DamageReport(aside, (said,) if rows.all_known else (said, _NOT_COUNTED), lost)


def kept_report(aside: Path) -> DamageReport:
    """Return what was written beside a damaged file when it was set aside."""
    try:
        with _beside(aside).open("rb") as file:
            lines = file.read(_LARGEST).decode("utf-8", "replace").splitlines()
    except OSError:
        return DamageReport(aside, ("What of it could not be read was not written down.",))
    said = tuple(each for each in lines if each and not each.startswith(_LOST))
    lost = tuple(each.removeprefix(_LOST) for each in lines if each.startswith(_LOST))
    return DamageReport(aside, said or ("What became of it was not written down.",), lost)


def _beside(aside: Path) -> Path:
    return aside.with_name(aside.name + SUFFIX)


def _drafts_in_words(rows: tuple[Row, ...], names: dict[str, str]) -> list[str]:
    """Return what unsaved work was of, as far as it is known, an entry for each page."""
    return [f"unsaved work of 1 page: {_draft_words(row, names)}" for row in rows]


def _draft_words(row: Row, names: dict[str, str]) -> str:
    if not row:
        return "nothing else is known of it"
    study, made_from, kept_at = row
    at = datetime.fromisoformat(kept_at).astimezone()
    kept = f"kept {at.day} {at:%B %Y at %H:%M:%S}"
    if study is None:
        return f"of a study that was never saved, {kept}"
    version = f", changed from version {made_from}" if made_from is not None else ""
    return f"of {names.get(study, 'a study whose name is lost')}{version}, {kept}"
