"""A batch in time under two alternatives: who works on what, and who waits for whom.

May import: numpy, and from capex `shopfloor.batch`, `views.chart` and `views.charts`.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import groupby
from typing import Any, Final

import numpy as np

from capex.shopfloor.batch.dispatch import Placed
from capex.shopfloor.batch.timeline import Timeline
from capex.views.chart import ChartTable
from capex.views.charts.picture import Look, Picture, axis, joined, plot_text, wrapped
from capex.views.charts.work_kinds import WORK_MARKERS, kind_of_work
from capex.views.floor.gap_picture import numbers_text
from capex.views.floor.times import clock_text, time_text

__all__ = ["TimeScale", "timeline_height", "timeline_picture", "waits_by_place"]

#: A time in which nobody works is drawn shorter from this share of the work's own time on.
_LONG: Final = 0.2
#: And takes this share of it then.
_SHORT: Final = 0.06
_ROW: Final = 24
#: What an order does that waits for nobody.
_WAITS: Final = {"outgas": "must outgas before laminating", "dry": "must dry before cutting"}


@dataclass(frozen=True)
class TimeScale:
    """Where a time stands on an axis that draws long waits short.

    Parameters
    ----------
    times, places : ndarray
        Ends of its straight parts, [s] and [min].
    waits : tuple of (float, float)
        Begin and end of what is drawn short [s].

    Examples
    --------
    >>> scale = TimeScale.of([(0.0, 600.0), (90000.0, 90600.0)])
    >>> scale.waits, [round(float(x), 1) for x in scale.at([0.0, 600.0, 90000.0])]
    (((600.0, 90000.0),), [0.0, 10.0, 11.2])
    """

    times: np.typing.NDArray[np.float64]
    places: np.typing.NDArray[np.float64]
    waits: tuple[tuple[float, float], ...]

    @classmethod
    def of(cls, spans: Sequence[tuple[float, float]]) -> TimeScale:
        """Return the scale of the spans in which somebody or some machine works."""
        busy: list[list[float]] = []
        for start, end in sorted(spans):
            if busy and start <= busy[-1][1]:
                busy[-1][1] = max(busy[-1][1], end)
            else:
                busy.append([start, end])
        worked = sum(end - start for start, end in busy)
        times, places, waits, before = [0.0], [0.0], [], 0.0
        for start, end in busy:
            idle = start - before
            drawn = idle
            if idle > _LONG * worked and idle > 1800.0:
                drawn = _SHORT * worked
                waits.append((before, start))
            times += [start, end]
            places += [places[-1] + drawn / 60.0, places[-1] + (drawn + end - start) / 60.0]
            before = end
        return cls(np.array(times), np.array(places), tuple(waits))

    def at(self, times: Sequence[float]) -> np.typing.NDArray[np.float64]:
        """Return places of times."""
        return np.interp(times, self.times, self.places)

    def ticks(self) -> list[float]:
        """Return times to name on the axis [s]."""
        length = float(self.places[-1]) or 1.0
        steps = (5, 10, 15, 20, 30, 60, 120, 240, 480, 960)
        step = next((s for s in steps if length / s <= 9), 1920) * 60.0
        marks = np.arange(0.0, self.times[-1] + 1.0, step)
        inside = [float(t) for t in marks if not any(a < t < b for a, b in self.waits)]
        return inside + [b for _, b in self.waits]


def timeline_height(found: Sequence[Timeline]) -> int:
    """Return the height that the rows need [px]."""
    return 70 + _ROW * sum(len(_rows(timeline)) + 1 for timeline in found)


def timeline_picture(found: Sequence[Timeline], names: Sequence[str], look: Look) -> Picture:
    """Return timelines one above the other on one time axis; machines and people are rows.

    Parameters
    ----------
    found : sequence of Timeline
        One an alternative.
    names : sequence of str
        What each entry of the batch is called.
    look : Look
    """
    scale = TimeScale.of([span for one in found for task in one.tasks for span in _spans(task)])
    bars: dict[str, list[tuple[int, float, float, str, str]]] = {}
    labels: list[str] = []
    headings: dict[int, str] = {}
    for one in found:
        name = look.study.alternatives[one.alternative].name
        headings[len(labels)] = name
        labels.append("")
        for label, tasks in _rows(one):
            for task, start, end in tasks:
                kind = kind_of_work(task.task.name)
                said = _said(one, task, names)
                bars.setdefault(kind, []).append(
                    (len(labels), start, end, f"{task.order + 1}", said)
                )
            labels.append(plot_text(label))
    kinds = [kind for kind in WORK_MARKERS if kind in bars] + sorted(set(bars) - set(WORK_MARKERS))
    data = [_trace(kind, bars[kind], scale) for kind in kinds]
    data.append(_headings(headings))
    return Picture(
        {"data": data, "layout": _layout(scale, labels)},
        f"{_reading(found, look)} {_numbers(found, names, look)}",
        _table(found, names, look),
    )


def _spans(task: Placed) -> Iterator[tuple[float, float]]:
    if task.machine is not None:
        yield task.start, task.start + task.task.busy if task.task.wait else task.finish
    if task.people is not None and task.attended_until > task.attended_from:
        yield task.attended_from, task.attended_until


def _rows(one: Timeline) -> list[tuple[str, list[tuple[Placed, float, float]]]]:
    """Return each machine and person that has something to do, with what and when."""
    rows: list[tuple[str, list[tuple[Placed, float, float]]]] = []
    labels = [label for place in one.cell.machines for label in place.each]
    for number, label in enumerate(labels):
        mine = [
            (task, task.start, task.start + task.task.elapsed - task.task.wait)
            for task in one.tasks
            if task.number == number
        ]
        rows.append((label, [(t, a, max(b, t.finish - t.task.wait)) for t, a, b in mine]))
    for number, place in enumerate(one.cell.people):
        mine = [
            (task, task.attended_from, task.attended_until)
            for task in one.tasks
            if task.task.people == number and task.attended_until > task.attended_from
        ]
        lanes = _lanes(sorted(mine, key=lambda each: each[1]), place.servers)
        rows += zip(place.each, lanes, strict=True)
    return [row for row in rows if row[1]]


def _lanes(
    work: Sequence[tuple[Placed, float, float]], count: int
) -> list[list[tuple[Placed, float, float]]]:
    """Return work by person: the first who is free takes it."""
    lanes: list[list[tuple[Placed, float, float]]] = [[] for _ in range(count)]
    for each in work:
        free = [lane for lane in lanes if not lane or lane[-1][2] <= each[1] + 1e-6]
        (free or lanes)[0].append(each)
    return lanes


def _said(one: Timeline, task: Placed, names: Sequence[str]) -> str:
    name = plot_text(names[one.entry_of[task.order]])
    said = f"order {task.order + 1} ({name}): {task.task.name}<br>"
    said += f"{clock_text(task.start)} to {clock_text(task.finish)}"
    if task.waits_for is not None:
        where = plot_text(task.waits_for.place)
        said += (
            f"<br>waited {time_text(task.start - task.ready)} for {where}, "
            f"which had order {task.waits_for.order + 1}"
        )
    return said


def _trace(
    kind: str, bars: Sequence[tuple[int, float, float, str, str]], scale: TimeScale
) -> dict[str, Any]:
    starts = scale.at([bar[1] for bar in bars])
    ends = scale.at([bar[2] for bar in bars])
    return {
        "type": "bar", "orientation": "h", "name": kind,
        "y": [bar[0] for bar in bars],
        "base": starts.round(2), "x": (ends - starts).round(2),
        "text": [bar[3] for bar in bars], "textposition": "inside", "textangle": 0,
        "insidetextanchor": "middle", "textfont": {"color": "#ffffff", "size": 11},
        "constraintext": "none" if len(bars) < 2 else "inside",
        "customdata": [bar[4] for bar in bars],
        "hovertemplate": "%{customdata}<extra></extra>",
        "marker": {**WORK_MARKERS.get(kind, {"color": "#555555"}),
                   "line": {"color": "rgba(255,255,255,.75)", "width": 1}},
        "width": 0.8,
    }  # fmt: skip


def _headings(names: dict[int, str]) -> dict[str, Any]:
    return {
        "type": "scatter", "mode": "text", "x": [0] * len(names), "y": list(names),
        "text": [f"<b>{wrapped(name, 28)}</b>" for name in names.values()],
        "textposition": "middle right", "cliponaxis": False, "hoverinfo": "skip",
        "showlegend": False,
    }  # fmt: skip


def _layout(scale: TimeScale, labels: list[str]) -> dict[str, Any]:
    ticks = scale.ticks()
    end = float(scale.places[-1])
    x = axis(
        "Time from the start (h:min)", showgrid=True, range=[0, end * 1.01],
        tickvals=scale.at(ticks).round(2), ticktext=[clock_text(t) for t in ticks],
    )  # fmt: skip
    rows = len(labels)
    return {
        "barmode": "overlay",
        "xaxis": x,
        "yaxis": {"range": [rows - 0.4, -0.6], "tickvals": list(range(rows)), "ticktext": labels,
                  "showgrid": False, "zeroline": False, "ticklen": 0},
        "uniformtext": {"mode": "hide", "minsize": 8},
        "shapes": [
            {"type": "rect", "xref": "x", "yref": "paper", "x0": float(a), "x1": float(b),
             "y0": 0, "y1": 1, "fillcolor": "rgba(120,130,140,.22)", "line": {"width": 0},
             "layer": "below"}
            for a, b in (scale.at(wait) for wait in scale.waits)
        ],
        "annotations": [
            {"x": float(scale.at(wait).mean()), "y": 0.5, "yref": "paper", "textangle": -90,
             "text": f"nothing for {time_text(wait[1] - wait[0])}", "showarrow": False}
            for wait in scale.waits
        ],
    }  # fmt: skip


def waits_by_place(one: Timeline) -> dict[str, float]:
    """Return how long orders wait in all for each machine and group of people [s]."""
    found: dict[str, float] = {}
    for task in one.tasks:
        if task.waits_for is not None:
            place = task.waits_for.place
            found[place] = found.get(place, 0.0) + task.start - task.ready
    return dict(sorted(found.items(), key=lambda item: -item[1]))


def _reading(found: Sequence[Timeline], look: Look) -> str:
    said = []
    for one in found:
        name = look.study.alternatives[one.alternative].name
        waits = [
            f"{time_text(seconds)} for {place}"
            for place, seconds in list(waits_by_place(one).items())[:2]
        ]
        waiting = f"orders wait {joined(waits)}" if waits else "no order waits for another"
        said.append(f"{name}: done after {time_text(one.makespan)}; {waiting}")
    text = ". ".join(said) + "."
    for wait in _scale(found).waits:
        text += (
            f" The grey band, from {clock_text(wait[0])} to {clock_text(wait[1])}, is drawn short: "
            f"{time_text(wait[1] - wait[0])} in which nobody can go on, as {_why(found, wait)}."
        )
    return text


def _numbers(found: Sequence[Timeline], names: Sequence[str], look: Look) -> str:
    """Return which orders the numbers on the bars stand for."""
    said: dict[str, str] = {}
    for one in found:
        kinds = groupby(range(len(one.entry_of)), key=one.entry_of.__getitem__)
        text = joined([f"{numbers_text([k + 1 for k in own])} {names[n]}" for n, own in kinds])
        said.setdefault(text, look.study.alternatives[one.alternative].name)
    if len(said) == 1:
        return f"Numbers are orders: {next(iter(said))}; on narrow bars, touch or point for them."
    parts = "; ".join(f"with {name} {text}" for text, name in said.items())
    return f"Numbers are orders: {parts}; on narrow bars, touch or point for them."


def _why(found: Sequence[Timeline], wait: tuple[float, float]) -> str:
    """Return what the orders that are under way do in a time in which nobody works."""
    still = {
        (one.alternative, task.order): _WAITS.get(task.task.name, f"still: {task.task.name}")
        for one in found
        for task in one.tasks
        if task.task.wait and task.start < wait[1] and task.finish > wait[0]
    }
    said = [
        f"{count} order{'' if count == 1 else 's'} {words}"
        for words, count in Counter(still.values()).items()
    ]
    return f"{joined(said)}{' (all choices together)' if len(found) > 1 else ''}"


def _scale(found: Sequence[Timeline]) -> TimeScale:
    return TimeScale.of([span for one in found for task in one.tasks for span in _spans(task)])


def _table(found: Sequence[Timeline], names: Sequence[str], look: Look) -> ChartTable:
    rows = []
    for one in found:
        name = look.study.alternatives[one.alternative].name
        for task in one.tasks:
            waits = "–"
            if task.waits_for is not None:
                waits = (
                    f"{time_text(task.start - task.ready)} for {task.waits_for.place} "
                    f"(order {task.waits_for.order + 1})"
                )
            rows.append(
                [
                    f"{name}: order {task.order + 1}, {names[one.entry_of[task.order]]}",
                    task.task.name,
                    task.machine or "–",
                    task.people or "–",
                    clock_text(task.start),
                    clock_text(task.finish),
                    waits,
                ]
            )
    columns = ["Order", "Operation", "Machine", "People", "Start (h:min)", "End (h:min)",
               "Waited before it"]  # fmt: skip
    return ChartTable(columns, rows)
