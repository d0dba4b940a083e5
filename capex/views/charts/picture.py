"""What every chart shares: the picture that a builder returns, and how a page wants it drawn.

May import: numpy, and from capex units, study, decision, `views.chart`, `views.palette` and
`views.wording`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from html import escape
from textwrap import wrap
from typing import Any, NamedTuple

from capex.decision.appraise import Appraisal
from capex.study import Study
from capex.units import UnitSystem
from capex.views.chart import ChartTable
from capex.views.palette import Style, alternative_styles
from capex.views.wording import Currency, money_text

__all__ = ["Look", "Picture", "axis", "joined", "plot_text", "wrapped"]


class Picture(NamedTuple):
    """A chart ready to be shown: the figure, its reading in one line, and the figures behind it."""

    figure: dict[str, Any]
    reading: str
    table: ChartTable


@dataclass(frozen=True)
class Look:
    """How a page wants its charts.

    Parameters
    ----------
    study : Study
    units : {"metric", "us_customary"}
    currency : Currency
    """

    study: Study
    units: UnitSystem
    currency: Currency

    @property
    def styles(self) -> dict[str, Style]:
        """Style of each alternative."""
        return alternative_styles(list(self.study.alternatives))

    def money(self, value: float, figures: int = 3) -> str:
        """Return an amount rounded for reading."""
        return money_text(value, self.currency, figures)

    def names(self, appraisal: Appraisal) -> dict[str, str]:
        """Return the alternatives' names by key."""
        return {key: outcome.name for key, outcome in appraisal.outcomes.items()}


def plot_text(text: str) -> str:
    """Return a user's words for a plotly text, which would otherwise read tags in them.

    Examples
    --------
    >>> plot_text("<b>Banners</b> & more")
    '&lt;b&gt;Banners&lt;/b&gt; &amp; more'
    """
    return escape(text, quote=False)


def wrapped(text: str, width: int = 20) -> str:
    """Return a user's words for a plotly label, in short lines.

    Examples
    --------
    >>> wrapped("Staged: all-in-one, then a cutter")
    'Staged: all-in-one,<br>then a cutter'
    """
    return "<br>".join(plot_text(line) for line in wrap(text, width)) or " "


def axis(title: str, **more: Any) -> dict[str, Any]:
    """Return a plotly axis with a title."""
    return {"title": {"text": title}, **more}


def joined(parts: Sequence[str]) -> str:
    """Return words as a list in a sentence.

    Examples
    --------
    >>> joined(["a", "b", "c"])
    'a, b and c'
    """
    return " and ".join([", ".join(parts[:-1]), parts[-1]] if len(parts) > 1 else parts)
