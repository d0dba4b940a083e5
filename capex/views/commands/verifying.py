"""The command with which a user audits a study: verify.

Imports typer and rich; the package late.
"""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

import typer
from rich import box
from rich.console import Console
from rich.markup import escape
from rich.table import Table

from capex.views.commands.console import AsJson, Changes, StudyPath, print_text, study_file

if TYPE_CHECKING:
    from collections.abc import Iterator

    from capex.decision.audit.check import Check
    from capex.study import Study

__all__ = ["verify"]


def verify(study: StudyPath, set_: Changes = None, as_json: AsJson = False) -> None:
    """Work out the headline figures a second time by other paths, and say where they differ.

    Exit 0 where all agree, 1 where one differs or none could be compared, 2 on bad input.
    """
    from capex.views import audit as shown
    from capex.views.wording import CAUTIONS

    whole = study_file(study, set_).study
    checks = list(_checks(whole))
    if as_json:
        print_text(json.dumps(shown.audit_data(checks), indent=2, allow_nan=False))
    else:
        console = Console()
        for key, choice in whole.alternatives.items():
            rows = shown.audit_rows([each for each in checks if each.choice == key])
            console.print(escape(choice.name), style="bold")
            console.print(_table(shown.AUDIT_HEADINGS, rows))
        console.print(escape(shown.audit_sentence(checks)), style="bold")
        console.print(escape(CAUTIONS[0]), style="dim")
    if not shown.all_agree(checks):
        raise typer.Exit(1)


def _checks(study: Study) -> Iterator[Check]:
    """Yield the checks of the model, then those of the workbook's formulas."""
    from capex.decision.appraise import appraise
    from capex.decision.audit.audit import audit
    from capex.views.documents.workbook.workbook_checks import workbook_checks

    found = appraise(study)
    yield from audit(study, found)
    yield from workbook_checks(found)


def _table(headings: tuple[str, ...], rows: list[tuple[str, ...]]) -> Table:
    table = Table(box=box.SIMPLE_HEAD, padding=(0, 1, 0, 0))
    for number, heading in enumerate(headings):
        figure = number in (2, 3, 4)
        table.add_column(heading, justify="right" if figure else "left", overflow="fold")
    for row in rows:
        table.add_row(*(escape(cell) for cell in row))
    return table
