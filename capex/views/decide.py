"""The page on which the owner decides: verdict, cards, controls and charts over one state.

May import: ipywidgets, IPython, and from capex errors, study, `shopfloor.year` and views.
"""

from __future__ import annotations

import os
from collections.abc import Callable
from html import escape
from pathlib import Path

import ipywidgets as widgets

from capex.shopfloor.year.compiled import warm
from capex.study import data_folder, read_study
from capex.views.cards import (
    cards_html,
    cautions_html,
    changes_sentence,
    late_orders_html,
    months_html,
    sureness_html,
    verdict_html,
)
from capex.views.chart import Chart, sent_together
from capex.views.charts.cash import cash_picture
from capex.views.charts.contribution import contribution_height, contribution_picture
from capex.views.charts.load import load_height, load_picture
from capex.views.charts.picture import Look, Picture
from capex.views.charts.stages import stages_height, stages_picture
from capex.views.charts.volume import volume_picture
from capex.views.controls import Controls
from capex.views.opening import opened, study_asked_for
from capex.views.state import DecisionState, Result
from capex.views.why_panel import WhyPanel

__all__ = ["decide_page", "study_page"]

_SHOWN = ("result", "units", "currency")


def decide_page() -> widgets.Widget:
    """Return the page for the study that was asked for, the demo where none was.

    Returns
    -------
    Widget
        The page; where the study cannot be used, all its problems.
    """

    def make() -> widgets.Box:
        if os.environ.get("VOILA_PREHEAT") == "True":
            # before the visit: everything is loaded and warm
            study_page(data_folder() / "studies" / "quenlow.toml")
        return study_page(study_asked_for())

    return opened(make)


def study_page(path: Path) -> widgets.Box:
    """Return the page for one study.

    Raises
    ------
    StudyError
        The study has problems.
    """
    state = DecisionState(read_study(path))
    if state.late_orders != "free":
        warm()
    # Made in the order in which a change is worked out: the browser draws the charts while the
    # words are written.
    cash, volume, load, jobs, stages = _charts(state)
    verdict, cards = _verdict(state), _cards(state)
    main = _box(
        "capex-page",
        verdict,
        _more(),
        cards,
        _side_by_side(cash, volume),
        _box("capex-card", load),
        _side_by_side(jobs, stages),
        _why(state),
        _box("capex-card", widgets.HTML(cautions_html())),
    )
    controls = _box("capex-controls", Controls(state))
    return _box("capex-with-controls", controls, main)


def _box(name: str, *children: widgets.Widget) -> widgets.Box:
    panel = widgets.Box(list(children))
    panel.add_class(name)
    return panel


def _look(state: DecisionState) -> Look:
    return Look(state.study, state.units, state.currency)


def _verdict(state: DecisionState) -> widgets.Box:
    sentence, sure, late, trouble = (widgets.HTML() for _ in range(4))
    months = widgets.HTML(months_html(state.study))
    trouble.add_class("capex-trouble")

    def say() -> None:
        look = _look(state)
        changed = changes_sentence(state.dials.values(), state.changes, look)
        sentence.value = verdict_html(state.result, look, changed)

    def say_sure() -> None:
        sure.value = sureness_html(state.result.study, state.swings, state.units)

    def say_late() -> None:
        late.value = late_orders_html(state.late_orders)

    def say_trouble() -> None:
        found = state.trouble
        at_a_control = found is not None and found.field in state.dials
        trouble.value = escape(found.message) if found is not None and not at_a_control else ""

    state.follow(say, *_SHOWN)
    state.follow(say_sure, "swings", "units")
    state.follow(say_late, "late_orders")
    state.follow(say_trouble, "trouble")
    panel = _box("capex-card", sentence, late, sure, months, trouble)
    panel.add_class("capex-verdict")
    return panel


def _more() -> widgets.HTML:
    """Return what opens all figures of the cards on a phone; page.css does it and keeps it."""
    more = widgets.HTML("<details><summary>All figures of every choice</summary></details>")
    more.add_class("capex-more")
    return more


def _cards(state: DecisionState) -> widgets.HTML:
    cards = widgets.HTML()
    cards.add_class("capex-cards")

    def fill() -> None:
        cards.value = cards_html(state.result, _look(state), state.late_orders)

    state.follow(fill, *_SHOWN, "late_orders")
    return cards


def _charts(state: DecisionState) -> tuple[Chart, Chart, Chart, Chart, Chart]:
    """Return cash, volume, load, job types and stages, which a change redraws together."""
    jobs = {key: job.name for key, job in state.study.jobs.items()}
    cash = Chart("When is the money back?", 320)
    volume = Chart("At what volume does the choice change?", 320)
    load = Chart("Which station fills up, and when?", load_height(state.result))
    types = Chart("What does each job type leave?", contribution_height(state.result))
    stages = Chart("How long does one order take?", stages_height(state.result), jobs, "Job type")

    def show_volume() -> None:
        volume.show(*volume_picture(state.result, _look(state), state.crossovers))

    def show_stages() -> None:
        stages.show(*stages_picture(state.result, _look(state), stages.choice))

    def shows(chart: Chart, picture: Callable[[Result, Look], Picture]) -> Callable[[], None]:
        return lambda: chart.show(*picture(state.result, _look(state)))

    # one that fails leaves the others drawn
    each = [state.guarded(show) for show in (
        shows(cash, cash_picture), show_volume, shows(load, load_picture),
        shows(types, contribution_picture), show_stages,
    )]  # fmt: skip
    charts = cash, volume, load, types, stages

    def show_all() -> None:
        with sent_together(charts):
            for show in each:
                show()

    state.follow(show_all, *_SHOWN)
    state.follow(show_volume, "narrowed")
    stages.observe(state.guarded(lambda _change: show_stages()), "choice")
    return charts


def _why(state: DecisionState) -> widgets.Widget:
    ranked = [key for key in state.result.verdict.ranking if key != state.study.baseline]
    panel = WhyPanel(state, lambda: state.changes, choice=ranked[0] if ranked else None)
    shown = panel.view()
    state.follow(panel.outdated, "result")
    return shown


def _side_by_side(*parts: widgets.Widget) -> widgets.Box:
    return _box("capex-columns", *(_box("capex-card", part) for part in parts))
