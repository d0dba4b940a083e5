"""Readings against the model, and what they say of each series and parameter, as picture and words.

May import: numpy, and from capex `shopfloor.trial`, study, units, `views.chart` and
`views.charts.picture`.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np

from capex.shopfloor.arrays import FloatArray
from capex.shopfloor.trial.calibration import Calibration
from capex.shopfloor.trial.operator_work import operator_share, run_times
from capex.shopfloor.trial.picture import TrialPicture
from capex.shopfloor.trial.reading import Reading
from capex.shopfloor.trial.statistics import SampleMean, repeats_needed, sample_mean
from capex.shopfloor.trial.work import WORK
from capex.study import Study
from capex.units import UnitSystem, quantity_text, shown_number, unit_label
from capex.views.chart import ChartTable
from capex.views.charts.picture import Look, Picture, axis, plot_text, wrapped
from capex.views.floor.times import time_text

__all__ = [
    "Series",
    "law_picture",
    "series_of",
    "series_table",
    "trial_picture",
]

#: Repeats of the same run that a trial asks for at least.
_LEAST: Final = 5
#: From this ratio of longest to shortest time on, the axis is logarithmic.
_WIDE: Final = 12.0


@dataclass(frozen=True)
class Series:
    """All kept runs of the same thing.

    Parameters
    ----------
    readings : tuple of Reading
    mean : SampleMean or None
        None where there is one run only.
    """

    readings: tuple[Reading, ...]
    mean: SampleMean | None

    @property
    def times(self) -> list[float]:
        """Stopwatch times [s]."""
        return [one.time for one in self.readings]

    @property
    def observed(self) -> float:
        """Mean of the times [s]."""
        return float(np.mean(self.times))

    def needed(self, share: float) -> int | None:
        """Return how many runs are still needed for an interval of ± a share of the mean."""
        if self.mean is None:
            return None
        count = self.mean.count
        wanted = repeats_needed(
            self.mean.mean, self.mean.standard_deviation, count=count, share=share
        )
        return max(0, max(_LEAST, math.ceil(float(wanted) - 1e-9)) - count)

    def name(self, study: Study, system: UnitSystem) -> str:
        """Return what was timed, in few words."""
        return reading_name(self.readings[0], study, system)


def reading_name(one: Reading, study: Study, system: UnitSystem) -> str:
    """Return what a reading timed, in few words."""

    def length(value: float, kind: str = "small_length") -> str:
        return quantity_text(value, kind, system, digits=3)

    said = [one.piece] if one.piece else []
    if one.work == "print":
        width, along = one.printed_size
        said.append(f"{length(width, 'length')} × {length(along, 'length')}, {one.passes} passes")
    elif one.cut == "path":
        lines = f"{one.segments} straight line{'' if one.segments == 1 else 's'}"
        said.append(f"{one.pieces} × {length(one.cut_length, 'length')} in {lines}")
    elif one.cut:
        said.append(f"{one.pieces} × {one.cut} {length(one.width) if one.width else one.artwork}")
    elif one.height:
        said.append(length(one.height, "length"))
    if one.laminated:
        said.append("laminated")
    if one.pieces > 1 and not WORK[one.work].is_calibrated:
        said.append(f"{one.pieces} in a run")
    return ", ".join(said) or one.work


def series_of(readings: Sequence[Reading]) -> tuple[Series, ...]:
    """Return readings by what was timed, in the order of the table."""
    found: dict[Reading, list[Reading]] = {}
    for one in readings:
        found.setdefault(one.setting, []).append(one)
    return tuple(
        Series(tuple(runs), sample_mean([r.time for r in runs]) if len(runs) > 1 else None)
        for runs in found.values()
    )


def trial_picture(
    found: Sequence[Series],
    calibrated: Calibration | None,
    before: Sequence[float] | None,
    look: Look,
) -> Picture:
    """Return every reading as a dot, with mean, interval and the model's time.

    Parameters
    ----------
    found : sequence of Series
        Of one machine and work.
    calibrated : Calibration or None
        None where the readings do not identify the parameters, or nothing is fitted.
    before : sequence of float or None
        Time of each series by the study as it stands [s].
    look : Look
    """
    names = [
        f"{place}. {wrapped(one.name(look.study, look.units), 26)}"
        for place, one in enumerate(found, start=1)
    ]
    after = _modelled(found, calibrated)
    every = [time for one in found for time in one.times]
    unit, scale = ("min", 60.0) if max(every) > 180 else ("s", 1.0)
    data: list[dict[str, Any]] = [
        _dots(found, names, scale, unit),
        _means(found, names, scale, unit),
    ]
    if before is not None:
        data.append(_model_marks(
            "By the study as it stands", before, names, scale, unit, "diamond-open", "#b478cc"
        ))  # fmt: skip
    if after is not None:
        data.append(_model_marks("By the fitted values", after, names, scale, unit, "line-ns-open",
                                 "#d81830"))  # fmt: skip
    wide = max(every) / min(every) > _WIDE
    time_axis = axis(f"Time of one run ({unit})", showgrid=True)
    time_axis |= {"type": "log", "dtick": 1} if wide else {"rangemode": "tozero"}
    layout = {
        "xaxis": time_axis,
        "yaxis": {"autorange": "reversed", "showgrid": False},
    }
    return Picture({"data": data, "layout": layout}, _reading(found, after, before), ChartTable())


def _modelled(found: Sequence[Series], calibrated: Calibration | None) -> list[float] | None:
    if calibrated is None:
        return None
    by_row = {
        one.row: float(time)
        for one, time in zip(calibrated.readings, calibrated.modelled, strict=True)
    }
    return [by_row[one.readings[0].row] for one in found]


def _dots(found: Sequence[Series], names: list[str], scale: float, unit: str) -> dict[str, Any]:
    return {
        "type": "scatter", "mode": "markers", "name": "Readings",
        "y": [name for name, one in zip(names, found, strict=True) for _ in one.times],
        "x": [round(time / scale, 3) for one in found for time in one.times],
        "marker": {"color": "#6f7a82", "size": 8, "opacity": 0.6},
        "hovertemplate": f"%{{x}} {unit}<extra></extra>",
    }  # fmt: skip


def _means(found: Sequence[Series], names: list[str], scale: float, unit: str) -> dict[str, Any]:
    half = [
        0.0 if one.mean is None else float(one.mean.high - one.mean.mean) / scale for one in found
    ]
    return {
        "type": "scatter", "mode": "markers", "name": "Mean with its 95% interval",
        "y": names, "x": [round(one.observed / scale, 3) for one in found],
        "error_x": {"type": "data", "array": [round(h, 4) for h in half], "thickness": 2,
                    "width": 6, "color": "#1f7a8c"},
        "marker": {"color": "#1f7a8c", "size": 9, "symbol": "circle"},
        "hovertemplate": f"mean %{{x}} {unit}<extra></extra>",
    }  # fmt: skip


def _model_marks(
    name: str,
    times: Sequence[float],
    names: list[str],
    scale: float,
    unit: str,
    symbol: str,
    color: str,
) -> dict[str, Any]:
    return {
        "type": "scatter", "mode": "markers", "name": name, "y": names,
        "x": [round(time / scale, 3) for time in times],
        "marker": {"symbol": symbol, "color": color, "size": 16 if "line" in symbol else 11,
                   "line": {"width": 3 if "line" in symbol else 2, "color": color}},
        "hovertemplate": f"%{{x}} {unit}<extra></extra>",
    }  # fmt: skip


def _miss(found: Sequence[Series], times: Sequence[float]) -> str:
    """Return by how much the means are missed, in words; rounding makes no perfect fit."""
    most = max(abs(t / one.observed - 1.0) for one, t in zip(found, times, strict=True))
    return f"by at most {most:.0%}" if most >= 0.01 else "by less than 1%"


def _reading(
    found: Sequence[Series], after: Sequence[float] | None, before: Sequence[float] | None
) -> str:
    runs = sum(len(one.times) for one in found)
    said = f"{runs} runs in {len(found)} series; bars are 95% intervals of their means."
    if before is not None:
        said += f" The study as it stands misses the means {_miss(found, before)}"
        said += f", the fitted values {_miss(found, after)}." if after else "."
    return said


def series_table(
    found: Sequence[Series], look: Look, *, share: float, rating: float, allowance: float
) -> ChartTable:
    """Return mean, interval, repeats still needed, normal and standard time of each series.

    Parameters
    ----------
    found : sequence of Series
    look : Look
    share : float
        Wanted half width as a share of the mean [-].
    rating, allowance : float
        Pace of who was timed, and allowance on job time; both on operator work only [-].
    """
    rows = []
    for one in found:
        normal, standard = run_times(
            one.observed, operator_share(one.readings), rating=rating, allowance=allowance
        )
        needed = one.needed(share)
        first = one.readings[0]
        machine = look.study.machines[first.machine].name if first.machine else "no machine"
        rows.append(
            [
                f"{machine}, {first.work}: {one.name(look.study, look.units)}",
                str(len(one.times)),
                _whole(time_text(one.observed)),
                "–"
                if one.mean is None
                else _whole(
                    f"{time_text(float(one.mean.low))} to {time_text(float(one.mean.high))}"
                ),
                "at least 1" if needed is None else ("none" if needed == 0 else str(needed)),
                _whole(time_text(float(normal))),
                _whole(time_text(float(standard))),
            ]
        )
    return ChartTable(
        ["Timed", "Runs kept", "Mean", "95% interval", f"Still needed for ±{share:.0%}",
         "Normal time (at a steady pace)", "Standard time (with the allowance)"],
        rows,
    )  # fmt: skip


def _whole(text: str) -> str:
    """Return words that no line break parts, as a time and its unit."""
    return text.replace(" ", "\N{NO-BREAK SPACE}")


def law_picture(found: TrialPicture, look: Look) -> Picture:
    """Return the law that the fitted parameters stand for, with the readings on it.

    Parameters
    ----------
    found : TrialPicture
    look : Look
    """

    def across(values: Sequence[float] | FloatArray) -> list[float]:
        return [round(shown_number(float(v), found.x_kind, look.units), 5) for v in values]

    color = "#1f7a8c"
    band = [*found.high.tolist(), *found.low.tolist()[::-1]]
    around = [*across(found.x), *across(found.x)[::-1]]
    data: list[dict[str, Any]] = [
        {"type": "scatter", "mode": "lines", "name": "95% interval of the fit", "x": around,
         "y": [round(v, 5) for v in band], "fill": "toself", "fillcolor": "rgba(31,122,140,.18)",
         "line": {"width": 0, "color": "rgba(31,122,140,.5)"}, "hoverinfo": "skip"},
        {"type": "scatter", "mode": "lines", "name": "Model as fitted", "x": across(found.x),
         "y": [round(v, 5) for v in found.y.tolist()], "line": {"color": "#d81830", "width": 2.5},
         "hovertemplate": "%{y:.3g} s"},
        {"type": "scatter", "mode": "markers", "name": "Readings",
         "x": [x for point in found.points for x in across([point.x] * len(point.readings))],
         "y": [round(t, 5) for point in found.points for t in point.readings],
         "text": [plot_text(point.label) for point in found.points for _ in point.readings],
         "marker": {"color": color, "size": 8, "opacity": 0.7},
         "hovertemplate": "%{text}: %{y:.3g} s<extra></extra>"},
    ]  # fmt: skip
    unit = unit_label(found.x_kind, look.units)
    layout = {
        "xaxis": axis(f"{found.x_label.capitalize()} ({unit})", showgrid=True, rangemode="tozero"),
        "yaxis": axis(f"{found.y_label.capitalize()} (s)", rangemode="tozero"),
    }
    rows = [
        [point.label, f"{across([point.x])[0]:.4g}", f"{point.y:.4g}",
         f"{point.low:.4g} to {point.high:.4g}", str(len(point.readings))]
        for point in found.points
    ]  # fmt: skip
    columns = ["Timed", f"{found.x_label} ({unit})", f"{found.y_label} (s)", "95% interval (s)",
               "Runs"]  # fmt: skip
    return Picture({"data": data, "layout": layout}, _law_reading(found), ChartTable(columns, rows))


def _law_reading(found: TrialPicture) -> str:
    said = (
        "A straight line: its slope is one over the carriage speed, what is left at width 0 is the "
        "turn at the end of each crossing."
        if found.work == "print"
        else "Short lines never reach the set speed and follow the acceleration; where the curve "
        "straightens, the set speed takes over."
    )
    return f"{said} Not in this picture: {', '.join(found.aside)}." if found.aside else said
