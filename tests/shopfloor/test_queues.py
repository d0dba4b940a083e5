"""Queues at stations: full months against a simulation, overtime, part time, and laws."""

import random
import statistics

import numpy as np
import pytest
from simulated_cell import Path

from capex.shopfloor.queues import highest_utilization, station_queues
from capex.shopfloor.visits import visits


@pytest.mark.parametrize("run", [1, 2, 4])
def test_against_a_simulation_of_a_station_that_is_full_for_some_months(run):
    """Work comes exactly as fast as it is done, from an empty start: mean wait in the last month.

    The formula is the limit of many short orders; 21 days of 12 orders come within 5 %.
    """
    days, rate, rng = 21.0, 12.0, random.Random(run)
    sample = []
    for _ in range(2_500):
        now = free = 0.0
        waits = []
        while (now := now + rng.expovariate(rate)) < run * days:
            begin = max(now, free)
            free = begin + rng.expovariate(rate)
            if now >= (run - 1) * days:
                waits.append(begin - now)
        sample.append(statistics.fmean(waits))
    half = 3.3 * statistics.stdev(sample) / len(sample) ** 0.5  # 99.9 %
    variance = 2.0 / rate
    limit = highest_utilization(
        np.ones((1, 1, run)), np.full((1, 1, run), variance), np.full((1, 1, 1), days)
    )[0, 0, -1]
    steady = variance / 2 * limit / (1 - limit)
    mean = statistics.fmean(sample)
    assert half < 0.07 * mean
    assert abs(steady - mean) < half + 0.05 * mean


def test_a_full_station_is_marked_and_its_queue_stays_finite():
    path = Path("all_in_one", {"levers.demand": 3.0, "shop.after_purchase.ramp_up": 0.0})
    found = path.lead_times()
    assert found.utilization[0, 0].max() == pytest.approx(1.0)
    full = found.utilization[0, 0] > 0.999
    assert found.saturated[0, 0, full].all()
    assert found.saturated_month[0, full].all()
    assert found.above_planned_load[0, 0, full].all()
    assert np.isfinite(found.mean).all()
    assert (found.longest_queue[0, full] == 0).all()


def test_law_two_full_machines_build_the_queue_of_twice_as_many_orders():
    """Everything doubled: the same full months, half the variance a machine."""
    both = {
        "levers.demand": [8.0, 16.0],
        "shop.people.operators": [50.0, 100.0],
        "shop.people.finishers": [50.0, 100.0],
        "shop.after_purchase.ramp_up": 0.0,
        **{f"alternatives.all_in_one.machines.{k}.count": [1.0, 2.0] for k in (0, 1)},
    }
    path = Path("all_in_one", both, months=1)
    stages = (path.study, path.choice, path.routes, path.output, visits(path.mix, path.routes))
    found = station_queues(*stages)
    assert found.saturated[:, 0].all()
    one, two = found.each[:, 0, 0]
    built = 4 / 3 * (2 * path.study.shop.hours.days_per_month.likely / np.pi) ** 0.5
    spread = 2 * one / built  # σ of the single machine, from its own queue σ/2 · built
    odds = built / (spread / 2**0.5)
    meant = odds / (1 + odds)
    assert two == pytest.approx(spread**2 / 2 * meant ** (6**0.5 - 1) / (2 * (1 - meant)), rel=1e-9)


def test_law_a_queue_builds_while_full_months_follow_each_other_and_drains_in_between():
    busy = np.array([[[0.2, 1.0, 1.0, 1.0, 0.3, 1.0]]])
    limit = highest_utilization(busy, np.full((1, 1, 6), 0.3), np.full((1, 1, 1), 21.0))[0, 0]
    assert limit[1] < limit[2] < limit[3] < 1
    assert limit[1] == limit[5] == limit[0] == limit[4]


def test_law_nothing_jumps_where_a_station_becomes_full():
    load = np.linspace(0.8, 1.0, 2_001)[:, None, None]
    variance, days = np.full(load.shape, 0.3), np.full((1, 1, 1), 21.0)
    meant = np.minimum(load, highest_utilization(load, variance, days))[:, 0, 0]
    steady = meant / (1 - meant)
    assert (np.diff(steady) >= 0).all()
    assert np.diff(steady).max() < 0.02 * steady.max()


def test_a_part_time_operator_works_at_that_part_of_the_pace():
    path = Path("separate", {"shop.people.operators": [0.5, 1.0, 2.0]})
    stages = (path.study, path.choice, path.routes, path.output, visits(path.mix, path.routes))
    operators = [s.work for s in path.routes.stations].index("operators")
    pace = station_queues(*stages).pace[:, operators, 5]
    assert pace[0] == pytest.approx(2 * pace[1])
    assert pace[2] == pytest.approx(pace[1])


def test_overtime_adds_to_the_time_there_is():
    short = {
        "levers.demand": 2.2,
        "shop.hours.overtime_per_month": 40 * 3600.0,
        "shop.people.wage": 1.0 / 3600,  # so that overtime pays
    }
    path = Path("all_in_one", short)
    found = path.lead_times()
    assert path.output.overtime.max() > 0
    assert found.utilization.max() <= 1 + 1e-9
    worked = path.output.used / np.where(path.output.available > 0, path.output.available, 1)
    assert worked.max() > 1.01
