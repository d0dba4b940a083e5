"""The page "A year on" as its user meets it: in a browser, over an invented year of the demo."""

from collections.abc import Callable, Iterator

import pytest

from capex.views.server import notebook_folder

from .conftest import Served, Watched, served

PASTE = """([label, text]) => {
    const data = new DataTransfer();
    data.setData("text/plain", text);
    const node = document.querySelector(`[aria-label="${label}"]`);
    node.dispatchEvent(new ClipboardEvent("paste", { clipboardData: data, bubbles: true,
                                                     cancelable: true }));
}"""


@pytest.fixture(scope="module")
def server() -> Iterator[Served]:
    with served(notebook_folder()) as server:
        yield server


def test_the_answer_the_chart_and_a_file_are_there_and_nothing_leaves_the_machine(
    server: Served, watch: Callable[..., Watched]
) -> None:
    watched = watch(f"{server.url}year_on")
    page = watched.page
    before = watched.wait_for_charts(1)
    page.get_by_role("heading", name="What now?").wait_for()
    page.get_by_role("combobox", name="Figure").select_option("sales")
    watched.wait_for_new_drawing(before)
    page.get_by_text("Sales: ").first.wait_for()
    with page.expect_download() as handed:
        page.get_by_role("button", name="Download the re-estimated study").click()
    assert handed.value.suggested_filename == "quenlow_year_on_re_estimated.toml"
    for width in (1440, 820, 390):
        page.set_viewport_size({"width": width, "height": 900})
        assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
    watched.check_quiet()


def test_months_are_pasted_and_a_wrong_one_is_named_beside_its_cell(
    server: Served, watch: Callable[..., Watched]
) -> None:
    watched = watch(f"{server.url}year_on?study=quenlow")
    page = watched.page
    page.get_by_text("Enter at least one month").wait_for()
    page.evaluate(PASTE, ["Month (2027-01), 1", "2027-01\t130\t29500\n2027-02\t150\tx"])
    page.get_by_role("alert").filter(has_text="Row 2, Sales").wait_for()
    cell = page.get_by_label("Sales (USD), 2")
    cell.fill("33900")
    cell.press("Tab")
    before = watched.wait_for_charts(1)
    page.get_by_text("Orders: 280 in 2 months").wait_for()
    page.get_by_role("combobox", name="Figure").select_option("sales")
    watched.wait_for_new_drawing(before)
    watched.check_quiet()
