"""Study files: TOML in, TOML out, with the user's comments kept.

Imports tomllib, tomlkit and the other files of `capex.study`.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final, Self

import tomlkit
from pydantic.json_schema import GenerateJsonSchema
from tomlkit.exceptions import TOMLKitError
from tomlkit.items import AoT, Array

from capex.errors import CapexError, InputError, Problem, StudyError
from capex.study.catalogue import data_folder
from capex.study.places import list_place
from capex.study.quantity import QUANTITY_PARTS, Quantity
from capex.study.study import Study
from capex.study.toml_document import toml_document
from capex.study.whole_file import write_whole

__all__ = ["StudyFile", "data_folder", "json_schema", "read_study"]

_LARGEST = 16_000_000
#: Names of names of names …: reading them takes time that grows with the square of their number.
_NESTED: Final = re.compile(r"""(?<![\w"'-])(?:["']?+[\w-]++["']?+[ \t]*+\.[ \t]*+){1000}""")


def read_study(path: Path | str) -> Study:
    """Return the study in a TOML file.

    Parameters
    ----------
    path : path or str

    Returns
    -------
    Study

    Raises
    ------
    StudyError
        The file cannot be read, is not TOML, or has problems: all of them at once.

    Examples
    --------
    >>> study = read_study(data_folder() / "studies" / "quenlow.toml")
    >>> study.shop_name, study.currency
    ('Quenlow Graphics', 'USD')
    """
    return StudyFile.read(path).study


class _Schema(GenerateJsonSchema):
    """Writes defaults as a person would enter them."""

    def encode_default(self, dft: Any) -> Any:
        """Return the default as an entry of a study file, its date in ISO 8601."""
        if isinstance(dft, Quantity):
            return super().encode_default(dft.as_entered())
        if isinstance(dft, tuple):
            return [self.encode_default(part) for part in dft]
        return super().encode_default(dft)


def json_schema() -> dict[str, Any]:
    """Return the JSON Schema of a study file.

    Returns
    -------
    dict
        Draft 2020-12.

    Examples
    --------
    >>> json_schema()["title"]
    'Study'
    """
    return Study.model_json_schema(mode="validation", schema_generator=_Schema)


@dataclass(frozen=True)
class StudyFile:
    """A study together with the text that it came from.

    Parameters
    ----------
    text : str
        TOML, comments included.
    study : Study
        What the text says.
    source : str
        Where the text came from, for messages.

    Examples
    --------
    >>> file = StudyFile.read(data_folder() / "studies" / "quenlow.toml")
    >>> changed = file.changed({"shop.people.wage": "25 USD/h"})
    >>> changed.study.shop.people.wage.shown(currency="USD")
    '25 USD/h'
    """

    text: str
    study: Study
    source: str = "study"

    @classmethod
    def read(cls, path: Path | str) -> Self:
        """Return the study file at a path; see `read_study`.

        Parameters
        ----------
        path : path or str

        Raises
        ------
        StudyError
            The file cannot be read, is not TOML, or has problems: all of them at once.
        """
        path = Path(path)
        try:
            if path.stat().st_size > _LARGEST:
                raise StudyError(str(path), [Problem("file", path.stat().st_size, "is too large")])
            text = path.read_text(encoding="utf-8-sig")
        except (OSError, UnicodeDecodeError) as error:
            reason = getattr(error, "strerror", None) or "is not UTF-8 text"
            raise StudyError(str(path), [Problem("file", path.name, reason)]) from None
        return cls.parsed(text, str(path))

    @classmethod
    def parsed(cls, text: str, source: str = "study") -> Self:
        """Return the study file with the given text.

        Parameters
        ----------
        text : str
            TOML.
        source : str
            Where it came from, for messages.

        Raises
        ------
        StudyError
            The text is not TOML or the study has problems: all of them at once.
        """
        if _NESTED.search(text):
            raise StudyError(source, [Problem("file", "TOML", "nests names more than 1,000 deep")])
        try:
            mapping = tomllib.loads(text)
        except (tomllib.TOMLDecodeError, RecursionError, ValueError) as error:
            raise StudyError(
                source, [Problem("file", "TOML", f"cannot be read: {error}")]
            ) from None
        return cls(text, Study.from_mapping(mapping, source), source)

    def changed(self, changes: Mapping[str, object]) -> Self:
        """Return the file with entries replaced at dotted paths, comments and order kept.

        Parameters
        ----------
        changes : mapping of str to entry
            An entry is what a person would type: ``{"shop.people.wage": "25 USD/h"}``.
            ``None`` removes the key.

        Returns
        -------
        StudyFile

        Raises
        ------
        InputError
            A path that leads nowhere.
        StudyError
            The changed study has problems; this file stays as it was.
        """
        try:
            document = toml_document(self.text)
            for path, value in changes.items():
                _set(document, path, value)
        except CapexError:
            raise
        # What stands at the place is of another shape than the change takes it for.
        except (TOMLKitError, LookupError, TypeError, ValueError, RecursionError) as error:
            raise StudyError(self.source, [Problem("file", "TOML", str(error))]) from None
        return type(self).parsed(tomlkit.dumps(document), self.source)

    def write(self, path: Path | str) -> None:
        """Write the text to a path, whole or not at all.

        Parameters
        ----------
        path : path or str
            A file that is there is replaced and its permissions stay; a new one can be read and
            written by its owner only.

        Raises
        ------
        StudyError
            The folder does not exist or cannot be written to.
        """
        path = Path(path)
        try:
            write_whole(path, self.text.encode())
        except OSError as error:
            problem = Problem("file", str(path), f"cannot be written: {error.strerror}")
            raise StudyError(str(path), [problem]) from None


def _set(document: Any, path: str, value: object) -> None:
    """Put one entry into a TOML document; missing tables on the way are made."""
    *way, last = path.split(".")
    place = document
    for name in way:
        if isinstance(place, (AoT, Array, list)):
            place = place[list_place(place, name, path)]
        elif isinstance(place, Mapping):
            if name not in place:
                place[name] = tomlkit.table()  # type: ignore[index]
            place = place[name]
        else:
            raise InputError(path, name, "stands inside a single value; set the value itself")
    if isinstance(place, (AoT, Array, list)):
        place[list_place(place, last, path)] = _item(value)
    elif not isinstance(place, Mapping):
        raise InputError(path, last, "stands inside a single value; set the value itself")
    elif value is None:
        place.pop(last, None)  # type: ignore[attr-defined]
    elif isinstance(place.get(last), dict) and not isinstance(value, dict):
        _set_likely(place[last], value)
    else:
        place[last] = _item(value)  # type: ignore[index]


def _item(value: object, *, inline: bool = False) -> object:
    """Return a value as a TOML item: a quantity or a cut on one line, other tables at length."""
    if isinstance(value, Mapping):
        short = inline or set(value) <= QUANTITY_PARTS or "kind" in value
        table = tomlkit.inline_table() if short else tomlkit.table()
        for name, part in value.items():
            if part is not None:
                table.add(name, _item(part, inline=short))
        return table
    if isinstance(value, (list, tuple)):
        array = tomlkit.array()
        array.multiline(any(isinstance(part, Mapping) for part in value))
        for part in value:
            array.append(_item(part, inline=True))
        return array
    return value


def _set_likely(table: Any, value: object) -> None:
    """Replace the value inside a quantity's table; a spread or source of the old value goes."""
    if not set(table) & {"value", "likely"}:
        table_names = ", ".join(table)
        raise InputError("value", value, f"cannot replace a table of {table_names}")
    for name in QUANTITY_PARTS:
        table.pop(name, None)
    table["value"] = value
    table["source"] = "entered"
