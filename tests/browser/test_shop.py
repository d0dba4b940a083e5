"""The page of the own shop as its owner meets it: enter, argue, save, come back."""

import re
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Locator, Page, expect

from capex.study import data_folder
from capex.views.server import notebook_folder
from tests.stress.processes import kill

from .conftest import Served, Watched, served
from .test_accessibility import AXE, complaints

PRICE = "machines.mid_all_in_one.price"


@pytest.fixture(scope="module")
def server(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("CAPEX_DATA", str(tmp_path_factory.mktemp("studies")))
        with served(notebook_folder()) as server:
            yield server


def opened(page: Page) -> Locator:
    """The line of the verdict, once it is worked out."""
    line = page.locator(".capex-shop-verdict:not([aria-busy])")
    line.wait_for()
    return line


def price_field(page: Page) -> Locator:
    group = page.locator('[data-path="machines.mid_all_in_one"]')
    if group.get_attribute("open") is None:
        group.locator("> summary").press("Enter")
    return page.locator(f'[data-path="{PRICE}"] input').first


def enter(field: Locator, text: str) -> None:
    field.fill(text)
    field.press("Tab")


def test_a_price_changes_the_verdict_is_saved_and_comes_back(
    server: Served, watch: Callable[..., Watched]
) -> None:
    watched = watch(f"{server.url}shop")
    page = watched.page
    before = opened(page).inner_text()
    enter(price_field(page), "400000")
    expect(page.locator(f'[data-path="{PRICE}"] .capex-form-tag')).to_have_text("entered")
    expect(page.locator(".capex-shop-verdict")).not_to_have_text(before)
    after = opened(page).inner_text()

    enter(price_field(page), "dear")
    expect(page.locator(f'[data-path="{PRICE}"]')).to_contain_text("does not begin with a number")
    expect(page.locator(".capex-shop-bar")).to_contain_text("last study without problems")
    expect(page.get_by_role("button", name="Save", exact=True)).to_be_disabled()
    page.get_by_role("button", name="Undo", exact=True).click()
    expect(price_field(page)).to_have_value("400000")

    enter(page.get_by_label("Note to this version"), "as quoted")
    page.get_by_role("button", name="Save", exact=True).click()
    page.get_by_text("Saved as version 1").wait_for()
    page.wait_for_url(re.compile(r"\?study=[0-9a-f]{16}$"))
    assert "study=" in (page.locator("a[data-page=decide]").get_attribute("href") or "")
    watched.check_quiet()

    again = watch(page.url).page
    assert opened(again).inner_text() == after
    assert price_field(again).input_value() == "400000"
    again.get_by_role("button", name="Save a new version").wait_for()


def close(page: Page) -> None:
    page.close()


def turn(page: Page) -> None:
    page.get_by_role("link", name="Decide", exact=True).click()
    page.wait_for_url("**/decide*")


@pytest.mark.parametrize("leave", [close, turn])
def test_unsaved_work_of_a_page_left_in_the_middle_is_offered_again(
    server: Served, watch: Callable[..., Watched], leave: Callable[[Page], None]
) -> None:
    page = watch(f"{server.url}shop").page
    opened(page)
    price = {close: "23456", turn: "24567"}[leave]
    price_field(page).fill(price)  # and no other field is gone to
    leave(page)
    page = watch(f"{server.url}shop").page
    opened(page)
    page.get_by_role("button", name="Go on with unsaved work of").first.click()
    expect(price_field(page)).to_have_value(price)


def test_unsaved_work_is_offered_again_when_its_session_was_killed(
    server: Served, watch: Callable[..., Watched]
) -> None:
    watched = watch(f"{server.url}shop")
    page = watched.page
    opened(page)
    enter(price_field(page), "25678")
    page.get_by_text("kept on this computer").wait_for()
    kill(server.process.pid, watched.kernel)
    page.get_by_role("alert").get_by_text("offered again").wait_for()
    expect(price_field(page)).not_to_be_editable()  # nobody would hear it
    expect(page.get_by_role("button", name="Undo", exact=True)).to_be_disabled()
    page.get_by_role("button", name="Reload the page").click()
    opened(page)
    page.get_by_role("button", name="Go on with unsaved work of").first.click()
    expect(price_field(page)).to_have_value("25678")


def test_a_server_that_does_not_answer_for_once_takes_no_field_away(
    server: Served, watch: Callable[..., Watched]
) -> None:
    page = watch(f"{server.url}shop").page
    opened(page)
    price = price_field(page)
    price.fill("15")
    page.route("**/api/kernels/*", lambda route: route.abort())
    page.get_by_role("alert").get_by_text("not running any more").wait_for()
    expect(price).to_be_focused()
    page.keyboard.type("00")
    expect(price).to_have_value("1500")
    page.unroute("**/api/kernels/*")
    page.get_by_role("alert").get_by_text("not running any more").wait_for(state="hidden")


def test_an_order_book_is_put_into_the_shop(server: Served, watch: Callable[..., Watched]) -> None:
    watched = watch(f"{server.url}shop?start=orders")
    page = watched.page
    opened(page)
    headings = page.locator(".capex-section-title").all_inner_texts()
    assert headings[0] == "Order book"
    with page.expect_file_chooser() as chooser:
        page.get_by_label("Upload an order book").click()
    chooser.value.set_files(data_folder() / "orders" / "quenlow_orders.csv")
    page.get_by_text("which account").wait_for()
    page.get_by_role("region", name=re.compile("Rows left out")).wait_for()
    page.get_by_role("button", name="Put into my shop").click()
    page.get_by_text("The order book is in your shop").wait_for()
    opened(page)
    watched.check_quiet()


def test_a_bad_drawing_is_said_at_its_place(
    server: Served, watch: Callable[..., Watched], tmp_path: Path
) -> None:
    page = watch(f"{server.url}shop").page
    opened(page)
    bad = tmp_path / "bad.svg"
    bad.write_text("<svg>")
    with page.expect_file_chooser() as chooser:
        page.get_by_label("Upload its cut line").click()
    chooser.value.set_files(bad)
    page.locator(".capex-transfer", has_text="bad.svg").locator(".capex-field-error").wait_for()


def test_cells_can_be_pasted_and_the_page_fits_every_screen(
    server: Served, watch: Callable[..., Watched]
) -> None:
    watched = watch(f"{server.url}shop")
    page = watched.page
    opened(page)
    cell = page.get_by_label("Price, 5", exact=True)
    cell.focus()
    page.evaluate(
        """() => {
            const data = new DataTransfer();
            data.setData("text/plain", "141\\t56\\n142\\t57");
            const paste = new ClipboardEvent("paste", { clipboardData: data, bubbles: true });
            document.activeElement.dispatchEvent(paste);
        }"""
    )
    expect(cell).to_have_value("141")
    expect(page.get_by_label("Bought in price, 6", exact=True)).to_have_value("57")
    price_field(page)
    page.locator(f'[data-path="{PRICE}"] .capex-form-tag').press("Enter")
    page.get_by_label("Low", exact=True).first.wait_for()
    page.locator('[data-path="alternatives.staged"] > summary').press("Enter")
    # a new name draws the form anew; what is being typed meanwhile stays
    page.locator('[data-path="machines.mid_all_in_one.name"] input').fill("One for both")
    page.keyboard.press("Tab")
    page.keyboard.type("2345")
    expect(page.locator('[data-path="machines.mid_all_in_one"] > summary')).to_contain_text("both")
    expect(price_field(page)).to_have_value("2345")
    page.keyboard.type("6")
    page.keyboard.press("Tab")
    # what a Tab has marked stays marked
    page.locator('[data-path="machines.mid_all_in_one.name"] input').fill("One for all")
    page.keyboard.press("Tab")
    expect(page.locator('[data-path="machines.mid_all_in_one"] > summary')).to_contain_text("all")
    page.keyboard.type("23457")
    expect(price_field(page)).to_have_value("23457")
    page.keyboard.press("Tab")
    expect(page.locator(f'[data-path="{PRICE}"] .capex-form-tag')).to_have_text("entered")
    expect(price_field(page)).to_have_value("23457")
    page.evaluate(AXE)
    assert complaints(page) == []
    for width in (1440, 820, 390):
        page.set_viewport_size({"width": width, "height": 900})
        assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
    watched.check_quiet()


def test_what_is_added_opens_in_view_with_the_focus_and_can_be_taken_back(
    server: Served, watch: Callable[..., Watched]
) -> None:
    watched = watch(f"{server.url}shop")
    page = watched.page
    opened(page)
    group = page.locator('[data-path="alternatives.separate"]').first
    group.locator("> summary").press("Enter")
    group.get_by_role("button", name=re.compile("^Copy: ")).click()
    added = page.locator('[data-path="alternatives.separate_machines_copy"]')
    expect(added).to_have_attribute("open", "")
    expect(added.locator("> summary")).to_be_in_viewport()
    first = added.locator('[data-path="alternatives.separate_machines_copy.name"] input')
    expect(first).to_be_focused()
    expect(first).to_have_value("Separate machines, copy")
    foot = page.locator(".capex-shop-foot")
    expect(foot).to_contain_text("Copied as “Separate machines, copy”. Undo takes it back.")
    expect(foot).to_contain_text("Not saved yet")
    expect(foot.get_by_role("button", name="Undo", exact=True)).to_be_in_viewport()
    foot.get_by_role("button", name="Undo", exact=True).click()
    expect(added).to_have_count(0)
    page.locator('[data-path="offers.all_in_one_cash"] > summary').first.press("Enter")
    page.get_by_role("button", name="Add: loan", exact=True).first.click()
    loan = page.locator('details[data-path="offers.all_in_one_cash.loan"]')
    expect(loan).to_have_attribute("open", "")
    expect(loan.locator("input, select").first).to_be_focused()
    foot.get_by_role("button", name="Undo", exact=True).click()
    watched.check_quiet()


def test_the_inputs_that_matter_most_keep_their_order_and_the_focus(
    server: Served, watch: Callable[..., Watched]
) -> None:
    watched = watch(f"{server.url}shop")
    page = watched.page
    opened(page)
    rows = page.locator(".capex-section:has(#most) [data-path]:has(> .capex-field-line)")
    before = rows.evaluate_all("each => each.map(one => one.dataset.path)")
    assert len(before) == 10
    place = before.index("levers.demand")
    row = rows.nth(place)
    verdict = opened(page).inner_text()
    row.locator("input").first.fill("1.25")
    page.keyboard.press("Tab")
    expect(page.locator(".capex-shop-verdict")).not_to_have_text(verdict)
    opened(page)
    page.get_by_role("button", name=re.compile("^Sort anew")).wait_for()
    assert rows.evaluate_all("each => each.map(one => one.dataset.path)") == before
    expect(row.locator(".capex-form-tag")).to_be_focused()
    page.keyboard.press("Tab")
    expect(rows.nth(place + 1).locator("input").first).to_be_focused()
    watched.check_quiet()
