"""The lender's charts: cover by year, what is owed against what machines fetch, cash by month.

May import: numpy, and from capex decision, finance, `views.chart` and `views.charts.picture`.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from capex.decision.lender_limits import least_cash_after
from capex.decision.stress import StressTest
from capex.finance.coverage import RatioReason
from capex.finance.lender import LenderView
from capex.views.chart import ChartTable
from capex.views.charts.picture import Look, Picture, axis, plot_text
from capex.views.wording import month_name

__all__ = ["cash_picture", "cover_picture", "owed_picture", "ratio_text"]

_FAR: Final = 8.0  # times the lender's minimum beyond which a linear axis hides it
_JUMP: Final = 2.0  # times the year before
_LOGARITHMIC: Final = (
    "The axis is logarithmic, so that the minimum can be told from the covers: each step upwards "
    "is a multiple."
)


def ratio_text(ratio: float, reason: int) -> str:
    """Return a cover ratio for reading, or a dash where there is none.

    Examples
    --------
    >>> ratio_text(1.25, 0), ratio_text(float("nan"), 1)
    ('1.25', '–')
    """
    return f"{ratio:.2f}" if reason == RatioReason.FOUND else "–"


def cover_picture(found: StressTest, look: Look) -> Picture:
    """Return yearly repayment cover of every choice as entered, with the lender's minimum."""
    least = float(look.study.money.lender.minimum_cover.likely)
    data, rows = [], []
    years = next(iter(found.each.values())).view.by_year.ratio.shape[1]
    for key, figures in found.each.items():
        cover = figures.view.by_year
        there = cover.found[0]
        rows.append([found.appraisal.outcomes[key].name, *map(ratio_text, cover.ratio[0],
                                                              cover.reason[0])])  # fmt: skip
        if there.any():
            data.append({
                "type": "scatter", "mode": "lines+markers",
                "name": plot_text(found.appraisal.outcomes[key].name),
                "x": np.arange(1, years + 1)[there], "y": cover.ratio[0][there].round(3),
                "line": look.styles[key].line, "hovertemplate": "%{y:.2f}",
            })  # fmt: skip
    scale, level, note = _cover_scale(found, least)
    layout = {
        "xaxis": axis("Year from the decision", dtick=1, range=[0.7, years + 0.3]),
        "yaxis": axis("Repayment cover (cash over debt service)", **scale),
        "shapes": [{
            "type": "line", "xref": "paper", "x0": 0, "x1": 1, "y0": least, "y1": least,
            "line": {"dash": "dot", "width": 2, "color": "#8a6d00"},
        }],
        "annotations": [{
            "xref": "paper", "x": 1, "y": level, "xanchor": "right", "yanchor": "bottom",
            "showarrow": False, "text": f"lender's minimum {least:.2f}",
        }],
        "hovermode": "x unified",
    }  # fmt: skip
    table = ChartTable(["Choice", *(f"Year {year}" for year in range(1, years + 1))], rows)
    reading = " ".join([_cover_reading(found, least), *_jumps(found, look), *note])
    return Picture({"data": data, "layout": layout}, reading, table)


def _cover_scale(found: StressTest, least: float) -> tuple[dict[str, object], float, list[str]]:
    """Return the axis of cover, where the minimum's words stand on it, and a note.

    Far above the minimum a linear axis would press it on the bottom: then the axis is logarithmic,
    or, where a cover is not above 0, it is cut off.
    """
    covers = [each.view.by_year for each in found.each.values()]
    known = np.concatenate([cover.ratio[0][cover.found[0]] for cover in covers])
    low, high = float(known.min(initial=least)), float(known.max(initial=least))
    if high <= _FAR * least:
        return {"rangemode": "tozero"}, least, []
    if low > 0.0:
        span = [np.log10(0.7 * low), np.log10(1.3 * high)]
        ticks = [
            step * 10.0**power
            for power in range(int(np.floor(span[0])), int(np.ceil(span[1])) + 1)
            for step in (1, 2, 5)
        ]
        scale: dict[str, object] = {
            "type": "log", "range": span, "tickmode": "array", "tickvals": ticks,
            "ticktext": [f"{tick:g}" for tick in ticks],
        }  # fmt: skip
        return scale, float(np.log10(least)), [_LOGARITHMIC]
    top = _FAR * least
    note = f"The axis ends at {top:.3g}; the figures hold what lies above."
    return {"range": [1.1 * low, top], "autorange": False}, least, [note]


def _jumps(found: StressTest, look: Look) -> list[str]:
    """Return why the cover of a choice jumps from one year to the next, once a choice."""
    said = []
    for key, figures in found.each.items():
        view, cover = figures.view, figures.view.by_year
        ratio, pairs = cover.ratio[0], cover.found[0][1:] & cover.found[0][:-1]
        pairs = pairs & (ratio[1:] > _JUMP * np.maximum(ratio[:-1], 0.0)) & (ratio[:-1] > 0.0)
        if pairs.any():
            year = int(pairs.argmax())  # before the jump, from 0
            due = view.debt_service_by_year[0]
            said.append(
                f"{found.appraisal.outcomes[key].name} jumps in year {year + 2}, as debt service "
                f"falls from {look.money(due[year])} to {look.money(due[year + 1])}."
            )
    return said


def _cover_reading(found: StressTest, least: float) -> str:
    said = []
    for key, figures in found.each.items():
        lowest = figures.view.lowest_year
        name = found.appraisal.outcomes[key].name
        if lowest.reason[0] == RatioReason.FOUND:
            side = "above" if lowest.ratio[0] >= least else "below"
            said.append(f"{name}: least in year {lowest.when[0]}, {lowest.ratio[0]:.2f}, {side} "
                        f"{least:.2f}")  # fmt: skip
        else:
            said.append(f"{name}: {RatioReason(int(lowest.reason[0])).words}")
    return "; ".join(said) + "."


def owed_picture(found: StressTest, key: str, look: Look) -> Picture | None:
    """Return what is owed by month and what the machines would fetch; None where nothing is."""
    view = found.each[key].view
    if not view.owed[0].any():
        return None
    months = int(view.horizon[0])
    at = np.arange(months + 1)
    lines = {
        "Owed on loans": (view.owed[0], {"color": "#b3261e", "width": 2, "dash": "solid"}),
        "Machines would fetch": (view.machines[0], look.styles[key].line),
    }
    data = [
        {
            "type": "scatter", "mode": "lines", "name": name, "x": at,
            "y": (values[: months + 1] * look.currency.rate).round(0), "line": line,
            "hovertemplate": f"%{{y:,.3s}} {look.currency.code}",
        }
        for name, (values, line) in lines.items()
    ]  # fmt: skip
    layout = {
        "xaxis": axis("Month from the decision", dtick=12 if months > 24 else 3),
        "yaxis": axis(look.currency.code, tickformat="~s", rangemode="tozero"),
        "hovermode": "x unified",
    }
    marks = sorted({*range(0, months + 1, 12), months})
    table = ChartTable(
        ["Month", "Owed", "Machines would fetch", "Loan to value"],
        [
            [str(m), look.money(view.owed[0, m]), look.money(view.machines[0, m]),
             f"{view.loan_to_value.ratio[0, m]:.0%}" if view.loan_to_value.found[0, m] else "–"]
            for m in marks
        ],
    )  # fmt: skip
    return Picture({"data": data, "layout": layout}, _owed_reading(view, look), table)


def _owed_reading(view: LenderView, look: Look) -> str:
    highest = view.highest_loan_to_value
    if highest.reason[0] != RatioReason.FOUND:
        return f"{RatioReason(int(highest.reason[0])).words.capitalize()}."
    limit = float(look.study.money.lender.highest_loan_to_value.likely)
    side = "within" if highest.ratio[0] <= limit else "above"
    return (
        f"Highest loan to value {highest.ratio[0]:.0%}, {_when(look, int(highest.when[0]))}: "
        f"{side} the {limit:.0%} asked for. Resale is an estimate from the study's curve."
    )


def cash_picture(found: StressTest, key: str, look: Look) -> Picture:
    """Return money in the bank by month, as entered and with all stresses together."""
    view, cases = found.each[key].view, found.cases
    months = int(view.horizon[0])
    at = np.arange(months + 1)
    dash = {"as_entered": "solid", "combined": "dash"}
    data = [
        {
            "type": "scatter", "mode": "lines", "name": found.amounts.words[case], "x": at,
            "y": (view.month_end_cash[k, : months + 1] * look.currency.rate).round(0),
            "line": {**look.styles[key].line, "dash": dash[case]},
            "hovertemplate": f"%{{y:,.3s}} {look.currency.code}",
        }
        for k, case in enumerate(cases) if case in dash
    ]  # fmt: skip
    layout = {
        "xaxis": axis("Month from the decision", dtick=12 if months > 24 else 3),
        "yaxis": axis(f"Money in the bank ({look.currency.code})", tickformat="~s"),
        "hovermode": "x unified",
    }
    shown = [k for k, case in enumerate(cases) if case in dash]
    table = ChartTable(
        ["Month", *(found.amounts.words[cases[k]] for k in shown)],
        [[str(m), *(look.money(view.month_end_cash[k, m]) for k in shown)]
         for m in sorted({*range(0, months + 1, 12), months})],
    )  # fmt: skip
    later, when = least_cash_after(view)
    said = [
        f"{found.amounts.words[cases[k]]}: {look.money(view.month_end_cash[k, 0])} on the day of "
        f"decision, later at least {look.money(later[k])}, {_when(look, int(when[k]))}"
        for k in shown
    ]
    return Picture({"data": data, "layout": layout}, "; ".join(said) + ".", table)


def _when(look: Look, month: int) -> str:
    if month == 0:
        return "on the day of decision"
    return f"at the end of {month_name(look.study, month)}"
