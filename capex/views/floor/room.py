"""The room: a plan to scale of every alternative, what it passes, and machines moved by hand.

May import: ipywidgets, and from capex errors, study, shopfloor and views.
"""

from __future__ import annotations

from collections.abc import Iterable
from html import escape
from typing import Final

import ipywidgets as widgets

from capex.errors import CapexError, Problem, StudyError
from capex.shopfloor.arrays import FloatArray
from capex.shopfloor.plan.floor_plan import FloorPlan, floor_plan
from capex.study import StudyFile
from capex.units import shown_number, unit_label
from capex.views.floor.boxes import box, section, words
from capex.views.floor.fields import Column, Field, Fields, FileOut, Grid
from capex.views.floor.room_words import area_sentence, charged_area, findings_html, tally_html
from capex.views.floor.state import FloorState
from capex.views.palette import key_svg
from capex.views.plan_svg import plan_svg

__all__ = ["RoomSection"]

_INTRODUCTION: Final = (
    "Every machine that a choice ever has, to scale in the room of the study, with the floor that "
    "must stay free to serve it. A screening only: local codes, the authority having jurisdiction, "
    "the landlord and licensed practice decide."
)
_SIDES: Final = (("far", "far wall"), ("right", "right wall"), ("near", "near wall"),
                 ("left", "left wall"))  # fmt: skip


class RoomSection:
    """The section of the page on the room.

    Parameters
    ----------
    state : FloorState
    """

    def __init__(self, state: FloorState) -> None:
        self._state = state
        self._base: StudyFile | None = None  # what the room shown was changed from
        self._file = state.file
        self._moved = next(iter(list(state.study.alternatives)[1:] or state.study.alternatives))
        self._cells: list[list[str]] = []
        self._messages: dict[str, str] = {}
        self._plans: dict[str, FloorPlan | CapexError] = {}
        self._charged: dict[str, FloatArray] = {}
        self._fields = Fields("The room", [], {}, state.guarded(self._changed))
        self._grid = Grid("Machines", state.guarded(self._placed), corner="Machine")
        self._cards = words(name="capex-plans")
        self._wrong = words()
        self._download = FileOut(
            "Download the study with this room", self._changed_file,
            "Size and positions as they stand on this page.",
        )  # fmt: skip

    def view(self) -> widgets.Widget:
        """Return the section."""
        self._fields = Fields("The room", self._listed(), {}, self._state.guarded(self._changed))
        self._state.follow(self._renew, "study", "units", "currency")
        return section(
            "room", "The room", _INTRODUCTION,
            box("capex-card", self._fields, self._grid, self._wrong,
                box("capex-actions", self._download)),
            self._cards,
        )  # fmt: skip

    def _listed(self) -> list[Field]:
        unit = unit_label("length", self._state.units)
        names = [(key, each.name) for key, each in self._state.study.alternatives.items()]
        return [
            Field("width", "Room, left to right", unit=unit, numeric=True),
            Field("depth", "Room, near to far", unit=unit, numeric=True),
            Field("moved", "Move the machines of", "choice", options=names),
            Field("found", "Find places for me", "button",
                  hint="Forgets what was moved by hand under this choice."),
        ]  # fmt: skip

    def _length(self, value: float) -> str:
        return f"{shown_number(value, 'length', self._state.units):.4g}"

    def _entry(self, text: str) -> str:
        plain = text.strip().replace(",", ".")
        bare = plain.replace(".", "", 1).removeprefix("-").isdigit()
        return f"{plain} {unit_label('length', self._state.units)}" if bare else plain

    def _changed(self, key: str, text: str) -> None:
        if key == "moved" and text in self._state.study.alternatives:
            self._moved = text
        elif key == "found":
            self._messages.pop("grid", None)
            self._try({f"room.positions.{self._moved}": None}, key)
        elif key in {"width", "depth"}:
            self._try({f"room.{key}": self._entry(text)}, key)
        self._draw()

    def _placed(self, cells: list[list[str]]) -> None:
        plan = self._plans[self._moved]
        if not isinstance(plan, FloorPlan):
            return
        self._cells = cells
        choice = self._state.study.alternatives[self._moved]
        machines = {self._state.study.machines[p.machine].name: p.machine for p in choice.machines}
        positions = [
            {"machine": machines[spot.name.rsplit(" (", 1)[0]], "left": self._entry(left),
             "near": self._entry(near), "facing": facing}
            for spot, (left, near, facing) in zip(plan.spots, cells, strict=True)
        ]  # fmt: skip
        self._try({f"room.positions.{self._moved}": positions}, "grid")
        self._draw()

    def _try(self, changes: dict[str, object], place: str) -> None:
        """Go on with a changed room, or say what is wrong and keep the last one."""
        try:
            self._file = self._file.changed(changes)
        except StudyError as error:
            self._messages[place] = "; ".join(_said(problem) for problem in error.problems)
        else:
            self._messages.pop(place, None)
            everywhere = place in {"width", "depth"}
            self._work_out(self._state.study.alternatives if everywhere else (self._moved,))

    def _renew(self) -> None:
        if self._base is not self._state.file:
            self._base = self._file = self._state.file
            self._work_out(self._state.study.alternatives)
        self._cells = []
        self._draw()

    def _work_out(self, keys: Iterable[str]) -> None:
        for key in keys:
            try:
                self._charged[key] = charged_area(self._file.study, key)
                self._plans[key] = floor_plan(self._file.study, key)
            except CapexError as error:
                self._plans[key] = error
        self._cells = []

    def _draw(self) -> None:
        room = self._file.study.room
        size = {
            "width": self._length(room.width.likely) if room else "",
            "depth": self._length(room.depth.likely) if room else "",
            "moved": self._moved,
        }
        self._fields.show(size, self._messages, self._listed())
        self._show_grid()
        said = self._messages.get("grid", "")
        self._wrong.value = f"<p class='capex-bad' role='alert'>{escape(said)}</p>" if said else ""
        self._cards.value = "".join(self._card(key) for key in self._plans)

    def _show_grid(self) -> None:
        plan = self._plans[self._moved]
        unit = unit_label("length", self._state.units)
        columns = [
            Column(f"From the left wall ({unit})", "5.5rem", numeric=True),
            Column(f"From the near wall ({unit})", "5.5rem", numeric=True),
            Column("Front looks to", "8rem", options=_SIDES),
        ]
        if not isinstance(plan, FloorPlan):
            self._grid.show(columns, [], [])
            return
        cells = self._cells or [
            [self._length(spot.left), self._length(spot.near), spot.facing] for spot in plan.spots
        ]
        self._grid.show(columns, [spot.name for spot in plan.spots], cells)

    def _card(self, key: str) -> str:
        look, plan = self._state.look, self._plans[key]
        name = look.study.alternatives[key].name
        head = f"<h3>{key_svg(look.styles[key])}{escape(name)}</h3>"
        if isinstance(plan, CapexError):
            said = f"<p class='capex-bad'>{escape(str(plan))}</p>"
            return f"<article class='capex-card'>{head}{said}</article>"
        opened = " open" if key == self._moved else ""
        how = "Placed by hand." if plan.by_hand else "Places found by search."
        return (
            f"<article class='capex-card'>{head}{tally_html(plan)}"
            f"<div class='capex-plan'>{plan_svg(plan, look.units)}</div>"
            f"<p>{how} {escape(area_sentence(plan, self._charged[key], look))}</p>"
            f"<details{opened}><summary>What passes, what to ask, what fails</summary>"
            f"{findings_html(plan, look)}</details></article>"
        )

    def _changed_file(self) -> tuple[str, str, bytes]:
        name = f"{self._state.path.stem}_room.toml"
        return name, "application/toml", self._file.text.encode()


def _said(problem: Problem) -> str:
    value = "" if problem.value is None else f" {problem.value}"
    return f"{problem.words or problem.path}:{value} {problem.bound}"
