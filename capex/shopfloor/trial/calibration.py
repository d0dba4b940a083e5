"""Parameters of a machine from stopwatch readings, with intervals, or why they cannot be had.

Imports numpy, scipy.special, `capex.errors`, `capex.study` and, of this folder, `bounds`,
`identification`, `least_squares`, `model`, `parameters`, `reading`, `search`, `statistics` and
`swaths`.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy import special

from capex.errors import InputError, NotIdentifiedError, Problem, TrialError
from capex.shopfloor.arrays import FloatArray
from capex.shopfloor.trial.bounds import Held, fit_within_bounds
from capex.shopfloor.trial.identification import identification_problems
from capex.shopfloor.trial.least_squares import Fit
from capex.shopfloor.trial.model import TrialModel
from capex.shopfloor.trial.parameters import (
    PARAMETERS,
    Parameter,
    free_parameters,
    parameter_path,
)
from capex.shopfloor.trial.reading import Reading
from capex.shopfloor.trial.search import best_fit
from capex.shopfloor.trial.statistics import CONFIDENCE
from capex.shopfloor.trial.swaths import SwathHeight, counted_swath_height
from capex.study import Study

__all__ = ["Calibration", "Estimate", "calibration"]

#: Below this probability of chance the notes say that the model does not describe the readings.
_DOUBT: Final = 0.01


@dataclass(frozen=True)
class Estimate:
    """A fitted parameter, canonical unit.

    Parameters
    ----------
    parameter : Parameter
    path : str
        Where it stands in the study.
    value, low, high : float
        Best fit and its interval, within what can be.
    standard_error : float
    before : float or None
        Likely value of the study.
    is_held : bool
        Whether the readings ask for a value that cannot be, by no more than chance explains: it
        is then held at the nearest that can, and the others are fitted with that.
    """

    parameter: Parameter
    path: str
    value: float
    low: float
    high: float
    standard_error: float
    before: float | None
    is_held: bool = False


@dataclass(frozen=True, eq=False)
class Calibration:
    """What the readings of one machine and work say.

    Parameters
    ----------
    machine, work : str
    readings : tuple of Reading, length r
    modelled : ndarray (r,)
        Time of each by the fitted model [s].
    estimates : tuple of Estimate
    fit : Fit
        Of the stopwatch times; of parameters held at a bound it knows nothing.
    model : TrialModel
        Times by the parameters of `fit`; what was held or counted is built in.
    swath_height : SwathHeight or None
        Where crossings were counted.
    confidence : float
        Of the intervals [-].
    lack_of_fit : float or None
        Probability that a true model misses the means of the series by as much [-]; None where
        the repeats do not tell.
    notes : tuple of str
        What to know about the result, in sentences.
    """

    machine: str
    work: str
    readings: tuple[Reading, ...]
    modelled: FloatArray
    estimates: tuple[Estimate, ...]
    fit: Fit
    model: TrialModel
    swath_height: SwathHeight | None
    confidence: float
    lack_of_fit: float | None
    notes: tuple[str, ...]


def calibration(
    study: Study,
    machine: str,
    work: str,
    readings: Sequence[Reading],
    *,
    fit: Collection[str] = (),
    hold: Collection[str] = (),
    confidence: float = CONFIDENCE,
) -> Calibration:
    """Return the parameters of a machine that fit stopwatch readings best, with intervals.

    Assumes that readings scatter independently and by the same number of seconds, as those of a
    hand on a stopwatch do. Swath height comes from counted crossings only, which tell it without
    a stopwatch; everything not fitted stays as in the study.

    Parameters
    ----------
    study : Study
    machine : str
        Key in the study.
    work : {"print", "cut", "laminate"}
    readings : sequence of Reading
        Those of other machines and works are left aside.
    fit, hold : collection of str
        Parameters to fit beyond the usual ones, and to keep as they are.
    confidence : float
        [-].

    Returns
    -------
    Calibration

    Raises
    ------
    TrialError
        No readings of this machine and work.
    InputError
        A machine or parameter that is not known.
    NotIdentifiedError
        The readings cannot identify some parameters, or ask for values that cannot be: which,
        why, and what to do.

    Examples
    --------
    >>> from capex.shopfloor.trial.readings import read_readings
    >>> from capex.study import data_folder, read_study
    >>> study = read_study(data_folder() / "studies" / "quenlow.toml")
    >>> found = read_readings(data_folder() / "trials" / "quenlow_trial.csv", study)
    >>> [one.parameter.name for one in calibration(study, "mid_roll_printer", "print",
    ...                                            found.kept).estimates]
    ['carriage_speed', 'turn_time']

    Notes
    -----
    Interval: value ± t·standard error from the Jacobian; a value held at its bound keeps the
    width that it had when free. Source `derivable`.
    """
    if machine not in study.machines:
        known = ", ".join(study.machines)
        raise InputError("machine", machine, f"is not in the study; known: {known}")
    mine = tuple(one for one in readings if (one.machine, one.work) == (machine, work))
    trial = f"{study.machines[machine].name}, {work}"
    if not mine:
        raise TrialError(trial, [Problem("readings", 0, "none to calibrate by")])
    names = free_parameters(study.machines[machine], work, mine, fit=fit, hold=hold)
    if not names:
        raise InputError("hold", ", ".join(hold), "leaves nothing to fit")
    engine = study.machines[machine].printing
    known_height = engine.swath_height if engine is not None else None
    height = counted_swath_height(mine, known_height, trial) if work == "print" else None
    model = TrialModel(
        study, machine, names, {} if height is None else {"swath_height": height.value}
    )
    free = _identified_fit(model, mine, trial, confidence)
    found, used, held = fit_within_bounds(free, model, mine, trial, confidence)
    estimates = _estimates(found, used, model, held, confidence)
    modelled = used.times(found.values[None, :], mine)[0]
    lack = _lack_of_fit(found, mine)
    notes = _notes(held.values(), lack, hold, height)
    return Calibration(
        machine, work, mine, modelled, estimates, found, used, height, confidence, lack, notes
    )


def _identified_fit(
    model: TrialModel, readings: Sequence[Reading], trial: str, confidence: float
) -> Fit:
    """Return the fit where the readings identify every parameter."""
    found = best_fit(model, readings, trial)
    problems = identification_problems(
        found,
        [PARAMETERS[name] for name in model.names],
        scale=model.scale,
        observed=np.array([one.time for one in readings]),
        confidence=confidence,
        unlimited=lambda place: best_fit(
            model.unlimited(place, found.values[place]), readings, trial
        ),
    )
    if problems:
        raise NotIdentifiedError(trial, problems)
    return found


def _estimates(
    found: Fit, model: TrialModel, asked: TrialModel, held: Mapping[str, Held], confidence: float
) -> tuple[Estimate, ...]:
    """Return what was asked for, fitted or held at a bound, with intervals within the bounds."""
    half, error = found.half_width(confidence), found.standard_error
    estimates = []
    for name, before in zip(asked.names, asked.before, strict=True):
        one = PARAMETERS[name]
        if name in held:
            known = held[name]
            middle, around, scatter = known.bound, known.half_width, known.standard_error
        else:
            place = model.names.index(name)
            middle, around, scatter = (float(each[place]) for each in (found.values, half, error))
        value, low, high = np.clip(
            [middle, middle - around, middle + around], one.lowest, one.highest
        ).tolist()
        path = parameter_path(model.machine, name)
        estimates.append(
            Estimate(one, path, value, low, high, scatter, before, is_held=name in held)
        )
    return tuple(estimates)


def _lack_of_fit(found: Fit, readings: Sequence[Reading]) -> float | None:
    """Return the F test of the series' means about the model against the repeats' scatter."""
    series: dict[Reading, list[float]] = {}
    for one in readings:
        series.setdefault(one.setting, []).append(one.time)
    pure = float(sum(np.sum((np.array(times) - np.mean(times)) ** 2) for times in series.values()))
    between, within = len(series) - found.values.size, len(readings) - len(series)
    if between < 1 or within < 1 or pure <= 0:
        return None
    ratio = max(found.sum_of_squares - pure, 0.0) / between / (pure / within)
    return float(special.fdtrc(between, within, ratio))


def _notes(
    held: Collection[Held],
    lack: float | None,
    hold: Collection[str],
    height: SwathHeight | None,
) -> tuple[str, ...]:
    notes = []
    if hold:
        kept = " and ".join(PARAMETERS[name].words for name in hold)
        notes.append(f"Kept as in the study: {kept}.")
    if height is not None:
        notes.append(height.sentence)
    if lack is not None and lack < _DOUBT:
        notes.append(
            "The readings differ from the model by more than their own scatter explains: the "
            "intervals are too narrow. Look for what was not held equal."
        )
    return (*notes, *(one.sentence for one in held))
