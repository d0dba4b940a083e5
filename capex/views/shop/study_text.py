"""The text of a study being edited: the one state of the page, with undo and its problems.

What the user typed stands in the text as typed, right or wrong; comments stay. The last study
without problems stays beside it, so that a slip never takes the result away.

May import: tomlkit, and from capex errors, study and `views.shop.slots`.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from datetime import date
from functools import wraps
from typing import Any, Concatenate, Final, ParamSpec, TypeVar

import tomlkit
from tomlkit.exceptions import TOMLKitError
from tomlkit.items import AoT, Array, InlineTable

from capex.errors import CapexError, InputError, Problem, StudyError
from capex.study import Study
from capex.study.places import entry_at, list_place
from capex.study.quantity import Quantity
from capex.study.toml_document import toml_document
from capex.views.shop.entries import entered, item, new_key, new_name, ordered, typed
from capex.views.shop.slots import Slot, slot_at

__all__ = ["StudyText"]

P = ParamSpec("P")
T = TypeVar("T")
#: Texts kept for undoing.
_MOST: Final = 200


def _whole(
    change: Callable[Concatenate[StudyText, str, P], T],
) -> Callable[Concatenate[StudyText, str, P], T]:
    """Return a change that is made whole or not at all; the text refuses what it cannot hold."""

    @wraps(change)
    def made(self: StudyText, path: str, /, *args: P.args, **kwargs: P.kwargs) -> T:
        try:
            return change(self, path, *args, **kwargs)
        except CapexError:
            self.restore()
            raise
        # What stands at the place is of another shape than the change takes it for.
        except (TOMLKitError, LookupError, TypeError, ValueError, AttributeError) as error:
            self.restore()
            raise InputError("path", path, "takes no such change") from error

    return made


class StudyText:
    """A study's TOML text while it is edited.

    Parameters
    ----------
    text : str
        Without problems.
    today : callable
        Returns the date that a changed figure carries.

    Raises
    ------
    StudyError
        The text has problems.

    Examples
    --------
    >>> from capex.study import StudyFile, data_folder
    >>> shop = StudyText(StudyFile.read(data_folder() / "studies" / "quenlow.toml").text)
    >>> shop.set("machines.mid_all_in_one.length", "54 in")
    >>> shop.study.machines["mid_all_in_one"].length.source, shop.problems
    ('entered', ())
    >>> shop.set("machines.mid_all_in_one.length", "wide")
    >>> shop.problems[0].path, round(shop.study.machines["mid_all_in_one"].length.likely, 2)
    ('machines.mid_all_in_one.length', 1.37)
    >>> shop.undo()
    >>> shop.problems
    ()
    """

    def __init__(self, text: str, today: Callable[[], date] = date.today) -> None:
        self._today = today
        self._held = False
        self._document = toml_document(text)
        self._texts, self._place = [text], 0
        self.mapping: dict[str, Any] = self._document.unwrap()
        self.problems: tuple[Problem, ...] = ()
        self.study = Study.from_mapping(self.mapping)
        self._good = self.mapping  # what the study was read from

    @property
    def text(self) -> str:
        """The text as it stands."""
        return self._texts[self._place]

    @property
    def today(self) -> date:
        """The date that a changed figure carries."""
        return self._today()

    @property
    def can_undo(self) -> bool:
        """Whether there is a change to take back."""
        return self._place > 0

    @property
    def can_redo(self) -> bool:
        """Whether a change was taken back."""
        return self._place < len(self._texts) - 1

    def undo(self) -> None:
        """Take the last change back."""
        self._go(-1)

    def redo(self) -> None:
        """Make the change again that was taken back last."""
        self._go(+1)

    def replace(self, text: str) -> None:
        """Go on with another text, as one change.

        Raises
        ------
        StudyError
            Not TOML; the text stays as it was.
        """
        try:
            document = toml_document(text)
        except (TOMLKitError, RecursionError) as error:
            raise StudyError("text", [Problem("file", "TOML", str(error))]) from None
        self._document = document
        self._changed(anew=True, reuse=False)

    def raw(self, path: str) -> Any:
        """Return what the text states at a path, None where nothing."""
        place: Any = self.mapping
        for name in path.split("."):
            place = entry_at(place, name)
        return place

    @_whole
    def set(self, path: str, text: str) -> None:
        """Enter a typed text at a path; a quantity becomes "entered" today.

        An empty text takes the entry out of the file: a default holds then, or it is missing.

        Raises
        ------
        InputError
            A path that leads nowhere.
        """
        slot = slot_at(path, self.mapping)
        quantity = slot.shape == "quantity"
        value = self._entry(path, slot, "value", text) if quantity else typed(text, slot)
        if value != self.raw(path):
            self._put(path, value)
            self._changed()

    @_whole
    def put(self, path: str, value: Any) -> None:
        """Put a value or a whole part at a path, in place of what stands there."""
        if value != self.raw(path):
            self._put(path, value)
            self._changed(anew=True)

    @contextmanager
    def together(self) -> Iterator[None]:
        """Make all changes inside ``with`` one change, read once."""
        self._held = True
        try:
            yield
        except BaseException:
            self.restore()
            raise
        finally:
            self._held = False
        if tomlkit.dumps(self._document) != self.text:
            self._changed(anew=True)

    def restore(self) -> None:
        """Take back what was changed since the text was last read whole."""
        self._document = toml_document(self.text)
        self.mapping = self._document.unwrap()

    def remove_last(self, path: str) -> None:
        """Take the last entry of a list out of the text.

        Raises
        ------
        InputError
            No list with an entry.
        """
        listed = self.raw(path)
        if not isinstance(listed, list) or not listed:
            raise InputError("path", path, "is no list with an entry to take out")
        self.remove(f"{path}.{len(listed) - 1}")

    @_whole
    def set_part(self, path: str, part: str, text: str) -> None:
        """Enter the low or high end of a quantity, its source or its note.

        Raises
        ------
        InputError
            A path that leads to no quantity, or an unknown part.
        """
        slot = slot_at(path, self.mapping)
        if slot.shape != "quantity" or part not in ("value", "low", "high", "source", "note"):
            raise InputError(path, part, "is not a part of a quantity")
        value = self._entry(path, slot, part, text)
        if value != self.raw(path):
            self._put(path, value)
            self._changed()

    @_whole
    def add(self, path: str, value: Any) -> None:
        """Put a new part or value at a path: ``machines.new_one``, ``room``, or at a list's end.

        Raises
        ------
        InputError
            Something stands there already.
        """
        owner, _, name = path.rpartition(".")
        place = self._at(owner, make=True)
        if isinstance(place, AoT):
            place.append(item(value))
        elif isinstance(place, (Array, list)):
            place.append(item(value, inline=True))
        elif name in place:
            raise InputError(path, name, "is there already")
        else:
            place[name] = item(value, inline=isinstance(place, InlineTable))
        self._changed(anew=True)

    @_whole
    def append(self, path: str, value: Any) -> None:
        """Put a value or a part at the end of the list at a path, which is made if need be."""
        owner, _, name = path.rpartition(".")
        place = self._at(owner, make=True)
        if name not in place:
            place[name] = item([value])
        else:
            listed = place[name]
            listed.append(item(value, inline=not isinstance(listed, AoT)))
        self._changed(anew=True)

    @_whole
    def copy(self, path: str, without: tuple[str, ...] = ("baseline",)) -> str:
        """Put a copy of a part beside it, under a name of its own; return its path."""
        owner, _, _key = path.rpartition(".")
        table = {name: part for name, part in self.raw(path).items() if name not in without}
        name = "title" if "title" in table else "name"
        table[name] = new_name(f"{str(table.get(name, 'Entry'))[:68]}, copy", self.raw(owner))
        key = new_key(table[name], self.raw(owner))
        self.add(f"{owner}.{key}", table)
        return f"{owner}.{key}"

    @_whole
    def remove(self, path: str) -> None:
        """Take a part, or an entry of a list, out of the text."""
        owner, _, name = path.rpartition(".")
        place = self._at(owner)
        del place[int(name) if isinstance(place, (AoT, Array, list)) else name]
        self._changed(anew=True)

    def _go(self, step: int) -> None:
        if not 0 <= self._place + step < len(self._texts):
            return
        self._place += step
        self._document = toml_document(self.text)
        self._read(reuse=False)

    def _changed(self, anew: bool = False, reuse: bool = True) -> None:
        if self._held:
            self.mapping = self._document.unwrap()
            return
        text = tomlkit.dumps(self._document)
        if anew:
            self._document = toml_document(text)
        self._texts = [*self._texts[: self._place + 1], text][-_MOST:]
        self._place = len(self._texts) - 1
        self._read(reuse)

    def _read(self, reuse: bool) -> None:
        self.mapping = self._document.unwrap()
        known = _with_known_parts(self.mapping, self._good, self.study) if reuse else self.mapping
        try:
            self.study = Study.from_mapping(known)
            self.problems, self._good = (), self.mapping
        except StudyError as error:
            self.problems = error.problems

    def _entry(self, path: str, slot: Slot, part: str, text: str) -> object:
        """Return a quantity's entry with one part of it changed, None where nothing is left."""
        raw = self.raw(path)
        table = dict(raw) if isinstance(raw, Mapping) else {}
        if not table:
            known = raw if raw is not None else _default_text(slot)
            table = {} if known is None else {"value": known}
        if "likely" in table:
            table["value"] = table.pop("likely")
        if part == "value" and not text.strip():
            return None
        new: object = text.strip() if part in ("source", "note") else entered(text)
        if raw is not None and new == table.get(part, ""):
            return raw
        table[part] = new
        if table[part] == "":
            del table[part]
        if part != "note":
            table |= {"source": text if part == "source" else "entered", "date": self.today}
        return ordered(table)

    def _put(self, path: str, value: object) -> None:
        owner, _, name = path.rpartition(".")
        place = self._at(owner, make=True)
        if isinstance(place, (AoT, Array, list)):
            place[int(name)] = item("" if value is None else value, inline=True)
        elif value is None:
            place.pop(name, None)
        else:
            place[name] = item(value, inline=True)

    def _at(self, path: str, make: bool = False) -> Any:
        """Return the part of the document at a path; a list of defaults is written out first."""
        place: Any = self._document
        way = path.split(".") if path else []
        for k, name in enumerate(way):
            if isinstance(place, (AoT, Array, list)):
                place = place[list_place(place, name, path)]
                continue
            if not isinstance(place, Mapping):
                raise InputError(path, name, "stands inside a single value")
            if name not in place:
                if not make:
                    raise InputError(path, name, "is not in the study")
                slot = slot_at(".".join(way[: k + 1]), self.mapping)
                place[name] = item(_written_out(slot))  # type: ignore[index]
            place = place[name]
        return place


def _with_known_parts(
    mapping: Mapping[str, Any], good: Mapping[str, Any], study: Study
) -> dict[str, Any]:
    """Return a study's tables, those that have not changed as the parts they were read as.

    Reading a whole study takes ten times as long as reading the one part that was typed in.
    """
    if mapping.get("currency") != good.get("currency"):
        return dict(mapping)
    found: dict[str, Any] = {}
    for name, table in mapping.items():
        known = getattr(study, name, None)
        if isinstance(known, dict) and isinstance(table, dict):
            before = good.get(name, {})
            found[name] = {
                key: known[key] if key in known and before.get(key) == part else part
                for key, part in table.items()
            }
        else:
            found[name] = known if name in good and good[name] == table else table
    return found


def _written_out(slot: Slot) -> object:
    """Return the entries of a list that the study leaves to its default, or an empty table."""
    if slot.shape != "list":
        return {}
    default = slot.default if isinstance(slot.default, tuple) else ()
    return [each.as_entered() if isinstance(each, Quantity) else each for each in default]


def _default_text(slot: Slot) -> object:
    return slot.default.text if isinstance(slot.default, Quantity) else None
