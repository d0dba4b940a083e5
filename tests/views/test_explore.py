"""The trade show page: its figures are the engine's, its longer work is dropped when outdated."""

from __future__ import annotations

import asyncio
import dataclasses
import html
import json
import threading
from pathlib import Path

import numpy as np
import plotly.graph_objects as go
import pytest

from capex.decision.appraise import appraise
from capex.decision.risk import chances
from capex.decision.risk.simulation import simulate
from capex.decision.risk.spider import Spider, spider
from capex.decision.risk.summary import risk_summary
from capex.decision.walk_away import walk_away, walk_away_prices
from capex.study import StudyFile, data_folder
from capex.views.explore import pictures, words
from capex.views.explore.page import ExplorePage
from capex.views.explore.refining import Refining
from capex.views.explore.spider_picture import PERCENTILES, spider_picture
from capex.views.risk import chance_text

DEMO = data_folder() / "studies" / "quenlow.toml"


@pytest.fixture(scope="module")
def page():
    page = ExplorePage(DEMO, draws=[32, 64])
    page.view()
    return page


@pytest.fixture
def fresh(page):
    yield page
    page.state.reset()


def test_headline_figures_are_the_engines(page):
    state = page.state
    study, offer = state.study, state.offer
    limit = walk_away(study, offer.alternative, offer.place)
    assert f"<strong>{state.look.money(limit.price)}</strong>" in page._facts.value
    assert state.look.money(limit.margin) in page._facts.value
    found = simulate(study, 64)
    share = max(chances.best_shares(found.gains), key=lambda one: one.value)
    assert chance_text(share) in page._facts.value
    assert f"64 draws, seed {found.draws.seed}" in page._facts.value


def test_drivers_are_the_swings_from_p10_to_p90(page):
    state = page.state
    ranking, keys = state.result.verdict.ranking, list(state.study.alternatives)
    found = spider(state.study, (0.1, 0.9))
    swings = found.swings(keys.index(ranking[0]), keys.index(ranking[1]))
    assert page._drivers.value.count("<li>") == 5
    for _, change in swings[:5]:
        assert f"<b>{state.look.money(change)}</b>" in page._drivers.value
    assert "probab" not in page._drivers.value


def test_law_a_machines_own_price_moves_the_margin_and_not_the_most_that_can_be_paid(fresh):
    state = fresh.state
    before = state.nearby.against_rival.price
    state.change(state.offer.key, state.offer.price.today + 1000.0)
    assert set(state.offer.price.paths) <= set(state.changes)
    assert state.nearby.against_rival.price == pytest.approx(before, rel=1e-6)
    assert state.nearby.against_rival.margin == pytest.approx(
        before - state.offer.price.today - 1000.0, abs=1.0
    )


def test_moved_inputs_are_held_in_the_draws(fresh):
    state = fresh.state
    state.change("money.discount_rate", 0.2)
    drawn = state.drawn
    assert drawn.result is state.result
    assert "money.discount_rate" not in {one.path for one in drawn.simulation.draws.inputs}
    np.testing.assert_array_equal(
        drawn.simulation.gains, simulate(state.study, 64, held=state.changes).gains
    )


def test_bad_input_is_named_and_changes_nothing(fresh):
    state = fresh.state
    before = state.result
    state.change_typed("money.discount_rate", "150 %")
    assert state.trouble.field == "money.discount_rate"
    assert state.result is before


def test_another_machine_on_offer_takes_its_own_price(page):
    state = page.state
    first = state.offer.key
    other = next(offer for offer in state.offers if offer.key != first)
    state.change(first, state.offer.price.today * 1.1)
    state.pick(other.key)
    assert state.changes == {}
    assert other.key in state.dials
    assert first not in state.dials
    assert state.nearby.against_baseline.today == pytest.approx(other.price.today)
    state.pick(first)


def test_charts_hold_what_plotly_takes_and_tables_what_they_draw(page):
    found, look = page.state.drawn.simulation, page.state.look
    said = risk_summary(found)
    for picture in (
        pictures.gains_picture(said, look),
        pictures.knowing_picture(said, look),
        pictures.payback_picture(found, look),
    ):
        go.Figure(picture.figure)
        assert picture.reading
        assert picture.table.rows
        assert {len(row) for row in picture.table.rows} == {len(picture.table.columns)}
        assert "nan" not in str(picture).lower()
    lines = [t for t in pictures.gains_picture(said, look).figure["data"] if t["mode"] == "lines"]
    assert [sum(line["y"]) for line in lines] == pytest.approx([100.0] * len(lines), abs=0.5)


def test_parts_on_demand_work_nothing_out_before_and_tell_when_outdated(fresh):
    part, chart = fresh.deeper.two_way, fresh.deeper._map
    assert chart.version == 0
    part.press()
    go.Figure(json.loads(chart.figure))
    leader = fresh.state.study.alternatives[fresh.state.result.verdict.best].name
    assert chart.reading.startswith(leader)
    assert part._said.value == ""
    fresh.state.change("levers.price", 0.9)
    assert "Work it out again" in part._said.value
    fresh.deeper.waiting.press()
    assert "Deciding later on" in fresh.deeper._freedom.value


def test_the_spider_follows_single_appraisals_and_its_table_has_every_input(fresh):
    part, chart = fresh.deeper.alone, fresh.deeper._spider
    part.press()
    figure = json.loads(chart.figure)
    go.Figure(figure)
    state = fresh.state
    keys, ranking = list(state.study.alternatives), state.result.verdict.ranking
    pair = keys.index(ranking[0]), keys.index(ranking[1])
    found = spider(state.study, PERCENTILES)
    (line, change), *_ = found.swings(*pair)
    alone = appraise(state.study, {line.input.path: float(line.values[-1])}).net_present_value[0]
    assert figure["data"][0]["y"][-1] == pytest.approx(alone[pair[0]] - alone[pair[1]], abs=0.01)
    assert len(chart.table["rows"]) == len(found.lines)
    assert chart.table["rows"][0][-1] == state.look.money(change)
    assert "P10" in chart.table["columns"][1]
    turning = sum(bool((one.gains.argmax(axis=1) != pair[0]).any()) for one in found.lines)
    assert ("No input alone turns the choice." in chart.reading) == (turning == 0)
    assert ("Each of these turns the choice alone" in chart.reading) == (turning > 0)


def test_the_spider_of_inputs_that_move_nothing_says_so(page):
    state = page.state
    lines = tuple(
        dataclasses.replace(line, gains=np.zeros_like(line.gains))
        for line in spider(state.study, PERCENTILES).lines
    )
    flat = Spider(tuple(state.study.alternatives), np.array(PERCENTILES), np.zeros(4), lines)
    picture = spider_picture(flat, (2, 1), state.look)
    go.Figure(picture.figure)
    assert "No input with a low and a high value moves that." in picture.reading


def test_the_crossover_and_the_worth_of_knowing_carry_their_error(fresh):
    fresh.deeper.crossing.press()
    said = fresh.deeper._range.value
    assert said.count("points") >= 3
    assert f"128 draws, seed {fresh.state.study.uncertainty.seed}" in said
    assert "Two changes between neighbours of the volumes looked at go unseen." in said
    known = risk_summary(fresh.state.drawn.simulation)
    picture = pictures.knowing_picture(known, fresh.state.look)
    assert len(picture.table.rows) == len(known.knowing)
    for row, one in zip(picture.table.rows, known.knowing, strict=True):
        mark = "± " if one.worth.value > 0.0 else "at most "
        assert row[-1].endswith("points") == (one.worth.value > 0.0)
        assert all(mark in text for text in row[-2:])


def test_the_same_input_twice_is_refused_in_words(fresh):
    fresh.deeper._paths["up"] = fresh.deeper._paths["across"]
    fresh.deeper.two_way.press()
    assert "must be another input" in fresh.deeper.two_way._said.value
    fresh.deeper._paths["up"] = "levers.laminated_share"


def test_replaced_work_stops_at_its_next_piece_and_is_not_shown():
    async def show():
        taken, begun, go_on = [], threading.Event(), threading.Event()
        worked, refining = [], Refining(0.0)

        def old():
            worked.append("old 1")
            begun.set()
            go_on.wait(10)
            yield "old 1"
            worked.append("old 2")
            yield "old 2"

        refining(old, lambda piece: taken.append(piece()))
        while not begun.is_set():
            await asyncio.sleep(0.01)
        refining(lambda: iter(["new"]), lambda piece: taken.append(piece()))
        go_on.set()
        while not taken:
            await asyncio.sleep(0.01)
        await asyncio.sleep(0.05)
        return taken, worked

    taken, worked = asyncio.run(show())
    assert taken == ["new"]
    assert worked == ["old 1"]


def test_a_failure_in_the_thread_reaches_who_takes_the_pieces():
    def failing():
        yield 1
        raise ValueError("no")

    pieces = []
    Refining()(failing, pieces.append)
    assert pieces[0]() == 1
    with pytest.raises(ValueError, match="no"):
        pieces[1]()


def test_names_of_the_study_are_escaped(tmp_path: Path):
    nasty = "<img src=x onerror=alert(1)>"
    file = StudyFile.read(DEMO).changed({
        "shop_name": nasty, "alternatives.separate.name": nasty,
        "machines.mid_all_in_one.name": nasty,
    })  # fmt: skip
    path = tmp_path / "study.toml"
    file.write(path)
    page = ExplorePage(path, draws=[32])
    page.view()
    shown = [page._facts, page._drivers, page._regret, page._cover, page._sure]
    assert not any("<img" in one.value for one in shown)
    assert any("&lt;img" in one.value for one in shown)


def test_where_late_orders_cost_money_their_shares_are_held_in_the_draws(tmp_path: Path):
    file = StudyFile.read(DEMO).changed({
        "shop.promises.cost_of_late_order": 30, "shop.promises.lead_time": 1,
        "money.horizon": "25 months", "alternatives.staged.machines.1.month": 12,
    })  # fmt: skip
    path = tmp_path / "study.toml"
    file.write(path)
    page = ExplorePage(path, draws=[32])
    page.view()
    state = page.state
    late = state.result.appraisal.lateness
    assert state.late_orders == "simulated"
    assert any(shares.any() for shares in late.values())
    np.testing.assert_array_equal(
        state.drawn.simulation.gains, simulate(state.study, 32).gains
    )  # fmt: skip
    assert "The shares of late orders are held as they are." in page._progress.value
    assert "Chance of leaving most" in page._facts.value


def test_the_lenders_limit_stands_beside_the_price(page):
    state = page.state
    (found,) = walk_away_prices(state.study, state.offer.alternative)
    said, limit = html.unescape(page._facts.value), found.at_lender.price
    far = limit > 5 * state.offer.price.today
    assert far == ("Lender's limit far above." in said)
    assert far == (f"The lender's limit is {state.look.money(limit)}." in said)
    assert far != (f"Lender's limit {state.look.money(limit)}" in said)
    near = dataclasses.replace(found.at_lender, price=2.0 * state.offer.price.today)
    shown = words._lender_words(near, state.offer.price.today, state.look)
    assert shown == (f"Lender's limit {state.look.money(near.price)}.", "")


def test_changed_inputs_stop_what_is_being_worked_out(fresh, monkeypatch):
    waiting = []

    class Later(Refining):
        def __call__(self, work, take):
            waiting.append((work, take))

        def drop(self):
            waiting.clear()

    part = fresh.deeper.turning
    monkeypatch.setattr(part, "_refining", Later())
    part.press()
    (_, take), = waiting  # fmt: skip
    take(lambda: 0.25)
    assert "25%" in part._said.value
    fresh.state.change("levers.price", 0.95)
    assert waiting == []
    assert "Stopped" in part._said.value


def test_what_would_turn_it_comes_with_the_pair_that_matters_most(fresh):
    fresh.deeper.turning.press()
    said = fresh.deeper._turns.value
    assert "today (net present value)" in said
    assert "Together it takes" in said or "turn nothing even together" in said
    assert said.count("<tr>") > 3
    assert "levers." not in said  # names, no paths: they are wider than a phone
    assert "<td>100%</td>" in said  # a factor on the study is a share of it
