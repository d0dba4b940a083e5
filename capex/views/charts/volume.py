"""At what order volume one alternative overtakes another.

May import: numpy, and from capex decision, `views.chart` and `views.charts.picture`.
"""

from __future__ import annotations

from typing import Any

from capex.study import Study
from capex.views.chart import ChartTable
from capex.views.charts.picture import Look, Picture, axis, plot_text
from capex.views.state import Result

__all__ = ["volume_picture"]


def volume_picture(result: Result, look: Look) -> Picture:
    """Return the gain over the baseline against order volume, the crossovers and today marked."""
    outcomes, sweep = result.appraisal.outcomes, result.sweep
    code, rate = look.currency.code, look.currency.rate
    percent = (sweep.volumes * 100).round(1)
    data: list[dict[str, Any]] = [
        {
            "type": "scatter",
            "mode": "lines",
            "name": plot_text(outcome.name),
            "x": percent,
            "y": (sweep.gains[:, place] * rate).round(0),
            "line": look.styles[key].line,
            "hovertemplate": f"%{{y:,.3s}} {code}",
        }
        for place, (key, outcome) in enumerate(outcomes.items())
    ]
    gains = result.appraisal.net_present_value[0]
    data.append(
        {
            "type": "scatter",
            "mode": "markers",
            "name": "Volume set",
            "showlegend": False,
            "x": [round(result.volume * 100, 1)] * len(gains),
            "y": (gains * rate).round(0),
            "marker": {
                "size": 9,
                "color": [look.styles[key].color for key in outcomes],
                "symbol": [look.styles[key].symbol for key in outcomes],
            },
            "hoverinfo": "skip",
        }
    )
    layout = {
        "xaxis": axis(f"Order volume (% of the {_orders(result.study):.0f} orders a month today)"),
        "yaxis": axis(f"Net present value against the baseline ({code})", tickformat="~s"),
        "hovermode": "x unified",
        "shapes": _lines(result),
        "annotations": _labels(result),
    }
    names = [outcome.name for outcome in outcomes.values()]
    table = ChartTable(
        ["Order volume", *(f"{name} ({code})" for name in names)],
        [
            [f"{volume:.0%}", *(look.money(float(gain)) for gain in row)]
            for volume, row in zip(sweep.volumes, sweep.gains, strict=True)
        ],
    )
    return Picture({"data": data, "layout": layout}, _reading(result), table)


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
    found = [(result.volume, f"set {result.volume:.0%}", 0.0)]
    found += [(point.volume, f"crossover {point.volume:.0%}", 0.1) for point in result.crossovers]
    return [
        {
            "xref": "x", "yref": "paper", "x": volume * 100, "y": height, "yanchor": "bottom",
            "xanchor": "left" if volume < 1.6 else "right", "showarrow": False, "text": text,
            "xshift": 4 if volume < 1.6 else -4,
        }
        for volume, text, height in found
    ]  # fmt: skip


def _reading(result: Result) -> str:
    names = [outcome.name for outcome in result.appraisal.outcomes.values()]
    low, high = result.sweep.volumes[[0, -1]]
    if not result.crossovers:
        leader = names[int(result.sweep.gains[0].argmax())]
        return f"No crossover: {leader} leaves most from {low:.0%} to {high:.0%} of today's volume."
    orders = _orders(result.study)
    said = [
        f"Crossover at about {point.volume:.0%} of today's volume, {orders * point.volume:.0f} "
        f"orders a month ({point.volume / result.volume - 1:+.0%} from the volume set): "
        f"{names[point.below]} below, {names[point.above]} above"
        for point in result.crossovers
    ]
    return f"{'; '.join(said)}."
