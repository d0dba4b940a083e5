"""The parts that are worked out on demand: what they look at, and what they say of it."""

from __future__ import annotations

import dataclasses
import html
import json

import numpy as np
import plotly.graph_objects as go
import pytest

from capex.decision.appraise import appraise
from capex.decision.risk.chances import Estimate
from capex.decision.risk.freedom import Freedom
from capex.decision.risk.nearest_flip import Flip
from capex.decision.risk.pieces import last_of
from capex.decision.risk.spider import Spider, spider
from capex.decision.risk.two_way import TwoWayMap, two_way_map
from capex.study import StudyFile, data_folder
from capex.views.explore import words
from capex.views.explore.deeper import Deeper
from capex.views.explore.later_purchase import bought_later, waiting_html
from capex.views.explore.map_picture import map_picture
from capex.views.explore.refining import Refining
from capex.views.explore.spider_picture import spider_picture
from capex.views.explore.state import Drawing, ExploreState
from capex.views.explore.turning import Together, _flip_sentence, together_in_pieces

DEMO = StudyFile.read(data_folder() / "studies" / "quenlow.toml")
CUTTER = "alternatives.staged.machines.1"


@pytest.fixture(scope="module")
def state():
    return ExploreState(DEMO.study, draws=[32])


@pytest.fixture(scope="module")
def deeper(state):
    return Deeper(state)


def web_of(study, *paths):
    """Return the study's spider with these inputs alone."""
    web = spider(study, (0.1, 0.9))
    return dataclasses.replace(
        web, lines=tuple(line for line in web.lines if line.input.path in paths)
    )


# A machine that is bought later


def test_buying_today_is_one_of_the_dates(deeper):
    deeper.waiting.press()
    said = html.unescape(deeper._freedom.value)
    places = [said.index(f"<th scope='row'>{date}<") for date in
              ("today", "after year 1", "after year 3 (as in the study)", "never")]  # fmt: skip
    assert places == sorted(places)
    assert "Best on average if it had to be decided today: never to buy it" in said


def test_a_machine_that_waits_for_a_load_has_its_part_too():
    study = DEMO.changed({f"{CUTTER}.month": 0, f"{CUTTER}.when_load_passes": 0.9}).study
    found = bought_later(study)
    assert (found.key, found.place) == ("staged", 1)
    assert "Months take the place of the load" in found.introduction
    part = Deeper(ExploreState(study, draws=[32]))
    part.waiting.press()
    assert "Deciding later on Mid contour cutter" in part._freedom.value
    assert "as in the study" not in part._freedom.value


def test_an_uncertain_horizon_is_said_to_bound_the_years():
    study = DEMO.changed({"money.horizon": {"low": 60, "likely": 84, "high": 120}}).study
    assert "only years before the shortest one drawn" in bought_later(study).introduction
    assert "shortest" not in bought_later(DEMO.study).introduction
    part = Deeper(ExploreState(study, draws=[32]))
    part.waiting.press()
    assert "after year 5" in part._freedom.value
    assert "after year 6" not in part._freedom.value


def test_of_two_machines_bought_later_the_first_is_looked_at():
    study = DEMO.changed({"alternatives.staged.machines.0.month": 5}).study
    found = bought_later(study)
    assert (found.key, found.place) == ("staged", 0)
    assert "Other machines bought later stay at their dates." in found.introduction
    part = Deeper(ExploreState(study, draws=[32]))
    part.waiting.press()
    assert "in month 5 (as in the study)" in part._freedom.value


def test_where_waiting_costs_more_than_it_brings_that_is_said(state):
    shares = (Estimate(0.7, 0.1), Estimate(0.2, 0.1), Estimate(0.1, 0.1))
    found = Freedom("staged", "Cutter <b>", (0, 12, None), (12, None), 12, 0,
                    Estimate(0.0, 5.0), shares)  # fmt: skip
    said = waiting_html(found, state.look, 32)
    assert "nothing here: it costs more than knowing everything would bring" in said
    assert "decided today: to buy it today." in said
    assert "<b>" not in said
    later = waiting_html(dataclasses.replace(found, fixed=12), state.look, 32)
    assert "no draw says otherwise" in later
    assert "to buy it after year 1 (as in the study)" in later
    some = waiting_html(dataclasses.replace(found, worth=Estimate(9.0, 5.0)), state.look, 32)
    assert f"at most {state.look.money(9.0)} ± {state.look.money(5.0)}" in some


# What would have to be true


def test_the_pair_does_not_wait_for_the_first_results(state, deeper, monkeypatch):
    deeper.turning.press()
    before = deeper._turns.value
    assert "Together it takes" in before
    monkeypatch.setitem(state._trait_values, "nearby", None)
    deeper._turns.value = ""
    deeper.turning.press()
    assert deeper._turns.value == before


def test_results_of_other_inputs_do_not_choose_the_pair(state, deeper, monkeypatch):
    deeper.turning.press()
    before = deeper._turns.value
    flat = tuple(dataclasses.replace(line, gains=np.zeros_like(line.gains))
                 for line in state.nearby.spider.lines)  # fmt: skip
    web = dataclasses.replace(state.nearby.spider, lines=flat)
    other = dataclasses.replace(state.nearby, result=object(), spider=web)
    monkeypatch.setitem(state._trait_values, "nearby", other)
    deeper.turning.press()
    assert deeper._turns.value == before


def test_a_whole_number_among_the_two_that_matter_most(state):
    horizon, price = {"low": 60, "likely": 84, "high": 121}, "machines.mid_all_in_one.price"
    spread = {"low": 10000, "likely": 21000, "high": 60000}
    study = DEMO.changed({"money.horizon": horizon, price: spread}).study
    found = last_of(together_in_pieces(study, web_of(study, "money.horizon", price), (2, 1), {}))
    assert found.flip is not None
    place = found.looked.paths.index("money.horizon")
    assert found.flip.values[place] == round(found.flip.values[place])
    point = dict(zip(found.looked.paths, found.flip.values, strict=True))
    assert appraise(study, point).best[0] == found.flip.to != appraise(study).best[0]


def test_two_inputs_that_cannot_go_together_leave_the_rest(state):
    hours, night = "shop.hours.hours_per_day", "shop.hours.overnight_per_day"
    study = DEMO.changed({
        hours: {"low": "6 h", "likely": "9 h", "high": "14 h"},
        night: {"low": "2 h", "likely": "8 h", "high": "12 h"},
    }).study  # fmt: skip
    web = web_of(study, hours, night)
    found = last_of(together_in_pieces(study, web, (2, 1), {}))
    assert found.looked is None
    said = _flip_sentence(found, state.look)
    assert said.startswith("Two inputs together were not looked at: shop.hours.")
    assert "a day has 24 h" in said


def test_fewer_than_two_uncertain_inputs_are_said(state):
    found = last_of(together_in_pieces(DEMO.study, web_of(DEMO.study), (2, 1), {}))
    assert found == Together(reason="fewer than two inputs have a low and a high value")
    assert "fewer than two inputs" in _flip_sentence(found, state.look)


def test_an_input_that_need_not_change_is_said_to_stay(state):
    web = web_of(DEMO.study, "shop.people.wage", "levers.demand")
    found = last_of(together_in_pieces(DEMO.study, web, (2, 1), {}))
    flip = Flip((0.5, found.looked.likely[1]), (0.5, 1e-5), 2, 1)
    said = _flip_sentence(dataclasses.replace(found, flip=flip), state.look)
    assert said.count(" to about ") == 1
    assert "as it is set, " in said


# One input at a time


def made_up(state, *gains):
    """Return a spider with one line of the demo's first input, P10 and P90, and today's gains."""
    first = spider(state.study, (0.1, 0.9)).lines[0]
    line = dataclasses.replace(first, gains=np.array(gains))
    return Spider(
        tuple(state.study.alternatives), np.array([0.1, 0.9]), np.array([0.0, 5.0, 9.0, 4.0]),
        (line,),
    )  # fmt: skip


def test_a_third_choice_that_takes_over_turns_the_choice(state):
    """The lead over the next best never passes zero, yet another leaves more at the high end."""
    web = made_up(state, [0.0, 5.0, 9.0, 4.0], [0.0, 5.0, 9.0, 12.0])
    third = state.study.alternatives["staged"].name
    said = spider_picture(web, (2, 1), state.look).reading
    assert f"Each of these turns the choice alone: operators (to {third})." in said
    drivers = words._driver(web, web.lines[0], 1.0, (2, 1), 1.0, state.look)
    assert "turns the choice" in drivers
    stays = made_up(state, [0.0, 5.0, 9.0, 4.0], [0.0, 5.0, 8.0, 4.0])
    assert "No input alone turns the choice." in spider_picture(stays, (2, 1), state.look).reading
    assert "turns" not in words._driver(stays, stays.lines[0], 1.0, (2, 1), 1.0, state.look)


def test_both_ends_on_one_side_are_said(state):
    web = made_up(state, [0.0, 5.0, 7.0, 4.0], [0.0, 5.0, 7.0, 4.0])
    nearby = dataclasses.replace(state.nearby, spider=web)
    shown = words.drivers_html(nearby, state.look, busy=False)
    assert f"<b>{state.look.money(2.0)}</b>" in shown
    assert "both ends on one side of today" in shown
    picture = spider_picture(web, (2, 1), state.look)
    assert "both ends on one side of today." in picture.reading
    assert picture.table.rows[0][-1].startswith(state.look.money(2.0))
    other = made_up(state, [0.0, 5.0, 7.0, 4.0], [0.0, 5.0, 10.0, 4.0])
    assert "one side" not in str(spider_picture(other, (2, 1), state.look))


# Two inputs at once


def test_the_map_takes_the_horizon(deeper):
    deeper._paths["up"] = "money.horizon"
    deeper.two_way.press()
    deeper._paths["up"] = "levers.laminated_share"
    assert deeper.two_way._said.value == ""
    figure = json.loads(deeper._map.figure)
    go.Figure(figure)
    assert "Horizon" in figure["layout"]["yaxis"]["title"]["text"]


def test_a_map_of_inputs_that_are_no_longer_chosen_is_marked_old(deeper, monkeypatch):
    part, kept = deeper.two_way, dict(deeper._paths)
    part.press()
    assert part._said.value == ""
    part._changed("across", kept["across"])
    assert part._said.value == ""
    part._changed("across", "levers.price")
    assert "Other inputs are chosen since" in part._said.value
    part.press()
    assert part._said.value == ""

    waiting = []

    class Later(Refining):
        def __call__(self, work, take):
            waiting.append(work)

        def drop(self):
            waiting.clear()

    monkeypatch.setattr(part, "_refining", Later())
    part.press()
    part._changed("across", kept["across"])
    assert waiting == []
    assert "Stopped" in part._said.value
    assert deeper._paths == kept


def test_other_inputs_before_any_map_mark_nothing():
    part = Deeper(ExploreState(DEMO.study, draws=[32])).two_way
    part._changed("across", "levers.price")
    assert part._said.value == ""


def made_up_map(gains):
    axis = np.array([1.0, 2.0, 3.0])
    return TwoWayMap(("levers.demand", "levers.price"), ("keep", "separate", "all_in_one"),
                     axis, axis, np.array(gains), (2.0, 2.0))  # fmt: skip


def lines_of(picture, name):
    return [one for one in picture.figure["data"] if one.get("name") == name]


def test_the_switch_line_is_where_the_best_choice_changes_at_all(state):
    """Here the choice that is best today loses nowhere to the baseline; two others change places.

    Columns: the second choice leads, then the third; the baseline, best where the study is set by
    assumption, nowhere.
    """
    found = made_up_map([[[0, 5, 1], [0, 4, 2], [0, 1, 6]]] * 3)
    picture = map_picture(found, 0, state.look)
    (_, white) = lines_of(picture, "Switch line")
    assert np.asarray(white["z"])[0].tolist() == [4, 2, -5]
    assert "Solid line: the choice switches." in picture.reading
    three = made_up_map([[[9, 5, 1], [0, 4, 2], [0, 1, 6]]] * 3)
    z = [np.asarray(one["z"])[0].tolist() for one in
         lines_of(map_picture(three, 0, state.look), "Switch line")[1::2]]  # fmt: skip
    assert z == [[4, -4, -6], [-4, 2, -5]]  # a change of sign between all columns, in one of them
    same = made_up_map([[[0, 5, 1]] * 3] * 3)
    assert lines_of(map_picture(same, 1, state.look), "Switch line") == []
    assert "Nowhere on it does the choice switch." in map_picture(same, 1, state.look).reading


def test_a_map_of_few_whole_numbers_has_a_row_for_each_once(state):
    found = two_way_map(DEMO.study, "levers.price", "money.horizon", size=9,
                        ranges={"money.horizon": (83, 85)})  # fmt: skip
    table = map_picture(found, 2, state.look).table
    assert [row[0] for row in table.rows] == ["85 months", "84 months", "83 months"]
    assert len(table.columns) == 6


def test_the_map_holds_where_a_control_is_set_beyond_its_low_and_high():
    state = ExploreState(DEMO.study, draws=[32])
    part = Deeper(state)
    state.change("levers.demand", 3.0)
    part.two_way.press()
    figure = json.loads(part._map.figure)
    (mark,) = [one for one in figure["data"] if one.get("mode") == "markers+text"]
    assert mark["x"] == [300.0]
    low, high = figure["layout"]["xaxis"]["range"]
    assert low < 300.0 <= high


# Work for other inputs


def test_draws_for_other_inputs_stop_while_late_orders_are_not_known(monkeypatch):
    dropped, state = [], ExploreState(DEMO.study, draws=[32])
    monkeypatch.setattr(state._refine, "drop", lambda: dropped.append(True))
    state.drawing = Drawing(4096, 0.5)
    state.late_orders = "unknown"
    assert dropped
    assert state.drawing is None
