"""Charts of the draws: what the choices leave, when it is paid back, what is worth knowing.

May import: numpy, and from capex decision, `views.chart`, `views.charts.picture`,
`views.explore`, `views.risk` and `views.wording`.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Final

import numpy as np
import numpy.typing as npt

from capex.decision.risk import chances
from capex.decision.risk.chances import Estimate
from capex.decision.risk.importance import Importance
from capex.decision.risk.information import InputInformation
from capex.decision.risk.simulation import Simulation
from capex.decision.risk.summary import RiskSummary
from capex.views.chart import ChartTable
from capex.views.charts.picture import Look, Picture, axis, plot_text, wrapped
from capex.views.explore.drawn_tables import sureness_table
from capex.views.explore.words import input_title
from capex.views.risk import chance_text, knowing_sentences, known_share_text, share_text
from capex.views.wording import input_name, payback_text

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


def gains_picture(said: RiskSummary, look: Look) -> Picture:
    """Return the distributions of what each choice leaves over the baseline, over one another."""
    found, study = said.simulation, look.study
    rate, code = look.currency.rate, look.currency.code
    shown = [(k, key) for k, key in enumerate(study.alternatives) if key != study.baseline]
    gains = found.gains * rate
    table = sureness_table(said, look)
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
    return Picture({"data": data, "layout": layout}, _gains_reading(said, look), table)


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


def _gains_reading(said: RiskSummary, look: Look) -> str:
    shown = [choice for choice in said.choices if not choice.baseline]
    ranges = [f"{choice.name} {look.money(choice.gain[0])} to {look.money(choice.gain[2])}, "
              f"middle {look.money(choice.gain[1])}" for choice in shown]  # fmt: skip
    lost = [f"{choice.name} {chance_text(choice.loses)}" for choice in shown
            if choice.loses.value > 0.0]  # fmt: skip
    loss = (
        f"Chance of a loss: {'; '.join(lost)}."
        if lost
        else f"No draw is a loss: each {chance_text(shown[0].loses)}."
    )
    return f"In nine draws of ten: {'; '.join(ranges)}. {loss} Markers: P5, P50, P95."


def payback_picture(found: Simulation, look: Look) -> Picture:
    """Return the share of the draws in which the money is back, against the years."""
    study = look.study
    horizon = int(found.study.money.horizon.likely)
    years = np.linspace(0.0, horizon / 12.0, 85)
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
        texts = [f"{'within ' * bool(np.isfinite(one))}{payback_text(one, horizon)}"
                 for one in middle]  # fmt: skip
        said.append(f"{choice.name}: half of the draws {texts[0]}, 95 in 100 {texts[1]}")
    table = ChartTable(["Paid back within", *(f"{year} y" for year in whole)], rows)
    if not rows:
        reading = "There is only the baseline, which has no payback."
        return Picture({"data": [], "layout": {}}, reading, table)
    paid = found.payback[np.isfinite(found.payback)]
    last = min(float(years[-1]), float(np.ceil(paid.max(initial=0.0) + 1.0)))
    layout = {
        "xaxis": axis("Years from the decision", dtick=1, range=[0.0, last]),
        "yaxis": axis("Draws paid back (%)", range=[0, 104]),
        "hovermode": "x unified",
    }
    return Picture({"data": data, "layout": layout}, f"{'; '.join([*said, *twins])}.", table)


def knowing_height(picture: Picture) -> int:
    """Return the height that the bars need [px]."""
    return 90 + 38 * max(1, len(picture.figure["data"][0]["x"]))


def knowing_picture(said: RiskSummary, look: Look) -> Picture:
    """Return what it is worth to know each input before signing, the most first."""
    known = said.knowing
    top = [one for one in known if one.worth.value > 0][:_TOP]
    rate, code = look.currency.rate, look.currency.code
    bars = [(wrapped(input_title(look.study, one.path), 26), one.worth.value * rate) for one in top]
    data = [_bars("Worth of knowing it", bars, "", f"%{{x:,.3s}} {code}")]
    layout = {
        "xaxis": axis(f"Worth of knowing it before signing ({code})", tickformat="~s",
                      showgrid=True, rangemode="tozero", nticks=5),
        "yaxis": {"autorange": "reversed", "showgrid": False},
    }  # fmt: skip
    rows = [[input_title(look.study, one.path), *_worth_texts(one, look)] for one in known]
    table = ChartTable(["Input", "Worth of knowing it", "Simulation error", "Of knowing all"], rows)
    return Picture({"data": data, "layout": layout}, _knowing_reading(said, look), table)


def _worth_texts(known: InputInformation, look: Look) -> list[str]:
    if known.worth.value > 0.0:
        error = f"± {look.money(known.worth.error)}"
        return [look.money(known.worth.value), error, known_share_text(known)]
    if known.worth.error > 0.0:
        most = f"at most {look.money(known.worth.error)}"
        return ["nothing found", most, known_share_text(known)]
    return ["nothing", "–", "–"]  # knowing everything is worth nothing in any draw


def _knowing_reading(said: RiskSummary, look: Look) -> str:
    words = knowing_sentences(said, look.currency)
    first = next(iter(said.knowing), None)
    if first is not None and first.worth.value > 0.0:
        words.append(
            f"Most worth finding out: {input_name(look.study, first.path)}, "
            f"{look.money(first.worth.value)} ± {look.money(first.worth.error)} "
            f"({known_share_text(first)} of it)."
        )
    return " ".join(words)


def shares_picture(found: Importance, look: Look, names: Sequence[str]) -> Picture:
    """Return the share of each input in the spread of a lead: alone, and together with others."""
    order = np.argsort(-found.total[0], kind="stable")
    words = [input_title(look.study, path) for path in found.paths]
    data = []
    for title, part, pattern in (("Alone", found.first, ""), ("With others", found.total, "/")):
        bars = [(wrapped(words[k], 26), 100.0 * float(part[0, k])) for k in order[:_TOP]]
        data.append(_bars(title, bars, pattern, "%{x:.0f}%"))
    layout = {
        "barmode": "group", "bargap": 0.35,
        "xaxis": axis("Share of the variance (%)", showgrid=True, nticks=6),
        "yaxis": {"autorange": "reversed", "showgrid": False},
    }  # fmt: skip
    parts = (found.first, found.first_error), (found.total, found.total_error)
    rows = [
        [words[k], *(share_text(Estimate(float(part[0, k]), float(error[0, k])))
                     for part, error in parts)]
        for k in order
    ]  # fmt: skip
    top = rows[0]
    if found.variance[0] > 0.0:
        reading = (
            f"Of the variance of what {names[0]} leaves more than {names[1]} (standard deviation "
            f"{look.money(float(np.sqrt(found.variance[0])))}), "
            f"{input_name(look.study, found.paths[order[0]])} brings {top[1]} alone and {top[2]} "
            "together with others (± is the sampling error)."
        )
    else:
        reading = f"What {names[0]} leaves more than {names[1]} does not vary."
    reading += f" {found.count} rows, seed {found.seed}. Inputs count as independent here."
    table = ChartTable(["Input", "Alone", "Together with others"], rows)
    return Picture({"data": data, "layout": layout}, reading, table)


def _bars(name: str, bars: Sequence[tuple[str, float]], pattern: str, hover: str) -> dict[str, Any]:
    shape = {"shape": pattern, "fillmode": "overlay", "size": 7}
    return {
        "type": "bar", "orientation": "h", "name": name, "y": [label for label, _ in bars],
        "x": [round(value, 2) for _, value in bars], "hovertemplate": hover,
        "marker": {"color": _PLAIN, "pattern": shape},
    }  # fmt: skip
