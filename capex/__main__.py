"""Command line: thin; every figure comes from the package.

Exit 0 when all went well, 2 on bad input, with the message and never a traceback.
May import everything, late, so that help and errors come at once.
"""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer
from rich import box
from rich.console import Console
from rich.markup import escape
from rich.table import Table

from capex.errors import CapexError, InputError

if TYPE_CHECKING:
    from capex.study import StudyFile

app = typer.Typer(
    add_completion=False,
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    help="Decide between separate print and cut machines and an all-in-one.",
)

StudyPath = Annotated[Path, typer.Argument(help="Study file (TOML).")]
Changes = Annotated[
    list[str] | None,
    typer.Option(
        "--set", metavar="PATH=VALUE", help="Replace an entry: shop.people.wage='25 USD/h'."
    ),
]
AsJson = Annotated[bool, typer.Option("--json", help="Print JSON instead of a table.")]


def _entry(text: str) -> object:
    """Return a value as TOML reads it, or the text itself where it is not TOML."""
    import tomllib

    try:
        found = tomllib.loads(f"value = {text}")
    except tomllib.TOMLDecodeError:
        return text
    return found["value"] if len(found) == 1 else text


def _study_file(path: Path, changes: list[str] | None = None) -> StudyFile:
    from capex.study import StudyFile

    file = StudyFile.read(path)
    wanted: dict[str, object] = {}
    for change in changes or ():
        name, equals, value = change.partition("=")
        if not equals or not name.strip():
            raise InputError("--set", change, "must be PATH=VALUE")
        wanted[name.strip()] = _entry(value.strip())
    return file.changed(wanted) if wanted else file


@app.command()
def appraise(
    study: StudyPath,
    set_: Changes = None,
    as_json: AsJson = False,
    measures: Annotated[
        bool, typer.Option("--measures", help="Show every measure of the gain.")
    ] = False,
) -> None:
    """Say which choice leaves most money, and what every choice comes to."""
    from capex.decision.appraise import appraise as appraised
    from capex.decision.swings import swings
    from capex.views import tables, wording

    file = _study_file(study, set_)
    found = appraised(file.study)
    if as_json:
        _print(json.dumps(tables.headline_data(found), indent=2, allow_nan=False))
        return
    console = Console()
    console.print(escape(tables.verdict_text(found)), style="bold")
    console.print(escape(wording.sureness_sentence(file.study, swings(file.study))))
    headings, rows = (tables.measures_table if measures else tables.headline_table)(found)
    # As many alternatives beside each other as have room for their names.
    across = max(1, (console.width - _LABEL) // _ALTERNATIVE)
    for start in range(0, len(rows), across):
        console.print(_side_by_side(headings, rows[start : start + across]))
    for line in (*tables.notices(found), tables.convention_text(found), wording.CAUTIONS[0]):
        console.print(escape(line), style="dim")


#: Columns of a terminal that the names of the figures, and one alternative, need.
_LABEL, _ALTERNATIVE = 17, 15


def _side_by_side(headings: tuple[str, ...], rows: list[tuple[str, ...]]) -> Table:
    """Return a table with a column an alternative, its name on top, and a line a figure."""
    (title, *names), *lines = zip(headings, *rows, strict=True)
    table = Table(box=box.SIMPLE_HEAD, padding=(0, 1, 0, 0))
    table.add_column(title, no_wrap=True)
    for name in names:
        table.add_column(escape(name), justify="right", vertical="bottom", min_width=12)
    for label, *cells in lines:
        table.add_row(label, *(escape(cell) for cell in cells))
    return table


@app.command()
def check(study: StudyPath) -> None:
    """Report all problems of a study file at once, or what is in it."""
    from capex.decision.appraise import appraise as appraised

    file = _study_file(study)
    appraised(file.study)  # what only shows once times and hours are worked out
    counts = _source_counts(file)
    sizes = f"{len(file.study.jobs)} job types, {len(file.study.alternatives)} alternatives"
    _print(f"{study}: no problems; {sizes}, {sum(counts.values())} quantities")
    _print("  " + ", ".join(f"{count} {source}" for source, count in counts.items()))


@app.command()
def explain(
    study: StudyPath,
    figure: Annotated[str, typer.Argument(help="Headline figure, e.g. gain or payback_period.")],
    alternative: Annotated[
        str | None, typer.Option(help="Key of the choice; the best where none is given.")
    ] = None,
    set_: Changes = None,
    most: Annotated[int, typer.Option(min=1, help="Inputs shown, largest effect first.")] = 20,
) -> None:
    """Say why a figure is what it is: its ledger lines and the inputs behind it."""
    from capex.decision.appraise import appraise as appraised
    from capex.decision.explanation import explanation
    from capex.decision.verdict import verdict
    from capex.views import why
    from capex.views.wording import CAUTIONS, Currency

    shown = _study_file(study, set_).study
    key = alternative or verdict(appraised(shown)).best
    found, currency = explanation(shown, figure, key), Currency(shown.currency)
    console = Console()
    for sentence in why.why_sentences(shown, found, currency, "metric"):
        console.print(escape(sentence))
    rows = why.line_rows(found, currency)
    if rows:
        console.print(_table(why.LINE_HEADINGS, rows))
    console.print(
        _table(why.INPUT_HEADINGS, why.input_rows(shown, found, currency, "metric", most))
    )
    console.print(escape(CAUTIONS[0]), style="dim")


@app.command()
def break_even(
    study: StudyPath,
    input_: Annotated[
        str | None, typer.Argument(metavar="INPUT", help="Path of an input; else all of them.")
    ] = None,
    alternative: Annotated[
        str | None, typer.Option(help="Key of a choice; the best where none is given.")
    ] = None,
    against: Annotated[
        str | None, typer.Option(help="Key of the other one; its closest rival by default.")
    ] = None,
    low: Annotated[str | None, typer.Option(help="Lowest value looked at, with its unit.")] = None,
    high: Annotated[str | None, typer.Option(help="Highest value looked at.")] = None,
    set_: Changes = None,
    most: Annotated[int, typer.Option(min=1, help="Inputs shown, the nearest first.")] = 20,
) -> None:
    """Say at which value of an input two choices leave the same, or which inputs have one."""
    from capex.decision.break_even_table import break_even_table
    from capex.views import break_even as shown
    from capex.views.wording import CAUTIONS, Currency

    whole = _study_file(study, set_).study
    currency, console = Currency(whole.currency), Console()
    if input_ is None:
        table = break_even_table(whole, alternative, against)
        said = shown.table_sentences(whole, table, currency)
        rows = _table(shown.INPUT_HEADINGS, shown.input_rows(whole, table, most))
    else:
        found = shown.asked_break_evens(whole, input_, (alternative, against), (low, high))
        said = [shown.input_sentence(whole, found[0])]
        rows = _table(shown.PAIR_HEADINGS, shown.pair_rows(whole, found, currency))
    for sentence in said:
        console.print(escape(sentence))
    console.print(rows)
    console.print(escape(CAUTIONS[0]), style="dim")


def _table(headings: tuple[str, ...], rows: list[tuple[str, ...]]) -> Table:
    """Return a table whose last column is a figure."""
    table = Table(box=box.SIMPLE_HEAD, padding=(0, 1, 0, 0))
    for heading in headings[:-1]:
        table.add_column(heading)
    table.add_column(headings[-1], justify="right")
    for row in rows:
        table.add_row(*(escape(cell) for cell in row))
    return table


def _source_counts(file: StudyFile) -> dict[str, int]:
    counts: dict[str, int] = {}
    for _, quantity in file.study.quantities():
        counts[quantity.source] = counts.get(quantity.source, 0) + 1
    return dict(sorted(counts.items(), key=lambda item: -item[1]))


@app.command()
def schema() -> None:
    """Print the JSON Schema of a study file."""
    from capex.study import json_schema

    _print(json.dumps(json_schema(), indent=2))


@app.command()
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
        _write(changed, into, save, console)


@app.command()
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
        _write(changed, into, save, console)


@app.command()
def trial_sheet(
    study: StudyPath,
    machine: Annotated[list[str], typer.Option("--machine", help="Key of a machine to time.")],
    repeats: Annotated[int, typer.Option(help="Runs that count, beside the first.")] = 5,
) -> None:
    """Print the table of a time trial to fill in, as CSV; the protocol goes to the terminal."""
    from capex.shopfloor.trial.sheet import trial_sheet as sheet_of

    sheet = sheet_of(_study_file(study).study, machine, repeats=repeats)
    console = Console(stderr=True)
    for section in sheet.sections:
        console.print(escape(section.heading), style="bold")
        for line in section.lines:
            console.print(escape(f"  {line}"))
    for line in sheet.cautions:
        console.print(escape(line), style="yellow")
    sys.stdout.write(sheet.csv())


def _write(changed: StudyFile, into: Path, save: Path | None, console: Console) -> None:
    """Write a changed study; where it takes the old one's place, a copy of that is kept."""
    if save is None:
        before = into.with_name(f"{into.name}.before")
        before.write_bytes(into.read_bytes())
        console.print(escape(f"The study as it was is kept in {before}."))
    changed.write(save or into)
    console.print(escape(f"Written to {save or into}."))


@app.command()
def dashboard(
    study: Annotated[
        Path | None, typer.Argument(help="Study file; the demo study where none is given.")
    ] = None,
    port: Annotated[int | None, typer.Option(help="Port on this machine.")] = None,
    browser: Annotated[bool, typer.Option(help="Open the browser.")] = True,
) -> None:
    """Open the dashboard in the browser, for this machine only."""
    from capex.views.server import serve

    if study is not None:
        _study_file(study)
    serve(study, port, open_browser=browser)


def _print(text: str) -> None:
    sys.stdout.write(text + "\n")


def main() -> None:
    """Run the command line."""
    try:
        app(standalone_mode=False)
    except CapexError as error:
        Console(stderr=True).print(escape(str(error)), style="red", soft_wrap=True)
        sys.exit(2)
    except typer.Exit as stop:
        sys.exit(stop.exit_code)
    except typer.Abort:
        sys.exit(130)
    except Exception as error:  # click's usage errors show themselves
        if not hasattr(error, "show"):
            raise
        error.show()
        sys.exit(2)


if __name__ == "__main__":
    main()
