"""When to buy the second machine: what a choice leaves against the month of its later purchase.

May import: numpy, and from capex study, decision, `views.chart`, `views.charts.picture` and
`views.wording`.
"""

from __future__ import annotations

from typing import Any, Final

from capex.decision.staging import PurchaseTiming
from capex.study import Study
from capex.views.chart import ChartTable
from capex.views.charts.picture import Look, Picture, axis
from capex.views.wording import month_name

__all__ = ["later_purchases", "timing_picture"]


def later_purchases(study: Study) -> dict[str, str]:
    """Return names of the choices that buy exactly one machine later, by key."""
    found = {}
    for key, choice in study.alternatives.items():
        later = [
            one
            for one in choice.machines
            if not one.owned and (one.month.likely > 0 or one.when_load_passes is not None)
        ]
        if len(later) == 1:
            found[key] = choice.name
    return found


def timing_picture(found: PurchaseTiming, entered: int | None, look: Look) -> Picture:
    """Return the gain against the month of purchase, and what never buying leaves.

    Parameters
    ----------
    found : PurchaseTiming
    entered : int or None
        Month in which the study buys it; None where it never does.
    look : Look
    """
    style, rate = look.styles[found.key], look.currency.rate
    code, last = look.currency.code, int(found.months[-1])
    data: list[dict[str, Any]] = [{
        "type": "scatter", "mode": "lines", "name": "Bought in this month", "x": found.months,
        "y": (found.gain * rate).round(0), "line": style.line,
        "hovertemplate": f"%{{y:,.4s}} {code}",
    }, {
        "type": "scatter", "mode": "lines", "name": "Never bought", "x": [0, last],
        "y": [round(found.gain_never * rate)] * 2,
        "line": {"color": "#6f7a82", "dash": "dot", "width": 2},
        "hovertemplate": f"%{{y:,.4s}} {code}",
    }]  # fmt: skip
    at = [k for k, month in enumerate(found.months) if month == entered]
    if at:
        data.append({
            "type": "scatter", "mode": "markers", "name": "As the study stands",
            "x": found.months[at], "y": (found.gain[at] * rate).round(0), "marker": style.marker,
            "hovertemplate": f"%{{y:,.4s}} {code}",
        })  # fmt: skip
    layout = {
        "xaxis": axis("Month of purchase", dtick=12 if last > 24 else 3),
        "yaxis": axis(f"NPV gain over the baseline ({code})", tickformat="~s"),
        "hovermode": "x unified",
    }
    rows = [[str(month), look.money(gain)]
            for month, gain in zip(found.months, found.gain, strict=True)]  # fmt: skip
    rows.append(["never", look.money(found.gain_never)])
    table = ChartTable(["Month of purchase", "NPV gain over the baseline"], rows)
    reading = f"{_reading(found, entered, look)} {_PRICES}"
    return Picture({"data": data, "layout": layout}, reading, table)


def _when(look: Look, month: int) -> str:
    return "on the day of decision" if month == 0 else f"in {month_name(look.study, month)}"


#: What a later purchase supposes of prices: said, as it speaks for waiting.
_PRICES: Final = (
    "Its price is today's in every month; one that rises would speak for buying sooner."
)


def _reading(found: PurchaseTiming, entered: int | None, look: Look) -> str:
    top, best = float(found.gain.max()), found.best_month
    said = (
        f"{found.machine}: never buying it leaves most, {look.money(found.gain_never - top)} more "
        "than the best month."
        if best is None
        else f"{found.machine}: buying it {_when(look, best)} (month {best}) leaves most, "
        f"{look.money(top - found.gain_never)} more than never buying it."
    )
    if entered is None:
        return f"{said} As the study stands it is not bought."
    at = [k for k, month in enumerate(found.months) if month == entered]
    if not at:
        return said
    short = max(top, found.gain_never) - float(found.gain[at[0]])
    return (
        f"{said} Month {entered}, as the study stands, leaves {look.money(short)} less than that."
        if round(short) > 0
        else f"{said} That is the month in the study."
    )
