"""The first page, versions and comparisons as their user meets them, and studies in addresses."""

import re
import urllib.error
import urllib.parse
import urllib.request
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Page, expect

from capex.study import StudyFile, data_folder
from capex.study.saved_studies import SavedStudies

from .conftest import REPOSITORY, Served, Watched, served
from .test_accessibility import AXE, complaints

TEXT = StudyFile.read(data_folder() / "studies" / "quenlow.toml").text
DEARER = StudyFile.parsed(TEXT).changed({"shop.people.wage": "31 USD/h"}).text
BAD = "<img src=x onerror=alert(1)>"
WAIT = 120_000  # as every other wait here [ms]


@pytest.fixture(scope="module")
def store(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("data") / "studies.sqlite"


@pytest.fixture(scope="module")
def server(store: Path) -> Iterator[Served]:
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("CAPEX_DATA", str(store.parent))
        patch.delenv("CAPEX_STUDY", raising=False)
        with served(REPOSITORY / "notebooks") as server:
            yield server


@pytest.fixture
def saved(store: Path) -> SavedStudies:
    for path in store.parent.glob("studies.sqlite*"):
        path.unlink()
    return SavedStudies(store)


def answer(address: str) -> tuple[int, str]:
    try:
        with urllib.request.urlopen(address) as found:
            return found.status, found.read().decode()
    except urllib.error.HTTPError as refused:
        with refused:
            return refused.code, refused.read().decode()


def upload(page: Page, name: str, body: bytes) -> None:
    page.get_by_label("Study file").set_input_files(
        {"name": name, "mimeType": "application/toml", "buffer": body}
    )
    page.get_by_role("button", name="Open", exact=True).click()


def test_first_run_leads_to_the_demo(
    server: Served, watch: Callable[..., Watched], saved: SavedStudies
) -> None:
    watched = watch(server.url)
    page = watched.page
    page.get_by_role("heading", name="Three steps to a decision").wait_for()
    page.get_by_text("licensed accountant").wait_for()
    page.get_by_role("listitem").filter(has_text="See the demo").get_by_role(
        "link", name="Decide"
    ).click()
    page.locator("#rendered_cells h1").first.wait_for()
    navigation = page.get_by_role("navigation", name="Pages")
    expect(navigation.get_by_role("link", name="Bank")).to_have_attribute(
        "href", re.compile(r"/bank\?study=quenlow$")
    )
    navigation.get_by_role("link", name="Studies").click()
    page.get_by_role("heading", name="Three steps to a decision").wait_for()
    watched.check_quiet()


def test_a_file_is_opened_duplicated_renamed_removed_and_brought_back(
    server: Served, watch: Callable[..., Watched], saved: SavedStudies
) -> None:
    watched = watch(server.url)
    page = watched.page
    upload(page, "own.toml", DEARER.encode())
    page.get_by_text("Saved as a new study.").wait_for()
    (study,) = saved.studies()
    assert (study.name, study.note) == ("Quenlow Graphics", "from own.toml")
    assert saved.text(study.key) == DEARER
    page.get_by_text("Duplicate, rename or remove").click()
    page.get_by_label("Name of the copy").fill("What if")
    page.get_by_role("button", name="Duplicate").click()
    page.get_by_role("heading", name="What if").wait_for()
    assert {one.name for one in saved.studies()} == {"Quenlow Graphics", "What if"}
    item = page.get_by_role("listitem").filter(has=page.get_by_role("heading", name="What if"))
    item.get_by_text("Duplicate, rename or remove").click()
    item.get_by_label("New name").fill("Cheaper ink")
    item.get_by_role("button", name="Rename").click()
    item = page.get_by_role("listitem").filter(has=page.get_by_role("heading", name="Cheaper ink"))
    item.get_by_text("Duplicate, rename or remove").click()
    item.get_by_role("button", name="Remove").click()
    page.get_by_text("Removed from the list").wait_for()
    assert [one.name for one in saved.studies()] == ["Quenlow Graphics"]
    page.get_by_role("button", name="Bring it back").click()
    page.get_by_role("heading", name="Cheaper ink").wait_for()
    with page.expect_download() as download:
        page.get_by_role("link", name=re.compile("Save as a file.*Quenlow Graphics")).click()
    assert download.value.suggested_filename == "quenlow-graphics-version-1.toml"
    said, _, kept = Path(download.value.path()).read_text().partition("\n")
    assert (said, kept) == ("# Saved as: Quenlow Graphics", DEARER)
    watched.check_quiet()


@pytest.mark.parametrize(
    ("body", "said"),
    [
        (TEXT.replace('currency = "USD"', 'currency = "usd"').encode(), "cannot be used yet"),
        (b"\xff\xfe\x00", "is not UTF-8 text"),
        (b"no table", "cannot be read"),
        (f"# {'x' * 16_000_000}".encode(), "at most 16 MB"),
    ],
    ids=["problems", "bytes", "no TOML", "too large"],
)
def test_a_bad_file_is_said_in_words_and_nothing_changes(
    server: Served, watch: Callable[..., Watched], saved: SavedStudies, body: bytes, said: str
) -> None:
    saved.add("Ours", TEXT)
    page = watch(server.url).page
    page.locator("[data-limit]").evaluate("field => { field.dataset.limit = 1e9; }")
    upload(page, "bad.toml", body)
    page.get_by_role("alert").get_by_text(said).first.wait_for()
    assert [study.name for study in saved.studies()] == ["Ours"]
    page.get_by_role("heading", name="Ours").wait_for()


def test_a_file_that_is_too_large_is_not_sent(
    server: Served, watch: Callable[..., Watched], saved: SavedStudies
) -> None:
    page = watch(server.url).page
    upload(page, "large.toml", b"#" * 16_000_001)
    found = page.get_by_label("Study file").evaluate("field => field.validationMessage")
    assert "at most 16 MB" in found
    assert page.url == server.url


def test_what_a_user_wrote_never_becomes_part_of_the_page(
    server: Served, watch: Callable[..., Watched], saved: SavedStudies
) -> None:
    key = saved.add(BAD, TEXT, note=BAD).study
    saved.save(key, DEARER.replace('shop_name = "Quenlow Graphics"', f"shop_name = '{BAD}'"), BAD)
    saved.duplicate(key, f"{BAD} again")
    saved.keep(BAD, TEXT, key, 1)
    for address in (
        "", f"studies/{key}", f"compare?one={key}@1&other={key}", f"decide?study={key}@1",
        f"decide?study={urllib.parse.quote(BAD)}", f"?done={BAD}&study={BAD}",
    ):  # fmt: skip
        page = watch(server.url + address).page
        page.locator("h1").first.wait_for()
        assert page.locator("img, [onerror]").count() == 0, address
        assert address.startswith("?") or BAD in page.content().replace("&lt;", "<").replace(
            "&gt;", ">"
        ), address


def test_versions_are_restored_opened_and_compared(
    server: Served, watch: Callable[..., Watched], saved: SavedStudies
) -> None:
    key = saved.add("Our shop", TEXT, "as it is").study
    saved.save(key, DEARER, "new wage")
    watched = watch(f"{server.url}studies/{key}")
    page = watched.page
    page.get_by_role("button", name="Compare").click()
    page.get_by_role("heading", name="1 entry differs").wait_for()
    row = page.get_by_role("row").filter(has=page.locator("th[title='shop.people.wage']"))
    expect(row).to_contain_text("31 USD/h (entered)")
    assert page.get_by_text("over 7 years").count() == 2
    page.go_back()
    page.get_by_role("button", name="Restore version 1").click()
    page.get_by_text("saved once more as the newest version").wait_for()
    assert saved.text(key) == TEXT
    assert [version.number for version in saved.versions(key)] == [3, 2, 1]
    version = page.get_by_role("listitem").filter(has=page.get_by_role("heading", name="Version 2"))
    version.get_by_role("link", name="Costs and prices").click()
    page.get_by_text("A newer version (3) was saved today at").wait_for()
    expect(page.locator("#capex-study")).to_have_text("Our shop, version 2", timeout=WAIT)
    page.get_by_role("link", name="Open it").click()
    page.get_by_role("link", name="Our shop, version 3").wait_for()
    watched.check_quiet()


def test_a_page_is_told_of_a_version_saved_elsewhere(
    server: Served, watch: Callable[..., Watched], saved: SavedStudies
) -> None:
    key = saved.add("Our shop", TEXT).study
    watched = watch(f"{server.url}costs?study={key}")
    page = watched.page
    page.get_by_role("link", name="Our shop, version 1").wait_for()
    assert page.get_by_text("A newer version").is_hidden()
    saved.save(key, DEARER)
    page.evaluate("document.dispatchEvent(new Event('visibilitychange'))")
    page.get_by_text("A newer version (2) was saved today at").wait_for()
    page.evaluate(f"dispatchEvent(new CustomEvent('capex:study', {{detail: '{key}@2'}}))")
    page.get_by_role("link", name="Our shop, version 2").wait_for()
    expect(page.locator("#capex-newer")).to_be_hidden(timeout=WAIT)
    watched.check_quiet()


@pytest.mark.parametrize("name", ["decide", "year_on"])
def test_every_page_takes_a_version_of_a_saved_study(
    server: Served, watch: Callable[..., Watched], saved: SavedStudies, name: str
) -> None:
    mine = TEXT.replace("Quenlow Graphics", "Harbour Signs")
    key = saved.add("Ours", mine).study
    saved.save(key, TEXT)
    page = watch(f"{server.url}{name}?study={key}@1").page
    expect(page.locator("#capex-shop")).to_have_text("Harbour Signs", timeout=WAIT)
    for link in page.get_by_role("navigation", name="Pages").get_by_role("link").all()[1:]:
        assert (link.get_attribute("href") or "").endswith(f"?study={key}%401")


def tabs(page: Page) -> set[str]:
    """What the addresses of all pages say of the study."""
    links = page.get_by_role("navigation", name="Pages").get_by_role("link").all()
    return {(link.get_attribute("href") or "").partition("?")[2] for link in links}


def test_the_tabs_keep_the_study_that_was_opened_last(
    server: Served, watch: Callable[..., Watched], saved: SavedStudies
) -> None:
    key = saved.add("Our shop", TEXT).study
    saved.save(key, DEARER)
    page = watch(f"{server.url}costs?study={key}").page
    page.get_by_role("link", name="Our shop, version 2").wait_for()
    expect(page.locator("#capex-demo")).to_be_hidden()
    page.get_by_role("navigation", name="Pages").get_by_role("link", name="Studies").click()
    page.get_by_role("link", name="Last opened: Our shop, version 2").wait_for()
    assert tabs(page) == {f"study={key}"}
    page.get_by_role("link", name="Its 2 versions").click()
    page.get_by_role("button", name="Compare").click()
    page.get_by_role("heading", name="1 entry differs").wait_for()
    assert f"study={key}" in page.url
    page.get_by_role("link", name="All studies").click()
    page.get_by_role("link", name="Last opened: Our shop, version 2").wait_for()
    page.goto(f"{server.url}terms")  # an address that names none: the tab remembers
    page.get_by_role("link", name="Last opened: Our shop, version 2").wait_for()
    assert tabs(page) == {f"study={key}"}
    saved.remove(key)
    page.reload()
    expect(page.locator("nav a[data-page=decide]")).to_have_attribute("href", "/decide")


@pytest.mark.parametrize("address", ["bank", "bank?study=quenlow"])
def test_the_demo_is_called_one_beside_its_name(
    server: Served, watch: Callable[..., Watched], saved: SavedStudies, address: str
) -> None:
    page = watch(f"{server.url}{address}").page
    expect(page.locator("#capex-shop")).to_have_text("Quenlow Graphics", timeout=WAIT)
    for width in (1440, 1280, 390):
        page.set_viewport_size({"width": width, "height": 900})
        demo = page.get_by_text("Demo: an invented shop", exact=True)
        expect(demo).to_be_visible()
        assert demo.evaluate("each => each.scrollWidth <= each.clientWidth + 1"), width
        places = page.locator(".capex-header > :visible:not(nav)").evaluate_all(
            "all => all.map(each => each.getBoundingClientRect()).map(at => [at.top, at.bottom])"
        )
        assert max(top for top, _ in places) < min(bottom for _, bottom in places), width


def test_the_header_is_one_line_with_a_study_however_long_its_name(
    server: Served, watch: Callable[..., Watched], saved: SavedStudies
) -> None:
    key = saved.add("Our shop " + "long " * 20, TEXT).study
    page = watch(f"{server.url}studies/{key}").page
    page.locator("#capex-study:not([hidden])").wait_for()
    for width in (1920, 1440, 1280):
        page.set_viewport_size({"width": width, "height": 900})
        boxes = page.locator(".capex-header > :visible").evaluate_all(
            "all => all.map(each => each.getBoundingClientRect()).map(at => [at.top, at.bottom])"
        )
        assert max(top for top, _ in boxes) < min(bottom for _, bottom in boxes), width
    page.set_viewport_size({"width": 390, "height": 900})
    expect(page.locator(".capex-pages")).to_have_attribute("data-more", re.compile("right"))
    first = page.locator(".capex-header > :visible:not(nav)").evaluate_all(
        "all => all.map(each => each.getBoundingClientRect()).map(at => [at.top, at.bottom])"
    )
    assert max(top for top, _ in first) < min(bottom for _, bottom in first)


def test_a_study_that_is_not_there_is_said(
    server: Served, watch: Callable[..., Watched], saved: SavedStudies
) -> None:
    key = saved.add("Ours", TEXT).study
    for name, said in ((f"{key}@2", "known: 1 to 1"), ("0" * 16, "is not a saved study"),
                       ("../x", "must be one of"), ("%00", "saved study"),
                       ("%20", "saved study")):  # fmt: skip
        status, text = answer(f"{server.url}bank?study={name}")
        assert (status, said in text) == (404, True), text
    page = watch(f"{server.url}decide?study={key}@2").page
    page.get_by_role("heading", name="No such study").wait_for()
    page.get_by_role("link", name="To your studies").click()
    page.get_by_role("heading", name="Ours").wait_for()


def test_unsaved_work_is_offered_and_discarded(
    server: Served, watch: Callable[..., Watched], saved: SavedStudies
) -> None:
    key = saved.add("Our shop", TEXT).study
    saved.keep("page one", DEARER, key, 1)
    page = watch(server.url).page
    page.get_by_text("changed from version 1").wait_for()
    with page.expect_download() as download:
        page.get_by_role("link", name="Download it").click()
    assert Path(download.value.path()).read_text() == DEARER
    page.get_by_role("button", name="Discard it").click()
    page.get_by_text("The unsaved work was discarded.").wait_for()
    assert saved.drafts() == ()


def test_forms_of_other_sites_are_refused(server: Served, saved: SavedStudies) -> None:
    key = saved.add("Our shop", TEXT).study
    for address in (f"studies/{key}/remove", "studies/import", "drafts/discard"):
        request = urllib.request.Request(server.url + address, data=b"page=x", method="POST")
        with pytest.raises(urllib.error.HTTPError) as refused:
            urllib.request.urlopen(request)
        assert refused.value.code == 403
        refused.value.close()
    assert [study.key for study in saved.studies()] == [key]


def test_a_damaged_file_is_said_and_set_aside(
    server: Served, watch: Callable[..., Watched], saved: SavedStudies
) -> None:
    saved.path.write_bytes(b"no database at all" * 1000)
    page = watch(server.url).page
    page.get_by_role("alert").get_by_text("set aside as studies.sqlite.damaged-").wait_for()
    page.reload()
    page.get_by_role("heading", name="Damaged files that were set aside").wait_for()
    page.get_by_role("heading", name="Three steps to a decision").wait_for()


def test_against_axe_the_pages_have_no_serious_fault_and_fit(
    server: Served, watch: Callable[..., Watched], saved: SavedStudies
) -> None:
    key = saved.add("Our shop " + "long" * 25, TEXT, "x" * 150).study
    saved.save(key, DEARER, "new wage")
    saved.remove(saved.duplicate(key, "Gone").study)
    saved.keep("page one", DEARER, key, 1)
    for address in (
        "",
        f"studies/{key}",
        f"compare?one=quenlow&other={key}",
        "terms",
        "nothing_here",
    ):
        page = watch(server.url + address).page
        page.evaluate(AXE)
        for details in page.locator("details").all():
            details.evaluate("each => { each.open = true; }")
        for width, scheme in ((820, None), (1440, "light"), (390, "dark")):
            page.set_viewport_size({"width": width, "height": 900})
            assert page.evaluate("document.documentElement.scrollWidth <= innerWidth"), address
            if scheme:
                page.emulate_media(color_scheme=scheme)
                assert complaints(page) == [], (address, width, scheme)
