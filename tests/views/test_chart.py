"""What a chart sends to the page."""

import gc
import json
import weakref

import numpy as np
import plotly.graph_objects as go
import pytest

from capex.views.chart import Chart, ChartTable, figure_json, plotly_script
from capex.views.palette import STYLES


def test_script_is_the_one_of_the_installed_plotly() -> None:
    assert b"plotly.js v" in plotly_script().read_bytes()[:100]


def test_numpy_values_become_plain_numbers() -> None:
    text = figure_json({"data": [{"x": np.arange(2), "y": [np.float64(0.5), None]}]})
    assert json.loads(text) == {"data": [{"x": [0, 1], "y": [0.5, None]}]}


@pytest.mark.parametrize("value", [float("nan"), float("inf"), np.array([np.nan])])
def test_refuses_a_value_that_is_no_number(value: object) -> None:
    with pytest.raises(ValueError, match="JSON compliant"):
        figure_json({"data": [{"y": value}]})


def test_refuses_an_object_that_cannot_be_drawn() -> None:
    with pytest.raises(TypeError, match="object cannot stand in a figure"):
        figure_json({"data": object()})


def test_one_message_carries_figure_reading_and_table() -> None:
    chart = Chart("Cumulative cash")
    sent: list[dict[str, object]] = []
    chart.comm.send = lambda data, **_rest: sent.append(data)  # type: ignore[union-attr]
    chart.show({"data": []}, "Nothing yet.", ChartTable(["Month", "Cash"], [["1", "0"]]))
    (message,) = sent
    assert set(message["state"]) == {"figure", "reading", "table", "version"}  # type: ignore[call-overload]


def test_refuses_a_table_row_that_does_not_fit_its_heading() -> None:
    chart = Chart("Cumulative cash")
    with pytest.raises(ValueError, match="Cumulative cash: every table row needs 2 texts"):
        chart.show({"data": []}, "", ChartTable(["Month", "Cash"], [["1"]]))
    assert chart.version == 0


@pytest.mark.parametrize("style", STYLES, ids=lambda style: style.color)
def test_against_plotly_schema_every_style_is_valid(style: object) -> None:
    go.Figure(
        data=[
            {"type": "scatter", "line": style.line, "marker": style.marker},  # type: ignore[attr-defined]
            {"type": "bar", "marker": style.bar},  # type: ignore[attr-defined]
        ]
    )


def test_a_chart_that_is_closed_leaves_nothing_behind() -> None:
    chart = Chart("Closed")
    gone = weakref.ref(chart)
    chart.close()
    del chart
    gc.collect()
    assert gone() is None
