"""Commands that say what is decided, and why: appraise, explain, break-even.

Imports typer and rich; the package late.
"""

from __future__ import annotations

import json
from typing import Annotated

import typer
from rich.console import Console
from rich.markup import escape

from capex.views.commands.console import (
    AsJson,
    Changes,
    StudyPath,
    figures_table,
    print_side_by_side,
    print_text,
    study_file,
)

__all__ = ["appraise", "break_even", "explain"]


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

    file = study_file(study, set_)
    found = appraised(file.study)
    if as_json:
        print_text(json.dumps(tables.headline_data(found), indent=2, allow_nan=False))
        return
    console = Console()
    console.print(escape(tables.verdict_text(found)), style="bold")
    console.print(escape(wording.sureness_sentence(file.study, swings(file.study))))
    headings, rows = (tables.measures_table if measures else tables.headline_table)(found)
    print_side_by_side(headings, rows, console)
    said = [*(tables.measures_notes(found) if measures else ()), *tables.notices(found)]
    for line in (*said, tables.convention_text(found), wording.CAUTIONS[0]):
        console.print(escape(line), style="dim")


def explain(
    study: StudyPath,
    figure: Annotated[str, typer.Argument(help="Headline figure, e.g. gain or walk_away_price.")],
    alternative: Annotated[
        str | None, typer.Option(help="Key of the choice; the best where none is given.")
    ] = None,
    machine: Annotated[
        str | None, typer.Option(help="Key of the machine whose walk-away price is asked for.")
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

    shown = study_file(study, set_).study
    key = alternative or verdict(appraised(shown)).best
    found, currency = explanation(shown, figure, key, machine=machine), Currency(shown.currency)
    console = Console()
    for sentence in why.why_sentences(shown, found, currency, "metric"):
        console.print(escape(sentence))
    rows = why.line_rows(found, currency)
    if rows:
        console.print(figures_table(why.LINE_HEADINGS, rows))
    console.print(
        figures_table(why.INPUT_HEADINGS, why.input_rows(shown, found, currency, "metric", most))
    )
    console.print(escape(CAUTIONS[0]), style="dim")


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

    whole = study_file(study, set_).study
    currency, console = Currency(whole.currency), Console()
    if input_ is None:
        table = break_even_table(whole, alternative, against)
        said = shown.table_sentences(whole, table, currency)
        headings, rows = shown.INPUT_HEADINGS, shown.input_rows(whole, table, most)
    else:
        found = shown.asked_break_evens(whole, input_, (alternative, against), (low, high))
        said = [shown.input_sentence(whole, found[0])]
        headings, rows = shown.PAIR_HEADINGS, shown.pair_rows(whole, found, currency)
    for sentence in said:
        console.print(escape(sentence))
    console.print(figures_table(headings, rows))
    if shown.has_jump(rows):
        console.print(escape(shown.JUMP_NOTE))
    console.print(escape(CAUTIONS[0]), style="dim")
