"""The widget of a form: groups that open, native fields, their sources and spreads.

It only passes on what the user did; what then holds is set by whoever made it.

May import: traitlets, and from capex `views.one_way`.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any, Final

import traitlets

from capex.views.one_way import OneWay, ticket

__all__ = ["Form"]

#: Longest text that a field passes on.
_LONGEST: Final = 300


class Form(OneWay):
    """A form over a study's text.

    Parameters
    ----------
    label : str
        Names the form for a screen reader.
    entered : callable
        Takes the place of a field, which part of it (``value``, ``low``, ``source`` …), the text.
    done : callable
        Takes an action, the place it is about, and what was chosen for it.

    Examples
    --------
    >>> seen = []
    >>> form = Form("People", lambda *told: seen.append(told), lambda *told: seen.append(told))
    >>> form.told(None, {"kind": "entered", "path": "shop.people.wage", "part": "value",
    ...                  "text": "25 USD/h"}, [])
    >>> form.told(None, {"kind": "done", "do": "copy", "path": "machines.old"}, [])
    >>> seen
    [('shop.people.wage', 'value', '25 USD/h'), ('copy', 'machines.old', '')]
    """

    _esm = Path(__file__).parent / "form.js"
    _css = Path(__file__).parent / "form.css"

    label = traitlets.Unicode().tag(sync=True)
    flat = traitlets.Bool(False).tag(sync=True)
    groups: traitlets.List[dict[str, Any]] = traitlets.List().tag(sync=True)
    values: traitlets.Dict[str, Any] = traitlets.Dict().tag(sync=True)
    messages: traitlets.Dict[str, str] = traitlets.Dict().tag(sync=True)
    #: The part that was added last, to be opened and brought into view.
    made: traitlets.Dict[str, Any] = traitlets.Dict().tag(sync=True)
    answer = traitlets.Int(0).tag(sync=True)
    #: Of the user's last entry that was seen: answers to earlier ones are no longer shown.
    ticket = traitlets.Int(0).tag(sync=True)

    def __init__(
        self,
        label: str,
        entered: Callable[[str, str, str], object],
        done: Callable[[str, str, str], object],
        flat: bool = False,
    ) -> None:
        self._entered, self._done = entered, done
        super().__init__(label=label, flat=flat)
        self.on_msg(self.told)

    def show(
        self,
        groups: list[dict[str, Any]],
        values: Mapping[str, Mapping[str, str]],
        messages: Mapping[str, str],
    ) -> None:
        """Show what holds now; what has not changed is not sent again."""
        with self.hold_sync():
            self.groups = groups
            self.values = dict(values)
            self.messages = dict(messages)
            self.answer += 1

    def reveal(self, path: str) -> None:
        """Open the part at a path on the page, bring it into view and give it the focus."""
        self.made = {"path": path, "count": self.made.get("count", 0) + 1}

    def told(self, _widget: object, content: Mapping[str, Any], _buffers: object) -> None:
        """Pass on what the page says the user did."""
        self.ticket = ticket(content)
        path = str(content.get("path", ""))[:_LONGEST]
        text = str(content.get("text", ""))[:_LONGEST]
        if content.get("kind") == "entered":
            self._entered(path, str(content.get("part", "value")), text)
        elif content.get("kind") == "done":
            self._done(str(content.get("do", "")), path, text)
        self.answer += 1
