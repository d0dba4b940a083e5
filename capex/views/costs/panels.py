"""The parts of the page of costs and prices that take their time or ask for figures.

May import: ipywidgets, and from capex errors, study, decision, `views.floor` and views.
"""

from __future__ import annotations

from collections.abc import Callable
from html import escape
from typing import Final

import ipywidgets as widgets

from capex.decision.break_even import BreakEven
from capex.decision.break_even_table import break_even_table
from capex.decision.machine_lives import machine_lives
from capex.decision.replacement import machine_life, machine_replacement
from capex.decision.used_or_new import UsedOrNew, used_machine, used_or_new
from capex.decision.walk_away import MachineWalkAway, walk_away_prices
from capex.errors import CapexError, InputError
from capex.study import Study
from capex.views.chart import Chart
from capex.views.costs import ages, prices
from capex.views.floor.boxes import box, table_html, words
from capex.views.floor.fields import Field, Fields
from capex.views.floor.numbers import parse_number_between
from capex.views.floor.state import Background, FloorState, Later

__all__ = ["BreakEvenPanel", "LifePanel", "PricesPanel", "UsedPanel", "busy", "note"]

_HOUR: Final = 3600.0
#: Until the user enters their own; the study states neither.
_AGE: Final = "3"
_GROWTH: Final = "10"


def note(text: str, role: str = "") -> str:
    """Return a line of small words; the text is escaped here."""
    said = f" role='{role}'" if role else ""
    return f"<p class='capex-note'{said}>{escape(text)}</p>"


def _shown(widget: widgets.DOMWidget, there: bool) -> None:
    widget.layout.display = None if there else "none"


def busy(text: str) -> str:
    """Return a line that says what is being worked out; the text is escaped here."""
    return f"<p class='capex-note' role='status' aria-busy='true'>{escape(text)}</p>"


class PricesPanel:
    """The walk-away price of every machine that the choice buys."""

    def __init__(self, state: FloorState, later: Later | None = None) -> None:
        self._state, self._later = state, later or Background()
        self.said = words()
        self.chart = Chart("What is the most to pay for each machine?", 260)
        self._drawn = box("capex-drawn", self.chart)
        self._found: tuple[MachineWalkAway, ...] = ()

    def view(self) -> widgets.Widget:
        """Return the panel."""
        self._state.follow(self._draw, "currency")
        return box("capex-card", self.said, self._drawn)

    def show(self, key: str) -> None:
        """Look for the prices of another choice."""
        self._found = ()
        study = self._state.study
        if key == study.baseline:
            self.said.value = note("The baseline buys nothing that could be walked away from.")
            _shown(self._drawn, False)
            return
        self.said.value = busy("Looking for the highest prices…")
        self._later(lambda: walk_away_prices(study, key), self._take)

    def _take(self, result: Callable[[], tuple[MachineWalkAway, ...]]) -> None:
        @self._state.watched
        def take() -> None:
            try:
                self._found = result()
            except CapexError as error:
                self.said.value = note(str(error), "alert")
                _shown(self._drawn, False)
                return
            self.said.value = "" if self._found else note("This choice buys no machine.")
            self._draw()

        take()

    def _draw(self) -> None:
        _shown(self._drawn, bool(self._found))
        if self._found:
            self.chart.height = 180 + 60 * len(self._found)
            self.chart.show(*prices.prices_picture(self._found, self._state.look))


class BreakEvenPanel:
    """The break-even of every input, once asked for: it takes about half a minute."""

    def __init__(self, state: FloorState, later: Later | None = None) -> None:
        self._state, self._later = state, later or Background()
        self._fields = Fields(
            "Break-evens", [Field("find", "Find break-evens", "button")], {},
            state.guarded(self._asked),
        )  # fmt: skip
        self.said = words(note("Every input is moved alone, which takes about half a minute."))
        self.chart = Chart("What does the decision hang on?", 480)
        self._drawn = box("capex-drawn", self.chart)
        self._found: tuple[BreakEven, ...] = ()

    def view(self) -> widgets.Widget:
        """Return the panel; nothing is worked out before the button is pressed."""
        self._state.follow(self._draw, "currency", "units")
        return box("capex-card", self._fields, self.said, self._drawn)

    def _asked(self, _key: str, _text: str) -> None:
        study = self._state.study
        self.said.value = busy("Moving every input through its range…")
        self._later(lambda: break_even_table(study), self._take)

    def _take(self, result: Callable[[], tuple[BreakEven, ...]]) -> None:
        @self._state.watched
        def take() -> None:
            try:
                self._found = result()
            except CapexError as error:
                self.said.value = note(str(error), "alert")
                return
            self.said.value = ""
            self._draw()

        take()

    def _draw(self) -> None:
        _shown(self._drawn, bool(self._found))
        if self._found:
            self.chart.show(*prices.distances_picture(self._found, self._state.look))


class UsedPanel:
    """One purchase of the choice new against second-hand."""

    def __init__(self, state: FloorState, later: Later | None = None) -> None:
        self._state, self._later = state, later or Background()
        self._key = ""
        self.values = {"machine": "", "age": _AGE, "price": "", "service": "", "failures": ""}
        self._fields = Fields("Used or new", [], self.values, state.guarded(self._changed))
        self.said, self.table = words(), words(name="capex-whole")
        self._found: UsedOrNew | None = None

    def view(self) -> widgets.Widget:
        """Return the panel."""
        self._state.follow(self._draw, "currency")
        return box("capex-card", self._fields, self.said, self.table)

    def show(self, key: str) -> None:
        """Weigh a purchase of another choice."""
        self._key = key
        listed = self._machines()
        self.values["machine"] = next(iter(listed), "")
        self._fields.show(self.values, {}, self._listed(listed))
        self._work_out()

    def _machines(self) -> dict[str, str]:
        study = self._state.study
        return {
            str(place): study.machines[one.machine].name
            for place, one in enumerate(study.alternatives[self._key].machines)
            if not one.owned and not one.second_hand
        }

    def _listed(self, machines: dict[str, str]) -> list[Field]:
        code = self._state.study.currency
        none = "empty: as its resale curve says"
        return [
            Field("machine", "Machine", "choice", options=list(machines.items())),
            Field("age", "Age", unit="years", numeric=True, hint="a guess until you enter it"),
            Field("price", "Price asked", unit=code, numeric=True, hint=none),
            Field("service", "Service a year", unit=code, numeric=True,
                  hint="empty: as the new one's"),
            Field("failures", "Hours between breakdowns", unit="h", numeric=True,
                  hint="empty: as the new one's, which flatters it"),
        ]  # fmt: skip

    def _changed(self, key: str, text: str) -> None:
        self.values[key] = text
        self._work_out()

    def _work_out(self) -> None:
        study, values = self._state.study, self.values
        self._found, self.table.value = None, ""
        if not values["machine"]:
            self.said.value = note("This choice buys no new machine.")
            return
        key, place = self._key, int(values["machine"])
        new = study.machines[study.alternatives[key].machines[place].machine]
        try:
            used = used_machine(
                new, 12.0 * parse_number_between("age", values["age"], 0.0, 40.0),
                price=_optional(values, "price", 1e9),
                service=_optional(values, "service", 1e9),
                mean_time_between_failures=_optional(values, "failures", 1e6, _HOUR),
            )  # fmt: skip
        except InputError as error:
            self._fields.show(values, {error.field: f"{error.value!r} {error.bound}"})
            return
        self._fields.show(values)
        self.said.value = busy("Weighing used against new…")
        self._later(lambda: used_or_new(study, key, place, used), self._take)

    def _take(self, result: Callable[[], UsedOrNew]) -> None:
        @self._state.watched
        def take() -> None:
            try:
                self._found = result()
            except CapexError as error:
                self.said.value = note(str(error), "alert")
                return
            self._draw()

        take()

    def _draw(self) -> None:
        if self._found is not None:
            look = self._state.look
            self.said.value = note(ages.used_words(self._found, look))
            name = look.study.machines[self._found.machine].name
            table = ages.used_table(self._found, look)
            self.table.value = table_html(table, f"New and second-hand: {name}")


def _optional(
    values: dict[str, str], key: str, high: float, unit: float = 1.0
) -> float | None:  # fmt: skip
    text = values[key].strip()
    return unit * parse_number_between(key, text, 0.0, high) if text else None


class LifePanel:
    """How long to keep a machine: the one that is there, and the one that would be bought."""

    def __init__(self, state: FloorState) -> None:
        self._state = state
        study = state.study
        self._old = _machines_of(study, owned=True)
        self._new = _machines_of(study, owned=False)
        self.values = {
            "old": next(iter(self._old), ""), "new": "", "age": _AGE, "worth": "",
            "growth": _GROWTH,
        }  # fmt: skip
        self.values["new"] = next(iter(self._successors()), "")
        self._fields = Fields("Sell or trade in", self._listed(), self.values,
                              state.guarded(self._changed))  # fmt: skip
        self.said = words()
        self.keep = Chart("How long to keep the machine that is there?", 300)
        self.life = Chart("At which age does a new one cost least a year?", 300)
        self.lives = words(name="capex-whole")
        self._kept, self._lived = box("capex-card", self.keep), box("capex-card", self.life)

    def view(self) -> widgets.Widget:
        """Return the panel."""
        self._state.follow(self._draw, "currency")
        return box("capex-stack", box("capex-card", self._fields, self.said),
                   box("capex-columns", self._kept, self._lived),
                   box("capex-card", self.lives))  # fmt: skip

    def _successors(self) -> dict[str, str]:
        """Return the machines that do all that the old one does."""
        machines = self._state.study.machines
        if not self.values["old"]:
            return self._new
        needed = machines[self.values["old"]].functions
        return {key: name for key, name in self._new.items()
                if needed <= machines[key].functions}  # fmt: skip

    def _listed(self) -> list[Field]:
        code = self._state.study.currency
        return [
            Field("old", "Machine that is there", "choice", options=list(self._old.items())),
            Field("new", "Would be replaced by", "choice",
                  options=list(self._successors().items())),
            Field("age", "Its age", unit="years", numeric=True, hint="a guess until you enter it"),
            Field("worth", "It would fetch", unit=code, numeric=True,
                  hint="empty: as its resale curve says"),
            Field("growth", "Service dearer with each year of age", unit="%", numeric=True,
                  hint="a guess until you enter it"),
        ]  # fmt: skip

    def _changed(self, key: str, text: str) -> None:
        self.values[key] = text
        if key == "old" and self.values["new"] not in self._successors():
            self.values["new"] = next(iter(self._successors()), "")
        self._draw()

    def _draw(self) -> None:
        study, look, values = self._state.study, self._state.look, self.values
        _shown(self._kept, bool(values["old"] and values["new"]))
        _shown(self._lived, bool(values["new"]))
        self.said.value = "" if values["new"] else note("No machine of the study would replace it.")
        if not values["new"]:
            self._fields.show(values, {}, self._listed())
            return
        try:
            growth = parse_number_between("growth", values["growth"], -50.0, 200.0) / 100.0
            age = parse_number_between("age", values["age"], 0.0, 40.0)
            worth = _optional(values, "worth", 1e9)
            life = machine_life(study, values["new"], upkeep_growth=growth)
            lives = machine_lives(study, list(self._new), upkeep_growth=growth)
            names = {**self._old, **self._new}
            self.lives.value = table_html(ages.lives_table(lives, names, look),
                                          "Machines of unequal lives, cost alone")  # fmt: skip
            self.life.show(*ages.life_picture(life, names[values["new"]], look))
            if values["old"]:
                kept = machine_replacement(study, values["old"], values["new"], age=age,
                                           upkeep_growth=growth, worth_now=worth)  # fmt: skip
                pair = (names[values["old"]], names[values["new"]])
                self.keep.show(*ages.keep_picture(kept, pair, look))
        except InputError as error:
            self._fields.show(values, {error.field: f"{error.value!r} {error.bound}"},
                              self._listed())  # fmt: skip
            return
        self._fields.show(values, {}, self._listed())
        self.said.value = note("Costs alone, before tax on profit: what both machines earn is "
                               "taken as alike.")  # fmt: skip


def _machines_of(study: Study, *, owned: bool) -> dict[str, str]:
    """Return the machines that choices own already, or buy, by key."""
    keys = {
        one.machine: study.machines[one.machine].name
        for choice in study.alternatives.values()
        for one in choice.machines
        if one.owned == owned
    }
    return {key: name for key, name in keys.items() if not owned or study.machines[key].functions}
