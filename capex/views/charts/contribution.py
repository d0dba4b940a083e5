"""What each job type leaves a year, under each alternative.

May import: numpy, and from capex decision, `views.chart` and `views.charts.picture`.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from capex.decision.jobs import yearly_contribution
from capex.views.chart import ChartTable
from capex.views.charts.picture import Look, Picture, axis, plot_text, wrapped
from capex.views.state import Result

__all__ = ["contribution_height", "contribution_picture"]


def contribution_height(result: Result) -> int:
    """Return the height that the bars need [px]."""
    bars = len(result.study.jobs) * len(result.appraisal.outcomes)
    return 60 + 11 * bars


def contribution_picture(result: Result, look: Look) -> Picture:
    """Return sales less materials, other direct cost and bought-in work, a year on average."""
    outcomes = result.appraisal.outcomes
    jobs = [job.name for job in result.study.jobs.values()]
    earned = {key: yearly_contribution(outcome)[0] for key, outcome in outcomes.items()}
    code = look.currency.code
    data = [
        {
            "type": "bar",
            "orientation": "h",
            "name": plot_text(outcomes[key].name),
            "y": [wrapped(job, 16) for job in jobs],
            "x": (values * look.currency.rate).round(0),
            "marker": look.styles[key].bar,
            "hovertemplate": f"%{{x:,.3s}} {code} a year",
        }
        for key, values in earned.items()
    ]
    layout = {
        "barmode": "group",
        "bargap": 0.25,
        "xaxis": axis(
            f"A year, before wages and overheads ({code})",
            tickformat="~s",
            showgrid=True,
            zeroline=True,
        ),
        "yaxis": {"autorange": "reversed", "showgrid": False},
    }
    table = ChartTable(
        ["Job type", *(f"{outcomes[key].name} ({code} a year)" for key in earned)],
        [
            [job, *(look.money(float(values[j])) for values in earned.values())]
            for j, job in enumerate(jobs)
        ],
    )
    return Picture({"data": data, "layout": layout}, _reading(result, look, jobs, earned), table)


def _reading(
    result: Result, look: Look, jobs: list[str], earned: dict[str, npt.NDArray[np.float64]]
) -> str:
    best = result.verdict.best
    top = int(earned[best].argmax())
    said = (
        f"Most comes from {jobs[top]}: {look.money(float(earned[best][top]))} a year with "
        f"{result.appraisal.outcomes[best].name}."
    )
    spread = np.ptp(np.stack(list(earned.values())), axis=0)
    most = int(spread.argmax())
    if len(earned) > 1 and spread[most] > 0:
        values = {key: float(row[most]) for key, row in earned.items()}
        high, low = max(values, key=values.__getitem__), min(values, key=values.__getitem__)
        names = look.names(result.appraisal)
        said += (
            f" The choice matters most for {jobs[most]}: {look.money(float(spread[most]))} a year "
            f"between {names[high]} and {names[low]}."
        )
    return f"{said} Before wages, room, machines and tax."
