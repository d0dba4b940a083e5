"""Blocks of scenarios: copies of the process say the same as one block after the other."""

import pickle
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest

from capex.decision import blocks
from capex.decision.appraise import appraise, held_lateness
from capex.decision.blocks import BLOCK, at_once, in_blocks
from capex.decision.risk.simulation import simulate
from capex.errors import InputError, Problem, StudyError
from capex.study import data_folder, read_study

DEMO = data_folder() / "studies" / "quenlow.toml"
COUNT = 2048
# A process without threads, as a command is: it says which process worked out each block.
ALONE = """
import os
from capex.decision.blocks import in_blocks
from capex.errors import InputError

print(os.getpid(), *in_blocks(lambda some: os.getpid(), {count}))
def refused(some):
    raise InputError("levers.demand", some.start, "must be less than 0")
try:
    list(in_blocks(refused, {count}))
except InputError as error:
    print(error.field, error.value, error.bound, error, sep="|")
"""


def said_alone(count: int) -> list[str]:
    """Return what a process without threads prints."""
    done = subprocess.run([sys.executable, "-c", ALONE.format(count=count)],
                          capture_output=True, text=True, timeout=60, check=True)  # fmt: skip
    return done.stdout.splitlines()


@pytest.mark.parametrize(("count", "copied"), [(COUNT, True), (COUNT - BLOCK, False)])
def test_law_a_process_without_threads_is_copied_for_many_blocks(count: int, copied: bool) -> None:
    own, *others = said_alone(count)[0].split()
    assert len(others) == -(-count // BLOCK)
    can_copy = sys.platform == "linux" and blocks._processors() > 1
    assert (own not in others) == (copied and can_copy)


def test_law_what_a_copy_refuses_is_refused_with_its_place_and_bound() -> None:
    words = said_alone(COUNT)[1].split("|")
    assert words[:3] == ["levers.demand", "0", "must be less than 0"]
    assert words[3] == str(InputError("levers.demand", 0, "must be less than 0"))


def test_law_only_a_process_without_threads_that_is_no_copy_is_copied(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(blocks.threading, "active_count", lambda: 1)
    assert blocks._may_copy() == (sys.platform == "linux")
    monkeypatch.setattr(blocks, "parent_process", object)
    assert not blocks._may_copy()
    monkeypatch.undo()
    monkeypatch.setattr(blocks.threading, "active_count", lambda: 2)
    assert not blocks._may_copy()


LINUX = pytest.mark.skipif(sys.platform != "linux", reason="nowhere else is a process copied")
FINDS = """
import os, time
from capex.decision import blocks
blocks._processors = lambda: 2
own = os.getpid()
{before}
def work(some):
    {inside}
    return some.start
print(*blocks.in_blocks(work, {count}), flush=True)
"""


def found_alone(inside: str = "pass", before: str = "") -> subprocess.Popen[str]:
    """Start a process without threads that prints where each block starts."""
    code = FINDS.format(inside=inside, before=before, count=COUNT)
    return subprocess.Popen([sys.executable, "-c", code], stdout=subprocess.PIPE, text=True)


@LINUX
@pytest.mark.parametrize(
    ("before", "inside"),
    [
        ("", "os.getpid() != own and some.start == 768 and os.kill(os.getpid(), 9)"),
        ("os.fork = lambda: (_ for _ in ()).throw(BlockingIOError())", "assert os.getpid() == own"),
        (
            "real, made = os.fork, []\n"
            "def fork():\n"
            "    made.append(0)\n"
            "    if len(made) == 2: raise BlockingIOError\n"
            "    return real()\n"
            "os.fork = fork",
            "assert os.getpid() == own",
        ),
    ],
    ids=["a copy is killed", "no copy can be made", "the second cannot be made"],
)
def test_law_nothing_is_lost_where_copies_fail(before: str, inside: str) -> None:
    process = found_alone(inside, before)
    said, _ = process.communicate(timeout=60)
    assert said.split() == [str(start) for start in range(0, COUNT, BLOCK)]
    assert process.returncode == 0


@LINUX
def test_law_copies_end_with_the_process_that_made_them() -> None:
    # Written in one piece: `print` writes two where output is unbuffered, and copies mix theirs.
    with found_alone("os.write(1, b'%d\\n' % os.getpid()); time.sleep(60)") as process:
        try:
            assert process.stdout is not None
            copies = [int(process.stdout.readline()) for _ in range(2)]
            assert all(Path(f"/proc/{copy}").exists() for copy in copies)
        finally:
            process.kill()
    end = time.monotonic() + 30
    while any(Path(f"/proc/{copy}").exists() for copy in copies) and time.monotonic() < end:
        time.sleep(0.1)
    assert not any(Path(f"/proc/{copy}").exists() for copy in copies)


@pytest.mark.parametrize("copied", [True, False])
def test_law_draws_are_the_same_to_the_last_bit_however_they_are_shared_out(
    copied: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    study = read_study(DEMO)
    monkeypatch.setattr(blocks, "_processors", lambda: 1)
    alone = simulate(study, COUNT)
    monkeypatch.setattr(blocks, "_processors", lambda: 2)
    monkeypatch.setattr(blocks, "_may_copy", lambda: copied and sys.platform == "linux")
    made = []
    real = blocks._copies
    monkeypatch.setattr(blocks, "_copies", lambda *told: made.append(0) or real(*told))
    shared = simulate(study, COUNT)
    assert bool(made) == (copied and sys.platform == "linux")
    for name in ("gains", "payback", "worst_cash", "least_cover"):
        np.testing.assert_array_equal(getattr(shared, name), getattr(alone, name))


def test_law_whoever_waits_can_stop_after_any_block(monkeypatch: pytest.MonkeyPatch) -> None:
    worked: list[int] = []
    monkeypatch.setattr(blocks, "_may_copy", lambda: False)
    found = in_blocks(lambda some: worked.append(some.start), 64 * BLOCK)
    next(found)
    next(found)
    found.close()
    assert worked == [0, BLOCK]


@LINUX
def test_law_copies_end_where_nobody_waits_for_more() -> None:
    code = """
import itertools, multiprocessing
from capex.decision import blocks
blocks._processors = lambda: 2
found = blocks.in_blocks(lambda some: some.start, 1000 * blocks.BLOCK)
print(*itertools.islice(found, 3), len(multiprocessing.active_children()))
found.close()
print(len(multiprocessing.active_children()))
"""
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, timeout=60)
    assert done.stdout.split() == ["0", str(BLOCK), str(2 * BLOCK), "2", "0"]


def test_law_parts_come_back_in_their_order() -> None:
    assert at_once(lambda k: k * k, range(20)) == [k * k for k in range(20)]


@pytest.mark.parametrize(
    "error",
    [
        InputError("shop.people.wage", -1, "must be at least 0 USD/h"),
        StudyError("study.toml", [Problem("jobs", None, "must have one at least")]),
    ],
)
def test_law_an_error_is_the_same_after_its_way_between_processes(error: Exception) -> None:
    again = pickle.loads(pickle.dumps(error))
    assert type(again) is type(error)
    assert str(again) == str(error)
    assert vars(again) == vars(error)


def test_law_years_simulated_on_the_way_are_kept_by_the_process_that_asked(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    study = read_study(DEMO).replaced({"shop.promises.cost_of_late_order": np.array([20.0])})
    monkeypatch.setattr(blocks, "_processors", lambda: 2)
    monkeypatch.setattr(blocks, "_may_copy", lambda: True)
    monkeypatch.setattr(blocks, "_copies", lambda *told: pytest.fail("copies were made"))
    appraise(study, {"money.discount_rate": np.linspace(0.05, 0.15, COUNT)})
    held = held_lateness(study)
    asked = []
    monkeypatch.setattr(blocks, "_copies", lambda *told: asked.append(told))  # none can be made
    appraise(study, {"money.discount_rate": np.linspace(0.05, 0.15, COUNT)}, lateness=held)
    assert asked
