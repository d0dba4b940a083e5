"""The trial sheet: protocol, cautions, pieces and the empty table to fill in.

Promises: the sheet as written and filled in is read by `readings.read_readings` as it is.
Imports `capex.errors`, `capex.study`, `capex.units` and, of this folder, `pieces`, `protocol`,
`reading` and `work`.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import time
from typing import Final

from capex.errors import InputError
from capex.shopfloor.trial.pieces import TrialPiece, known_machines, proposed_pieces
from capex.shopfloor.trial.protocol import CAUTIONS, LEAST_REPEATS, PROTOCOL, STAMPS, Section
from capex.shopfloor.trial.reading import Reading
from capex.shopfloor.trial.work import WORK, part_of
from capex.study import Study
from capex.units import UnitSystem

__all__ = [
    "COLUMNS",
    "TrialSheet",
    "machine_names",
    "readings_table",
    "trial_columns",
    "trial_sheet",
]

#: Columns of the table, each with the field of a reading and its factor to the heading's unit.
COLUMNS: Final[tuple[tuple[str, str, float], ...]] = (
    ("machine", "machine", 1),
    ("work", "work", 1),
    ("piece", "piece", 1),
    ("run", "run", 1),
    ("width [mm]", "width", 1000),
    ("height [mm]", "height", 1000),
    ("pieces", "pieces", 1),
    ("across", "across", 1),
    ("gap [mm]", "gap", 1000),
    ("passes", "passes", 1),
    ("cut", "cut", 1),
    ("cut length [mm]", "cut_length", 1000),
    ("segments", "segments", 1),
    ("lifts", "lifts", 1),
    ("radius [mm]", "radius", 1000),
    ("artwork", "artwork", 1),
    ("laminated", "laminated", 1),
    ("crossings", "crossings", 1),
    ("started", "started", 1),
    ("media still", "media_still", 1),
    ("time [s]", "time", 1),
    ("attended [s]", "attended", 1),
    ("spoiled", "spoiled", 1),
    *((f"offset {corner} [mm]", f"offset {corner}", 1000.0) for corner in range(1, 5)),
    ("date", "on", 1),
    ("note", "note", 1),
)


def trial_columns(system: UnitSystem = "metric") -> tuple[tuple[str, str, float], ...]:
    """Return `COLUMNS` with lengths in the unit of a system.

    Parameters
    ----------
    system : {"metric", "us_customary"}

    Examples
    --------
    >>> [heading for heading, _, _ in trial_columns("us_customary")][4]
    'width [in]'
    """
    if system == "metric":
        return COLUMNS
    return tuple(
        (heading.replace("[mm]", "[in]"), field, factor / 25.4 if "[mm]" in heading else factor)
        for heading, field, factor in COLUMNS
    )


def machine_names(study: Study) -> dict[str, str]:
    """Return what to call each machine in a table: its name, or its key where names are alike.

    Parameters
    ----------
    study : Study
    """
    folded = [machine.name.casefold() for machine in study.machines.values()]
    taken = [*folded, *study.machines]
    return {
        key: machine.name if taken.count(machine.name.casefold()) == 1 else key
        for key, machine in study.machines.items()
    }


#: Fields of columns that only a stamped table needs.
_STAMPED: Final = ("started", "media_still")


@dataclass(frozen=True)
class TrialSheet:
    """Everything that goes on paper before a trial.

    Parameters
    ----------
    machines : tuple of str
        Names, in the order of the study's keys that were asked for.
    sections : tuple of Section
        The protocol.
    stamps, cautions : tuple of str
    pieces : tuple of TrialPiece
        What is timed and why.
    rows : tuple of Reading
        The table, in the order in which it is worked off; times are 0 until filled in.
    called : dict of str to str
        What the table calls each machine, by its key.
    """

    machines: tuple[str, ...]
    sections: tuple[Section, ...]
    stamps: tuple[str, ...]
    cautions: tuple[str, ...]
    pieces: tuple[TrialPiece, ...]
    rows: tuple[Reading, ...]
    called: dict[str, str] = field(default_factory=dict)

    def csv(self, system: UnitSystem = "metric") -> str:
        """Return the sheet as CSV text: lines of comment, then the table, one row a run.

        A line of comment begins with ``#`` and holds its words in the second cell, so that a
        spreadsheet shows them whole; the reader passes over it.

        Parameters
        ----------
        system : {"metric", "us_customary"}
            Of the lengths in the table.
        """
        lines = io.StringIO()
        writer = csv.writer(lines, lineterminator="\n")
        for section in self.explained:
            writer.writerow(["#", section.heading.upper()])
            writer.writerows(["#", line] for line in section.lines)
        rows = [
            replace(_with_clock(one), machine=self.called.get(one.machine, one.machine))
            for one in self.rows
        ]
        return lines.getvalue() + _table(rows, trial_columns(system))

    @property
    def explained(self) -> tuple[Section, ...]:
        """What to read before: cautions, protocol, clocks, stamps, and what each piece shows."""
        timed = dict.fromkeys(one.work for one in self.rows)
        clocks = tuple(f"{name.capitalize()}: {WORK[name].words}." for name in timed)
        shown = tuple(f"{one.setting.piece.capitalize()}: {one.purpose}." for one in self.pieces)
        return (
            Section("Safety first", self.cautions),
            *self.sections,
            Section("The clock of each kind of work, from and to", clocks),
            Section("Stamps", self.stamps),
            Section("Pieces, and what each shows", shown),
        )


def trial_sheet(
    study: Study,
    machines: Sequence[str],
    *,
    repeats: int = LEAST_REPEATS,
    pieces: Sequence[TrialPiece] | None = None,
    handling: bool = True,
) -> TrialSheet:
    """Return the sheet of a trial of machines side by side.

    Parameters
    ----------
    study : Study
    machines : sequence of str
        Keys in the study.
    repeats : int
        Runs of each piece that count [-]; one more is made first and discarded.
    pieces : sequence of TrialPiece, optional
        What to time; `proposed_pieces` unless given.
    handling : bool
        Whether loading, checking and the like are timed too.

    Returns
    -------
    TrialSheet

    Raises
    ------
    InputError
        Too few repeats, no machine, or one that the study has not; nothing to time.

    Examples
    --------
    >>> from capex.study import data_folder, read_study
    >>> study = read_study(data_folder() / "studies" / "quenlow.toml")
    >>> sheet = trial_sheet(study, ["mid_roll_printer", "mid_all_in_one"], handling=False)
    >>> [(row.machine, row.run) for row in sheet.rows[:2]]
    [('mid_roll_printer', 1), ('mid_all_in_one', 1)]
    """
    if repeats < LEAST_REPEATS:
        raise InputError("repeats", repeats, f"must be at least {LEAST_REPEATS}")
    keys = known_machines(study, machines)
    chosen = proposed_pieces(study, keys) if pieces is None else tuple(pieces)
    settings = [piece.setting for piece in chosen]
    if handling:
        settings += [
            Reading(0, "", work.name, 0.0, work.words)
            for work in WORK.values()
            if not work.is_calibrated and any(part_of(study.machines[key], work) for key in keys)
        ]
    if not settings:
        raise InputError("pieces", 0, "must be at least 1 where handling is not timed")
    rows: list[Reading] = []
    for run in range(1, repeats + 2):
        # Each machine goes first in turn, so that drift within a round evens out too.
        order = keys[(run - 1) % len(keys) :] + keys[: (run - 1) % len(keys)]
        for setting in settings:
            rows += [
                replace(setting, row=0, machine=key, run=run)
                for key in order
                if part_of(study.machines[key], WORK[setting.work])
            ]
    numbered = tuple(replace(one, row=number) for number, one in enumerate(rows, start=2))
    names = tuple(study.machines[key].name for key in keys)
    return TrialSheet(names, PROTOCOL, STAMPS, CAUTIONS, chosen, numbered, machine_names(study))


def readings_table(readings: Sequence[Reading]) -> str:
    """Return readings as CSV text that reads back to the same; a time of 0 stays empty.

    Columns of stamps are left out where nothing is stamped.

    Parameters
    ----------
    readings : sequence of Reading

    Returns
    -------
    str

    Examples
    --------
    >>> readings_table([Reading(2, "laminator", "laminate", 81.5, height=2.0)]).splitlines()[1][:26]
    'laminator,laminate,,,,2000'
    """
    stamped = any(one.started is not None for one in readings)
    return _table(readings, [each for each in COLUMNS if stamped or each[1] not in _STAMPED])


def _table(readings: Sequence[Reading], columns: Sequence[tuple[str, str, float]]) -> str:
    lines = io.StringIO()
    writer = csv.writer(lines, lineterminator="\n")
    writer.writerow(heading for heading, _, _ in columns)
    for one in readings:
        writer.writerow(_cell(one, field, factor) for _, field, factor in columns)
    return lines.getvalue()


def _with_clock(one: Reading) -> Reading:
    """Return a row to fill in that says from when to when its clock runs."""
    words = WORK[one.work].words
    return one if one.note or one.piece == words else replace(one, note=f"clock: {words}")


def _cell(one: Reading, field: str, factor: float) -> object:
    if field.startswith("offset "):
        place = int(field.removeprefix("offset ")) - 1
        value: object = one.offsets[place] if place < len(one.offsets) else None
    else:
        value = getattr(one, field)
    if value is None or value is False or value == "":
        return ""
    if value is True:
        return "yes"
    if isinstance(value, time):
        return value.isoformat()
    if isinstance(value, (int, float)):
        unused = value == 0 and field not in ("attended", "spoiled") and field[:6] != "offset"
        return "" if unused else f"{round(value * factor, 9):.12g}"
    return value
