"""Print how fast the decision page answers, beside a bare page measured in the same run.

    python -m tests.benchmarks.browser

Nothing is asserted: figures depend on the machine and on what else it does. Goal: slider key to
all charts redrawn within 150 ms at the 95th percentile. The bare page holds one slider and one
text and shows what browser, socket and kernel cost by themselves.
"""

# ruff: noqa: T201
from __future__ import annotations

import sys
import tempfile
import time
from pathlib import Path
from statistics import median, quantiles

from playwright.sync_api import Browser, Page, sync_playwright

from capex.views.server import notebook_folder
from tests.browser.conftest import ARGUMENTS, CHROMIUM, Watched, served, write_notebook

CHARTS = 5
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
    start = time.perf_counter()
    page.goto(url)
    page.wait_for_function(ready)
    return page, (time.perf_counter() - start) * 1000


def decision(browser: Browser, url: str, count: int, openings: int) -> dict[str, float]:
    """Print the decision page's times; return the 95th percentiles."""
    first = "[...document.querySelectorAll('.capex-chart')].some(c => +c.dataset.drawn > 0)"
    cold = []
    for _ in range(openings):
        page, took = opened(browser, url, first)
        cold.append(took)
        page.wait_for_timeout(6000)  # the pool starts its next kernel
        if len(cold) < openings:
            page.context.close()
    highest = {"cold": said("decision page to its first chart", cold)}
    watched = Watched(page)
    watched.wait_for_charts(CHARTS)
    for name in ("Demand", "Print rate"):
        slider = page.get_by_role("slider", name=name)
        keys = ["ArrowRight", "ArrowLeft"] * (count // 2)
        watched.redraw_seconds(slider, "ArrowRight")
        times = []
        for key in keys:
            page.wait_for_timeout(450)  # the longer work has run, as between a user's moves
            times.append(watched.redraw_seconds(slider, key) * 1000)
        highest[name] = said(f"{name}: key to all {CHARTS} charts redrawn", times)
    return highest


def bare(browser: Browser, url: str, count: int, openings: int) -> dict[str, float]:
    """Print the bare page's times; return the 95th percentiles."""
    cold = []
    for _ in range(openings):
        page, took = opened(browser, url, "document.querySelector('.words') !== null")
        cold.append(took)
        page.wait_for_timeout(6000)
        if len(cold) < openings:
            page.context.close()
    highest = {"cold": said("bare page to its text", cold)}
    times = []
    handle = page.locator(".noUi-handle")
    for _ in range(count):
        page.evaluate(BARE_ANSWER)
        handle.press("ArrowRight")
        times.append(float(page.evaluate("window.answered")))
        page.wait_for_timeout(100)
    highest["slider"] = said("bare page: key to text", times)
    return highest


def main(count: int = 40, openings: int = 5) -> None:
    """Measure both pages and print the ratios."""
    if CHROMIUM is None:
        sys.exit("no Chromium on this computer (Debian's package: chromium)")
    with sync_playwright() as playwright, tempfile.TemporaryDirectory() as folder:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=ARGUMENTS)
        write_notebook(Path(folder), "decide", BARE)
        with served(Path(folder)) as server:
            plain = bare(browser, f"{server.url}decide", count, openings)
        with served(notebook_folder()) as server:
            own = decision(browser, f"{server.url}decide", count, openings)
        browser.close()
    print(f"opening, decision page over bare page: {own['cold'] / plain['cold']:.2f} (p95)")
    for name in ("Demand", "Print rate"):
        print(f"{name} over bare slider: {own[name] / plain['slider']:.2f} (p95)")


if __name__ == "__main__":
    main(*(int(argument) for argument in sys.argv[1:3]))
