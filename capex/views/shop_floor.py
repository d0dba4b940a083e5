"""The page on the shop floor in depth: one batch, a year of orders, your stopwatch, the room.

May import: ipywidgets, and from capex errors, study and views.
"""

from __future__ import annotations

from html import escape
from pathlib import Path
from typing import Final

import ipywidgets as widgets

from capex.study import StudyFile
from capex.views.cards import cautions_html
from capex.views.floor.boxes import box, words
from capex.views.floor.fields import Field, Fields
from capex.views.floor.in_turn import one_after_the_other
from capex.views.floor.state import FloorState, Later
from capex.views.opening import opened, study_asked_for

__all__ = ["floor_page", "shop_floor_page"]

_SECTIONS: Final = {
    "batch": "One batch",
    "year": "A year of orders",
    "stopwatch": "Your own stopwatch",
    "room": "The room",
}


def shop_floor_page() -> widgets.Widget:
    """Return the page for the study that was asked for, the demo where none was.

    Returns
    -------
    Widget
        The page; where the study cannot be used, all its problems.
    """
    return opened(lambda: floor_page(study_asked_for()))


def floor_page(path: Path, later: Later | None = None) -> widgets.Widget:
    """Return the page for one study.

    Parameters
    ----------
    path : Path
        Study file.
    later : callable, optional
        Takes the simulated year; by default it runs in a thread of its own.

    Raises
    ------
    StudyError
        The study has problems.
    """
    state = FloorState(StudyFile.read(path), path)
    shown_in = _shown_in(state)
    page = box(
        "capex-page capex-floor",
        _head(state, shown_in),
        box("capex-card", words(cautions_html())),
    )
    one_after_the_other(
        state,
        [
            ("Timing one batch…", lambda: _batch(state)),
            ("Simulating a year of orders…", lambda: _year(state, later)),
            ("Reading the stopwatch…", lambda: _stopwatch(state)),
            ("Placing machines in the room…", lambda: _room(state)),
        ],
        page,
        1,
    )
    return page


# Each section is imported when its turn comes: scipy and others take their time.


def _batch(state: FloorState) -> widgets.Widget:
    from capex.views.floor.batch import BatchSection

    return BatchSection(state).view()


def _year(state: FloorState, later: Later | None) -> widgets.Widget:
    from capex.views.floor.year import YearSection

    return YearSection(state, later).view()


def _stopwatch(state: FloorState) -> widgets.Widget:
    from capex.views.floor.trial import TrialSection

    return TrialSection(state).view()


def _room(state: FloorState) -> widgets.Widget:
    from capex.views.floor.room import RoomSection

    return RoomSection(state).view()


def _head(state: FloorState, shown_in: Fields) -> widgets.Widget:
    shop = escape(state.study.shop_name, quote=True)
    links = "".join(f'<li><a href="#{key}">{title}</a></li>' for key, title in _SECTIONS.items())
    sentence = words(
        f'<h1 class="capex-sentence" data-shop="{shop}">Why work takes as long as it does, when '
        "each choice chokes, how late orders get, and whether it fits the room</h1>"
        '<p class="capex-note">All of it rests on the study as it stands, not on what was moved '
        "under “What if” on the first page.</p>"
        f'<nav aria-label="On this page"><ul class="capex-links">{links}</ul></nav>'
    )
    trouble = words(name="capex-trouble")

    def say() -> None:
        trouble.value = escape(state.trouble.message) if state.trouble is not None else ""

    state.follow(say, "trouble")
    return box("capex-card capex-verdict", sentence, shown_in, trouble)


def _shown_in(state: FloorState) -> Fields:
    fields = [
        Field("units", "Units", "choice",
              options=[("metric", "Metric"), ("us_customary", "US customary")]),
        Field("currency", "Money in", "choice", options=[(c, c) for c in state.currencies]),
    ]  # fmt: skip

    def changed(key: str, value: str) -> None:
        if key == "units":
            state.units = "us_customary" if value == "us_customary" else "metric"
        elif value in state.currencies:
            state.currency = state.currencies[value]

    group = Fields("Units and currency", fields, {}, state.guarded(changed))
    state.follow(
        lambda: group.show({"units": state.units, "currency": state.currency.code}),
        "units", "currency",
    )  # fmt: skip
    return group
