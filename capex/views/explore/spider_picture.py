"""The spider: one input at a time along its own spread, and what one choice leaves over another.

May import: from capex decision, `views.chart`, `views.charts.picture`,
`views.explore.words` and `views.wording`.
"""

from __future__ import annotations

from typing import Any, Final

from capex.decision.risk.spider import InputLine, Spider
from capex.views.chart import ChartTable
from capex.views.charts.picture import Look, Picture, axis, joined, plot_text
from capex.views.explore.words import input_title, input_value
from capex.views.wording import input_name

__all__ = ["PERCENTILES", "spider_picture"]

#: Where every input is looked at; even, so that the lowest, the middle and the highest are there.
PERCENTILES: Final = (0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9)

#: Inputs that have a line; the table has all of them. At least 3:1 on the light and the dark page,
#: none of them an alternative's.
_LINES: Final = (
    ("#1f8a9c", "solid", "circle"),
    ("#b35c44", "dash", "square"),
    ("#6f8a2a", "dot", "diamond"),
    ("#a8618c", "dashdot", "triangle-up"),
    ("#a0762a", "longdash", "x"),
    ("#5a7f8c", "longdashdot", "cross"),
)
_ONE_SIDED: Final = ", both ends on one side of today"


def spider_picture(found: Spider, pair: tuple[int, int], look: Look) -> Picture:
    """Return the lead of one choice over another along each input, the largest change first.

    Parameters
    ----------
    found : Spider
        At an odd number of percentiles.
    pair : tuple of two int
        Places of the two choices.
    look : Look
    """
    swings = found.swings(*pair)
    other = look.study.alternatives[found.keys[pair[1]]].name
    ranks, here = 100.0 * found.percentiles, float(found.gains[pair[0]] - found.gains[pair[1]])
    shown = [line for line, change in swings if change > 0.0][: len(_LINES)]
    data = [_trace(line, pair, ranks, style, look)
            for line, style in zip(shown, _LINES, strict=False)]  # fmt: skip
    data.append({
        "type": "scatter", "mode": "lines", "name": "As it is set", "x": ranks[[0, -1]],
        "y": [here * look.currency.rate] * 2, "hoverinfo": "skip",
        "line": {"color": "#787878", "width": 1, "dash": "dot"},
    })  # fmt: skip
    places = ranks[:: max(1, (ranks.size - 1) // 4)]
    layout = {
        "xaxis": axis("Percentile of each input", tickvals=places,
                      ticktext=[f"P{place:.0f}" for place in places]),
        "yaxis": axis(f"NPV over {plot_text(other)} ({look.currency.code})", tickformat="~s",
                      zeroline=True, nticks=6),
        "hovermode": "closest",
    }  # fmt: skip
    reading = _reading(found, swings, pair, look)
    return Picture({"data": data, "layout": layout}, reading, _table(found, swings, pair, look))


def _trace(
    line: InputLine, pair: tuple[int, int], ranks: Any, style: tuple[str, str, str], look: Look
) -> dict[str, Any]:
    color, dash, symbol = style
    path = line.input.path
    texts = [plot_text(input_value(look.study, path, float(value), look.units))
             for value in line.values]  # fmt: skip
    return {
        "type": "scatter", "mode": "lines+markers",
        "name": plot_text(input_title(look.study, path)), "x": ranks,
        "y": (_leads(line, pair) * look.currency.rate).round(2), "text": texts,
        "line": {"color": color, "dash": dash, "width": 2.5},
        "marker": {"color": color, "symbol": symbol, "size": 7},
        "hovertemplate": f"P%{{x:.0f}}: %{{text}}<br>%{{y:,.3s}} {look.currency.code}",
    }  # fmt: skip


def _leads(line: InputLine, pair: tuple[int, int]) -> Any:
    return line.gains[:, pair[0]] - line.gains[:, pair[1]]


def _reading(
    found: Spider, swings: tuple[tuple[InputLine, float], ...], pair: tuple[int, int], look: Look
) -> str:
    """Return which input is steepest, and which of them turn the choice alone."""
    names = [look.study.alternatives[key].name for key in found.keys]
    here = float(found.gains[pair[0]] - found.gains[pair[1]])
    said = f"As it is set, {names[pair[0]]} leaves {look.money(here)} more than {names[pair[1]]}."
    turning = _turning(found, swings, pair, look)
    if not swings or swings[0][1] <= 0.0:
        return f"{said} No input with a low and a high value moves that.{turning}"
    line = swings[0][0]
    leads = _leads(line, pair)
    low, high = (input_value(look.study, line.input.path, float(line.values[k]), look.units)
                 for k in (0, -1))  # fmt: skip
    side = _ONE_SIDED if found.one_sided(line, *pair) else ""
    return (
        f"{said} {input_title(look.study, line.input.path)} moves that most: "
        f"{look.money(float(leads[0]))} at {low}, {look.money(float(leads[-1]))} at {high}{side}."
        f"{turning}"
    )


def _turning(
    found: Spider, swings: tuple[tuple[InputLine, float], ...], pair: tuple[int, int], look: Look
) -> str:
    """Return which inputs turn the choice alone, and to which choice if not to the next."""
    said = []
    for line, _ in swings:
        over = found.overtaken(line, pair[0])
        thirds = [look.study.alternatives[found.keys[k]].name for k in over if k != pair[1]]
        to = f" (to {joined(thirds)})" if thirds else ""
        said += [f"{input_name(look.study, line.input.path)}{to}"] if over else []
    if not said:
        return " No input alone turns the choice."
    more = f" and {len(said) - 3} more" if len(said) > 3 else ""
    return f" Each of these turns the choice alone: {', '.join(said[:3])}{more}."


def _table(
    found: Spider,
    swings: tuple[tuple[InputLine, float], ...],
    pair: tuple[int, int],
    look: Look,
) -> ChartTable:
    """Return every input at its lowest, middle and highest percentile, with the lead there."""
    places = (0, found.percentiles.size // 2, -1)
    rows = []
    for line, change in swings:
        leads = _leads(line, pair)
        texts = [
            f"{look.money(float(leads[k]))} at "
            f"{input_value(look.study, line.input.path, float(line.values[k]), look.units)}"
            for k in places
        ]
        side = _ONE_SIDED if found.one_sided(line, *pair) else ""
        rows.append(
            [input_title(look.study, line.input.path), *texts, f"{look.money(change)}{side}"]
        )
    heads = [f"P{100.0 * found.percentiles[k]:.0f}" for k in places]
    return ChartTable(["Input", *heads, "Largest change"], rows)
