"""Charts of the pages drawn for paper, without a browser: the same figure, by matplotlib.

A chart of the pages is a plain figure (traces and layout); here its lines, bars, axes, rules and
notes are drawn as SVG or PNG. The same figure gives the same bytes.

Imports matplotlib on demand, numpy, `capex.errors` and, of this folder, `fonts`.
"""

from __future__ import annotations

import io
import re
import warnings
from collections.abc import Mapping, Sequence
from html import unescape
from textwrap import fill
from typing import Any, Final

import numpy as np

from capex.errors import CapexError, InputError
from capex.views.documents.paper.fonts import brought_along

__all__ = ["drawn", "for_paper"]

_DASHES: Final = {
    "solid": "-", "dash": (0, (5, 2.2)), "dot": (0, (1.2, 1.6)), "dashdot": (0, (5, 2, 1.2, 2)),
    "longdash": (0, (8, 2.4)), "longdashdot": (0, (8, 2, 1.2, 2)),
}  # fmt: skip
_MARKERS: Final = {
    "circle": "o", "circle-open": "o", "square": "s", "diamond": "D", "triangle-up": "^",
    "cross": "P", "line-ns-open": "|", "line-ns": "|",
}  # fmt: skip
_STEPS: Final = {"linear": "default", "hv": "steps-post", "vh": "steps-pre", "hvh": "steps-mid"}
_HATCHES: Final = {"/": "////", "\\": "\\\\\\\\", "x": "xxxx", "-": "----", ".": "....", "": ""}
#: What a picture would say of its maker and day, by its form: nothing, for the same bytes.
_UNSIGNED: Final[dict[str, dict[str, Any]]] = {
    "svg": {"Date": None, "Creator": None}, "png": {"Software": None},
}  # fmt: skip
_SETTINGS: Final[dict[Any, Any]] = {
    "font.size": 7.5, "svg.fonttype": "none",
    "svg.hashsalt": "capex", "axes.spines.top": False, "axes.spines.right": False,
    "axes.edgecolor": "#4d5863", "axes.labelcolor": "#1a2129", "xtick.color": "#4d5863",
    "ytick.color": "#4d5863", "axes.grid": True, "grid.color": "#e3e7ea", "grid.linewidth": 0.6,
    "axes.axisbelow": True, "hatch.linewidth": 0.6, "text.parse_math": False,
}  # fmt: skip


def _plain(text: str) -> str:
    """Return a text of a figure without the little markup that its notes may have."""
    return unescape(re.sub(r"<[^>]*>", " ", text.replace("<br>", "\n")))


def _short(value: float, _: object = None) -> str:
    """Return a tick in thousands or millions."""
    for size, mark in ((1e9, "bn"), (1e6, "m"), (1e3, "k")):
        if abs(value) >= size:
            return f"{value / size:,.4g}{mark}".replace("-", "−")
    return f"{value:,.4g}".replace("-", "−")


def drawn(
    figure: Mapping[str, Any], *, width: float = 6.7, height: float = 2.5, form: str = "svg"
) -> bytes:
    """Return a figure of the pages as an SVG or PNG picture.

    Parameters
    ----------
    figure : mapping
        ``{"data": [...], "layout": {...}}`` with traces of type scatter and bar.
    width, height : float
        [in].
    form : {"svg", "png"}

    Raises
    ------
    InputError
        A form or a kind of trace that is not drawn.
    CapexError
        A character that no installed font can show, in a PNG.
    """
    if form not in _UNSIGNED:
        raise InputError("form", form, "must be 'svg' or 'png'")
    import matplotlib as mpl
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    with mpl.rc_context(_SETTINGS | {"font.family": ["DejaVu Sans", *brought_along()]}):
        paper = Figure(figsize=(width, height), layout="constrained")
        FigureCanvasAgg(paper)
        layout = figure["layout"]
        names = sorted(
            (key for key in layout if re.fullmatch(r"yaxis\d*", key)),
            key=lambda key: -layout[key].get("domain", [0.0, 1.0])[0],
        )
        heights = [np.ptp(layout[key].get("domain", [0.0, 1.0])) for key in names]
        all_axes = paper.subplots(len(names), 1, sharex=True, squeeze=False, height_ratios=heights)[
            :, 0
        ]
        axes = {key.replace("axis", ""): each for key, each in zip(names, all_axes, strict=True)}
        named = _draw_traces(figure["data"], axes, layout)
        _draw_rules(layout, all_axes[-1])
        for name, each in axes.items():
            _set_axis(each.yaxis, each.set_ylim, layout[name.replace("y", "yaxis")])
        _set_axis(all_axes[-1].xaxis, all_axes[-1].set_xlim, layout.get("xaxis", {}))
        _draw_notes(layout, all_axes[-1])
        if len(named) > 1:
            paper.legend(
                [handle for handle, _ in named], [label for _, label in named],
                loc="outside upper left", ncols=3, frameon=False, fontsize=7.5,
            )  # fmt: skip
        return _saved(paper, form)


def _saved(paper: Any, form: str) -> bytes:
    """Return a picture; in an SVG the texts stay texts, so that who shows it has the fonts."""
    picture = io.BytesIO()
    with warnings.catch_warnings():
        warnings.filterwarnings(
            "error" if form == "png" else "ignore", message=r"Glyph .* missing from font"
        )
        try:
            paper.savefig(picture, format=form, metadata=_UNSIGNED[form], dpi=200)
        except UserWarning as warning:
            raise CapexError(
                "no installed font shows a character of this study, and a picture must not drop "
                f"it: {warning}. For Chinese install capex[cjk]"
            ) from None
    return picture.getvalue()


def _draw_traces(
    traces: Sequence[Mapping[str, Any]], axes: Mapping[str, Any], layout: Mapping[str, Any]
) -> list[tuple[Any, str]]:
    """Draw the traces and return those that the legend names, with their names.

    The library's own list leaves out a name that begins with an underscore.
    """
    grouped = [trace for trace in traces if trace["type"] == "bar"]
    bottoms: dict[str, Any] = {}
    named: list[tuple[Any, str]] = []
    for trace in traces:
        where = axes[trace.get("yaxis", "y")]
        if trace["type"] == "scatter":
            mark = _draw_line(where, trace)
        elif trace["type"] == "bar":
            mark = _draw_bar(where, trace, grouped, bottoms, layout)
        else:
            raise InputError("figure", trace["type"], "must be made of scatter and bar traces")
        if mark is not None and trace.get("showlegend", True) and trace.get("name"):
            named.append((mark, _plain(trace["name"])))
    places = [each for axis in axes.values() for each in (*axis.lines, *axis.containers)]
    return sorted(named, key=lambda pair: places.index(pair[0]))


def _draw_line(where: Any, trace: Mapping[str, Any]) -> Any:
    """Draw a trace of points and return its mark, None where it is words alone."""
    mode, line, marker = trace.get("mode", "lines"), trace.get("line", {}), trace.get("marker", {})
    if mode == "text":
        return None
    color = line.get("color") or marker.get("color")
    symbol = marker.get("symbol", "circle")
    (mark,) = where.plot(
        trace["x"], trace["y"],
        linestyle=_DASHES[line.get("dash", "solid")] if "lines" in mode else "none",
        linewidth=0.62 * line.get("width", 2.0), color=color,
        drawstyle=_STEPS[line.get("shape", "linear")],
        marker=_MARKERS.get(symbol, "o") if "markers" in mode else None, markersize=3.6,
        markerfacecolor="white" if symbol.endswith("open") else color,
    )  # fmt: skip
    return mark


def _draw_bar(
    where: Any,
    trace: Mapping[str, Any],
    bars: Sequence[Mapping[str, Any]],
    bottoms: dict[str, Any],
    layout: Mapping[str, Any],
) -> Any:
    """Draw a trace of bars, beside or upon those before, and return its mark."""
    marker, stacked = trace.get("marker", {}), layout.get("barmode") in ("stack", "relative")
    shape = marker.get("pattern", {}).get("shape", "")
    across = trace.get("orientation") == "h"
    places = list(map(_plain, trace["y"])) if across else trace["x"]
    sizes = np.asarray(trace["x"] if across else trace["y"], dtype=float)
    on = trace.get("yaxis", "y")
    share = 0.85 if stacked else 0.85 / len(bars)
    if not stacked and not across:
        places = np.asarray(places, dtype=float) + (bars.index(trace) - (len(bars) - 1) / 2) * share
    given = {"color": marker.get("color"), "hatch": _HATCHES.get(shape, ""), "edgecolor": "white",
             "linewidth": 0.3}  # fmt: skip
    start = bottoms.get(on, np.zeros_like(sizes)) if stacked else 0.0
    if across:
        mark = where.barh(places, sizes, share, left=start, **given)
    else:
        mark = where.bar(places, sizes, share, bottom=start, **given)
    if stacked:
        bottoms[on] = start + sizes
    return mark


def _set_axis(axis: Any, limit: Any, stated: Mapping[str, Any]) -> None:
    from matplotlib.ticker import FixedLocator, FuncFormatter, MultipleLocator, NullLocator

    title = stated.get("title", {})
    words = _plain(title if isinstance(title, str) else title.get("text", ""))
    axis.set_label_text(fill(words, 24) if axis.axis_name == "y" else words)
    span = stated.get("range")
    if stated.get("type") == "log":
        axis._set_axes_scale("log")
        axis.set_minor_locator(NullLocator())
        span = None if span is None else [10.0**end for end in span]
    if "tickvals" in stated:
        axis.set_major_locator(FixedLocator(stated["tickvals"]))
        texts = dict(zip(stated["tickvals"], stated.get("ticktext", []), strict=False))
        axis.set_major_formatter(FuncFormatter(lambda at, _: texts.get(at, f"{at:g}")))
    elif "dtick" in stated:
        axis.set_major_locator(MultipleLocator(float(stated["dtick"])))
    if str(stated.get("tickformat", "")).endswith("s"):
        axis.set_major_formatter(FuncFormatter(_short))
    elif str(stated.get("tickformat", "")).endswith("%"):
        axis.set_major_formatter(FuncFormatter(lambda at, _: f"{at:.0%}"))
    if span is not None:
        limit(*span)
    elif stated.get("rangemode") == "tozero":
        low, high = axis.get_view_interval()
        limit(min(low, 0.0), max(high, 0.0))


def _draw_rules(layout: Mapping[str, Any], where: Any) -> None:
    """Draw straight rules; before the axes are set, which then reach as far, as on the page."""
    for shape in layout.get("shapes", []):
        line = shape.get("line", {})
        look = {"color": line.get("color", "#4d5863"), "linewidth": 0.6 * line.get("width", 1.5),
                "linestyle": _DASHES[line.get("dash", "solid")]}  # fmt: skip
        if shape.get("type") == "line" and shape.get("xref") == "paper":
            where.axhline(shape["y0"], **look)
        elif shape.get("type") == "line" and shape.get("yref") == "paper":
            where.axvline(shape["x0"], **look)


def _draw_notes(layout: Mapping[str, Any], where: Any) -> None:
    for note in layout.get("annotations", []):
        if note.get("xref") == "paper" and note.get("yref", "y") == "y":
            high = 10.0 ** note["y"] if where.get_yscale() == "log" else note["y"]
            where.annotate(
                _plain(note["text"]), (note["x"], high), xycoords=("axes fraction", "data"),
                xytext=(0, 2), textcoords="offset points", ha=note.get("xanchor", "center"),
                va="bottom", fontsize=7, color="#4d5863",
                annotation_clip=True,  # of a line that the axis leaves out: else it takes all room
            )  # fmt: skip


def for_paper(svg: str) -> str:
    """Return an SVG of a page with its own colours in place of the page's.

    Examples
    --------
    >>> for_paper("fill: var(--capex-ink, #1a2129)")
    'fill: #1a2129'
    """
    return re.sub(r"var\(--[\w-]+,\s*([^()]+)\)", r"\1", svg)
