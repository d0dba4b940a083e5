"""Print how fast the path is, as ratios measured in one run.

    python tests/benchmarks/appraisal.py

Nothing is asserted: figures depend on the machine and on what else it does. Goals: one appraisal
of the demo (4 alternatives, 120 months) within 30 ms, a batch of 4,096 within 0.6 ms a scenario,
NPV and IRR kernels at least 40 times numpy-financial's loop at 10,000 × 11.
"""

# ruff: noqa: T201
from __future__ import annotations

import itertools
import math
import time
from collections.abc import Callable
from functools import partial
from statistics import median

import numpy as np
import numpy_financial as npf

from capex.decision.appraise import appraise
from capex.finance.discounting import net_present_value, periodic_discount_factors
from capex.finance.rate_of_return import internal_rate_of_return
from capex.shopfloor.contour import drawn_contour
from capex.shopfloor.curves import Line
from capex.shopfloor.cutting import contour_time
from capex.study import data_folder, read_study


def seconds(work: Callable[[], object], repeats: int) -> float:
    """Return the median time of a piece of work, after one run to warm up."""
    work()
    times = []
    for _ in range(repeats):
        start = time.perf_counter()
        work()
        times.append(time.perf_counter() - start)
    return median(times)


def appraisal() -> None:
    """Compare one appraisal with a batch."""
    study = read_study(data_folder() / "studies" / "quenlow.toml")
    rng = np.random.default_rng(20261125)
    count = 4096
    batch = {
        "money.horizon": np.full(count, 120.0),
        "levers.demand": rng.uniform(0.7, 1.6, count),
        "levers.price": rng.uniform(0.9, 1.1, count),
        "levers.print_rate": rng.uniform(0.8, 1.2, count),
        "levers.cut_speed": rng.uniform(0.8, 1.2, count),
        "levers.machine_price": rng.uniform(0.9, 1.1, count),
        "shop.people.wage": rng.uniform(18, 28, count) / 3600,
        "money.discount_rate": rng.uniform(0.08, 0.14, count),
        "inks.solvent.price": rng.uniform(90e3, 190e3, count),
    }
    single = seconds(lambda: appraise(study, {"money.horizon": 120}), 20)
    whole = seconds(lambda: appraise(study, batch).net_present_value, 3)
    each = whole / count
    print("Appraisal of the demo: 4 alternatives, 120 months")
    print(f"  one                  {single * 1e3:8.2f} ms   goal 30 ms")
    print(f"  batch of {count:,}       {each * 1e3:8.3f} ms a scenario   goal 0.6 ms")
    print(f"  ratio one / batch    {single / each:8.1f}")


def kernels() -> None:
    """Compare the kernels with numpy-financial's loop on the same flows."""
    rng = np.random.default_rng(1)
    flows = np.concatenate(
        [-rng.uniform(5e3, 3e4, (10_000, 1)), rng.uniform(500, 9e3, (10_000, 10))], axis=1
    )
    rates = rng.uniform(0.02, 0.2, 10_000)
    ours = seconds(lambda: net_present_value(flows, periodic_discount_factors(rates, 10)), 5)
    theirs = seconds(
        lambda: [npf.npv(rate, flow) for rate, flow in zip(rates, flows, strict=True)], 1
    )
    print("Kernels at 10,000 × 11, against numpy-financial's loop; goal 40 times")
    print(f"  NPV  {ours * 1e3:8.2f} ms against {theirs * 1e3:8.1f} ms: {theirs / ours:6.0f} times")
    ours = seconds(lambda: internal_rate_of_return(flows), 5)
    theirs = seconds(lambda: [npf.irr(flow) for flow in flows], 1)
    print(f"  IRR  {ours * 1e3:8.2f} ms against {theirs * 1e3:8.1f} ms: {theirs / ours:6.0f} times")


def artwork() -> None:
    """Compare a contour of 10,000 segments with one of 100."""
    knife = {"speed": 1.0, "acceleration": 10.0}
    times = {}
    for count in (100, 10_000):
        angle = np.linspace(0, math.tau, count + 1)
        points = 0.5 * np.exp(1j * angle) * (1 + 0.2 * np.sin(40 * angle))
        contour = drawn_contour([[Line(*pair) for pair in itertools.pairwise(points)]])
        times[count] = seconds(partial(contour_time, contour, **knife), 20)
    print("Cut time of one contour")
    for count, time_taken in times.items():
        print(f"  {count:6,} segments {time_taken * 1e3:8.3f} ms")
    print(f"  ratio {times[10_000] / times[100]:8.1f} for 100 times the segments")


if __name__ == "__main__":
    appraisal()
    artwork()
    kernels()
