"""A spreadsheet file as rows of cells, numbered as the spreadsheet shows them.

Promises: every row of the file is here, in order, and nothing is interpreted: text is only
stripped, an empty cell is ``None``, and a cell whose value the file does not hold (part of a merged
range, a formula without a stored result, an error value) is an `UnreadableCell` with its reason.

May import the standard library, openpyxl and `capex.errors`; imported only to read an order book.
"""

from __future__ import annotations

import csv
import io
import warnings
import zipfile
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from datetime import date, datetime, time, timedelta
from pathlib import Path
from typing import Any, Final

import openpyxl

from capex.errors import OrderBookError

__all__ = ["Cell", "Sheet", "UnreadableCell", "candidate_sheets"]

SEPARATORS: Final = (",", ";", "\t", "|")
_EXCEL_EPOCH: Final = datetime(1899, 12, 30)
_OLD_EXCEL: Final = b"\xd0\xcf\x11\xe0"
_ZIP: Final = b"PK\x03\x04"
_SHOWN_CODEC: Final = {"utf-8-sig": "UTF-8", "utf-16": "UTF-16", "cp1252": "Windows-1252"}


@dataclass(frozen=True)
class UnreadableCell:
    """A cell whose value the file does not hold: what stands there, and the reason."""

    shown: str
    reason: str


Cell = str | int | float | bool | datetime | date | time | timedelta | UnreadableCell | None


@dataclass(frozen=True)
class Sheet:
    """All rows of one table.

    Parameters
    ----------
    name : str
        What it was read from, for messages.
    rows : tuple of tuple of Cell
        Row 1 of the spreadsheet first.
    broken : mapping of int to str
        Row numbers whose cells could not be told apart, with the reason.
    epoch : datetime
        Day 0 of serial dates.
    notes : tuple of str
        How the file was read.
    """

    name: str
    rows: tuple[tuple[Cell, ...], ...]
    broken: Mapping[int, str] = field(default_factory=dict)
    epoch: datetime = _EXCEL_EPOCH
    notes: tuple[str, ...] = ()


def candidate_sheets(
    source: str | Path | bytes,
    *,
    sheet: str | None = None,
    encoding: str | None = None,
    separator: str | None = None,
) -> tuple[Sheet, ...]:
    r"""Return the readings of a file among which its header row decides.

    A workbook gives one reading a worksheet, a text file one a separator.

    Parameters
    ----------
    source : str, Path or bytes
        A CSV, TSV or XLSX file, or its content; told apart by content, not by name.
    sheet : str, optional
        Worksheet of a workbook.
    encoding, separator : str, optional
        Of a text file, where the user knows them.

    Returns
    -------
    tuple of Sheet
        At least one.

    Raises
    ------
    OrderBookError
        The file is missing, empty, of another kind, or damaged.

    Examples
    --------
    >>> readings = candidate_sheets(b"date;price\n2031-01-02;12,50\n", separator=";")
    >>> readings[0].rows
    (('date', 'price'), ('2031-01-02', '12,50'))
    """
    name = "the order book" if isinstance(source, bytes) else Path(source).name
    try:
        content = source if isinstance(source, bytes) else Path(source).read_bytes()
    except OSError as error:
        raise OrderBookError(f"{name}: cannot be opened ({error.strerror})") from error
    if not content.strip():
        raise OrderBookError(f"{name}: is empty")
    if content.startswith(_OLD_EXCEL):
        raise OrderBookError(
            f"{name}: is an old binary or password-protected workbook; save it as XLSX without "
            "password, or as CSV"
        )
    if content.startswith(_ZIP):
        return _workbook_sheets(name, content, sheet)
    if sheet is not None:
        raise OrderBookError(f"{name}: is a text file and has no worksheet {sheet!r}")
    return _text_sheets(name, content, encoding, separator)


def _text_sheets(
    name: str, content: bytes, encoding: str | None, separator: str | None
) -> tuple[Sheet, ...]:
    text, used = _decoded(name, content, encoding)
    notes = [f"text encoding: {_SHOWN_CODEC.get(used, used)}"]
    first, _, rest = text.partition("\n")
    if first.strip().strip('"').lower().startswith("sep=") and separator is None:
        separator = first.strip().strip('"')[4:5] or "\t"
        text = rest
        notes.append("the first line only names the separator, as spreadsheets do; row 1 follows")
    sheets, errors = [], []
    for mark in SEPARATORS if separator is None else (separator,):
        try:
            rows, broken = _records(text, mark)
        except OrderBookError as error:
            errors.append(error)
            continue
        sheets.append(Sheet(name, rows, broken, notes=(*notes, f"separator: {mark!r}")))
    if not sheets:
        raise OrderBookError(f"{name}: {errors[0]}")
    return tuple(sheets)


def _decoded(name: str, content: bytes, encoding: str | None) -> tuple[str, str]:
    """Return the text and the encoding that fits: stated, by byte-order mark, UTF-8, cp1252."""
    if encoding is not None:
        tried: tuple[str, ...] = (encoding,)
    elif content.startswith((b"\xff\xfe", b"\xfe\xff")):
        tried = ("utf-16",)
    else:
        tried = ("utf-8-sig", "cp1252")
    for codec in tried:
        try:
            text = content.decode(codec)
        except (UnicodeDecodeError, UnicodeError):
            continue
        except LookupError as error:
            raise OrderBookError(f"{name}: there is no text encoding {codec!r}") from error
        if "\x00" in text:
            continue
        return text.replace("\r\n", "\n").replace("\r", "\n"), codec
    shown = [_SHOWN_CODEC.get(codec, codec) for codec in tried]
    raise OrderBookError(f"{name}: is not text in {' or '.join(shown)}, and not an XLSX workbook")


def _records(text: str, separator: str) -> tuple[tuple[tuple[Cell, ...], ...], dict[int, str]]:
    """Return the records of a text file, and the numbers of those with broken quotation."""
    try:
        reader = csv.reader(io.StringIO(text, newline=""), delimiter=separator, strict=True)
    except TypeError as error:
        raise OrderBookError(f"separator {separator!r} must be one character") from error
    rows: list[tuple[Cell, ...]] = []
    broken: dict[int, str] = {}
    while True:
        begun = reader.line_num
        try:
            record = next(reader)
        except StopIteration:
            return tuple(rows), broken
        except csv.Error as error:
            number = len(rows) + 1
            if reader.line_num - begun > 1:
                # Several lines were swallowed by one cell, so where the next row begins is unknown.
                raise OrderBookError(
                    f"row {number} (line {begun + 1}) opens a quotation mark that is closed "
                    f"nowhere sensible before line {reader.line_num} ({error})"
                ) from error
            broken[number] = f"quotation marks inside a cell are not doubled ({error})"
            rows.append(())
            continue
        rows.append(tuple(cell.strip() or None for cell in record))


def _workbook_sheets(name: str, content: bytes, sheet: str | None) -> tuple[Sheet, ...]:
    try:
        with warnings.catch_warnings():
            # openpyxl warns of drawings and validation rules that it leaves out; none hold orders.
            warnings.simplefilter("ignore")
            values = openpyxl.load_workbook(io.BytesIO(content), data_only=True)
            formulas = openpyxl.load_workbook(io.BytesIO(content), read_only=True)
    except (zipfile.BadZipFile, KeyError, ValueError, OSError, TypeError) as error:
        raise OrderBookError(f"{name}: is not a readable XLSX workbook ({error})") from error
    names = [one.title for one in values.worksheets]
    if sheet is not None and sheet not in names:
        raise OrderBookError(f"{name}: has no worksheet {sheet!r}; it has {', '.join(names)}")
    return tuple(
        _worksheet(name, values, formulas, title)
        for title in names
        if sheet is None or title == sheet
    )


def _worksheet(name: str, values: Any, formulas: Any, title: str) -> Sheet:
    page = values[title]
    merged = {
        place: str(region)
        for region in page.merged_cells.ranges
        for place in _inside(region)
    }  # fmt: skip
    rows: list[tuple[Cell, ...]] = []
    pairs = zip(page.iter_rows(), _formula_rows(formulas[title]), strict=False)
    for number, (cells, sources) in enumerate(pairs, start=1):
        row = []
        for place, cell in enumerate(cells, start=1):
            formula = sources[place - 1] if place <= len(sources) else None
            row.append(_cell(cell, merged.get((number, place)), formula))
        rows.append(tuple(row))
    while rows and all(cell is None for cell in rows[-1]):
        rows.pop()  # formatted but never filled rows below the last entry
    notes = [f"worksheet: {title}"]
    hidden = sum(1 for place, row in page.row_dimensions.items() if row.hidden and place > 0)
    if hidden:
        notes.append(f"{hidden} hidden rows were read like the others")
    return Sheet(f"{name}, worksheet {title}", tuple(rows), epoch=values.epoch, notes=tuple(notes))


def _inside(region: Any) -> Iterator[tuple[int, int]]:
    """Yield the places of a merged range that hold no value of their own."""
    for row in range(region.min_row, region.max_row + 1):
        for column in range(region.min_col, region.max_col + 1):
            if (row, column) != (region.min_row, region.min_col):
                yield row, column


def _formula_rows(page: Any) -> Iterator[tuple[str | None, ...]]:
    """Yield each row's formulas, ``None`` where a cell has none, without end."""
    page.reset_dimensions()
    for cells in page.iter_rows():
        yield tuple(
            str(cell.value) if getattr(cell, "data_type", "n") == "f" else None for cell in cells
        )
    while True:
        yield ()


def _cell(cell: Any, merged: str | None, formula: str | None) -> Cell:
    if merged is not None:
        return UnreadableCell(
            "merged cell", f"is part of the merged cells {merged}; unmerge and fill them"
        )
    value = cell.value
    if value is None and formula is not None:
        return UnreadableCell(
            formula,
            "is a formula without a stored result; open the workbook in a spreadsheet, "
            "recalculate and save it",
        )
    if cell.data_type == "e":
        return UnreadableCell(str(value), "is an error value of the spreadsheet")
    if isinstance(value, str):
        return value.strip() or None
    if isinstance(value, (int, float, bool, datetime, date, time, timedelta)):
        return value
    return None if value is None else str(value)
