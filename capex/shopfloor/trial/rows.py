"""One row of a table of readings: the reading, or all that is wrong with it.

Imports `capex.errors`, `capex.study` and, of this folder, `cells`, `reading` and `work`.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date, datetime
from typing import Any, Final

from capex.errors import InputError
from capex.shopfloor.trial.cells import (
    HEADINGS,
    Heading,
    parse_cell,
    parse_clock,
    parse_date,
    parse_yes,
)
from capex.shopfloor.trial.reading import Reading
from capex.shopfloor.trial.work import machine_key, part_of, work_named
from capex.study import Study
from capex.study.catalogue import artwork_names
from capex.study.orders.sheet import UnreadableCell

__all__ = ["CUTS", "STAMPED", "parse_row"]

#: Shapes of a cut line that a reading can have.
CUTS: Final = ("path", "rectangle", "circle", "artwork")

#: Columns of stamps: when the clock starts, and when it stops.
STAMPED: Final = ("started", "media still")

#: By so much the stopwatch and two clock faces read to the second may differ [s]. The figure is
#: ours.
_AGREEMENT: Final = 2.0

#: A piece that is smaller was entered in another unit than its column's [m]. The figure is ours.
_LEAST_SIDE: Final = 0.005

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
    wrong += _run_time(found, cells)
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
    if heading.kind == "clock":
        return parse_clock(heading, cell)
    if heading.kind == "yes":
        return parse_yes(heading, cell)
    return parse_cell(heading, cell)


def _run_time(found: dict[str, Any], cells: Mapping[str, object]) -> list[InputError]:
    """Put the time into place where stamps tell it; return what is wrong with stamps and time."""
    stamped = [name for name in STAMPED if name in cells]
    if not stamped:
        return [] if "time" in cells else [InputError("time", "", "is needed, or both stamps")]
    if len(stamped) == 1:
        (other,) = set(STAMPED) - set(stamped)
        return [InputError(other, "", f"is needed beside {stamped[0]}")]
    if not set(STAMPED) <= found.keys():
        return []  # unreadable, and named already
    started, still = (found[name] for name in STAMPED)
    span = (datetime.combine(date.min, still) - datetime.combine(date.min, started)).total_seconds()
    if span <= 0:
        bound = f"must be after started, {started}; of a run past midnight give the time alone"
        return [InputError(STAMPED[1], str(still), bound)]
    if "time" not in cells:
        found["time"] = span
    elif "time" in found and abs(found["time"] - span) > _AGREEMENT:
        bound = f"must agree with the stamps, {span:g} s apart, within {_AGREEMENT:g} s"
        return [InputError("time", f"{found['time']:g} s", bound)]
    return []


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
        half = min(reading.width, reading.height) * 500.0
        bound = f"must be at most half of the shorter side, {half:.4g} mm"
        wrong.append(InputError("radius", f"{reading.radius * 1000:.4g} mm", bound))
    if reading.cut == "artwork" and reading.artwork not in {*study.artworks, *artwork_names()}:
        wrong.append(InputError("artwork", reading.artwork, "is not an artwork of the study"))
    needed = {*_NEEDED.get(reading.work, ()), *_NEEDED.get(reading.cut, ())}
    for name, side in (("width", reading.width), ("height", reading.height)):
        if name in needed and side < _LEAST_SIDE:
            bound = f"must be at least {_LEAST_SIDE * 1000:g} mm; is it in another unit?"
            wrong.append(InputError(name, f"{side * 1000:.3g} mm", bound))
    machine = study.machines.get(reading.machine)
    widest = {
        "print": machine.printing.print_width if machine and machine.printing else None,
        "cut": machine.cutting.cut_width if machine and machine.cutting else None,
    }.get(reading.work)
    if widest is not None and reading.printed_size[0] > widest.likely * (1.0 + 1e-9):
        bound = f"across the roll, the machine takes {widest.shown()}"
        wrong.append(InputError("width", f"{reading.printed_size[0]:g} m", bound))
    return wrong
