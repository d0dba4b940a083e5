"""The room: a plan to scale of every alternative, what it passes, and machines moved by hand.

May import: ipywidgets, and from capex errors, study, shopfloor and views.
"""

from __future__ import annotations

from collections.abc import Iterable
from functools import partial
from html import escape
from typing import Final

import ipywidgets as widgets

from capex.errors import CapexError, InputError, Problem, StudyError
from capex.shopfloor.arrays import FloatArray
from capex.shopfloor.plan.floor_plan import FloorPlan, floor_plan
from capex.study import StudyFile
from capex.study.room import Room
from capex.units import unit_label
from capex.views.floor.boxes import box, section, words
from capex.views.floor.fields import Column, Field, Fields, FileOut, Grid
from capex.views.floor.numbers import with_unit
from capex.views.floor.room_parts import PARTS, SIDES, RoomPart, length_text
from capex.views.floor.room_places import (
    PLACES,
    as_placed,
    moved_machines,
    position_cells,
    row_of_position,
)
from capex.views.floor.room_words import (
    area_sentence,
    charged_area,
    findings_html,
    placed_words,
    tally_html,
)
from capex.views.floor.state import FloorState
from capex.views.palette import key_svg
from capex.views.plan_svg import plan_svg

__all__ = ["RoomSection"]

_INTRODUCTION: Final = (
    "Every machine that a choice ever has, to scale in the room of the study, with the floor that "
    "must stay free to serve it. A screening only: local codes, the authority having jurisdiction, "
    "the landlord and licensed practice decide."
)
_OWN_ROOM: Final = (
    "<p class='capex-note'>Your own room: measure it and enter it here, then download the study "
    "with it and start capex with that file. The study file holds all of this under <code>[room]"
    "</code> – a door under <code>[room.doors.NAME]</code>, a panel under <code>[room.panels.NAME]"
    "</code>, a column or a bench under <code>[room.obstacles.NAME]</code> – beside what stands "
    "only there: the least way out, the packing of a crate, and under <code>[machines.NAME]</code> "
    "each machine’s size and clearances. In doubt about a panel, leave “live parts”: it asks for "
    "the deepest working space, and a licensed electrician decides.</p>"
)


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
        self._typed: dict[str, list[list[str]]] = {}  # cells of a table that were refused
        self._messages: dict[str, dict[str, str]] = {}  # of each table, and of the fields
        self._elsewhere = ""
        self._plans: dict[str, FloorPlan | CapexError] = {}
        self._charged: dict[str, FloatArray] = {}
        self._until: dict[str, FloatArray] = {}  # by the study as it was read
        self._fields = Fields("The room", [], {}, state.guarded(self._changed))
        self._grid = Grid("Machines", state.guarded(self._placed), corner="Machine")
        self._parts = {
            part.name: Grid(part.label, state.guarded(partial(self._rebuilt, part)), part.one,
                            growing=True)
            for part in PARTS
        }  # fmt: skip
        self._cards = words(name="capex-plans")
        self._wrong = words()
        self._download = FileOut(
            "Download the study with this room", self._changed_file,
            "Walls, doors, what is fixed, and positions as they stand on this page.",
        )  # fmt: skip

    def view(self) -> widgets.Widget:
        """Return the section."""
        self._fields = Fields("The room", self._listed(), {}, self._state.guarded(self._changed))
        self._state.follow(self._renew, "study", "units", "currency")
        return section(
            "room", "The room", _INTRODUCTION,
            box("capex-card", self._fields, self._grid, self._wrong,
                box("capex-actions", self._download)),
            box("capex-card", words(f"<h3>What is fixed in the room</h3>{_OWN_ROOM}"),
                box("capex-stack", *self._parts.values())),
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
            Field("kept", "Keep the places found", "button", disabled=not self._is_found,
                  hint="Enters them as if placed by hand: the study you download holds them."),
        ]  # fmt: skip

    @property
    def _is_found(self) -> bool:
        """Whether a search placed the machines that are moved here."""
        plan = self._plans.get(self._moved)
        return isinstance(plan, FloorPlan) and not plan.by_hand

    def _entry(self, text: str) -> str:
        return with_unit(text, unit_label("length", self._state.units))

    def _changed(self, key: str, text: str) -> None:
        if key == "moved" and text in self._state.study.alternatives:
            self._moved = text
            self._forget("positions")
        elif key == "found":
            self._try({f"room.positions.{self._moved}": None}, "positions")
        elif key == "kept":
            self._keep()
        elif key in {"width", "depth"}:
            same = text.strip() == self._fields.values.get(key)
            self._try({} if same else {f"room.{key}": self._entry(text)}, key)
        self._draw()

    def _keep(self) -> None:
        """Take the places found by a search as if somebody had placed the machines there."""
        plan = self._plans.get(self._moved)
        if isinstance(plan, FloorPlan) and not plan.by_hand:
            self._try({f"room.positions.{self._moved}": as_placed(plan)}, "positions")

    def _placed(self, cells: list[list[str]]) -> None:
        plan = self._plans[self._moved]
        if not isinstance(plan, FloorPlan):
            return
        changes = moved_machines(self._file.study, self._moved, plan, cells, self._state.units)
        self._try(changes, "positions", cells)
        self._draw()

    def _rebuilt(self, part: RoomPart, cells: list[list[str]]) -> None:
        room = self._file.study.room
        if room is not None:
            self._try(part.changes(room, cells, self._state.units), part.name, cells)
        self._draw()

    def _forget(self, place: str) -> None:
        self._messages.pop(place, None)
        self._typed.pop(place, None)
        self._elsewhere = ""

    def _try(
        self, changes: dict[str, object], place: str, cells: list[list[str]] | None = None
    ) -> None:
        """Go on with a changed room, or say what is wrong and keep the last one."""
        self._forget(place)
        if not changes:  # what was typed is what stands there
            return
        try:
            self._file = self._file.changed(changes)
        except StudyError as error:
            if cells is not None:
                self._typed[place] = cells
            self._say(error, place)
        else:
            everywhere = place != "positions"
            self._work_out(self._state.study.alternatives if everywhere else (self._moved,))

    def _say(self, error: StudyError, place: str) -> None:
        """Put each problem where it was entered; what is wrong elsewhere is said below."""
        said: dict[str, list[str]] = {}
        elsewhere = []
        for problem in error.problems:
            value = "" if problem.value is None else f"‘{problem.value}’ "
            where = self._where(problem.path, place)
            if where:
                said.setdefault(where, []).append(f"{value}{problem.bound}")
            else:
                elsewhere.append(f"{self._called(problem)}: {value}{problem.bound}")
        if elsewhere and place in {"width", "depth"}:
            said.setdefault(place, []).append("does not go with what stands in the room; see below")
        self._elsewhere = "; ".join(elsewhere)
        self._messages[place] = {
            where: f"{self._label(where, place)}{'; '.join(each)}" for where, each in said.items()
        }

    def _where(self, path: str, place: str) -> str:
        """Return the field, or the cell of a table, that a path of the study was entered in."""
        if place in {"width", "depth"}:
            return place if path == f"room.{place}" else ""
        if place == "positions":
            entry = path.removeprefix(f"room.positions.{self._moved}.").split(".")
            known = len(entry) == 2 and entry[0].isdecimal() and entry[1] in PLACES
            row = row_of_position(self._file.study, self._moved, int(entry[0])) if known else 0
            return f"{row}.{PLACES.index(entry[1])}" if known else ""
        room = self._file.study.room
        part = next(each for each in PARTS if each.name == place)
        return part.place(room, path) if room is not None else ""

    def _called(self, problem: Problem) -> str:
        """Return what the page calls the place of a problem that was entered elsewhere."""
        room = self._file.study.room
        for part in PARTS:
            if room is None:
                break
            if where := part.place(room, problem.path):
                row, _, column = where.partition(".")
                label = part.entries[int(column)].label
                return f"{part.heads(room)[int(row)]}, {label[0].lower()}{label[1:]}"
        return problem.words or problem.path.removeprefix("room.").replace(".", ", ")

    def _label(self, where: str, place: str) -> str:
        """Return the heading of a cell's column, without its unit."""
        grid = self._grid if place == "positions" else self._parts.get(place)
        if grid is None:
            return ""
        return f"{grid.columns[int(where.partition('.')[2])]['label'].partition(' (')[0]}: "

    def _renew(self) -> None:
        if self._base is not self._state.file:
            self._base = self._file = self._state.file
            self._work_out(self._state.study.alternatives)
            self._until = dict(self._charged)
        self._typed, self._messages, self._elsewhere = {}, {}, ""
        self._draw()

    def _work_out(self, keys: Iterable[str]) -> None:
        for key in keys:
            try:
                self._charged[key] = charged_area(self._file.study, key)
                self._plans[key] = floor_plan(self._file.study, key)
            except CapexError as error:
                self._plans[key] = error

    def _draw(self) -> None:
        room, system = self._file.study.room, self._state.units
        size = {
            "width": length_text(room.width.likely, system) if room else "",
            "depth": length_text(room.depth.likely, system) if room else "",
            "moved": self._moved,
        }
        said = {key: self._messages.get(key, {}).get(key, "") for key in ("width", "depth")}
        self._fields.show(size, {k: text for k, text in said.items() if text}, self._listed())
        self._show_grid()
        if room is not None:
            self._show_parts(room)
        told = self._elsewhere
        self._wrong.value = f"<p class='capex-bad' role='alert'>{escape(told)}</p>" if told else ""
        self._cards.value = "".join(self._card(key) for key in self._plans)

    def _show_parts(self, room: Room) -> None:
        system = self._state.units
        for part in PARTS:
            cells = self._typed.get(part.name) or part.cells(room, system)
            heads = [*part.heads(room), *("new" for _ in cells)][: len(cells)]
            messages = self._messages.get(part.name)
            self._parts[part.name].show(part.columns(system), heads, cells, messages)

    def _show_grid(self) -> None:
        plan, system = self._plans[self._moved], self._state.units
        unit = unit_label("length", system)
        columns = [
            Column(f"From the left wall ({unit})", "5.5rem", numeric=True),
            Column(f"From the near wall ({unit})", "5.5rem", numeric=True),
            Column("Front looks to", "8rem", options=SIDES),
        ]
        if not isinstance(plan, FloorPlan):
            self._grid.show(columns, [], [])
            return
        cells = self._typed.get("positions") or position_cells(plan, system)
        names = [spot.name for spot in plan.spots]
        self._grid.show(columns, names, cells, self._messages.get("positions"))

    def _card(self, key: str) -> str:
        look, plan = self._state.look, self._plans[key]
        name = look.study.alternatives[key].name
        head = f"<h3>{key_svg(look.styles[key])}{escape(name)}</h3>"
        if isinstance(plan, CapexError):
            said = f"<p class='capex-bad'>{escape(_why(plan))}</p>"
            return f"<article class='capex-card'>{head}{said}</article>"
        opened = " open" if key == self._moved else ""
        area = area_sentence(plan, self._charged[key], look, self._until_taken(key))
        return (
            f"<article class='capex-card'>{head}{tally_html(plan)}"
            f"<div class='capex-plan'>{plan_svg(plan, look.units)}</div>"
            f"<p>{escape(placed_words(plan))} {escape(area)}</p>"
            f"<details{opened}><summary>What passes, what to ask, what fails</summary>"
            f"{findings_html(plan, look)}</details></article>"
        )

    def _until_taken(self, key: str) -> FloatArray | None:
        """Return what the appraisal charges meanwhile, where the page has moved machines."""
        shown, read = self._file.study.room, self._state.study.room
        if shown is None or read is None:
            return None
        moved = shown.positions.get(key) != read.positions.get(key)
        return self._until.get(key) if moved else None

    def _changed_file(self) -> tuple[str, str, bytes]:
        name = f"{self._state.path.stem}_room.toml"
        return name, "application/toml", self._file.text.encode()


def _why(error: CapexError) -> str:
    """Return why there is no plan, in the words of the page."""
    if isinstance(error, InputError) and error.field == "room":
        return "The study has no room yet: write [room] with its doors into the study file."
    return str(error)
