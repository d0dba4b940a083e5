"""The parts of the bank page about offers: side by side, and amortisation by month.

May import: ipywidgets, and from capex errors, decision and views.
"""

from __future__ import annotations

from html import escape
from typing import Final

import ipywidgets as widgets

from capex.decision.outcome import Outcome
from capex.errors import CapexError
from capex.views.bank import amortization, offers
from capex.views.bank.cheapest import offers_words
from capex.views.bank.request_panel import kept_together, paragraphs
from capex.views.chart import Chart
from capex.views.floor.boxes import box, table_html, words
from capex.views.floor.fields import Field, Fields
from capex.views.floor.state import FloorState

__all__ = ["AmortizationPanel", "OffersPanel"]

#: On paper the choice of a loan stays with its chart, whose table may go over pages.
_TOGETHER: Final = "<style>@media print{.capex-loan>:not(:last-child){break-after:avoid}}</style>"
_OF_CHOICE: Final = "of the choice"
_NO_OFFER: Final = (
    "The study has no offers. Write each under <code>offers</code>: its machine, date and price, "
    "and a loan or a lease where it has one."
)


class OffersPanel:
    """Offers for one machine of the study side by side.

    Parameters
    ----------
    state : FloorState
    """

    def __init__(self, state: FloorState) -> None:
        self._state = state
        self._machines = offers.machines_with_offers(state.study)
        self.values = {"machine": next(iter(self._machines), "")}
        self._fields = Fields(
            "Offers", [Field("machine", "Machine", "choice", options=list(self._machines.items()))],
            self.values, state.guarded(self._changed),
        )  # fmt: skip
        self.said, self.table = words(), words(name="capex-whole")
        self.table.add_class("capex-wrapped")
        self.chart = Chart("Lease, loan or cash: how much is paid by when?", 340)

    def view(self) -> widgets.Widget:
        """Return the panel."""
        if not self._machines:
            return box("capex-card", words(f"<p class='capex-note'>{_NO_OFFER}</p>"))
        self._state.follow(self._draw, "currency")
        return box("capex-card", self._fields, self.said, self.table, self.chart)

    def _changed(self, key: str, text: str) -> None:
        self.values[key] = text
        self._fields.show(self.values)
        self._draw()

    def _draw(self) -> None:
        look, machine = self._state.look, self.values["machine"]
        try:
            found = offers.offers_compared(look.study, machine)
        except CapexError as error:
            self.said.value = f"<p class='capex-note' role='alert'>{escape(str(error))}</p>"
            self.table.value = ""
            return
        self.said.value = paragraphs(list(offers_words(found, look)))
        caption = f"Offers side by side: {self._machines[machine]}"
        table = table_html(offers.offers_table(found, look), caption)
        self.table.value = kept_together(table)
        self.chart.show(*offers.offers_picture(found, look))


class AmortizationPanel:
    """Every month of the loans of a choice, or of one offer that lends money.

    Parameters
    ----------
    state : FloorState
    """

    def __init__(self, state: FloorState) -> None:
        self._state = state
        self._outcome: Outcome | None = None
        self.values = {"loan": _OF_CHOICE}
        listed = [(_OF_CHOICE, "All loans of the choice"),
                  *amortization.lending_offers(state.study).items()]  # fmt: skip
        self._fields = Fields(
            "Amortisation", [Field("loan", "Loan", "choice", options=listed)], self.values,
            state.guarded(self._changed),
        )  # fmt: skip
        self.nothing = words()
        self.chart = Chart("What is repaid each month, and what is still owed?", 380)
        self._drawn = box("capex-drawn", self.chart)

    def view(self) -> widgets.Widget:
        """Return the panel."""
        return box("capex-card capex-loan", words(_TOGETHER), self._fields, self.nothing,
                   self._drawn)  # fmt: skip

    def show(self, outcome: Outcome) -> None:
        """Show the loans of another choice."""
        self._outcome = outcome
        self._draw()

    def _changed(self, key: str, text: str) -> None:
        self.values[key] = text
        self._fields.show(self.values)
        self._draw()

    def _draw(self) -> None:
        if self._outcome is None:
            return
        look, loan = self._state.look, self.values["loan"]
        found = (
            amortization.of_choice(self._outcome)
            if loan == _OF_CHOICE
            else amortization.of_offer(look.study, loan)
        )
        self._drawn.layout.display = "none" if found is None else None
        if found is None:
            self.nothing.value = "<p>No loan of this choice to show.</p>"
            return
        self.nothing.value = "" if loan == _OF_CHOICE else (
            "<p class='capex-note'>One machine, bought on the day of decision and kept to the end "
            "of the horizon.</p>"
        )  # fmt: skip
        self.chart.show(*amortization.amortization_picture(found, look))
