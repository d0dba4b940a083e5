"""Readings against the model as numbers that a chart can draw.

Imports numpy and, of the shop floor, `motion`, `printing` and this folder.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from capex.shopfloor.arrays import FloatArray
from capex.shopfloor.printing import swath_count
from capex.shopfloor.trial.calibration import Calibration
from capex.shopfloor.trial.least_squares import jacobian
from capex.shopfloor.trial.reading import Reading
from capex.shopfloor.trial.statistics import sample_mean, student_quantile

__all__ = ["SeriesPoint", "TrialPicture", "trial_pictures"]

_CURVE_POINTS = 121


@dataclass(frozen=True)
class SeriesPoint:
    """One series of equal runs.

    Parameters
    ----------
    label : str
        What was timed.
    x, y : float
        Where it stands, y being the mean.
    low, high : float
        Interval of the mean; both y where there is one run only.
    readings : tuple of float
        Each run on the same axis.
    """

    label: str
    x: float
    y: float
    low: float
    high: float
    readings: tuple[float, ...]


@dataclass(frozen=True, eq=False)
class TrialPicture:
    """Points, interval bars and the model's curve with its own interval.

    Parameters
    ----------
    machine, work : str
    x_label, y_label : str
        In words.
    x_kind, y_kind : str
        Kinds of quantity of the axes (`capex.units.KINDS`), canonical units.
    points : tuple of SeriesPoint
    x, y, low, high : ndarray (k,)
        The model's curve and the interval of the fit about it.
    aside : tuple of str
        Series that this picture has no place for.
    """

    machine: str
    work: str
    x_label: str
    y_label: str
    x_kind: str
    y_kind: str
    points: tuple[SeriesPoint, ...]
    x: FloatArray
    y: FloatArray
    low: FloatArray
    high: FloatArray
    aside: tuple[str, ...]


def trial_pictures(found: Calibration) -> tuple[TrialPicture, ...]:
    """Return the pictures of a calibration: times measured and modelled, then the law behind them.

    The second, for printing, is time per crossing over printed width, a straight line; for
    cutting, moving time per straight line over its length, where the bend shows the set speed.

    Parameters
    ----------
    found : Calibration

    Returns
    -------
    tuple of TrialPicture

    Examples
    --------
    >>> from capex.shopfloor.trial.calibration import calibration
    >>> from capex.shopfloor.trial.readings import read_readings
    >>> from capex.study import data_folder, read_study
    >>> study = read_study(data_folder() / "studies" / "quenlow.toml")
    >>> table = read_readings(data_folder() / "trials" / "quenlow_trial.csv", study)
    >>> found = calibration(study, "mid_contour_cutter", "cut", table.kept)
    >>> [picture.x_label for picture in trial_pictures(found)]
    ['time by the model', 'length of a straight line']
    """
    pictures = [_comparison(found)]
    if found.work == "print" and "carriage_speed" in found.model.names:
        pictures.append(_crossings(found))
    if found.work == "cut":
        pictures.append(_lines(found))
    return tuple(pictures)


def _series(found: Calibration) -> list[list[Reading]]:
    groups: dict[Reading, list[Reading]] = {}
    for one in found.readings:
        groups.setdefault(one.setting, []).append(one)
    return list(groups.values())


def _label(one: Reading) -> str:
    return one.piece or one.artwork or one.cut or one.work


def _point(
    members: Sequence[Reading], x: float, y: Callable[[Reading], float], confidence: float
) -> SeriesPoint:
    each = [y(one) for one in members]
    if len(each) < 2:
        return SeriesPoint(_label(members[0]), x, each[0], each[0], each[0], tuple(each))
    mean = sample_mean(each, confidence=confidence)
    ends = (float(mean.mean), float(mean.low), float(mean.high))
    return SeriesPoint(_label(members[0]), x, *ends, tuple(each))


def _comparison(found: Calibration) -> TrialPicture:
    times = {one.setting: float(t) for one, t in zip(found.readings, found.modelled, strict=True)}
    points = tuple(
        _point(members, times[members[0].setting], lambda one: one.time, found.confidence)
        for members in _series(found)
    )
    line = np.array([0.0, max(*times.values(), *(one.time for one in found.readings))])
    return TrialPicture(
        found.machine, found.work, "time by the model", "time by the stopwatch", "duration",
        "duration", points, line, line, line, line, (),
    )  # fmt: skip


def _curve(
    found: Calibration, runs: Sequence[Reading], per: FloatArray, taken_off: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return model and interval of runs, each divided by a count, less what does not belong."""
    values = found.fit.values

    def model(sets: FloatArray) -> FloatArray:
        return found.model.times(sets, runs) / per - sets @ taken_off

    y = model(values[None, :])[0]
    slope = jacobian(model, values, found.model.scale)
    spread = np.einsum("rp,pq,rq->r", slope, found.fit.unit_covariance, slope)
    quantile = float(student_quantile(found.fit.degrees, found.confidence))
    half = quantile * found.fit.residual_deviation * np.sqrt(np.maximum(spread, 0.0))
    return y, y - half, y + half


def _crossings(found: Calibration) -> TrialPicture:
    engine = found.model.study.machines[found.machine].printing
    height = found.model.fixed.get("swath_height")
    if height is None and engine is not None and engine.swath_height is not None:
        height = engine.swath_height.likely

    def count(one: Reading) -> float:
        length = one.printed_size[1]
        return float(swath_count(length, passes=one.passes, swath_height=height or 1.0))

    points = tuple(
        _point(
            members,
            members[0].printed_size[0],
            lambda one: one.time / count(one),
            found.confidence,
        )
        for members in _series(found)
    )
    x = np.linspace(0.0, 1.05 * max(point.x for point in points), _CURVE_POINTS)
    runs = [Reading(0, found.machine, "print", 0.0, width=float(w), height=1.0) for w in x]
    per = np.array([count(runs[0])])
    y, low, high = _curve(found, runs, per, np.zeros((found.fit.values.size, 1)))
    return TrialPicture(
        found.machine, found.work, "printed width", "time of one crossing", "length", "duration",
        points, x, y, low, high, (),
    )  # fmt: skip


def _lines(found: Calibration) -> TrialPicture:
    """Return moving times of one straight line; rests are taken off as fitted."""
    fitted = {one.parameter.name: one.value for one in found.estimates}
    knife = found.model.study.machines[found.machine].cutting
    if knife is None:
        raise AssertionError
    dwell = fitted.get("corner_dwell", knife.corner_dwell.likely)
    lift = fitted.get("lift_time", knife.lift_time.likely)
    points, aside = [], []
    for members in _series(found):
        one = members[0]
        square = one.cut == "rectangle" and one.width == one.height and one.radius == 0
        if one.laminated or not (one.cut == "path" or square):
            aside.append(_label(one))
            continue
        lines, lifts = (4, 1) if square else (one.segments, one.lifts)
        length = one.width if square else one.cut_length / one.segments
        rest = dwell * (lines - lifts) + lift * lifts

        def moving(run: Reading, lines: int = lines, rest: float = rest) -> float:
            return (run.time / (run.pieces * run.passes) - rest) / lines

        points.append(_point(members, length, moving, found.confidence))
    longest = max((point.x for point in points), default=1.0)
    x = np.linspace(0.0, 1.0, _CURVE_POINTS)[1:] ** 2 * 1.05 * longest
    runs = [
        Reading(0, found.machine, "cut", 0.0, cut="path", cut_length=float(w), segments=1)
        for w in x
    ]
    off = np.array([[float(name == "lift_time")] for name in found.model.names])
    y, low, high = _curve(found, runs, np.ones(1), off)
    if "lift_time" not in found.model.names:
        y, low, high = y - lift, low - lift, high - lift
    return TrialPicture(
        found.machine, found.work, "length of a straight line", "moving time of one line",
        "length", "duration", tuple(points), x, y, low, high, tuple(aside),
    )  # fmt: skip
