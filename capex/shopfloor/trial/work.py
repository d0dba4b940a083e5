"""The kinds of work that a time trial times, and where in a study their times stand.

Machine work is described by physics and calibrated; handling is a plain mean.

Imports `capex.errors` and `capex.study`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal

from capex.errors import InputError
from capex.study import Machine, Study

__all__ = ["WORK", "Part", "Work", "machine_key", "part_of", "work_named"]

Part = Literal["printing", "cutting", "laminating"]


@dataclass(frozen=True)
class Work:
    """One kind of timed work.

    Parameters
    ----------
    name : str
        As it stands in the table of readings.
    part : {"printing", "cutting", "laminating"} or None
        What a machine must be able to do for it; None where no machine is needed.
    path : str
        Entry of the study that the mean goes to, with ``{machine}`` for the key; empty for work
        that is calibrated.
    words : str
        From when to when the clock runs.
    is_machine_time : bool
        Whether the machine sets the time, so that no allowance for people belongs to it.
    """

    name: str
    part: Part | None
    path: str
    words: str
    is_machine_time: bool = False

    @property
    def is_calibrated(self) -> bool:
        """Whether parameters are fitted to it; else its mean is an entry of the study."""
        return not self.path


_ALL: Final = (
    Work("print", "printing", "", "carriage starts to move to carriage at rest"),
    Work("cut", "cutting", "", "knife first touches the film to knife lifted for good"),
    Work("laminate", "laminating", "", "leading edge enters the rollers to trailing edge out"),
    Work("set up", None, "shop.handling.order_set_up_time", "order picked up to file sent"),
    Work("load", None, "shop.handling.load_time", "roll in hand to machine ready"),
    Work("unload", None, "shop.handling.unload_time", "machine still to print on the bench"),
    Work("nozzle check", "printing", "machines.{machine}.printing.nozzle_check_time",
         "pattern started to pattern judged"),
    Work("roll change", "printing", "machines.{machine}.roll_change_time",
         "old roll released to new roll ready"),
    Work("load for cutting", "cutting", "machines.{machine}.cutting.reload_time",
         "print in hand to knife ready at the first mark"),
    Work("find marks", "cutting", "machines.{machine}.cutting.mark_scan_time",
         "search for marks started to cut started, for each set of marks", is_machine_time=True),
    Work("load the laminator", "laminating", "machines.{machine}.laminating.load_time",
         "print in hand to rollers closed on it"),
)  # fmt: skip

#: Every kind of work by name.
WORK: Final[dict[str, Work]] = {work.name: work for work in _ALL}


def work_named(text: str) -> Work:
    """Return the kind of work with a name.

    Parameters
    ----------
    text : str
        Case and spaces do not matter.

    Raises
    ------
    InputError
        There is none.

    Examples
    --------
    >>> work_named(" Find  marks").path
    'machines.{machine}.cutting.mark_scan_time'
    """
    found = WORK.get(" ".join(text.casefold().replace("_", " ").split()))
    if found is None:
        raise InputError("work", text, f"is not timed here; known: {', '.join(WORK)}")
    return found


def machine_key(study: Study, text: str) -> str:
    """Return the key of a machine that is given by key or name.

    Parameters
    ----------
    study : Study
    text : str

    Raises
    ------
    InputError
        The study has no such machine.

    Examples
    --------
    >>> from capex.study import data_folder, read_study
    >>> machine_key(read_study(data_folder() / "studies" / "quenlow.toml"), "Mid all-in-one")
    'mid_all_in_one'
    """
    wanted = text.strip().casefold()
    for key, machine in study.machines.items():
        if wanted in (key, machine.name.casefold()):
            return key
    raise InputError("machine", text, f"is not in the study; known: {', '.join(study.machines)}")


def part_of(machine: Machine, work: Work) -> bool:
    """Return whether a machine can do a kind of work.

    Parameters
    ----------
    machine : Machine
    work : Work
    """
    return work.part is None or getattr(machine, work.part) is not None
