"""What piles up in a simulated year, with a breakdown and without, and who waits hour by hour.

May import: numpy, and from capex `shopfloor.year`, `views.chart` and `views.charts.picture`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final, Literal

import numpy as np

from capex.shopfloor.arrays import FloatArray
from capex.shopfloor.year.simulated_year import Year
from capex.views.chart import ChartTable
from capex.views.charts.picture import Look, Picture, axis, joined, plot_text
from capex.views.floor.working_days import day_name, first_days
from capex.views.floor.year_pictures import alike_words
from capex.views.wording import month_name

__all__ = [
    "Stop",
    "backlog_picture",
    "fullest",
    "peak_words",
    "queue_picture",
    "recovery_days",
]

Who = Literal["machines", "people"]
Years = Mapping[str, Year]

#: The backlog counts as worked off once it is this close to that of the year without the stop [h].
_NEAR: Final = 2.0


@dataclass(frozen=True)
class Stop:
    """A breakdown as it is said: what stands, from which working day, for how many."""

    words: str
    day: int
    length: float


def _columns(found: Year, who: Who) -> slice:
    machines = found.record.machine_queue.shape[2]
    return slice(0, machines) if who == "machines" else slice(machines, None)


def _work(found: Year, who: Who) -> FloatArray:
    return np.asarray(found.backlog[:, _columns(found, who)].sum(axis=1))


def recovery_days(plain: Year, broken: Year, stop: Stop, who: Who) -> int | None:
    """Return on which working day after the breakdown's first the backlog is back, or None.

    Back is within two hours of the backlog of the same year without the breakdown.
    """
    extra = (_work(broken, who) - _work(plain, who))[stop.day - 1 :]
    above = np.flatnonzero(extra > _NEAR)
    if not above.size:
        return 0
    back = int(above[-1]) + 1
    return back if back < extra.size else None


def backlog_picture(
    years: Years, broken: Years, stop: Stop | None, look: Look, who: Who
) -> Picture:
    """Return work in the shop at each closing, with the breakdown and without.

    Parameters
    ----------
    years, broken : mapping of str to Year
        Without and with the breakdown; the latter empty where none is placed.
    stop : Stop or None
    look : Look
    who : {"machines", "people"}
        Whose work.
    """
    data: list[dict[str, Any]] = []
    for key, found in years.items():
        style = look.styles[key]
        work = _work(broken.get(key, found), who).round(2)
        days = np.arange(1, work.size + 1)
        data.append({
            "type": "scatter", "mode": "lines", "name": plot_text(found.name), "x": days,
            "y": work, "line": style.line, "hovertemplate": "%{y:.1f} h",
        })  # fmt: skip
        if key in broken:
            data.append({
                "type": "scatter", "mode": "lines", "name": f"{plot_text(found.name)}, unbroken",
                "x": days, "y": _work(found, who).round(2), "showlegend": False, "opacity": 0.45,
                "line": {"color": style.color, "width": 1}, "hoverinfo": "skip",
            })  # fmt: skip
    layout: dict[str, Any] = {
        "xaxis": axis(
            "Working days by month",
            showgrid=False,
            tickvals=list(first_days(look.study).values()),
            ticktext=[month_name(look.study, m)[:3] for m in first_days(look.study)],
        ),
        "yaxis": axis(f"Work of {who} in the shop at closing (h)", rangemode="tozero"),
        "hovermode": "x unified",
    }
    if stop is not None:
        layout["shapes"] = [{
            "type": "rect", "xref": "x", "yref": "paper", "x0": stop.day - 0.5,
            "x1": stop.day - 0.5 + stop.length, "y0": 0, "y1": 1, "layer": "below",
            "fillcolor": "rgba(179,38,30,.22)", "line": {"width": 0},
        }]  # fmt: skip
    return Picture(
        {"data": data, "layout": layout},
        _backlog_reading(years, broken, stop, who) + alike_words(years),
        _backlog_table(years, broken, look, who),
    )  # fmt: skip


def _backlog_reading(years: Years, broken: Years, stop: Stop | None, who: Who) -> str:
    if stop is None or not broken:
        said = [
            f"{float(_work(found, who).max()):.0f} h with {found.name}" for found in years.values()
        ]
        return f"At most there is so much work of {who} in the shop at a closing: {joined(said)}."
    said = []
    for key, found in broken.items():
        most = float((_work(found, who) - _work(years[key], who)).max())
        back = recovery_days(years[key], found, stop, who)
        if most < _NEAR:
            said.append(f"{found.name}: hardly any more work waits")
            continue
        when = "is never back within the year" if back is None else f"is back after {back} days"
        late = found.on_time - years[key].on_time
        said.append(
            f"{found.name}: up to {most:.0f} h more, {when}"
            + (f", on-time share {_points(late)}" if abs(late) >= 0.0005 else "")
        )
    missing = [found.name for key, found in years.items() if key not in broken]
    text = f"{stop.words}. {'; '.join(said)}."
    if missing:
        text += f" Nothing that stops with {joined(missing)}."
    return text + " Thin lines: the same year without it."


def fullest(years: Years) -> str:
    """Return the alternative with most work of machines in the shop at a closing."""
    return max(years, key=lambda key: float(_work(years[key], "machines").max()))


def peak_words(years: Years, unfailing: Year, look: Look) -> str:
    """Return whether the highest peak of the machines' work is their failures' doing.

    Parameters
    ----------
    years : mapping of str to Year
    unfailing : Year
        The year of the fullest alternative, had no machine failed.
    look : Look
    """
    found = years[unfailing.key]
    work = _work(found, "machines")
    day = int(work.argmax())
    without = float(_work(unfailing, "machines")[day])
    text = (
        f"Without a breakdown placed the highest peak is {work[day]:.1f} h with {found.name} on "
        f"{day_name(look.study, day + 1)}"
    )
    if work[day] - without > max(_NEAR, 0.5 * work[day]):
        return f"{text}: its machines had failed by chance; had none, {without:.1f} h would wait."
    return f"{text}: it comes of the orders, not of machines that fail by chance."


def _points(share: float) -> str:
    return f"{'−' if share < 0 else '+'}{abs(share) * 100:.1f} points"


def _backlog_table(years: Years, broken: Years, look: Look, who: Who) -> ChartTable:
    names = [found.name for found in years.values()]
    shown = [_work(broken.get(key, found), who) for key, found in years.items()]
    rows = [
        [f"{day}: {day_name(look.study, day)}", *(f"{work[day - 1]:.1f}" for work in shown)]
        for day in range(5, shown[0].size + 1, 5)
    ]
    return ChartTable(["Working day", *(f"{name} (h)" for name in names)], rows)


def queue_picture(years: Years, look: Look, who: Who) -> Picture:
    """Return how many orders wait at each hour of the shift, mean over the year.

    Parameters
    ----------
    years : mapping of str to Year
    look : Look
    who : {"machines", "people"}
        For what they wait.
    """
    lines = {key: found.queue[:, _columns(found, who)].sum(axis=1) for key, found in years.items()}
    hours = [f"{hour}:00" for hour in range(len(next(iter(lines.values()))))]
    data = [
        {
            "type": "scatter", "mode": "lines+markers", "name": plot_text(years[key].name),
            "x": hours, "y": line.round(3), "line": look.styles[key].line,
            "marker": look.styles[key].marker, "hovertemplate": "%{y:.2f}",
        }
        for key, line in lines.items()
    ]  # fmt: skip
    layout = {
        "xaxis": axis("Hours after opening", type="category"),
        "yaxis": axis(f"Orders waiting for {who}, mean", rangemode="tozero"),
        "hovermode": "x unified",
    }
    most = max(lines, key=lambda key: float(lines[key].max()))
    station = _longest_queue(years[most], who)
    hour = int(lines[most].argmax())
    when = "at opening" if hour == 0 else f"{hour} h after opening"
    reading = (
        f"Most orders wait for {who} with {years[most].name}: {float(lines[most].max()):.1f} "
        f"{when}, on the mean of all days, most of them at {station}." + alike_words(years)
    )
    rows = [
        [f"{found.name}: {station.name}", *(f"{value:.2f}" for value in found.queue[:, k])]
        for found in years.values()
        for k, station in enumerate(found.stations)
    ]
    return Picture(
        {"data": data, "layout": layout}, reading, ChartTable(["Waiting for", *hours], rows)
    )


def _longest_queue(found: Year, who: Who) -> str:
    columns = _columns(found, who)
    names = [station.name for station in found.stations][columns]
    return names[int(found.queue[:, columns].mean(axis=0).argmax())]
