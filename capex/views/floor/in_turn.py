"""Parts of a page that come one after the other, so that the first is there at once.

May import: ipywidgets, and from capex `views.arrival` and, of this folder, `boxes` and `state`.
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Sequence
from typing import Final

import ipywidgets as widgets

from capex.views.arrival import once_here
from capex.views.floor.boxes import words
from capex.views.floor.state import FloorState

__all__ = ["one_after_the_other"]

Maker = Callable[[], widgets.Widget]
#: In which the page is answered [s].
_PAUSE: Final = 0.05


def one_after_the_other(
    state: FloorState,
    parts: Sequence[tuple[str, Maker]],
    panel: widgets.Box,
    place: int,
) -> None:
    """Put parts into a panel as they are made, each with a line in its place until then.

    Begins once the page is there. Where no loop runs all are made at once.

    Parameters
    ----------
    state : FloorState
        Shows what goes wrong.
    parts : sequence of (str, callable)
        What to say meanwhile, and what makes the part.
    panel : Box
        Holds what is there already.
    place : int
        Where in it the first part goes.
    """
    waiting = [words(f"<p class='capex-note' role='status'>{said}</p>") for said, _ in parts]
    children = list(panel.children)
    panel.children = [*children[:place], *waiting, *children[place:]]

    def put(number: int) -> None:
        made = list(panel.children)
        made[place + number] = parts[number][1]()
        panel.children = made

    watched = state.watched(put)
    try:
        loop = asyncio.get_running_loop()
    except RuntimeError:
        for number in range(len(parts)):
            put(number)
        return

    def go_on(number: int) -> None:
        watched(number)
        if number + 1 < len(parts):
            loop.call_later(_PAUSE, go_on, number + 1)

    loop.call_later(_PAUSE, once_here, lambda: go_on(0))
