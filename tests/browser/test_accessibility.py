"""Every page, come to rest, and looked over by axe-core: wide in light, narrow in dark.

Source: axe-core's rules for WCAG 2.2 levels A and AA and best practices (id axe-core).
"""

import json
from collections.abc import Callable, Iterator
from importlib.resources import files
from pathlib import Path

import pytest
from playwright.sync_api import Page

from tests.browser.conftest import READY, REPOSITORY, Served, Watched, served

AXE = files("axe_playwright_python").joinpath("axe.min.js").read_text()
PAGES = sorted(page.stem for page in (REPOSITORY / "notebooks").glob("*.ipynb"))


@pytest.fixture(scope="module")
def server() -> Iterator[Served]:
    with served(REPOSITORY / "notebooks") as server:
        yield server


def complaints(page: Page) -> list[str]:
    """What axe-core calls serious or critical: the rule, why, and where."""
    found = page.evaluate("axe.run(document, {resultTypes: ['violations']})")
    return [
        f"{rule['id']}: {rule['help']}: {json.dumps(node['target'])} {node['failureSummary']}"
        for rule in found["violations"]
        if rule["impact"] in ("serious", "critical")
        for node in rule["nodes"]
    ]


def wait_for_rest(page: Page) -> None:
    """Wait for a second in which nothing changes: a page that never rests empties a battery."""
    page.evaluate(
        """() => {
            const note = () => { window.changed = performance.now(); };
            const all = { subtree: true, childList: true, attributes: true, characterData: true };
            new MutationObserver(note).observe(document, all);
            note();
        }"""
    )
    page.wait_for_function("performance.now() - changed > 1000", timeout=60_000)


@pytest.mark.parametrize("name", PAGES)
def test_against_axe_no_page_has_a_serious_fault(
    server: Served, watch: Callable[..., Watched], name: str
) -> None:
    page = watch(f"{server.url}{name}").page
    page.wait_for_function(READY)
    wait_for_rest(page)
    page.evaluate(AXE)
    found = {}
    for width, scheme in ((1440, "light"), (390, "dark")):
        page.set_viewport_size({"width": width, "height": 900})
        page.emulate_media(color_scheme=scheme)
        page.wait_for_timeout(300)  # colours pass over into one another
        found[width, scheme] = complaints(page)
    assert {key: faults for key, faults in found.items() if faults} == {}


def test_against_axe_a_fault_is_found(watch: Callable[..., Watched], tmp_path: Path) -> None:
    faulty = tmp_path / "faulty.html"
    faulty.write_text("<html lang=en><title>x</title><main><h1>x</h1><button></button></main>")
    page = watch(faulty.as_uri()).page
    page.evaluate(AXE)
    assert [line.split(":")[0] for line in complaints(page)] == ["button-name"]
