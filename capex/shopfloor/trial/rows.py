"""One row of a table of readings: the reading, or all that is wrong with it.

Imports `capex.errors`, `capex.study` and, of this folder, `cells`, `reading` and `work`.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

from capex.errors import InputError
from capex.shopfloor.trial.cells import (
    HEADINGS,
    Heading,
    parse_cell,
    parse_date,
    parse_yes,
)
from capex.shopfloor.trial.reading import Reading
from capex.shopfloor.trial.work import machine_key, part_of, work_named
from capex.study import Study
from capex.study.catalogue import artwork_names
from capex.study.orders.sheet import UnreadableCell

__all__ = ["CUTS", "parse_row"]

#: Shapes of a cut line that a reading can have.
CUTS: Final = ("path", "rectangle", "circle", "artwork")

_NEEDED: Final[Mapping[str, tuple[str, ...]]] = {
    "print": ("width", "height", "passes"),
    "cut": ("cut",),
    "laminate": ("height",),
    "path": ("cut length", "segments"),
    "rectangle": ("width", "height"),
    "circle": ("width",),
    "artwork": ("artwork",),
}


def parse_row(
    number: int, cells: Mapping[str, tuple[Heading, Any]], study: Study
) -> tuple[Reading | None, list[InputError]]:
    """Return the reading of one row, or None and everything that is wrong with it.

    Parameters
    ----------
    number : int
        Of the row.
    cells : mapping of str to (Heading, cell)
        The filled cells by column.
    study : Study
        Knows the machines.

    Returns
    -------
    Reading or None, list of InputError
    """
    found: dict[str, Any] = {}
    wrong: list[InputError] = []
    for name, (heading, cell) in cells.items():
        try:
            found[name] = _value(heading, cell)
        except InputError as error:
            wrong.append(error)
    wrong += _machine_and_work(found, study)
    wrong += _missing(found, cells)
    if wrong:
        return None, wrong
    fields: dict[str, Any] = {
        name.replace(" ", "_"): int(value) if HEADINGS[name].whole else value
        for name, value in found.items()
        if name != "date" and not name.startswith("offset ")
    }
    fields["offsets"] = tuple(found[name] for name in cells if name.startswith("offset "))
    reading = Reading(row=number, on=found.get("date"), **fields)
    wrong = _misfits(reading, study)
    return (None if wrong else reading), wrong


def _value(heading: Heading, cell: Any) -> object:
    if isinstance(cell, UnreadableCell):
        raise InputError(heading.name, cell.shown, cell.reason)
    if heading.kind == "text":
        return str(cell).strip()
    if heading.kind == "date":
        return parse_date(cell)
    if heading.kind == "yes":
        return parse_yes(heading, cell)
    return parse_cell(heading, cell)


def _machine_and_work(found: dict[str, Any], study: Study) -> list[InputError]:
    """Put machine key and name of the work into place; return what is wrong with them."""
    wrong: list[InputError] = []
    work = None
    try:
        work = work_named(found.get("work", ""))
        found["work"] = work.name
        if "machine" in found:
            found["machine"] = machine_key(study, found["machine"])
    except InputError as error:
        found.pop(error.field, None)
        wrong.append(error)
    if not wrong and "machine" not in found and work and work.part is not None:
        wrong.append(InputError("machine", "", f"is needed for {work.name}"))
    found.setdefault("machine", "")
    machine = study.machines.get(found["machine"])
    if work is not None and machine is not None and not part_of(machine, work):
        wrong.append(InputError("machine", found["machine"], f"has no part for {work.part}"))
    return wrong


def _missing(found: dict[str, Any], cells: Mapping[str, object]) -> list[InputError]:
    """Return the cells that the kind of work or the shape of the cut needs."""
    work = found.get("work", "")
    needed = list(_NEEDED.get(work, ()))
    if work == "cut" and "cut" in found:
        cut = found["cut"] = found["cut"].casefold()
        if cut not in CUTS:
            return [InputError("cut", cut, f"must be one of {', '.join(CUTS)}")]
        needed += _NEEDED[cut]
    return [InputError(name, "", f"is needed for {work}") for name in needed if name not in cells]


def _misfits(reading: Reading, study: Study) -> list[InputError]:
    """Return values that do not go together, or not into the machine."""
    wrong = []
    if reading.attended is not None and reading.attended > reading.time:
        wrong.append(
            InputError("attended", reading.attended, f"must be at most {reading.time:g} s")
        )
    if reading.spoiled is not None and reading.spoiled > reading.pieces:
        wrong.append(InputError("spoiled", reading.spoiled, f"must be at most {reading.pieces}"))
    if reading.cut == "path" and reading.lifts > reading.segments:
        wrong.append(InputError("lifts", reading.lifts, "must be at most the segments"))
    if reading.cut == "rectangle" and reading.radius > min(reading.width, reading.height) / 2.0:
        wrong.append(InputError("radius", reading.radius, "must be at most half of a side, in m"))
    if reading.cut == "artwork" and reading.artwork not in {*study.artworks, *artwork_names()}:
        wrong.append(InputError("artwork", reading.artwork, "is not an artwork of the study"))
    machine = study.machines.get(reading.machine)
    widest = {
        "print": machine.printing.print_width if machine and machine.printing else None,
        "cut": machine.cutting.cut_width if machine and machine.cutting else None,
    }.get(reading.work)
    if widest is not None and reading.printed_size[0] > widest.likely * (1.0 + 1e-9):
        bound = f"across the roll, the machine takes {widest.shown()}"
        wrong.append(InputError("width", f"{reading.printed_size[0]:g} m", bound))
    return wrong
