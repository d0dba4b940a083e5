"""Terms in the words of a page: large enough to tap, and still part of their line."""

from collections.abc import Callable, Iterator

import pytest
from playwright.sync_api import Page

from capex.views.server import notebook_folder

from .conftest import READY, Served, Watched, served

# Of every term in sight: its words and its smallest side over its lines [px].
SIDES = """all => all.filter(one => one.checkVisibility()).map(one => [one.textContent,
    Math.min(...[...one.getClientRects()].map(({ width, height }) => Math.min(width, height)))])"""
# How tall the cards are with marked terms, and with their words alone.
HEIGHTS = """() => {
    const cards = () => [...document.querySelectorAll(".capex-card")].map(one => one.offsetHeight);
    const marked = cards();
    document.querySelectorAll(".capex-term").forEach(one => one.replaceWith(one.textContent));
    return [marked, cards()];
}"""


@pytest.fixture(scope="module")
def server() -> Iterator[Served]:
    with served(notebook_folder()) as server:
        yield server


@pytest.fixture
def explored(server: Served, watch: Callable[..., Watched]) -> Page:
    page = watch(f"{server.url}explore").page
    page.wait_for_function(READY)
    page.locator(".capex-term", has_text="expected value").first.wait_for()
    return page


def test_terms_can_be_tapped_and_move_no_line(explored: Page) -> None:
    """24 by 24 CSS pixels (WCAG 2.2, 2.5.8), also for a P5; brackets stay with their words."""
    explored.set_viewport_size({"width": 390, "height": 844})
    explored.wait_for_timeout(700)
    sides = explored.locator(".capex-term").evaluate_all(SIDES)
    assert len(sides) > 5
    assert [(words, side) for words, side in sides if side < 24] == []
    worth = explored.locator(".capex-chart-reading", has_text="To know every uncertain").first
    assert "(expected value of perfect information):" in worth.inner_text()
    at_bracket = """one => { // where the bracket ends and the term begins
        const before = one.previousSibling, range = document.createRange();
        range.setStart(before, before.length - 1);
        range.setEnd(before, before.length);
        return [range.getBoundingClientRect().top, [...one.getClientRects()][0].top];
    }"""
    bracket, term = worth.locator(".capex-term").first.evaluate(at_bracket)
    assert abs(term - bracket) < 12
    marked, plain = explored.evaluate(HEIGHTS)
    assert marked == plain


def test_a_term_is_opened_by_a_key(explored: Page) -> None:
    term = explored.locator(".capex-term[tabindex='0']").first
    term.focus()
    explored.keyboard.press("Escape")
    explored.keyboard.press("Enter")
    assert explored.locator("#capex-term").is_visible()
