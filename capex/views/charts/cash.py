"""How cash builds up over the months, against the baseline.

May import: numpy, and from capex decision, `views.chart` and `views.charts.picture`.
"""

from __future__ import annotations

import numpy as np

from capex.decision.outcome import Outcome
from capex.views.chart import ChartTable
from capex.views.charts.picture import Look, Picture, axis, plot_text
from capex.views.state import Result
from capex.views.wording import month_name

__all__ = ["cash_picture"]


def cash_picture(result: Result, look: Look) -> Picture:
    """Return cumulative cash less the baseline's, by month, not discounted and without financing.

    Parameters
    ----------
    result : Result
    look : Look

    Returns
    -------
    Picture
        One line an alternative; the baseline is the zero line.
    """
    outcomes = result.appraisal.outcomes
    months = int(result.appraisal.baseline.horizon[0])
    at = np.arange(months + 1)
    paths = {
        key: outcome.incremental_cash_flow[0, : months + 1].cumsum()
        for key, outcome in outcomes.items()
    }
    code = look.currency.code
    data = [
        {
            "type": "scatter",
            "mode": "lines",
            "name": plot_text(outcomes[key].name),
            "x": at,
            "y": (path * look.currency.rate).round(0),
            "line": look.styles[key].line,
            "hovertemplate": f"%{{y:,.3s}} {code}",
        }
        for key, path in paths.items()
    ]
    layout = {
        "xaxis": axis("Month from the decision", dtick=12 if months > 24 else 3),
        "yaxis": axis(f"Cumulative cash against the baseline ({code})", tickformat="~s"),
        "hovermode": "x unified",
    }
    marks = sorted({0, *range(12, months + 1, 12), months})
    table = ChartTable(
        ["Month", *(f"{outcomes[key].name} ({code})" for key in paths)],
        [[str(month), *(look.money(path[month]) for path in paths.values())] for month in marks],
    )
    return Picture({"data": data, "layout": layout}, _reading(result, look), table)


def _reading(result: Result, look: Look) -> str:
    ranking = [key for key in result.verdict.ranking if key != result.study.baseline]
    if not ranking:
        return "There is nothing to measure against the baseline yet."
    said = [_course(result.appraisal.outcomes[key], look) for key in ranking[:2]]
    return f"{'; '.join(said)}. Not discounted, without loan payments, resale at the end included."


def _course(outcome: Outcome, look: Look) -> str:
    path = outcome.incremental_cash_flow[0, : int(outcome.horizon[0]) + 1].cumsum()
    behind = np.flatnonzero(path < 0)
    end = path[-1]
    if not behind.size:
        return f"{outcome.name}: never behind, {look.money(end)} ahead at the end"
    depth = f"{outcome.name}: at most {look.money(-path.min())} behind"
    if behind[-1] == path.size - 1:
        return f"{depth}, and {look.money(-end)} behind at the end"
    since = month_name(look.study, int(behind[-1]) + 1)
    return f"{depth}, ahead for good from {since}, {look.money(end)} ahead at the end"
