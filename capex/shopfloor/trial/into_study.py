"""What a time trial changes in a study file: measured values with interval, source and date.

Promises: comments and everything else stay; what changes is said.
Imports `capex.errors`, `capex.study` and, of this folder, `calibration`, `measurements`
and `unequal`.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

from capex.errors import InputError
from capex.shopfloor.trial.calibration import Calibration, Estimate
from capex.shopfloor.trial.measurements import Measurement
from capex.shopfloor.trial.parameters import parameter_path
from capex.shopfloor.trial.swaths import SwathHeight
from capex.shopfloor.trial.unequal import LEVEL
from capex.study import Study, StudyFile
from capex.units import parse_number

__all__ = ["study_with_trial"]


def study_with_trial(
    file: StudyFile,
    calibrations: Sequence[Calibration] = (),
    measurements: Sequence[Measurement] = (),
    *,
    on: date | None = None,
) -> tuple[StudyFile, tuple[str, ...]]:
    """Return the study file with measured values, and what changed in sentences.

    Parameters
    ----------
    file : StudyFile
        Keeps its comments and its order.
    calibrations : sequence of Calibration
    measurements : sequence of Measurement
        Handling times and shares.
    on : date, optional
        Of the trial; the last date of the readings unless given.

    Returns
    -------
    StudyFile, tuple of str

    Raises
    ------
    InputError
        Nothing to enter, or no date.
    StudyError
        A value does not fit the study.

    Examples
    --------
    >>> from capex.study import data_folder
    >>> file = StudyFile.read(data_folder() / "studies" / "quenlow.toml")
    >>> load = Measurement("shop.handling.load_time", "load", "s", 180.0, 170.0, 190.0, 5, None)
    >>> changed, said = study_with_trial(file, measurements=[load], on=date(2026, 11, 25))
    >>> changed.study.shop.handling.load_time.source, said[0]
    ('measured', 'load: 180 s (170 to 190 s).')
    """
    changes: dict[str, object] = {}
    said: list[str] = []
    for found in calibrations:
        day = _day(on, [one.on for one in found.readings])
        share = f"{found.confidence:.0%}"
        note = f"stopwatch, {len(found.readings)} runs, {share} interval"
        name = file.study.machines[found.machine].name
        for one in found.estimates:
            unit = one.parameter.unit
            ends = _texts((one.low, one.value, one.high), one.parameter.kind, unit)
            held = ", held at its bound" if one.is_held else ""
            changes[one.path] = _entry(ends, day, note + held)
            said.append(_sentence(f"{name}, {one.parameter.words}", ends, held + _before(one)))
        if found.swath_height is not None:
            path = parameter_path(found.machine, "carriage_speed").replace(
                "carriage_speed", "swath_height"
            )
            ends = _texts(_ends(found.swath_height), "small_length", "mm")
            changes[path] = _entry(ends, day, "from counted crossings")
            said.append(_sentence(f"{name}, swath height", ends, ""))
    for measured in measurements:
        changes[measured.path], sentence = _measured(file.study, measured, _day(on, [measured.on]))
        said.append(sentence)
    if not changes:
        raise InputError("trial", 0, "has nothing to enter")
    return file.changed(changes), tuple(said)


def _measured(study: Study, measured: Measurement, day: date) -> tuple[dict[str, object], str]:
    """Return the entry of a mean or a share, and what it says."""
    kind = "fraction" if measured.unit == "%" else "duration"
    ends = _texts((measured.low, measured.value, measured.high), kind, measured.unit)
    raised = f", {measured.raised}" if measured.raised else ""
    unequal = _unequal(study, measured)
    note = f"stopwatch, mean of {measured.count} runs{raised}"
    words = measured.words
    if measured.machine:
        words = f"{study.machines[measured.machine].name}, {words}"
    entry = _entry(ends, day, note + ("; machines differ" if unequal else ""))
    return entry, _sentence(words, ends, raised) + unequal


def _unequal(study: Study, measured: Measurement) -> str:
    """Return how machines differ in what the study states once, as a sentence."""
    if measured.unequal is None:
        return ""
    means = ", ".join(
        f"{study.machines[key].name if key else 'no machine'} {time:.3g} s"
        for key, time in measured.unequal.means
    )
    chance = measured.unequal.chance
    rarely = "less than 0.1%" if chance < 0.001 else f"{100 * chance:.2g}%"
    return (
        f" The machines differ by more than chance ({means} as timed; were they alike, they would "
        f"so far in {rarely} of trials, and below {LEVEL:.0%} is called more than chance: one-way "
        "analysis of variance). The study has one time for all: this is the mean of what was "
        "timed, and the interval is that of this mean, not the spread between machines."
    )


def _ends(height: SwathHeight) -> tuple[float, float, float]:
    return height.low, height.value, height.high


def _day(on: date | None, dates: Sequence[date | None]) -> date:
    if on is not None:
        return on
    known = [one for one in dates if one is not None]
    if not known:
        raise InputError("date", None, "no reading has a date; say when the trial was")
    return max(known)


def _texts(ends: tuple[float, float, float], kind: str, unit: str) -> tuple[str, str, str]:
    """Return low, likely and high as entries, rounded to four digits."""
    size = parse_number(f"1 {unit}", kind)
    low, likely, high = (f"{end / size:.4g} {unit}" for end in ends)
    return low, likely, high


def _entry(ends: tuple[str, str, str], day: date, note: str) -> dict[str, object]:
    low, likely, high = ends
    spread = {"value": likely} if low == high else {"low": low, "likely": likely, "high": high}
    return {**spread, "source": "measured", "date": day, "note": note}


def _before(one: Estimate) -> str:
    if one.before is None:
        return ""
    number = one.before / parse_number(f"1 {one.parameter.unit}", one.parameter.kind)
    return f", {number:.4g} {one.parameter.unit} before"


def _sentence(words: str, ends: tuple[str, str, str], before: str) -> str:
    low, likely, high = ends
    return f"{words}: {likely} ({low.split(' ')[0]} to {high}){before}."
