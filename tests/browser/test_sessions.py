"""A page's session: it lives as long as its page, and its page tells the truth about it."""

import os
import re
import signal
import time
import urllib.error
import urllib.request
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from capex.views.server import NEVER_THERE
from tests.stress.processes import children, kill

from .conftest import Served, Watched, served, write_notebook
from .test_platform import IMPORTS, PAGE


@pytest.fixture(scope="module")
def server(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    folder = tmp_path_factory.mktemp("pages")
    write_notebook(folder, "decide", IMPORTS, PAGE)
    write_notebook(folder, "slow", "import time; time.sleep(2)", "print('there')")
    with served(folder) as server:
        yield server


@pytest.fixture
def alone(tmp_path: Path) -> Iterator[Served]:
    """A dashboard that starts no kernel ahead."""
    write_notebook(tmp_path, "decide", IMPORTS, PAGE)
    with served(tmp_path, pool_size=0) as server:
        yield server


def kernel_answers(server: Served, kernel_id: str) -> bool:
    try:
        with urllib.request.urlopen(f"{server.url}api/kernels/{kernel_id}") as answer:
            return bool(answer.status == 200)
    except urllib.error.HTTPError as refused:
        if refused.code != 404:
            raise
        return False


def kernel_ends(server: Served, kernel: str) -> bool:
    """Whether a kernel is gone within a minute."""
    deadline = time.monotonic() + 60
    while (there := kernel_answers(server, kernel)) and time.monotonic() < deadline:
        time.sleep(0.2)
    return not there


def test_a_closed_page_leaves_no_kernel(server: Served, watch: Callable[..., Watched]) -> None:
    watched = watch(f"{server.url}decide")
    watched.wait_for_charts(2)
    first = watched.kernel
    assert kernel_answers(server, first)
    watched.page.reload()
    watched.wait_for_charts(2)
    assert kernel_ends(server, first)
    second = watched.kernel
    assert kernel_answers(server, second)
    watched.page.close()  # at once, without the page being asked: as phones do
    assert kernel_ends(server, second)


def channels(server: Served) -> int:
    """Open channels to kernels, an event file each (Linux); the fewest within 6 s."""
    counts = []
    for _ in range(12):
        time.sleep(0.5)
        files = Path(f"/proc/{server.process.pid}/fd").iterdir()
        counts.append(sum("eventfd" in str(file.readlink()) for file in files))
    return min(counts)


def test_law_a_closed_page_leaves_no_channel(alone: Served, watch: Callable[..., Watched]) -> None:
    counts = []
    for _ in range(3):
        watched = watch(f"{alone.url}decide")
        watched.wait_for_charts(2)
        kernel = watched.kernel
        watched.page.close()
        assert kernel_ends(alone, kernel)
        counts.append(channels(alone))
    assert counts[2] <= counts[0], counts


def test_an_ended_session_is_said(server: Served, watch: Callable[..., Watched]) -> None:
    watched = watch(f"{server.url}decide")
    watched.wait_for_charts(2)
    kernel = watched.kernel
    urllib.request.urlopen(
        urllib.request.Request(f"{server.url}voila/api/shutdown/{kernel}", method="POST")
    ).close()
    watched.page.get_by_role("alert").get_by_text("session has ended").wait_for()


def test_a_killed_kernel_is_said(server: Served, watch: Callable[..., Watched]) -> None:
    """As when the machine runs out of memory."""
    watched = watch(f"{server.url}decide")
    watched.wait_for_charts(2)
    kill(server.process.pid, watched.kernel)
    watched.page.get_by_role("alert").get_by_text("session has ended").wait_for()


def test_a_visitor_beyond_the_limit_is_told_and_gets_in_when_there_is_room(
    tmp_path: Path, watch: Callable[..., Watched]
) -> None:
    write_notebook(tmp_path, "decide", IMPORTS, PAGE)
    with served(tmp_path, "kernels.KERNEL_LIMIT = 1", pool_size=0) as server:
        first = watch(f"{server.url}decide")
        first.wait_for_charts(2)
        second = watch(f"{server.url}decide")
        second.page.get_by_role("heading", name="Busy").wait_for()
        assert "Close a page" in second.page.get_by_role("alert").inner_text()
        first.page.goto("about:blank")
        second.wait_for_charts(2)


def kernels_left(server: Served, most: int) -> int:
    """Kernels that still run after a minute, or as soon as there are no more than said."""
    deadline = time.monotonic() + 60
    while (left := len(children(server.process.pid))) > most and time.monotonic() < deadline:
        time.sleep(0.2)
    return left


def test_law_a_page_left_while_it_loads_leaves_no_kernel(server: Served) -> None:
    waiting = 1  # for the next visitor of the first page
    kernels_left(server, waiting)
    answers = [urllib.request.urlopen(f"{server.url}slow") for _ in range(3)]
    for answer in answers:
        answer.read(1000)
    assert len(children(server.process.pid)) >= 3
    for answer in answers:
        answer.close()
    assert kernels_left(server, waiting) == waiting


def sent_kernel(server: Served) -> str:
    """Have a page sent whole, as if to a visitor whose browser runs none of its code."""
    with urllib.request.urlopen(f"{server.url}decide") as answer:
        named = re.search(r'"kernelId": "([-\w]+)"', answer.read().decode())
    assert named
    return named[1]


def test_law_only_a_page_that_never_asks_for_its_kernel_loses_it(tmp_path: Path) -> None:
    write_notebook(tmp_path, "decide", IMPORTS, PAGE)
    with served(tmp_path, "server.PATIENCE = 10.0", pool_size=0) as server:
        there = sent_kernel(server)
        assert kernel_answers(server, there)  # asks as a page does that has come
        never = sent_kernel(server)
        assert len(children(server.process.pid)) == 2
        assert kernels_left(server, 1) == 1
        assert kernel_answers(server, there)
        assert kernel_ends(server, never)


def test_law_a_page_asks_for_its_kernel_before_any_library_is_loaded(
    alone: Served, watch: Callable[..., Watched]
) -> None:
    watched = watch("about:blank")
    watched.page.route(re.compile(r"\.js(\?|$)"), lambda route: route.abort())
    with watched.page.expect_request("**/api/kernels/*"):
        watched.page.goto(f"{alone.url}decide")


def test_law_a_kernel_left_alone_is_culled_and_one_with_a_page_is_not(
    tmp_path: Path, watch: Callable[..., Watched]
) -> None:
    write_notebook(tmp_path, "decide", IMPORTS, PAGE)
    quick = """
real = server.configure_kernels
def quick(config, *told):
    real(config, *told)
    config.MappingKernelManager.cull_idle_timeout = 15
    config.MappingKernelManager.cull_interval = 1
server.configure_kernels = quick
"""
    with served(tmp_path, quick, pool_size=0) as server:
        there = watch(f"{server.url}decide")
        there.wait_for_charts(2)
        alone = sent_kernel(server)
        assert kernel_answers(server, alone)  # asks once, as a page does, and never comes back
        assert kernel_ends(server, alone)
        time.sleep(20)
        assert kernel_answers(server, there.kernel)  # whose page is connected


# Where a file lies, what is started as a kernel hangs; another, and it cannot be started at all.
FAULTS = """
real = kernels._OwnPython.get_kernel_spec
def faulty(self, name):
    spec = real(self, name)
    folder = pathlib.Path(sys.argv[1])
    if (folder / "hangs").exists():
        spec.argv = ["sleep", "600"]
    if (folder / "fails").exists():
        spec.argv = ["/no/such/command"]
    return spec
kernels._OwnPython.get_kernel_spec = faulty
"""
SHORT = "server.LONGEST = kernels.LONGEST = {}; server.PATIENCE = kernels.PATIENCE = 1.0"
ONE = "kernels.KERNEL_LIMIT = 1"


@pytest.fixture(params=[0, 1], ids=["started when asked for", "started ahead"])
def ahead(request: pytest.FixtureRequest) -> int:
    return int(request.param)


def opens(server: Served) -> bool:
    """Whether a page comes in time: a kernel is still counted while it is put away."""
    deadline = time.monotonic() + 120
    while time.monotonic() < deadline:
        try:
            with urllib.request.urlopen(f"{server.url}decide", timeout=60) as answer:
                page = answer.read().decode()
                if "kernelId" in page and NEVER_THERE not in page:
                    return True
        except urllib.error.HTTPError as refused:
            if refused.code != 503:
                raise
        time.sleep(0.2)
    return False


def test_law_a_kernel_that_never_begins_keeps_no_place(tmp_path: Path, ahead: int) -> None:
    write_notebook(tmp_path, "decide", IMPORTS, PAGE)
    (tmp_path / "hangs").touch()
    with served(tmp_path, FAULTS, SHORT.format(15.0), ONE, pool_size=ahead) as server:
        kernels = [*children(server.process.pid)]
        with urllib.request.urlopen(f"{server.url}decide", timeout=60) as answer:
            kernels += children(server.process.pid)
            (tmp_path / "hangs").unlink()
            assert NEVER_THERE in answer.read().decode()
        assert opens(server)
        assert not set(kernels) & set(children(server.process.pid))


def test_law_a_kernel_that_ends_at_its_start_is_said(
    tmp_path: Path, ahead: int, watch: Callable[..., Watched]
) -> None:
    write_notebook(tmp_path, "decide", IMPORTS, PAGE)
    (tmp_path / "hangs").touch()
    with served(tmp_path, FAULTS, pool_size=ahead) as server:
        page = watch("about:blank").page
        page.goto(f"{server.url}decide", wait_until="commit")
        page.get_by_role("status").get_by_text("Starting").wait_for()
        (tmp_path / "hangs").unlink()
        for kernel in children(server.process.pid):
            os.kill(kernel, signal.SIGKILL)
        page.get_by_role("alert").get_by_text("This page cannot be shown").wait_for()
        page.reload()
        page.locator(".capex-chart").first.wait_for()


def test_law_a_kernel_that_cannot_be_started_ahead_is_tried_again(
    tmp_path: Path, watch: Callable[..., Watched]
) -> None:
    write_notebook(tmp_path, "decide", IMPORTS, PAGE)
    (tmp_path / "fails").touch()
    with served(tmp_path, FAULTS) as server:
        (tmp_path / "fails").unlink()
        watched = watch(f"{server.url}decide")
        watched.wait_for_charts(2)
        kernel = watched.kernel
        (tmp_path / "fails").touch()
        time.sleep(5)  # the next is started ahead, and fails; the page can be left all the same
        watched.page.close()
        assert kernel_ends(server, kernel)
        (tmp_path / "fails").unlink()
        deadline = time.monotonic() + 60
        while not children(server.process.pid) and time.monotonic() < deadline:
            time.sleep(0.2)
        assert len(children(server.process.pid)) == 1
