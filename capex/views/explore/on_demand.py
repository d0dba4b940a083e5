"""A part of the page that is worked out only when someone asks for it.

May import: from capex errors and views.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from html import escape
from typing import Generic, TypeVar

import ipywidgets as widgets

from capex.errors import CapexError
from capex.views.explore.refining import Refining
from capex.views.explore.state import ExploreState
from capex.views.floor.boxes import box, words
from capex.views.floor.fields import Field, Fields

__all__ = ["OnDemand"]

T = TypeVar("T")
_STOPPED = "Stopped: inputs have changed meanwhile. Work it out again."
_AGAIN = "Inputs have changed since: this belongs to the ones before. Work it out again."
_OTHERS = "Other inputs are chosen since: this belongs to the ones before. Work it out again."


class OnDemand(Generic[T]):
    """A title, a button, and what follows once it has been pressed.

    Parameters
    ----------
    state : ExploreState
    title, introduction : str
        What it answers, and how.
    asked : callable
        Returns the work for what the page shows now: shares done, and at the end what it comes to.
    show : callable
        Takes what the work came to and fills the contents.
    contents : sequence of Widget
        Hidden until there is something to show.
    refining : Refining, optional
        Takes the work; by default it runs in a thread of its own. Changed inputs stop it.
    fields : sequence of Field
        Beside the button, with what stands in them.
    values : dict of str to str
        What stands in them; kept up to date.
    """

    def __init__(
        self,
        state: ExploreState,
        title: str,
        introduction: str,
        asked: Callable[[], Callable[[], Iterator[float | T]]],
        show: Callable[[T], object],
        contents: Sequence[widgets.Widget],
        *,
        refining: Refining | None = None,
        fields: Sequence[Field] = (),
        values: dict[str, str] | None = None,
    ) -> None:
        self._state, self._asked, self._show = state, asked, show
        self._refining = refining or Refining(0.0)
        self._pending = False
        self._values = values if values is not None else {}
        self._head = words(
            f"<h2 class='capex-chart-title'>{escape(title)}</h2>"
            f"<p class='capex-note'>{escape(introduction)}</p>"
        )
        button = Field("go", "Work it out", "button")
        self._fields = Fields(title, [*fields, button], {**self._values, "go": ""},
                              state.guarded(self._changed))  # fmt: skip
        self._said, self._contents = words(), box("capex-contents", *contents)
        self._contents.layout.display = "none"
        self._found: list[T] = []
        state.observe(state.guarded(lambda _change: self._outdated()), "result")
        state.observe(state.guarded(lambda _change: self._draw()), ["units", "currency"])

    def view(self) -> widgets.Widget:
        """Return the part; nothing is worked out yet."""
        return box("capex-card", self._head, self._fields, self._said, self._contents)

    def press(self) -> None:
        """Work it out for what the page shows now."""
        self._pending = True
        self._wait(0.0)

        @self._state.watched
        def take(piece: Callable[[], float | T]) -> None:
            try:
                found = piece()
            except CapexError as error:
                self._pending = False
                self._said.value = f"<p class='capex-note' role='alert'>{escape(str(error))}</p>"
                return
            except Exception:
                self._pending, self._said.value = False, ""
                raise
            if isinstance(found, float):
                self._wait(found)
                return
            self._pending, self._found, self._said.value = False, [found], ""
            self._draw()

        self._refining(self._asked(), take)

    def _wait(self, done: float) -> None:
        self._said.value = (
            f"<p class='capex-note' role='status' aria-busy='true'>Being worked out… {done:.0%}</p>"
        )

    def _changed(self, key: str, text: str) -> None:
        if key == "go":
            self.press()
            return
        other = self._values[key] != text
        self._values[key] = text
        self._fields.show({**self._values, "go": ""})
        if other:
            self._outdated(_OTHERS)

    def _outdated(self, said: str = _AGAIN) -> None:
        if self._pending:
            self._refining.drop()
            self._pending, said = False, _STOPPED
        elif not self._found:
            return
        self._said.value = f"<p class='capex-changed' role='status'>{said}</p>"

    def _draw(self) -> None:
        if self._found:
            self._contents.layout.display = ""
            self._show(self._found[0])
