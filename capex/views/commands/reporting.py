"""The command that writes what a lender and an accountant keep: report.

Imports typer and rich; the package late.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer
from rich.console import Console
from rich.markup import escape

from capex.errors import InputError
from capex.views.commands.console import Changes, StudyPath, study_file

if TYPE_CHECKING:
    from capex.study import Study
    from capex.views.charts.picture import Look
    from capex.views.documents.paper.content import Document
    from capex.views.documents.paper.findings import LenderFindings

__all__ = ["report"]


_Pdf = Annotated[Path | None, typer.Option(help="Lender's document to write (PDF).")]
_Xlsx = Annotated[Path | None, typer.Option(help="Workbook of live formulas to write (XLSX).")]
_Folder = Annotated[
    Path | None,
    typer.Option(help="Folder for everything: document, sheets, floor plan, tables, charts."),
]
_Alternative = Annotated[
    str | None,
    typer.Option(help="Key of the choice; the best beside the baseline where none is given."),
]
_Address = Annotated[
    list[str] | None, typer.Option(help="A line below the shop's name; may be repeated.")
]
_Section = Annotated[
    list[str] | None,
    typer.Option(help="Only this section beside summary and cautions; may be repeated."),
]
_Draws = Annotated[int, typer.Option(help="Draws behind the chances; a power of two.")]
_Date = Annotated[
    str | None, typer.Option("--date", help="Day printed on it, such as 2027-01-04; today.")
]


def report(
    study: StudyPath,
    pdf: _Pdf = None,
    xlsx: _Xlsx = None,
    folder: _Folder = None,
    alternative: _Alternative = None,
    address: _Address = None,
    section: _Section = None,
    paper: Annotated[str, typer.Option(help="a4 or us-letter.")] = "a4",
    units: Annotated[str, typer.Option(help="metric or us_customary.")] = "metric",
    draws: _Draws = 16_384,
    dated: _Date = None,
    set_: Changes = None,
) -> None:
    """Write what stays on the lender's desk: a document, a workbook, sheets, tables and charts."""
    _check_targets(pdf, xlsx, folder)
    for option, text, known in (("--paper", paper, ("a4", "us-letter")),
                                ("--units", units, ("metric", "us_customary"))):  # fmt: skip
        if text not in known:
            raise InputError(option, text, f"must be {known[0]!r} or {known[1]!r}")
    from capex.views.charts.picture import Look
    from capex.views.wording import CAUTIONS, Currency

    on, shown = _day(dated), study_file(study, set_).study
    look = Look(shown, "us_customary" if units == "us_customary" else "metric",
                Currency(shown.currency))  # fmt: skip
    if xlsx is not None:
        from capex.views.documents.workbook.document import workbook

        _write("--xlsx", xlsx, workbook(shown, alternative, on))
    if pdf is not None or folder is not None:
        from capex.views.documents.paper.findings import lender_findings

        found = lender_findings(shown, alternative, draws=draws)
        document = _document(found, look, on, address, section, paper)
        if pdf is not None:
            from capex.views.documents.paper.typesetting import pdf as typeset

            _write("--pdf", pdf, typeset(document))
        if folder is not None:
            for name, content in _everything(shown, document, look, found.choice):
                _write("--folder", folder / name, content)
    Console().print(escape(CAUTIONS[0]), style="dim")


def _document(
    found: LenderFindings,
    look: Look,
    on: date,
    address: list[str] | None,
    section: list[str] | None,
    paper: str,
) -> Document:
    """Return the lender's document as the options say."""
    from capex.views.documents.paper.bank_document import SECTIONS, bank_document
    from capex.views.documents.paper.content import Letterhead

    return bank_document(
        found, look, made_on=on,
        letterhead=Letterhead(found.study.shop_name, tuple(address or ())),
        sections=SECTIONS if section is None else section,
        paper="us-letter" if paper == "us-letter" else "a4",
    )  # fmt: skip


def _everything(
    study: Study, document: Document, look: Look, choice: str
) -> Iterator[tuple[str, bytes]]:
    """Yield every file of a folder with its name."""
    from capex.shopfloor.plan import floor_plan
    from capex.shopfloor.trial.sheet import trial_sheet
    from capex.views.documents.paper.drawing import for_paper
    from capex.views.documents.paper.loose_leaves import loose_leaves
    from capex.views.documents.paper.sheets import acceptance_sheet, plan_sheet, trial_paper
    from capex.views.documents.paper.typesetting import pdf
    from capex.views.plan_svg import plan_svg

    made_on, paper = document.made_on, document.paper
    yield "document.pdf", pdf(document)
    bought = study.alternatives[choice].bought
    if bought:
        sheet = trial_paper(trial_sheet(study, bought), study, made_on=made_on, paper=paper)
        yield "trial_sheet.pdf", pdf(sheet)
    for key in bought:
        accepted = acceptance_sheet(study, key, made_on=made_on, system=look.units, paper=paper)
        yield f"acceptance_{key}.pdf", pdf(accepted)
    if study.room is not None:
        plan = plan_sheet(study, choice, made_on=made_on, system=look.units, paper=paper)
        yield "floor_plan.pdf", pdf(plan)
        yield "floor_plan.svg", for_paper(plan_svg(floor_plan(study, choice), look.units)).encode()
    for name, content in loose_leaves(document):
        yield f"{'tables' if name.endswith('csv') else 'charts'}/{name}", content


def _check_targets(pdf: Path | None, xlsx: Path | None, folder: Path | None) -> None:
    """Refuse files that cannot be written where they should go, before any work."""
    if pdf is None and xlsx is None and folder is None:
        raise InputError("--pdf", "nothing", "or --xlsx or --folder must name where to write")
    for option, target in (("--pdf", pdf), ("--xlsx", xlsx)):
        if target is not None and target.is_dir():
            raise InputError(option, str(target), "must be a file, not a folder")
        if target is not None and not target.absolute().parent.is_dir():
            raise InputError(option, str(target), "must be in a folder that exists")


def _write(option: str, target: Path, content: bytes) -> None:
    from capex.study.whole_file import write_whole

    try:
        target.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
        write_whole(target, content)
    except OSError as error:
        reason = f"cannot be written: {error.strerror}"
        raise InputError(option, str(target), reason) from None
    Console(soft_wrap=True).print(escape(f"Written: {target}"))


def _day(text: str | None) -> date:
    if text is None:
        return date.today()
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise InputError("--date", text, "is not a date such as 2027-01-04") from None
