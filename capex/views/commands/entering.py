"""Commands that put what the user knows into a study: order books, time trials; and check it.

Imports typer and rich; the package late.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer
from rich.console import Console
from rich.markup import escape
from rich.table import Table

from capex.errors import InputError
from capex.views.commands.console import StudyPath, print_text, study_file, write

if TYPE_CHECKING:
    from capex.study import StudyFile

__all__ = ["check", "orders", "schema", "trial", "trial_sheet"]


def check(study: StudyPath) -> None:
    """Report all problems of a study file at once, or what is in it."""
    from capex.decision.appraise import appraise as appraised

    file = study_file(study)
    appraised(file.study)  # what only shows once times and hours are worked out
    counts = _source_counts(file)
    sizes = f"{len(file.study.jobs)} job types, {len(file.study.alternatives)} alternatives"
    print_text(f"{study}: no problems; {sizes}, {sum(counts.values())} quantities")
    print_text("  " + ", ".join(f"{count} {source}" for source, count in counts.items()))


def _source_counts(file: StudyFile) -> dict[str, int]:
    counts: dict[str, int] = {}
    for _, quantity in file.study.quantities():
        counts[quantity.source] = counts.get(quantity.source, 0) + 1
    return dict(sorted(counts.items(), key=lambda item: -item[1]))


def schema() -> None:
    """Print the JSON Schema of a study file."""
    from capex.study import json_schema

    print_text(json.dumps(json_schema(), indent=2))


def orders(
    file: Annotated[Path, typer.Argument(help="Order book (CSV or XLSX), one row an order.")],
    into: Annotated[Path, typer.Option("--into", help="Study file that takes the job types.")],
    column: Annotated[
        list[str] | None,
        typer.Option("--column", metavar="FIELD=HEADER", help="Say which column holds a field."),
    ] = None,
    sheet: Annotated[str | None, typer.Option(help="Worksheet of a workbook.")] = None,
    date_order: Annotated[str | None, typer.Option(help="'day first' or 'month first'.")] = None,
    decimal: Annotated[str | None, typer.Option(help="Decimal mark: . or ,")] = None,
    size_unit: Annotated[str | None, typer.Option(help="Unit of sizes, e.g. mm or in.")] = None,
    save: Annotated[
        Path | None, typer.Option("--save", help="Write here instead of back into the study.")
    ] = None,
    dry_run: Annotated[bool, typer.Option("--dry-run", help="Show, write nothing.")] = False,
) -> None:
    """Read an order book and put its job types into a study."""
    from capex.study import StudyFile
    from capex.study.orders import grouped_job_types, read_order_book
    from capex.study.orders.into_study import study_with_orders
    from capex.views import tables

    target = StudyFile.read(into)
    mapping: dict[str, str | bool] = {}
    for choice in column or ():
        name, equals, header = choice.partition("=")
        if not equals:
            raise InputError("--column", choice, "must be FIELD=HEADER")
        mapping[name.strip()] = False if header.strip() in {"", "none"} else header.strip()
    given: dict[str, Any] = {
        "sheet": sheet, "date_order": date_order, "decimal": decimal, "size_unit": size_unit,
    }  # fmt: skip
    book = read_order_book(file, mapping, **given)
    groups = grouped_job_types(book)
    console = Console()
    for title, headings, rows in tables.order_book_tables(book, groups):
        table = Table(*headings, title=title, title_justify="left")
        for row in rows:
            table.add_row(*(escape(cell) for cell in row))
        console.print(table)
    for note in (*book.notes, *groups.notes):
        console.print(escape(note), style="dim")
    changed, said = study_with_orders(target, groups)
    for line in said:
        console.print(escape(line))
    if not dry_run:
        write(changed, into, save, console)


def trial(
    readings: Annotated[
        Path, typer.Argument(help="Stopwatch readings (CSV or XLSX), a row a run.")
    ],
    into: Annotated[Path, typer.Option("--into", help="Study file that takes the values.")],
    hold: Annotated[
        list[str] | None,
        typer.Option("--hold", metavar="PARAMETER", help="Keep it as it is in the study."),
    ] = None,
    keep_first: Annotated[bool, typer.Option("--keep-first", help="Count first runs too.")] = False,
    leave_out: Annotated[
        bool, typer.Option("--leave-out", help="Go on without the rows that cannot be used.")
    ] = False,
    save: Annotated[
        Path | None, typer.Option("--save", help="Write here instead of back into the study.")
    ] = None,
    dry_run: Annotated[bool, typer.Option("--dry-run", help="Show, write nothing.")] = False,
) -> None:
    """Calibrate machines by stopwatch readings and put the values into a study."""
    from capex.shopfloor.trial.into_study import study_with_trial
    from capex.shopfloor.trial.readings import read_readings
    from capex.shopfloor.trial.results import trial_results
    from capex.study import StudyFile

    target = StudyFile.read(into)
    table = read_readings(readings, target.study, discard_first=not keep_first)
    if not leave_out:
        table.check()
    console = Console()
    found = trial_results(target.study, table, hold=hold or ())
    for line in (*table.problems, *table.notes, *(n for c in found.calibrations for n in c.notes)):
        console.print(escape(str(line)), style="dim")
    for refusal in found.refusals:
        console.print(escape(str(refusal)), style="red")
    changed, said = study_with_trial(target, found.calibrations, found.measurements)
    for line in said:
        console.print(escape(line))
    if not dry_run:
        write(changed, into, save, console)


def trial_sheet(
    study: StudyPath,
    machine: Annotated[list[str], typer.Option("--machine", help="Key of a machine to time.")],
    repeats: Annotated[int, typer.Option(help="Runs that count, beside the first.")] = 5,
) -> None:
    """Print the table of a time trial to fill in, as CSV; the protocol goes to the terminal."""
    from capex.shopfloor.trial.sheet import trial_sheet as sheet_of

    sheet = sheet_of(study_file(study).study, machine, repeats=repeats)
    console = Console(stderr=True)
    for section in sheet.sections:
        console.print(escape(section.heading), style="bold")
        for line in section.lines:
            console.print(escape(f"  {line}"))
    for line in sheet.cautions:
        console.print(escape(line), style="yellow")
    print_text(sheet.csv(), end="")
