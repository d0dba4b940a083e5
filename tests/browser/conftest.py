"""A served page and a Chromium to look at it with, both on this computer only."""

import json
import os
import re
import shutil
import subprocess
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import nbformat
import pytest
from playwright.sync_api import Browser, Locator, Page, sync_playwright

REPOSITORY = Path(__file__).parents[2]
CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
ARGUMENTS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]
# A page is there once its own content has come and every chart in sight is drawn: the words of
# the wait have a heading too, and some charts stay hidden until they are asked for.
READY = """() => document.querySelector("main h1")
    && !document.querySelector("#capex-loading, [aria-busy=true]")
    && [...document.querySelectorAll(".capex-chart")]
        .every(chart => !chart.offsetParent || +chart.dataset.drawn > 0)"""


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    for item in items:
        if Path(__file__).parent in item.path.parents:
            item.add_marker(pytest.mark.browser)


@dataclass
class Served:
    """A running dashboard: its address and its process."""

    url: str
    process: subprocess.Popen[str]


@contextmanager
def running(arguments: list[str], address: str) -> Iterator[Served]:
    """Server in a process of its own, stopped as its user would stop it."""
    environment = {**os.environ, "PYTHONPATH": str(REPOSITORY), "PYTHONUNBUFFERED": "1"}
    process = subprocess.Popen(
        [sys.executable, *arguments],
        env=environment,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
    )
    assert process.stdout is not None
    seen = []
    try:
        for line in process.stdout:
            seen.append(line)
            if found := re.search(address, line):
                yield Served(found[0], process)
                break
        else:
            pytest.fail("the server did not start:\n" + "".join(seen))
    finally:
        process.terminate()
        process.wait(timeout=20)
        process.stdout.close()


@contextmanager
def served(folder: Path, *before: str, pool_size: int = 1) -> Iterator[Served]:
    """The dashboard over a folder of pages, after lines of Python; some kernels start ahead."""
    lines = [
        "import sys, pathlib, capex.views.kernels as kernels, capex.views.server as server",
        *before,
        "server.serve(open_browser=False, folder=pathlib.Path(sys.argv[1]), "
        f"pool_size={pool_size})",
    ]
    code = "\n".join(lines)
    with running(["-c", code, str(folder)], r"http://127\.0\.0\.1:\d+/") as server:
        yield server


@pytest.fixture(scope="package")
def browser() -> Iterator[Browser]:
    if CHROMIUM is None:
        if os.environ.get("CI"):
            pytest.fail("no Chromium: install Debian's package chromium")
        pytest.skip("no Chromium on this computer (Debian's package: chromium)")
    with sync_playwright() as playwright:
        chromium = playwright.chromium.launch(executable_path=CHROMIUM, args=ARGUMENTS)
        yield chromium
        chromium.close()


@dataclass
class Watched:
    """A page whose every request and complaint is written down."""

    page: Page
    foreign_requests: list[str] = field(default_factory=list)
    complaints: list[str] = field(default_factory=list)
    dropped_sockets: list[str] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.page.on("request", lambda request: self._note_address(request.url))
        self.page.on("websocket", self._note_socket)
        self.page.on("pageerror", lambda error: self.complaints.append(str(error)))
        self.page.on("console", self._note_console)

    def _note_address(self, url: str) -> None:
        parts = urlsplit(url)
        if parts.scheme not in {"data", "blob"} and parts.hostname != "127.0.0.1":
            self.foreign_requests.append(url)

    def _note_socket(self, socket: Any) -> None:
        self._note_address(socket.url)
        socket.on("close", lambda closed: self.dropped_sockets.append(closed.url))

    def _note_console(self, message: Any) -> None:
        if message.type == "error":
            self.complaints.append(f"{message.text} ({message.location.get('url', '')})")

    def check_quiet(self) -> None:
        """No request left this computer, and the page reported no error."""
        assert self.foreign_requests == []
        assert self.complaints == []

    def wait_for_charts(self, count: int) -> list[int]:
        """Versions drawn, once that many charts have been drawn at least once."""
        self.page.wait_for_function(
            "count => [...document.querySelectorAll('.capex-chart')]"
            ".filter(chart => +chart.dataset.drawn > 0).length === count",
            arg=count,
        )
        return self.drawn_versions()

    def drawn_versions(self) -> list[int]:
        versions: list[int] = self.page.eval_on_selector_all(
            ".capex-chart", "charts => charts.map(chart => +(chart.dataset.version ?? 0))"
        )
        return versions

    def wait_for_new_drawing(self, before: list[int]) -> None:
        """Wait until every chart has drawn a newer version than the one noted before."""
        self.page.wait_for_function(
            "before => [...document.querySelectorAll('.capex-chart')]"
            ".every((chart, index) => +chart.dataset.version > before[index])",
            arg=before,
        )

    @property
    def kernel(self) -> str:
        """Identifier of the page's kernel."""
        text = self.page.text_content("#jupyter-config-data") or "{}"
        return str(json.loads(text)["kernelId"])

    def redraw_seconds(self, control: Locator, key: str, *, in_sight: bool = False) -> float:
        """Time from pressing a key on a control until charts show their newest version.

        All of them, or those of which any part is in sight.
        """
        self.start_redraw(control, key, in_sight=in_sight)
        return self.redrawn()

    def redrawn(self) -> float:
        """Wait for what was started; return how long it took [s]."""
        return float(self.page.evaluate("window.redrawn"))

    def start_redraw(self, control: Locator, key: str, *, in_sight: bool = False) -> None:
        """Press a key on a control; the page itself takes the time."""
        self.page.evaluate(
            """inSight => {
                const seen = chart => {
                    const { top, bottom } = chart.getBoundingClientRect();
                    return bottom > 0 && top < innerHeight;
                };
                const charts = [...document.querySelectorAll(".capex-chart")]
                    .filter(chart => !inSight || seen(chart));
                const before = charts.map(chart => +chart.dataset.version);
                window.redrawn = new Promise(resolve => {
                    let start;
                    const pressed = () => { start = performance.now(); };
                    addEventListener("keydown", pressed, { capture: true, once: true });
                    addEventListener("capex:drawn", function drawn() {
                        if (!charts.every((chart, i) => +chart.dataset.version > before[i])) return;
                        removeEventListener("capex:drawn", drawn);
                        requestAnimationFrame(() => resolve((performance.now() - start) / 1000));
                    });
                });
            }""",
            in_sight,
        )
        control.press(key)


@contextmanager
def watching(browser: Browser) -> Iterator[Callable[..., Watched]]:
    """Opens watched pages, and closes them and their kernels at the end."""
    contexts = []

    def open_page(url: str, width: int = 1440, height: int = 900, **options: Any) -> Watched:
        size: Any = {"width": width, "height": height}
        context = browser.new_context(viewport=size, reduced_motion="reduce", **options)
        contexts.append(context)
        # Another process may hold the machine: a wait says nothing about the page until it ends.
        context.set_default_timeout(120_000)
        watched = Watched(context.new_page())
        watched.page.goto(url)
        return watched

    yield open_page
    for context in contexts:
        for page in context.pages:
            page.goto("about:blank")  # its kernel ends; a context that is closed does not say so
        context.close()


@pytest.fixture
def watch(browser: Browser) -> Iterator[Callable[..., Watched]]:
    """Opens watched pages: ``watch(url, width=1440, height=900, **context_options)``."""
    with watching(browser) as open_page:
        yield open_page


def write_notebook(folder: Path, name: str, *sources: str) -> None:
    notebook = nbformat.v4.new_notebook(
        cells=[nbformat.v4.new_code_cell(source) for source in sources],
        metadata={
            "kernelspec": {"name": "python3", "display_name": "Python 3", "language": "python"},
            "title": "capex",
        },
    )
    nbformat.write(notebook, folder / f"{name}.ipynb")
