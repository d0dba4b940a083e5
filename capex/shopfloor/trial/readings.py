"""Stopwatch readings of a time trial, entered or read from a table.

Promises: every row is here – kept, discarded as a first run, not filled in, or named with its
number and all that is wrong with it; nothing is dropped without a word.

Imports `capex.errors`, `capex.study`, the table reader of `capex.study.orders.sheet` and, of this
folder, `cells`, `measurements`, `reading`, `rows` and `suspects`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Final

from capex.errors import InputError, OrderBookError, Problem, TrialError
from capex.shopfloor.trial.cells import Heading, parse_heading
from capex.shopfloor.trial.measurements import quality_sentences
from capex.shopfloor.trial.reading import Reading, Readings
from capex.shopfloor.trial.rows import STAMPED, parse_row
from capex.shopfloor.trial.suspects import suspects
from capex.study import Study
from capex.study.orders.sheet import Sheet, candidate_sheets

__all__ = ["heading_place", "is_comment", "parse_readings", "read_readings"]


_COMMENT: Final = "Begin with # and are no readings"
_UNFILLED: Final = "No time filled in, left out"


def read_readings(source: Path | str, study: Study, *, discard_first: bool = True) -> Readings:
    """Return the readings in a CSV or XLSX file.

    Parameters
    ----------
    source : path or str
        Headings in the first row that is no comment, see `parse_heading`; a row whose first cell
        begins with ``#`` is a comment.
    study : Study
        Knows the machines.
    discard_first : bool
        Whether the first run of each series is set aside, as the protocol asks.

    Returns
    -------
    Readings

    Raises
    ------
    TrialError
        The file cannot be read, has no rows, or a heading that is not known.

    Examples
    --------
    >>> from capex.study import data_folder, read_study
    >>> study = read_study(data_folder() / "studies" / "quenlow.toml")
    >>> found = read_readings(data_folder() / "trials" / "quenlow_trial.csv", study)
    >>> len(found.problems), found.kept[0].work
    (0, 'print')
    """
    name = Path(source).name
    try:
        sheets = candidate_sheets(Path(source))
    except OrderBookError as error:
        words = str(error).removeprefix(f"{name}: ")
        raise TrialError(name, [Problem("file", None, words)]) from None
    sheet = max(sheets, key=_known_headings)
    top = heading_place(sheet.rows)
    texts = [str(cell or "") for cell in (sheet.rows[top] if top < len(sheet.rows) else ())]
    while texts and not texts[-1]:
        texts.pop()
    rows: list[Mapping[str, object]] = []
    problems = [Problem(f"row {row}", None, reason) for row, reason in sheet.broken.items()]
    for number, cells in enumerate(sheet.rows[top + 1 :], start=top + 2):
        if is_comment(cells):
            cells = cells[: len(texts)]
        elif len(cells) > len(texts) and any(cell is not None for cell in cells[len(texts) :]):
            problems.append(
                Problem(f"row {number}", None, f"has {len(cells)} cells, the heading {len(texts)}")
            )
            cells = ()
        rows.append(dict(zip(texts, cells, strict=False)))
    found = parse_readings(rows, study, source=name, discard_first=discard_first, first_row=top + 2)
    both = sorted([*problems, *found.problems], key=_row_of)
    return replace(found, problems=tuple(both))


def is_comment(cells: Sequence[object]) -> bool:
    """Return whether a row is a comment: its first cell begins with ``#``.

    Parameters
    ----------
    cells : sequence of cell

    Examples
    --------
    >>> is_comment(("# hold equal", "the film")), is_comment(("old_cutter", "#4"))
    (True, False)
    """
    return bool(cells) and str(cells[0] or "").lstrip().startswith("#")


def heading_place(rows: Sequence[Sequence[object]]) -> int:
    """Return the place of the headings: the first row that is neither empty nor a comment.

    Parameters
    ----------
    rows : sequence of sequence of cell

    Returns
    -------
    int
        From 0; the number of rows where there are no headings.

    Examples
    --------
    >>> heading_place([("# hold equal",), (None,), ("machine", "work", "time [s]")])
    2
    """
    for place, cells in enumerate(rows):
        if any(cell is not None for cell in cells) and not is_comment(cells):
            return place
    return len(rows)


def _row_of(problem: Problem) -> int:
    return int(problem.path.split(",")[0].removeprefix("row "))


def _known_headings(sheet: Sheet) -> int:
    count = 0
    top = heading_place(sheet.rows)
    for cell in sheet.rows[top] if top < len(sheet.rows) else ():
        try:
            parse_heading(str(cell or ""))
        except InputError:
            continue
        count += 1
    return count


def parse_readings(
    rows: Sequence[Mapping[str, object]],
    study: Study,
    *,
    source: str = "readings",
    discard_first: bool = True,
    first_row: int = 2,
) -> Readings:
    """Return readings from rows of cells by heading, as a form or a table has them.

    Parameters
    ----------
    rows : sequence of mapping of str to cell
        Those below the headings.
    study : Study
        Knows the machines.
    source : str
        Where they came from, for messages.
    discard_first : bool
        Whether the first run of each series is set aside.
    first_row : int
        Number of the first row, as a spreadsheet counts.

    Returns
    -------
    Readings

    Raises
    ------
    TrialError
        No rows, or headings that are unknown, twice there or missing.

    Examples
    --------
    >>> from capex.study import data_folder, read_study
    >>> study = read_study(data_folder() / "studies" / "quenlow.toml")
    >>> row = {"machine": "laminator", "work": "laminate", "height": "2 m", "seconds": 81.5}
    >>> found = parse_readings([row, row], study)
    >>> len(found.kept), found.notes
    (1, ('Discarded as first runs of their series: row 2.',))
    """
    headings = _headings(rows, source)
    kept: list[Reading] = []
    problems: list[Problem] = []
    left_out: dict[str, list[int]] = {_COMMENT: [], _UNFILLED: []}
    for number, row in enumerate(rows, start=first_row):
        if is_comment(list(row.values())):
            left_out[_COMMENT].append(number)
            continue
        cells = {
            headings[text].name: (headings[text], cell)
            for text, cell in row.items()
            if text in headings and cell is not None and str(cell).strip()
        }
        if not cells.keys() & {"time", *STAMPED}:
            if cells:
                left_out[_UNFILLED].append(number)
            continue
        reading, wrong = parse_row(number, cells, study)
        problems += [Problem(f"row {number}, {p.field}", p.value, p.bound) for p in wrong]
        if reading is not None:
            kept.append(reading)
    notes = [f"{words}: {_rows(numbers)}." for words, numbers in left_out.items() if numbers]
    discarded, told = _first_runs(kept) if discard_first else ([], [])
    notes += told
    aside = {one.row for one in discarded}
    rest = tuple(one for one in kept if one.row not in aside)
    notes += [one.sentence for one in suspects(rest, study)]
    notes += quality_sentences(rest, study)
    return Readings(source, rest, tuple(discarded), tuple(problems), tuple(notes))


def _headings(rows: Sequence[Mapping[str, object]], source: str) -> dict[str, Heading]:
    if not any(rows):
        raise TrialError(source, [Problem("file", None, "has no readings")])
    found: dict[str, Heading] = {}
    problems = []
    for text in dict.fromkeys(text for row in rows for text in row):
        try:
            heading = parse_heading(text)
        except InputError as error:
            problems.append(Problem(error.field, error.value, error.bound))
            continue
        if heading.name in {other.name for other in found.values()}:
            problems.append(Problem("heading", text, f"holds {heading.name} a second time"))
        found[text] = heading
    names = {heading.name for heading in found.values()}
    problems += [
        Problem("heading", None, f"{name!r} is missing")
        for name in ("work", "time")
        if name not in names and not (name == "time" and names.issuperset(STAMPED))
    ]
    if problems:
        raise TrialError(source, problems)
    return found


def _first_runs(kept: Sequence[Reading]) -> tuple[list[Reading], list[str]]:
    """Return the first run of each series, and sentences on what was set aside."""
    series: dict[Reading, list[Reading]] = {}
    for reading in kept:
        series.setdefault(reading.setting, []).append(reading)
    discarded, notes, whole = [], [], []
    for members in series.values():
        numbered = [one for one in members if one.run is not None]
        first = [one for one in numbered if one.run == 1] if numbered else members[:1]
        if not first:
            notes.append(
                f"No run 1 in the series of row {members[0].row}: nothing discarded from it."
            )
        if len(first) == len(members):
            notes.append(f"The series of row {members[0].row} has no run after its first.")
        discarded += first
        whole += [one.row for one in first]
    if whole:
        notes.insert(0, f"Discarded as first runs of their series: {_rows(sorted(whole))}.")
    return discarded, notes


def _rows(numbers: Sequence[int]) -> str:
    """Return row numbers in words, runs of them as ranges."""
    spans: list[list[int]] = []
    for number in numbers:
        if spans and number == spans[-1][-1] + 1:
            spans[-1] = [spans[-1][0], number]
        else:
            spans.append([number])
    shown = ", ".join(" to ".join(map(str, span)) for span in spans)
    return f"row{'s' if len(numbers) > 1 else ''} {shown}"
