"""One stopwatch reading, and a table of them with every row accounted for.

Imports `capex.errors`.
"""

from __future__ import annotations

import datetime
from dataclasses import dataclass, replace
from datetime import date

from capex.errors import Problem, TrialError

__all__ = ["Reading", "Readings"]


@dataclass(frozen=True)
class Reading:
    """One run of one piece of work, timed.

    Parameters
    ----------
    row : int
        Of the table, as a spreadsheet counts.
    machine : str
        Key in the study; empty where the work needs none.
    work : str
        Name in `work.WORK`.
    time : float
        From start to stop of the clock [s].
    piece : str
        The shop's own name of what was made.
    run : int or None
        Number in its series; 1 is the first.
    width, height : float
        Of one piece, across and along the roll [m]; 0 where not needed.
    pieces, across : int
        In the run, and side by side [-]; sets of marks for "find marks".
    gap : float
        Between pieces [m].
    passes : int
        Crossings of the carriage over each strip, or times over the cut path [-].
    cut : str
        "path", "rectangle", "circle", "artwork" or empty.
    cut_length : float
        Of the path of one piece [m].
    segments, lifts : int
        Straight segments of one piece, and parts of its path [-].
    radius : float
        Of a rectangle's corners [m].
    artwork : str
        Name of a drawn cut line.
    laminated : bool
        Whether the film was laminated.
    crossings : int or None
        Of the carriage, counted by eye [-].
    started, media_still : time or None
        Time of day when the clock started, and when it stopped and no film moved any more.
    attended : float or None
        Of the time, somebody stood by [s].
    spoiled : int or None
        Pieces that had to be made again [-].
    offsets : tuple of float
        Between print and cut, at four corners [m].
    on : date or None
    note : str
    """

    row: int
    machine: str
    work: str
    time: float
    piece: str = ""
    run: int | None = None
    width: float = 0.0
    height: float = 0.0
    pieces: int = 1
    across: int = 1
    gap: float = 0.0
    passes: int = 1
    cut: str = ""
    cut_length: float = 0.0
    segments: int = 0
    lifts: int = 1
    radius: float = 0.0
    artwork: str = ""
    laminated: bool = False
    crossings: int | None = None
    started: datetime.time | None = None
    media_still: datetime.time | None = None
    attended: float | None = None
    spoiled: int | None = None
    offsets: tuple[float, ...] = ()
    on: date | None = None
    note: str = ""

    @property
    def setting(self) -> Reading:
        """What was timed, without how long it took: equal for all runs of a series."""
        return replace(
            self, row=0, time=0.0, piece="", run=None, crossings=None, started=None,
            media_still=None, attended=None, spoiled=None, offsets=(), on=None, note="",
        )  # fmt: skip

    @property
    def printed_size(self) -> tuple[float, float]:
        """Width and length of all pieces on the roll together [m]."""
        beside = min(self.across, self.pieces)
        rows = -(-self.pieces // self.across)
        return (
            beside * self.width + (beside - 1) * self.gap,
            rows * self.height + (rows - 1) * self.gap,
        )


@dataclass(frozen=True)
class Readings:
    """A table of readings, every row accounted for.

    Parameters
    ----------
    source : str
        Where they came from.
    kept, discarded : tuple of Reading
        Those that count, and first runs.
    problems : tuple of Problem
        Rows that cannot be used, one entry for each thing wrong.
    notes : tuple of str
        What was left out and why, and what was spoiled and off its place, in sentences.
    """

    source: str
    kept: tuple[Reading, ...]
    discarded: tuple[Reading, ...]
    problems: tuple[Problem, ...]
    notes: tuple[str, ...]

    def of(self, machine: str, work: str) -> tuple[Reading, ...]:
        """Return the kept readings of one machine and kind of work.

        Parameters
        ----------
        machine, work : str
        """
        return tuple(one for one in self.kept if (one.machine, one.work) == (machine, work))

    def check(self) -> None:
        """Do nothing where every row can be used.

        Raises
        ------
        TrialError
            With all rows that cannot.
        """
        if self.problems:
            raise TrialError(self.source, self.problems)
