"""What the timed capacity brings about: orders, material, hours and machines by month, as values.

May import: numpy, `capex.decision`, `capex.shopfloor`, `capex.study` and, of this folder, `book`,
`grid` and `quantities`.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Final

import numpy as np

from capex.decision.outcome import Outcome
from capex.shopfloor.stations import presence
from capex.study import Study
from capex.study.places import SHORT_MONTHS
from capex.views.documents.workbook.book import Book
from capex.views.documents.workbook.grid import Grid, Row, month_grid
from capex.views.documents.workbook.quantities import Quantities, Use

__all__ = ["Carried", "month_headings", "orders_sheet"]

_NOTES: Final = (
    "Every row here is a value, not a formula: capex works it out from the time that each order "
    "takes on each machine and person, month by month, and from which work pays best in a full "
    "month.",
    "Change orders, growth, hours, speeds or dates in capex and write the workbook anew. The same "
    "holds for prices so far off that other work would be made, bought in or refused.",
)
_SECTIONS: Final = {
    "sales": "Orders sold",
    "bought_in": "Orders bought in, of those sold",
    "film": "Film used",
    "ink": "Ink used",
    "laminate": "Overlaminate used",
    "spoil": "Material spoiled, beyond the above",
    "other": "Orders with other direct cost",
    "heads": "Print heads worn",
    "blades": "Blades worn",
    "power": "Power at work",
    "standby": "Power while ready",
    "floor_space": "Floor space",
}
_UNITS: Final = {
    "sales": "orders", "bought_in": "orders", "other": "orders", "heads": "heads",
    "blades": "blades", "power": "kWh", "standby": "kWh", "floor_space": "m²",
}  # fmt: skip


@dataclass
class Carried:
    """Rows of values of one alternative.

    Parameters
    ----------
    uses : dict of (line, path) to Row
        How much of what a price is of goes into a ledger line.
    paid, idle, overtime : Row
        Hours of all persons.
    late : dict of str to Row
        By job type.
    there : dict of int to Row
        Machines of a placement that are there.
    """

    paid: Row
    idle: Row
    overtime: Row
    uses: dict[tuple[str, str], Row] = field(default_factory=dict)
    late: dict[str, Row] = field(default_factory=dict)
    there: dict[int, Row] = field(default_factory=dict)

    def of(self, line: str) -> Iterator[tuple[str, Row]]:
        """Yield path and row of what goes into a ledger line."""
        return ((path, row) for (key, path), row in self.uses.items() if key == line)


def month_headings(study: Study) -> list[str]:
    """Return the heads of months 0 … m: the calendar month in which each falls.

    Examples
    --------
    >>> from capex.study import data_folder, read_study
    >>> month_headings(read_study(data_folder() / "studies" / "quenlow.toml"))[:3]
    ['Today', 'Jan 2027', 'Feb 2027']
    """
    start, horizon = study.money.start, int(study.money.horizon.likely)
    found = ["Today"]
    for month in range(horizon):
        years, place = divmod(start.month - 1 + month, 12)
        found.append(f"{SHORT_MONTHS[place]} {start.year + years}")
    return found


def orders_sheet(book: Book, letter: str, outcome: Outcome, found: Quantities) -> Carried:
    """Write the sheet of what capex carries over for one alternative.

    Parameters
    ----------
    book : Book
    letter : str
        Of the alternative's sheets.
    outcome : Outcome
        With its details.
    found : Quantities
    """
    study = outcome.path.study
    grid = month_grid(
        book, f"{letter} Orders", f"{outcome.name}: orders, material, hours", _NOTES,
        month_headings(study),
    )  # fmt: skip
    grid.section("People")
    carried = Carried(
        paid=grid.carried("Staffed hours that are paid", "h", found.paid_hours, first=1),
        idle=grid.carried("Of them, idle", "h", found.idle_hours, first=1),
        overtime=grid.carried("Overtime", "h", found.overtime_hours, first=1),
    )
    _machines(grid, outcome, carried)
    for key, words in _SECTIONS.items():
        uses = [use for use in found.uses if use.line.split(".")[0] == key]
        if uses:
            grid.section(words)
        for use in uses:
            times = 12.0 if key == "floor_space" else 1.0  # rent is for a year
            row = grid.carried(
                _name(study, use), _unit(use), use.amount * times, first=1,
                summed=key != "floor_space",
            )  # fmt: skip
            carried.uses[use.line, use.path] = row
    if found.late:
        grid.section("Orders made that are late, by simulation")
        for job, amount in found.late.items():
            carried.late[job] = grid.carried(study.jobs[job].name, "orders", amount, first=1)
    return carried


def _machines(grid: Grid, outcome: Outcome, carried: Carried) -> None:
    study = outcome.path.study
    grid.section("Machines that are there")
    for place, placement in enumerate(study.alternatives[outcome.key].machines):
        there = presence(placement, grid.periods - 1)[0] * placement.count.likely
        if there.any():
            name = study.machines[placement.machine].name
            carried.there[place] = grid.carried(
                name, "machines", np.concatenate([[0.0], there]), "amount", first=1, summed=False
            )


def _name(study: Study, use: Use) -> str:
    head, key, *_ = use.path.split(".")
    owners: dict[str, Mapping[str, object]] = {
        "films": study.films,
        "inks": study.inks,
        "jobs": study.jobs,
        "machines": study.machines,
    }
    if head not in owners:
        return "Floor taken, clearances included" if use.line == "floor_space" else "Electricity"
    return str(getattr(owners[head][key], "name", key))


def _unit(use: Use) -> str:
    named = _UNITS.get(use.line.split(".")[0])
    return named or ("L" if use.path.startswith("inks.") else "m²")
