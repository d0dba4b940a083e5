"""Print how fast a year is simulated: compiled, in plain Python, and by a SimPy model.

    python tests/benchmarks/year.py

Nothing is asserted: figures depend on the machine and on what else it does; times are processor
time, the best of several runs, in turn. Ratios, and what each feature costs, are medians of pairs
run one right after the other, with their quartiles, or the least and the largest median of
several repeats, beside them. Goals: the full model at 5,000 orders a year at least 300
times SimPy compiled and 15 times in plain Python; first result in a fresh process, with compiled
code on disk, within 1 s. The shop is invented.
"""

# ruff: noqa: T201
from __future__ import annotations

import subprocess
import sys
import time
from collections.abc import Callable
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np

from capex.shopfloor.year import compiled
from capex.shopfloor.year.kernel import dispatched
from capex.shopfloor.year.plan import Breakdown, Floor, Luck, Orders, Shifts
from capex.shopfloor.year.shop import shop_of

HOUR, MINUTE, DAYS, COUNT = 3600.0, 60.0, 252, 5000
#: One order's steps: machine, person, fixed and scaled minutes, and what else is so.
PLAIN: tuple[tuple[Any, ...], ...] = (
    (-1, 0, 2.0, 0.0, ("set_up",)),
    (0, 0, 2.0, 0.0, ("set_up", "keeps_machine")),
    (0, 0, 0.0, 0.6, ("keeps_machine",)),
    (0, -1, 0.0, 7.0, ("alone", "keeps_machine")),
    (0, 0, 1.0, 0.0, ()),
    (-1, -1, 5.0, 0.0, ("wall",)),
    (1, 0, 1.5, 0.0, ("set_up", "keeps_machine")),
    (1, -1, 0.3, 0.0, ("keeps_machine",)),
    (1, 0, 0.0, 0.6, ("keeps_machine",)),
    (1, -1, 0.0, 6.0, ("keeps_machine",)),
    (1, 0, 1.0, 0.0, ()),
    (-1, 1, 0.0, 5.0, ()),
    (-1, 1, 0.0, 3.0, ()),
)
#: The same with a day to outgas, the laminator, and a return to the knife.
LAMINATED = (
    *PLAIN[:5], (-1, -1, 24 * 60.0, 0.0, ("wall",)), (2, 0, 3.0, 2.0, ()), *PLAIN[6:],
)  # fmt: skip
FLAGS = ("wall", "alone", "set_up", "keeps_machine", "keeps_person")
Case = tuple[Floor, Shifts, Orders, Luck, Breakdown | None]


def floor_of(*routes: tuple[tuple[Any, ...], ...]) -> Floor:
    """Return a printer, a knife and a laminator with an operator and a part-time finisher."""
    steps = [step for route in routes for step in route]
    ends = np.cumsum([len(route) for route in routes])
    return Floor(
        group_of=np.arange(3),
        persons=np.array([1.0, 0.8]),
        first=np.append(0, ends[:-1]),
        last=ends - 1,
        machine=np.array([step[0] for step in steps]),
        people=np.array([step[1] for step in steps]),
        fixed=np.array([step[2] for step in steps]) * MINUTE,
        scaled=np.array([step[3] for step in steps]) * MINUTE,
        **{flag: np.array([flag in step[4] for step in steps]) for flag in FLAGS},
    )


def full() -> Case:
    """Return the full model: people, failures, returns, remakes, overtime, nights, a breakdown."""
    rng = np.random.default_rng(1)
    opens = (np.arange(DAYS) + 2 * (np.arange(DAYS) // 5)) * 86400.0 + 8 * HOUR
    shifts = Shifts(
        opens,
        7.4 * HOUR,
        2 * HOUR,
        np.full(12, 20 * HOUR),
        np.arange(DAYS) // 21,
        1.0,
        8 * HOUR,
        0.8,
    )
    at = np.sort(rng.uniform(0, DAYS - 5, COUNT))
    arrival = opens[at.astype(int)] + at % 1 * 7.4 * HOUR
    orders = Orders(
        arrival=arrival,
        program=rng.integers(0, 2, COUNT),
        size=rng.lognormal(-0.1, 0.45, COUNT),
        passes=1 + (rng.uniform(size=COUNT) < 0.04),
        due=(at + 5) * 7.4 * HOUR,
    )
    luck = Luck(
        until=rng.exponential(300 * HOUR, (3, 200)),
        repair=rng.exponential(10 * HOUR, (3, 200)),
        night=rng.uniform(size=(3, DAYS)),
    )
    return floor_of(PLAIN, LAMINATED), shifts, orders, luck, Breakdown(0, 100, 20 * HOUR)


def without() -> dict[str, Case]:
    """Return the full model without each of its features."""
    floor, shifts, orders, luck, stop = full()
    nobody = floor_of(*(tuple((m, -1 if m >= 0 else p, *rest) for m, p, *rest in route)
                        for route in (PLAIN, LAMINATED)))  # fmt: skip
    no_failures = replace(luck, until=np.full_like(luck.until, np.inf))
    closed = replace(shifts, overtime=0.0, night=0.0)
    alone = replace(floor, alone=np.zeros_like(floor.alone))
    once = replace(orders, passes=np.ones_like(orders.passes))
    one_way = replace(orders, program=np.zeros_like(orders.program))
    return {
        "people at machines": (nobody, shifts, orders, luck, stop),
        "failures": (floor, shifts, orders, no_failures, None),
        "overtime and nights": (alone, closed, orders, luck, stop),
        "laminated returns": (floor, shifts, one_way, luck, stop),
        "remakes": (floor, shifts, once, luck, stop),
    }


def seconds(work: Callable[[Any], object], given: Callable[[], Any]) -> float:
    """Return the processor time of one run on what is given, made beforehand."""
    ready = given()
    start = time.process_time()
    work(ready)
    return time.process_time() - start


Run = Callable[[], float]


class Paired(NamedTuple):
    """A ratio of two times: the median of all pairs, and the range of the repeats' medians."""

    ratio: float
    least: float
    largest: float


def paired(one: Run, other: Run, repeats: int, pairs: int) -> Paired:
    """Return how many times longer `one` takes than `other`."""
    ratios = np.empty((repeats, pairs))
    for turn in np.ndindex(ratios.shape):
        if sum(turn) % 2:
            mine, theirs = one(), other()
        else:
            theirs, mine = other(), one()
        ratios[turn] = mine / theirs
    medians = np.median(ratios, axis=1)
    return Paired(float(np.median(ratios)), float(medians.min()), float(medians.max()))


def engines(case: Case) -> dict[str, tuple[Callable[[Any], object], Callable[[], Any]]]:
    """Return every engine that is there, and how to give it a shop."""
    found: dict[str, tuple[Callable[[Any], object], Callable[[], Any]]] = {}
    if compiled.can_compile():
        compiled.warm(wait=True)
        found["compiled"] = (compiled.compiled(), lambda: shop_of(*case))
        found["compiled, with checks and record"] = (lambda c: dispatched(*c), lambda: case)
    found["plain Python"] = (compiled.plain, lambda: shop_of(*case))
    try:
        from capex.decision.audit.simpy_floor import simpy_dispatched
    except ImportError:
        return found
    found["SimPy"] = (lambda c: simpy_dispatched(*c), lambda: case)
    return found


#: Run in a process of its own: seconds on the clock to the first result.
FRESH = """
import sys, time
import capex.shopfloor.year.kernel
sys.path.insert(0, {here!r})
import year
case = year.full()
start = time.perf_counter(), time.process_time()
year.compiled.warm(wait={wait})
year.dispatched(*case)
print(time.perf_counter() - start[0], time.process_time() - start[1])
"""


def fresh(*, wait: bool) -> tuple[float, float]:
    """Return time on the clock and of the processor to the first result in a fresh process."""
    code = FRESH.format(here=str(Path(__file__).parent), wait=wait)
    if not wait:
        code = code.replace("year.compiled.warm(wait=False)\n", "")
    runs = []
    for _ in range(3):
        out = subprocess.run(
            [sys.executable, "-c", code], check=True, capture_output=True, text=True
        )
        clock, processor = out.stdout.split()
        runs.append((float(clock), float(processor)))
    return min(runs)


def main() -> None:
    case = full()
    steps = shop_of(*case).begun.size
    print(f"{COUNT} orders and {steps} steps a year, {DAYS} days")
    found = engines(case)
    rounds: dict[str, list[float]] = {name: [] for name in found}
    for _ in range(9):
        for name, engine in found.items():
            times = 5 if name.startswith("compiled") else 1  # one is short beside the others
            rounds[name].append(sum(seconds(*engine) for _ in range(times)) / times)
    for name, took in rounds.items():
        least = min(took)
        print(f"{name:34} {least * 1e3:8.1f} ms, {1 / least:7.1f} shop-years a second", end="")
        ratio = np.divide(rounds.get("SimPy", took), took)
        low, middle, high = np.quantile(ratio, [0.25, 0.5, 0.75])
        print(f", {middle:6.1f} × SimPy ({low:.1f} to {high:.1f})" if "SimPy" in rounds else "")
    fastest, (work, given) = next(iter(found.items()))
    whole = partial(seconds, work, given)
    same = paired(whole, whole, 5, 15)
    print("{}: with itself {:+.1%} ({:+.1%} to {:+.1%}), what is left to chance".format(
        fastest, *(1.0 - 1.0 / part for part in same)))  # fmt: skip
    for feature, other in without().items():
        costs = paired(whole, partial(seconds, work, partial(shop_of, *other)), 5, 15)
        print("{}: {} cost {:+.1%} of the time ({:+.1%} to {:+.1%})".format(
            fastest, feature, *(1.0 - 1.0 / part for part in costs)))  # fmt: skip
    print("first result in a fresh process, imports of capex done: {:.2f} s on the clock, {:.2f} s "
          "of the processor, in plain Python".format(*fresh(wait=False)))  # fmt: skip
    if compiled.can_compile():
        print("the same, the compiled dispatcher loaded from disk first: {:.2f} s on the clock, "
              "{:.2f} s of the processor".format(*fresh(wait=True)))  # fmt: skip


if __name__ == "__main__":
    main()
