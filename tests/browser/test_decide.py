"""The decision page as its user meets it: in a browser, over the demo study."""

import re
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager
from io import BytesIO
from pathlib import Path

import pypdf
import pytest
from playwright.sync_api import Browser, Page, expect

from capex.study import data_folder
from capex.views.server import notebook_folder

from .conftest import Served, Watched, running, served, watching

CHARTS = 5


@pytest.fixture(scope="module")
def server() -> Iterator[Served]:
    with served(notebook_folder()) as server:
        yield server


@pytest.fixture(scope="module")
def watched(server: Served, browser: Browser) -> Iterator[Watched]:
    """One page for all tests that name it; each leaves it as the study has it, or resets it."""
    with watching(browser) as watch:
        page = watch(f"{server.url}decide")
        page.wait_for_charts(CHARTS)
        yield page


def reset(watched: Watched) -> None:
    before = watched.drawn_versions()
    watched.page.get_by_role("button", name="Reset all").click()
    watched.wait_for_new_drawing(before)
    watched.page.get_by_text(re.compile(r"stays first in \d+ of \d+ cases")).wait_for()


def pictures(watched: Watched) -> list[str]:
    return list(
        watched.page.eval_on_selector_all(
            ".capex-chart", "all => all.map(c => [...c.querySelectorAll('.main-svg')]"
            ".map(svg => svg.outerHTML).join(''))",
        )
    )  # fmt: skip


def sentence(watched: Watched) -> str:
    return watched.page.locator(".capex-sentence").inner_text()


def test_moving_a_slider_changes_verdict_and_every_chart_on_each_of_ten_openings(
    server: Served, watch: Callable[..., Watched]
) -> None:
    watched = watch(f"{server.url}decide")
    check_that_all_moves(watched)
    watched.page.get_by_text(re.compile(r"stays first in \d+ of \d+ cases")).wait_for()
    for _ in range(9):
        watched.page.reload()
        check_that_all_moves(watched)
    watched.check_quiet()


def check_that_all_moves(watched: Watched) -> None:
    """Move two sliders of a page that has just been opened."""
    before, first = watched.wait_for_charts(CHARTS), sentence(watched)
    drawn = pictures(watched)
    # A faster print engine shortens the order's stages, fills fewer hours and moves the money;
    # more orders then move what each job type leaves.
    watched.page.get_by_role("slider", name="Print rate").press("PageUp")
    watched.wait_for_new_drawing(before)
    between = watched.drawn_versions()
    watched.page.get_by_role("slider", name="Demand").press("PageUp")
    watched.wait_for_new_drawing(between)
    assert sentence(watched) != first
    changed = pictures(watched)
    assert [old != new for old, new in zip(drawn, changed, strict=True)] == [True] * CHARTS


def test_a_move_draws_charts_in_sight_in_one_go_and_the_others_after_them(
    server: Served, watch: Callable[..., Watched]
) -> None:
    watched = watch(f"{server.url}decide")
    watched.wait_for_charts(CHARTS)
    page = watched.page
    page.evaluate(
        """() => {
            let frame = 0;
            const count = () => { frame += 1; requestAnimationFrame(count); };
            count();
            window.drawings = [];
            const charts = [...document.querySelectorAll(".capex-chart")];
            addEventListener("capex:drawn", ({ target }) =>
                window.drawings.push([charts.indexOf(target), frame]));
        }"""
    )
    slider = page.get_by_role("slider", name="Print rate")
    for seen, place in (([0, 1], "first"), ([3, 4], "last")):  # both rows hold two side by side
        getattr(page.locator(".capex-chart"), place).scroll_into_view_if_needed()
        watched.redraw_seconds(slider, "ArrowRight")
        moves = []
        for key in ["ArrowLeft", "ArrowRight"] * 4:  # a busy machine may tear one move apart
            page.wait_for_timeout(1200)  # margins have been measured again
            page.evaluate("window.drawings.length = 0")
            watched.redraw_seconds(slider, key)
            moves.append(page.evaluate("window.drawings"))
        others = {*range(CHARTS)} - {*seen, 2}  # the one between the rows may be near
        # The sweep of volumes comes a while after a move; on a busy machine beside its drawings.
        whole = [move for move in moves if len(move) == CHARTS]
        assert len(whole) >= len(moves) // 2, moves
        for move in whole:
            order = [chart for chart, _ in move]
            assert sorted(order) == [*range(CHARTS)], moves
            assert max(map(order.index, seen)) < min(map(order.index, others)), moves
        frames = [dict(move) for move in whole]
        assert any(frame[seen[0]] == frame[seen[1]] for frame in frames), moves
        assert any(frame[seen[0]] < max(frame[each] for each in others) for frame in frames), moves


def test_keyboard_alone_moves_types_asks_and_resets(
    watched: Watched,
) -> None:
    before = watched.drawn_versions()
    page = watched.page
    page.get_by_role("combobox", name="Money in").focus()
    page.keyboard.press("Tab")
    field = page.get_by_role("textbox", name="Demand")
    page.keyboard.type("130")
    page.keyboard.press("Tab")
    watched.wait_for_new_drawing(before)
    assert page.evaluate("document.activeElement.type") == "range"
    assert page.get_by_role("slider", name="Demand").input_value() == "130"
    before = watched.drawn_versions()
    page.keyboard.press("ArrowLeft")
    watched.wait_for_new_drawing(before)
    assert field.input_value() == "129"
    page.get_by_text("Changed from the study: demand 129% of today.").wait_for()
    page.keyboard.press("Tab")
    page.keyboard.press("Enter")
    assert page.get_by_text("Orders of every type").is_visible()
    before = watched.drawn_versions()
    page.keyboard.press("Tab")
    page.keyboard.press("Enter")
    watched.wait_for_new_drawing(before)
    assert field.input_value() == "100"
    page.get_by_text("Changed from the study").wait_for(state="detached")  # words follow charts
    watched.check_quiet()


# What has the focus: its words, and whether it is in sight, marked, and on top of what is there.
FOCUSED = """async () => {
    for (const _ of [1, 2]) await new Promise(requestAnimationFrame); // laid out and scrolled
    const at = document.activeElement, box = at.getBoundingClientRect();
    const x = box.left + Math.min(box.width, 60) / 2, y = box.top + box.height / 2;
    const top = document.elementFromPoint(x, y);
    return {
        name: at.getAttribute("aria-label")
            ?? (at.labels?.[0]?.firstChild ?? at).textContent,
        kind: at.type ?? at.localName,
        page: at !== document.body,
        seen: box.width > 0 && top !== null && (at === top || at.contains(top) || top.contains(at)),
        marked: getComputedStyle(at).outlineStyle !== "none",
    };
}"""


def test_the_whole_page_is_walked_and_used_by_keyboard_alone(
    server: Served, watch: Callable[..., Watched]
) -> None:
    watched = watch(f"{server.url}decide")
    before = watched.wait_for_charts(CHARTS)
    page = watched.page
    page.locator(".capex-verdict .capex-term").first.wait_for()
    stops = []
    page.keyboard.press("Tab")
    while (focused := page.evaluate(FOCUSED))["page"] and len(stops) < 150:
        stops.append(focused)
        match focused["name"].strip(), focused["kind"]:
            case "Units", _:
                page.keyboard.press("ArrowDown")
                page.locator(".capex-cards").get_by_text("ft²").first.wait_for()
            case "Demand", "range":
                before = watched.drawn_versions()
                page.keyboard.press("ArrowRight")
                watched.wait_for_new_drawing(before)
            case "baseline" | "Baseline", "span":
                page.locator("#capex-term").get_by_text("The choice that the others").wait_for()
                page.keyboard.press("Escape")
                expect(page.locator("#capex-term")).to_be_hidden()
            case "Show the figures", _:
                page.keyboard.press("Enter")
                page.locator(".capex-chart-table:visible").wait_for()
                page.keyboard.press("Enter")
        page.keyboard.press("Tab")
    names = [stop["name"].strip() for stop in stops]
    assert names.count("Show the figures") == CHARTS
    assert [stop for stop in stops if not (stop["seen"] and stop["marked"])] == []
    order = ["Skip to the page", "Decide", "Terms", "Units", "Demand", "Show the figures", "Figure"]
    assert [name for name in dict.fromkeys(names) if name in order] == order
    assert sorted(names.index(name) for name in order) == [names.index(name) for name in order]
    watched.check_quiet()


def test_a_bad_value_is_said_beside_its_field_and_the_last_result_stays(
    watched: Watched,
) -> None:
    before, first = watched.wait_for_charts(CHARTS), sentence(watched)
    field = watched.page.get_by_role("textbox", name="Horizon")
    field.fill("-3")
    field.press("Enter")
    dial = watched.page.locator(".capex-dial", has=field)
    dial.get_by_role("alert").filter(has_text="'-3' must be at least 1").wait_for()
    assert field.get_attribute("aria-invalid") == "true"
    assert field.input_value() == "-3"
    assert sentence(watched) == first
    assert watched.drawn_versions() == before
    field.fill("5")
    field.press("Enter")
    watched.wait_for_new_drawing(before)
    assert field.get_attribute("aria-invalid") == "false"
    assert "over 5 years" in sentence(watched)
    reset(watched)


def test_a_typed_decimal_stands_in_its_field_and_on_paper_as_it_is_used(
    watched: Watched,
) -> None:
    before = watched.wait_for_charts(CHARTS)
    page = watched.page
    field = page.get_by_role("textbox", name="Demand")
    field.fill("112.35")
    field.press("Enter")
    watched.wait_for_new_drawing(before)
    assert field.input_value() == "112.35"
    page.get_by_text("Changed from the study: demand 112.35% of today.").wait_for()
    assert page.get_by_role("textbox", name="Laminated share").input_value() == "66.67"
    page.emulate_media(media="print")
    assert [field.is_visible(), field.input_value()] == [True, "112.35"]
    assert page.get_by_role("slider", name="Demand").count() == 0
    assert page.get_by_role("button", name="Reset all").count() == 0
    assert re.search(r"Printed on \d+ \w+ \d{4}", page.locator("header").inner_text())
    assert page.get_by_text("A planning estimate, not financial").count() == 1
    watched.check_quiet()
    paper = pypdf.PdfReader(BytesIO(page.pdf(format="A4")))
    sheets = [" ".join(sheet.extract_text().split()) for sheet in paper.pages]
    assert len(sheets) <= 8
    assert all(sheets)  # no empty sheet
    assert "demand 112.35% of today" in sheets[0]
    words = " ".join(sheets)
    for said in ("When is the money back?", "How long does one order take?", "Before you sign"):
        assert said in words
    for name in ("Keep things as they are", "Separate machines", "All-in-one", "Staged: all-in-"):
        assert name in words
    for control in ("Reset all", "Show the figures", "Terms", "Why this number?"):
        assert control not in words
    page.emulate_media(media="screen")
    reset(watched)


def test_page_fits_every_screen_and_a_phone_shows_short_cards_until_all_are_asked_for(
    server: Served, watch: Callable[..., Watched]
) -> None:
    watched = watch(f"{server.url}decide", width=390, height=844)
    watched.wait_for_charts(CHARTS)
    page = watched.page
    for width in (820, 1440, 390):
        page.set_viewport_size({"width": width, "height": 844})
        check_the_first_screen(page, width)
    before = watched.drawn_versions()
    floor = page.locator(".capex-cards").get_by_text("Floor space").first
    assert page.locator(".capex-cards").get_by_text("Fullest station").first.is_visible()
    assert not floor.is_visible()
    more = page.get_by_text("All figures of every choice")
    more.focus()
    page.keyboard.press("Enter")
    assert floor.is_visible()
    page.get_by_role("button", name="What if").click()
    page.get_by_role("slider", name="Demand").press("PageUp")
    watched.wait_for_new_drawing(before)
    assert floor.is_visible()


def test_units_and_currency_are_switched(server: Served, watch: Callable[..., Watched]) -> None:
    watched = watch(f"{server.url}decide")
    watched.wait_for_charts(CHARTS)
    page = watched.page
    assert page.locator(".capex-cards").get_by_text("m²").count() >= 4
    page.get_by_role("combobox", name="Units").select_option("us_customary")
    page.locator(".capex-cards").get_by_text("ft²").first.wait_for()
    page.get_by_role("combobox", name="Money in").select_option("EUR")
    page.get_by_text(re.compile(r"Shown in EUR at 0\.9 a USD")).wait_for()
    assert "€" in sentence(watched)
    assert page.get_by_role("textbox", name="Wage, EUR/h").input_value() == "19.80"
    watched.check_quiet()


def test_another_job_type_redraws_its_chart_only_and_a_move_names_every_choice_in_the_load_map(
    watched: Watched,
) -> None:
    before = watched.wait_for_charts(CHARTS)
    watched.page.get_by_role("combobox", name="Job type").select_option(label="Fleet badges")
    watched.page.get_by_text("One order of Fleet badges").wait_for()
    assert watched.drawn_versions()[:-1] == before[:-1]
    before = watched.drawn_versions()
    watched.page.get_by_role("slider", name="Print rate").press("ArrowRight")
    watched.wait_for_new_drawing(before)
    map_ = watched.page.locator("figure.capex-chart", has_text="Which station fills up")
    for name in ("Keep things as they are", "Separate machines", "All-in-one", "Staged: all-in"):
        assert map_.locator("svg .textpoint", has_text=name).count() >= 1, name
    reset(watched)


def check_the_first_screen(page: Page, width: int) -> None:
    """See that a page is no wider than its screen, and what comes first on it."""
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    tops = [
        page.locator(name).first.evaluate("node => node.getBoundingClientRect().top")
        for name in (".capex-verdict", ".capex-cards", ".capex-chart")
    ]
    assert tops == sorted(tops)
    assert tops[0] < 200
    slider = page.get_by_role("slider", name="Demand")
    if width < 1100:
        assert not slider.is_visible()
        page.get_by_role("button", name="What if").click()
    assert slider.is_visible()
    if width < 1100:  # the verdict stays in sight while a slider is moved
        sheet = page.locator(".capex-dials").evaluate("node => node.getBoundingClientRect().top")
        assert sheet > tops[0] + 100
        page.keyboard.press("Escape")
        assert not slider.is_visible()


def test_a_bad_study_shows_all_its_problems_and_no_traceback(
    tmp_path: Path, watch: Callable[..., Watched]
) -> None:
    study = tmp_path / "shop.toml"
    text = (data_folder() / "studies" / "quenlow.toml").read_text()
    text = text.replace('value = "0.075 m"', 'value = "-0.075 m"', 1)
    study.write_text(text.replace('value = "7 years"', 'value = "7 kg"', 1))
    with serving(study) as server:
        watched = watch(f"{server.url}decide")
        page = watched.page
        page.get_by_role("heading", name="This study cannot be used yet: 2 problems").wait_for()
        assert page.get_by_role("rowheader", name="money.horizon").is_visible()
        assert page.get_by_role("rowheader", name="jobs.sticker_sets.width").is_visible()
        assert "Traceback" not in page.content()
        watched.check_quiet()


def test_an_unknown_study_in_the_address_is_said(
    server: Served, watch: Callable[..., Watched]
) -> None:
    watched = watch(f"{server.url}decide?study=nothing")
    watched.page.get_by_text("must be one of: quenlow").wait_for()
    assert watched.foreign_requests == []


def serving(study: Path) -> AbstractContextManager[Served]:
    code = (
        "import sys, pathlib, capex.views.server as server\n"
        "server.serve(pathlib.Path(sys.argv[1]), open_browser=False)"
    )
    return running(["-c", code, str(study)], r"http://127\.0\.0\.1:\d+/")


def test_what_if_settings_are_offered_again_when_the_page_is_left_and_opened(
    server: Served, watch: Callable[..., Watched]
) -> None:
    watched = watch(f"{server.url}decide")
    before = watched.wait_for_charts(CHARTS)
    page = watched.page
    assert page.locator(".capex-dials-kept").is_hidden()
    assert page.get_by_text("kept in this tab only").is_hidden()
    page.get_by_role("slider", name="Demand").press("PageUp")
    watched.wait_for_new_drawing(before)
    page.get_by_text("Changed from the study: demand").wait_for()  # words come after charts
    moved, value = sentence(watched), page.get_by_role("slider", name="Demand").input_value()
    page.get_by_text("kept in this tab only").wait_for()
    page.goto(f"{server.url}terms")
    page.goto(f"{server.url}decide")
    before = watched.wait_for_charts(CHARTS)
    assert sentence(watched) != moved  # offered, not taken
    page.get_by_role("button", name="Go on with your what-if settings (demand)").click()
    watched.wait_for_new_drawing(before)
    assert page.get_by_role("slider", name="Demand").input_value() == value
    page.get_by_text("Changed from the study: demand").wait_for()
    assert sentence(watched) == moved
    reset(watched)
    page.reload()
    watched.wait_for_charts(CHARTS)
    assert page.locator(".capex-dials-kept").is_hidden()
    watched.check_quiet()


def test_the_keyboard_skips_the_controls_and_goes_back_to_the_list_of_pages(
    watched: Watched,
) -> None:
    page = watched.page
    page.locator(".capex-scheme").focus()
    page.keyboard.press("Tab")
    skip = page.get_by_role("link", name="Skip the what-if controls")
    expect(skip).to_be_focused()
    page.keyboard.press("Enter")
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.closest('.capex-page') !== null")
    page.locator("summary").last.focus()
    back = page.get_by_role("link", name="Back to the list of pages")
    for _ in range(8):  # what is open after the last chart, at most
        page.keyboard.press("Tab")
        if back.evaluate("each => each === document.activeElement"):
            break
    expect(back).to_be_focused()
    page.keyboard.press("Enter")
    page.keyboard.press("Tab")
    expect(page.get_by_role("navigation", name="Pages").get_by_role("link").first).to_be_focused()


def test_a_minus_stays_on_the_line_of_its_amount(watched: Watched) -> None:
    watched.page.evaluate(
        """() => {
            const said = document.createElement("p");
            said.id = "said-here";
            said.textContent = "It leaves (−$7,790 to −$40, ± $24).";
            document.querySelector(".capex-verdict").append(said);
        }"""
    )
    watched.page.wait_for_function(
        "() => document.getElementById('said-here').textContent"
        " === 'It leaves (−\\u2060$7,790 to −\\u2060$40, ±\\u00a0$24).'"
    )
    watched.page.locator("#said-here").evaluate("each => each.remove()")
