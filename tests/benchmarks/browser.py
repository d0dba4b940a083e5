"""Print how fast the decision page answers, beside a bare page measured in the same run.

    python -m tests.benchmarks.browser [MOVES [OPENINGS]]

Nothing is asserted: figures depend on the machine and on what else it does. Medians and 95th
percentiles are those of 40 moves and 30 openings unless told otherwise, which takes about half an
hour. Goals: slider key to all charts redrawn within 100 ms at the 95th
percentile; first chart within 2.5 s where a kernel waits, 4 s where none does; at most 150 MiB a
session. The bare page holds one slider and one text and shows what browser, socket and kernel cost
by themselves.
"""

# ruff: noqa: T201
from __future__ import annotations

import sys
import tempfile
import time
from contextlib import AbstractContextManager
from pathlib import Path
from statistics import median, quantiles

from playwright.sync_api import Browser, Page, sync_playwright

from capex.views.server import notebook_folder
from tests.browser.conftest import (
    ARGUMENTS,
    CHROMIUM,
    Served,
    Watched,
    running,
    served,
    write_notebook,
)
from tests.stress.processes import children, memory

CHARTS = 5
REST = 10  # s, in which the next kernel gets ready
FIRST_CHART = "[...document.querySelectorAll('.capex-chart')].some(c => +c.dataset.drawn > 0)"
BARE = """
import ipywidgets as widgets
slider = widgets.FloatSlider(description="Demand", min=1, max=500, value=100)
words = widgets.HTML("100")
words.add_class("words")
slider.observe(lambda change: setattr(words, "value", str(change["new"])), "value")
widgets.VBox([slider, words])
"""
# Times from the key to the text's change, as the decision page's are to the last chart's.
BARE_ANSWER = """() => {
    window.answered = new Promise(resolve => {
        let start;
        addEventListener("keydown", () => { start = performance.now(); },
                         { capture: true, once: true });
        const watch = new MutationObserver(() => {
            watch.disconnect();
            requestAnimationFrame(() => resolve(performance.now() - start));
        });
        watch.observe(document.querySelector(".words"),
                      { childList: true, subtree: true, characterData: true });
    });
}"""


def said(name: str, times: list[float]) -> float:
    """Print median and 95th percentile; return the latter."""
    high = quantiles(times, n=20)[-1]
    print(f"{name:<52} median {median(times):7.0f} ms   p95 {high:7.0f} ms   n {len(times)}")
    return high


def opened(browser: Browser, url: str, ready: str) -> tuple[Page, float]:
    """Return a fresh page and how long it took until something was there [ms]."""
    page = browser.new_context(viewport={"width": 1440, "height": 900}).new_page()
    page.set_default_timeout(300_000)
    start = time.perf_counter()
    page.goto(url)
    page.wait_for_function(ready)
    return page, (time.perf_counter() - start) * 1000


def without_pool() -> AbstractContextManager[Served]:
    """Return the dashboard with no kernel started ahead of a visit."""
    code = "import capex.views.server as server; server.serve(open_browser=False, pool_size=0)"
    return running(["-c", code], r"http://127\.0\.0\.1:\d+/")


def cold(browser: Browser, url: str, ready: str, openings: int, pause: float) -> list[float]:
    """Return how long fresh visits took [ms]; between them a pause [s] for the next kernel."""
    times = []
    for _ in range(openings):
        page, took = opened(browser, url, ready)
        times.append(took)
        page.goto("about:blank")  # its kernel ends
        page.context.close()
        time.sleep(pause)
    return times


def decision(browser: Browser, server: Served, count: int, openings: int) -> dict[str, float]:
    """Print the decision page's times; return the 95th percentiles."""
    url = f"{server.url}decide"
    highest = {"cold": said("decision page to its first chart, a kernel waiting",
                            cold(browser, url, FIRST_CHART, openings, REST))}  # fmt: skip
    print_weight(browser, server)
    page, _ = opened(browser, url, FIRST_CHART)
    watched = Watched(page)
    watched.wait_for_charts(CHARTS)
    page.locator(".capex-chart").first.scroll_into_view_if_needed()
    for name in ("Demand", "Print rate"):
        slider = page.get_by_role("slider", name=name)
        keys = ["ArrowRight", "ArrowLeft"] * (count // 2)
        for in_sight, which in ((True, "the charts in sight"), (False, f"all {CHARTS} charts")):
            watched.redraw_seconds(slider, "ArrowRight")
            times = []
            for key in keys:
                page.wait_for_timeout(1000)  # the longer work has run, as between a user's moves
                times.append(watched.redraw_seconds(slider, key, in_sight=in_sight) * 1000)
            highest[name] = said(f"{name}: key to {which} redrawn", times)
    slide_fast(watched, count)
    page.goto("about:blank")
    page.context.close()
    return highest


def print_weight(browser: Browser, server: Served) -> None:
    """Print what one visit with an empty cache carries, and what kernels take after it."""
    page = browser.new_context(viewport={"width": 1440, "height": 900}).new_page()
    session = page.context.new_cdp_session(page)
    session.send("Network.enable")
    carried = {"files": 0.0, "socket": 0.0}

    def file_came(event: dict[str, float]) -> None:
        carried["files"] += event["encodedDataLength"]

    def frame_came(event: dict[str, dict[str, str]]) -> None:
        carried["socket"] += len(event["response"]["payloadData"])

    session.on("Network.loadingFinished", file_came)
    session.on("Network.webSocketFrameReceived", frame_came)
    page.set_default_timeout(300_000)
    page.goto(f"{server.url}decide")
    Watched(page).wait_for_charts(CHARTS)
    page.wait_for_timeout(6000)
    print(f"page weight: {carried['files'] / 2**20:.2f} MiB of files, "
          f"{carried['socket'] / 2**10:.0f} KiB by socket")  # fmt: skip
    kernels = children(server.process.pid)
    sizes = ", ".join(f"{memory(kernel, 'Rss'):.0f} MiB" for kernel in kernels)
    print(f"memory of the page's kernel and of the one that waits for the next: {sizes} resident")
    page.goto("about:blank")
    page.context.close()


def slide_fast(watched: Watched, count: int) -> None:
    """Move a slider without waiting; print how many changes were worked out, and how late the last.

    A queue of stale work would show as one drawing a move, and as a last drawing long after.
    """
    page = watched.page
    page.wait_for_timeout(2000)
    slider = page.get_by_role("slider", name="Demand")
    slider.focus()
    before = watched.drawn_versions()
    start = time.perf_counter()
    for _ in range(count):
        page.keyboard.press("ArrowRight")
    moved = time.perf_counter()
    at = slider.input_value()
    page.get_by_text(f"Changed from the study: demand {at}% of today").wait_for()
    late = (time.perf_counter() - moved) * 1000
    page.wait_for_timeout(1500)
    worked = max(new - old for new, old in zip(watched.drawn_versions(), before, strict=True))
    print(f"sliding fast: {count} moves in {(moved - start) * 1000:.0f} ms, {worked} worked out, "
          f"the last one said {late:.0f} ms after the last move")  # fmt: skip


def bare(browser: Browser, url: str, count: int, openings: int) -> dict[str, float]:
    """Print the bare page's times; return the 95th percentiles."""
    ready = "document.querySelector('.words') !== null"
    highest = {"cold": said("bare page to its text", cold(browser, url, ready, openings, REST))}
    page, _ = opened(browser, url, ready)
    times = []
    handle = page.locator(".noUi-handle")
    for _ in range(count):
        page.evaluate(BARE_ANSWER)
        handle.press("ArrowRight")
        times.append(float(page.evaluate("window.answered")))
        page.wait_for_timeout(100)
    highest["slider"] = said("bare page: key to text", times)
    return highest


def main(count: int = 40, openings: int = 30) -> None:
    """Measure both pages and print the ratios."""
    if CHROMIUM is None:
        sys.exit("no Chromium on this computer (Debian's package: chromium)")
    with sync_playwright() as playwright, tempfile.TemporaryDirectory() as folder:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=ARGUMENTS)
        write_notebook(Path(folder), "decide", BARE)
        with served(Path(folder)) as server:
            plain = bare(browser, f"{server.url}decide", count, openings)
        with served(notebook_folder()) as server:
            own = decision(browser, server, count, openings)
        with without_pool() as server:
            times = cold(browser, f"{server.url}decide", FIRST_CHART, openings, 1)
            said("decision page to its first chart, no kernel waiting", times)
        browser.close()
    print(f"opening, decision page over bare page: {own['cold'] / plain['cold']:.2f} (p95)")
    for name in ("Demand", "Print rate"):
        print(f"{name} over bare slider: {own[name] / plain['slider']:.2f} (p95)")


if __name__ == "__main__":
    main(*(int(argument) for argument in sys.argv[1:3]))
