"""At what order volume one alternative overtakes another.

May import: numpy, and from capex decision, `views.chart` and `views.charts.picture`.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt

from capex.study import Study
from capex.views.chart import ChartTable
from capex.views.charts.picture import Look, Picture, axis, plot_text
from capex.views.state import Result

__all__ = ["volume_picture"]


def volume_picture(result: Result, look: Look) -> Picture:
    """Return each alternative's NPV less that of the one that leads now, against order volume.

    Where a line crosses another, the two change places. The vertical range follows the
    alternatives other than the baseline, whose distance would flatten them.
    """
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
    name, here = outcomes[result.verdict.best].name, result.volume * 100
    layout = {
        "xaxis": axis(
            f"Orders (% of today's {_orders(result.study):.0f} a month)",
            dtick=25,
            range=[min(50.0, here), max(200.0, here)],
        ),
        "yaxis": axis(
            f"NPV less that of<br>{plot_text(name)} ({code})",
            tickformat="~s",
            range=_range(less, places[result.study.baseline]),
        ),
        "hovermode": "x unified",
        "shapes": _lines(result),
        "annotations": _labels(result),
    }
    return Picture({"data": data, "layout": layout}, _reading(result, look), _table(result, look))


def _range(less: npt.NDArray[np.float64], baseline: int) -> list[float]:
    shown = np.delete(less, baseline, axis=1) if less.shape[1] > 1 else less
    low, high = min(0.0, float(shown.min())), max(0.0, float(shown.max()))
    pad = 0.1 * (high - low) or 1.0
    return [low - pad, high + 2 * pad]


def _table(result: Result, look: Look) -> ChartTable:
    names = [outcome.name for outcome in result.appraisal.outcomes.values()]
    return ChartTable(
        ["Orders", *(f"{name}: NPV against the baseline ({look.currency.code})" for name in names)],
        [
            [f"{volume:.0%}", *(look.money(float(gain)) for gain in row)]
            for volume, row in zip(result.sweep.volumes, result.sweep.gains, strict=True)
        ],
    )


def _orders(study: Study) -> float:
    return sum(job.orders_per_month.likely for job in study.jobs.values())


def _lines(result: Result) -> list[dict[str, Any]]:
    found = [(result.volume, "solid"), *((point.volume, "dot") for point in result.crossovers)]
    return [
        {
            "type": "line", "xref": "x", "yref": "paper", "x0": volume * 100, "x1": volume * 100,
            "y0": 0, "y1": 1, "line": {"width": 1.5, "dash": dash},
        }
        for volume, dash in found
    ]  # fmt: skip


def _labels(result: Result) -> list[dict[str, Any]]:
    found = [(result.volume, f"set {result.volume:.0%}", 1.0)]
    found += [(point.volume, f"crossover {point.volume:.0%}", 0.92) for point in result.crossovers]
    return [
        {
            "xref": "x", "yref": "paper", "x": volume * 100, "y": height, "yanchor": "top",
            "xanchor": "left" if volume < 1.6 else "right", "showarrow": False, "text": text,
            "xshift": 4 if volume < 1.6 else -4,
        }
        for volume, text, height in found
    ]  # fmt: skip


def _reading(result: Result, look: Look) -> str:
    names = [outcome.name for outcome in result.appraisal.outcomes.values()]
    low, high = result.sweep.volumes[[0, -1]]
    orders = _orders(result.study)
    said = [
        f"Crossover at about {point.volume:.0%} of today's volume, {orders * point.volume:.0f} "
        f"orders a month ({point.volume / result.volume - 1:+.0%} from the volume set): "
        f"{names[point.below]} below, {names[point.above]} above"
        for point in result.crossovers
    ]
    leader = names[int(result.sweep.gains[0].argmax())]
    none = f"No crossover: {leader} leaves most from {low:.0%} to {high:.0%} of today's volume"
    baseline, best = result.appraisal.baseline, result.verdict.best
    away = float(result.appraisal.outcomes[best].gain[0])
    below = f" {baseline.name}: {look.money(away)} less at the volume set." if away > 0 else ""
    return f"{'; '.join(said) or none}.{below}"
