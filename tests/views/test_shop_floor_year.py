"""What the page says of a simulated year: valid figures that are the year's, nothing blocked."""

import asyncio
import json
import re
import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from html import unescape
from itertools import pairwise
from typing import Any

import numpy as np
import plotly.graph_objects as go
import pytest

from capex.shopfloor.year.monthly_plan import monthly_plan
from capex.shopfloor.year.simulated_year import Standstill, Year, simulated_year
from capex.shopfloor.year.undisturbed import undisturbed_year
from capex.study import Study, StudyFile, data_folder
from capex.views.chart import figure_json
from capex.views.charts.picture import Look, Picture
from capex.views.floor.backlog_pictures import (
    Stop,
    backlog_picture,
    fullest,
    peak_words,
    queue_picture,
    recovery_days,
)
from capex.views.floor.state import Background, FloorState
from capex.views.floor.working_days import days_of_month, weekdays
from capex.views.floor.year import YearSection
from capex.views.floor.year_cards import Volume, days_late, orders_sentence, outlook, volume
from capex.views.floor.year_pictures import lead_time_picture, states_picture
from capex.views.wording import Currency

STUDY = data_folder() / "studies" / "quenlow.toml"
STOP = Stop("The printer stands for 4 days", 92, 4.0)
Years = dict[str, Year]


@pytest.fixture(scope="module")
def look(demo: Study) -> Look:
    return Look(demo, "metric", Currency("USD"))


@pytest.fixture(scope="module")
def years(demo: Study) -> Years:
    return {key: simulated_year(demo, key, 1, 3) for key in demo.alternatives}


@pytest.fixture(scope="module")
def broken(demo: Study) -> Years:
    stop = Standstill("print", STOP.day, STOP.length)
    return {key: simulated_year(demo, key, 1, 3, stop) for key in demo.alternatives}


@pytest.fixture
def state() -> FloorState:
    return FloorState(StudyFile.read(STUDY), STUDY)


class Held:
    """Keeps the newest work and does it when told to."""

    def __init__(self) -> None:
        self.asked: list[tuple[Callable[[], Any], Callable[[Callable[[], Any]], None]]] = []

    def __call__(self, work: Callable[[], Any], done: Callable[[Callable[[], Any]], None]) -> None:
        self.asked.append((work, done))

    def run(self) -> None:
        work, done = self.asked[-1]
        self.asked.clear()
        done(work)


BUILDERS: dict[str, Callable[[Years, Years, Look], Picture]] = {
    "lead time": lambda years, broken, look: lead_time_picture(years, look, ""),
    "lead time of banners": lambda years, broken, look: lead_time_picture(years, look, "banners"),
    "states": lambda years, broken, look: states_picture(years, look),
    "backlog": lambda years, broken, look: backlog_picture(years, {}, None, look, "people"),
    "backlog broken": lambda years, broken, look: backlog_picture(
        years, broken, STOP, look, "machines"
    ),
    "queue": lambda years, broken, look: queue_picture(years, look, "machines"),
}


@pytest.mark.parametrize("name", BUILDERS)
def test_against_plotly_schema_every_figure_is_valid(
    name: str, years: Years, broken: Years, look: Look
) -> None:
    found = BUILDERS[name](years, broken, look)
    figure = json.loads(figure_json(found.figure))
    go.Figure(figure)  # raises on any unknown property or value
    assert figure["layout"]["xaxis"]["title"]["text"]
    assert len(found.reading) > 20
    assert found.table.rows
    assert all(len(row) == len(found.table.columns) for row in found.table.rows)


def test_law_lead_time_curves_rise_to_the_share_that_was_finished(years: Years, look: Look) -> None:
    lines = lead_time_picture(years, look, "").figure["data"]
    for line, found in zip(lines, years.values(), strict=True):
        assert (np.diff(line["y"]) >= 0).all()
        assert (np.diff(line["x"]) >= 0).all()
        finished = np.isfinite(found.lead_time).mean() * 100
        assert line["y"][-1] == pytest.approx(finished, abs=0.01)


def test_lead_time_table_is_the_year_s(years: Years, look: Look) -> None:
    rows = {row[0]: row for row in lead_time_picture(years, look, "").table.rows}
    for found in years.values():
        for place, name in enumerate(found.jobs):
            row = rows[f"{found.name}: {name}"]
            assert row[1] == str(int((found.job == place).sum()))
            if (found.job == place).any():
                assert row[3] == f"{found.percentiles(0.5)[place, 0]:.1f}"
                assert row[7] == f"{found.late_share[place]:.1%}"


def test_law_states_of_a_station_are_all_of_its_time(years: Years, look: Look) -> None:
    bars = [t for t in states_picture(years, look).figure["data"] if t["type"] == "bar"]
    total = np.sum([bar["x"] for bar in bars], axis=0)
    np.testing.assert_allclose(total, 100.0, atol=0.05)


def test_the_breakdown_shows_in_the_backlog_and_is_worked_off(
    years: Years, broken: Years, look: Look
) -> None:
    found = backlog_picture(years, broken, STOP, look, "machines")
    assert found.reading.startswith("The printer stands for 4 days.")
    for key in years:
        machines = years[key].record.machine_queue.shape[2]
        extra = (broken[key].backlog - years[key].backlog)[:, :machines].sum(axis=1)
        assert extra[: STOP.day - 1] == pytest.approx(0.0)
        days = recovery_days(years[key], broken[key], STOP, "machines")
        assert days is not None
        assert (extra[STOP.day - 1 + days :] <= 2.0).all()
        assert days == 0 or extra[STOP.day - 1 + days - 1] > 2.0


def test_a_year_that_never_recovers_is_said(years: Years, look: Look) -> None:
    key = "all_in_one"
    worse = years[key].backlog.copy()
    worse[50:] += 30.0
    never = replace(years[key], backlog=worse)
    stop = Stop("The printer stands", 51, 3.0)
    assert recovery_days(years[key], never, stop, "machines") is None
    said = backlog_picture(years, {key: never}, stop, look, "machines").reading
    assert "is never back within the year" in said
    assert "Nothing that stops with" in said


def test_years_follow_later_and_the_last_ones_stay(state: FloorState) -> None:
    held = Held()
    year = YearSection(state, held)
    year.view()
    assert year._lead.version == 0
    assert "aria-busy" in year._said.value
    held.run()
    shown = year._lead.reading
    assert year._lead.version > 0
    assert "seed 1" in year._said.value
    year._fields.told(None, {"kind": "changed", "key": "seed", "value": "-3"}, [])
    assert held.asked == []
    assert "must be a whole number" in year._fields.messages["seed"]
    assert year._lead.reading == shown
    assert "greyed, is of the last years" in year._results.said.value
    assert "capex-old" in year._results.panel._dom_classes
    year._fields.told(None, {"kind": "changed", "key": "seed", "value": "8"}, [])
    held.run()
    assert year._fields.messages == {}
    assert "seed 8" in year._said.value
    assert "capex-old" not in year._results.panel._dom_classes
    assert year._lead.reading != shown or year._backlog.reading
    assert state.trouble is None


def test_rules_and_breakdown_reach_the_simulation(state: FloorState) -> None:
    held = Held()
    year = YearSection(state, held)
    year.view()
    held.run()
    assert year._found is not None
    before = year._found
    for key, value in (
        ("machine_rule", "shortest"), ("stop", "cut"), ("month", "1"), ("day", "2"),
        ("length", "2.5"),
    ):  # fmt: skip
        year._fields.told(None, {"kind": "changed", "key": key, "value": value}, [])
    held.run()
    assert year._found is not before
    assert year._found.stop == Stop(
        "The knife stands for 2.5 days from Wednesday, working day 2 of January, on", 2, 2.5
    )
    own = before.years["all_in_one"].lead_time
    assert not np.array_equal(own, year._found.years["all_in_one"].lead_time)
    rules = state.study.shop.dispatching.model_copy(update={"machine_rule": "shortest"})
    shop = state.study.shop.model_copy(update={"dispatching": rules})
    study = state.study.model_copy(update={"shop": shop})
    alone = simulated_year(study, "all_in_one", 1, 1)
    np.testing.assert_array_equal(year._found.years["all_in_one"].lead_time, alone.lead_time)


def test_cards_are_the_year_s(state: FloorState) -> None:
    held = Held()
    year = YearSection(state, held)
    year.view()
    held.run()
    assert year._found is not None
    cards = [unescape(re.sub(r"<[^>]+>", "|", c)) for c in year._cards.value.split("<article")[1:]]
    for card, (key, found) in zip(cards, year._found.years.items(), strict=True):
        assert f"|{found.on_time:.1%} |" in card
        bare = re.sub(r"\|+", "|", card)
        broken = year._found.broken[key]
        assert "|Breakdown|Without|With|" in bare
        assert f"|Done as promised|{found.on_time:.1%}|{broken.on_time:.1%}|" in bare
        assert f"|Orders late|{found.late.sum():,}|{broken.late.sum():,}|" in bare
        assert f"|Overtime worked (h)|{found.overtime:.0f}|{broken.overtime:.0f}|" in bare
        assert f"|Overtime paid for|{found.overtime_paid:.0f} h|by the month’s plan" in bare
        assert f"|Orders that come|{found.came.sum():,}|" in bare
        assert f"{found.job.size:,} made in the house" in bare


def test_law_orders_that_come_are_made_bought_in_or_refused(years: Years) -> None:
    for found in years.values():
        parts = found.job.size + found.bought_in.sum() + found.refused.sum()
        assert parts == found.came.sum()


def nothing_bought_in(demo: Study, lost: float) -> dict[str, float]:
    """Return few hands, nothing bought in, and the share of refused customers who stay away."""
    dear = {f"jobs.{key}.bought_in_price": 1e6 for key, job in demo.jobs.items()
            if job.bought_in_price is not None}  # fmt: skip
    few = {"shop.people.operators": 0.3}
    return dear | few | {f"jobs.{key}.lost_customers": lost for key in demo.jobs}


BACK = "work turned away today that comes back after a purchase"
LOST = "customers lost for good because they were refused before"


@pytest.mark.parametrize(
    ("recovered", "lost", "reasons"),
    [(0.1, 0.0, {BACK}), (0.0, 0.5, {LOST}), (0.1, 0.5, {BACK, LOST}), (0.0, 0.0, set())],
)
def test_law_a_difference_in_orders_is_given_the_reasons_that_hold(
    demo: Study, recovered: float, lost: float, reasons: set[str]
) -> None:
    changes = {"shop.after_purchase.recovered_demand": recovered, "levers.demand": 1.5}
    study = demo.replaced(changes | nothing_bought_in(demo, lost))
    plans = {key: monthly_plan(study, key, 36) for key in ("keep", "separate")}
    years = {key: simulated_year(study, key, 3, 3, plan=plan) for key, plan in plans.items()}
    said = orders_sentence(years, {key: volume(plan, 3) for key, plan in plans.items()})
    assert {reason for reason in (BACK, LOST) if reason in said} == reasons
    for count in {int(found.came.sum()) for found in years.values()}:
        assert f"{count:,} orders come with" in said
    assert ("The same customers" in said) == bool(reasons)
    if not reasons:
        assert re.fullmatch(r"The same [\d,]+ orders come with every choice, .*", said)
    assert years["keep"].refused.sum() > 10


def test_what_moves_a_year_s_orders_is_counted_as_the_plan_has_it(demo: Study) -> None:
    changes = {"shop.after_purchase.ramp_up": 0.0, "shop.after_purchase.recovered_demand": 0.2}
    plan = monthly_plan(demo.replaced(changes), "separate", 30)
    asked = plan.output.demand[0, :, 24:].sum()
    assert volume(plan, 3) == Volume(pytest.approx(asked / 6), pytest.approx(0.0, abs=1e-9))
    plan, never = (
        monthly_plan(demo.replaced(changes | nothing_bought_in(demo, lost)), "keep", 30)
        for lost in (0.5, 0.0)
    )
    gone = (never.output.demand - plan.output.demand)[0, :, 24:].sum()
    assert gone > 100
    assert volume(plan, 3) == Volume(0.0, pytest.approx(gone))


def test_the_page_says_that_planned_work_waits_for_the_machine_that_stands(
    state: FloorState,
) -> None:
    hints = {field.key: field.hint for field in YearSection(state, Held())._listed()}
    assert "Work planned for that machine waits" in hints["stop"]


def test_law_days_late_are_those_beyond_the_promise_of_the_late_orders(
    years: Years, demo: Study
) -> None:
    usual = demo.shop.promises.lead_time
    for found in years.values():
        beyond = days_late(found, demo)
        assert beyond.size == found.late.sum() - found.unfinished
        assert (beyond > 0).all()
        by_hand = [
            time - (demo.jobs[key].promised_lead_time or usual).likely
            for time, job, late in zip(found.lead_time, found.job, found.late, strict=True)
            for key in [list(demo.jobs)[job]]
            if late and np.isfinite(time)
        ]
        assert beyond == pytest.approx(by_hand)


def test_where_a_choice_chokes_is_the_first_load_above_the_planned_one(demo: Study) -> None:
    plan = monthly_plan(demo.replaced({"levers.demand": 2.0}), "all_in_one", 84)
    found = outlook(plan)
    share = demo.shop.planned_load.likely
    asked, there = plan.output.asked[0], plan.output.available[0]
    full = [m for m in range(84) if (asked[:, m] > share * there[:, m]).any()]
    assert found.month == full[0] + 1
    place = [station.name for station in plan.routes.stations].index(found.station)
    assert found.load == pytest.approx(asked[place, full[0]] / there[place, full[0]])
    assert f"{found.load:.0%} of its hours asked for in" in found.sentence(demo)
    none = outlook(monthly_plan(demo.replaced({"levers.demand": 0.01}), "keep", 84))
    assert none.month is None
    assert "never above the planned" in none.sentence(demo)


def test_more_orders_than_the_study_s_can_be_asked_for(state: FloorState) -> None:
    held = Held()
    year = YearSection(state, held)
    year.view()
    held.run()
    assert year._found is not None
    before = year._found.years["separate"].came.sum()
    year._fields.told(None, {"kind": "changed", "key": "demand", "value": "120 %"}, [])
    held.run()
    assert year._found.years["separate"].came.sum() == pytest.approx(1.2 * before, rel=0.05)
    year._fields.told(None, {"kind": "changed", "key": "demand", "value": "0"}, [])
    assert "must be from 10 to 500 %" in year._fields.messages["demand"]


def test_lines_that_are_one_are_said_to_be(years: Years, look: Look) -> None:
    names = {key: found.name for key, found in years.items()}
    said = f"{names['all_in_one']} and {names['staged']} run alike this year"
    assert (years["all_in_one"].lead_time == years["staged"].lead_time).all()
    assert said in lead_time_picture(years, look, "").reading
    apart = {key: years[key] for key in ("keep", "separate", "all_in_one")}
    assert "run alike" not in queue_picture(apart, look, "machines").reading


def test_a_peak_is_laid_to_failures_only_where_it_is_gone_without_them(
    years: Years, demo: Study, look: Look
) -> None:
    most = fullest(years)
    found = years[most]
    machines = found.record.machine_queue.shape[2]
    work = found.backlog[:, :machines].sum(axis=1)
    calm = undisturbed_year(demo, most, 1, 3, monthly_plan(demo, most, 12))
    assert all(station.down == 0 for station in calm.stations)
    assert (calm.came == found.came).all()
    failed = replace(found, backlog=np.zeros_like(found.backlog))
    said = peak_words(years, failed, look)
    assert f"the highest peak is {work.max():.1f} h with {found.name}" in said
    assert "its machines had failed by chance; had none, 0.0 h would wait" in said
    assert "comes of the orders" in peak_words(years, found, look)


def test_working_days_have_the_weekdays_of_the_shop_s_calendar(demo: Study) -> None:
    """At 21 days a month a week has five working days, every sixth four: never a weekend."""
    names = weekdays(demo)
    assert set(names) == {"Monday", "Tuesday", "Wednesday", "Thursday", "Friday"}
    monday = [day for day, name in enumerate(names) if name == "Monday"]
    assert {b - a for a, b in pairwise(monday)} == {4, 5}
    options = days_of_month(demo, 5)
    assert [int(day) for day, _ in options] == list(range(1, 22))
    assert options[7][1] == f"day 8, {names[4 * 21 + 7]}"


def test_a_year_in_which_nothing_is_made_is_called_so(state: FloorState) -> None:
    state.study = state.study.replaced({"levers.delay": 12.0})
    held = Held()
    year = YearSection(state, held)
    year.view()
    held.run()
    assert state.trouble is None
    cards = year._cards.value.split("<article")[1:]
    for key, card in zip(state.study.alternatives, cards, strict=True):
        assert ("nothing is made in the house in this year" in card) == (key != "keep")
    assert "None is made with Separate machines" in year._lead.reading


def test_the_newest_work_is_done_in_a_thread_and_the_loop_answers_meanwhile() -> None:
    beats: list[float] = []
    done: list[Any] = []

    def slow(number: int) -> Callable[[], int]:
        def work() -> int:
            time.sleep(0.2)
            return number

        return work

    async def visit() -> None:
        later = Background(rest=0.01)
        for number in range(3):
            later(slow(number), lambda result: done.append(result()))
            await asyncio.sleep(0.03)
        while not done:
            beats.append(time.monotonic())
            await asyncio.sleep(0.01)
        await asyncio.sleep(0.3)

    # in a thread of its own: a browser test before it may have left a loop running in this one
    with ThreadPoolExecutor(1) as pool:
        pool.submit(lambda: asyncio.run(visit())).result()
    assert done == [2]
    assert len(beats) > 5
