"""The command that sets the months since the purchase beside the plan: year-on.

Imports typer and rich; the package late.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer
from rich import box
from rich.console import Console
from rich.markup import escape
from rich.table import Table

from capex.views.commands.console import AsJson, Changes, StudyPath, print_text, study_file

if TYPE_CHECKING:
    from capex.decision.year_on import YearOn
    from capex.study import Study
    from capex.views.charts.picture import Look

__all__ = ["year_on"]


def year_on(
    study: StudyPath,
    set_: Changes = None,
    as_json: AsJson = False,
    save: Annotated[
        Path | None,
        typer.Option(help="Write the study with what was re-estimated, tagged measured, here."),
    ] = None,
) -> None:
    """Set the months under actuals beside the plan, and ask whether the choice still holds."""
    from capex.decision.year_on import year_on as looked_back
    from capex.decision.year_on.into_study import re_estimated
    from capex.views.charts.picture import Look
    from capex.views.wording import CAUTIONS, Currency
    from capex.views.year_on import words

    file = study_file(study, set_)
    found = looked_back(file.study)
    if save is not None:
        re_estimated(file, found).write(save)
    if as_json:
        data = {"shop": file.study.shop_name, "currency": file.study.currency,
                **words.year_on_data(found), "caution": CAUTIONS[0]}  # fmt: skip
        print_text(json.dumps(data, indent=2, allow_nan=False))
        return
    console = Console()
    look = Look(file.study, "metric", Currency(file.study.currency))
    for sentence in _sentences(file.study, found, look):
        console.print(escape(sentence))
    for title, (heads, rows) in (
        ("Plan against actual", words.compared_table(found, look)),
        ("What was re-estimated", words.ratios_table(found)),
        ("Going over from today", words.onward_table(found, look)),
    ):
        if rows:
            console.print(_table(title, heads, rows))
    for sentence in (*words.LIMITS, CAUTIONS[0]):
        console.print(escape(sentence), style="dim")
    if save is not None:
        console.print(escape(f"Written to {save}."))


def _sentences(study: Study, found: YearOn, look: Look) -> list[str]:
    from capex.views.today import today
    from capex.views.year_on import words

    said = [*words.again_sentences(found, look), *words.onward_sentences(found, look)]
    months = study.actuals.months if study.actuals is not None else ()
    return [*said, ahead] if (ahead := words.unfinished_sentence(months, today())) else said


def _table(title: str, heads: Sequence[str], rows: Sequence[Sequence[str]]) -> Table:
    table = Table(title=escape(title), box=box.SIMPLE_HEAD, title_justify="left")
    for heading in heads:
        table.add_column(escape(heading), overflow="fold")
    for row in rows:
        table.add_row(*(escape(cell) for cell in row))
    return table
