"""How the shop floor page is put together: sections, cards, words and tables.

Texts from users are escaped by whoever passes them. May import: ipywidgets, and from capex
`views.chart`.
"""

from __future__ import annotations

from html import escape

import ipywidgets as widgets

from capex.views.chart import ChartTable

__all__ = ["Results", "box", "section", "table_html", "words"]


def box(name: str, *children: widgets.Widget) -> widgets.Box:
    """Return a panel that the page's style sheet lays out."""
    panel = widgets.Box(list(children))
    for each in name.split():
        panel.add_class(each)
    return panel


def words(html: str = "", name: str = "") -> widgets.HTML:
    """Return a piece of HTML."""
    found = widgets.HTML(html)
    if name:
        found.add_class(name)
    return found


class Results:
    """What was worked out; once it is no longer of what stands in the fields, it says so.

    Parameters
    ----------
    *children : Widget

    Examples
    --------
    >>> results = Results(words("3 days"))
    >>> results.hold("Below is the last batch.")
    >>> results.said.value
    "<p class='capex-warn' role='status'>Below is the last batch.</p>"
    """

    def __init__(self, *children: widgets.Widget) -> None:
        self.said = words()
        self.panel = box("capex-stack capex-results", self.said, *children)

    def hold(self, why: str = "") -> None:
        """Grey the results and say why, or with nothing to say show them as they are."""
        self.said.value = f"<p class='capex-warn' role='status'>{escape(why)}</p>" if why else ""
        if why:
            self.panel.add_class("capex-old")
        else:
            self.panel.remove_class("capex-old")


def section(key: str, title: str, introduction: str, *children: widgets.Widget) -> widgets.Box:
    """Return a section of the page under a heading that its address can name."""
    head = words(
        f'<h2 class="capex-section-title" id="{key}">{escape(title)}</h2>'
        f'<p class="capex-section-words">{escape(introduction)}</p>'
    )
    return box("capex-page capex-section", head, *children)


def table_html(table: ChartTable, caption: str) -> str:
    """Return a table of texts.

    Examples
    --------
    >>> table_html(ChartTable(["Job", "Days"], [["<b>", "3"]]), "Lead times").count("&lt;b&gt;")
    1
    """
    styles = [" class='capex-words'" if wordy else "" for wordy in table.wordy]
    head = "".join(
        f"<th scope='col'{style}>{escape(text)}</th>"
        for text, style in zip(table.columns, styles, strict=True)
    )
    rows = "".join(
        f"<tr><th scope='row'>{escape(row[0])}</th>"
        + "".join(
            f"<td{style}>{escape(text)}</td>"
            for text, style in zip(row[1:], styles[1:], strict=True)
        )
        + "</tr>"
        for row in table.rows
    )
    return (
        f"<div class='capex-chart-table' role='region' tabindex='0' aria-label='{escape(caption)}'>"
        f"<table><caption><span>{escape(caption)}</span></caption><thead><tr>{head}</tr></thead>"
        f"<tbody>{rows}</tbody></table></div>"
    )
