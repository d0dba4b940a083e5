"""The part of a page in which any headline figure can be opened.

May import: ipywidgets, and from capex errors, study, units, decision and views.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from html import escape
from typing import Final

import ipywidgets as widgets

from capex.decision.explanation import Explanation, explanation
from capex.decision.figures import FIGURES
from capex.errors import CapexError
from capex.study import Study
from capex.views import why
from capex.views.chart import ChartTable
from capex.views.floor.boxes import box, table_html, words
from capex.views.floor.fields import Field, Fields
from capex.views.floor.state import Background, Later
from capex.views.page_state import PageState

__all__ = ["WhyPanel"]

#: Inputs shown; the rest are counted.
_MOST: Final = 25
_NO_FIGURE: Final = "nothing yet"
#: Rest after the last change before every input is moved again [s].
_REST: Final = 0.8


class WhyPanel:
    """A figure and a choice to pick, then the lines and inputs behind that figure.

    Parameters
    ----------
    state : PageState
    scenario : callable
        Returns the inputs that the page has changed, canonical units.
    later : callable, optional
        Takes the work; by default it runs in a thread of its own.
    choice : str, optional
        That it opens on; by default the first beside the baseline.
    """

    def __init__(
        self,
        state: PageState,
        scenario: Callable[[], Mapping[str, float]],
        later: Later | None = None,
        choice: str | None = None,
    ) -> None:
        self._state, self._scenario = state, scenario
        self._later = later or Background(_REST)
        study: Study = state.study
        others = [key for key in study.alternatives if key != study.baseline]
        self._values = {"figure": _NO_FIGURE, "choice": choice or (others or [study.baseline])[0]}
        self._fields = Fields(
            "Why this number?", self._listed(), self._values, state.guarded(self._changed)
        )
        self._found: Explanation | None = None
        self._said = words()

    def view(self) -> widgets.Widget:
        """Return the panel; nothing is worked out before a figure is picked."""
        title = words('<h2 class="capex-chart-title">Why this number?</h2>')
        self._state.follow(self._draw, "units", "currency")
        return box("capex-card", title, self._fields, self._said)

    def outdated(self) -> None:
        """Work the figure out again, as inputs have changed."""
        if self._values["figure"] in FIGURES:
            self._ask()

    def _listed(self) -> list[Field]:
        figures = [(_NO_FIGURE, "Pick a figure")] + [(k, f.title) for k, f in FIGURES.items()]
        study: Study = self._state.study
        names = [(key, choice.name) for key, choice in study.alternatives.items()]
        return [
            Field("figure", "Figure", "choice", options=figures),
            Field("choice", "Choice", "choice", options=names),
        ]

    def _changed(self, key: str, text: str) -> None:
        self._values[key] = text
        self._fields.show(self._values)
        if self._values["figure"] in FIGURES:
            self._ask()
        else:
            self._found = None
            self._said.value = ""

    def _ask(self) -> None:
        self._said.value = (
            "<p class='capex-note' role='status' aria-busy='true'>Moving every input…</p>"
        )
        study, scenario = self._state.study, dict(self._scenario())
        figure, choice = self._values["figure"], self._values["choice"]
        self._later(lambda: explanation(study, figure, choice, scenario), self._take)

    def _take(self, result: Callable[[], Explanation]) -> None:
        @self._state.watched
        def take() -> None:
            try:
                self._found = result()
            except CapexError as error:
                self._found = None
                self._said.value = f"<p class='capex-note' role='alert'>{escape(str(error))}</p>"
            else:
                self._draw()

        take()

    def _draw(self) -> None:
        found, state = self._found, self._state
        if found is None:
            return
        study, currency = state.study, state.currency
        parts = [
            f"<p class='capex-note'>{escape(sentence)}</p>"
            for sentence in why.why_sentences(study, found, currency, state.units)
        ]
        lines = why.line_rows(found, currency)
        if lines:
            table = ChartTable(list(why.LINE_HEADINGS), [list(row) for row in lines])
            parts.append(table_html(table, "Ledger lines, largest first"))
        rows = why.input_rows(study, found, currency, state.units, _MOST)
        table = ChartTable(list(why.INPUT_HEADINGS), [list(row) for row in rows])
        parts.append(table_html(table, "Inputs, largest effect first"))
        if len(found.inputs) > _MOST:
            parts.append(
                f"<p class='capex-note'>And {len(found.inputs) - _MOST} more with less effect; "
                "<code>capex explain</code> lists them all.</p>"
            )
        self._said.value = "".join(parts)
