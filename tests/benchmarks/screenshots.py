"""Take a picture of every page: three widths, light and dark, into a folder outside this one.

    python -m tests.benchmarks.screenshots FOLDER [PAGE ...]

Pages are the notebooks by name, and ``studies``, ``versions`` and ``comparison`` of the site. They
are shown over the demo studies and a copy with a dearer wage, saved in a folder of their own.
Each page is opened once and then resized, as a window is. Prints one line a page. The picture in
the README is the upper 1500 pixels of ``decide-1440-light.png``.
"""

# ruff: noqa: T201
from __future__ import annotations

import os
import sys
import tempfile
import time
from pathlib import Path

from playwright.sync_api import Browser, Page, sync_playwright

from capex.study import StudyFile, data_folder
from capex.study.saved_studies import SavedStudies
from capex.views.server import notebook_folder
from tests.browser.conftest import ARGUMENTS, CHROMIUM, READY, REPOSITORY, served

SIZES = ((1440, 1500), (820, 1180), (390, 844))
SCHEMES = ("light", "dark")
# Longer pages are cut off: a browser draws at most 16,384 pixels in one piece.
LONGEST = 16_000


def addresses(saved: SavedStudies) -> dict[str, str]:
    """Return where every page stands, by its name; two versions are saved for those of the site."""
    demo = StudyFile.read(data_folder() / "studies" / "quenlow.toml")
    key = saved.add("Quenlow Graphics", demo.text, "as it is").study
    saved.save(key, demo.changed({"shop.people.wage": "31 USD/h"}).text, "dearer wage")
    site = {
        "studies": "",
        "versions": f"studies/{key}",
        "comparison": f"compare?one={key}@1&other={key}@2",
    }
    names = sorted(page.stem for page in notebook_folder().glob("*.ipynb"))
    return {**site, **{name: name for name in names}}


def settled(page: Page) -> None:
    """Wait until all is drawn, and until what was resized or recoloured has been drawn again."""
    before, now = -1, 0
    while before != now:  # a part that is still to come says so only when its turn has come
        page.wait_for_function(READY)
        page.wait_for_timeout(700)
        before, now = now, page.evaluate("document.documentElement.scrollHeight")


def pictures(browser: Browser, url: str, name: str, folder: Path) -> None:
    """Write the pictures of one page."""
    start = time.perf_counter()
    context = browser.new_context(viewport={"width": SIZES[0][0], "height": SIZES[0][1]})
    context.set_default_timeout(300_000)
    page = context.new_page()
    page.goto(url)
    for width, height in SIZES:
        page.set_viewport_size({"width": width, "height": height})
        for scheme in SCHEMES:
            page.emulate_media(color_scheme=scheme)
            settled(page)
            long = min(page.evaluate("document.documentElement.scrollHeight"), LONGEST)
            page.screenshot(
                path=folder / f"{name}-{width}-{scheme}.png",
                full_page=True,
                clip={"x": 0, "y": 0, "width": width, "height": long},
            )
    page.goto("about:blank")  # its kernel ends
    context.close()
    print(f"{name:<12} {len(SIZES) * len(SCHEMES)} pictures, {time.perf_counter() - start:.0f} s")


def main(folder: Path, only: list[str]) -> None:
    """Take the pictures of all pages, or of those that are named."""
    if CHROMIUM is None:
        sys.exit("no Chromium on this computer (Debian's package: chromium)")
    if folder.resolve().is_relative_to(REPOSITORY):
        sys.exit(f"{folder} lies inside {REPOSITORY}: pictures belong outside it")
    folder.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory() as data, sync_playwright() as playwright:
        os.environ["CAPEX_DATA"] = data
        os.environ.pop("CAPEX_STUDY", None)
        known = addresses(SavedStudies(Path(data) / "studies.sqlite"))
        if unknown := set(only) - set(known):
            sys.exit(f"{', '.join(sorted(unknown))} must be one of: {', '.join(known)}")
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=ARGUMENTS)
        with served(notebook_folder()) as server:
            for name in only or known:
                pictures(browser, server.url + known[name], name, folder)
        browser.close()


if __name__ == "__main__":
    if len(sys.argv) < 2:
        sys.exit(__doc__)
    main(Path(sys.argv[1]), sys.argv[2:])
