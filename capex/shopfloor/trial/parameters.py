"""The parameters of machines that a time trial can measure, and what to time for each.

Imports `capex.errors`, `capex.study` and, of this folder, `reading`.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from typing import Final

from capex.errors import InputError
from capex.shopfloor.trial.reading import Reading
from capex.study import Machine

__all__ = ["PARAMETERS", "Parameter", "free_parameters", "parameter_path"]


@dataclass(frozen=True)
class Parameter:
    """One parameter of a machine's part.

    Parameters
    ----------
    name : str
        Field of the part.
    work : str
        Kind of work that shows it.
    part : str
        "printing", "cutting" or "laminating".
    kind : str
        Kind of quantity.
    unit : str
        In which a fitted value is written into the study.
    words : str
        For people.
    is_affine : bool
        Whether time rises with it in a straight line, as with every rest; a search may then
        pass below zero, so that its interval stays honest; `bounds` says what follows.
    good_enough : float
        Half width of the interval that always does, canonical unit. The figure is ours.
    remedy : str
        What to time to find it.
    """

    name: str
    work: str
    part: str
    kind: str
    unit: str
    words: str
    is_affine: bool
    good_enough: float
    remedy: str

    @property
    def lowest(self) -> float:
        """Least value that can be, canonical unit."""
        return 0.0

    @property
    def highest(self) -> float:
        """Greatest value that can be, canonical unit."""
        return 1.0 if self.kind == "fraction" else math.inf


_ALL: Final = (
    Parameter("carriage_speed", "print", "printing", "speed", "m/s", "carriage speed", False, 0.0,
              "print at least two widths, the narrowest under half of the widest"),
    Parameter("turn_time", "print", "printing", "duration", "s", "turn time", True, 0.05,
              "print narrow and wide pieces, long enough for 50 crossings"),
    Parameter("overrun", "print", "printing", "small_length", "mm", "overrun", True, 0.01,
              "measure the way beyond the print with a rule, and keep that value"),
    Parameter("quoted_rate", "print", "printing", "area_rate", "m²/h", "print rate", False, 0.0,
              "print at least 0.5 m of film"),
    Parameter("set_speed", "cut", "cutting", "speed", "m/s", "set speed", False, 0.0,
              "cut long straight lines, each several times as long as the knife needs to reach "
              "its speed"),
    Parameter("acceleration", "cut", "cutting", "acceleration", "m/s²", "acceleration", False, 0.0,
              "cut paths of many short segments, of two lengths, the set speed not reached"),
    Parameter("corner_dwell", "cut", "cutting", "duration", "s", "rest at corners", True, 0.01,
              "cut one path with many corners, and the same length in one line"),
    Parameter("lift_time", "cut", "cutting", "duration", "s", "lift and lowering", True, 0.02,
              "cut many separate short lines, and the same segments joined without a lift"),
    Parameter("lateral_acceleration", "cut", "cutting", "acceleration", "m/s²",
              "acceleration in curves", False, 0.0,
              "cut circles of two sizes, the knife slowed down by the curve"),
    Parameter("travel_speed", "cut", "cutting", "speed", "m/s", "travel speed", False, 0.0,
              "cut artwork whose parts lie far apart"),
    Parameter("laminated_speed", "cut", "cutting", "fraction", "%",
              "share of the set speed in laminated film", False, 0.0,
              "cut long straight lines in laminated film too"),
    Parameter("feed_speed", "laminate", "laminating", "feed_speed", "m/min", "feed speed", False,
              0.0, "laminate at least 2 m"),
)  # fmt: skip

#: Every parameter by name.
PARAMETERS: Final[dict[str, Parameter]] = {one.name: one for one in _ALL}


def parameter_path(machine: str, name: str) -> str:
    """Return where a parameter stands in a study.

    Parameters
    ----------
    machine, name : str
        Key of the machine and name of the parameter.

    Examples
    --------
    >>> parameter_path("old_cutter", "set_speed")
    'machines.old_cutter.cutting.set_speed'
    """
    return f"machines.{machine}.{PARAMETERS[name].part}.{name}"


def free_parameters(
    machine: Machine,
    work: str,
    readings: Sequence[Reading],
    *,
    fit: Collection[str] = (),
    hold: Collection[str] = (),
) -> tuple[str, ...]:
    """Return the names of the parameters that a trial is asked for.

    Parameters
    ----------
    machine : Machine
    work : {"print", "cut", "laminate"}
    readings : sequence of Reading
        Of that machine and work.
    fit : collection of str
        To fit beyond those fitted anyway.
    hold : collection of str
        To keep as they are in the study.

    Returns
    -------
    tuple of str

    Raises
    ------
    InputError
        A name that is no parameter of this work.
    """
    for name in (*fit, *hold):
        if name not in PARAMETERS or PARAMETERS[name].work != work:
            known = ", ".join(one.name for one in _ALL if one.work == work)
            raise InputError("parameter", name, f"is no parameter of {work}; known: {known}")
    wanted = {*_usual(machine, work, readings), *fit} - set(hold)
    return tuple(one.name for one in _ALL if one.name in wanted)


def _usual(machine: Machine, work: str, readings: Sequence[Reading]) -> set[str]:
    """Return what is fitted unless said otherwise; other entries of the study stay."""
    if work == "print":
        engine = machine.printing
        known = engine is not None and engine.swath_height and engine.carriage_speed
        counted = any(one.crossings is not None for one in readings)
        return {"carriage_speed", "turn_time"} if known or counted else {"quoted_rate"}
    if work == "laminate":
        return {"feed_speed"}
    found = {"set_speed", "acceleration", "corner_dwell", "lift_time"}
    if any(one.laminated for one in readings):
        found.add("laminated_speed")
    knife = machine.cutting
    curved = any(one.cut in ("circle", "artwork") or one.radius > 0 for one in readings)
    if curved and knife is not None and knife.lateral_acceleration is not None:
        found.add("lateral_acceleration")
    return found
