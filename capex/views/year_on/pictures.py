"""One figure by month: the plan with its range, what there was, and what is expected now.

May import: numpy, and from capex decision, `views.chart`, `views.charts.picture` and `words`.
"""

from __future__ import annotations

from typing import Any, Final

import numpy as np
import numpy.typing as npt

from capex.decision.year_on import YearOn
from capex.decision.year_on.planned import planned_months
from capex.views.chart import ChartTable
from capex.views.charts.picture import Look, Picture, axis
from capex.views.wording import month_name
from capex.views.year_on.words import FIGURE_NAMES, causes_sentence, figure_text

__all__ = ["figure_picture"]

FloatArray = npt.NDArray[np.float64]

_PLAN: Final[dict[str, Any]] = {"color": "#787878", "width": 2.5, "dash": "dot"}
_NOW: Final[dict[str, Any]] = {"color": "#1f7a8c", "width": 2.5}
_ACTUAL: Final[dict[str, Any]] = {"color": "#b4520c", "symbol": "diamond", "size": 9}
#: Months shown beyond those recorded.
_AHEAD: Final = 12


def figure_picture(found: YearOn, figure: str, look: Look) -> Picture:
    """Return a figure of the choice that was made, by month.

    Parameters
    ----------
    found : YearOn
    figure : str
        One that was recorded.
    look : Look

    Returns
    -------
    Picture
    """
    one = found.compared[figure]
    last = min(int(one.months[-1]) + _AHEAD, found.plan.total[figure].size)
    plan, now, low, high = (series[:last] for series in _series(found, figure))
    scale, unit = _unit(figure, look)
    months = np.arange(1, last + 1)
    names = [month_name(found.study, int(month)) for month in months]

    def trace(name: str, y: FloatArray, **more: Any) -> dict[str, Any]:
        return {"type": "scatter", "name": name, "x": months[: y.size], "y": y * scale,
                "mode": "lines", "hovertemplate": f"%{{y:,.3s}} {unit}", **more}  # fmt: skip

    data = [trace("Plan", plan, line=_PLAN), trace("Expected now", now, line=_NOW)]
    if (high > low).any():
        edge = {"width": 0, "color": _PLAN["color"]}
        data = [trace("Plan, low demand", low, line=edge, showlegend=False),
                trace("Range of the plan", high, line=edge, fill="tonexty",
                      fillcolor="rgba(120, 120, 120, 0.22)"), *data]  # fmt: skip
    data.append({"type": "scatter", "name": "Actual", "x": one.months, "y": one.actual * scale,
                 "mode": "markers", "marker": _ACTUAL,
                 "hovertemplate": f"%{{y:,.3s}} {unit}"})  # fmt: skip
    ticks = months[:: 3 if last <= 12 else 6]
    layout = {
        "xaxis": axis("Month of the plan", tickvals=ticks,
                      ticktext=[names[month - 1].replace(" of year ", "<br>year ")
                                for month in ticks]),
        "yaxis": axis(f"{FIGURE_NAMES[figure]} a month ({unit})", rangemode="tozero"),
        "hovermode": "x unified",
    }  # fmt: skip
    return Picture({"data": data, "layout": layout}, _reading(found, figure, look),
                   _table(found, figure, look))  # fmt: skip


def _series(found: YearOn, figure: str) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """Return plan, expected now, and the plan at the low and the high demand of the study."""
    standing = found.standing
    outcome = standing.appraisal.outcomes[standing.choice]
    rows = {(case.kind, case.end): row for row, case in enumerate(standing.cases)}
    wanted = [("plan", ""), ("now", ""), ("plan", "low"), ("plan", "high")]
    plan, now, low, high = (
        planned_months(outcome, rows.get(case, 0)).total[figure] for case in wanted
    )
    return plan, now, np.minimum(low, high), np.maximum(low, high)


def _unit(figure: str, look: Look) -> tuple[float, str]:
    if figure == "orders":
        return 1.0, "orders"
    if figure in ("hours_paid", "downtime"):
        return 1.0 / 3600.0, "h"
    return look.currency.rate, look.currency.code


def _reading(found: YearOn, figure: str, look: Look) -> str:
    one = found.compared[figure]
    plan, actual = float(one.plan.sum()), float(one.actual.sum())
    name = FIGURE_NAMES[figure]
    count = f"{one.months.size} month{'s' if one.months.size > 1 else ''}"
    said = (f"{name}: {figure_text(figure, actual, look)} in {count} against "
            f"{figure_text(figure, plan, look)} planned")  # fmt: skip
    if plan > 0:
        said += f", {(actual - plan) / plan:+.1%}".replace("-", "−")
    off = np.abs(one.actual - one.plan)
    if off.max() > 0 and one.months.size > 1:
        at = int(off.argmax())
        way = "above" if one.actual[at] > one.plan[at] else "below"
        said += (f"; furthest off in {month_name(found.study, int(one.months[at]))}, "
                 f"{figure_text(figure, float(off[at]), look)} {way}")  # fmt: skip
    causes = causes_sentence(one, look)
    return f"{said}. It comes of {causes}." if causes else f"{said}."


def _table(found: YearOn, figure: str, look: Look) -> ChartTable:
    one = found.compared[figure]
    pairs = zip(one.months, one.plan, one.actual, strict=True)
    rows = [
        [month_name(found.study, int(month)),
         *(figure_text(figure, float(x), look) for x in (plan, actual, actual - plan))]
        for month, plan, actual in pairs
    ]  # fmt: skip
    return ChartTable(["Month", "Plan", "Actual", "Actual less plan"], rows)
