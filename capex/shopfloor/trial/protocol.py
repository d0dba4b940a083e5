"""How a time trial is run, as data that a page, a PDF or a terminal can show.

All of it is common practice of work study, no source, where no source is named. Imports nothing
from the package.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

__all__ = ["CAUTIONS", "LEAST_REPEATS", "PROTOCOL", "STAMPS", "Section"]

#: Repeats of each piece that count, beside the first run that does not.
LEAST_REPEATS: Final = 5


@dataclass(frozen=True)
class Section:
    """One part of the protocol.

    Parameters
    ----------
    heading : str
    lines : tuple of str
        One rule each.
    """

    heading: str
    lines: tuple[str, ...]


#: What to do, in the order in which it is done.
PROTOCOL: Final = (
    Section("Hold equal on all machines", (
        "The same files, film, roll width, profile, passes and direction of printing.",
        "The same knife offset, force, blade of the same age, and set speed as bought for.",
        "Film warmed up in the room, heaters at temperature, heads checked before the first run.",
        "The same operator, who knows each machine; nobody is hurried for the clock.",
        "Pieces lie side by side as in production; the way between them counts with the lifts.",
    )),
    Section("Runs", (
        "The first run of each piece warms up machine and operator. Write it down as run 1: it is "
        "discarded.",
        f"At least {LEAST_REPEATS} more runs of each piece on each machine.",
        "Machines take turns, in the order of the sheet, so that the day's drift hits all alike.",
        "A run that was disturbed is written down with a note and repeated; none is dropped "
        "because it looks wrong.",
    )),
    Section("The clock", (
        "Print: from the carriage's first movement for the job to the carriage at rest.",
        "Cut: from the knife's first touch to its last lift. Finding the marks is timed apart.",
        "Laminate: from the leading edge in the rollers to the trailing edge out.",
        "Handling: from the first grip to the last, while somebody works; waiting does not count.",
        "Read to a tenth of a second; minutes and seconds may be written as 2:05.5.",
    )),
    Section("Write down with each run", (
        "Attended: how long somebody had to stand by or work at the machine.",
        "Spoiled: pieces that would have to be made again.",
        "Crossings: count the carriage's printing crossings once for each piece; they tell the "
        "height of the swath.",
        "Offset: distance between printed and cut edge at the four corners of the sheet, "
        "measured with a loupe or a rule.",
    )),
)  # fmt: skip

#: The columns to stamp with the time of day, each with what it means.
STAMPS: Final = (
    "Started: the time of day to the second, such as 14:03:05, when the clock of the row starts.",
    "Media still: the same when it stops and no film moves any more.",
    "Where no stopwatch ran, leave the time empty: it follows from the two stamps, to the second. "
    "Where one ran, time and stamps must agree.",
)

#: What can hurt, on every sheet.
CAUTIONS: Final = (
    "Blades: change and check them with the machine off, hands clear of the knife's whole way.",
    "Rollers and carriages pull in: no sleeves, hair, lanyards or fingers near nip points; guards "
    "and interlocks stay as they are, also for a better view.",
    "Rolls are heavy: two people or a lift; follow the local rules on lifting.",
    "Ink, cleaner and laminate give off fumes: ventilation running, safety data sheets followed.",
    "The maker's instructions and local safety rules go before this sheet. Stop the run, not the "
    "clock, where something is not right.",
)
