"""The page for the table in a bank: what a lender sees of a choice, as entered and stressed.

May import: ipywidgets, and from capex errors, study, decision, finance and views.
"""

from __future__ import annotations

from collections.abc import Callable
from html import escape
from pathlib import Path
from typing import Final

import ipywidgets as widgets

from capex.decision.cover import CoverVolume, cover_volumes
from capex.decision.stress import StressTest, stress_test
from capex.decision.swings import Swings, swings
from capex.decision.verdict import Verdict, verdict
from capex.finance.coverage import CoverDefinition
from capex.study import StudyFile
from capex.views.bank import evidence, lender_words, pictures
from capex.views.bank import words as said
from capex.views.bank.documents_panel import DocumentsPanel
from capex.views.bank.offers_panel import AmortizationPanel, OffersPanel
from capex.views.bank.request_panel import RequestPanel, kept_together, paragraphs
from capex.views.cards import cautions_html
from capex.views.chart import Chart
from capex.views.cover_tax import cover_tax_sentence
from capex.views.expired_offers import expired_offer_sentences
from capex.views.floor.boxes import box, section, table_html, words
from capex.views.floor.fields import Field, Fields
from capex.views.floor.state import Background, FloorState, Later
from capex.views.nominal_purchases import nominal_purchase_sentences
from capex.views.opening import opened, study_asked_for
from capex.views.tax import tax_sentence
from capex.views.why_panel import WhyPanel

__all__ = ["BankPage", "bank_page"]

_FEES: Final = (
    "Fees of loans and leases are deducted in the year they are paid; the law may spread them over "
    "the term: ask your accountant."
)
_UNITS: Final = [("metric", "Metric"), ("us_customary", "US customary")]


def bank_page() -> widgets.Widget:
    """Return the page for the study that was asked for, the demo where none was.

    Returns
    -------
    Widget
        The page; where the study cannot be used, all its problems.
    """
    return opened(lambda: BankPage(study_asked_for()).view())


class BankPage:
    """What a lender sees of one choice of a study.

    Parameters
    ----------
    path : Path
        Study file.
    later : callable, optional
        Takes the longer work; by default it runs in a thread of its own.

    Raises
    ------
    StudyError
        The study has problems.
    """

    def __init__(self, path: Path, later: Later | None = None) -> None:
        self.state = FloorState(StudyFile.read(path), path)
        self.values = {
            "choice": self.state.study.baseline, "tax": "yes", "draws": "yes",
            "units": self.state.units, "currency": self.state.currency.code,
        }  # fmt: skip
        self._later, self._of_swings = later or Background(), later or Background()
        self._of_why = later
        self._volumes: tuple[CoverVolume, ...] | None = None
        self._swings: Swings | None = None
        self._test()
        self.values["choice"] = said.opening_choice(self.verdict, self.state.study)
        self._fields = Fields("The choice and how cover is counted", self._listed(), self.values,
                              self.state.guarded(self._changed))  # fmt: skip
        self.about, self._cards = words(), words(name="capex-cards")
        self._limits, self._defined, self._volume = words(), words(), words()
        self._evidence = words(name="capex-whole")
        self._stress, self._repaid, self._tests = (words(name="capex-whole") for _ in range(3))
        for table in (self._stress, self._repaid, self._tests, self._evidence):
            table.add_class("capex-wrapped")
        self._cover = Chart("Does the cash cover the repayments?", 320)
        self._owed = Chart("What is owed, and what would the machines fetch?", 320)
        self._nothing_owed, self._owed_drawn = words(), box("capex-drawn", self._owed)
        self._cash = Chart("How low does the bank account get?", 320)
        self.request = RequestPanel(self.state, self._work_out)
        self.offers, self.amortized = OffersPanel(self.state), AmortizationPanel(self.state)

    def view(self) -> widgets.Widget:
        """Return the page."""
        study = self.state.study
        shop = escape(study.shop_name, quote=True)
        head = words(
            f'<h1 class="capex-sentence" data-shop="{shop}">What a lender sees</h1>'
            '<p class="capex-note">All of it rests on the study as it stands. Interest and '
            "repayment are financing: they are not part of any net present value here.</p>"
        )
        trouble = words(name="capex-trouble")
        self.state.follow(lambda: setattr(trouble, "value", self._trouble()), "trouble")
        self._work_out(anew=False)
        why = WhyPanel(self.state, dict, self._of_why, self.values["choice"]).view()
        return box(
            "capex-page capex-floor",
            box("capex-card capex-verdict", head, self._fields, self.about, trouble),
            section("request", "The request", "What the money is for, who pays it, and on what "
                    "terms. Another offer can be chosen here, for this page only.",
                    self.request.view()),
            section("cover", "Repayment", "Cover, security and cash, as the study stands.",
                    self._cards, box("capex-columns", box("capex-card", self._tests),
                                     box("capex-card", self._limits)),
                    box("capex-card", self._defined, self._cover),
                    box("capex-columns", box("capex-card", self._nothing_owed, self._owed_drawn),
                        box("capex-card", self._cash))),
            section("stress", "If things go worse", "Each case alone, then all together. ✓ meets "
                    "what the lender asks for, ✗ does not.",
                    box("capex-card", self._stress, self._volume)),
            section("evidence", "What this rests on", "Figures that nobody has measured, quoted or "
                    "entered yet, the most influential first.", box("capex-card", self._evidence)),
            section("offers", "Lease, loan or cash", "Offers for one machine side by side, over "
                    "the same months.", self.offers.view()),
            section("loan", "The loan by year and by month", "Interest, repayment and what is "
                    "still owed.", box("capex-card", self._repaid), self.amortized.view()),
            why,
            section("documents", "To take away", "What stays on the lender's desk.",
                    DocumentsPanel(self.state, lambda: self.values["choice"],
                                   self._of_why).view()),
            box("capex-card", words(cautions_html())),
        )  # fmt: skip

    def _trouble(self) -> str:
        return escape(self.state.trouble.message) if self.state.trouble is not None else ""

    def _listed(self) -> list[Field]:
        study = self.state.study
        names = [(key, choice.name) for key, choice in study.alternatives.items()]
        draws = lender_words.draws_words(self.state.look).capitalize()
        return [
            Field("choice", "Choice", "choice", options=names),
            Field("tax", "Cash after tax", "switch"),
            Field("draws", "After owner's draws", "switch", hint=draws),
            Field("units", "Units", "choice", options=_UNITS),
            Field("currency", "Money in", "choice",
                  options=[(code, code) for code in self.state.currencies]),
        ]  # fmt: skip

    def _changed(self, key: str, text: str) -> None:
        self.values[key] = text
        if key == "currency" and text in self.state.currencies:
            self.state.currency = self.state.currencies[text]
        if key == "units":
            self.state.units = "us_customary" if text == "us_customary" else "metric"
        self._fields.show(self.values)
        if key in ("tax", "draws"):
            self._work_out()
        else:
            self._draw()

    def _test(self) -> None:
        counted = CoverDefinition(self.values["tax"] == "yes", self.values["draws"] == "yes")
        self.found: StressTest = stress_test(self.state.study, definition=counted)
        self.verdict: Verdict = verdict(self.found.appraisal)

    def _work_out(self, anew: bool = True) -> None:
        if anew:
            self._test()
        study, counted = self.state.study, self.found.each[self.values["choice"]].view.definition
        self._volumes = None
        least = float(study.money.lender.minimum_cover.likely)
        self._draw()

        def volumes() -> tuple[CoverVolume, ...]:
            levels = dict.fromkeys((1.0, least))
            return tuple(
                each
                for level in levels
                for each in cover_volumes(study, level, definition=counted, within=1e-3)
            )

        self._later(volumes, self._take_volumes)
        self._of_swings(lambda: swings(study), self._take_swings)

    def _take_volumes(self, result: Callable[[], tuple[CoverVolume, ...]]) -> None:
        @self.state.watched
        def take() -> None:
            self._volumes = result()
            self._draw_volumes()

        take()

    def _take_swings(self, result: Callable[[], Swings]) -> None:
        @self.state.watched
        def take() -> None:
            self._swings = result()
            self._draw_evidence()

        take()

    def _draw_volumes(self) -> None:
        if self._volumes is None:
            note = "<p class='capex-note' role='status'>Looking for the volume that covers…</p>"
            self._volume.value = note
            return
        study = self.state.study
        found = said.volume_sentences(self._volumes, self.values["choice"], study)
        self._volume.value = paragraphs(found)

    def _draw_evidence(self) -> None:
        look, found = self.state.look, self._swings
        html = paragraphs(evidence.evidence_sentences(look, found))
        table = None if found is None else evidence.evidence_table(found, look)
        if table is not None:
            html += kept_together(table_html(table, "The most influential inputs"))
        self._evidence.value = html

    def _draw(self) -> None:
        look, key, found = self.state.look, self.values["choice"], self.found
        outcome, baseline = found.appraisal.outcomes[key], found.appraisal.baseline
        self.about.value = paragraphs([said.choice_sentence(found, self.verdict, key, look)])
        self.request.show(outcome, baseline)
        self._cards.value = lender_words.cards_html(found, key, look)
        tests = lender_words.tests_table(found, key, look)
        self._tests.value = kept_together(table_html(tests, f"What is asked for: {outcome.name}"))
        self._draw_words()
        self._cover.show(*pictures.cover_picture(found, look))
        self._draw_owed()
        self._cash.show(*pictures.cash_picture(found, key, look))
        stressed = said.stress_table(found, key, look)
        self._stress.value = kept_together(table_html(stressed, f"Stress cases: {outcome.name}"))
        repaid = said.repayment_table(outcome, look)
        self._repaid.value = (
            paragraphs([said.nothing_borrowed(outcome)])
            if repaid is None
            else kept_together(table_html(repaid, f"Repayment by year: {outcome.name}"))
        )
        self.amortized.show(outcome)
        self._draw_volumes()
        self._draw_evidence()

    def _draw_words(self) -> None:
        look, key, found = self.state.look, self.values["choice"], self.found
        definition = found.each[key].view.definition.words
        said_first = lender_words.limit_sentences(found, key, look)
        outcome = found.appraisal.outcomes[key]
        expired = [f"{each}." for each in expired_offer_sentences(outcome)]
        nominal = nominal_purchase_sentences(outcome, look.currency)
        self._limits.value = paragraphs([*said_first, *expired, *nominal])
        moved = cover_tax_sentence(found.each[key].view, look.currency)
        rest = [moved, *lender_words.origin_sentences(look.study), definition,
                tax_sentence(look.study), _FEES]  # fmt: skip
        self._defined.value = paragraphs([each for each in rest if each], "capex-note")

    def _draw_owed(self) -> None:
        picture = pictures.owed_picture(self.found, self.values["choice"], self.state.look)
        self._owed_drawn.layout.display = "none" if picture is None else None
        self._nothing_owed.value = (
            paragraphs(["Nothing is owed for this choice, so there is no loan to value."])
            if picture is None
            else ""
        )
        if picture is not None:
            self._owed.show(*picture)
