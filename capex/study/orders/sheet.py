"""A spreadsheet file as rows of cells, numbered as the spreadsheet shows them.

Promises: every row of the file is here, in order, and nothing is interpreted: text is only
stripped, an empty cell is ``None``, and a cell whose value the file does not hold (part of a merged
range, a formula without a stored result, an error value) is an `UnreadableCell` with its reason.

May import the standard library, `capex.errors`, `workbook` and `worksheet`; imported only to read
an order book.
"""

from __future__ import annotations

import csv
import io
from pathlib import Path
from typing import Final

from capex.errors import OrderBookError
from capex.study.orders.workbook import workbook_sheets
from capex.study.orders.worksheet import Cell, Sheet, UnreadableCell, check_extent, text_cell

__all__ = ["Cell", "Sheet", "UnreadableCell", "candidate_sheets"]

SEPARATORS: Final = (",", ";", "\t", "|")
#: Largest file that is read [bytes].
LARGEST: Final = 16_000_000
_OLD_EXCEL: Final = b"\xd0\xcf\x11\xe0"
_ZIP: Final = b"PK\x03\x04"
#: Beginnings of files that hold no table: pictures, pages, documents.
_NO_TABLES: Final = (b"<?xml", b"<!doctype", b"<!--", b"<svg", b"<html", b"%pdf-", b"\x89png",
                     b"gif8", b"\xff\xd8\xff", b"{\\rtf")  # fmt: skip
_LOOKED_AT: Final = 1_000  # [bytes]
_BOM: Final = b"\xef\xbb\xbf"
_SHOWN_CODEC: Final = {"utf-8-sig": "UTF-8", "utf-16": "UTF-16", "cp1252": "Windows-1252"}


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
        content = source if isinstance(source, bytes) else _read(Path(source))
    except OSError as error:
        raise OrderBookError(f"{name}: cannot be opened ({error.strerror})") from error
    if len(content) > LARGEST:
        raise OrderBookError(f"{name}: is larger than {LARGEST / 1e6:g} MB")
    if not content.strip():
        raise OrderBookError(f"{name}: is empty")
    if content.startswith(_OLD_EXCEL):
        raise OrderBookError(
            f"{name}: is an old binary or password-protected workbook; save it as XLSX without "
            "password, or as CSV"
        )
    if content.startswith(_ZIP):
        return workbook_sheets(name, content, sheet)
    if content[:_LOOKED_AT].removeprefix(_BOM).lstrip().lower().startswith(_NO_TABLES):
        raise OrderBookError(
            f"{name}: is neither a CSV nor an XLSX file, but looks like a picture, a web page or a "
            "document; save the table itself as CSV or XLSX"
        )
    if sheet is not None:
        raise OrderBookError(f"{name}: is a text file and has no worksheet {sheet!r}")
    return _text_sheets(name, content, encoding, separator)


def _read(path: Path) -> bytes:
    with path.open("rb") as file:
        return file.read(LARGEST + 1)


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
    cells = 0
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
            check_extent(len(rows), 0, cells)
            continue
        rows.append(tuple(text_cell(cell) for cell in record))
        cells += len(record)
        check_extent(len(rows), len(record), cells)
