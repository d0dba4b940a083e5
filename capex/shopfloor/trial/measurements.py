"""Handling times and shares as measured: means of repeated runs, with intervals.

Imports numpy, `capex.errors`, `capex.study` and, of this folder, `operator_work`, `reading`,
`statistics`, `unequal` and `work`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Final

import numpy as np

from capex.errors import InputError
from capex.shopfloor.trial.operator_work import operator_share, raised_by, run_times
from capex.shopfloor.trial.reading import Reading
from capex.shopfloor.trial.statistics import (
    CONFIDENCE,
    Basis,
    sample_mean,
    share_interval,
)
from capex.shopfloor.trial.unequal import Unequal, unequal_machines
from capex.shopfloor.trial.work import WORK
from capex.study import Study

__all__ = [
    "Measurement",
    "Spoil",
    "attended_shares",
    "handling_times",
    "largest_offset",
    "quality_sentences",
    "spoil_shares",
]

#: Where the attended share of each kind of work stands in a study.
_ATTENDED: Final = {
    "print": "shop.handling.printing_attended",
    "cut": "shop.handling.cutting_attended",
}


@dataclass(frozen=True)
class Measurement:
    """One entry of the study as measured, canonical unit.

    Parameters
    ----------
    path : str
        In the study.
    words : str
        For people.
    unit : str
        In which it is written.
    value, low, high : float
        Mean and its interval.
    count : int
        Readings [-].
    on : date or None
        Of the last of them.
    raised : str
        By what the mean was raised before it became the value; empty where it is the mean itself.
    unequal : Unequal or None
        Machines that differ in it beyond chance, where the study has one value for all.
    machine : str
        Whose entry it is; empty where the study has one value for all.
    """

    path: str
    words: str
    unit: str
    value: float
    low: float
    high: float
    count: int
    on: date | None
    raised: str = ""
    unequal: Unequal | None = None
    machine: str = ""


@dataclass(frozen=True)
class Spoil:
    """Pieces spoiled in a trial.

    Parameters
    ----------
    machine, work : str
    spoiled, pieces : int
    low, high : float
        Interval of the share [-].
    """

    machine: str
    work: str
    spoiled: int
    pieces: int
    low: float
    high: float


def handling_times(
    readings: Sequence[Reading],
    *,
    rating: float = 1.0,
    allowance: float = 0.0,
    basis: Basis = "job",
    confidence: float = CONFIDENCE,
) -> tuple[Measurement, ...]:
    """Return the handling times that were timed at least twice.

    Handling that the study states once for the shop is the mean over all machines; where they
    differ beyond chance, the measurement says so, and its interval speaks for the mix of machines
    that was timed alone. Rating and allowance raise operator work only.

    Parameters
    ----------
    readings : sequence of Reading
    rating : float
        Pace of the operator against standard pace [-].
    allowance : float
        For rest and delays [-].
    basis : {"job", "workday"}
    confidence : float
        [-].

    Returns
    -------
    tuple of Measurement

    Raises
    ------
    InputError
        A value outside its bounds.

    Examples
    --------
    >>> runs = [Reading(row, "a", "load", time) for row, time in enumerate((170.0, 190.0))]
    >>> round(handling_times(runs, allowance=0.1)[0].value, 6)
    198.0
    """
    groups: dict[str, list[Reading]] = {}
    for one in readings:
        work = WORK[one.work]
        if not work.is_calibrated:
            groups.setdefault(work.path.format(machine=one.machine), []).append(one)
    found = []
    for path, members in groups.items():
        if len(members) < 2:
            continue
        work = WORK[members[0].work]
        mean = sample_mean([one.time / one.pieces for one in members], confidence=confidence)
        ends = np.stack([mean.mean, np.maximum(mean.low, 0.0), mean.high])
        share = operator_share(members)
        _, raised = run_times(ends, share, rating=rating, allowance=allowance, basis=basis)
        value, low, high = raised.tolist()
        is_shared = path.startswith("shop.")
        found.append(
            Measurement(
                path, work.name, "s", value, low, high, len(members), _last(members),
                raised_by(share, rating=rating, allowance=allowance, basis=basis),
                unequal_machines(members) if is_shared else None,
                "" if is_shared else members[0].machine,
            )
        )  # fmt: skip
    return tuple(found)


def attended_shares(
    readings: Sequence[Reading], *, confidence: float = CONFIDENCE
) -> tuple[Measurement, ...]:
    """Return the share of printing and of cutting time during which somebody stood by.

    Parameters
    ----------
    readings : sequence of Reading
        Those without attended time are left aside.
    confidence : float
        [-].

    Returns
    -------
    tuple of Measurement
        For work with at least two such readings.

    Examples
    --------
    >>> runs = [Reading(row, "a", "print", 100.0, attended=time) for row, time in ((2, 8), (3, 12))]
    >>> attended_shares(runs)[0].value
    0.1
    """
    found = []
    for work, path in _ATTENDED.items():
        members = [one for one in readings if one.work == work and one.attended is not None]
        if len(members) < 2:
            continue
        shares = [(one.attended or 0.0) / one.time for one in members]
        mean = sample_mean(shares, confidence=confidence)
        value, low, high = np.clip([mean.mean, mean.low, mean.high], 0.0, 1.0).tolist()
        words = f"attended share of {work}"
        found.append(Measurement(path, words, "%", value, low, high, len(members), _last(members)))
    return tuple(found)


def spoil_shares(
    readings: Sequence[Reading], *, confidence: float = CONFIDENCE
) -> tuple[Spoil, ...]:
    """Return the pieces spoiled by machine and work, with the interval of their share.

    The study counts spoiled orders, not pieces: the share is for judgement and is not entered.

    Parameters
    ----------
    readings : sequence of Reading
        Those that do not say are left aside.
    confidence : float
        [-].

    Returns
    -------
    tuple of Spoil

    Examples
    --------
    >>> found = spoil_shares([Reading(2, "a", "cut", 60.0, pieces=30, spoiled=0)])
    >>> round(found[0].high, 3)
    0.116
    """
    counts: dict[tuple[str, str], list[int]] = {}
    for one in readings:
        if one.spoiled is not None:
            count = counts.setdefault((one.machine, one.work), [0, 0])
            count[0] += one.spoiled
            count[1] += one.pieces
    found = []
    for (machine, work), (spoiled, pieces) in counts.items():
        low, high = share_interval(spoiled, pieces, confidence=confidence)
        found.append(Spoil(machine, work, spoiled, pieces, float(low), float(high)))
    return tuple(found)


def largest_offset(readings: Sequence[Reading]) -> float:
    """Return the largest distance between print and cut at a corner [m].

    Parameters
    ----------
    readings : sequence of Reading

    Raises
    ------
    InputError
        None was measured.

    Examples
    --------
    >>> largest_offset([Reading(2, "a", "cut", 60.0, offsets=(0.0002, 0.0004, 0.0, 0.0001))])
    0.0004
    """
    every = [offset for one in readings for offset in one.offsets]
    if not every:
        raise InputError("offset", None, "was not measured")
    return max(every)


def quality_sentences(
    readings: Sequence[Reading], study: Study, *, confidence: float = CONFIDENCE
) -> list[str]:
    """Return what each machine spoiled and how far print and cut were apart, in sentences.

    Parameters
    ----------
    readings : sequence of Reading
    study : Study
        Knows the machines' names.
    confidence : float
        Of the intervals [-].

    Returns
    -------
    list of str
        One a machine of which something was written down.

    Examples
    --------
    >>> from capex.study import data_folder, read_study
    >>> study = read_study(data_folder() / "studies" / "quenlow.toml")
    >>> run = Reading(2, "old_cutter", "cut", 60.0, pieces=30, spoiled=1, offsets=(0.0004,))
    >>> said = quality_sentences([run], study)[0].partition(": ")[2].split("; ")
    >>> said[0]
    'cut, 1 of 30 pieces spoiled, 3.3% (95% interval 0.1% to 17.2%)'
    >>> said[1]
    'print and cut at most 0.4 mm (0.016 in) apart.'
    """
    said: dict[str, list[str]] = {}
    for one in spoil_shares(readings, confidence=confidence):
        interval = f"{confidence:.0%} interval {one.low:.1%} to {one.high:.1%}"
        share = f"{one.spoiled / one.pieces:.1%} ({interval})"
        said.setdefault(one.machine, []).append(
            f"{one.work}, {one.spoiled:,} of {one.pieces:,} pieces spoiled, {share}"
        )
    for machine in dict.fromkeys(one.machine for one in readings if one.offsets):
        most = largest_offset([one for one in readings if one.machine == machine])
        apart = f"{1000 * most:.3g} mm ({most / 0.0254:.2g} in)"
        said.setdefault(machine, []).append(f"print and cut at most {apart} apart")
    return [
        f"{study.machines[machine].name if machine else 'No machine'}: {'; '.join(each)}."
        for machine, each in said.items()
    ]


def _last(readings: Sequence[Reading]) -> date | None:
    return max((one.on for one in readings if one.on is not None), default=None)
