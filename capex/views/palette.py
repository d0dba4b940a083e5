"""One look for each alternative, the same on every chart, table and card.

Six colours of our own. Each keeps a contrast of at least 3:1 on the light and on the dark page,
so nothing changes colour with the scheme; they stay apart under protanopia, deuteranopia and
tritanopia; and colour never stands alone: line dash, marker and bar pattern say the same thing.

May import: nothing but the standard library.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

__all__ = ["DARK_SURFACE", "LIGHT_SURFACE", "STYLES", "Style", "alternative_styles", "key_svg"]

LIGHT_SURFACE = "#ffffff"
DARK_SURFACE = "#1a2026"


@dataclass(frozen=True)
class Style:
    """How one alternative is drawn: colour, plotly line dash, marker symbol and bar pattern."""

    color: str
    dash: str
    symbol: str
    pattern: str

    @property
    def line(self) -> dict[str, object]:
        """Line properties of a plotly trace."""
        return {"color": self.color, "dash": self.dash, "width": 2.5}

    @property
    def marker(self) -> dict[str, object]:
        """Marker properties of a plotly line or scatter trace."""
        return {"color": self.color, "symbol": self.symbol, "size": 8}

    @property
    def bar(self) -> dict[str, object]:
        """Marker properties of a plotly bar trace."""
        return {
            "color": self.color,
            "pattern": {"shape": self.pattern, "fillmode": "overlay", "size": 7},
        }


STYLES = (
    Style("#787878", "dot", "circle-open", "."),
    Style("#4860f0", "solid", "circle", ""),
    Style("#f0600c", "dash", "square", "/"),
    Style("#609c60", "dashdot", "diamond", "x"),
    Style("#b478cc", "longdash", "triangle-up", "-"),
    Style("#d81830", "longdashdot", "cross", "\\"),
)


def alternative_styles(alternatives: Sequence[str]) -> dict[str, Style]:
    """Style of each alternative, by its place in the study.

    Past six alternatives the colours come round again with other dashes, markers and patterns.

    Parameters
    ----------
    alternatives : Sequence of str
        Keys in the study's order, the baseline first.

    Returns
    -------
    dict
        One style a key, no two alike up to 36 alternatives.

    Examples
    --------
    >>> styles = alternative_styles(["keep", "separate", "all_in_one"])
    >>> styles["separate"].color, styles["all_in_one"].dash
    ('#4860f0', 'dash')
    """
    count = len(STYLES)
    chosen = {}
    for index, key in enumerate(alternatives):
        color, shape = STYLES[index % count], STYLES[(index + index // count) % count]
        chosen[key] = Style(color.color, shape.dash, shape.symbol, shape.pattern)
    return chosen


_SVG_DASHES = {
    "solid": "",
    "dot": "2 3",
    "dash": "7 4",
    "dashdot": "7 3 2 3",
    "longdash": "11 4",
    "longdashdot": "11 3 2 3",
}
_SVG_MARKERS = {
    "circle": '<circle cx="16" cy="7" r="4" fill="{c}"/>',
    "circle-open": '<circle cx="16" cy="7" r="3.5" fill="none" stroke="{c}" stroke-width="2"/>',
    "square": '<rect x="12" y="3" width="8" height="8" fill="{c}"/>',
    "diamond": '<path d="M16 2l5 5-5 5-5-5z" fill="{c}"/>',
    "triangle-up": '<path d="M16 2l5 9H11z" fill="{c}"/>',
    "cross": '<path d="M14.5 3h3v2.5H20v3h-2.5V11h-3V8.5H12v-3h2.5z" fill="{c}"/>',
}


def key_svg(style: Style) -> str:
    """Small picture of a style, to stand before the alternative's name outside charts.

    Parameters
    ----------
    style : Style
        The alternative's style.

    Returns
    -------
    str
        An inline SVG element, hidden from screen readers because the name follows it.

    Examples
    --------
    >>> key_svg(STYLES[1])[:29]
    '<svg class="capex-key" width='
    """
    line = (
        f'<line x1="0" y1="7" x2="32" y2="7" stroke="{style.color}" stroke-width="2.5" '
        f'stroke-dasharray="{_SVG_DASHES[style.dash]}"/>'
    )
    marker = _SVG_MARKERS[style.symbol].format(c=style.color)
    return (
        '<svg class="capex-key" width="32" height="14" viewBox="0 0 32 14" aria-hidden="true">'
        f"{line}{marker}</svg>"
    )
