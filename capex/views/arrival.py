"""Whether the page stands in the browser: what is told it earlier, it may lose.

The browser asks once for what every widget shows, and then makes the widgets, one after the
other. A change between the two reaches a page that does not know its widget yet, and is passed
over in silence. So what is worked out beside the page waits here until it has said that it is
there: by a widget that is shown when all others have been made.

May import: ipywidgets and from capex `views.one_way`.
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from contextlib import suppress

import ipywidgets as widgets

from capex.views.one_way import OneWay

__all__ = ["Arrival", "once_here", "told_of"]

#: After which a page that says nothing counts as there [s]: one without a browser, say.
_PATIENCE = 30.0


class Arrival(OneWay):
    """Says that the page is there, and takes no room on it."""

    _esm = 'export default { render({ model }) { model.send({ kind: "here" }); } };'

    def __init__(self, patience: float = _PATIENCE) -> None:
        super().__init__(layout=widgets.Layout(display="none"))
        self._waiting: list[Callable[[], object]] | None = []
        self._loop = asyncio.get_running_loop()
        self.on_msg(lambda _widget, _content, _buffers: self.come())
        self._loop.call_later(patience, self.come)

    def once(self, work: Callable[[], object]) -> None:
        """Do the work now, or as soon as the page is there."""
        if self._waiting is None or asyncio.get_running_loop() is not self._loop:
            work()
        else:
            self._waiting.append(work)

    def come(self) -> None:
        """Do what has waited, in its order; each on its own, so that none keeps back the rest."""
        waiting, self._waiting = self._waiting or [], None
        for work in waiting:
            self._loop.call_soon(work)


#: A kernel has one page.
_ours: Arrival | None = None


def told_of(page: widgets.Box) -> None:
    """Let a page say when it is there; where no loop runs there is no browser to wait for."""
    global _ours
    with suppress(RuntimeError):
        _ours = Arrival()
        page.children = (*page.children, _ours)


def once_here(work: Callable[[], object]) -> None:
    """Do what changes the page once it is there; at once where none has been opened.

    Parameters
    ----------
    work : callable
        Called in the page's own loop.
    """
    if _ours is None:
        work()
    else:
        _ours.once(work)
