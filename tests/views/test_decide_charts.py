"""What the charts of the decision page show, without a page."""

import json
from typing import Any

import numpy as np
import plotly.graph_objects as go
import pytest

from capex.decision.crossover import crossovers
from capex.decision.jobs import job_stages, yearly_contribution
from capex.study import Study
from capex.views.chart import figure_json
from capex.views.charts.cash import cash_picture
from capex.views.charts.contribution import _orders, contribution_picture
from capex.views.charts.load import load_height, load_picture
from capex.views.charts.picture import Look, Picture
from capex.views.charts.stages import stages_picture
from capex.views.charts.volume import volume_picture
from capex.views.state import (
    DecisionState,
    Result,
    decision_result,
    leading_crossovers,
)
from capex.views.wording import Currency

BUILDERS = {
    "cash": cash_picture,
    "volume": lambda result, look: volume_picture(result, look, leading_crossovers(result)),
    "load": load_picture,
    "contribution": contribution_picture,
    "stages": lambda result, look: stages_picture(result, look, "fleet_badges"),
}


@pytest.fixture(scope="module")
def look(demo: Study) -> Look:
    return Look(demo, "metric", Currency("USD"))


@pytest.fixture(scope="module")
def results(demo: Study) -> dict[str, Result]:
    return {
        "study": decision_result(demo, {}),
        "moved": decision_result(demo, {"levers.demand": 1.1}),
        "short": decision_result(demo, {"money.horizon": 37.0, "levers.demand": 2.0}),
    }


def picture(name: str, result: Result, look: Look) -> Picture:
    return BUILDERS[name](result, look)


@pytest.mark.parametrize("name", BUILDERS)
@pytest.mark.parametrize("case", ["study", "moved", "short"])
def test_against_plotly_schema_every_figure_is_valid(
    name: str, case: str, results: dict[str, Result], look: Look
) -> None:
    found = picture(name, results[case], look)
    figure = json.loads(figure_json(found.figure))
    go.Figure(figure)  # raises on any unknown property or value
    assert figure["layout"]["xaxis"]["title"]["text"]
    assert len(found.reading) > 20
    assert all(len(row) == len(found.table.columns) for row in found.table.rows)
    assert found.table.rows


@pytest.mark.parametrize("name", BUILDERS)
def test_every_chart_changes_with_the_demand(
    name: str, results: dict[str, Result], look: Look, demo: Study
) -> None:
    before, after = (picture(name, results[case], look) for case in ("study", "moved"))
    same = figure_json(before.figure) == figure_json(after.figure)
    assert same == (name == "stages")  # one order takes as long however many there are


@pytest.mark.parametrize("name", ["cash", "volume", "contribution"])
def test_an_alternative_looks_the_same_on_every_chart(
    name: str, results: dict[str, Result], look: Look
) -> None:
    data = picture(name, results["study"], look).figure["data"]
    for trace, style in zip(data, look.styles.values(), strict=False):
        drawn = trace.get("line") or trace["marker"]
        assert drawn["color"] == style.color


def test_cash_ends_where_the_ledger_does(results: dict[str, Result], look: Look) -> None:
    result = results["study"]
    for trace, outcome in zip(
        cash_picture(result, look).figure["data"], result.appraisal.outcomes.values(), strict=True
    ):
        own, base = outcome.net_cash_flow[0], result.appraisal.baseline.net_cash_flow[0]
        assert trace["y"][-1] == pytest.approx((own - base).sum(), abs=0.51)
        assert len(trace["y"]) == int(outcome.horizon[0]) + 1


def test_volume_lines_meet_at_the_crossover(
    results: dict[str, Result], look: Look, demo: Study
) -> None:
    result = results["study"]
    found = leading_crossovers(result)
    assert found
    point = found[0]
    fine = crossovers(demo, point.below, point.above, result.sweep, within=1e-4)
    assert point.volume == pytest.approx(fine[0].volume, abs=0.01)
    figure = volume_picture(result, look, found).figure
    at = [line["y"] for line in figure["data"][:4]]
    gap = np.interp(point.volume * 100, figure["data"][0]["x"], at[point.below] - at[point.above])
    assert abs(gap) < 0.01 * np.ptp(at[point.above])
    marked = [shape["x0"] for shape in figure["layout"]["shapes"]]
    assert marked == [100.0, point.volume * 100]


def test_crossover_is_shown_between_two_volumes_until_it_is_narrowed(
    results: dict[str, Result], look: Look
) -> None:
    result = results["study"]
    (point,) = leading_crossovers(result)
    found = volume_picture(result, look, None)
    (band,) = [shape for shape in found.figure["layout"]["shapes"] if shape["type"] == "rect"]
    assert band["x0"] <= point.volume * 100 <= band["x1"]
    assert found.reading.startswith("Break-even volume between 112.5% and 125% of today's volume")


def test_load_map_is_the_path_s_and_blank_where_a_machine_is_not_there(
    results: dict[str, Result], look: Look
) -> None:
    result = results["study"]
    rows = load_picture(result, look).figure["data"][0]["z"]
    stations = sum(len(outcome.stations) for outcome in result.appraisal.outcomes.values())
    assert len(rows) == stations + len(result.appraisal.outcomes) + 1  # one name takes two lines
    staged = result.appraisal.outcomes["staged"]
    cutter = [station.name for station in staged.stations].index("Mid contour cutter")
    first = len(rows) - len(staged.stations)
    assert rows[first + cutter][:36] == [None] * 36
    highest = max(load for load in rows[first + cutter] if load is not None)
    assert highest == pytest.approx(float(staged.load[0, cutter]), abs=1e-3)


def test_contribution_bars_are_the_path_s(results: dict[str, Result], look: Look) -> None:
    result = results["study"]
    data = contribution_picture(result, look).figure["data"]
    for trace, outcome in zip(data, result.appraisal.outcomes.values(), strict=True):
        np.testing.assert_allclose(trace["x"], yearly_contribution(outcome)[0], atol=0.51)


def cells(picture: Picture) -> list[dict[str, str]]:
    return [dict(zip(picture.table.columns, row, strict=True)) for row in picture.table.rows]


@pytest.mark.parametrize("demand", [1.0, 1.8])
def test_what_an_order_leaves_adds_up_to_what_its_type_leaves_a_year(
    demo: Study, demand: float
) -> None:
    result = decision_result(demo, {"levers.demand": demand})
    checked = 0
    for outcome in result.appraisal.outcomes.values():
        assert outcome.details is not None
        path, months = outcome.details, int(outcome.horizon[0])
        yearly = yearly_contribution(outcome)[0]
        for j, order in enumerate(_orders(outcome)):
            bought = float(path.output.bought_in[0, j, :months].sum())
            ways = path.routes.job_of == j
            made = path.output.made[0, ways, :months].sum(axis=1)
            if (made > 0).sum() > 1:
                continue  # more than one route: the order is that of the larger part
            leaves = order.leaves
            assert leaves is not None
            total = made.sum() * (leaves if order.station else 0.0)
            if bought:
                assert order.bought_in_price is not None
                total += bought * (order.price - order.bought_in_price)
            assert total * 12 / months == pytest.approx(yearly[j], rel=1e-9)
            checked += 1
    assert checked > 30


def test_an_order_s_hour_is_at_the_fullest_station_that_it_needs(
    results: dict[str, Result], look: Look, demo: Study
) -> None:
    found = cells(contribution_picture(results["study"], look))
    names = [(job, key) for job in demo.jobs for key in demo.alternatives]
    outcomes = results["study"].appraisal.outcomes
    for (job, key), row in zip(names, found, strict=True):
        outcome, j = outcomes[key], list(demo.jobs).index(job)
        assert row["Job type: choice"] == f"{demo.jobs[job].name}: {outcome.name}"
        assert outcome.details is not None
        routes, made = outcome.details.routes, outcome.details.output.made[0].sum(axis=1)
        ways = [v for v, route in enumerate(routes.each) if route.job == j]
        way = max(ways, key=lambda v: made[v])
        if made[way] == 0:
            assert (row["at its fullest station"], row["an hour"]) == ("bought in", "–")
            continue
        needed = [k for k, time in enumerate(routes.load[0, way]) if time > 0]
        station = max(needed, key=lambda k: outcome.load[0, k])
        assert row["at its fullest station"] == outcome.stations[station].name
        assert row["minutes there"] == f"{routes.load[0, way, station] / 60:.1f}"
        leaves = demo.jobs[job].price.likely - routes.direct_cost[0, way]
        hour = leaves / routes.load[0, way, station] * 3600
        assert row["an hour"] == look.money(float(hour))


def test_an_order_turned_away_leaves_nothing(demo: Study, look: Look) -> None:
    job = demo.jobs["full_wrap_panels"].model_copy(update={"bought_in_price": None})
    wide = job.model_copy(
        update={n: job.width.replaced([2.4], n) for n in ("width", "height")} | {"may_panel": False}
    )
    study = demo.model_copy(update={"jobs": {**demo.jobs, "full_wrap_panels": wide}})
    picture = contribution_picture(decision_result(study, {}), Look(study, "metric", look.currency))
    rows = [row for row in picture.table.rows if row[0].startswith(job.name)]
    assert [row[3:] for row in rows] == [["–", "–", "–", "–", "not made", "–", "–"]] * 4
    place = list(study.jobs).index("full_wrap_panels")
    assert picture.figure["data"][0]["customdata"][place] == "not made"


def test_stage_bars_add_up_to_the_work_and_waits_stand_apart(
    results: dict[str, Result], look: Look
) -> None:
    result = results["study"]
    found = stages_picture(result, look, "fleet_badges")
    for place, outcome in enumerate(result.appraisal.outcomes.values()):
        stages = job_stages(outcome, "fleet_badges")
        work = sum(max(stage.busy, stage.attended) for stage in stages) / 60
        assert sum(trace["x"][place] for trace in found.figure["data"]) == pytest.approx(
            work, abs=0.1
        )
        assert any(stage.wait >= 86400 for stage in stages)
    assert max(sum(t["x"][0] for t in found.figure["data"]), 0) < 24 * 60
    assert "24 h to outgas" in found.reading


def test_set_speed_is_said_not_to_matter_on_short_lines_only(
    results: dict[str, Result], look: Look
) -> None:
    short = stages_picture(results["study"], look, "sticker_sets").reading
    assert "The set speed hardly matters here" in short
    assert "22.5 mm" in short
    long = stages_picture(results["study"], look, "fleet_badges").reading
    assert "reach their set speed" in long
    customary = Look(look.study, "us_customary", look.currency)
    assert "0.886 in" in stages_picture(results["study"], customary, "sticker_sets").reading


def test_money_is_shown_in_the_currency_chosen(results: dict[str, Result], demo: Study) -> None:
    def end(currency: Currency) -> Any:
        shown = cash_picture(results["study"], Look(demo, "metric", currency))
        return shown.figure["data"][1]["y"][-1], shown.figure["layout"]["yaxis"]["title"]["text"]

    dollars, euros = end(Currency("USD")), end(Currency("EUR", 0.9))
    assert euros[0] == pytest.approx(0.9 * dollars[0], abs=1)
    assert "(EUR)" in euros[1]


def test_user_words_never_become_plotly_tags(demo: Study) -> None:
    bad = '<a href="https://elsewhere.example">x</a>'
    jobs = {k: job.model_copy(update={"name": bad}) for k, job in demo.jobs.items()}
    choices = {k: c.model_copy(update={"name": bad}) for k, c in demo.alternatives.items()}
    study = demo.model_copy(update={"jobs": jobs, "alternatives": choices})
    state = DecisionState(study, later=lambda _work: None)
    look = Look(study, "metric", Currency("USD"))
    for build in BUILDERS.values():
        assert "<a " not in figure_json(build(state.result, look).figure)


def test_a_long_name_in_the_load_s_chart_breaks_into_rows_of_its_own(demo: Study) -> None:
    names = {"keep": "Short", "separate": "A roll printer and a contour cutter by the window " * 2}
    changed = {
        key: choice.model_copy(update={"name": names.get(key, choice.name)[:60]})
        for key, choice in demo.alternatives.items()
    }
    study = demo.model_copy(update={"alternatives": changed})
    result = decision_result(study, {})
    found = load_picture(result, Look(study, "metric", Currency("USD"))).figure
    rows = found["layout"]["yaxis"]["ticktext"]
    (headings,) = [trace for trace in found["data"] if trace.get("mode") == "text"]
    for place, text in zip(headings["y"], headings["text"], strict=True):
        lines = text.removeprefix("<b>").removesuffix("</b>").split("<br>")
        assert max(map(len, lines)) <= 26
        first = place - (len(lines) - 1) / 2
        assert [rows[int(first) + k] for k in range(len(lines))] == [""] * len(lines)
    assert load_height(result) == 60 + 20 * len(rows)
