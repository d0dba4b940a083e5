"""Native fields, tables and files on a page, each over plain texts.

They only pass on what the user did; what holds then is set by whoever made them. A refused value
stays in its field, beside the message.

May import: traitlets, and from capex errors and `views.one_way`.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any, Final, Literal

import traitlets

from capex.errors import CapexError
from capex.views.one_way import OneWay, ticket

__all__ = ["Column", "Field", "Fields", "FileIn", "FileMade", "FileOut", "Grid"]

STATIC: Final = Path(__file__).parents[1] / "static"
#: Longest text that a field passes on.
_LONGEST: Final = 300
#: Most rows of a table that grows.
_ROWS: Final = 600
#: Name, media type and bytes of a file.
FileMade = tuple[str, str, bytes]


@dataclass(frozen=True)
class Field:
    """One field.

    Parameters
    ----------
    key, label : str
    kind : {"choice", "text", "switch", "button"}
        A switch holds "yes" or "no".
    unit, hint : str
        Behind and below the field.
    options : sequence of (str, str)
        Of a choice: value and words.
    numeric : bool
        Whether a phone shows its keyboard of digits.
    disabled : bool
    """

    key: str
    label: str
    kind: Literal["choice", "text", "switch", "button"] = "text"
    unit: str = ""
    hint: str = ""
    options: Sequence[tuple[str, str]] = ()
    numeric: bool = False
    disabled: bool = False


class Fields(OneWay):
    """A group of fields.

    Parameters
    ----------
    label : str
        Names the group for a screen reader.
    fields : sequence of Field
    values : mapping of str to str
        What stands in each.
    changed : callable
        Takes the key of a field and what was entered there; a button's text is empty.

    Examples
    --------
    >>> seen = []
    >>> group = Fields("Batch", [Field("n", "Orders")], {"n": "4"}, lambda *a: seen.append(a))
    >>> group.told(None, {"kind": "changed", "key": "n", "value": "5"}, [])
    >>> seen, group.values
    ([('n', '5')], {'n': '4'})
    """

    _esm = STATIC / "fields.js"
    _css = STATIC / "fields.css"

    label = traitlets.Unicode().tag(sync=True)
    fields: traitlets.List[dict[str, Any]] = traitlets.List().tag(sync=True)
    values: traitlets.Dict[str, str] = traitlets.Dict().tag(sync=True)
    messages: traitlets.Dict[str, str] = traitlets.Dict().tag(sync=True)
    answer = traitlets.Int(0).tag(sync=True)
    #: Of the user's last entry that was seen: answers to earlier ones are no longer shown.
    ticket = traitlets.Int(0).tag(sync=True)

    def __init__(
        self,
        label: str,
        fields: Sequence[Field],
        values: Mapping[str, str],
        changed: Callable[[str, str], None],
    ) -> None:
        self._changed = changed
        super().__init__(label=label, fields=_described(fields), values=dict(values))
        self.on_msg(self.told)

    def show(
        self,
        values: Mapping[str, str],
        messages: Mapping[str, str] | None = None,
        fields: Sequence[Field] | None = None,
    ) -> None:
        """Show what holds now, and the message beside each field that was refused."""
        with self.hold_sync():
            if fields is not None:
                self.fields = _described(fields)
            self.values = dict(values)
            self.messages = dict(messages or {})
            self.answer += 1

    def told(self, _widget: object, content: Mapping[str, Any], _buffers: object) -> None:
        """Pass on what the page says the user did."""
        key, kind = content.get("key"), content.get("kind")
        field = next((field for field in self.fields if field["key"] == key), None)
        if field is None or (kind == "pressed") != (field["kind"] == "button"):
            return
        self.ticket = ticket(content)
        text = str(content.get("value", ""))[:_LONGEST]
        if text in _offered(field, text):
            self._changed(field["key"], text)
        else:
            self.answer += 1  # the field shows again what holds


def _offered(field: Mapping[str, Any], text: str) -> Collection[str]:
    """Return what can be entered in a field."""
    if field["kind"] == "choice":
        return {value for value, _ in field["options"]}
    return {"yes", "no"} if field["kind"] == "switch" else {text}


def _described(fields: Sequence[Field]) -> list[dict[str, Any]]:
    return [asdict(field) | {"options": [list(each) for each in field.options]} for field in fields]


@dataclass(frozen=True)
class Column:
    """One column of a table to fill in.

    Parameters
    ----------
    label : str
        With the unit.
    width : str
        CSS width of its fields.
    numeric, check : bool
        Whether it takes numbers, or yes and no.
    options : sequence of (str, str)
        Where only these can be chosen: value and words.
    """

    label: str
    width: str = "5rem"
    numeric: bool = False
    check: bool = False
    options: Sequence[tuple[str, str]] = ()


class Grid(OneWay):
    """A table of native fields.

    Parameters
    ----------
    label : str
        Caption.
    changed : callable
        Takes all cells, row by row, once some have changed.
    growing : bool
        Whether rows can be added, by a button or by pasting.

    Examples
    --------
    >>> seen = []
    >>> grid = Grid("Orders", seen.append)
    >>> grid.show([Column("Orders")], ["Banners"], [["1"]])
    >>> grid.told(None, {"kind": "cells", "cells": [[0, 0, "3"], [9, 9, "x"]]}, [])
    >>> seen
    [[['3']]]
    """

    _esm = STATIC / "grid.js"
    _css = STATIC / "grid.css"

    label = traitlets.Unicode().tag(sync=True)
    corner = traitlets.Unicode().tag(sync=True)
    growing = traitlets.Bool(False).tag(sync=True)
    columns: traitlets.List[dict[str, Any]] = traitlets.List().tag(sync=True)
    heads: traitlets.List[str] = traitlets.List().tag(sync=True)
    cells: traitlets.List[list[str]] = traitlets.List().tag(sync=True)
    messages: traitlets.Dict[str, str] = traitlets.Dict().tag(sync=True)
    answer = traitlets.Int(0).tag(sync=True)
    #: Of the user's last entry that was seen: answers to earlier ones are no longer shown.
    ticket = traitlets.Int(0).tag(sync=True)

    def __init__(
        self,
        label: str,
        changed: Callable[[list[list[str]]], None],
        corner: str = "",
        growing: bool = False,
    ) -> None:
        self._changed = changed
        super().__init__(label=label, corner=corner, growing=growing)
        self.on_msg(self.told)

    def show(
        self,
        columns: Sequence[Column],
        heads: Sequence[str],
        cells: Sequence[Sequence[str]],
        messages: Mapping[str, str] | None = None,
    ) -> None:
        """Show cells row by row; a message belongs to ``"row"`` or ``"row.column"``."""
        with self.hold_sync():
            self.columns = [
                asdict(column) | {"options": [list(each) for each in column.options]}
                for column in columns
            ]
            self.heads = list(heads)
            self.cells = [list(row) for row in cells]
            self.messages = dict(messages or {})
            self.answer += 1

    def told(self, _widget: object, content: Mapping[str, Any], _buffers: object) -> None:
        """Pass on what the page says the user did."""
        cells = [list(row) for row in self.cells]
        width = len(self.columns)
        self.ticket = ticket(content)
        if content.get("kind") == "add" and self.growing and len(cells) < _ROWS:
            cells.append([""] * width)
        elif content.get("kind") == "cells":
            for row, column, value in _told_cells(content.get("cells")):
                while self.growing and len(cells) <= row < _ROWS:
                    cells.append([""] * width)
                if 0 <= row < len(cells) and 0 <= column < width:
                    cells[row][column] = str(value)[:_LONGEST]
        else:
            return
        self._changed(cells)
        self.answer += 1  # whatever came of it, the table waits no more


def _told_cells(told: object) -> Iterator[tuple[int, int, object]]:
    """Yield row, column and value of each cell that the page says has changed."""
    for each in told[: _ROWS * 40] if isinstance(told, list) else ():
        if isinstance(each, list) and len(each) == 3 and {type(each[0]), type(each[1])} == {int}:
            yield each[0], each[1], each[2]


class FileOut(OneWay):
    """A button that hands the user a file, made when it is asked for.

    Parameters
    ----------
    label, hint : str
    made : callable
        Returns name, media type and bytes.
    later : callable, optional
        Takes the making where it lasts, and what to do with the result; see `state.Background`.
    """

    _esm = STATIC / "transfer.js"
    _css = STATIC / "transfer.css"

    direction = traitlets.Unicode("out").tag(sync=True)
    label = traitlets.Unicode().tag(sync=True)
    hint = traitlets.Unicode().tag(sync=True)
    disabled = traitlets.Bool(False).tag(sync=True)
    busy = traitlets.Bool(False).tag(sync=True)
    message = traitlets.Unicode().tag(sync=True)

    def __init__(
        self,
        label: str,
        made: Callable[[], FileMade],
        hint: str = "",
        later: Callable[[Callable[[], FileMade], Callable[..., None]], None] | None = None,
    ) -> None:
        self._made, self._later = made, later
        super().__init__(label=label, hint=hint)
        self.on_msg(self.told)

    def told(self, _widget: object, content: Mapping[str, Any], _buffers: object) -> None:
        """Send the file that the page asks for."""
        if content.get("kind") != "wanted" or self.disabled or self.busy:
            return
        if self._later is None:
            self._hand_over(self._made)
        else:
            self.busy = True
            self._later(self._made, self._hand_over)

    def _hand_over(self, result: Callable[[], FileMade]) -> None:
        try:
            name, kind, body = result()
        except CapexError as error:
            self.message = str(error)
        else:
            self.message = ""
            self.send({"kind": "file", "name": name, "type": kind}, buffers=[body])
        finally:
            self.busy = False


class FileIn(OneWay):
    """A button by which the user hands over a file; its size is checked in the page.

    Parameters
    ----------
    label, hint : str
    accept : str
        Endings that the browser offers, by HTML's rule.
    taken : callable
        Takes name and bytes.
    """

    _esm = STATIC / "transfer.js"
    _css = STATIC / "transfer.css"

    direction = traitlets.Unicode("in").tag(sync=True)
    label = traitlets.Unicode().tag(sync=True)
    hint = traitlets.Unicode().tag(sync=True)
    accept = traitlets.Unicode().tag(sync=True)
    #: The socket carries 10 MB at once, headers included.
    largest = traitlets.Int(8_000_000).tag(sync=True)
    message = traitlets.Unicode().tag(sync=True)
    answer = traitlets.Int(0).tag(sync=True)

    def __init__(
        self, label: str, accept: str, taken: Callable[[str, bytes], None], hint: str = ""
    ) -> None:
        self._taken = taken
        super().__init__(label=label, accept=accept, hint=hint)
        self.on_msg(self.told)

    def say(self, message: str) -> None:
        """Show a message below the button; an empty one clears it."""
        with self.hold_sync():
            self.message = message
            self.answer += 1

    def told(self, _widget: object, content: Mapping[str, Any], buffers: Sequence[Any]) -> None:
        """Pass on the file that the page sends."""
        if content.get("kind") != "file" or not buffers:
            return
        body = bytes(buffers[0])
        if len(body) <= self.largest:
            self._taken(str(content.get("name", "file"))[:_LONGEST], body)
