"""The table of readings as texts: from a file into the page, and with a message at each bad row.

May import: from capex errors, study, units and `shopfloor.trial`.
"""

from __future__ import annotations

import tempfile
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from datetime import date, datetime, time
from pathlib import Path
from typing import Final

from capex.errors import InputError, OrderBookError
from capex.shopfloor.trial.cells import HEADINGS, parse_heading
from capex.shopfloor.trial.reading import Readings
from capex.shopfloor.trial.readings import heading_place
from capex.shopfloor.trial.sheet import machine_names
from capex.shopfloor.trial.suspects import Suspect
from capex.study import Study
from capex.study.orders.sheet import candidate_sheets
from capex.units import UnitSystem
from capex.views.floor.fields import Column

__all__ = ["ReadingSheet", "grid_column", "messages_by_cell", "read_sheet", "sheet_as_shown"]


#: Most rows that a page shows.
_MOST_ROWS: Final = 3000


@dataclass(frozen=True)
class ReadingSheet:
    """A table of texts with its headings, and the number of its first row in the file."""

    name: str
    headings: tuple[str, ...]
    cells: tuple[tuple[str, ...], ...]
    first_row: int = 2

    @property
    def rows(self) -> list[dict[str, object]]:
        """Cells by heading, one row a run."""
        return [dict(zip(self.headings, row, strict=True)) for row in self.cells]


def _cell_text(cell: object) -> str:
    if cell is None:
        return ""
    if isinstance(cell, datetime):
        return (cell.date() if cell.time() == time() else cell).isoformat()
    if isinstance(cell, date | time):
        return cell.isoformat()
    if isinstance(cell, float):
        return f"{cell:.12g}"
    return str(getattr(cell, "shown", cell))


def _known(row: Sequence[object]) -> int:
    count = 0
    for cell in row:
        try:
            parse_heading(_cell_text(cell))
        except InputError:
            continue
        count += 1
    return count


def read_sheet(name: str, body: bytes) -> ReadingSheet:
    """Return the table in a CSV or XLSX file.

    Raises
    ------
    CapexError
        The file cannot be read, or none of its columns is one of readings.
    """
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / f"readings{Path(name).suffix.lower()}"
        path.write_bytes(body)
        try:
            sheets = candidate_sheets(path)
        except OrderBookError as error:
            said = str(error).replace(path.name, name)
            raise InputError("file", name, said.removeprefix(f"{name}: ")) from None
    places = [(sheet.rows, heading_place(sheet.rows)) for sheet in sheets]
    tables = [(rows[top:], top) for rows, top in places]
    rows, top = max(tables, key=lambda table: _known(table[0][0]) if table[0] else -1)
    if not rows or not _known(rows[0]):
        known = ", ".join(HEADINGS)
        raise InputError("file", name, f"has no heading of readings in its first row: {known}")
    if len(rows) > _MOST_ROWS:
        raise InputError(
            "file", name, f"has {len(rows):,} rows; a page shows at most {_MOST_ROWS:,}"
        )
    headings = [_cell_text(cell) for cell in rows[0]]
    while headings and not headings[-1]:
        headings.pop()
    width = len(headings)
    cells = [[_cell_text(cell) for cell in row[:width]] for row in rows[1:]]
    full = (tuple(row + [""] * (width - len(row))) for row in cells)
    return ReadingSheet(name, tuple(headings), tuple(full), top + 2)


def sheet_as_shown(sheet: ReadingSheet, study: Study, system: UnitSystem) -> ReadingSheet:
    """Return a table in millimetres as the page shows it: machines by name, in its units.

    Parameters
    ----------
    sheet : ReadingSheet
        As `capex.shopfloor.trial.sheet` writes it.
    study : Study
        Knows the names; where two machines have the same their keys stay.
    system : {"metric", "us_customary"}
    """
    names = machine_names(study)
    inches = system == "us_customary"

    def cell(heading: str, text: str) -> str:
        if heading == "machine":
            return names.get(text, text)
        return f"{float(text) / 25.4:.6g}" if inches and text and "[mm]" in heading else text

    return replace(
        sheet,
        headings=tuple(one.replace("[mm]", "[in]") if inches else one for one in sheet.headings),
        cells=tuple(
            tuple(cell(*each) for each in zip(sheet.headings, row, strict=True))
            for row in sheet.cells
        ),
    )


def grid_column(heading: str) -> Column:
    """Return how a column of readings is filled in."""
    try:
        found = parse_heading(heading)
    except InputError:
        return Column(heading, "7rem")
    if found.kind in {"text", "date", "clock"}:
        return Column(heading, "10rem" if found.name in {"machine", "piece", "note"} else "7.5rem")
    return Column(heading, "4.5rem", numeric=found.kind != "yes")


def messages_by_cell(
    found: Readings, odd: Sequence[Suspect], sheet: ReadingSheet
) -> dict[str, str]:
    """Return what is wrong or odd, by place: ``"row.column"``, or ``"row"`` of what is missing.

    Parameters
    ----------
    found : Readings
    odd : sequence of Suspect
        Rows that count and look mistyped.
    sheet : ReadingSheet
        What `found` was read from.
    """
    columns, whole = _places(sheet.headings), len(sheet.headings)
    said: dict[int, dict[int, list[str]]] = {}
    for problem in found.problems:
        row, _, field = problem.path.partition(", ")
        value = "" if problem.value in (None, "") else f" {_shown(problem.value)}"
        column = columns.get(field, whole)
        cells = said.setdefault(int(row.removeprefix("row ")) - sheet.first_row, {})
        cells.setdefault(column, []).append(f"{field}{value} {problem.bound}".strip())
    messages: dict[str, str] = {}
    for place, cells in said.items():
        head = f"Row {place + sheet.first_row}: "
        for column in sorted(cells):  # the page joins them in this order
            key = f"{place}.{column}" if column < whole else str(place)
            messages[key] = head + "; ".join(cells[column])
            head = ""
    for one in odd:
        at = str(one.row - sheet.first_row)
        is_cell = "time" in columns and not one.is_series
        messages.setdefault(f"{at}.{columns['time']}" if is_cell else at, one.sentence)
    return messages


def _shown(value: object) -> str:
    if isinstance(value, float):
        return f"{value:g}"
    return repr(value) if isinstance(value, str) else str(value)


def _places(headings: Sequence[str]) -> dict[str, int]:
    """Return the column of each heading that is known, by its name."""
    found: dict[str, int] = {}
    for place, text in enumerate(headings):
        with suppress(InputError):
            found.setdefault(parse_heading(text).name, place)
    return found
