"""The page "A year on": months beside the plan, what they say, and whether the choice holds.

May import: ipywidgets, and from capex errors, study, decision and views.
"""

from __future__ import annotations

from collections.abc import Callable
from html import escape
from pathlib import Path
from typing import Final

import ipywidgets as widgets

from capex.decision.appraise import appraise
from capex.decision.year_on import YearOn, year_on
from capex.decision.year_on.into_study import re_estimated
from capex.errors import CapexError, StudyError
from capex.study import StudyFile
from capex.views.cards import cautions_html
from capex.views.chart import Chart
from capex.views.floor.boxes import Results, box, section, table_html, words
from capex.views.floor.fields import Field, Fields, FileOut, Grid
from capex.views.floor.state import Background, FloorState, Later
from capex.views.opening import opened, study_asked_for
from capex.views.request import where_written, written
from capex.views.today import today
from capex.views.year_on.pictures import figure_picture
from capex.views.year_on.records import columns, entries, fields_of, messages_by_cell, texts
from capex.views.year_on.words import (
    FIGURE_NAMES,
    LIMITS,
    again_sentences,
    compared_table,
    onward_sentences,
    onward_table,
    ratios_table,
    unfinished_sentence,
)

__all__ = ["YearOnPage", "year_on_page"]

_TOML: Final = "application/toml"
_KINDS: Final = [("total", "In total"), ("by_job", "By job type")]
_NOTHING: Final = "Enter at least one month: its orders, and what else the books say."


def year_on_page() -> widgets.Widget:
    """Return the page for the study that was asked for, an invented year of the demo where none.

    Returns
    -------
    Widget
        The page; where the study cannot be used, all its problems.
    """
    return opened(lambda: YearOnPage(study_asked_for("quenlow_year_on")).view())


class YearOnPage:
    """Months of a study entered beside its plan, and what follows from them.

    Parameters
    ----------
    path : Path
        Study file.
    later : callable, optional
        Takes the longer work; by default a thread of its own.

    Raises
    ------
    StudyError
        The study has problems.
    """

    def __init__(self, path: Path, later: Later | None = None) -> None:
        self.state = FloorState(StudyFile.read(path), path)
        self._kept_text = self.state.file.text
        self._later = later or Background()
        self._found: YearOn | None = None
        study = self.state.study
        seen = study.actuals
        by_job = seen is not None and any(month.orders_by_job for month in seen.months)
        choice = seen.choice if seen is not None else _leading(study_file=self.state.file)
        self.values = {"choice": choice, "orders": "by_job" if by_job else "total",
                       "currency": self.state.currency.code}  # fmt: skip
        self._cells = texts(study, self._fields_shown)
        self.fields = Fields("What was bought", self._listed(), self.values,
                             self.state.guarded(self._changed))  # fmt: skip
        self.grid = Grid("Months as they were", self.state.guarded(self._typed), corner="Row",
                         growing=True)  # fmt: skip
        self.trouble, self.head = words(name="capex-trouble"), words()
        self.chart = Chart("Plan and actual", 360, {"orders": FIGURE_NAMES["orders"]}, "Figure")
        self.chart.layout.display = "none"  # until there is something to draw
        self.chart.observe(self.state.guarded(lambda _change: self._draw_chart()), "choice")
        self.ahead = words()
        self.answers, self.compared, self.ratios, self.onward = (words() for _ in range(4))
        for each in (self.compared, self.ratios, self.onward):
            each.add_class("capex-whole")
        self.results = Results(self.answers, self.chart, self.compared, self.onward, self.ratios)

    @property
    def _fields_shown(self) -> tuple[str, ...]:
        return fields_of(self.state.study, by_job=self.values["orders"] == "by_job")

    def _listed(self) -> list[Field]:
        names = [(key, choice.name) for key, choice in self.state.study.alternatives.items()]
        return [
            Field("choice", "Choice that was made", "choice", options=names),
            Field("orders", "Orders", "choice", options=_KINDS),
            Field("currency", "Show money in", "choice",
                  options=[(code, code) for code in self.state.currencies]),
        ]  # fmt: skip

    def _files(self) -> widgets.Widget:
        self.keep = Fields("Keep", self._keep_fields(), {}, self.state.guarded(self._written))
        self.kept = words()
        self.with_months = FileOut(
            "Download the study with these months", self._study_file,
            "The plan stays as it was. Open it again from Studies.",
        )  # fmt: skip
        self.with_inputs = FileOut(
            "Download the re-estimated study", self._re_estimated_file,
            "What was re-estimated takes the place of what was assumed, tagged measured, with the "
            "last day of the last month.",
        )  # fmt: skip
        own = () if self.state.is_shipped else (self.keep, self.kept)
        return box("capex-stack", *own, box("capex-row", self.with_months, self.with_inputs))

    def _keep_fields(self, wrong: bool = False) -> list[Field]:
        held = wrong or self.state.file.text == self._kept_text
        return [
            Field("keep", "Keep these months with the study", "button", disabled=held,
                  hint=f"{where_written(self.state.path)}; the plan stays as it was."),
        ]  # fmt: skip

    def _written(self, _key: str, _text: str) -> None:
        kept = written(self.state.file, self.state.path, "Months as they were")
        self.state.path, self._kept_text = kept.path, self.state.file.text
        self.kept.value = kept.html()
        self.keep.show({}, fields=self._keep_fields())

    def view(self) -> widgets.Widget:
        """Return the page."""
        page = box(
            "capex-page capex-floor",
            box("capex-card capex-verdict", self.head, self.ahead, self.fields, self.trouble),
            section("months", "The months", "Calendar months since the plan began. Orders are "
                    "needed, all else may be left out; sales without sales tax, wages with "
                    "on-cost. Leave a row empty to take it out.", box("capex-card", self.grid)),
            section("found", "What they say", "Against the plan of the choice that was made.",
                    box("capex-card", self.results.panel, self._files())),
            box("capex-card", words(_limits_html()), words(cautions_html())),
        )  # fmt: skip
        self._show_head()
        self._show_grid()
        if self._cells:
            self._take_cells()
        else:
            self.results.hold(_NOTHING)
        return page

    def _show_head(self, sentence: str = "A year on: was it right, and what now?") -> None:
        shop = escape(self.state.study.shop_name, quote=True)
        invented = ("<p class='capex-note'>The months below are invented, as all of the demo.</p>"
                    if self.state.is_shipped and self._cells else "")  # fmt: skip
        self.head.value = (f'<h1 class="capex-sentence" data-shop="{shop}">{escape(sentence)}</h1>'
                           f"{invented}")  # fmt: skip

    def _show_grid(self, messages: dict[str, str] | None = None) -> None:
        fields = self._fields_shown
        rows = self._cells or [[""] * len(fields)]
        heads = [str(row + 1) for row in range(len(rows))]
        self.grid.show(columns(self.state.study, fields), heads, rows, messages)

    def _changed(self, key: str, text: str) -> None:
        self.values[key] = text
        self.fields.show(self.values)
        if key == "currency":
            self.state.currency = self.state.currencies[text]
            self._draw()
            return
        if key == "orders":
            self._cells = texts(self.state.study, self._fields_shown)
        self._take_cells()

    def _typed(self, cells: list[list[str]]) -> None:
        self._cells = cells
        self._take_cells()

    def _take_cells(self) -> None:
        """Read the table into the study; what cannot be read keeps the last result."""
        months, places = entries(self._cells, self._fields_shown)
        try:
            file = self.state.file.changed(
                {"actuals": {"choice": self.values["choice"], "months": months}}
            )
        except StudyError as error:
            messages, elsewhere = messages_by_cell(error, places, self._fields_shown)
            self._refused(" ".join(elsewhere), messages)
            return
        self._show_grid()
        self.trouble.value = ""
        if not months:
            self.results.hold(_NOTHING)
            return
        self.results.hold("Working it out…")
        self._later(lambda: (file, year_on(file.study)), self._take)

    def _refused(self, said: str, messages: dict[str, str]) -> None:
        self._show_grid(messages)
        self.keep.show({}, fields=self._keep_fields(wrong=True))
        self.trouble.value = escape(said)
        self.results.hold(
            "The table has a problem; below is what held before it."
            if self._found is not None
            else "The table has a problem: what the months say stands here once it is put right."
        )

    def _take(self, result: Callable[[], tuple[StudyFile, YearOn]]) -> None:
        @self.state.watched
        def take() -> None:
            try:
                file, found = result()
            except CapexError as error:
                self.trouble.value = escape(str(error))
                self.results.hold(
                    "The months cannot be used; below is what held before them."
                    if self._found is not None
                    else "The months cannot be used yet."
                )
                return
            self._found = found
            self.state.take(file)
            self.keep.show({}, fields=self._keep_fields())
            self.kept.value = ""
            self.results.hold()
            self._draw()

        take()

    def _draw(self) -> None:
        found, look = self._found, self.state.look
        if found is None:
            return
        self.ahead.value = self._ahead_html()
        again, now = again_sentences(found, look), onward_sentences(found, look)
        keep = not found.standing.holds and found.onward is not None and found.onward.keep
        self._show_head(f"{again[0]} Even so, keep it now." if keep else again[0])
        self.answers.value = _answers_html(again, now)
        self.compared.value = table_html(compared_table(found, look), "Plan against actual")
        self.ratios.value = table_html(ratios_table(found), "What was re-estimated")
        self.onward.value = table_html(onward_table(found, look), "Going over from today")
        self.chart.choices = [(figure, FIGURE_NAMES[figure]) for figure in found.compared]
        if self.chart.choice not in found.compared:
            self.chart.choice = next(iter(found.compared))
        self._draw_chart()

    def _ahead_html(self) -> str:
        seen = self.state.study.actuals
        if seen is None or self.state.is_shipped:  # the demo says that its months are invented
            return ""
        said = unfinished_sentence(seen.months, today())
        return f"<p class='capex-warn' role='status'>{escape(said)}</p>" if said else ""

    def _draw_chart(self) -> None:
        if self._found is not None and self.chart.choice in self._found.compared:
            self.chart.layout.display = None
            self.chart.show(*figure_picture(self._found, self.chart.choice, self.state.look))

    def _study_file(self) -> tuple[str, str, bytes]:
        return f"{self.state.path.stem}_with_months.toml", _TOML, self.state.file.text.encode()

    def _re_estimated_file(self) -> tuple[str, str, bytes]:
        file = self.state.file
        if self._found is not None:
            file = re_estimated(file, self._found)
        return f"{self.state.path.stem}_re_estimated.toml", _TOML, file.text.encode()


def _leading(study_file: StudyFile) -> str:
    """Return the choice that leads in the plan: the likeliest to have been made."""
    found = appraise(study_file.study)
    return list(found.outcomes)[int(found.best[0])]


def _answers_html(again: list[str], now: list[str]) -> str:
    parts = [("Would the same be decided again?", again), ("What now?", now)]
    return "".join(
        f"<h3>{title}</h3><p class='capex-reason'>{escape(said[0])}</p>"
        + "".join(f"<p class='capex-note'>{escape(each)}</p>" for each in said[1:])
        for title, said in parts
    )


def _limits_html() -> str:
    items = "".join(f"<li>{escape(each)}</li>" for each in LIMITS)
    return f"<h3>What these estimates cannot tell</h3><ul>{items}</ul>"
