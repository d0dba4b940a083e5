"""An order book read from a spreadsheet, every row accounted for.

Promises: each row of the file is the header, an order, or an unread row with its number and the
reason. Sizes are in metres, prices are order totals in the book's currency.

May import pandas, `capex.errors` and the files of this folder. pandas takes half a second to
import, so nothing but the order book imports this.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final, get_args

import pandas as pd

from capex.errors import InputError, OrderBookError
from capex.study.orders.columns import ColumnMapping, column_mapping, known_header_cells
from capex.study.orders.dates import DateOrder, parse_date
from capex.study.orders.numbers import DecimalMark
from capex.study.orders.rows import Reading, Table, UnreadRow, reading, sorted_rows
from capex.study.orders.sheet import Cell, Sheet, UnreadableCell, candidate_sheets
from capex.study.orders.words import FLAGS

__all__ = ["OrderBook", "UnreadRow", "read_order_book"]

_HEADER_WITHIN: Final = 30
#: Most that a message repeats of what the file holds [characters].
_SHOWN: Final = 60
_FEWEST_HEADER_CELLS: Final = 3
_FARTHEST_YEARS: Final = 10
#: Rows that tell whether a column has dates.
_LOOKED_AT: Final = 50


@dataclass(frozen=True, eq=False)
class OrderBook:
    """The orders of a file and what became of its other rows.

    Rows in the file = 1 header + orders + unread.

    Parameters
    ----------
    source : str
        File and worksheet.
    orders : DataFrame
        One row an order, in the order of the file: ``row`` (number in the spreadsheet), ``date``,
        ``type``, ``description`` (empty where the book has none), ``quantity`` [pieces], ``width``
        and ``height`` [m], ``print``, ``laminate``, ``cut``, ``price`` [currency, order total].
    mapping : ColumnMapping
        Which column holds what.
    unread : tuple of UnreadRow
        In the order of the file; blank rows and rows above the header among them.
    header_row : int
        Number of the header row.
    row_count : int
        Rows in the file, the header included.
    currency : str or None
        ISO code, where the price cells write one.
    notes : tuple of str
        How the file was read, in sentences for the user.
    """

    source: str
    orders: pd.DataFrame
    mapping: ColumnMapping
    unread: tuple[UnreadRow, ...]
    header_row: int
    row_count: int
    currency: str | None
    notes: tuple[str, ...]


def read_order_book(
    source: str | Path | bytes,
    mapping: Mapping[str, str | bool] | None = None,
    *,
    sheet: str | None = None,
    encoding: str | None = None,
    separator: str | None = None,
    decimal: DecimalMark | None = None,
    date_order: DateOrder | None = None,
    size_unit: str | None = None,
) -> OrderBook:
    """Return the order book in a CSV or XLSX file, one row an order.

    What the file doesn't settle (day or month first, decimal mark, unit of size) is asked for,
    never guessed.

    Parameters
    ----------
    source : str, Path or bytes
        The file, or its content.
    mapping : mapping, optional
        Field to column header for what the guess gets wrong, e.g. ``{"width": "Breite cm"}``;
        ``{"laminate": False}`` where no column says it and none of the work is laminated.
    sheet : str, optional
        Worksheet, where several hold orders.
    encoding, separator : str, optional
        Of a text file.
    decimal : {".", ","}, optional
        Decimal mark of all numbers.
    date_order : {"day first", "month first"}, optional
        Of dates such as 03/04/2031.
    size_unit : str, optional
        Unit of sizes that write none themselves; overrules the header.

    Returns
    -------
    OrderBook

    Raises
    ------
    OrderBookError
        The file cannot be read at all, a needed column is missing, something must be stated, or no
        row is an order. Single bad rows are listed in `OrderBook.unread` instead.

    Examples
    --------
    >>> text = '''Date;Kind;Qty;Width mm;Height mm;Print;Lam;Cut;Price
    ... 28.02.2031;Banners;2;2400;1000;y;;;1.130,00
    ... ;Banners;2;2400;1000;y;;;130,00'''
    >>> book = read_order_book(text.encode())
    >>> book.orders[["row", "width", "price"]].values.tolist()
    [[2.0, 2.4, 1130.0]]
    >>> book.unread
    (UnreadRow(row_number=3, reason='no date'),)
    """
    chosen = dict(mapping or {})
    sheets = candidate_sheets(source, sheet=sheet, encoding=encoding, separator=separator)
    page, place, header, found = _columns(sheets, chosen)
    _check_required(page.name, found)
    table = Table(page, place, header, found)
    how = reading(table, decimal, date_order, size_unit)
    orders, unread = sorted_rows(table, how)
    currency = _without_foreign(orders, unread)
    _without_far_dates(orders, unread)
    if not orders:
        first = next((row for row in unread if row.row_number > place + 1), None)
        said = f"; row {first.row_number}: {first.reason}" if first else ""
        raise OrderBookError(f"{page.name}: none of its {len(page.rows)} rows is an order{said}")
    unread.sort(key=lambda row: row.row_number)
    return OrderBook(
        page.name,
        _frame(orders),
        found,
        tuple(unread),
        place + 1,
        len(page.rows),
        currency,
        (*page.notes, *_notes(table, how, orders, found)),
    )


def found_columns(
    source: str | Path | bytes, mapping: Mapping[str, str | bool] | None = None
) -> ColumnMapping:
    r"""Return which column holds what as far as it is found, of a book that is not read whole.

    Parameters
    ----------
    source, mapping
        As for `read_order_book`.

    Raises
    ------
    OrderBookError
        The file cannot be read, has no header row, or a choice cannot be taken.

    Examples
    --------
    >>> found_columns(b"Date;Qty;Width mm\n28.02.2031;2;2400").found()
    "date = 'Date', quantity = 'Qty', width = 'Width mm'"
    """
    return _columns(candidate_sheets(source), dict(mapping or {}))[-1]


def _columns(
    sheets: Sequence[Sheet], chosen: Mapping[str, str | bool]
) -> tuple[Sheet, int, list[str | None], ColumnMapping]:
    """Return the sheet, the place of its header row, its cells, and what stands below them."""
    page, place = _sheet_with_header(sheets, chosen)
    header = [
        str(cell) if isinstance(cell, (str, int, float)) else None for cell in page.rows[place]
    ]
    return page, place, header, column_mapping(header, chosen, _dateless(page, place))


def _sheet_with_header(
    sheets: Sequence[Sheet], chosen: Mapping[str, str | bool]
) -> tuple[Sheet, int]:
    """Return the reading with the plainest header row, and the place of that row."""
    scored = []
    for sheet in sheets:
        scores = [known_header_cells(row, chosen) for row in sheet.rows[:_HEADER_WITHIN]]
        best = max(scores, default=0)
        if best >= _FEWEST_HEADER_CELLS:
            scored.append((best, sheet, scores.index(best)))
    if not scored:
        first = [cell.shown if isinstance(cell, UnreadableCell) else str(cell)
                 for row in sheets[0].rows[:1] for cell in row if cell is not None]  # fmt: skip
        held = ", ".join(first) or "nothing"
        held = held if len(held) <= _SHOWN else f"{held[:_SHOWN]}…"
        raise OrderBookError(
            f"{sheets[0].name}: no header row in its first {_HEADER_WITHIN} rows; row 1 holds "
            f"{held}. Name the columns"
        )
    worksheets = {sheet.name for _, sheet, _ in scored}
    if len(worksheets) > 1:
        raise OrderBookError(
            f"several worksheets hold orders: {'; '.join(sorted(worksheets))}. State sheet"
        )
    _, sheet, place = max(scored, key=lambda entry: entry[0])
    return sheet, place


def _dateless(page: Sheet, place: int) -> set[int]:
    """Return the columns below a header row in whose first cells there is no date."""
    cells: dict[int, list[Cell]] = {}
    for row in page.rows[place + 1 : place + 1 + _LOOKED_AT]:
        for index, cell in enumerate(row):
            if cell is not None:
                cells.setdefault(index, []).append(cell)
    return {
        index for index, some in cells.items() if not any(_is_date(cell, page) for cell in some)
    }


def _is_date(cell: Cell, page: Sheet) -> bool:
    for order in get_args(DateOrder):
        with suppress(InputError):
            parse_date("date", cell, order, page.epoch)
            return True
    return False


def _check_required(name: str, mapping: ColumnMapping) -> None:
    has = {match.field for match in mapping.matches}
    missing = [field for field in ("date", "quantity", *FLAGS, "price") if field not in has]
    missing += [] if has & {"type", "description"} else ["type or description"]
    missing += [] if "size" in has or {"width", "height"} <= has else ["width and height, or size"]
    if missing:
        unused = ", ".join(repr(column) for column in mapping.unused) or "none"
        raise OrderBookError(
            f"{name}: no column for {'; '.join(missing)}. Found: {mapping.found() or 'nothing'}. "
            f"Not used: {unused}. Name the column of each; what was printed, laminated or cut may "
            "have one answer for the whole book instead"
        )


def _without_foreign(orders: list[dict[str, Any]], unread: list[UnreadRow]) -> str | None:
    """Move orders in another currency than most to the unread; return the book's currency."""
    counts = Counter(order["currency"] for order in orders if order["currency"])
    ranked = sorted(counts.items(), key=lambda item: (-item[1], item[0]))
    if len(ranked) > 1 and ranked[0][1] == ranked[1][1]:
        raise OrderBookError(
            f"price: as many orders in {ranked[0][0]} as in {ranked[1][0]}; one book, one currency"
        )
    main = ranked[0][0] if ranked else None
    foreign = [one for one in orders if one["currency"] not in (None, main)]
    orders[:] = [one for one in orders if one["currency"] in (None, main)]
    for order in foreign:
        reason = f"price: is in {order['currency']}; the book is in {main}"
        unread.append(UnreadRow(order["row"], reason))
    return main


def _without_far_dates(orders: list[dict[str, Any]], unread: list[UnreadRow]) -> None:
    """Move orders dated absurdly far from the others to the unread: one slip would fake years."""
    days = sorted(order["date"] for order in orders)
    if not days:
        return
    middle = days[len(days) // 2]
    far = [one for one in orders if abs((one["date"] - middle).days) > _FARTHEST_YEARS * 365.25]
    rows = {one["row"] for one in far}
    orders[:] = [one for one in orders if one["row"] not in rows]
    for order in far:
        bound = f"lies more than {_FARTHEST_YEARS} years from the middle of the book, {middle}"
        unread.append(UnreadRow(order["row"], str(InputError("date", str(order["date"]), bound))))


def _frame(orders: list[dict[str, Any]]) -> pd.DataFrame:
    columns = {name: [order[name] for order in orders] for name in orders[0] if name != "currency"}
    frame = pd.DataFrame(columns)
    frame["date"] = pd.to_datetime(frame["date"]).astype("datetime64[ns]")
    kinds = {"row": "int64", "quantity": "int64", "width": "float64", "height": "float64",
             "price": "float64", **dict.fromkeys(FLAGS, "bool")}  # fmt: skip
    order = ["row", "date", "type", "description", "quantity", "width", "height", *FLAGS, "price"]
    return frame.astype(kinds)[order]


def _notes(
    table: Table, reading: Reading, orders: list[dict[str, Any]], mapping: ColumnMapping
) -> list[str]:
    notes = [f"header in row {table.header_index + 1}"]
    texts = [cell for cell in table.column("date") if isinstance(cell, str)]
    if any(re.match(r"\d{1,2}[-/. ]\d", cell) for cell in texts):
        notes.append(f"dates are read {reading.order}")
    for field, mark in reading.marks.items():
        if mark is None:
            notes.append(f"{field} holds both decimal marks; ambiguous cells are listed as unread")
    commas = [field for field, mark in reading.marks.items() if mark == ","]
    if commas:
        notes.append(f"decimal comma in {', '.join(commas)}")
    rows = [table.sheet.rows[order["row"] - 1] for order in orders]
    for field in FLAGS:
        cells = [table.cell(row, field) for row in rows]
        said_no = any(str(cell).casefold() in {"n", "no", "0", "false"} for cell in cells)
        if said_no and None in cells:
            notes.append(f"{field}: {cells.count(None)} empty cells were read as no")
    for match in mapping.matches:
        if match.others:
            notes.append(f"{match.field}: {', '.join(match.others)} would have matched as well")
    fields = ("date", "type", "description", "quantity", "width", "height", *FLAGS, "price")
    copies = len(orders) - len({tuple(order[field] for field in fields) for order in orders})
    if copies:
        notes.append(f"{copies} orders repeat another row in every field; they were kept")
    return notes
