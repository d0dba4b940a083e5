"""Parameters of a machine from stopwatch readings, with intervals, or why they cannot be had.

Imports numpy, scipy.special, `capex.errors`, `capex.study` and, of this folder, `identification`,
`least_squares`, `parameters`, `reading`, `statistics`, `swaths` and `times`.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from contextlib import suppress
from dataclasses import dataclass
from itertools import product
from typing import Final

import numpy as np
from scipy import special

from capex.errors import InputError, NoAnswerError, NotIdentifiedError, Problem, TrialError
from capex.shopfloor.arrays import FloatArray
from capex.shopfloor.trial.identification import identification_problems
from capex.shopfloor.trial.least_squares import Fit, least_squares_fit
from capex.shopfloor.trial.parameters import (
    PARAMETERS,
    Parameter,
    free_parameters,
    parameter_path,
)
from capex.shopfloor.trial.reading import Reading
from capex.shopfloor.trial.statistics import CONFIDENCE
from capex.shopfloor.trial.swaths import SwathHeight, counted_swath_height
from capex.shopfloor.trial.times import modelled_times
from capex.study import Study

__all__ = ["Calibration", "Estimate", "TrialModel", "calibration"]

#: Sizes of what a study may not state, to begin the search with, canonical units.
_GUESSES: Final = {"carriage_speed": 1.0, "quoted_rate": 20.0 / 3600.0, "laminated_speed": 1.0}

#: A start is sought from a tenth to ten times the study's value.
_GRID: Final = np.logspace(-1.0, 1.0, 25)

#: So many starts are followed: where a line just reaches the set speed, the way downhill ends.
_STARTS: Final = 4

#: So many times its value, a speed or acceleration sets no limit.
_UNLIMITED: Final = 1e3

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
        Best fit and its interval; a rest is never below zero.
    standard_error : float
    before : float or None
        Likely value of the study.
    """

    parameter: Parameter
    path: str
    value: float
    low: float
    high: float
    standard_error: float
    before: float | None


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
        Of the stopwatch times, before rests below zero are set to zero.
    model : TrialModel
        Times by parameters; what was held or counted is built in.
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


@dataclass(frozen=True, eq=False)
class TrialModel:
    """Times of runs by the parameters that are fitted, vectorized over parameter sets.

    Parameters
    ----------
    study : Study
    machine : str
    names : tuple of str, length p
        Fitted parameters.
    fixed : dict of str to float
        Others that do not stand as in the study.
    """

    study: Study
    machine: str
    names: tuple[str, ...]
    fixed: dict[str, float]

    def times(self, values: FloatArray, readings: Sequence[Reading]) -> FloatArray:
        """Return modelled times [s], shape (n, r).

        Parameters
        ----------
        values : ndarray (n, p)
        readings : sequence of Reading, length r
        """
        given = {name: values[:, place] for place, name in enumerate(self.names)}
        fixed = {name: np.full(len(values), value) for name, value in self.fixed.items()}
        return modelled_times(self.study, self.machine, readings, {**fixed, **given})

    def unlimited(self, place: int, value: float) -> TrialModel:
        """Return the model of the other parameters, one of speed or acceleration without limit.

        Parameters
        ----------
        place : int
            Of that parameter.
        value : float
            Its best value.
        """
        names = self.names[:place] + self.names[place + 1 :]
        beyond = _UNLIMITED * max(value, float(self.scale[place]))
        fixed = {**self.fixed, self.names[place]: beyond}
        return TrialModel(self.study, self.machine, names, fixed)

    @property
    def before(self) -> tuple[float | None, ...]:
        """Likely values of the study, length p."""
        part = self.study.machines[self.machine]
        found = [getattr(getattr(part, PARAMETERS[n].part), n) for n in self.names]
        return tuple(None if one is None else one.likely for one in found)

    @property
    def scale(self) -> FloatArray:
        """Typical size of each parameter, shape (p,)."""
        sizes = []
        for name, before in zip(self.names, self.before, strict=True):
            if PARAMETERS[name].is_affine:
                sizes.append(max(PARAMETERS[name].good_enough, before or 0.0))
            else:
                sizes.append(before or _GUESSES.get(name, 1.0))
        return np.array(sizes)


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
        The readings cannot identify some parameters: which, why, and what to time.

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
    Interval: value ± t·standard error from the Jacobian. Source `derivable`.
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
    found = _identified_fit(model, mine, trial, confidence)
    estimates = _estimates(found, model, confidence)
    modelled = model.times(np.array([[one.value for one in estimates]]), mine)[0]
    lack = _lack_of_fit(found, mine)
    notes = _notes(found, model, lack, hold, height, confidence)
    return Calibration(
        machine, work, mine, modelled, estimates, found, model, height, confidence, lack, notes
    )


def _identified_fit(
    model: TrialModel, readings: Sequence[Reading], trial: str, confidence: float
) -> Fit:
    """Return the fit where the readings identify every parameter."""
    found = _fitted(model, readings, trial)
    problems = identification_problems(
        found,
        [PARAMETERS[name] for name in model.names],
        scale=model.scale,
        observed=np.array([one.time for one in readings]),
        confidence=confidence,
        unlimited=lambda place: _fitted(
            model.unlimited(place, found.values[place]), readings, trial
        ),
    )
    if problems:
        raise NotIdentifiedError(trial, problems)
    return found


def _fitted(model: TrialModel, readings: Sequence[Reading], trial: str) -> Fit:
    """Return the best fit from several starts."""
    count = len(model.names)
    if len(readings) <= count:
        bound = f"must be at least {count + 1} to tell {count} parameters and the scatter"
        raise NotIdentifiedError(trial, [Problem("readings", len(readings), bound)])
    observed = np.array([one.time for one in readings])
    if not count:
        residuals = model.times(np.empty((1, 0)), readings)[0] - observed
        return Fit(np.empty(0), residuals, np.empty((observed.size, 0)))
    affine = np.array([PARAMETERS[name].is_affine for name in model.names])
    fits = []
    for start in _starts(model, readings, observed, affine):
        with suppress(NoAnswerError):
            fits.append(
                least_squares_fit(
                    lambda values: model.times(values, readings),
                    observed,
                    start,
                    scale=model.scale,
                    lower=np.where(affine, -np.inf, 1e-9),
                )
            )
    if not fits:
        raise NotIdentifiedError(trial, [Problem("readings", None, "lead to no best fit")])
    return min(fits, key=lambda one: one.sum_of_squares)


def _starts(
    model: TrialModel, readings: Sequence[Reading], observed: FloatArray, affine: FloatArray
) -> FloatArray:
    """Return the best of a grid of speeds and accelerations, the rests solved for, (starts, p)."""
    scale = model.scale
    curved = np.flatnonzero(~affine.astype(bool))
    sides = [_GRID if rank < 2 else np.ones(1) for rank in range(curved.size)]
    grid = np.array(list(product(*sides)))
    points = np.zeros((len(grid), scale.size))
    points[:, curved] = grid * scale[curved]
    base = model.times(points, readings)
    rests = np.flatnonzero(affine)
    slopes = []
    for place in rests:
        moved = points.copy()
        moved[:, place] = scale[place]
        slopes.append((model.times(moved, readings) - base) / scale[place])
    left = observed - base
    if slopes:
        table = np.stack(slopes, axis=-1)
        solved = (np.linalg.pinv(table) @ left[..., None])[..., 0]
        points[:, rests] = solved
        left = left - (table @ solved[..., None])[..., 0]
    best: FloatArray = points[np.argsort((left**2).sum(axis=1), kind="stable")[:_STARTS]]
    return best


def _estimates(found: Fit, model: TrialModel, confidence: float) -> tuple[Estimate, ...]:
    half = found.half_width(confidence)
    estimates = []
    for place, name in enumerate(model.names):
        one = PARAMETERS[name]
        floor = 0.0 if one.is_affine else -np.inf
        ceiling = 1.0 if one.kind == "fraction" else np.inf
        middle = found.values[place]
        value, low, high = np.clip(
            [middle, middle - half[place], middle + half[place]], floor, ceiling
        ).tolist()
        path = parameter_path(model.machine, name)
        error = float(found.standard_error[place])
        estimates.append(Estimate(one, path, value, low, high, error, model.before[place]))
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
    found: Fit,
    model: TrialModel,
    lack: float | None,
    hold: Collection[str],
    height: SwathHeight | None,
    confidence: float,
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
    upper = found.values + found.half_width(confidence)
    for name, end in zip(model.names, upper, strict=True):
        if PARAMETERS[name].is_affine and end < 0:
            notes.append(
                f"The readings ask for a {PARAMETERS[name].words} below zero; it is set to zero."
            )
    return tuple(notes)
