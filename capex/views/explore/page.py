"""The page for a trade show: on a phone, in a few minutes, with the seller waiting.

May import: ipywidgets, and from capex errors, study and views.
"""

from __future__ import annotations

from collections.abc import Sequence
from html import escape
from pathlib import Path

import ipywidgets as widgets

from capex.decision.risk.simulation import Simulation
from capex.decision.risk.summary import risk_summary
from capex.study import read_study
from capex.views.cards import cautions_html, changes_sentence, late_orders_html
from capex.views.chart import Chart
from capex.views.controls import Controls
from capex.views.explore import drawn_tables, pictures
from capex.views.explore import words as said
from capex.views.explore.deeper import Deeper
from capex.views.explore.refining import Refine
from capex.views.explore.state import DRAWS, ExploreState
from capex.views.floor.boxes import box, section, table_html, words
from capex.views.floor.fields import Field, Fields
from capex.views.opening import opened, study_asked_for
from capex.views.tables import convention_text
from capex.views.wording import verdict_words

__all__ = ["ExplorePage", "explore_page"]


def explore_page() -> widgets.Widget:
    """Return the page for the study that was asked for, the demo where none was.

    Returns
    -------
    Widget
        The page; where the study cannot be used, all its problems.
    """
    return opened(lambda: ExplorePage(study_asked_for()).view())


class ExplorePage:
    """The page over one study.

    Parameters
    ----------
    path : Path
        Study file.
    refine : callable, optional
        Takes the draws; by default they run in a thread of their own.
    draws : sequence of int
        How many, each answer taking the place of the one before.

    Raises
    ------
    StudyError
        The study has problems.
    """

    def __init__(
        self,
        path: Path,
        refine: Refine | None = None,
        draws: Sequence[int] = DRAWS,
    ) -> None:
        self.state = ExploreState(read_study(path), refine, draws)
        self.deeper = Deeper(self.state)
        self._facts, self._drivers, self._progress = words(), words(), words()
        self._sure, self._regret, self._cover = (words(name="capex-whole") for _ in range(3))
        self._gains = Chart("How much could each choice leave?", 320)
        self._knowing = Chart("What is worth finding out before signing?", 380)
        self._payback = Chart("When is the money back?", 300)
        self._drawn = box("capex-page")

    def view(self) -> widgets.Widget:
        """Return the page."""
        state = self.state
        more = words("<details><summary>More on these figures</summary></details>",
                     "capex-rest-more")  # fmt: skip
        figures = box("capex-card capex-headline-card", self._facts, more)
        drivers = box("capex-card capex-drivers-card", self._drivers)
        first = box("capex-first", self._verdict(), figures, self._controls(), drivers)
        self._drawn.children = self._of_the_draws()
        shown = ("nearby", "drawn", "result", "late_orders", "units", "currency")
        state.follow(self._say_facts, *shown)
        state.follow(self._say_drivers, "nearby", "result", "units", "currency")
        state.follow(self._say_progress, "drawn", "drawing", "result")
        state.follow(self._draw, "drawn", "units", "currency")
        return box(
            "capex-page capex-floor capex-explore",
            first,
            self._drawn,
            section("further", "Look further", "Each is worked out only when you ask for it, for "
                    "the inputs as they are set then.",
                    box("capex-columns", *self.deeper.views())),
            box("capex-card", words(cautions_html())),
        )  # fmt: skip

    def _verdict(self) -> widgets.Widget:
        state = self.state
        sentence, late, trouble = words(), words(), words(name="capex-trouble")

        def say() -> None:
            result, look = state.result, state.look
            shop = escape(look.study.shop_name, quote=True)
            headline, _ = verdict_words(result.appraisal, result.verdict, look.currency)
            known = {path: v for path, v in state.changes.items() if path in state.dials}
            changed = changes_sentence(state.dials.values(), known, look)
            note = f"<p class='capex-changed'>{escape(changed)}</p>" if changed else ""
            how = escape(convention_text(result.appraisal))
            sentence.value = (
                f"<h1 class='capex-sentence' data-shop='{shop}'>"
                f"{escape(headline).replace('−', '−&#8288;')}</h1>{note}"
                f"<details class='capex-note'><summary>How it is counted</summary>{how}</details>"
            )

        def say_trouble() -> None:
            found = state.trouble
            beside = found is not None and found.field in state.dials
            trouble.value = escape(found.message) if found is not None and not beside else ""

        state.follow(say, "result", "units", "currency")
        state.follow(lambda: setattr(late, "value", late_orders_html(state.late_orders)),
                     "late_orders")  # fmt: skip
        state.follow(say_trouble, "trouble")
        return box("capex-card capex-verdict", sentence, late, trouble)

    def _controls(self) -> widgets.Widget:
        state = self.state
        panel = box("capex-show-controls", Controls(state))
        if len(state.offers) < 2 or state.offer is None:
            return panel
        names = [(offer.key, offer.name) for offer in state.offers]

        def picked(_key: str, text: str) -> None:
            state.pick(text)
            chooser.show({"offer": text})
            old = panel.children[0]
            panel.children = (Controls(state), chooser)
            old.close()

        chooser = Fields("The machine on offer", [Field("offer", "Machine on offer", "choice",
                         options=names)], {"offer": state.offer.key},
                         state.guarded(picked))  # fmt: skip
        panel.children = (*panel.children, chooser)
        return panel

    def _of_the_draws(self) -> tuple[widgets.Widget, ...]:
        return (
            section("sure", "How sure is that?", "All uncertain inputs drawn together, the same "
                    "draws for every choice. Inputs that you have moved stay where you put them.",
                    box("capex-card", self._progress, self._gains, self._sure),
                    box("capex-columns", box("capex-card", self._regret),
                        box("capex-card", self._knowing))),
            section("money", "Payback, cash and cover", "What the same draws say of the money.",
                    box("capex-columns", box("capex-card", self._payback),
                        box("capex-card", self._cover))),
        )  # fmt: skip

    def _say_facts(self) -> None:
        state, look = self.state, self.state.look
        offer = state.offer
        dial = state.dials[offer.key] if offer is not None else None
        parts = (
            said.price_fact(state.nearby, state.result, dial, offer.name if offer else "", look),
            said.volume_fact(state.nearby, state.result, look),
            said.shares_fact(
                self._simulation,
                look,
                busy=not state.is_drawn,
                waits=state.late_orders == "unknown",
            ),
        )
        self._facts.value = f"<dl class='capex-headline'>{''.join(parts)}</dl>"

    @property
    def _simulation(self) -> Simulation | None:
        return self.state.drawn.simulation if self.state.drawn is not None else None

    def _say_drivers(self) -> None:
        state = self.state
        if state.nearby is not None:
            busy = state.nearby.result is not state.result
            self._drivers.value = said.drivers_html(state.nearby, state.look, busy=busy)

    def _say_progress(self) -> None:
        state = self.state
        current = state.drawn is not None and state.drawn.result is state.result
        sentence = said.draws_sentence(self._simulation, state.drawing, current=current)
        busy = str(not state.is_drawn).lower()
        self._progress.value = (
            f"<p class='capex-note capex-draws' aria-busy='{busy}'>{escape(sentence)}</p>"
        )
        (self._drawn.remove_class if state.is_drawn else self._drawn.add_class)("capex-stale")

    def _draw(self) -> None:
        found, look = self._simulation, self.state.look
        if found is None:
            return
        summary = risk_summary(found)
        self._gains.show(*pictures.gains_picture(summary, look))
        knowing = pictures.knowing_picture(summary, look)
        self._knowing.height = pictures.knowing_height(knowing)
        self._knowing.show(*knowing)
        self._payback.show(*pictures.payback_picture(found, look))
        self._sure.value = table_html(
            drawn_tables.sureness_table(summary, look), "Every choice in the draws"
        )
        dominance = f"<p>{escape(drawn_tables.dominance_sentence(summary))}</p>"
        regret = (
            "<h2 class='capex-chart-title'>What if another choice turns out better?</h2>"
            "<p class='capex-note'>Regret is what a choice leaves less than the best of its draw."
            "</p>"
        )
        table = table_html(drawn_tables.regret_table(summary, look), "Regret")
        self._regret.value = regret + dominance + table
        cover = table_html(
            drawn_tables.cover_table(summary, look), "Cover, cash and payback in the draws"
        )
        self._cover.value = "<h2 class='capex-chart-title'>Cover and cash</h2>" + cover
