"""At what order volume one alternative overtakes another.

May import: numpy, and from capex decision, `views.chart`, `views.charts.picture`,
`views.late_orders` and `views.state`.
"""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np
import numpy.typing as npt

from capex.decision.crossover import Crossover
from capex.study import Study
from capex.views.chart import ChartTable
from capex.views.charts.picture import Look, Picture, axis, plot_text, wrapped
from capex.views.late_orders import LATENESS_HELD
from capex.views.state import Result

__all__ = ["volume_picture"]


def volume_picture(result: Result, look: Look, found: tuple[Crossover, ...] | None) -> Picture:
    """Return each alternative's NPV less that of the one that leads now, against order volume.

    Where a line crosses another, the two change places. The vertical range follows the
    alternatives other than the baseline, whose distance would flatten them.

    Parameters
    ----------
    result : Result
    look : Look
    found : tuple of Crossover or None
        Where the lead changes; None while it is only known between which volumes of the sweep.
    """
    between = _between(result) if found is None else _narrowed(found)
    outcomes, sweep = result.appraisal.outcomes, result.sweep
    code, rate = look.currency.code, look.currency.rate
    places = {key: place for place, key in enumerate(outcomes)}
    leader = places[result.verdict.best]
    less = (sweep.gains - sweep.gains[:, leader : leader + 1]) * rate
    now = result.appraisal.net_present_value[0]
    data: list[dict[str, Any]] = [
        {
            "type": "scatter",
            "mode": "lines",
            "name": plot_text(outcomes[key].name),
            "x": (sweep.volumes * 100).round(1),
            "y": less[:, place].round(0),
            "line": look.styles[key].line,
            "hovertemplate": f"%{{y:,.3s}} {code}",
        }
        for key, place in places.items()
    ]
    data.append(
        {
            "type": "scatter",
            "mode": "markers",
            "showlegend": False,
            "x": [round(result.volume * 100, 1)] * len(places),
            "y": ((now - now[leader]) * rate).round(0),
            "marker": {
                "size": 9,
                "color": [look.styles[key].color for key in places],
                "symbol": [look.styles[key].symbol for key in places],
            },
            "hoverinfo": "skip",
        }
    )
    span = _range(less, places[result.study.baseline])
    data.append(_labels(result, between, span))
    name, here = outcomes[result.verdict.best].name, result.volume * 100
    layout = {
        "xaxis": axis(
            f"Orders (% of today's {_orders(result.study):.0f} a month)",
            dtick=25,
            range=[min(50.0, here), max(200.0, here)],
        ),
        "yaxis": axis(
            wrapped(f"Net present value (NPV) less that of {name} ({code})", 30),
            tickformat="~s",
            range=span,
        ),
        "hovermode": "x unified",
        "shapes": _marks(result, between),
    }
    return Picture(
        {"data": data, "layout": layout}, _reading(result, look, between), _table(result, look)
    )


def _range(less: npt.NDArray[np.float64], baseline: int) -> list[float]:
    shown = np.delete(less, baseline, axis=1) if less.shape[1] > 1 else less
    low, high = min(0.0, float(shown.min())), max(0.0, float(shown.max()))
    pad = 0.1 * (high - low) or 1.0
    return [low - pad, high + 2 * pad]


def _table(result: Result, look: Look) -> ChartTable:
    names = [outcome.name for outcome in result.appraisal.outcomes.values()]
    return ChartTable(
        ["Orders", *(f"{name}: gain, {look.currency.code}" for name in names)],
        [
            [f"{100 * volume:g}%", *(look.money(float(gain)) for gain in row)]
            for volume, row in zip(result.sweep.volumes, result.sweep.gains, strict=True)
        ],
    )


def _orders(study: Study) -> float:
    return sum(job.orders_per_month.likely for job in study.jobs.values())


class _Change(NamedTuple):
    """A change of lead between two volumes, the same two where it is known."""

    low: float
    high: float
    below: int
    above: int

    @property
    def text(self) -> str:
        """The volume or volumes in per cent."""
        if self.low == self.high:
            return f"{self.low:.0%}"
        return f"{100 * self.low:g}% to {100 * self.high:g}%"


def _between(result: Result) -> list[_Change]:
    volumes, leader = result.sweep.volumes, result.sweep.gains.argmax(axis=1)
    return [
        _Change(float(volumes[k]), float(volumes[k + 1]), int(leader[k]), int(leader[k + 1]))
        for k in np.flatnonzero(np.diff(leader))
    ]


def _narrowed(found: tuple[Crossover, ...]) -> list[_Change]:
    return [_Change(point.volume, point.volume, point.below, point.above) for point in found]


def _marks(result: Result, changes: list[_Change]) -> list[dict[str, Any]]:
    upright: dict[str, Any] = {"xref": "x", "yref": "paper", "y0": 0, "y1": 1}
    here = result.volume * 100
    lines = [
        {"type": "line", "x0": here, "x1": here, "line": {"width": 1.5, "dash": "solid"}, **upright}
    ]
    for change in changes:
        ends = {"x0": change.low * 100, "x1": change.high * 100}
        if change.low == change.high:
            lines.append({"type": "line", "line": {"width": 1.5, "dash": "dot"}, **ends, **upright})
        else:
            fill = {"fillcolor": "#808080", "opacity": 0.2, "line": {"width": 0}}
            lines.append({"type": "rect", **fill, **ends, **upright})
    return lines


def _labels(result: Result, changes: list[_Change], span: list[float]) -> dict[str, Any]:
    """Words beside the marks, as one trace: an annotation each takes twice the drawing time."""
    near = any(0 < change.high - result.volume < 0.4 for change in changes)
    said = [(result.volume, f"set {result.volume:.0%}", 1.0, near or result.volume >= 1.6)]
    said += [
        (c.high, f"break-even {c.text}", 0.92, c.high >= 1.6 or 0 < result.volume - c.high < 0.4)
        for c in changes
    ]
    low, high = span
    return {
        "type": "scatter", "mode": "text", "showlegend": False, "hoverinfo": "skip",
        "x": [volume * 100 for volume, _, _, _ in said],
        "y": [low + height * (high - low) for _, _, height, _ in said],
        "text": [f" {text} " for _, text, _, _ in said],
        "textposition": [f"bottom {'left' if left else 'right'}" for _, _, _, left in said],
    }  # fmt: skip


def _reading(result: Result, look: Look, changes: list[_Change]) -> str:
    names = [outcome.name for outcome in result.appraisal.outcomes.values()]
    said = [
        f"{_where(result, change)}: {names[change.below]} below, {names[change.above]} above"
        for change in changes
    ]
    low, high = result.sweep.volumes[[0, -1]]
    leader = names[int(result.sweep.gains[0].argmax())]
    none = (
        f"No break-even volume: {leader} leaves most from {low:.0%} to {high:.0%} of today's volume"
    )
    baseline, best = result.appraisal.baseline, result.verdict.best
    away = float(result.appraisal.outcomes[best].gain[0])
    below = f" {baseline.name}: {look.money(away)} less at the volume set." if away > 0 else ""
    held = "" if result.appraisal.lateness is None else f" {LATENESS_HELD}"
    return f"{'; '.join(said) or none}.{below}{held}"


def _where(result: Result, change: _Change) -> str:
    if change.low != change.high:
        return f"Break-even volume between {change.text.replace(' to ', ' and ')} of today's volume"
    orders = _orders(result.study) * change.low
    away = change.low / result.volume - 1
    return (
        f"Break-even volume at about {change.text} of today's volume, {orders:.0f} orders a month "
        f"({away:+.0%} from the volume set)"
    )
