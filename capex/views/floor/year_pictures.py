"""A simulated year of every alternative: how late orders are, and what stations do.

All figures are those of one seed: one possible year, the same orders and luck for every choice.

May import: numpy, and from capex study, `shopfloor.year`, `views.chart` and
`views.charts.picture`.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

import numpy as np

from capex.shopfloor.arrays import FloatArray
from capex.shopfloor.year.simulated_year import Year
from capex.views.chart import ChartTable
from capex.views.charts.picture import Look, Picture, axis, joined, plot_text, wrapped

__all__ = ["alike_words", "lead_time_picture", "states_height", "states_picture"]

Years = Mapping[str, Year]

_STATES: Final = {
    "working": ("at work", {"color": "#1f7a8c"}),
    "set_up": (
        "in set-up or drying",
        {"color": "#8c6d1f", "pattern": {"shape": "/", "fillmode": "overlay"}},
    ),
    "blocked": (
        "waiting for a person",
        {"color": "#e39a2d", "pattern": {"shape": "x", "fillmode": "overlay"}},
    ),
    "down": ("out of order", {"color": "#b3261e"}),
    "idle": ("idle", {"color": "#aab4bb"}),
}


def _of_type(found: Year, job: int | None) -> FloatArray:
    times = found.lead_time if job is None else found.lead_time[found.job == job]
    return np.sort(times)


def lead_time_picture(years: Years, look: Look, job: str) -> Picture:
    """Return how many orders are done within how many working days, against the promise.

    Parameters
    ----------
    years : mapping of str to Year
        By alternative.
    look : Look
    job : str
        Key of a job type, empty for all.
    """
    keys = list(look.study.jobs)
    place = keys.index(job) if job in keys else None
    promise = _promise(look, job)
    data: list[dict[str, Any]] = []
    longest = promise
    for key, found in years.items():
        times = _of_type(found, place)
        done = times[np.isfinite(times)]
        if not times.size:
            continue
        shares = np.arange(1, done.size + 1) / times.size
        some = _thinned(done.size)
        longest = max(longest, float(done[-1]) if done.size else 0.0)
        data.append({
            "type": "scatter", "mode": "lines", "name": plot_text(found.name),
            "x": [0.0, *done[some].round(3)], "y": [0.0, *(shares[some] * 100).round(2)],
            "line": {**look.styles[key].line, "shape": "hv"},
            "hovertemplate": "%{y:.0f}% within %{x:.1f} days",
        })  # fmt: skip
    layout = {
        "xaxis": axis("Working days from order to finish", showgrid=True,
                      range=[0, max(longest * 1.03, promise * 1.2)]),
        "yaxis": axis("Orders done within (%)", range=[0, 102]),
        "shapes": [{"type": "line", "xref": "x", "yref": "paper", "x0": promise, "x1": promise,
                    "y0": 0, "y1": 1, "line": {"dash": "dot", "width": 1.5}}],
        "annotations": [{"x": promise, "y": 0.02, "yref": "paper", "text": "promised",
                         "showarrow": False, "xanchor": "left", "xshift": 4, "yanchor": "bottom"}],
    }  # fmt: skip
    return Picture(
        {"data": data, "layout": layout},
        _lead_reading(years, look, place, promise, job) + alike_words(years),
        _lead_table(years, look),
    )  # fmt: skip


def alike_words(years: Years) -> str:
    """Return which choices have the same year, so that their lines lie on each other."""
    same: dict[bytes, list[str]] = {}
    for found in years.values():
        if found.job.size:
            mark = found.job.tobytes() + found.lead_time.tobytes()
            same.setdefault(mark, []).append(found.name)
    said = [joined(names) for names in same.values() if len(names) > 1]
    return "".join(f" {names} run alike this year: their lines are one." for names in said)


def _thinned(count: int, most: int = 220) -> np.typing.NDArray[np.intp]:
    if count == 0:
        return np.zeros(0, dtype=np.intp)
    return np.unique(np.linspace(0, count - 1, min(count, most)).round().astype(np.intp))


def _promise(look: Look, job: str) -> float:
    own = look.study.jobs[job].promised_lead_time if job in look.study.jobs else None
    return (own or look.study.shop.promises.lead_time).likely


def _percentile(times: FloatArray, share: float) -> float:
    return float(times[int(np.ceil(share * times.size)) - 1])


def days_text(days: float) -> str:
    """Return working days for reading.

    Examples
    --------
    >>> days_text(1.24), days_text(float("inf"))
    ('1.2', 'not finished')
    """
    return f"{days:.1f}" if np.isfinite(days) else "not finished"


def _lead_reading(years: Years, look: Look, place: int | None, promise: float, job: str) -> str:
    said, none = [], []
    for found in years.values():
        times = _of_type(found, place)
        if not times.size:
            none.append(found.name)
            continue
        said.append(f"{days_text(_percentile(times, 0.9))} with {found.name}")
    what = look.study.jobs[job].name if job in look.study.jobs else "all orders"
    if not said:
        return f"No order of {what} is made in the house in this year."
    text = (
        f"Nine in ten of {what} are done within so many working days: {joined(said)}. "
        f"Promised: {promise:g}."
    )
    return text + (f" None is made with {joined(none)}." if none else "")


def _lead_table(years: Years, look: Look) -> ChartTable:
    rows = []
    jobs = list(look.study.jobs)
    for found in years.values():
        table = found.percentiles(0.5, 0.8, 0.95)
        for place, name in enumerate(found.jobs):
            made = int((found.job == place).sum())
            out = [
                f"{int(count[place])} {word}"
                for count, word in ((found.bought_in, "bought in"), (found.refused, "refused"))
                if count[place]
            ]
            spread = ["–"] * 3 if not made else [days_text(float(v)) for v in table[place]]
            late = f"{found.late_share[place]:.1%}" if made else "–"
            rows.append(
                [
                    f"{found.name}: {name}", str(made), joined(out) if out else "–", *spread,
                    f"{_promise(look, jobs[place]):g}", late,
                ]
            )  # fmt: skip
    return ChartTable(
        ["Choice and job type", "Made", "Not made here", "Half within (days)",
         "8 in 10 within", "19 in 20 within", "Promised", "Late"],
        rows,
    )  # fmt: skip


def states_height(years: Years) -> int:
    """Return the height that the bars need [px]."""
    return 80 + 24 * sum(len(found.stations) + 1 for found in years.values())


def states_picture(years: Years, look: Look) -> Picture:
    """Return what everyone does with the open hours of the year, stacked to 100 %.

    A machine's hours begin on the day it comes.

    Parameters
    ----------
    years : mapping of str to Year
    look : Look
    """
    labels: list[str] = []
    headings: dict[int, str] = {}
    places: list[int] = []
    values: dict[str, list[float]] = {state: [] for state in _STATES}
    for found in years.values():
        headings[len(labels)] = found.name
        labels.append("")
        for station in found.stations:
            places.append(len(labels))
            labels.append(plot_text(station.name))
            for state, shares in values.items():
                shares.append(round(100 * getattr(station, state), 2))
    data: list[dict[str, Any]] = [
        {
            "type": "bar", "orientation": "h", "name": words, "y": places, "x": values[state],
            "marker": marker, "width": 0.75,
            "hovertemplate": f"{words}: %{{x:.0f}}%<extra></extra>",
        }
        for state, (words, marker) in _STATES.items()
    ]  # fmt: skip
    data.append(
        {
            "type": "scatter", "mode": "text", "x": [0] * len(headings), "y": list(headings),
            "text": [f"<b>{wrapped(name, 28)}</b>" for name in headings.values()],
            "textposition": "middle right", "cliponaxis": False, "hoverinfo": "skip",
            "showlegend": False,
        }
    )  # fmt: skip
    rows = len(labels)
    layout = {
        "barmode": "stack",
        "xaxis": axis("Share of the year’s open hours (%)", range=[0, 100], showgrid=True),
        "yaxis": {"range": [rows - 0.4, -0.6], "tickvals": list(range(rows)), "ticktext": labels,
                  "showgrid": False, "zeroline": False, "ticklen": 0},
    }  # fmt: skip
    return Picture({"data": data, "layout": layout}, _states_reading(years), _states_table(years))


def _states_reading(years: Years) -> str:
    said = []
    for found in years.values():
        busiest = max(found.stations, key=lambda s: s.working + s.set_up + s.down)
        said.append(f"{found.name}: {busiest.name}, idle {busiest.idle:.0%} of the open hours")
    blocked = [
        (station.blocked, station.name, found.name)
        for found in years.values()
        for station in found.stations
    ]
    share, station, choice = max(blocked)
    text = f"Least idle – {'; '.join(said)}."
    if share >= 0.01:
        text += f" {station} ({choice}) waits {share:.0%} of its time for a person."
    return text


def _states_table(years: Years) -> ChartTable:
    rows = [
        [f"{found.name}: {s.name}",
         *(f"{getattr(s, state):.1%}" for state in _STATES), f"{s.at_night:.1%}"]
        for found in years.values()
        for s in found.stations
    ]  # fmt: skip
    heads = [words for words, _ in _STATES.values()]
    return ChartTable(["Station", *heads, "night running, beside the open hours"], rows)
