"""The trade show page as its user meets it: on a phone, over the demo study."""

import re
from collections.abc import Callable, Iterator

import pytest
from playwright.sync_api import expect

from capex.views.server import notebook_folder

from .conftest import Served, Watched, served


@pytest.fixture(scope="module")
def server() -> Iterator[Served]:
    with served(notebook_folder()) as server:
        yield server


def test_moving_a_control_moves_the_headline_at_once_and_the_draws_after(
    server: Served, watch: Callable[..., Watched]
) -> None:
    watched = watch(f"{server.url}explore", width=390, height=844)
    page = watched.page
    draws = page.locator(".capex-draws")
    expect(draws).to_have_attribute("aria-busy", "false", timeout=120_000)
    expect(draws).to_have_text(re.compile(r"^4,096 draws of \d+ uncertain inputs, seed \d+\.$"))
    for control in ("Demand", "Discount rate"):
        box = page.get_by_role("slider", name=control).bounding_box()
        assert box is not None
        assert box["y"] + box["height"] <= 844
    for part in (".capex-headline", ".capex-drivers li:last-child"):
        box = page.locator(part).bounding_box()
        assert box is not None
        assert box["y"] + box["height"] <= 844
    assert page.locator(".capex-drivers li").count() == 5
    before = page.locator(".capex-headline").inner_text()
    page.get_by_role("slider", name="Demand").press("PageUp")
    page.locator(".capex-dial-differs", has_text="Demand").wait_for()
    expect(draws).to_have_attribute("aria-busy", "true")
    expect(page.locator(".capex-fact").last).to_contain_text("working…")
    # The page answers while the draws run, and the run before is dropped.
    page.get_by_role("slider", name="Selling prices").press("PageDown")
    page.locator(".capex-dial-differs", has_text="Selling prices").wait_for()
    expect(draws).to_have_attribute("aria-busy", "true")
    expect(draws).to_have_attribute("aria-busy", "false", timeout=120_000)
    assert page.locator(".capex-headline").inner_text() != before
    assert page.evaluate("document.documentElement.scrollWidth") == 390
    watched.check_quiet()


def test_a_part_is_worked_out_only_when_asked(
    server: Served, watch: Callable[..., Watched]
) -> None:
    watched = watch(f"{server.url}explore")
    page = watched.page
    chart = page.get_by_text("Which choice leaves most over the two?")
    group = page.get_by_role("group", name="Two inputs at once")
    group.wait_for()
    assert not chart.is_visible()
    group.get_by_role("button", name="Work it out").click()
    chart.wait_for()
    page.get_by_text("where the study is set, and over").wait_for()
    alone = page.get_by_role("group", name="One input at a time")
    alone.get_by_role("button", name="Work it out").click()
    page.get_by_text("What if one input turns out otherwise?").wait_for()
    page.get_by_text(re.compile("moves that most: ")).wait_for()
    turning = page.get_by_role("group", name="What would have to be true?")
    turning.get_by_role("button", name="Work it out").click()
    page.get_by_text("today (net present value)").wait_for()
    watched.check_quiet()
