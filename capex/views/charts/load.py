"""Which station chokes in which month, for every alternative one above the other.

May import: numpy, and from capex decision, `views.chart` and `views.charts.picture`.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt

from capex.decision.outcome import Outcome, monthly_loads
from capex.views.chart import ChartTable
from capex.views.charts.picture import Look, Picture, axis, joined, plot_text, wrapped
from capex.views.state import Result
from capex.views.wording import month_name

__all__ = ["load_height", "load_picture"]

FloatArray = npt.NDArray[np.float64]
# Colours end here; no band begins above it.
_TOP = 1.25
# Letters that go into a phone's chart beside the names of stations.
_HEADING = 26


def load_picture(result: Result, look: Look) -> Picture:
    """Return the load of every station by month: time asked for over time there is.

    Returns
    -------
    Picture
        A heat map, one row a station, under its alternative's name; blank where a machine is not
        there yet.
    """
    planned = result.study.shop.planned_load.likely
    months = int(result.appraisal.baseline.horizon[0])
    names, headings, rows = _rows(result, months)
    places = list(range(len(names)))
    bands = _bands(planned)
    data: list[dict[str, Any]] = [
        {
            "type": "heatmap",
            "x": list(range(1, months + 1)),
            "y": places,
            "z": rows,
            "zmin": 0,
            "zmax": _TOP,
            "colorscale": _scale(bands),
            "showscale": False,
            "hoverongaps": False,
            "hovertemplate": "month %{x}: %{z:.0%}<extra></extra>",
        },
        _rules(rows, months),
        _headings(headings),
    ]
    layout: dict[str, Any] = {
        "xaxis": axis(
            "Month from the decision",
            dtick=12 if months > 24 else 3,
            range=[0.5, months + 0.5],
        ),
        "yaxis": {
            "range": [len(names) - 0.5, -0.5],
            "tickvals": places, "ticktext": names, "showgrid": False,
            "zeroline": False, "ticklen": 0,
        },
        # The key stands in the page; traces for it alone would each be drawn at every move.
        "meta": {"key": [{"name": name, "color": color} for _, color, name in bands]},
    }  # fmt: skip
    return Picture({"data": data, "layout": layout}, _reading(result, look), _table(result, look))


def _rows(
    result: Result, months: int
) -> tuple[list[str], dict[float, str], list[list[float | None]]]:
    """Return names and loads of all rows, and where the names of alternatives stand."""
    names: list[str] = []
    headings: dict[float, str] = {}
    rows: list[list[float | None]] = []
    for outcome in result.appraisal.outcomes.values():
        # a long name takes the rows that its lines need
        lines = _lines(outcome.name)
        headings[len(names) + (lines - 1) / 2] = outcome.name
        names += [""] * lines
        rows += [[None] * months for _ in range(lines)]
        for station, row in zip(outcome.stations, _loads(outcome, months), strict=True):
            names.append(plot_text(_short(station.name)))
            rows.append([None if load == 0 else round(float(load), 3) for load in row])
    return names, headings, rows


def _rules(rows: list[list[float | None]], months: int) -> dict[str, Any]:
    """Thin lines between stations: gaps in the map itself would double its drawing time."""
    x: list[float | None] = []
    y: list[float | None] = []
    for place in range(1, len(rows)):
        if any(load is not None for load in rows[place]):
            x += [0.5, months + 0.5, None]
            y += [place - 0.5, place - 0.5, None]
    return {
        "type": "scatter", "mode": "lines", "x": x, "y": y, "showlegend": False,
        "hoverinfo": "skip", "line": {"color": "#5f6d76", "width": 1},
    }  # fmt: skip


def _headings(names: dict[float, str]) -> dict[str, Any]:
    """Names of alternatives in one trace: an annotation each takes twice the drawing time."""
    return {
        "type": "scatter", "mode": "text", "x": [0.5] * len(names), "y": list(names),
        "text": [f"<b>{wrapped(name, _HEADING)}</b>" for name in names.values()],
        "textposition": "middle right", "cliponaxis": False, "hoverinfo": "skip",
        "showlegend": False, "textfont": {"size": 11},  # so that it goes into a phone's chart
    }  # fmt: skip


def _short(name: str) -> str:
    """Return a name that leaves the map its room; the table below has it whole.

    Examples
    --------
    >>> _short("A roll printer with a cutter beside it, by the window")
    'A roll printer…y the window'
    """
    if len(name) <= _HEADING:
        return name
    half = _HEADING // 2
    return f"{name[: half + 1].rstrip()}…{name[1 - half :]}"


def _lines(name: str) -> int:
    return wrapped(name, _HEADING).count("<br>") + 1


def load_height(result: Result) -> int:
    """Return the height that the rows need [px]."""
    outcomes = result.appraisal.outcomes.values()
    rows = sum(_lines(outcome.name) + len(outcome.stations) for outcome in outcomes)
    return 60 + 20 * rows


def _loads(outcome: Outcome, months: int) -> FloatArray:
    table = monthly_loads(outcome.path.output)
    return np.asarray(table[0, :, :months])


def _bands(planned: float) -> tuple[tuple[float, str, str], ...]:
    """Return upper end, colour and name: calm up to the planned load, then warm, then alarming."""
    half = planned / 2
    return (
        (half, "#a9c9d1", f"up to {half:.0%}"),
        (planned, "#4d93a3", f"to the planned {planned:.0%}"),
        (1.0, "#e39a2d", "above planned"),
        (_TOP, "#b3261e", "more than there are hours"),
    )


def _scale(bands: tuple[tuple[float, str, str], ...]) -> list[list[object]]:
    scale: list[list[object]] = []
    low = 0.0
    for high, color, _ in bands:
        scale += [[low / _TOP, color], [min(high / _TOP, 1.0), color]]
        low = high
    return scale


def _reading(result: Result, look: Look) -> str:
    planned = result.study.shop.planned_load.likely
    passed: list[str] = []
    never: list[str] = []
    for outcome in result.appraisal.outcomes.values():
        loads = _loads(outcome, int(outcome.horizon[0]))
        if not (loads > planned).any():
            never.append(outcome.name)
            continue
        month = int(np.flatnonzero((loads > planned).any(axis=0))[0])
        station = outcome.stations[int(loads[:, month].argmax())].name
        passed.append(f"{outcome.name} at {station} in {month_name(look.study, month + 1)}")
    years = f"{int(result.appraisal.baseline.horizon[0]) / 12:g} years"
    if not passed:
        return f"No choice passes the planned load of {planned:.0%} within {years}."
    said = f"The planned load of {planned:.0%} is first passed with {joined(passed)}."
    return f"{said} Never within {years}: {joined(never)}." if never else said


def _table(result: Result, look: Look) -> ChartTable:
    rows = []
    for outcome in result.appraisal.outcomes.values():
        loads = _loads(outcome, int(outcome.horizon[0]))
        for station, row in zip(outcome.stations, loads, strict=True):
            there = row[row > 0]
            mean = float(there.mean()) if there.size else 0.0
            when = month_name(look.study, int(row.argmax()) + 1)
            rows.append(
                [f"{outcome.name}: {station.name}", f"{mean:.0%}", f"{row.max():.0%}", when]
            )
    return ChartTable(["Station", "Average load", "Highest load", "in"], rows)
