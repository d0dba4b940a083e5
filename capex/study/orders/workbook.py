"""An XLSX workbook as tables: what it may hold, and every cell with its value or why it has none.

The archive is looked over before anything interprets it: no document type, so no entities; bounded
bytes, cells, merged ranges and formats; the last row and column that any cell names are near.
Limits of formats are the spreadsheet's own.

May import the standard library, openpyxl, `capex.errors` and `worksheet`.
"""

from __future__ import annotations

import io
import re
import warnings
import zipfile
from collections import Counter
from collections.abc import Iterator
from datetime import date, datetime, time, timedelta
from typing import Any, Final
from xml.parsers import expat

import openpyxl

from capex.errors import OrderBookError
from capex.study.orders.worksheet import Cell, Sheet, UnreadableCell, check_extent, text_cell

__all__ = ["workbook_sheets"]

#: Most bytes of all parts unpacked, most parts, and most elements other than those of cells.
_LARGEST: Final = 120_000_000
_MOST_PARTS: Final = 2000
_MOST_CELLS: Final = 200_000
_MOST_OTHERS: Final = 1_000_000
#: Most elements of some kinds: cell formats (the spreadsheet's own limit), worksheets, merges.
_MOST: Final = {"xf": 65_490, "sheet": 255, "mergeCell": 20_000, "definedName": 20_000}
_DEEPEST: Final = 64
_OF_CELLS: Final = frozenset({"c", "v", "is", "t", "f", "row", "si"})
_PLACE: Final = re.compile(r"\$?([A-Z]{1,3})\$?(\d{1,7})")
_CHUNK: Final = 1 << 16


class _Look:
    """Handlers of one scan over the parts; each refuses by raising."""

    def __init__(self) -> None:
        self.counts: Counter[str] = Counter()
        self.cells = self.merged = self.depth = 0

    def doctype(self, *_: object) -> None:
        raise OrderBookError("has a document type declaration, which may hide entities")

    def start(self, full_name: str, attributes: dict[str, str]) -> None:
        name = full_name.rpartition(" ")[2]
        self.depth += 1
        if self.depth > _DEEPEST:
            raise OrderBookError(f"nests elements more than {_DEEPEST} deep")
        if name in ("c", "row"):
            self.cells += name == "c"
            column, row = _last_place(attributes.get("r", ""))
            rows = max(row, self.counts["row"])
            check_extent(rows, column, self.cells, _MOST_CELLS)
        elif name == "mergeCell":
            ends = [_last_place(end) for end in attributes.get("ref", "").split(":")]
            self.merged += max(row for _, row in ends) * max(column for column, _ in ends)
            check_extent(0, 0, self.merged, _MOST_CELLS)
        self.counts[name if name in _MOST or name in _OF_CELLS else "other"] += 1
        most = _MOST.get(name, _MOST_OTHERS)
        if name not in _OF_CELLS and self.counts[name if name in _MOST else "other"] > most:
            raise OrderBookError(f"holds more than {most:,} elements such as {name!r}")

    def end(self, _: str) -> None:
        self.depth -= 1


def _last_place(text: str) -> tuple[int, int]:
    """Return column and row of a place such as XFD12, or of a row's number; 0 where not told."""
    if text.isdecimal():
        return 0, int(text[:9])
    found = _PLACE.fullmatch(text)
    if found is None:
        return 0, 0
    column = 0
    for letter in found[1]:
        column = 26 * column + ord(letter) - 64
    return column, int(found[2])


def _checked(content: bytes) -> bool:
    """Refuse a workbook that is unsafe to read; return whether any cell has a formula."""
    look = _Look()
    with zipfile.ZipFile(io.BytesIO(content)) as archive:
        parts = archive.infolist()
        if len(parts) > _MOST_PARTS:
            raise OrderBookError(f"holds more than {_MOST_PARTS:,} parts")
        if sum(part.file_size for part in parts) > _LARGEST:
            raise OrderBookError(f"unpacks to more than {_LARGEST / 1e6:g} MB")
        for part in parts:
            look.depth = 0
            with archive.open(part) as stream:
                _scan(stream, part.filename, look)
    return look.counts["f"] > 0


def _scan(stream: Any, name: str, look: _Look) -> None:
    """Look over one part; pictures and other parts that are no XML are left to who reads them."""
    parser = expat.ParserCreate(namespace_separator=" ")
    parser.StartDoctypeDeclHandler = look.doctype
    parser.StartElementHandler = look.start
    parser.EndElementHandler = look.end
    try:
        while chunk := stream.read(_CHUNK):
            parser.Parse(chunk, False)
        parser.Parse(b"", True)
    except expat.ExpatError as error:
        if name.endswith((".xml", ".rels")):
            raise OrderBookError(f"its part {name} is damaged ({error})") from error


def workbook_sheets(name: str, content: bytes, sheet: str | None = None) -> tuple[Sheet, ...]:
    """Return the worksheets of a workbook.

    Parameters
    ----------
    name : str
        Of the file, for messages.
    content : bytes
    sheet : str, optional
        The only one that is wanted.

    Raises
    ------
    OrderBookError
        No readable workbook, one that holds more than is read, or no such worksheet.
    """
    try:
        with warnings.catch_warnings():
            # openpyxl warns of drawings and validation rules that it leaves out; none hold orders.
            warnings.simplefilter("ignore")
            return _sheets(name, content, sheet)
    except OrderBookError as error:
        said = str(error)
        raise OrderBookError(said if said.startswith(f"{name}: ") else f"{name}: {said}") from error
    # The library raises whatever it meets in a malformed part.
    except Exception as error:
        said = str(error)[:200] or type(error).__name__
        raise OrderBookError(f"{name}: is not a readable XLSX workbook ({said})") from error


def _sheets(name: str, content: bytes, sheet: str | None) -> tuple[Sheet, ...]:
    formulas = None
    if _checked(content):
        formulas = openpyxl.load_workbook(io.BytesIO(content), read_only=True)
    values = openpyxl.load_workbook(io.BytesIO(content), data_only=True)
    names = [one.title for one in values.worksheets]
    if not names:
        raise OrderBookError("has no worksheet")
    if sheet is not None and sheet not in names:
        raise OrderBookError(f"has no worksheet {sheet!r}; it has {', '.join(names)}")
    return tuple(
        _worksheet(name, values, formulas, title)
        for title in names
        if sheet is None or title == sheet
    )


def _worksheet(name: str, values: Any, formulas: Any, title: str) -> Sheet:
    page = values[title]
    check_extent(page.max_row, page.max_column, page.max_row * page.max_column, _MOST_CELLS)
    merged = {
        place: str(region)
        for region in page.merged_cells.ranges
        for place in _inside(region)
    }  # fmt: skip
    rows: list[tuple[Cell, ...]] = []
    pairs = zip(page.iter_rows(), _formula_rows(formulas and formulas[title]), strict=False)
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
    if page is not None:
        page.reset_dimensions()
        for cells in page.iter_rows():
            yield tuple(
                str(cell.value) if getattr(cell, "data_type", "n") == "f" else None
                for cell in cells
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
        return text_cell(value)
    if isinstance(value, (int, float, bool, datetime, date, time, timedelta)):
        return value
    return None if value is None else str(value)
