"""What is fixed in the room – doors, electrical panels, columns – as tables to fill in.

May import: from capex study, units and, of this folder, `fields` and `numbers`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

from capex.study.room import Room
from capex.units import UnitSystem, shown_number, unit_label
from capex.views.floor.fields import Column
from capex.views.floor.numbers import with_unit

__all__ = ["PARTS", "SIDES", "RoomPart", "length_text"]

#: Sides of the room, and the walls that stand there.
SIDES: Final = (("far", "far wall"), ("right", "right wall"), ("near", "near wall"),
                ("left", "left wall"))  # fmt: skip


def length_text(value: float, system: UnitSystem) -> str:
    """Return a length for a field, without its unit.

    Examples
    --------
    >>> length_text(0.7112, "metric"), length_text(0.7112, "us_customary")
    ('0.7112', '28')
    """
    return f"{shown_number(value, 'length', system):.4g}"


@dataclass(frozen=True)
class _Entry:
    """One column: an entry of the part, and how it is filled in."""

    name: str
    label: str
    kind: str = "length"
    options: tuple[tuple[str, str], ...] = ()
    width: str = "4.5rem"

    def cell(self, part: Any, system: UnitSystem) -> str:
        value = getattr(part, self.name)
        if self.kind == "length":
            return length_text(value.likely, system)
        if self.kind == "voltage":
            return f"{value.likely:.4g}"
        return ("yes" if value else "no") if self.kind == "yes" else str(value)

    def entry(self, cell: str, system: UnitSystem) -> object:
        """Return what goes into the study."""
        if self.kind in {"length", "voltage"}:
            return with_unit(cell, unit_label(self.kind, system))
        return cell == "yes" if self.kind == "yes" else cell

    def column(self, system: UnitSystem) -> Column:
        numeric = self.kind in {"length", "voltage"}
        unit = f" ({unit_label(self.kind, system)})" if numeric else ""
        return Column(self.label + unit, self.width, numeric=numeric, check=self.kind == "yes",
                      options=self.options)  # fmt: skip


@dataclass(frozen=True)
class RoomPart:
    """One kind of fixed thing.

    Parameters
    ----------
    name : str
        Table of the room in a study.
    label, one : str
        Of the table on the page, and of a new row.
    entries : sequence of _Entry
    new : dict
        What a row that is added begins with.
    """

    name: str
    label: str
    one: str
    entries: Sequence[_Entry]
    new: dict[str, object]

    def keys(self, room: Room) -> list[str]:
        """Return the keys of the rows."""
        return list(getattr(room, self.name))

    def heads(self, room: Room) -> list[str]:
        """Return the names of the rows."""
        return [part.name for part in getattr(room, self.name).values()]

    def columns(self, system: UnitSystem) -> list[Column]:
        """Return the columns; the last one takes a row away."""
        return [*(entry.column(system) for entry in self.entries), Column("Remove", check=True)]

    def cells(self, room: Room, system: UnitSystem) -> list[list[str]]:
        """Return what stands in each row."""
        parts = getattr(room, self.name).values()
        return [[*(entry.cell(part, system) for entry in self.entries), "no"] for part in parts]

    def changes(
        self, room: Room, cells: Sequence[Sequence[str]], system: UnitSystem
    ) -> dict[str, object]:
        """Return what filled-in cells change in the study, by path.

        Parameters
        ----------
        room : Room
            As it stands.
        cells : sequence of sequence of str
            Row by row; a row beyond those of the room adds one.
        system : {"metric", "us_customary"}
        """
        keys, before = self.keys(room), self.cells(room, system)
        found: dict[str, object] = {}
        for key, old, row in zip(keys, before, cells, strict=False):
            path = f"room.{self.name}.{key}"
            if row[-1] == "yes":
                found[path] = None
                continue
            for entry, was, cell in zip(self.entries, old, row, strict=False):
                if cell != was:
                    found[f"{path}.{entry.name}"] = entry.entry(cell, system)
        if len(cells) > len(keys):
            number = next(n for n in range(1, 1000) if f"{self.name}_{n}" not in keys)
            name = {"name": f"{self.one} {len(keys) + 1}"}
            found[f"room.{self.name}.{self.name}_{number}"] = name | self.new
        return found

    def place(self, room: Room, path: str) -> str:
        """Return the ``"row.column"`` of a path of the study, or nothing where it is not here."""
        for row, key in enumerate(self.keys(room)):
            for column, entry in enumerate(self.entries):
                if path == f"room.{self.name}.{key}.{entry.name}":
                    return f"{row}.{column}"
        return ""


_WALL: Final = _Entry("wall", "Wall", "choice", SIDES, "7rem")
#: From the left end of the near and far wall, from the near end of the others.
_FROM: Final = _Entry("position", "From its left or near end")

#: Every kind of fixed thing that the page lets change.
PARTS: Final = (
    RoomPart(
        "doors", "Doors", "Door",
        (_WALL, _FROM, _Entry("width", "Width"),
         _Entry("swing", "Leaf opens", "choice",
                (("in", "into the room"), ("out", "out of it"), ("sliding", "slides")), "9rem"),
         _Entry("leads_to_exit", "Leads to an exit", "yes")),
        {"wall": "near", "position": "0 m", "width": "0.9 m"},
    ),
    RoomPart(
        "panels", "Electrical panels", "Panel",
        (_WALL, _FROM, _Entry("width", "Width"),
         _Entry("voltage_to_ground", "Voltage to ground", "voltage"),
         _Entry("condition", "Across from it", "choice",
                (("A", "neither live nor earthed"), ("B", "earthed, or brick or concrete"),
                 ("C", "live parts")), "17rem")),
        {"wall": "near", "position": "0 m", "width": "0.4 m", "voltage_to_ground": "120 V"},
    ),
    RoomPart(
        "obstacles", "Columns, benches and the like", "Fixture",
        (_Entry("left", "From the left wall"), _Entry("near", "From the near wall"),
         _Entry("length", "Left to right"), _Entry("depth", "Near to far")),
        {"left": "0 m", "near": "0 m", "length": "0.5 m", "depth": "0.5 m"},
    ),
)  # fmt: skip
