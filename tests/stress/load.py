"""Many visitors at once, and visits for as long as you like: does the dashboard hold?

    python -m tests.stress.load [SESSIONS]         # 20 unless told otherwise
    python -m tests.stress.load --soak [MINUTES]   # 30 unless told otherwise

At once: every session opens the decide page, moves two sliders twice each, switches units and
currency and leaves; then more pages are opened than the server has room for, one is closed, and
one kernel is killed. Over time: three sessions open, move, reload and leave in turns. Both print
times, memory, kernels and open files, and every promise that was not kept.
"""

# ruff: noqa: T201
from __future__ import annotations

import os
import re
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from statistics import median, quantiles

from playwright.sync_api import Browser, sync_playwright

from capex.views.kernels import KERNEL_LIMIT
from tests.browser.conftest import ARGUMENTS, CHROMIUM, Served, Watched, running
from tests.stress.processes import Use, kill, use_of

CHARTS = 5
_MOVES = 2
_PATIENCE = 600_000
_SHORTEST = 10.0  # min
_WARM = 60  # visits after which the server has what it keeps: code, templates, its allocator's room
_FEWEST = 2  # looks in each half


@contextmanager
def dashboard(folder: Path) -> Iterator[Served]:
    """Serve the demo as a user does, with saved studies and logs in a folder of their own."""
    os.environ |= {name: str(folder / name.lower()) for name in
                   ("CAPEX_DATA", "XDG_STATE_HOME", "XDG_CACHE_HOME", "TMPDIR")}  # fmt: skip
    Path(os.environ["TMPDIR"]).mkdir()
    with running(["-m", "capex", "dashboard", "--no-browser"], r"http://127\.0\.0\.1:\d+/") as made:
        yield made


class Session:
    """One visitor with a browser profile of their own."""

    def __init__(self, browser: Browser, url: str) -> None:
        size = {"width": 1440, "height": 900}
        context = browser.new_context(viewport=size, reduced_motion="reduce")  # type: ignore[arg-type]
        context.set_default_timeout(_PATIENCE)
        self.watched = Watched(context.new_page())
        self.page = self.watched.page
        self.started = time.perf_counter()
        self.answer = self.page.goto(url, wait_until="commit")

    def arrive(self) -> float:
        """Wait for every chart; return how long it took [ms]."""
        self.watched.wait_for_charts(CHARTS)
        return (time.perf_counter() - self.started) * 1000

    def trouble(self) -> list[str]:
        """Return what the page has complained of, and asked elsewhere than of this computer."""
        return [*self.watched.complaints, *self.watched.foreign_requests]

    def leave(self) -> None:
        """Close the page as a user does: its kernel ends."""
        self.page.goto("about:blank")
        self.page.context.close()


def said(name: str, times: list[float]) -> None:
    """Print median, 95th percentile and the longest."""
    high = quantiles(times, n=20)[-1] if len(times) > 1 else times[0]
    print(f"  {name:<44} median {median(times):7.0f} ms   p95 {high:7.0f} ms   "
          f"longest {max(times):7.0f} ms   n {len(times)}", flush=True)  # fmt: skip


def moved_together(sessions: list[Session]) -> list[float]:
    """Move two sliders of every session; return the times from key to all charts [ms]."""
    times = []
    for turn in range(2 * _MOVES):
        name, key = ("Demand", "Print rate")[turn % 2], ("ArrowRight", "ArrowLeft")[turn // 2 % 2]
        for session in sessions:
            session.watched.start_redraw(session.page.get_by_role("slider", name=name), key)
        times += [session.watched.redrawn() * 1000 for session in sessions]
        time.sleep(2)  # what was put off until the move was over is worked out
    return times


def check_units(session: Session) -> None:
    """Switch units and currency, and read the verdict in them."""
    page = session.page
    page.get_by_role("combobox", name="Units").select_option("us_customary")
    page.locator(".capex-cards").get_by_text("ft²").first.wait_for()
    page.get_by_role("combobox", name="Money in").select_option("EUR")
    page.get_by_text(re.compile(r"Shown in EUR at 0\.9 a USD")).wait_for()
    assert "€" in page.locator(".capex-sentence").inner_text()


def settled(server: Served, most: int) -> Use:
    """Return the server's use once no more kernels run than said, or after a minute."""
    deadline = time.monotonic() + 60
    while (use := use_of(server.process.pid)).kernels > most and time.monotonic() < deadline:
        time.sleep(0.5)
    return use


def at_once(browser: Browser, server: Served, count: int) -> list[str]:
    """Print how many sessions at once fare; return the promises not kept."""
    url, broken = f"{server.url}decide", []
    Session(browser, url).arrive()
    alone = Session(browser, url)
    said("one session: page to its five charts", [alone.arrive()])
    time.sleep(10)
    said("one session: key to all charts", moved_together([alone]))
    for context in browser.contexts:
        context.pages[0].goto("about:blank")
        context.close()
    before = settled(server, 1)
    print(f"  before: {before}", flush=True)
    sessions = [Session(browser, url) for _ in range(count)]
    said(f"{count} sessions: page to its five charts", [each.arrive() for each in sessions])
    time.sleep(20)
    said(f"{count} sessions: key to all charts", moved_together(sessions))
    for session in sessions:
        check_units(session)
    print(f"  while they are there: {use_of(server.process.pid)}", flush=True)
    broken += more_than_there_is_room(browser, server, sessions)
    # before its own kernel is killed, which a page complains of
    broken += [complaint for each in sessions for complaint in each.trouble()]
    kill_one(server, sessions)
    broken += [complaint for each in sessions[1:] for complaint in each.trouble()]
    for session in sessions:
        session.leave()
    after = settled(server, 1)
    print(f"  after they have left: {after}", flush=True)
    if after.kernels > 1:
        broken.append(f"{after.kernels} kernels are left, of which one waits for the next visit")
    return broken


def first_inside(refused: list[Session]) -> Session | None:
    """Return whoever gets in first, None where nobody does."""
    deadline = time.monotonic() + _PATIENCE / 1000
    while time.monotonic() < deadline:
        for each in refused:
            if each.page.locator(".capex-chart").count():
                return each
        time.sleep(0.5)
    return None


def more_than_there_is_room(browser: Browser, server: Served, there: list[Session]) -> list[str]:
    """Open pages beyond the limit, all at once; one is closed, and the next visitor gets in."""
    broken = []
    url = f"{server.url}decide"
    extra = [Session(browser, url) for _ in range(KERNEL_LIMIT - len(there) + 6)]
    refused = [each for each in extra if each.answer and each.answer.status == 503]
    entered = [each for each in extra if each not in refused]
    for each in entered:
        each.arrive()
    for each in refused:
        each.page.get_by_role("heading", name="Busy").wait_for()
    kernels = use_of(server.process.pid).kernels
    print(f"  {len(there)} sessions and {len(extra)} more at once: {len(refused)} are told that "
          f"the server is busy, {kernels} kernels run", flush=True)  # fmt: skip
    if not refused or kernels > KERNEL_LIMIT + 1:
        broken.append(f"{kernels} kernels run, {KERNEL_LIMIT} is the limit")
    for each in entered:
        each.leave()
    settled(server, len(there) + 1)
    if refused and (inside := first_inside(refused)):
        inside.watched.wait_for_charts(CHARTS)
        print("  one who was refused got in by themselves when there was room", flush=True)
    elif refused:
        broken.append("nobody who was refused got in when there was room")
    for each in refused:
        each.leave()
    return broken


def kill_one(server: Served, sessions: list[Session]) -> None:
    """Kill one kernel: its page says so, the others go on."""
    victim, other = sessions[0], sessions[-1]
    kill(server.process.pid, victim.watched.kernel)
    victim.page.bring_to_front()
    victim.page.get_by_role("alert").get_by_text("session has ended").wait_for()
    slider = other.page.get_by_role("slider", name="Demand")
    took = other.watched.redraw_seconds(slider, "ArrowRight") * 1000
    print(f"  a kernel is killed: its page says so; another redraws in {took:.0f} ms", flush=True)


def soak(browser: Browser, server: Served, minutes: float) -> list[str]:
    """Visit for so many minutes; return what has grown."""
    url, rows, broken = f"{server.url}decide", list[Use](), list[str]()
    start = last = time.monotonic()
    visits = reloads = moves = 0
    while time.monotonic() - start < 60 * minutes:
        sessions = [Session(browser, url) for _ in range(3)]
        for session in sessions:
            session.arrive()
        moves += len(moved_together(sessions))
        for session in sessions[:2]:
            session.page.reload()
            session.watched.wait_for_charts(CHARTS)
            reloads += 1
        sessions[0].page.close()  # a tab is closed
        sessions[0].page.context.close()
        for session in sessions[1:]:
            session.leave()
        visits += len(sessions)
        broken += [complaint for session in sessions for complaint in session.trouble()]
        if time.monotonic() - last > 90:
            last = time.monotonic()
            use = settled(server, 1)
            if visits >= _WARM:
                rows.append(use)
            print(f"  {(last - start) / 60:5.1f} min, {visits:4} visits, {reloads:4} reloads, "
                  f"{moves:5} moves: {use}", flush=True)  # fmt: skip
    return broken + grown(rows)


def grown(rows: list[Use]) -> list[str]:
    """Print and return what the second half of the warm server has more of than the first."""
    half = len(rows) // 2
    if half < _FEWEST:
        return [f"only {len(rows)} looks at the server after {_WARM} visits: soak for longer"]
    broken = []
    measures: dict[str, tuple[Callable[[Use], float], float]] = {
        "server's memory [MiB]": (lambda use: use.server_mib, 5.0),
        "kernels": (lambda use: use.kernels, 0.5),
        "open files": (lambda use: use.files, 5.0),
        "files in its folders": (lambda use: use.left, 3.0),
    }
    for name, (measure, allowed) in measures.items():
        early = median(measure(use) for use in rows[:half])
        late = median(measure(use) for use in rows[half:])
        print(f"  {name:<24} first half {early:8.1f}   second half {late:8.1f}")
        if late - early > allowed:
            broken.append(f"{name} grew from {early:.1f} to {late:.1f}")
    return broken


def main(arguments: list[str]) -> int:
    """Print the figures; return 1 where a promise was not kept."""
    if CHROMIUM is None:
        sys.exit("no Chromium on this computer (Debian's package: chromium)")
    soaking = arguments[:1] == ["--soak"]
    number = float(arguments[-1]) if arguments and arguments[-1] != "--soak" else None
    if soaking and number is not None and number < _SHORTEST:
        sys.exit(f"minutes: must be at least {_SHORTEST:g}: less says nothing about growth")
    with tempfile.TemporaryDirectory() as name, sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=ARGUMENTS)
        with dashboard(Path(name)) as server:
            if soaking:
                broken = soak(browser, server, number or 30.0)
            else:
                broken = at_once(browser, server, int(number or 20))
        browser.close()
        left = [path for path in Path(name).rglob("*") if path.is_file()]
        print(f"files left behind in its folders: {[path.name for path in left]}")
    for promise in broken:
        print(f"BROKEN: {promise}")
    print(f"{len(broken)} promises broken")
    return int(bool(broken))


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
