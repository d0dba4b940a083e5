"""The part of the bank page about the request, in which an offer can be chosen in place.

May import: ipywidgets, and from capex errors, study, decision and views.
"""

from __future__ import annotations

from collections.abc import Callable
from html import escape
from typing import Final

import ipywidgets as widgets

from capex.decision.outcome import Outcome
from capex.errors import CapexError, StudyError
from capex.views.bank import request, terms
from capex.views.floor.boxes import box, table_html, words
from capex.views.floor.fields import Field, Fields
from capex.views.floor.state import FloorState

__all__ = ["RequestPanel", "kept_together", "paragraphs"]

_FIELD: Final = "paid_"


def paragraphs(sentences: list[str], name: str = "") -> str:
    """Return sentences as paragraphs, escaped."""
    kind = f" class='{name}'" if name else ""
    return "".join(f"<p{kind} style='max-width:85ch'>{escape(each)}</p>" for each in sentences)


def kept_together(html: str) -> str:
    """Return HTML that no page of paper splits."""
    return f"<div style='break-inside:avoid'>{html}</div>"


class RequestPanel:
    """Uses and sources of funds of a choice, beside how its machines are paid for.

    Parameters
    ----------
    state : FloorState
        Takes the study in which an offer was chosen.
    chosen : callable
        Told once another offer holds.
    """

    def __init__(self, state: FloorState, chosen: Callable[[], object]) -> None:
        self._state, self._told = state, chosen
        self._stated = state.file
        self._key = state.study.baseline
        #: Offer by choice and place among its machines.
        self.chosen: dict[tuple[str, int], str] = {}
        self._fields: dict[str, Fields] = {}  # by choice: each has machines of its own
        self._paying = box("capex-stack")
        self.table, self.terms = words(name="capex-whole"), words()
        self.table.add_class("capex-wrapped")

    def view(self) -> widgets.Widget:
        """Return the panel."""
        return box("capex-columns", box("capex-card", self.table),
                   box("capex-card", self._paying, self.terms))  # fmt: skip

    def show(self, outcome: Outcome, baseline: Outcome) -> None:
        """Show the request of a choice."""
        look, self._key = self._state.look, outcome.key
        self._show_fields()
        caption = f"The request: {outcome.name}"
        table = table_html(request.request_table(outcome, look), caption)
        self.table.value = kept_together(table)
        stated = self._stated.study
        said = [*terms.terms_sentences(look, outcome.key),
                *terms.trade_sentences(look, stated, self.chosen, outcome.key),
                *request.request_notes(outcome, baseline, look)]  # fmt: skip
        self.terms.value = paragraphs(said)

    def _show_fields(self, messages: dict[str, str] | None = None) -> None:
        offered = terms.payable(self._stated.study, self._key)
        values = {
            f"{_FIELD}{place}": self.chosen.get((self._key, place), terms.AS_STATED)
            for place in offered
        }
        if self._key not in self._fields:
            fields = [
                Field(f"{_FIELD}{place}", f"{name}: paid by", "choice", options=options)
                for place, (name, options) in offered.items()
            ]
            self._fields[self._key] = Fields(
                "How it is paid for", fields, values, self._state.guarded(self._changed)
            )
        shown = self._fields[self._key]
        shown.show(values, messages)
        self._paying.children = (shown,) if offered else ()

    def _changed(self, key: str, text: str) -> None:
        place = int(key.removeprefix(_FIELD))
        before, wanted = (self.chosen, self._state.file), {**self.chosen, (self._key, place): text}
        try:
            self._state.take(terms.paid_by(self._stated, wanted))
            self.chosen = wanted
            self._told()
        except CapexError as error:
            self.chosen, file = before
            self._state.take(file)
            self._show_fields({key: self._refused(error, self.chosen.get((self._key, place)))})

    def _refused(self, error: CapexError, offer: str | None) -> str:
        """Return why an offer cannot be chosen, in the owner's names, and what is shown instead."""
        if isinstance(error, StudyError):
            why = "; ".join(
                each.bound if each.path.endswith(".offer") else f"{each.place}: {each.bound}"
                for each in error.listed
            )
        else:
            why = str(error)
        known = self._stated.study.offers.get(offer or "")
        held = f"“{known.name}”" if known is not None else "what the study says"
        return f"{why}. The figures shown are still those of {held}."
