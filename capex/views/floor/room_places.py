"""Where the machines of a choice stand, as a table to fill in, and what that changes in a study.

May import: from capex `shopfloor.plan`, study and units and, of this folder, `numbers` and
`room_parts`.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from capex.shopfloor.plan.floor_plan import FloorPlan
from capex.shopfloor.plan.spots import Spot, entries_by_hand
from capex.study import Study
from capex.units import UnitSystem, unit_label
from capex.views.floor.numbers import with_unit
from capex.views.floor.room_parts import length_text

__all__ = ["PLACES", "as_placed", "moved_machines", "position_cells", "row_of_position"]

#: Entries of a position, column by column.
PLACES: Final = ("left", "near", "facing")


def position_cells(plan: FloorPlan, system: UnitSystem) -> list[list[str]]:
    """Return what stands in the table, a row a machine: rounded to what can be read."""
    return [_cells(spot, system) for spot in plan.spots]


def _cells(spot: Spot, system: UnitSystem) -> list[str]:
    return [length_text(spot.left, system), length_text(spot.near, system), spot.facing]


def as_placed(plan: FloorPlan) -> list[dict[str, object]]:
    """Return the places of a plan as a study holds them, a machine an entry, unrounded."""
    return [
        {"machine": one.key, "left": f"{spot.left!r} m", "near": f"{spot.near!r} m",
         "facing": spot.facing}
        for one, spot in zip(plan.standing, plan.spots, strict=True)
    ]  # fmt: skip


def moved_machines(
    study: Study, key: str, plan: FloorPlan, cells: Sequence[Sequence[str]], system: UnitSystem
) -> dict[str, object]:
    """Return what filled-in cells change in a study, by path: none where each is as it was.

    What a cell shows is rounded, so a cell that was left alone keeps the place behind it. Where a
    search placed the machines, one that is moved fixes all of them where they stand.

    Parameters
    ----------
    study : Study
        That `plan` is of.
    key : str
        Of the alternative.
    plan : FloorPlan
    cells : sequence of sequence of str
        Row by row, as `position_cells` has them.
    system : {"metric", "us_customary"}
        Of bare numbers in the cells.
    """
    unit = unit_label("length", system)
    moved = {
        (row, name): cell if name == "facing" else with_unit(cell, unit)
        for row, (spot, filled) in enumerate(zip(plan.spots, cells, strict=True))
        for name, was, cell in zip(PLACES, _cells(spot, system), filled, strict=True)
        if cell.strip() != was
    }
    entries = entries_by_hand(study, key)
    if entries is not None:
        return {
            f"room.positions.{key}.{entries[row][1]}.{name}": text
            for (row, name), text in moved.items()
        }
    positions = as_placed(plan)
    for (row, name), text in moved.items():
        positions[row][name] = text
    return {f"room.positions.{key}": positions} if moved else {}


def row_of_position(study: Study, key: str, position: int) -> int:
    """Return the row of the table in which a position of a study stands."""
    entries = entries_by_hand(study, key)
    rows = [place for _, place in entries] if entries is not None else []
    return rows.index(position) if position in rows else position
