"""How long one order takes in each stage, for every alternative side by side.

May import: numpy, and from capex decision, `views.chart`, `views.charts.picture`
and `views.charts.work_kinds`.
"""

from __future__ import annotations

from typing import Any

from capex.decision.jobs import Stage, job_stages
from capex.study import DescribedPath, JobType, Knife, Rectangle
from capex.units import quantity_text
from capex.views.chart import ChartTable
from capex.views.charts.picture import Look, Picture, axis, joined, wrapped
from capex.views.charts.work_kinds import WORK_MARKERS, kind_of_work
from capex.views.machine_rates import quoted_rates_sentence
from capex.views.state import Result

__all__ = ["short_lines", "stages_height", "stages_picture"]


def stages_height(result: Result) -> int:
    """Return the height that the bars need [px]."""
    return 70 + 62 * len(result.appraisal.outcomes)


def stages_picture(result: Result, look: Look, job: str) -> Picture:
    """Return the minutes of each kind of work on one order; waits are named, not drawn.

    Parameters
    ----------
    result : Result
    look : Look
    job : str
        Key of the job type.
    """
    outcomes = result.appraisal.outcomes
    routes = {key: job_stages(outcome, job) for key, outcome in outcomes.items()}
    minutes = {key: _minutes(stages) for key, stages in routes.items()}
    kinds = [kind for kind in WORK_MARKERS if any(kind in found for found in minutes.values())]
    kinds += sorted({kind for found in minutes.values() for kind in found} - set(kinds))
    totals = {key: sum(found.values()) for key, found in minutes.items()}
    names = [
        f"{wrapped(outcome.name)}<br><b>{_total(totals[key], routes[key])}</b>"
        for key, outcome in outcomes.items()
    ]
    data: list[dict[str, Any]] = [
        {
            "type": "bar",
            "orientation": "h",
            "name": kind,
            "y": names,
            "x": [round(found.get(kind, 0.0), 2) for found in minutes.values()],
            "marker": WORK_MARKERS.get(kind, {}),
            "hovertemplate": "%{x:.1f} min",
        }
        for kind in kinds
    ]
    layout = {
        "barmode": "stack",
        "bargap": 0.45,
        "xaxis": axis("Working time of one order (min)", showgrid=True, rangemode="tozero"),
        "yaxis": {"autorange": "reversed", "showgrid": False},
    }
    reading = _reading(result, look, job, routes)
    return Picture({"data": data, "layout": layout}, reading, _table(result, routes))


def _minutes(stages: tuple[Stage, ...]) -> dict[str, float]:
    found: dict[str, float] = {}
    for stage in stages:
        working = max(stage.busy, stage.attended) / 60.0
        if working > 0:
            kind = kind_of_work(stage.name)
            found[kind] = found.get(kind, 0.0) + working
    return found


def _wait_text(seconds: float) -> str:
    return f"{seconds / 3600:.0f} h" if seconds >= 7200 else f"{seconds / 60:.0f} min"


def _waits(stages: tuple[Stage, ...]) -> list[str]:
    return [f"{_wait_text(s.wait)} to {s.name}" for s in stages if s.wait > 0]


def _total(total: float, stages: tuple[Stage, ...]) -> str:
    if not stages:
        return "cannot make it"
    waits = sum(stage.wait for stage in stages)
    return f"{total:.0f} min" + (f"</b>, {_wait_text(waits)} wait<b>" if waits else "")


def _reading(result: Result, look: Look, job: str, routes: dict[str, tuple[Stage, ...]]) -> str:
    outcomes = result.appraisal.outcomes
    able = {key: _minutes(stages) for key, stages in routes.items() if stages}
    name = result.study.jobs[job].name
    if not able:
        return f"No choice can make {name} in the house: every machine is too narrow or missing."
    totals = {key: sum(found.values()) for key, found in able.items()}
    fast, slow = min(totals, key=totals.__getitem__), max(totals, key=totals.__getitem__)
    said = f"One order of {name} takes {totals[fast]:.0f} min of work with {outcomes[fast].name}"
    if totals[slow] - totals[fast] >= 0.5:
        kinds = set(able[fast]) | set(able[slow])
        gap = {k: able[slow].get(k, 0.0) - able[fast].get(k, 0.0) for k in kinds}
        cause = max(gap, key=gap.__getitem__)
        said += (
            f" and {totals[slow]:.0f} min with {outcomes[slow].name}; the largest part of the gap "
            f"is “{cause.lower()}” ({gap[cause]:.0f} min)"
        )
    else:
        said += ", and the others take as long"
    waits = sorted({text for stages in routes.values() for text in _waits(stages)})
    if waits:
        said += f". Waits beside the work: {joined(waits)}"
    missing = [outcomes[key].name for key, stages in routes.items() if not stages]
    if missing:
        said += f". {joined(missing)} cannot make it in the house"
    notes = [_set_speed_sentence(result, look, job), quoted_rates_sentence(result.study)]
    return " ".join([f"{said}.", *(note for note in notes if note)])


def _set_speed_sentence(result: Result, look: Look, job: str) -> str:
    """Return whether the set speed is ever reached: a line shorter than V²/a never gets there."""
    length = _line_length(result.study.jobs[job])
    if length is None:
        return ""
    limits = _ways_to_speed(result)
    if not limits:
        return ""
    here = quantity_text(length, "small_length", look.units, digits=3)
    low, high = (quantity_text(f(limits), "small_length", look.units, digits=2) for f in (min, max))
    between = low if low == high else f"{low} to {high}, by machine"
    if length < min(limits):
        return (
            f"The set speed hardly matters here: a cut line of about {here} is shorter than the "
            f"way to reach it and stop again ({between})."
        )
    if length > max(limits):
        return f"The knives reach their set speed: lines are about {here}, the way to it {between}."
    return f"Cut lines of about {here}: some knives reach their set speed, some do not ({between})."


def _ways_to_speed(result: Result) -> list[float]:
    """Return the way to the set speed and to a stop again, V²/a, of every knife [m]."""
    factor = result.scenario.get("levers.cut_speed", result.study.levers.cut_speed.likely)
    return [
        (knife.set_speed.likely * factor) ** 2 / knife.acceleration.likely
        for knife in _knives(result)
    ]


def short_lines(result: Result) -> tuple[int, int]:
    """Return of how many job types the lines are too short for any knife's set speed, of how many.

    Those count whose lines are known: described paths and rectangles.
    """
    ways = _ways_to_speed(result)
    lengths = [_line_length(job) for job in result.study.jobs.values()]
    known = [length for length in lengths if length is not None]
    return sum(bool(ways) and length < min(ways) for length in known), len(known)


def _line_length(job: JobType) -> float | None:
    if isinstance(job.cut, DescribedPath):
        return job.cut.length.likely / job.cut.segments.likely
    if isinstance(job.cut, Rectangle):
        return min(job.width.likely, job.height.likely)
    return None


def _knives(result: Result) -> list[Knife]:
    study = result.study
    keys = {p.machine for choice in study.alternatives.values() for p in choice.machines}
    return [knife for key in sorted(keys) if (knife := study.machines[key].cutting) is not None]


def _table(result: Result, routes: dict[str, tuple[Stage, ...]]) -> ChartTable:
    rows = []
    for key, stages in routes.items():
        name = result.appraisal.outcomes[key].name
        rows += [
            [
                f"{name}: {stage.name}",
                stage.station or "no machine",
                f"{max(stage.busy, stage.attended) / 60:.1f}",
                f"{stage.attended / 60:.1f}",
                f"{stage.wait / 60:.0f}",
            ]
            for stage in stages
        ]
    return ChartTable(["Stage", "Where", "Work (min)", "of it attended (min)", "Wait (min)"], rows)
