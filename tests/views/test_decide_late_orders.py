"""Late orders on the page: shown at once with what is known, then with the years of the change."""

from __future__ import annotations

import asyncio
import json
import time
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from capex.decision.appraise import appraise
from capex.decision.swings import swings
from capex.shopfloor.year import lateness
from capex.study import Study
from capex.views.cards import cards_html, late_orders_html
from capex.views.charts.picture import Look
from capex.views.charts.volume import volume_picture
from capex.views.floor.state import Background
from capex.views.late_orders import LATENESS_HELD
from capex.views.state import DecisionState
from capex.views.tables import headline_data
from capex.views.wording import sureness_sentence

from .conftest import HeldWork

COST = {"shop.promises.cost_of_late_order": 40.0, "shop.promises.lead_time": 2.0}


class HeldYears:
    """Stands in for the thread: keeps what is to be simulated until a test asks for it."""

    def __init__(self) -> None:
        self.asked: list[tuple[Callable[[], Any], Callable[[Callable[[], Any]], None]]] = []

    def __call__(self, work: Callable[[], Any], done: Callable[[Callable[[], Any]], None]) -> None:
        self.asked.append((work, done))

    def run(self) -> None:
        """Simulate everything that was asked for, the oldest first."""
        asked, self.asked = self.asked, []
        for work, done in asked:
            done(work)


@pytest.fixture(scope="module")
def costly(demo: Study) -> Study:
    return demo.replaced({**COST, "money.horizon": 37.0})


@pytest.fixture
def years() -> HeldYears:
    return HeldYears()


@pytest.fixture
def simulated(monkeypatch: pytest.MonkeyPatch) -> list[int]:
    """Count the years that are simulated, nothing being known before."""
    lateness._known.forget()
    asked: list[int] = []
    real = lateness.simulated_year

    def counted(study: Study, key: str, year: int, *rest: Any, **more: Any) -> Any:
        asked.append(year)
        return real(study, key, year, *rest, **more)

    monkeypatch.setattr(lateness, "simulated_year", counted)
    return asked


@pytest.fixture
def state(costly: Study, held: HeldWork, years: HeldYears, simulated: list[int]) -> DecisionState:
    return DecisionState(costly, later=held, simulate=years)


def late(state: DecisionState, key: str = "keep") -> np.ndarray[Any, Any]:
    return state.result.appraisal.outcomes[key].path.ledger.line("late")[0]


def shares(state: DecisionState, key: str = "keep") -> Any:
    found = state.result.appraisal.lateness
    assert found is not None
    return found[key]


def test_nothing_is_simulated_before_the_page_shows(
    state: DecisionState, costly: Study, simulated: list[int], held: HeldWork, years: HeldYears
) -> None:
    assert (state.late_orders, simulated, held.asked) == ("unknown", [], [])
    assert (late(state) == 0).all()
    free = appraise(costly, {"shop.promises.cost_of_late_order": 0.0})
    np.testing.assert_allclose(
        state.result.appraisal.net_present_value[0], free.net_present_value[0], rtol=1e-9
    )
    years.run()
    assert state.late_orders == "simulated"
    assert (late(state) < 0).any()


def test_law_what_is_shown_in_the_end_is_what_the_command_prints(
    state: DecisionState, costly: Study, years: HeldYears, held: HeldWork
) -> None:
    years.run()
    for changes in ({}, {"levers.demand": 1.3}, {"levers.demand": 1.3, "levers.price": 1.1}):
        state.change_all(changes)
        years.run()
        assert state.late_orders == "simulated"
        lateness._known.forget()
        alone = appraise(costly.replaced(changes))
        shown = state.result.appraisal
        for key, outcome in alone.outcomes.items():
            np.testing.assert_array_equal(late(state, key), outcome.path.ledger.line("late")[0])
        np.testing.assert_allclose(
            shown.net_present_value[0], alone.net_present_value[0], rtol=1e-12
        )
        assert json.dumps(headline_data(shown)) == json.dumps(headline_data(alone))
        held.run()
        assert state.swings is not None
        own = swings(costly, changes)
        np.testing.assert_allclose(state.swings.gains, own.gains, rtol=1e-12)
        for one, other in zip(state.swings.each, own.each, strict=True):
            np.testing.assert_allclose(one.gains, other.gains, rtol=1e-12)


def test_a_change_moves_at_once_with_the_last_shares_and_simulates_nothing(
    state: DecisionState, years: HeldYears, held: HeldWork, simulated: list[int]
) -> None:
    years.run()
    held.run()
    before, known, count = state.result, shares(state), len(simulated)
    state.change("levers.demand", 1.3)
    assert state.late_orders == "held"
    assert len(simulated) == count
    assert state.result is not before
    np.testing.assert_array_equal(shares(state), known)
    gains = state.result.appraisal.net_present_value[0]
    assert abs(gains - before.appraisal.net_present_value[0]).max() > 100
    # crossovers and swings wait for the years
    assert held.asked == []
    assert state.swings is None
    years.run()
    assert len(simulated) > count
    assert not np.array_equal(shares(state), known)
    count = len(simulated)
    held.run()
    assert state.swings is not None
    assert state.crossovers is not None
    assert len(simulated) == count


def test_money_alone_simulates_nothing_and_draws_once(
    state: DecisionState, years: HeldYears, simulated: list[int]
) -> None:
    years.run()
    count = len(simulated)
    state.change("money.discount_rate", 0.2)
    shown = state.result
    years.run()
    assert (state.late_orders, len(simulated)) == ("simulated", count)
    assert state.result is shown


def test_years_of_a_shop_that_is_no_longer_shown_are_dropped(
    state: DecisionState, years: HeldYears
) -> None:
    years.run()
    state.change("levers.demand", 1.3)
    state.change("levers.demand", 0.8)
    stale, wanted = years.asked
    stale[1](stale[0])
    assert state.late_orders == "held"
    assert state.result.volume == 0.8
    wanted[1](wanted[0])
    assert state.late_orders == "simulated"
    assert state.result.volume == 0.8


def test_a_study_in_which_being_late_costs_nothing_asks_for_no_years(
    demo: Study, held: HeldWork, years: HeldYears
) -> None:
    state = DecisionState(demo, later=held, simulate=years)
    state.change("levers.demand", 1.2)
    assert (state.late_orders, years.asked) == ("free", [])
    assert late_orders_html("free") == ""
    look = Look(state.study, state.units, state.currency)
    assert "Late orders" not in cards_html(state.result, look)


def test_the_page_says_what_stands_for_late_orders(
    state: DecisionState, years: HeldYears, held: HeldWork
) -> None:
    look = Look(state.study, state.units, state.currency)
    said = [late_orders_html(state.late_orders)]
    cards = [cards_html(state.result, look, state.late_orders)]
    years.run()
    held.run()
    said.append(late_orders_html(state.late_orders))
    cards.append(cards_html(state.result, look, state.late_orders))
    assert LATENESS_HELD in volume_picture(state.result, look, state.crossovers).reading
    assert state.swings is not None
    assert LATENESS_HELD in sureness_sentence(state.study, state.swings)
    state.change("levers.demand", 1.3)
    said.append(late_orders_html(state.late_orders))
    cards.append(cards_html(state.result, look, state.late_orders))
    assert ["being worked out" in text and "aria-busy='true'" in text for text in said] == [
        True, False, True,
    ]  # fmt: skip
    assert "not in these figures yet" in said[0]
    assert "the last simulation" in said[2]
    assert [card.count("being worked out") for card in cards] == [4, 0, 4]
    worth = late(state) @ state.result.appraisal.outcomes["keep"].discount_factors[0]
    assert f"<dt>Late orders</dt><dd>{look.money(float(worth))}" in cards[2]


def test_the_loop_answers_while_years_are_simulated(costly: Study, held: HeldWork) -> None:
    lateness._known.forget()
    waits: list[float] = []

    async def visit() -> DecisionState:
        state = DecisionState(costly, later=held, simulate=Background(rest=0.01))
        assert state.late_orders == "unknown"
        deadline = time.monotonic() + 120.0
        while state.late_orders != "simulated" and time.monotonic() < deadline:
            before = time.monotonic()
            await asyncio.sleep(0.001)
            waits.append(time.monotonic() - before)
        return state

    state = asyncio.run(visit())
    assert state.late_orders == "simulated"
    assert len(waits) > 20
    assert (late(state) < 0).any()
