"""One chart on a page: a plotly figure, the line of words that reads it, and its figures.

The figure travels as one JSON text and is drawn in place by ``static/chart.js``; only the newest
figure is ever drawn, so a slider cannot outrun the page. Fonts, grid and background follow the
page's light or dark scheme: a figure states its data, its axis titles and its alternatives'
colours (`capex.views.palette`), nothing else.

May import: numpy, traitlets, plotly (for its script only), and from capex `views.one_way`.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import ExitStack, contextmanager
from functools import cache
from importlib.resources import files
from pathlib import Path
from typing import Any, Final, NamedTuple

import numpy as np
import traitlets

from capex.views.one_way import OneWay

__all__ = ["Chart", "ChartTable", "figure_json", "plotly_script", "sent_together"]

STATIC = Path(__file__).parent / "static"
#: Words from which on a cell is a sentence: "not within 7 years" is a figure still.
_SENTENCE: Final = 5


class ChartTable(NamedTuple):
    """The figures behind a chart, written as they shall be read.

    Parameters
    ----------
    columns : Sequence of str
        Headings with their units; the first column names the row.
    rows : Sequence of Sequence of str
        One text a column.
    """

    columns: Sequence[str] = ()
    rows: Sequence[Sequence[str]] = ()

    @property
    def wordy(self) -> list[bool]:
        """Which columns hold sentences rather than figures: those begin at the left.

        Examples
        --------
        >>> ChartTable(["Job", "Days", "Note"], [["A", "3", "as the study says, by hand"]]).wordy
        [False, False, True]
        """
        return [
            place > 0 and any(len(row[place].split()) >= _SENTENCE for row in self.rows)
            for place in range(len(self.columns))
        ]


@cache
def plotly_script() -> Path:
    """Path of the plotly script shipped by the installed plotly package.

    Returns
    -------
    Path
        An existing file of about 5 MB; served once a page, never fetched from elsewhere.

    Examples
    --------
    >>> plotly_script().name
    'plotly.min.js'
    """
    # importlib.resources instead of `import plotly`: the package itself costs the kernel 0.2 s.
    return Path(str(files("plotly") / "package_data" / "plotly.min.js"))


def _plain(value: object) -> Any:
    if isinstance(value, np.ndarray | np.generic):
        return value.tolist()
    raise TypeError(f"{type(value).__name__} cannot stand in a figure")


def figure_json(figure: Mapping[str, Any]) -> str:
    """JSON text of a plotly figure given as plain dicts and lists.

    Parameters
    ----------
    figure : Mapping
        ``data`` and ``layout`` by the plotly schema; numpy arrays are accepted.

    Returns
    -------
    str
        JSON without NaN or infinity.

    Raises
    ------
    ValueError
        A value is NaN or infinite: a gap is written as None.

    Examples
    --------
    >>> figure_json({"data": [{"y": np.array([1, 2])}]})
    '{"data":[{"y":[1,2]}]}'
    """
    return json.dumps(figure, default=_plain, allow_nan=False, separators=(",", ":"))


class Chart(OneWay):
    """A chart that is redrawn in place, with its words and its figures.

    Assumes nothing about the page: where capex's own template has not loaded the plotly script
    already, the kernel sends it once.

    Parameters
    ----------
    title : str
        The question that the chart answers, shown above it.
    height : int, optional
        Height of the plot [px].
    choices : mapping of str to str, optional
        What the chart can show, by key; the user's choice stands in ``choice``.
    choices_label : str, optional
        Names the choice.

    Notes
    -----
    After each completed drawing the chart's ``figure.capex-chart`` element carries the number of
    drawings in ``data-drawn`` and the version drawn in ``data-version``, and sends the event
    ``capex:drawn``.

    Examples
    --------
    >>> chart = Chart(title="Cumulative cash")
    >>> chart.show({"data": [{"y": [0, -1, 2]}]}, reading="Cash turns positive in month 2.")
    >>> chart.version
    1
    """

    _esm = STATIC / "chart.js"
    _css = STATIC / "chart.css"
    _company = 1

    title = traitlets.Unicode().tag(sync=True)
    height = traitlets.Int(340).tag(sync=True)
    figure = traitlets.Unicode("{}").tag(sync=True)
    reading = traitlets.Unicode().tag(sync=True)
    table: traitlets.Dict[str, Any] = traitlets.Dict({"columns": [], "rows": []}).tag(sync=True)
    version = traitlets.Int(0).tag(sync=True)
    together = traitlets.Int(1).tag(sync=True)
    choice = traitlets.Unicode().tag(sync=True)
    choices: traitlets.List[tuple[str, str]] = traitlets.List().tag(sync=True)
    choices_label = traitlets.Unicode().tag(sync=True)

    def __init__(
        self,
        title: str,
        height: int = 340,
        choices: Mapping[str, str] | None = None,
        choices_label: str = "",
    ) -> None:
        offered = list((choices or {}).items())
        super().__init__(
            title=title,
            height=height,
            choices=offered,
            choices_label=choices_label,
            choice=offered[0][0] if offered else "",
        )
        self.on_msg(self._send_script)

    def show(
        self, figure: Mapping[str, Any], reading: str, table: ChartTable | None = None
    ) -> None:
        """Show a figure with its reading and its figures, in one message to the page.

        Parameters
        ----------
        figure : Mapping
            Plain plotly figure, see `figure_json`.
        reading : str
            What the chart says, in one line, computed from the same data.
        table : ChartTable, optional
            The same data as texts; without it no figures are offered.

        Raises
        ------
        ValueError
            A value is NaN or infinite, or a table row is longer or shorter than its heading.
        """
        columns, rows = table or ChartTable()
        if any(len(row) != len(columns) for row in rows):
            raise ValueError(f"{self.title}: every table row needs {len(columns)} texts")
        with self.hold_sync():
            self.figure = figure_json(figure)
            self.reading = reading
            self.table = {"columns": list(columns), "rows": [list(row) for row in rows]}
            self.together = self._company
            self.version += 1

    def may_be_set(self, name: str, value: object) -> bool:
        """Return whether it is a choice that is offered."""
        return name == "choice" and value in [offered for offered, _ in self.choices]

    def _send_script(self, _widget: object, content: Mapping[str, Any], _buffers: object) -> None:
        if content.get("kind") == "script":
            self.send({"kind": "script"}, buffers=[plotly_script().read_bytes()])


@contextmanager
def sent_together(charts: Iterable[Chart]) -> Iterator[None]:
    """Hold back what charts show until all of them are worked out; the page draws them in one go.

    Parameters
    ----------
    charts : Iterable of Chart
        In the order in which they are sent.
    """
    drawn = list(charts)
    with ExitStack() as held:
        for chart in reversed(drawn):  # the last that is entered is the first that is left
            held.enter_context(chart.hold_sync())
            chart._company = len(drawn)
        try:
            yield
        finally:
            for chart in drawn:
                chart._company = 1
