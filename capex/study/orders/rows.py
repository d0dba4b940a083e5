"""The rows of an order book, each an order or an unread row with every reason.

Promises: how a column is read (date order, decimal mark, unit) is settled once, by the whole
column; then each row stands or falls on its own.

May import the standard library, `capex.errors`, `capex.study.name_checks` and the files of this
folder.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any, Final

from capex.errors import InputError, OrderBookError
from capex.study.name_checks import without_hidden
from capex.study.orders.cells import (
    has_length_unit,
    length_text,
    money_text,
    parse_flag,
    parse_length,
    parse_money,
    parse_quantity,
    parse_size,
    quantity_text,
    size_sides,
)
from capex.study.orders.columns import ColumnMapping
from capex.study.orders.dates import DateOrder, date_order, parse_date
from capex.study.orders.numbers import DecimalMark, decimal_marks
from capex.study.orders.sheet import Cell, Sheet, UnreadableCell
from capex.study.orders.words import FLAGS, LENGTH_UNITS

__all__ = ["Reading", "Table", "UnreadRow", "reading", "sorted_rows"]

_TOTAL: Final = re.compile(r"^\W*(?:sub|grand|page)?[\s-]*(?:total|sum|summe|gesamt)", re.I)
#: Fields of free text; longest text of any other [characters].
_WORDS: Final = ("type", "description")
_LONGEST: Final = 100
_NUMBER_LIKE: Final = re.compile(r"^[-+−]?[\d.,'’\s\u00a0\u2009\u202f]*\d[\d.,'’\s\u00a0]*$")


@dataclass(frozen=True)
class UnreadRow:
    """A row of the file that is no order, with every reason."""

    row_number: int
    reason: str


@dataclass(frozen=True)
class Table:
    """A sheet with its header found and its columns mapped."""

    sheet: Sheet
    header_index: int
    header: Sequence[str | None]
    mapping: ColumnMapping

    def cell(self, row: Sequence[Cell], field: str) -> Cell:
        """Return the cell of a field in a row, ``None`` without column or beyond its end."""
        match = self.mapping.get(field)
        if match is None or match.index is None or match.index >= len(row):
            return None
        cell = row[match.index]
        if isinstance(cell, str) and len(cell) > _LONGEST and field not in _WORDS:
            return UnreadableCell(f"{cell[:40]}…", f"must have at most {_LONGEST} characters")
        return cell

    def column(self, field: str) -> list[Cell]:
        """Return the cells of a field below the header."""
        return [self.cell(row, field) for row in self.sheet.rows[self.header_index + 1 :]]

    def label(self, field: str) -> str:
        """Return a field with its column, for messages."""
        match = self.mapping.get(field)
        return field if match is None or match.column is None else f"{field} ({match.column!r})"


@dataclass(frozen=True)
class Reading:
    """How the cells of each column are read, settled by the whole file."""

    marks: Mapping[str, DecimalMark | None]
    order: DateOrder
    units: Mapping[str, str | None]


def reading(
    table: Table, decimal: DecimalMark | None, order: DateOrder | None, size_unit: str | None
) -> Reading:
    """Return how each column is read, by what the whole column shows or the user states.

    Raises
    ------
    OrderBookError
        Something that neither the file nor the user tells.
    """
    if decimal not in (None, ".", ","):
        raise OrderBookError(f"decimal: {decimal!r} must be '.' or ','")
    texts = {
        "quantity": _texts(table.column("quantity"), lambda cell: [quantity_text(cell)]),
        "price": _texts(table.column("price"), lambda cell: [money_text(cell)]),
    }
    both = all(table.mapping.get(field) for field in ("width", "height"))
    sides = ["width", "height"] if both else ["size"]
    for field in sides:
        texts[field] = _texts(
            table.column(field), lambda cell: [length_text(side) for side in size_sides(cell)]
        )
    units = {field: _column_unit(table, field, size_unit) for field in sides}
    return Reading(decimal_marks(texts, decimal), date_order(table.column("date"), order), units)


def _texts(cells: Iterable[Cell], numbers: Any) -> list[str]:
    parts = [part for cell in cells if isinstance(cell, str) for part in numbers(cell)]
    return [part for part in parts if _NUMBER_LIKE.match(part)]


def _column_unit(table: Table, field: str, size_unit: str | None) -> str | None:
    if size_unit is not None:
        if size_unit.casefold() not in LENGTH_UNITS:
            raise OrderBookError(
                f"size_unit: {size_unit!r} is no unit of length; known: mm, cm, m, in, ft, yd"
            )
        return LENGTH_UNITS[size_unit.casefold()]
    match = table.mapping.get(field)
    if match is not None and match.unit is not None:
        return match.unit
    cells = [cell for cell in table.column(field) if cell is not None]
    if cells and not any(has_length_unit(cell) for cell in cells):
        raise OrderBookError(
            f"{table.label(field)}: neither the header nor any cell names a unit of length; "
            "state size_unit, e.g. size_unit='mm'"
        )
    return None


def sorted_rows(table: Table, reading: Reading) -> tuple[list[dict[str, Any]], list[UnreadRow]]:
    """Return the orders and the unread rows of a table; every row but the header is in one.

    An order has its ``row`` number, its fields in SI, and the ``currency`` written in its price.
    """
    orders, unread = [], []
    for index, row in enumerate(table.sheet.rows):
        if index == table.header_index:
            continue
        reason = _no_order(table, index, row)
        if reason is None:
            order, faults = _order(table, reading, row)
            if not faults:
                orders.append({"row": index + 1, **order})
                continue
            reason = "; ".join(faults)
        unread.append(UnreadRow(index + 1, reason))
    return orders, unread


def _no_order(table: Table, index: int, row: Sequence[Cell]) -> str | None:
    """Return why a row is no order before any cell is read, or ``None``."""
    if index + 1 in table.sheet.broken:
        return table.sheet.broken[index + 1]
    if all(cell is None for cell in row):
        return "blank row"
    if index < table.header_index:
        return "above the header row"
    if [cell for cell in row if cell] == [cell for cell in table.header if cell]:
        return "the header row again"
    extra = [cell for cell in row[len(table.header) :] if cell is not None]
    if extra:
        return (
            f"has {len(row)} cells under {len(table.header)} headers: an unquoted separator in a "
            "text or number?"
        )
    total = any(isinstance(cell, str) and _TOTAL.match(cell) for cell in row)
    day = table.cell(row, "date")
    if total and not isinstance(day, date) and not re.search(r"\d", str(day or "")):
        return "no date (a line of totals)"
    return "no date" if day is None else None


def _order(table: Table, reading: Reading, row: Sequence[Cell]) -> tuple[dict[str, Any], list[str]]:
    """Return the fields of one order and every reason against it."""
    order: dict[str, Any] = {}
    faults: list[str] = []

    def take(field: str, parse: Any, *arguments: Any) -> Any:
        try:
            return parse(table.label(field), *arguments)
        except InputError as error:
            faults.append(str(error))
            return None

    marks = reading.marks
    day = table.cell(row, "date")
    order["date"] = take("date", parse_date, day, reading.order, table.sheet.epoch)
    for field in ("type", "description"):
        cell = table.cell(row, field)
        order[field] = "" if cell is None else without_hidden(" ".join(str(cell).split()))
        if isinstance(cell, UnreadableCell):
            faults.append(str(InputError(table.label(field), cell.shown, cell.reason)))
    amount = table.cell(row, "quantity")
    order["quantity"] = take("quantity", parse_quantity, amount, marks["quantity"])
    if "size" in reading.units:
        size = table.cell(row, "size")
        both = take("size", parse_size, size, reading.units["size"], marks["size"])
        order["width"], order["height"] = both or (None, None)
    else:
        for field, unit in reading.units.items():
            side = table.cell(row, field)
            order[field] = take(field, parse_length, side, unit, marks[field])
    for field in FLAGS:
        match = table.mapping.get(field)
        answer = None if match is None else match.answer
        cell = table.cell(row, field) if answer is None else answer
        order[field] = take(field, parse_flag, field, cell)
    money = take("price", parse_money, table.cell(row, "price"), marks["price"])
    order["price"], order["currency"] = money or (None, None)
    if not faults and not (order["print"] or order["cut"]):
        faults.append("print and cut: neither is yes, so it is no work for these machines")
    return order, faults
