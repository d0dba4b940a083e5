"""The page of costs and prices: what is lost, what it costs, make or buy, what to pay and when.

May import: ipywidgets, and from capex errors, study, decision and views.
"""

from __future__ import annotations

from collections.abc import Callable
from html import escape
from pathlib import Path
from typing import Final

import ipywidgets as widgets

from capex.decision.appraise import appraise
from capex.decision.lost_today import lost_today
from capex.decision.make_or_buy import make_or_buy
from capex.decision.staging import PurchaseTiming, purchase_timing, triggered_purchases
from capex.decision.verdict import verdict
from capex.errors import CapexError
from capex.study import StudyFile
from capex.views.cards import cautions_html
from capex.views.chart import Chart
from capex.views.costs.panels import BreakEvenPanel, LifePanel, PricesPanel, UsedPanel, busy, note
from capex.views.costs.running import lost_picture, make_or_buy_picture, ownership_picture
from capex.views.costs.timing import later_purchases, timing_picture
from capex.views.floor.boxes import box, section, words
from capex.views.floor.fields import Field, Fields
from capex.views.floor.state import Background, FloorState, Later
from capex.views.opening import opened, study_asked_for

__all__ = ["CostsPage", "costs_page"]

_UNITS: Final = [("metric", "Metric"), ("us_customary", "US customary")]


def costs_page() -> widgets.Widget:
    """Return the page for the study that was asked for, the demo where none was.

    Returns
    -------
    Widget
        The page; where the study cannot be used, all its problems.
    """
    return opened(lambda: CostsPage(study_asked_for()).view())


class CostsPage:
    """What the choices of a study cost, and what may be paid for them when.

    Parameters
    ----------
    path : Path
        Study file.
    later : callable, optional
        Takes the longer work; by default each part has a thread of its own.

    Raises
    ------
    StudyError
        The study has problems.
    """

    def __init__(self, path: Path, later: Later | None = None) -> None:
        self.state = FloorState(StudyFile.read(path), path)
        study = self.state.study
        self.found = appraise(study)
        others = [key for key in verdict(self.found).ranking if key != study.baseline]
        self.years = -(-int(self.found.baseline.horizon[0]) // 12)
        self._staged = later_purchases(study)
        self.values = {
            "choice": (others or [study.baseline])[0], "year": "1", "units": self.state.units,
            "currency": self.state.currency.code, "staged": next(iter(self._staged), ""),
        }  # fmt: skip
        self._fields = Fields("The choice and the year", self._listed(), self.values,
                              self.state.guarded(self._changed))  # fmt: skip
        rows = len(study.jobs)
        self.lost = Chart("What is lost today?", 200 + 26 * len(lost_today(self.found).waterfall))
        self.owned = Chart("What does it truly cost?", 200 + 60 * len(study.alternatives))
        self.making = Chart("Make, or go on buying in?", 170 + 34 * rows)
        self._later = later or Background()
        self._timing: PurchaseTiming | None = None
        self.timed = Chart("When to buy the second machine?", 340)
        self._waiting = words()
        self._which = Fields(
            "Later purchase", [Field("staged", "Choice", "choice",
                                     options=list(self._staged.items()))],
            self.values, self.state.guarded(self._changed),
        )  # fmt: skip
        self.prices = PricesPanel(self.state, later)
        self.hangs = BreakEvenPanel(self.state, later)
        self.used, self.life = UsedPanel(self.state, later), LifePanel(self.state)

    def view(self) -> widgets.Widget:
        """Return the page."""
        shop = escape(self.state.study.shop_name, quote=True)
        head = words(
            f'<h1 class="capex-sentence" data-shop="{shop}">What it costs, and what to pay</h1>'
            '<p class="capex-note">Every part reads the study as it stands.</p>'
        )
        trouble = words(name="capex-trouble")
        self.state.follow(lambda: setattr(trouble, "value", self._trouble()), "trouble")
        page = box(
            "capex-page capex-floor",
            box("capex-card capex-verdict", head, self._fields, trouble),
            section("prices", "The most to pay", "Above its walk-away price a machine is not worth "
                    "buying: against keeping things as they are, against the best rival, and at "
                    "the lender's minimum cover. The lender's other limits: page Bank.",
                    self.prices.view()),
            section("break-evens", "What the decision hangs on", "How far each input is from the "
                    "value that turns the decision, the shortest way first.", self.hangs.view()),
            section("lost", "Today", "Work turned away, bought in or late, as things are.",
                    box("capex-card", self.lost)),
            section("costs", "Owning and running", "All costs of each choice over the horizon, "
                    "and making against buying in.",
                    box("capex-columns", box("capex-card", self.owned),
                        box("capex-card", self.making))),
            section("timing", "The second machine", "What a choice leaves if its later machine is "
                    "bought in another month, or never.", self._timing_view()),
            section("used", "Used or new", "The same choice with one machine bought second-hand.",
                    self.used.view()),
            section("replacement", "Sell or trade in, when?", "Value lost, interest, service and "
                    "insurance of one machine by its age.", self.life.view()),
            box("capex-card", words(cautions_html())),
        )  # fmt: skip
        self._draw()
        self._of_choice()
        self._work_out_timing()
        return page

    def _timing_view(self) -> widgets.Widget:
        if not self._staged:
            return box("capex-card", words(note("No choice of the study buys a machine later.")))
        which = [self._which] if len(self._staged) > 1 else []
        return box("capex-card", *which, self._waiting, self.timed)

    def _trouble(self) -> str:
        return escape(self.state.trouble.message) if self.state.trouble is not None else ""

    def _listed(self) -> list[Field]:
        names = [(key, choice.name) for key, choice in self.state.study.alternatives.items()]
        years = [(str(year), f"Year {year}") for year in range(1, self.years + 1)]
        return [
            Field("choice", "Choice", "choice", options=names),
            Field("year", "Project year", "choice", options=years),
            Field("units", "Units", "choice", options=_UNITS),
            Field("currency", "Money in", "choice",
                  options=[(code, code) for code in self.state.currencies]),
        ]  # fmt: skip

    def _changed(self, key: str, text: str) -> None:
        self.values[key] = text
        if key == "currency" and text in self.state.currencies:
            self.state.currency = self.state.currencies[text]
        if key == "units":
            self.state.units = "us_customary" if text == "us_customary" else "metric"
        self._fields.show(self.values)
        self._which.show(self.values)
        if key == "choice":
            self._of_choice()
        if key == "staged":
            self._work_out_timing()
        else:
            self._draw()

    def _draw(self) -> None:
        look, year, key = self.state.look, int(self.values["year"]), self.values["choice"]
        outcome = self.found.outcomes[key]
        self.lost.show(*lost_picture(lost_today(self.found, year), look))
        self.owned.show(*ownership_picture(self.found, look))
        self.making.show(*make_or_buy_picture(make_or_buy(outcome, year), outcome.name, year,
                                              look))  # fmt: skip
        self._draw_timing()

    def _of_choice(self) -> None:
        self.prices.show(self.values["choice"])
        self.used.show(self.values["choice"])

    def _work_out_timing(self) -> None:
        key, study = self.values["staged"], self.state.study
        if not key:
            return
        self._timing = None
        self._waiting.value = busy("Trying every month…")
        self._later(lambda: purchase_timing(study, key), self._take_timing)

    def _take_timing(self, result: Callable[[], PurchaseTiming]) -> None:
        @self.state.watched
        def take() -> None:
            try:
                self._timing = result()
            except CapexError as error:
                self._waiting.value = note(str(error), "alert")
                return
            outcome = self.found.outcomes[self._timing.key]
            waits = triggered_purchases(outcome)
            self._waiting.value = "".join(note(each.words) for each in waits)
            self._draw_timing()

        take()

    def _draw_timing(self) -> None:
        if self._timing is None:
            return
        path = self.found.outcomes[self._timing.key].path.study  # with the months of triggers
        placed = path.alternatives[self._timing.key].machines[self._timing.place]
        month = int(placed.month.likely if placed.when_load_passes is None else placed.month.si[0])
        last = int(self._timing.months[-1])
        entered = month if month <= last else None
        self.timed.show(*timing_picture(self._timing, entered, self.state.look))
