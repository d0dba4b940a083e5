"""The shop floor page as its user meets it: in a browser, over the demo study."""

import re
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, expect

from capex.study import StudyFile, data_folder
from capex.views.server import notebook_folder

from .conftest import Served, Watched, served, watching
from .test_decide import serving

SECTIONS = ("One batch", "A year of orders", "Your own stopwatch", "The room")


@pytest.fixture(scope="module")
def server() -> Iterator[Served]:
    with served(notebook_folder()) as server:
        yield server


@pytest.fixture(scope="module")
def page(server: Served, browser: Browser) -> Iterator[Watched]:
    """One page for all tests that name it: sections are apart, and a section's tests in order."""
    with watching(browser) as watch:
        watched = watch(f"{server.url}shopfloor")
        for name in SECTIONS:
            watched.page.get_by_role("heading", name=name, exact=True).wait_for()
        yield watched


def reading(watched: Watched, title: str) -> str:
    chart = watched.page.locator(".capex-chart", has_text=title)
    chart.locator("[data-drawn], :scope").first.wait_for()
    return chart.locator(".capex-chart-reading").inner_text()


def version(watched: Watched, title: str) -> int:
    chart = watched.page.locator(".capex-chart", has_text=title)
    return int(chart.evaluate("chart => +(chart.dataset.version ?? 0)"))


def wait_for_version_after(watched: Watched, title: str, before: int) -> None:
    watched.page.wait_for_function(
        "([title, before]) => [...document.querySelectorAll('.capex-chart')].some(chart =>"
        " chart.querySelector('.capex-chart-title').textContent === title"
        " && +(chart.dataset.version ?? 0) > before)",
        arg=[title, before],
    )


def test_pages_lead_to_each_other_and_keep_the_study(
    server: Served, watch: Callable[..., Watched]
) -> None:
    watched = watch(f"{server.url}decide?study=quenlow")
    links = watched.page.get_by_role("navigation", name="Pages")
    assert links.get_by_role("link", name="Decide").get_attribute("aria-current") == "page"
    other = links.get_by_role("link", name="Shop floor")
    other.focus()
    watched.page.keyboard.press("Enter")
    watched.page.wait_for_url(re.compile(r"/shopfloor\?study=quenlow$"))
    watched.page.get_by_role("heading", name="One batch", exact=True).wait_for()
    assert (
        watched.page.get_by_role("link", name="Shop floor").get_attribute("aria-current") == "page"
    )
    watched.check_quiet()


def test_another_batch_changes_cards_timelines_and_gap(page: Watched) -> None:
    times, gap = "Who works on what, and who waits?", "Where does the gap come from?"
    for title in (times, gap):
        wait_for_version_after(page, title, 0)
    before = {title: (version(page, title), reading(page, title)) for title in (times, gap)}
    cards = page.page.locator(".capex-cards").first
    said = cards.inner_text()
    field = page.page.get_by_role("textbox", name="Orders, Banners")
    field.fill("3")
    field.press("Tab")
    for title, (number, words) in before.items():
        wait_for_version_after(page, title, number)
        assert reading(page, title) != words
    assert cards.inner_text() != said
    page.check_quiet()


def test_an_entry_that_waits_is_not_written_over_by_the_answer_to_an_earlier_one(
    page: Watched,
) -> None:
    wait_for_version_after(page, "Who works on what, and who waits?", 0)
    for field in (
        page.page.get_by_role("textbox", name="The batch comes"),
        page.page.get_by_role("textbox", name="Orders, Banners"),
    ):
        field.evaluate(
            """node => {
                window.seen = [];
                const type = value => {
                    node.value = value;
                    node.dispatchEvent(new Event("input", { bubbles: true }));
                    node.dispatchEvent(new Event("change", { bubbles: true }));
                };
                type("abc");
                type("2");
                window.looking = setInterval(() => window.seen.push(node.value), 5);
            }"""
        )
        expect(field).to_have_attribute("aria-invalid", "false")
        page.page.wait_for_timeout(1500)
        page.page.evaluate("clearInterval(window.looking)")
        assert set(page.page.evaluate("window.seen")) == {"2"}
        assert field.get_attribute("aria-invalid") == "false"
    page.check_quiet()


@pytest.mark.parametrize("name", ["The batch comes", "Orders, Banners"])
def test_what_is_being_typed_is_not_written_over(page: Watched, name: str) -> None:
    field = page.page.get_by_role("textbox", name=name)
    shown = field.input_value()
    field.fill("4")
    page.page.get_by_role("textbox", name="Pieces an order, Banners").evaluate(
        """async node => {
            node.value = String(Number(node.value) + 1);
            node.dispatchEvent(new Event("change", { bubbles: true }));
            const grid = node.closest(".capex-grid-holder");
            while (grid.ariaBusy) await new Promise(resolve => setTimeout(resolve, 10));
        }"""
    )
    assert field.input_value() == "4"
    field.fill(shown)
    field.blur()
    page.check_quiet()


def test_a_bad_batch_is_said_at_its_field_and_the_last_one_stays(page: Watched) -> None:
    times = "Who works on what, and who waits?"
    wait_for_version_after(page, times, 0)
    before = reading(page, times)
    field = page.page.get_by_role("textbox", name="Orders, Banners")
    field.fill("many")
    field.press("Tab")
    page.page.get_by_role("alert").filter(has_text="'many' is not a number").wait_for()
    assert field.get_attribute("aria-invalid") == "true"
    assert field.input_value() == "many"
    assert reading(page, times) == before
    field.fill("1")
    field.press("Tab")
    page.page.get_by_role("checkbox", name="Laminated, Banners").check()
    page.page.get_by_role("alert").filter(has_text="needs a print and a laminate").wait_for()
    page.check_quiet()


def test_another_year_and_breakdown_change_every_chart_of_the_year(page: Watched) -> None:
    titles = (
        "How long do orders take?",
        "How many orders wait, hour by hour?",
        "What piles up, and after a breakdown?",
        "What do machines and people do all day?",
    )
    for title in titles:
        wait_for_version_after(page, title, 0)
    before = {title: (version(page, title), reading(page, title)) for title in titles}
    page.page.get_by_role("textbox", name="Seed").fill("2")
    page.page.get_by_role("textbox", name="Seed").press("Tab")
    page.page.get_by_text("Year 1, seed 2.").wait_for()
    for title, (number, words) in before.items():
        wait_for_version_after(page, title, number)
        assert reading(page, title) != words
    backlog = titles[2]
    assert "The printer stands for 3 days" in reading(page, backlog)
    number = version(page, backlog)
    page.page.get_by_role("combobox", name="What breaks down").select_option("cut")
    wait_for_version_after(page, backlog, number)
    assert "The knife stands for 3 days" in reading(page, backlog)
    number = version(page, titles[0])
    page.page.get_by_role("combobox", name="Job type").select_option(label="Banners")
    wait_for_version_after(page, titles[0], number)
    assert "Nine in ten of Banners" in reading(page, titles[0])
    field = page.page.get_by_role("textbox", name="Year after the decision")
    field.fill("99")
    field.press("Tab")
    page.page.get_by_role("alert").filter(has_text="whole number from 1 to 7").wait_for()
    assert "Nine in ten of Banners" in reading(page, titles[0])
    page.check_quiet()


def test_a_machine_is_moved_in_the_room(page: Watched) -> None:
    watched = page.page
    plan = watched.locator(".capex-plans article", has_text="Separate machines")
    plan.get_by_text("Places found by search.").wait_for()
    drawn = plan.locator("svg").last.inner_html()
    field = watched.get_by_role("textbox", name=re.compile("From the left wall .*Mid roll printer"))
    field.fill("7.9")
    field.press("Tab")
    plan.get_by_text("Placed by hand.").wait_for()
    assert plan.locator("svg").last.inner_html() != drawn
    assert plan.get_by_text("✕ fails").first.is_visible()
    field.fill("somewhere")
    field.press("Tab")
    watched.get_by_role("alert").filter(has_text="does not begin with a number").wait_for()
    watched.get_by_role("button", name="Find places for me").click()
    plan.get_by_text("Places found by search.").wait_for()
    page.check_quiet()


def test_a_row_is_added_without_building_the_table_anew(page: Watched) -> None:
    watched = page.page
    holder = watched.locator(".capex-grid-growing", has_text="Readings")
    holder.evaluate("node => { node.querySelector('input').dataset.kept = 'yes'; }")
    rows = holder.locator("tbody tr:not(.capex-grid-error)")
    count = rows.count()
    holder.get_by_role("button", name="Add a row").click()
    expect(rows).to_have_count(count + 1)
    expect(holder.locator("[data-kept]")).to_have_count(1)
    expect(holder).not_to_have_attribute("aria-busy", "true")
    page.check_quiet()


def test_a_file_that_is_too_large_or_no_table_is_refused_in_the_page(
    page: Watched, tmp_path: Path
) -> None:
    watched = page.page
    for name, body, said in (
        ("huge.csv", b"x" * 9_000_000, "at most 8 MB"),
        ("poem.csv", b"roses are red\nviolets\n", "has no heading of readings"),
    ):
        path = tmp_path / name
        path.write_bytes(body)
        with watched.expect_file_chooser() as chooser:
            watched.get_by_label("Upload readings").click()
        chooser.value.set_files(path)
        watched.get_by_role("alert").filter(has_text=said).wait_for()
    watched.get_by_text("quenlow_trial.csv", exact=True).wait_for()
    page.check_quiet()


def test_readings_are_uploaded_edited_and_handed_back_as_a_study(
    page: Watched, tmp_path: Path
) -> None:
    watched = page.page
    shipped = data_folder() / "trials" / "quenlow_trial.csv"
    lines = shipped.read_text().splitlines()
    upload = tmp_path / "mine.csv"
    upload.write_text("\n".join(lines[:120]))
    fit = "Do the readings fit the model?"
    wait_for_version_after(page, fit, 0)
    number = version(page, fit)
    with watched.expect_file_chooser() as chooser:
        watched.get_by_label("Upload readings").click()
    chooser.value.set_files(upload)
    watched.get_by_text("mine.csv", exact=True).wait_for()
    wait_for_version_after(page, fit, number)
    words = reading(page, fit)
    # a run that counts, of what is shown first
    row = next(n for n, line in enumerate(lines, start=1) if "_in_one,print,wide print,2" in line)
    cell = watched.get_by_role("textbox", name=f"time [s], {row}", exact=True)
    cell.fill("-3")
    cell.press("Tab")
    watched.get_by_role("alert").filter(has_text=f"Row {row}: time '-3' must be").wait_for()
    cell.fill("400")
    cell.press("Tab")
    shown = watched.locator(".capex-chart", has_text=fit).locator(".capex-chart-reading")
    expect(shown).not_to_have_text(words)
    with watched.expect_download() as download:
        watched.get_by_role("button", name="Download the study with these values").click()
    changed = StudyFile.read(download.value.path()).study
    assert "measured" in {quantity.source for _, quantity in changed.quantities()}
    page.check_quiet()


def test_measured_values_go_into_the_user_s_own_file(
    tmp_path: Path, watch: Callable[..., Watched]
) -> None:
    study = tmp_path / "quenlow.toml"
    study.write_text((data_folder() / "studies" / "quenlow.toml").read_text())
    with serving(study) as server:
        watched = watch(f"{server.url}shopfloor")
        page = watched.page
        page.get_by_text("Upload readings, or type them into the table.").wait_for()
        with page.expect_file_chooser() as chooser:
            page.get_by_label("Upload readings").click()
        chooser.value.set_files(data_folder() / "trials" / "quenlow_trial.csv")
        page.get_by_role("button", name="Put into the study").click()
        page.get_by_text(f"Written to {study}").wait_for()
        found = StudyFile.read(study)
        assert "# Study of Quenlow Graphics" in found.text
        speed = found.study.quantity("machines.mid_all_in_one.printing.carriage_speed")
        assert speed.source == "measured"
        assert speed.on is not None
        watched.check_quiet()


def test_page_fits_its_width(page: Watched) -> None:
    for width in (390, 820, 1440):
        page.page.set_viewport_size({"width": width, "height": 844})
        assert page.page.evaluate("document.documentElement.scrollWidth") <= width
