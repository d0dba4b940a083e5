"""Commands that say how sure the decision is: explore for one study, batch for a folder of them.

Imports typer and rich; the package late.
"""

from __future__ import annotations

import json
from collections import Counter
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer
from rich.console import Console
from rich.markup import escape
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeElapsedColumn

from capex.errors import InputError
from capex.views.commands.console import (
    AsJson,
    Changes,
    StudyPath,
    figures_table,
    print_side_by_side,
    print_text,
    study_file,
)

if TYPE_CHECKING:
    from capex.decision.risk.many_studies import ManyStudies
    from capex.decision.risk.simulation import Simulation
    from capex.decision.risk.study_rows import Row
    from capex.study import Study

__all__ = ["batch", "explore"]

#: Columns that the names of the figures, and one alternative, need.
_WIDTHS = (21, 19)
#: Reasons shown on the terminal; the table has all of them.
_SHOWN = 10

Draws = Annotated[int, typer.Option(help="A power of two, 32 to 1,048,576.")]
Seed = Annotated[int | None, typer.Option(help="Of the draws; by default the study's own.")]


def explore(
    study: StudyPath,
    draws: Draws = 4096,
    seed: Seed = None,
    set_: Changes = None,
    as_json: AsJson = False,
    most: Annotated[int, typer.Option(min=1, help="Inputs shown, largest effect first.")] = 5,
) -> None:
    """Say how sure the decision is: chances, percentiles, regret, what matters most."""
    from capex.decision.risk.spider import spider
    from capex.decision.risk.summary import risk_summary
    from capex.views import risk
    from capex.views.late_orders import lateness_note
    from capex.views.wording import CAUTIONS, Currency

    shown = study_file(study, set_).study
    said = risk_summary(_simulated(shown, draws, seed))
    pair, swings = None, []
    if len(said.choices) > 1:
        pair = (said.ranking[0].key, said.ranking[1].key)
        places = [list(shown.alternatives).index(key) for key in pair]
        web = spider(shown, (0.1, 0.9))
        swings = [
            (line, change, web.one_sided(line, *places)) for line, change in web.swings(*places)
        ]
    if as_json:
        data = risk.risk_data(said, swings, pair)
        print_text(json.dumps(data, indent=2, allow_nan=False))
        return
    currency, console = Currency(shown.currency), Console()
    for sentence in (*risk.risk_sentences(said, currency), lateness_note(shown).strip()):
        if sentence:
            console.print(escape(sentence))
    print_side_by_side(*risk.choice_table(said, currency), console, _WIDTHS)
    known = risk.knowing_rows(said, currency, most)
    if known:
        console.print("What finding out one input alone would be worth, at most:")
        console.print(figures_table(risk.KNOWING_HEADINGS, known))
    if pair is not None and swings:
        one, other = (shown.alternatives[key].name for key in pair)
        console.print(escape(f"What the lead of {one} over {other} changes by, input by input:"))
        rows = risk.swing_rows(shown, swings[:most], currency)
        console.print(figures_table(risk.SWING_HEADINGS, rows))
    console.print(escape(CAUTIONS[0]), style="dim")


def _simulated(study: Study, count: int, seed: int | None) -> Simulation:
    """Return the simulation, with a bar on a terminal while it goes on."""
    from capex.decision.risk.draws import draw
    from capex.decision.risk.simulation import Simulation, run

    error = Console(stderr=True)
    drawn = draw(study, count, seed=seed)
    with Progress(console=error, transient=True, disable=not error.is_terminal) as bar:
        task = bar.add_task(f"{count:,} draws", total=1.0)
        for step in run(study, drawn):
            if isinstance(step, Simulation):
                found = step
            else:
                bar.update(task, completed=step)
    return found


def batch(
    folder: Annotated[Path, typer.Argument(help="Folder of study files (*.toml).")],
    out: Annotated[Path, typer.Option(help="Table to write (CSV).")],
    draws: Draws = 4096,
    seed: Seed = None,
    jobs: Annotated[
        int | None, typer.Option(min=1, help="Processes on this machine; by default one a core.")
    ] = None,
    dask: Annotated[
        str | None,
        typer.Option(metavar="ADDRESS", help="Scheduler of a Dask cluster that does the work."),
    ] = None,
) -> None:
    """Appraise all studies of a folder with draws into one table; an interrupted run goes on.

    Ends with 2 where a study has no figures; the table has the others' and says why.
    """
    from capex.decision.risk.many_studies import ManyStudies, write_table

    if not out.absolute().parent.is_dir():
        raise InputError("--out", str(out), "must be in a folder that exists")
    if out.is_dir():
        raise InputError("--out", str(out), "must be a file, not a folder")
    console, kept = Console(), out.with_name(f"{out.name}.finished")
    studies = ManyStudies(folder, draws, kept, seed)
    asked = "each study's own seed" if seed is None else f"seed {seed}"
    console.print(escape(f"{draws:,} draws a study, {asked}."))
    try:
        _run(studies, jobs, dask)
    except KeyboardInterrupt:
        console.print(escape(f"Stopped. What is finished is kept in {kept}; the same command goes "
                             "on from there."))  # fmt: skip
        raise typer.Abort from None
    rows = studies.table()
    write_table(rows, out)
    _tell(rows, console)
    console.print(escape(f"{len(rows)} rows written to {out}. Finished studies are kept in {kept}; "
                         "delete it once nothing is to be added."))  # fmt: skip
    if any(row["state"] != "appraised" for row in rows):
        raise typer.Exit(2)


def _run(studies: ManyStudies, jobs: int | None, dask: str | None) -> None:
    error = Console(stderr=True)
    columns = (TextColumn("Studies"), BarColumn(), MofNCompleteColumn(), TimeElapsedColumn(),
               TextColumn("{task.description}"))  # fmt: skip
    with Progress(*columns, console=error, disable=not error.is_terminal) as bar:
        task = bar.add_task("")
        for step in studies.run(jobs=jobs, dask=dask):
            said = escape(step.name)
            bar.update(task, completed=step.done, total=step.total, description=said)


def _tell(rows: list[Row], console: Console) -> None:
    """Say how many studies have figures, and why the others have none."""
    states = {str(row["file"]): str(row["state"]) for row in rows}
    counts = Counter(states.values())
    console.print(
        f"{len(states)} studies: " + ", ".join(f"{n} {name}" for name, n in counts.items())
    )
    missing = [row for row in rows if row["state"] != "appraised"]
    for row in missing[:_SHOWN]:
        console.print(escape(f"  {row['file']}: {row['reason']}"), style="yellow")
    if len(missing) > _SHOWN:
        console.print(f"  and {len(missing) - _SHOWN} more; the table has all of them")
