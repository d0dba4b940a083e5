"""The part of the bank page that hands out documents: PDF, workbook, sheets, floor plan.

May import: ipywidgets, and from capex errors, study and views; typst and matplotlib come on demand.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import date
from typing import Final

import ipywidgets as widgets

from capex.study import Study
from capex.views.documents.paper.content import Document, Letterhead, Paper
from capex.views.floor.boxes import box, words
from capex.views.floor.fields import Field, Fields, FileMade, FileOut
from capex.views.floor.state import Background, FloorState, Later

__all__ = ["DocumentsPanel"]

_PAPERS: Final = [("a4", "A4"), ("us-letter", "US letter")]
_PDF: Final = "application/pdf"
_XLSX: Final = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"
_SECTIONS: Final = {
    "request": "The request in words", "shop": "The shop and its order book",
    "choice": "The choice and its rivals", "cash": "Cash by month and year", "loan": "The loan",
    "cover": "Repayment cover", "security": "Loan to value", "stress": "If things go worse",
    "risk": "How sure is that?", "break_even": "The volume that covers", "floor": "The room",
    "service": "Downtime and service", "unknown": "What is not known",
    "assumptions": "Every figure with its source",
}  # fmt: skip


class DocumentsPanel:
    """Buttons that make a document of the choice shown.

    Parameters
    ----------
    state : FloorState
    choice : callable
        Returns the key of the choice that the page is about.
    later : callable, optional
        Takes the making of a document; by default it runs in a thread of its own.
    """

    def __init__(
        self, state: FloorState, choice: Callable[[], str], later: Later | None = None
    ) -> None:
        self._state, self._choice, self._later = state, choice, later
        self.values = {"address": "", "paper": "a4", **dict.fromkeys(_SECTIONS, "yes")}
        self._about = Fields("On the document", [
            Field("address", "Address", hint="Commas between lines; below the shop's name."),
            Field("paper", "Paper", "choice", options=_PAPERS),
        ], self.values, state.guarded(self._changed))  # fmt: skip
        self._parts = Fields(
            "What the document holds, beside summary and cautions",
            [Field(key, name, "switch") for key, name in _SECTIONS.items()],
            self.values, state.guarded(self._changed),
        )  # fmt: skip

    def view(self) -> widgets.Widget:
        """Return the panel."""
        self._about.add_class("capex-long")
        parts = widgets.Accordion([self._parts], titles=("Choose the sections",))
        buttons = [
            self._button("Document for the lender (PDF)", self._document,
                         "All that this page shows, with the order book, cash, the room and every "
                         "figure's source; 16,384 draws behind the chances. Takes some seconds."),
            self._button("Workbook with live formulas (XLSX)", self._workbook,
                         "For the accountant: change an input and the cells follow."),
            self._button("Trial sheet (PDF)", self._trial, "To time the machines before signing."),
            self._button("Acceptance sheets (PDF)", self._acceptance,
                         "What each machine must show on delivery."),
        ]  # fmt: skip
        if self._state.study.room is not None:
            hint = "To scale, with what was checked and who decides."
            buttons.append(self._button("Floor plan (PDF)", self._plan, hint))
        note = words(
            "<p class='capex-note'>Made on this computer from the study as it is shown here; "
            "nothing is sent anywhere.</p>"
        )
        return box("capex-card capex-unprinted", self._about, parts,
                   box("capex-actions", *buttons), note)  # fmt: skip

    def _button(self, label: str, made: Callable[[], FileMade], hint: str) -> FileOut:
        return FileOut(label, made, hint, self._later or Background(0.0))

    def _changed(self, key: str, text: str) -> None:
        self.values[key] = text
        for group in (self._about, self._parts):
            group.show(self.values)

    @property
    def _paper(self) -> Paper:
        return "us-letter" if self.values["paper"] == "us-letter" else "a4"

    def _name(self, what: str, ending: str = "pdf") -> str:
        shop = re.sub(r"[^\w]+", "_", self._state.study.shop_name).strip("_").lower()
        return f"{shop or 'shop'}_{what}.{ending}"

    def _document(self) -> FileMade:
        from capex.views.documents.paper.bank_document import bank_document
        from capex.views.documents.paper.findings import lender_findings
        from capex.views.documents.paper.typesetting import pdf

        look, study = self._state.look, self._state.study
        lines = tuple(line.strip() for line in self.values["address"].split(",") if line.strip())
        document = bank_document(
            lender_findings(study, self._choice()), look, made_on=date.today(),
            letterhead=Letterhead(study.shop_name, lines), paper=self._paper,
            sections=[key for key in _SECTIONS if self.values[key] == "yes"],
        )  # fmt: skip
        return self._name("request"), _PDF, pdf(document)

    def _workbook(self) -> FileMade:
        from capex.views.documents.workbook.document import workbook

        made = workbook(self._state.study, self._choice(), date.today())
        return self._name("workbook", "xlsx"), _XLSX, made

    def _machines(self, study: Study) -> tuple[str, ...]:
        """Return the machines that the choice buys; all where it buys none."""
        return study.alternatives[self._choice()].bought or tuple(study.machines)

    def _trial(self) -> FileMade:
        from capex.shopfloor.trial.sheet import trial_sheet
        from capex.views.documents.paper.sheets import trial_paper
        from capex.views.documents.paper.typesetting import pdf

        study = self._state.study
        sheet = trial_paper(trial_sheet(study, self._machines(study)), study, made_on=date.today(),
                            paper=self._paper)  # fmt: skip
        return self._name("trial_sheet"), _PDF, pdf(sheet)

    def _acceptance(self) -> FileMade:
        from capex.views.documents.paper.sheets import acceptance_sheet, bound
        from capex.views.documents.paper.typesetting import pdf

        study = self._state.study
        sheets: list[Document] = [
            acceptance_sheet(study, key, made_on=date.today(), system=self._state.units,
                             paper=self._paper)
            for key in self._machines(study)
        ]  # fmt: skip
        return self._name("acceptance"), _PDF, pdf(bound(sheets))

    def _plan(self) -> FileMade:
        from capex.views.documents.paper.sheets import plan_sheet
        from capex.views.documents.paper.typesetting import pdf

        plan = plan_sheet(self._state.study, self._choice(), made_on=date.today(),
                          system=self._state.units, paper=self._paper)  # fmt: skip
        return self._name("floor_plan"), _PDF, pdf(plan)
