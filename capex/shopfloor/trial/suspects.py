"""Readings that count but look mistyped: far from their like, or from what the study expects.

Imports `capex.errors`, `capex.study` and, of this folder, `reading`, `times` and `work`.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from statistics import median
from typing import Final

from capex.errors import InputError
from capex.shopfloor.trial.reading import Reading
from capex.shopfloor.trial.times import modelled_times
from capex.shopfloor.trial.work import WORK
from capex.study import Study

__all__ = ["Suspect", "suspects"]

#: So many times as long, or as short, is looked at again. The figure is ours: between machines
#: of one kind times differ by less, and a wrong unit or a digit too many by more.
_FACTOR: Final = 3.0


@dataclass(frozen=True)
class Suspect:
    """A reading to look at again.

    Parameters
    ----------
    row : int
        Of the table.
    sentence : str
        What is odd, with the row.
    is_series : bool
        Whether it is the whole series, of which this is the first row.
    """

    row: int
    sentence: str
    is_series: bool


def suspects(readings: Sequence[Reading], study: Study) -> list[Suspect]:
    """Return readings three times as long or as short as their like, or as the study expects.

    They count nevertheless: a machine may be that slow, and only who timed it knows.

    Parameters
    ----------
    readings : sequence of Reading
        Those that count.
    study : Study

    Returns
    -------
    list of Suspect
        In the order of the table.

    Examples
    --------
    >>> from capex.study import data_folder, read_study
    >>> study = read_study(data_folder() / "studies" / "quenlow.toml")
    >>> runs = [Reading(row, "laminator", "laminate", time, height=2.0)
    ...         for row, time in ((2, 80.0), (3, 81.0), (4, 805.0))]
    >>> suspects(runs, study)[0].sentence
    'Row 4 counts, but its 805 s are 9.9 times the 81 s of the runs like it: mistyped?'
    """
    series: dict[Reading, list[Reading]] = {}
    for one in readings:
        series.setdefault(one.setting, []).append(one)
    found = [one for runs in series.values() for one in _apart(runs)]
    found += _unexpected(list(series.values()), study)
    return sorted(found, key=lambda one: one.row)


def _times(ratio: float) -> str:
    return f"{ratio:.2g} times" if ratio > 1 else f"only {ratio:.1%} of"


def _apart(runs: Sequence[Reading]) -> Iterator[Suspect]:
    """Yield runs far from the middle one of their series; two alone do not tell which is wrong."""
    if len(runs) < 3:
        return
    middle = median(one.time for one in runs)
    for one in runs:
        ratio = one.time / middle
        if not 1 / _FACTOR < ratio < _FACTOR:
            yield Suspect(
                one.row,
                f"Row {one.row} counts, but its {one.time:.4g} s are {_times(ratio)} the "
                f"{middle:.4g} s of the runs like it: mistyped?",
                is_series=False,
            )


def _unexpected(series: Sequence[Sequence[Reading]], study: Study) -> Iterator[Suspect]:
    """Yield series far from the time that the study's machine would take."""
    for runs in series:
        first = runs[0]
        if not WORK[first.work].is_calibrated:
            continue
        try:
            expected = float(modelled_times(study, first.machine, [first])[0, 0])
        except InputError:  # the study does not know what the trial is to find
            continue
        middle = median(one.time for one in runs)
        ratio = middle / expected
        if 1 / _FACTOR < ratio < _FACTOR:
            continue
        yield Suspect(
            first.row,
            f"Row {first.row} and the runs like it count, but their {middle:.4g} s are "
            f"{_times(ratio)} the {expected:.4g} s that the study expects: a size or a time in "
            "another unit, or a wrong entry of the study?",
            is_series=True,
        )
