"""Charts of the draws: what the choices leave, when it is paid back, what is worth knowing.

May import: numpy, and from capex decision, `views.chart`, `views.charts.picture`,
`views.explore.words` and `views.wording`.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Final

import numpy as np
import numpy.typing as npt

from capex.decision.risk import chances
from capex.decision.risk.importance import Importance
from capex.decision.risk.information import (
    InputInformation,
    perfect_information,
    value_of_knowing,
)
from capex.decision.risk.simulation import Simulation
from capex.study import Study
from capex.views.chart import ChartTable
from capex.views.charts.picture import Look, Picture, axis, plot_text, wrapped
from capex.views.explore.words import chance_text, input_title, sureness_table
from capex.views.wording import input_name

__all__ = [
    "gains_picture",
    "knowing_height",
    "knowing_picture",
    "payback_picture",
    "shares_picture",
]

FloatArray = npt.NDArray[np.float64]

_BARS: Final = 40
_TOP: Final = 8
#: One series, no alternative: readable on the light and on the dark page.
_PLAIN: Final = "#5a7f8c"


def gains_picture(found: Simulation, look: Look) -> Picture:
    """Return the distributions of what each choice leaves over the baseline, over one another."""
    study, rate, code = look.study, look.currency.rate, look.currency.code
    shown = [(k, key) for k, key in enumerate(study.alternatives) if key != study.baseline]
    gains = found.gains * rate
    table = sureness_table(found, look)
    if not shown:
        return Picture({"data": [], "layout": {}}, "There is only the baseline.", table)
    every = gains[:, [k for k, _ in shown]]
    width = _round_step((np.quantile(every, 0.998) - np.quantile(every, 0.002)) / _BARS)
    edges = np.arange(np.floor(every.min() / width), np.ceil(every.max() / width) + 1.5) * width
    data: list[dict[str, Any]] = []
    for k, key in shown:
        data += _distribution(gains[:, k], edges, look, key)
    low, high = np.quantile(every, [0.001, 0.999])
    pad = 0.04 * (high - low) or width
    layout = {
        "xaxis": axis(f"NPV over “{plot_text(study.alternatives[study.baseline].name)}” ({code})",
                      tickformat="~s", range=[low - pad, high + pad], nticks=8, zeroline=True),
        "yaxis": axis(f"Draws per {look.money(width / rate)} (%)", rangemode="tozero"),
        "hovermode": "x",
    }  # fmt: skip
    return Picture({"data": data, "layout": layout}, _gains_reading(found, look), table)


def _distribution(
    gains: FloatArray, edges: FloatArray, look: Look, key: str
) -> list[dict[str, Any]]:
    share = 100.0 * np.histogram(gains, edges)[0] / gains.size
    middle = (edges[:-1] + edges[1:]) / 2.0
    marks = chances.percentiles(gains[:, None])[:, 0]
    heights = share[np.clip(np.searchsorted(edges, marks, side="right") - 1, 0, share.size - 1)]
    style, name = look.styles[key], plot_text(look.study.alternatives[key].name)
    return [
        {"type": "scatter", "mode": "lines", "name": name, "x": middle, "y": share.round(2),
         "line": {**style.line, "shape": "hvh"}, "hovertemplate": "%{y:.1f}% of draws"},
        {"type": "scatter", "mode": "markers", "name": name, "showlegend": False, "x": marks,
         "y": heights.round(2), "marker": {**style.marker, "size": 10},
         "text": ["P5", "P50", "P95"], "hovertemplate": "%{text}: %{x:,.3s}"},
    ]  # fmt: skip


def _round_step(width: float) -> float:
    """Return a step of 1, 2 or 5 times a power of ten, about as wide."""
    if width <= 0:
        return 1.0
    power = 10.0 ** np.floor(np.log10(width))
    return float(power * next(m for m in (1, 2, 5, 10) if m * power >= width * 0.999))


def _gains_reading(found: Simulation, look: Look) -> str:
    study = look.study
    five, middle, most = chances.percentiles(found.gains)
    shown = [(k, choice.name) for k, (key, choice) in enumerate(study.alternatives.items())
             if key != study.baseline]  # fmt: skip
    said = [f"{name} {look.money(five[k])} to {look.money(most[k])}, middle {look.money(middle[k])}"
            for k, name in shown]  # fmt: skip
    losses = {k: chances.chance(found.gains[:, k] < 0.0) for k, _ in shown}
    lost = [f"{name} {chance_text(losses[k])}" for k, name in shown if losses[k].value > 0.0]
    loss = (
        f"Chance of a loss: {'; '.join(lost)}."
        if lost
        else f"No draw is a loss: each {chance_text(next(iter(losses.values())))}."
    )
    return f"In nine draws of ten: {'; '.join(said)}. {loss} Markers: P5, P50, P95."


def payback_picture(found: Simulation, look: Look) -> Picture:
    """Return the share of the draws in which the money is back, against the years."""
    study = look.study
    years = np.linspace(0.0, float(found.study.money.horizon.likely) / 12.0, 85)
    whole = np.arange(1, int(years[-1]) + 1)
    data, rows, said = [], [], []
    curves: dict[str, FloatArray] = {}
    twins: list[str] = []
    for k, (key, choice) in enumerate(study.alternatives.items()):
        if key == study.baseline:
            continue
        back = found.payback[:, k]
        share = 100.0 * (back[None, :] <= years[:, None] + 1e-9).mean(axis=1)
        style = look.styles[key]
        data.append({
            "type": "scatter", "mode": "lines+markers", "name": plot_text(choice.name),
            "x": years.round(3), "y": share.round(2), "line": style.line,
            "marker": {**style.marker, "maxdisplayed": 12}, "hovertemplate": "%{y:.0f}%",
        })  # fmt: skip
        same = [other for other, curve in curves.items() if np.abs(curve - share).max() < 0.5]
        twins += [f"{choice.name} and {same[0]} run together" for _ in same[:1]]
        curves[choice.name] = share
        rows.append([choice.name, *(chance_text(chances.chance(back <= year)) for year in whole)])
        middle = chances.percentiles(back[:, None], (0.5, 0.95))[:, 0]
        texts = [f"{one:.1f} years" if np.isfinite(one) else "not within the horizon"
                 for one in middle]  # fmt: skip
        said.append(f"{choice.name}: half of the draws {texts[0]}, 95 in 100 {texts[1]}")
    paid = found.payback[np.isfinite(found.payback)]
    last = min(float(years[-1]), float(np.ceil(paid.max(initial=0.0) + 1.0)))
    layout = {
        "xaxis": axis("Years from the decision", dtick=1, range=[0.0, last]),
        "yaxis": axis("Draws paid back (%)", range=[0, 104]),
        "hovermode": "x unified",
    }
    table = ChartTable(["Paid back within", *(f"{year} y" for year in whole)], rows)
    return Picture({"data": data, "layout": layout}, f"{'; '.join([*said, *twins])}.", table)


def knowing_height(picture: Picture) -> int:
    """Return the height that the bars need [px]."""
    return 90 + 38 * max(1, len(picture.figure["data"][0]["x"]))


def knowing_picture(found: Simulation, look: Look) -> Picture:
    """Return what it is worth to know each input before signing, the most first."""
    whole = perfect_information(found.gains)
    known = value_of_knowing(found.draws, found.gains)
    top = [one for one in known if one.worth.value > 0][:_TOP]
    rate, code = look.currency.rate, look.currency.code
    bars = [(wrapped(input_title(look.study, one.path), 26), one.worth.value * rate) for one in top]
    data = [_bars("Worth of knowing it", bars, "", f"%{{x:,.3s}} {code}")]
    layout = {
        "xaxis": axis(f"Worth of knowing it before signing ({code})", tickformat="~s",
                      showgrid=True, rangemode="tozero", nticks=5),
        "yaxis": {"autorange": "reversed", "showgrid": False},
    }  # fmt: skip
    rows = [
        [input_title(look.study, one.path), look.money(one.worth.value),
         f"± {look.money(one.worth.error)}", _share_text(one)]
        for one in known
    ]  # fmt: skip
    table = ChartTable(["Input", "Worth of knowing it", "Simulation error", "Of knowing all"], rows)
    worth = f"{look.money(whole.value)} ± {look.money(whole.error)}"
    if whole.value <= 0 or not top:
        reading = f"Knowing everything before signing is worth {worth}: nothing found out could "
        return Picture({"data": data, "layout": layout}, reading + "change the choice.", table)
    reading = (
        f"Knowing everything before signing would be worth {worth}, the most that any inquiry is. "
        f"Most worth finding out: {input_name(look.study, top[0].path)}, "
        f"{look.money(top[0].worth.value)} ({_share_text(top[0])} of it)."
    )
    return Picture({"data": data, "layout": layout}, reading, table)


def _share_text(known: InputInformation) -> str:
    """Return the share of the worth of knowing everything, with its simulation error."""
    return f"{known.share:.0%} ± {100.0 * known.share_error:.0f} points"


def shares_picture(found: Importance, study: Study, names: Sequence[str]) -> Picture:
    """Return the share of each input in the spread of a lead: alone, and together with others."""
    order = np.argsort(-found.total[0], kind="stable")
    words = [input_title(study, path) for path in found.paths]
    data = []
    for title, part, pattern in (("Alone", found.first, ""), ("With others", found.total, "/")):
        bars = [(wrapped(words[k], 26), 100.0 * float(part[0, k])) for k in order[:_TOP]]
        data.append(_bars(title, bars, pattern, "%{x:.0f}%"))
    layout = {
        "barmode": "group", "bargap": 0.35,
        "xaxis": axis("Share of the variance (%)", showgrid=True, nticks=6),
        "yaxis": {"autorange": "reversed", "showgrid": False},
    }  # fmt: skip
    rows = [
        [words[k], *(f"{100 * part[0, k]:.0f}% ± {100 * error[0, k]:.0f}" for part, error in
                     ((found.first, found.first_error), (found.total, found.total_error)))]
        for k in order
    ]  # fmt: skip
    top = order[0]
    texts = [f"{100 * part[0, top]:.0f}% ± {100 * error[0, top]:.0f}" for part, error in
             ((found.first, found.first_error), (found.total, found.total_error))]  # fmt: skip
    reading = (
        f"Of the variance of what {names[0]} leaves more than {names[1]}, "
        f"{input_name(study, found.paths[top])} brings "
        f"{texts[0]} alone and {texts[1]} together with others (± is the sampling error). "
        "Inputs count as independent here."
        if found.total[0].max() > 0
        else f"What {names[0]} leaves more than {names[1]} does not vary."
    )
    table = ChartTable(["Input", "Alone", "Together with others"], rows)
    return Picture({"data": data, "layout": layout}, reading, table)


def _bars(name: str, bars: Sequence[tuple[str, float]], pattern: str, hover: str) -> dict[str, Any]:
    shape = {"shape": pattern, "fillmode": "overlay", "size": 7}
    return {
        "type": "bar", "orientation": "h", "name": name, "y": [label for label, _ in bars],
        "x": [round(value, 2) for _, value in bars], "hovertemplate": hover,
        "marker": {"color": _PLAIN, "pattern": shape},
    }  # fmt: skip
