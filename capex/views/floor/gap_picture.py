"""Why the same batch takes longer on one side, cause by cause, and what that says of a stream.

May import: from capex `shopfloor.batch`, `views.chart` and `views.charts.picture`.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from html import escape
from itertools import groupby
from typing import Any, Final

from capex.shopfloor.batch.gap import Gap
from capex.shopfloor.batch.timeline import Timeline
from capex.views.chart import ChartTable
from capex.views.charts.picture import Look, Picture, axis, joined, plot_text
from capex.views.floor.times import in_steps_of, time_text
from capex.views.palette import key_svg

__all__ = ["batch_cards_html", "gap_picture", "ratios_html"]

_NAMES: Final = {"interaction": "together only"}
#: Steps below this are not named in the reading [s].
_SMALL: Final = 15.0
#: How a list of orders was found, in words.
_METHODS: Final = {
    "as given": "as listed",
    "list scheduling, as given": "as listed",
    "list scheduling, most work first": "orders with most work first",
    "list scheduling, least work first": "orders with least work first",
    "furthest along first": "the order furthest along first",
    "Johnson's rule": "Johnson’s rule: quick on the first machine first, quick on the second last",
    "Johnson's rule with lags": "Johnson’s rule, the wait between its two machines counted in",
}


def gap_picture(gap: Gap, first: str, second: str, look: Look) -> Picture:
    """Return the way from one makespan to the other in steps.

    Parameters
    ----------
    gap : Gap
    first, second : str
        Keys of the alternatives.
    look : Look
    """
    names = [look.study.alternatives[key].name for key in (first, second)]
    steps = gap.waterfall()
    labels = [_NAMES.get(cause, cause) for cause, _ in steps]
    scale, unit = (3600.0, "h") if max(gap.start, gap.end) > 3 * 3600 else (60.0, "min")
    step = 60.0 if unit == "h" else 6.0
    said = in_steps_of(step)
    whole = (round(gap.end / step) - round(gap.start / step)) * step  # of what is shown
    values = [gap.start, *(step for _, step in steps), gap.end]
    data = [
        {
            "type": "waterfall",
            "orientation": "h",
            "y": [plot_text(names[0]), *labels, plot_text(names[1])],
            "measure": ["absolute", *["relative"] * len(steps), "total"],
            "x": [round(value / scale, 3) for value in values],
            "text": [said(gap.start), *(_signed(step, said) for _, step in steps), said(gap.end)],
            "textposition": "outside",
            "cliponaxis": False,
            "increasing": {"marker": {"color": "#b3261e"}},
            "decreasing": {"marker": {"color": "#4d93a3"}},
            "totals": {"marker": {"color": "#6f7a82"}},
            "connector": {"line": {"color": "#6f7a82", "width": 1}},
            "hovertemplate": "%{text}<extra></extra>",
        }
    ]  # fmt: skip
    layout = {
        "xaxis": _time_axis(gap, scale, unit),
        "yaxis": {"autorange": "reversed", "showgrid": False, "zeroline": False, "ticklen": 0},
        "meta": {"key": [
            {"name": "longer", "color": "#b3261e"}, {"name": "shorter", "color": "#4d93a3"},
        ]},
    }  # fmt: skip
    return Picture(
        {"data": data, "layout": layout},
        _reading(gap, names, whole, said),
        _table(gap, whole, said),
    )


def _table(gap: Gap, whole: float, said: Callable[[float], str]) -> ChartTable:
    causes = [
        [one.cause, _signed(one.alone, said), _signed(one.in_turn, said)]
        for one in gap.contributions
    ]
    return ChartTable(
        ["Cause", "By itself", "In this order, one after the other"],
        [
            *causes,
            ["together only", _signed(gap.interaction, said), "–"],
            ["gap", _signed(whole, said), _signed(whole, said)],
        ],
    )


def _time_axis(gap: Gap, scale: float, unit: str) -> dict[str, Any]:
    """Return an axis on which the steps can be seen: from zero only where they are large."""
    levels = [gap.start, gap.end]
    for _, step in gap.waterfall():
        levels.append((levels[-1] if len(levels) > 2 else gap.start) + step)
    low, high = min(levels), max(levels)
    span = high - low
    if span >= 0.25 * low or span == 0:
        return axis(f"Time of the batch ({unit})", showgrid=True, range=[0, 1.45 * high / scale])
    ends = [(low - 0.6 * span) / scale, (high + 0.9 * span) / scale]
    return axis(f"Time of the batch ({unit}), not from 0", showgrid=True, range=ends)


def _signed(seconds: float, said: Callable[[float], str]) -> str:
    if said(abs(seconds)) == said(0.0):
        return "0"
    return f"{'−' if seconds < 0 else '+'}{said(abs(seconds))}"


def _reading(gap: Gap, names: list[str], whole: float, said_of: Callable[[float], str]) -> str:
    slow = names[1] if gap.gap >= 0 else names[0]
    fast = names[0] if gap.gap >= 0 else names[1]
    if abs(gap.gap) < 1.0:
        return f"Both take as long: {said_of(gap.start)}."
    sign = 1.0 if gap.gap >= 0 else -1.0
    ranked = sorted(gap.contributions, key=lambda one: -sign * one.alone)
    causes = [
        f"{one.cause} {said_of(abs(one.alone))}" for one in ranked if sign * one.alone > _SMALL
    ][:3]
    against = [
        f"{one.cause} {said_of(abs(one.alone))}"
        for one in reversed(ranked)
        if sign * one.alone < -_SMALL
    ][:2]
    longer, shorter = max(gap.start, gap.end), min(gap.start, gap.end)
    said = (
        f"{slow} takes {said_of(abs(whole))} longer than {fast} ({said_of(longer)} against "
        f"{said_of(shorter)})"
    )
    said += f"; most of it by {joined(causes)}" if causes else ""
    said += f". In its favour: {joined(against)}" if against else ""
    together = gap.interaction * sign
    if abs(together) > _SMALL:
        said += (
            f". {said_of(abs(together))} {'more' if together > 0 else 'less'} comes only of "
            "causes together"
        )
    left = " Types that one of the two cannot make are left out." if gap.left_out else ""
    return (
        f"{said}. Each cause is swapped by itself. “Overlap” is what working at once on two "
        f"machines gives.{left}"
    )


def batch_cards_html(first: Timeline, second: Timeline, names: list[str], look: Look) -> str:
    """Return one card an alternative: time, lower bound, pace in a stream, what is not made."""
    return "".join(_card(one, names, look) for one in (first, second))


def _card(one: Timeline, names: list[str], look: Look) -> str:
    name = escape(look.study.alternatives[one.alternative].name)
    head = f"<h3>{key_svg(look.styles[one.alternative])}{name}</h3>"
    missing = "".join(
        f"<li>{escape(names[each.entry])}: {escape(each.reason)}</li>" for each in one.not_made
    )
    out = f"<p class='capex-note'>Cannot be made here:</p><ul>{missing}</ul>" if missing else ""
    if not one.tasks:
        nothing = "<p>Nothing of this batch can be made.</p>"
        return f"<article class='capex-card'>{head}{nothing}{out}</article>"
    stream = one.streaming
    facts = (
        ("No sequence ends before", time_text(one.lower_bound), _beside_the_bound(one)),
        ("Sequence", _METHODS[one.method], sequence_text(one, names)),
        ("In a steady stream, at best one batch every", time_text(stream.cycle_time),
         f"set by {stream.bottleneck} if never waiting; waits for each other come on top."
         + _part_time(one)),
    )  # fmt: skip
    rows = "".join(
        f"<dt>{escape(term)}</dt><dd>{escape(value)}<small>{escape(more)}</small></dd>"
        for term, value, more in facts
    )
    return (
        f"<article class='capex-card'>{head}<p class='capex-figure'>{time_text(one.makespan)} "
        "<small>from the start to the last piece packed</small></p>"
        f"<dl class='capex-facts'>{rows}</dl>{out}</article>"
    )


def _part_time(one: Timeline) -> str:
    """Return what people who are there for part of a shift make of the pace; empty if nothing."""
    slower = one.streaming_by_shift
    if slower.cycle_time <= one.streaming.cycle_time:
        return ""
    part = [
        f"{place.servers} {place.name} count as there throughout, though over a shift they are "
        f"{place.staff:g}"
        for place in one.cell.people
        if place.staff < place.servers
    ]
    return (
        f" As in the batch, {joined(part)}: shift after shift one every "
        f"{time_text(slower.cycle_time)} at best, set by {slower.bottleneck}."
    )


def numbers_text(numbers: Sequence[int]) -> str:
    """Return numbers for reading, runs drawn together.

    Examples
    --------
    >>> numbers_text([3, 4, 5, 9]), numbers_text([7, 6])
    ('3–5, 9', '7, 6')
    """
    runs: list[list[int]] = []
    for number in numbers:
        if runs and number == runs[-1][-1] + 1:
            runs[-1].append(number)
        else:
            runs.append([number])
    return ", ".join(f"{run[0]}–{run[-1]}" if len(run) > 1 else f"{run[0]}" for run in runs)


def sequence_text(one: Timeline, names: Sequence[str]) -> str:
    """Return the list of a batch by its orders' numbers and types."""
    kinds = groupby(one.sequence, key=lambda order: one.entry_of[order])
    parts = [f"{names[n]} ({numbers_text([k + 1 for k in orders])})" for n, orders in kinds]
    return f"{', '.join(parts[:8])}{', …' if len(parts) > 8 else ''}"


def _beside_the_bound(one: Timeline) -> str:
    """Return what is proven: that none is shorter, or how far this one is from the bound."""
    if one.is_shortest:
        return "on any of the machines; this one ends then: none is shorter"
    above = one.makespan / one.lower_bound - 1.0
    longer = "less than 0.1%" if above < 0.001 else f"{above:.1%}"
    return f"on any of the machines; this one is {longer} longer, a shorter one may exist"


def ratios_html(first: Timeline, second: Timeline, look: Look) -> str:
    """Return the ratio of one batch beside that of a stream, and why they differ."""
    if not first.tasks or not second.tasks:
        return ""
    slow, fast = (first, second) if first.makespan >= second.makespan else (second, first)
    names = [escape(look.study.alternatives[one.alternative].name) for one in (slow, fast)]
    latency = slow.streaming.latency_ratio(fast.streaming)
    throughput = slow.streaming.throughput_ratio(fast.streaming)
    if throughput >= 1:
        stream = (
            f"<strong>{throughput:.2f} times</strong> as long between two batches, each at best"
        )
    else:
        stream = (
            f"only <strong>{throughput:.2f} times</strong> as long between two batches, each at "
            "best: it is the faster one there"
        )
    return (
        f"<article class='capex-card'><h3>One batch is not the shop</h3><p>{names[0]} takes "
        f"<strong>{latency:.2f} times</strong> as long as {names[1]} for this one batch; with one "
        f"such batch after the other, {stream}.</p><p class='capex-note'>One batch’s ratio is not "
        "the shop’s ratio. Batch after batch, two machines are bound by the slower of them, one "
        "machine by all its work, and either by its people. Both ratios count everybody as there "
        "throughout. What a month can make, with failures and people’s hours, stands on the first "
        "page.</p></article>"
    )
