"""The map of two inputs: which choice leaves most where, with the lines at which that changes.

May import: numpy, and from capex decision, units, `views.chart`, `views.charts.picture`,
`views.explore.words` and `views.wording`.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from capex.decision.risk.two_way import TwoWayMap
from capex.units import KINDS, quantity_text
from capex.views.chart import ChartTable
from capex.views.charts.picture import Look, Picture, axis, plot_text
from capex.views.explore.words import input_title
from capex.views.wording import input_name

__all__ = ["map_picture"]


def map_picture(found: TwoWayMap, now: int, look: Look) -> Picture:
    """Return the map with the line of no gain and the line at which the choice switches.

    Parameters
    ----------
    found : TwoWayMap
    now : int
        Place of the alternative that leaves most where the inputs are set.
    look : Look
    """
    study, best = look.study, found.best
    keys = list(found.keys)
    x, y = (_scaled(look, path, axis_) for path, axis_ in
            zip(found.paths, (found.across, found.up), strict=True))  # fmt: skip
    present = [k for k in range(len(keys)) if (best == k).any()]
    data: list[dict[str, Any]] = [_regions(x, y, best, keys, look)]
    # a border of two choices is on the line of either: all but one have every border
    for k in present[:-1]:
        others = np.delete(found.gains, k, axis=2).max(axis=2)
        data += _line(x, y, found.gains[:, :, k] - others, "Switch line", "solid")
    if keys[now] != study.baseline:
        data += _line(x, y, found.gains[:, :, now], "NPV = 0", "dot")
    at = [float(_scaled(look, path, np.array([value]))[0])
          for path, value in zip(found.paths, found.likely, strict=True)]  # fmt: skip
    names = {k: study.alternatives[keys[k]].name for k in present}
    data += [_names(x, y, best, names), {
        "type": "scatter", "mode": "markers+text", "x": [at[0]], "y": [at[1]], "text": ["set"],
        "textposition": "top center", "showlegend": False, "hoverinfo": "skip",
        "marker": {"symbol": "x", "size": 11, "color": "#1a2129",
                   "line": {"width": 2, "color": "#ffffff"}},
    }]  # fmt: skip
    titles = [_title(look, path) for path in found.paths]
    layout = {
        "xaxis": axis(titles[0], range=[x[0], x[-1]], nticks=6),
        "yaxis": axis(titles[1], range=[y[0], y[-1]], nticks=6, showgrid=False),
        "meta": {"key": [{"name": name, "color": look.styles[keys[k]].color}
                         for k, name in names.items()]},
    }  # fmt: skip
    return Picture({"data": data, "layout": layout}, _reading(found, look, now),
                   _table(found, look))  # fmt: skip


def _scaled(look: Look, path: str, values: Any) -> Any:
    """Return values in the unit that their axis shows."""
    kind = look.study.quantity(path).entry.kind
    if kind in ("fraction", "rate") or path.startswith("levers."):
        return np.asarray(values) * 100.0
    return np.array([_number(look, path, float(value)) for value in values])


def _number(look: Look, path: str, value: float) -> float:
    kind, currency = look.study.quantity(path).entry.kind, look.study.currency
    text = quantity_text(value, kind, look.units, currency, 6)
    return float(text.split(" ")[0].replace(",", "").replace("−", "-").rstrip("%"))


def _title(look: Look, path: str) -> str:
    study = look.study
    kind = study.quantity(path).entry.kind
    if path == "levers.laminated_share":
        unit = "% of laminable"
    elif kind in ("fraction", "rate"):
        unit = "%"
    elif path.startswith("levers."):
        unit = "% of study"
    else:
        text = quantity_text(study.quantity(path).likely, kind, look.units, study.currency, 4)
        unit = text.partition(" ")[2] or KINDS[kind].unit
    name = plot_text(input_title(study, path))
    return f"{name} ({unit})" if unit and unit != "1" else name


def _regions(x: Any, y: Any, best: Any, keys: list[str], look: Look) -> dict[str, Any]:
    count = max(len(keys), 2)
    colors = [look.styles[key].color for key in keys] + ["#787878"] * (count - len(keys))
    scale = [[edge / count, color] for k, color in enumerate(colors) for edge in (k, k + 1)]
    return {
        "type": "heatmap", "x": x, "y": y, "z": best, "zmin": -0.5, "zmax": count - 0.5,
        "colorscale": scale, "showscale": False, "opacity": 0.4, "hoverinfo": "skip",
        "showlegend": False,
    }  # fmt: skip


def _line(x: Any, y: Any, z: Any, name: str, dash: str) -> list[dict[str, Any]]:
    if not (z.min() < 0.0 < z.max()):
        return []
    # White on black stands out on the light and on the dark page.
    return [{
        "type": "contour", "x": x, "y": y, "z": z, "name": name, "showscale": False,
        "autocontour": False, "contours": {"start": 0, "end": 0, "size": 1, "coloring": "lines"},
        "colorscale": [[0, color], [1, color]], "line": {"width": width, "dash": dash},
        "hoverinfo": "skip",
    } for color, width in (("#101418", 5), ("#ffffff", 2))]  # fmt: skip


def _names(x: Any, y: Any, best: Any, names: dict[int, str]) -> dict[str, Any]:
    """Return each choice's name at the middle of its part, so that colour does not stand alone."""
    places = []
    for k in names:
        rows, columns = np.nonzero(best == k)
        middle = np.hypot(rows - rows.mean(), columns - columns.mean()).argmin()
        places.append((rows[middle], columns[middle]))
    # a name near a side begins or ends there: it neither runs out of a narrow map nor far across
    last = len(x) - 1
    sides = [1 if c < 0.4 * last else last - 1 if c > 0.6 * last else c for _, c in places]
    turned = {1: "middle right", last - 1: "middle left"}
    return {
        "type": "scatter", "mode": "text", "x": [x[c] for c in sides],
        "y": [y[row] for row, _ in places],
        "text": [f"<b>{plot_text(name)}</b>" for name in names.values()],
        "textposition": [turned.get(c, "middle center") for c in sides],
        "showlegend": False, "hoverinfo": "skip",
    }  # fmt: skip


def _reading(found: TwoWayMap, look: Look, now: int) -> str:
    study = look.study
    name = study.alternatives[found.keys[now]].name
    share = float((found.best == now).mean())
    said = f"{name} leaves most where the study is set, and over {share:.0%} of the map."
    same = bool((found.best == found.best[0, 0]).all())
    said += " Nowhere on it does the choice switch." if same else (
        " Solid line: the choice switches."
    )  # fmt: skip
    if found.keys[now] == study.baseline:
        return said
    gain = found.gains[:, :, now]
    zero = " Dotted line: it leaves no more than the baseline."
    none = f" Its gain stays {'above' if gain.min() > 0 else 'below'} zero all over it."
    return said + (zero if gain.min() < 0 < gain.max() else none)


def _table(found: TwoWayMap, look: Look) -> ChartTable:
    study = look.study

    def text(k: int, value: float) -> str:
        kind = study.quantity(found.paths[k]).entry.kind
        return quantity_text(value, kind, look.units, study.currency, 3)

    across, up = (
        np.unique(np.linspace(0, axis_.size - 1, 5).round().astype(int))
        for axis_ in (found.across, found.up)
    )
    corner = f"{input_name(study, found.paths[1])} (down), {input_name(study, found.paths[0])}"
    rows = [
        [text(1, float(found.up[r])),
         *(f"{study.alternatives[found.keys[found.best[r, c]]].name}, "
           f"{look.money(float(found.gains[r, c].max()))}" for c in across)]
        for r in up[::-1]
    ]  # fmt: skip
    return ChartTable([corner, *(text(0, float(found.across[c])) for c in across)], rows)
