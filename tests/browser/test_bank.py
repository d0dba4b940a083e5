"""The bank page as its user meets it: in a browser, over the demo study."""

from collections.abc import Callable, Iterator

import pytest

from capex.views.server import notebook_folder

from .conftest import Served, Watched, served


@pytest.fixture(scope="module")
def server() -> Iterator[Served]:
    with served(notebook_folder()) as server:
        yield server


def test_another_choice_changes_the_figures_and_nothing_leaves_the_machine(
    server: Served, watch: Callable[..., Watched]
) -> None:
    watched = watch(f"{server.url}bank")
    page = watched.page
    for name in ("The request", "Repayment", "If things go worse", "What this rests on",
                 "Lease, loan or cash", "The loan by year and by month"):  # fmt: skip
        page.get_by_role("heading", name=name, exact=True).wait_for()
    stressed = page.get_by_role("region", name="Stress cases: All-in-one")
    stressed.wait_for()
    assert stressed.get_by_role("row").count() == 7
    page.get_by_text("in every year from").first.wait_for()
    page.get_by_label("Choice", exact=True).first.select_option("separate")
    page.get_by_role("region", name="Stress cases: Separate machines").wait_for()
    page.get_by_role("region", name="Repayment by year: Separate machines").wait_for()
    page.get_by_text("Separate machines: $23,040 borrowed").wait_for()
    page.get_by_label("Loan", exact=True).select_option("roll_printer_loan")
    page.get_by_text("Roll printer on a dealer's flat-rate loan: $18,000 borrowed").wait_for()
    page.get_by_label("Machine", exact=True).select_option("mid_roll_printer")
    page.get_by_role("region", name="Offers side by side: Mid roll printer").wait_for()
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")


def test_an_offer_is_chosen_in_place_and_a_choice_without_a_loan_has_no_chart_of_it(
    server: Served, watch: Callable[..., Watched]
) -> None:
    page = watch(f"{server.url}bank").page
    paid = page.get_by_label("Mid all-in-one: paid by")
    paid.select_option("all_in_one_lease")
    lessor = page.get_by_role("row", name="Of it by the lessor")
    lessor.wait_for()
    choice = page.get_by_label("Choice", exact=True).first
    choice.select_option("separate")
    page.get_by_label("Mid roll printer: paid by").wait_for()
    lessor.wait_for(state="detached")
    owed = page.get_by_text("What is owed, and what would the machines fetch?")
    owed.wait_for()
    choice.select_option("keep")
    page.get_by_text("so there is no loan to value.").wait_for()
    owed.wait_for(state="hidden")
    choice.select_option("all_in_one")
    lessor.wait_for()
    assert paid.input_value() == "all_in_one_lease"


def test_paper_shows_the_months_of_a_loan_and_ticks_in_words_and_no_empty_form(
    server: Served, watch: Callable[..., Watched]
) -> None:
    page = watch(f"{server.url}bank").page
    page.get_by_role("region", name="Repayment by year").wait_for()
    page.get_by_role("heading", name="Why this number?").wait_for()
    months = page.get_by_role("region", name="Figures: What is repaid each month")
    assert months.count() == 0
    page.emulate_media(media="print")
    page.evaluate("dispatchEvent(new Event('beforeprint'))")
    assert months.get_by_role("row").count() > 12
    assert not page.get_by_role("heading", name="Why this number?").is_visible()
    assert page.get_by_role("heading", name="What a lender sees").is_visible()
    tick = page.get_by_label("Cash after tax", exact=True)
    said = "tick => getComputedStyle(tick, '::before').content"
    assert tick.evaluate(said) == '"yes"'
    page.emulate_media(media="screen")
    page.evaluate("dispatchEvent(new Event('afterprint'))")
    assert months.count() == 0
    assert page.get_by_role("heading", name="Why this number?").is_visible()


def test_a_table_wider_than_a_phone_scrolls_and_shades_the_edge_where_it_goes_on(
    server: Served, watch: Callable[..., Watched]
) -> None:
    page = watch(f"{server.url}bank", width=390, height=844).page
    table = page.get_by_role("region", name="Offers side by side")
    table.wait_for()
    assert table.evaluate("each => each.scrollWidth > each.clientWidth")
    layers = table.evaluate("each => getComputedStyle(each).backgroundAttachment")
    assert layers == "local, local, scroll, scroll"


def test_a_figure_can_be_opened(server: Served, watch: Callable[..., Watched]) -> None:
    page = watch(f"{server.url}decide").page
    page.get_by_role("heading", name="Why this number?").wait_for()
    page.get_by_label("Figure", exact=True).select_option("lowest_cash")
    page.get_by_text("inputs stand behind it").wait_for()
    lines = page.get_by_role("region", name="Ledger lines, largest first")
    assert lines.get_by_role("row", name="Purchase of machines").count() == 1


def test_documents_are_handed_out(server: Served, watch: Callable[..., Watched]) -> None:
    watched = watch(f"{server.url}bank")
    page = watched.page
    page.get_by_role("textbox", name="Address").fill("1 Quay Street")
    page.get_by_role("textbox", name="Address").press("Enter")
    made = {
        "Floor plan (PDF)": "quenlow_graphics_floor_plan.pdf",
        "Workbook with live formulas (XLSX)": "quenlow_graphics_workbook.xlsx",
        "Document for the lender (PDF)": "quenlow_graphics_request.pdf",
    }
    for label, name in made.items():
        with page.expect_download() as handed:
            page.get_by_role("button", name=label).click()
        assert handed.value.suggested_filename == name
        assert handed.value.path().read_bytes().startswith((b"%PDF", b"PK"))
    page.get_by_role("button", name="Document for the lender (PDF)").wait_for()
    watched.check_quiet()
