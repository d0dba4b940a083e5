"""The page of costs and prices as its user meets it: in a browser, over the demo study."""

from collections.abc import Callable, Iterator

import pytest

from capex.views.server import notebook_folder

from .conftest import Served, Watched, served


@pytest.fixture(scope="module")
def server() -> Iterator[Served]:
    with served(notebook_folder()) as server:
        yield server


def test_another_choice_brings_its_prices_and_nothing_leaves_the_machine(
    server: Served, watch: Callable[..., Watched]
) -> None:
    page = watch(f"{server.url}costs").page
    for name in ("The most to pay", "What the decision hangs on", "Today", "Owning and running",
                 "The second machine", "Used or new", "Sell or trade in, when?"):  # fmt: skip
        page.get_by_role("heading", name=name, exact=True).wait_for()
    page.get_by_text("Mid all-in-one: walk away above").wait_for()
    page.get_by_text("Month 36, as the study stands").wait_for()
    page.get_by_role("region", name="New and second-hand: Mid all-in-one").wait_for()
    page.get_by_role("region", name="Machines of unequal lives, cost alone").wait_for()
    page.get_by_label("Choice", exact=True).first.select_option("separate")
    page.get_by_text("Mid contour cutter: walk away above").wait_for()
    page.get_by_role("region", name="New and second-hand: Mid roll printer").wait_for()
    for width in (1440, 820, 390):
        page.set_viewport_size({"width": width, "height": 900})
        assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")


def test_a_wrong_age_keeps_the_last_result(server: Served, watch: Callable[..., Watched]) -> None:
    page = watch(f"{server.url}costs").page
    dearer = page.get_by_label("Service dearer with each year of age")
    dearer.wait_for()
    dearer.fill("a lot")
    dearer.press("Tab")
    page.get_by_text("is not a number").wait_for()
    assert page.get_by_text("costs least a year").count() == 1
