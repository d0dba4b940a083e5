"""An order book into the study: upload, columns, a look at what was found, and then put in.

May import: ipywidgets, and from capex errors, study, `views.floor`, `views.shop` and
`views.tables`; the importer late, as pandas is slow.
"""

from __future__ import annotations

from collections.abc import Callable
from contextlib import suppress
from html import escape
from typing import TYPE_CHECKING, Any, Final

import ipywidgets as widgets

from capex.errors import CapexError
from capex.study import StudyFile
from capex.study.places import SHORT_MONTHS
from capex.views.chart import ChartTable
from capex.views.floor.boxes import box, table_html, words
from capex.views.floor.fields import Field, Fields, FileIn
from capex.views.floor.state import Background, Later
from capex.views.shop.state import ShopState

if TYPE_CHECKING:
    from capex.study.orders import ColumnMatch, OrderBook, OrderGroups

__all__ = ["OrderBookPanel"]

_FIELDS: Final = ("date", "type", "description", "quantity", "width", "height", "size", "print",
                  "laminate", "cut", "price")  # fmt: skip
_FLAGS: Final = ("print", "laminate", "cut")
_SETTINGS: Final = {
    "date_order": ("Dates are", [("day first", "day first"), ("month first", "month first")]),
    "decimal": ("Decimal mark", [(".", "point"), (",", "comma")]),
    "size_unit": ("Sizes are in", [(each, each) for each in ("mm", "cm", "m", "in", "ft")]),
}
_YES, _NO = "= all", "= none"


class OrderBookPanel:
    """The section that reads an order book.

    Parameters
    ----------
    state : ShopState
    later : callable, optional
        Takes the reading; by default it has a thread of its own.
    """

    def __init__(self, state: ShopState, later: Later | None = None) -> None:
        self._state, self._later = state, later or Background(0.05)
        self._file: tuple[str, bytes] | None = None
        self._columns: list[str] = []
        self._matches: tuple[ColumnMatch, ...] = ()
        self._chosen: dict[str, str] = {}
        self._found: tuple[OrderBook, OrderGroups] | None = None
        self.take = FileIn(
            "Upload an order book (CSV or XLSX)", ".csv,.xlsx,.txt", state.guarded(self.taken),
            "One row an order: date, kind of work, pieces, size, price, and what was printed, "
            "laminated, cut. A year or more shows the seasons. At most 8 MB; it stays on this "
            "computer.",
        )  # fmt: skip
        self.fields = Fields("Columns", [], {}, state.guarded(self._choose))
        self.put = Fields("Into the shop", [], {}, state.guarded(self._into))
        self.said, self.shown, self.answer = words(), words(name="capex-tight"), words()
        self._into_shop, self._asked = box("capex-stack"), box("capex-stack")

    def view(self) -> widgets.Widget:
        """Return the panel."""
        return box("capex-card", self.take, self.said, self._into_shop, self.answer, self._asked)

    def taken(self, name: str, body: bytes) -> None:
        """Read a file that the user hands over."""
        self._file, self._chosen, self._found = (name, body), {}, None
        self.answer.value = ""
        self._read()

    def _read(self) -> None:
        if self._file is None:
            return
        name, body = self._file
        chosen = dict(self._chosen)
        self.said.value = f"<p role='status' aria-busy='true'>Reading {escape(name)}…</p>"

        self._later(lambda: _reading(body, chosen), self._take)

    def _take(self, result: Callable[[], Any]) -> None:
        @self._state.watched
        def take() -> None:
            self._columns, self._matches, found = result()
            error = found if isinstance(found, CapexError) else None
            self._found = None if error else found
            self._show(error)

        take()

    def _show(self, error: CapexError | None) -> None:
        name = self._file[0] if self._file else ""
        self.take.say("")  # no longer reading
        found = {each.field: each.column or (_YES if each.answer else _NO)
                 for each in self._matches}  # fmt: skip
        values = dict.fromkeys((*_FIELDS, *_SETTINGS), "") | self._chosen | found
        self.fields = Fields("Columns", self._listed(), values, self._state.guarded(self._choose))
        self.put = Fields(
            "Into the shop",
            [Field("put", "Put into my shop", "button",
                   hint="The columns as they were read, and what was found, stand below.")], {},
            self._state.guarded(self._into),
        )  # fmt: skip
        if error is not None:
            said = str(error).removeprefix("order book: ")
            self.said.value = (
                f"<p class='capex-warn' role='alert'>{escape(name)} cannot be read yet: "
                f"{escape(said)}</p>"
            )
            self._into_shop.children = ()
            self._asked.children = (self.fields,) if self._columns else ()
            return
        assert self._found is not None
        self.said.value = _found_html(name, *self._found)
        self.shown.value = _preview_html(*self._found)
        self._into_shop.children = (self.put,)
        self._asked.children = (self.fields, self.shown)

    def _listed(self) -> list[Field]:
        reasons = {match.field: match.reason for match in self._matches}
        columns = [("", "not in the book"), *((each, each) for each in self._columns)]
        answers = [(_YES, "all of the orders"), (_NO, "none of the orders")]
        listed = [
            Field(each, f"Column: {each}", "choice", hint=reasons.get(each, ""),
                  options=[*columns, *(answers if each in _FLAGS else [])])
            for each in _FIELDS
        ]  # fmt: skip
        return listed + [
            Field(key, label, "choice", options=[("", "as found in the book"), *options])
            for key, (label, options) in _SETTINGS.items()
        ]

    def _choose(self, key: str, text: str) -> None:
        if text:
            self._chosen[key] = text
        else:
            self._chosen.pop(key, None)
        self._read()

    def _into(self, _key: str, _text: str) -> None:
        from capex.study.orders import study_with_orders

        edited = self._state.edited
        if self._found is None:
            return
        if edited.problems:
            self.answer.value = (
                "<p class='capex-warn' role='alert'>Put right first what is listed at the top of "
                "the page; then the order book goes in.</p>"
            )
            return
        try:
            file, said = study_with_orders(StudyFile(edited.text, edited.study), self._found[1])
        except CapexError as error:
            self.answer.value = f"<p class='capex-warn' role='alert'>{escape(str(error))}</p>"
            return
        self._state.change(lambda: edited.replace(file.text))
        items = "".join(f"<li>{escape(each)}</li>" for each in said)
        self.answer.value = (
            "<p role='status'>The order book is in your shop; Undo takes it out again.</p>"
            f"<ul>{items}</ul>"
        )


def _reading(
    body: bytes, chosen: dict[str, str]
) -> tuple[list[str], tuple[ColumnMatch, ...], tuple[OrderBook, OrderGroups] | CapexError]:
    """Return the columns of a file, which hold what, and its orders or why there are none."""
    from capex.study.orders import found_columns, grouped_job_types, read_order_book

    columns: list[str] = []
    matches: tuple[ColumnMatch, ...] = ()
    settings: Any = {key: text for key, text in chosen.items() if key in _SETTINGS}
    try:
        columns = _headings(body)
        book = read_order_book(body, _mapping(chosen), **settings)
        return columns, book.mapping.matches, (book, grouped_job_types(book))
    except CapexError as error:
        with suppress(CapexError):  # why it cannot be read at all is said already
            matches = found_columns(body, _mapping(chosen)).matches
        return columns, matches, error


def _mapping(chosen: dict[str, str]) -> dict[str, str | bool]:
    """Return which column each field was given, or its one answer."""
    return {
        key: text == _YES if text in (_YES, _NO) else text
        for key, text in chosen.items()
        if key not in _SETTINGS
    }


def _headings(body: bytes) -> list[str]:
    """Return the headings of the row that looks most like a row of headings."""
    from capex.study.orders.columns import known_header_cells
    from capex.study.orders.sheet import candidate_sheets

    rows = [row for sheet in candidate_sheets(body) for row in sheet.rows[:30]]
    best = max(rows, key=lambda row: (known_header_cells(row, {}), len([c for c in row if c])),
               default=())  # fmt: skip
    return [str(cell) for cell in best if isinstance(cell, (str, int, float)) and str(cell)]


def _found_html(name: str, book: OrderBook, groups: OrderGroups) -> str:
    explained = f"{groups.share_of_value_explained:.0%}"
    said = (
        f"{name}: {groups.orders} orders from {groups.span.first} to {groups.span.last}, "
        f"{groups.orders_per_month:.1f} a month, in {len(groups.groups)} job types, which account "
        f"for {explained} of the differences in order value; {len(book.unread)} rows were left out."
    )
    listed = (*book.notes, *groups.notes)
    notes = "".join(f"<li>{escape(each)}</li>" for each in listed)
    return (
        f"<p role='status'>{escape(said)}</p><details class='capex-note'><summary>How it was read: "
        f"{len(listed)} notes</summary><ul>{notes}</ul></details>"
    )


def _preview_html(book: OrderBook, groups: OrderGroups) -> str:
    from capex.views.tables import order_book_tables

    _columns, types, unread = order_book_tables(book, groups)
    seasons = ["Whole shop", *(f"{factor:.2f}" for factor in groups.seasonality)]
    own = [[group.name, *(f"{factor:.2f}" for factor in group.seasonality)]
           for group in groups.groups]  # fmt: skip
    tables = [
        (ChartTable(list(types[1]), [list(row) for row in types[2]]), types[0]),
        (ChartTable(["Season", *SHORT_MONTHS], [seasons, *own]), "Seasons: 1 is an average month"),
        (ChartTable(list(unread[1]), [list(row) for row in unread[2]]), unread[0]),
    ]
    return "".join(table_html(table, caption) for table, caption in tables if table.rows)
