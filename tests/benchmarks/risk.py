"""Print how fast draws go through the path and how much memory they take, in one run.

    python tests/benchmarks/risk.py

Nothing is asserted: figures depend on the machine and on what else it does. Goals, all on the demo
with 4 alternatives over 120 months: 4,096 draws within 2.5 s, on one processor, and at least 60
times faster a scenario than one call a draw; less than 1 GiB at 65,536 draws; a two-way map of
41 × 41 within 1.5 s. Draws are timed on one processor and on all that are there (copies of the
process, on Linux).
"""

# ruff: noqa: T201, E402
from __future__ import annotations

import os

# no threads but our own: before numpy is imported
for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ[name] = "1"

import resource
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any

from capex.decision.appraise import appraise
from capex.decision.cover import lender_view_of
from capex.decision.risk.draws import draw
from capex.decision.risk.simulation import simulate
from capex.decision.risk.summary import risk_summary
from capex.decision.risk.two_way import two_way_map
from capex.study import Study, data_folder, read_study

HELD = {"money.horizon": 120.0}
DRAWS, MANY, ALONE = 4096, 65_536, 32


def seconds(work: Callable[[], object], repeats: int = 3) -> float:
    """Return the least time by the clock of a piece of work."""
    times = []
    work()
    for _ in range(repeats):
        start = time.perf_counter()
        work()
        times.append(time.perf_counter() - start)
    return min(times)


@contextmanager
def one_processor() -> Iterator[None]:
    """Keep this process on one of its processors, where the system can."""
    if not hasattr(os, "sched_setaffinity"):
        yield
        return
    mine = os.sched_getaffinity(0)
    os.sched_setaffinity(0, {max(mine)})
    yield
    os.sched_setaffinity(0, mine)


def demo() -> Study:
    """Return the demo."""
    return read_study(data_folder() / "studies" / "quenlow.toml")


def draws_and_single_calls() -> None:
    """Compare draws in blocks with one call a draw that reads the same four figures."""
    study = demo()
    drawn = draw(study, DRAWS, held=HELD).scenarios(slice(0, ALONE))

    def alone() -> None:
        for row in range(ALONE):
            values: dict[str, Any] = {path: column[row] for path, column in drawn.items()}
            for outcome in appraise(study, HELD | values).outcomes.values():
                _ = outcome.gain, outcome.payback_period, outcome.worst_month_end_cash
                _ = lender_view_of(outcome).lowest_year.ratio

    def all_draws() -> None:
        simulate(study, DRAWS, held=HELD)

    with one_processor():
        one, single = seconds(all_draws), seconds(alone, 1) / ALONE
    every = seconds(all_draws)
    print(f"{DRAWS:,} draws, 4 alternatives, 120 months  goal 2.5 s, 60 times")
    print(f"  one call a draw     {single * 1e3:8.2f} ms")
    print(f"  one processor       {one:8.2f} s, {single / (one / DRAWS):5.1f} times")
    print(f"  {os.cpu_count()} processors        {every:8.2f} s, "
          f"{single / (every / DRAWS):5.1f} times")  # fmt: skip


def two_way() -> None:
    """Time a map of two inputs."""
    study, paths = demo(), ("shop.people.wage", "money.discount_rate")
    clock = seconds(lambda: two_way_map(study, *paths, HELD, size=41))
    print(f"Two-way map 41 × 41   {clock:8.2f} s   goal 1.5 s")


def memory() -> None:
    """Print the peak memory of a process that does nothing but many draws and their summary.

    That of its copies, where it makes some, counts as if each of them had the greatest.
    """
    found = subprocess.run(
        [sys.executable, __file__, "memory"], check=True, capture_output=True, text=True
    )
    before, peak = map(float, found.stdout.split())
    print(f"Peak memory at {MANY:,} draws  {peak:6.0f} MiB, {before:.0f} before   goal 1,024 MiB")


def peak() -> float:
    """Return the peak memory of this process and of its copies [MiB]."""
    own, copy = (
        resource.getrusage(whose).ru_maxrss
        for whose in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)
    )
    copies = len(os.sched_getaffinity(0)) if copy else 0
    return (own + copies * copy) / (1024 if sys.platform == "linux" else 1024**2)


if __name__ == "__main__":
    if sys.argv[1:] == ["memory"]:
        started = peak()
        risk_summary(simulate(demo(), MANY, held=HELD))
        print(started, peak())
    else:
        memory()  # first: a child's peak counts from its parent's at the time
        draws_and_single_calls()
        two_way()
