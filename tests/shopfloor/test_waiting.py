"""Waiting: published examples, a plain event simulation, exact formulas, and laws."""

import csv
import heapq
import json
import random
import statistics
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from capex.errors import InputError
from capex.shopfloor.erlang import delay_probability, exponential_queue_time, idle_probability
from capex.shopfloor.waiting import (
    departure_scv,
    effective_process_time,
    parse_utilization,
    process_time_of_moments,
    process_time_with_set_ups,
    queue_time,
)

DATA = Path(__file__).parents[2] / "data"
shares = st.floats(0.01, 0.98)
scvs = st.floats(0.0, 9.0)
times = st.floats(0.01, 100.0)


def rows():
    with (DATA / "published" / "waiting.csv").open(encoding="utf-8", newline="") as lines:
        return list(csv.DictReader(lines))


def published(kind):
    found = [row for row in rows() if row["case"].partition(":")[0] == kind]
    assert found, kind
    return [
        pytest.param(
            json.loads(row["inputs"]),
            float(Fraction(row["expected"])),
            float(row["tolerance"]),
            id=row["case"],
        )
        for row in found
    ]


def station(inputs, service):
    """Return every figure of one station by name."""
    arrivals, time = inputs["arrivals"], float(Fraction(inputs["process_time"]))
    waits, idle = service(time, arrivals * time / inputs.get("servers", 1))
    return {
        "queue": waits,
        "time": waits + time,
        "waiting": arrivals * waits,
        "number": arrivals * (waits + time),
        "idle": idle,
    }


@pytest.mark.parametrize(("inputs", "expected", "tolerance"), published("station"))
def test_published_single_servers(inputs, expected, tolerance):
    scv = inputs.get("process_scv", 1.0)
    found = station(inputs, lambda time, busy: (queue_time(time, busy, process_scv=scv), 1 - busy))
    assert found[inputs["result"]] == pytest.approx(expected, abs=tolerance)


@pytest.mark.parametrize(("inputs", "expected", "tolerance"), published("exponential"))
def test_published_parallel_servers(inputs, expected, tolerance):
    count = inputs["servers"]
    found = station(
        inputs,
        lambda time, busy: (
            exponential_queue_time(time, busy, count),
            idle_probability(busy, count),
        ),
    )
    assert found[inputs["result"]] == pytest.approx(expected, abs=tolerance)


@pytest.mark.parametrize(("inputs", "expected", "tolerance"), published("tandem"))
def test_published_tandem(inputs, expected, tolerance):
    arrivals, scv, time = inputs["arrivals"], 1.0, 0.0
    for mean in (float(Fraction(text)) for text in inputs["process_times"]):
        busy = arrivals * mean
        time += mean + queue_time(mean, busy, arrival_scv=scv)
        scv = departure_scv(busy, arrival_scv=scv, process_scv=1.0)
    found = {"time": time, "number": arrivals * time}
    assert found[inputs["result"]] == pytest.approx(expected, abs=tolerance)


@pytest.mark.parametrize(("inputs", "expected", "tolerance"), published("breakdowns"))
def test_published_breakdowns(inputs, expected, tolerance):
    fit = inputs["up"] / (inputs["up"] + inputs["down"])
    time = effective_process_time(
        inputs["process_time"],
        inputs["process_scv"],
        availability=fit,
        repair_time=inputs["down"],
    )
    busy = inputs.get("arrivals_per_hour", 0.0) * time.mean / 60
    found = {
        "availability": fit,
        "mean": time.mean,
        "scv": time.scv,
        "utilization": busy,
        "queue": queue_time(time.mean / 60, busy, process_scv=time.scv),
    }
    assert found[inputs["result"]] == pytest.approx(expected, abs=tolerance)


@pytest.mark.parametrize(("inputs", "expected", "tolerance"), published("set_ups"))
def test_published_set_ups(inputs, expected, tolerance):
    result = inputs.pop("result")
    found = process_time_with_set_ups(**inputs)
    assert getattr(found, result) == pytest.approx(expected, abs=tolerance)


def test_every_published_row_is_checked_and_has_a_source():
    with (DATA / "sources.csv").open(encoding="utf-8", newline="") as lines:
        sources = {row["id"] for row in csv.DictReader(lines)}
    kinds = {"station", "exponential", "tandem", "breakdowns", "set_ups"}
    assert {row["case"].partition(":")[0] for row in rows()} == kinds
    assert {row["source"] for row in rows()} <= sources
    assert all(float(row["tolerance"]) > 0 for row in rows())


# ------------------------------------------------------------------ event simulation


def simulated_wait(draw, service, arrivals, servers, rng, orders=12_000):
    """Return the mean wait of a first-come-first-served queue; the first sixth warms it up."""
    free = [0.0] * servers
    now = total = 0.0
    for number in range(orders):
        now += draw(rng) / arrivals
        begin = max(now, heapq.heappop(free))
        heapq.heappush(free, begin + service(rng))
        if number >= orders // 6:
            total += begin - now
    return total / (orders - orders // 6)


def interval(sample):
    """Return mean and half width of the 99.9 % interval over independent repetitions."""
    half = 3.65 * statistics.stdev(sample) / len(sample) ** 0.5  # Student, 30 repetitions
    return statistics.fmean(sample), half


def exponential(rng):
    return rng.expovariate(1.0)


def two_step(rng):
    """Return printing, exponential with mean .4, and at once cutting, constant .2."""
    return 0.4 * rng.expovariate(1.0) + 0.2


#: Means and variances of independent steps add.
TWO_STEP = process_time_of_moments(0.6, 0.6**2 + 0.4**2)

QUEUES = {
    "M/M/1": (lambda rng: 0.3 * exponential(rng), 1, 2.5, queue_time(0.3, 0.75)),
    "M/D/1": (lambda rng: 0.3, 1, 2.5, queue_time(0.3, 0.75, process_scv=0.0)),
    "M/G/1, erlang-4": (
        lambda rng: 0.075 * sum(exponential(rng) for _ in range(4)),
        1,
        2.5,
        queue_time(0.3, 0.75, process_scv=0.25),
    ),
    "M/G/1, print then cut": (
        two_step,
        1,
        1.2,
        queue_time(TWO_STEP.mean, 0.72, process_scv=TWO_STEP.scv),
    ),
    "M/M/2": (exponential, 2, 1.5, exponential_queue_time(1.0, 0.75, 2)),
    "M/M/3": (exponential, 3, 2.1, exponential_queue_time(1.0, 0.7, 3)),
}


@pytest.mark.parametrize("name", QUEUES)
def test_against_a_plain_event_simulation(name):
    service, servers, arrivals, formula = QUEUES[name]
    rng = random.Random(20270101)
    sample = [simulated_wait(exponential, service, arrivals, servers, rng) for _ in range(30)]
    mean, half = interval(sample)
    assert half < 0.12 * mean
    assert abs(mean - formula) < half


def test_against_a_simulation_of_breakdowns_while_working():
    up, down, work, arrivals = 3.0, 0.6, 0.5, 1.25
    fit = up / (up + down)
    time = effective_process_time(work, 0.0, availability=fit, repair_time=down)

    def service(rng):
        total, left = work, rng.expovariate(1 / up)
        worked = 0.0
        while worked + left < work:
            worked += left
            total += rng.expovariate(1 / down)
            left = rng.expovariate(1 / up)
        return total

    rng = random.Random(7)
    sample = [simulated_wait(exponential, service, arrivals, 1, rng) for _ in range(30)]
    mean, half = interval(sample)
    assert half < 0.12 * mean
    formula = queue_time(time.mean, arrivals * time.mean, process_scv=time.scv)
    assert abs(mean - formula) < half


def test_against_a_simulation_of_departures_from_one_server():
    # Erlang-2 arrivals, Erlang-4 work: the linking equation is an approximation, good to 10 %.
    rng = random.Random(11)
    found = []
    for _ in range(30):
        now = free = 0.0
        gaps = []
        for _ in range(6_000):
            now += sum(exponential(rng) for _ in range(2)) / 2
            last = free
            free = max(now, free) + 0.2 * sum(exponential(rng) for _ in range(4))
            gaps.append(free - last)
        found.append(statistics.variance(gaps) / statistics.fmean(gaps) ** 2)
    mean, half = interval(found)
    formula = departure_scv(0.8, arrival_scv=0.5, process_scv=0.25)
    assert half < 0.02
    assert formula == pytest.approx(mean, rel=0.10)


# ------------------------------------------------------------------ laws


def test_law_little_holds_in_the_simulation_that_the_formulas_are_checked_with():
    # Orders present, integrated over time, against arrivals × time there, order by order.
    rng = random.Random(3)
    now = free = 0.0
    arrived, left = [], []
    for _ in range(5_000):
        now += exponential(rng)
        free = max(now, free) + 0.7 * exponential(rng)
        arrived.append(now)
        left.append(free)
    changes = sorted([(time, 1) for time in arrived] + [(time, -1) for time in left])
    present, area, last = 0, 0.0, 0.0
    for time, change in changes:
        area += present * (time - last)
        present, last = present + change, time
    there = sum(out - come for come, out in zip(arrived, left, strict=True))
    assert area == pytest.approx(there, rel=1e-9)
    # and M/M/1 by Little: L = u/(1 − u)
    busy = np.linspace(0.05, 0.95, 19)
    assert busy * (queue_time(1.0, busy) + 1.0) == pytest.approx(busy / (1 - busy), rel=1e-12)


@given(shares, shares, scvs, scvs, st.floats(1, 12))
def test_law_waiting_grows_with_utilization_and_variability(one, other, low, high, servers):
    less, more = sorted((one, other))
    calm, wild = sorted((low, high))

    def wait(busy, scv):
        return float(queue_time(1.0, busy, process_scv=scv, servers=servers))

    assert wait(less, calm) <= wait(more, calm)
    assert wait(less, calm) <= wait(less, wild)
    assert queue_time(1.0, less, servers=servers + 1) <= wait(less, 1.0)


@given(times, st.floats(0.0, 0.98), scvs, scvs)
def test_law_waiting_scales_with_the_unit_of_time(time, busy, arrival, process):
    one = queue_time(time, busy, arrival_scv=arrival, process_scv=process)
    sixty = queue_time(60 * time, busy, arrival_scv=arrival, process_scv=process)
    assert sixty == pytest.approx(60 * one, rel=1e-12)


def test_law_limits():
    assert queue_time(5.0, 0.0) == 0
    assert queue_time(5.0, 0.9, arrival_scv=0.0, process_scv=0.0) == 0
    assert queue_time(1.0, 1 - 1e-9) == pytest.approx(1e9, rel=1e-6)
    assert departure_scv(0.0, arrival_scv=0.3, process_scv=2.0) == pytest.approx(0.3)
    assert departure_scv(1.0, arrival_scv=0.3, process_scv=2.0) == pytest.approx(2.0)
    assert delay_probability(0.0, 3) == 0
    assert idle_probability(0.0, 3) == 1
    never_down = effective_process_time(4.0, 0.7, availability=1.0, repair_time=9.0)
    assert (float(never_down.mean), float(never_down.scv)) == (4.0, 0.7)
    no_set_up = process_time_with_set_ups(
        4.0, 0.7, set_up_time=0.0, set_up_scv=1.0, orders_per_set_up=3
    )
    assert (float(no_set_up.mean), float(no_set_up.scv)) == pytest.approx((4.0, 0.7))


@given(shares, st.floats(0.05, 0.95), times, times)
def test_law_one_long_stop_hurts_more_than_many_short_ones(busy, fit, work, repair):
    short = effective_process_time(work, 0.5, availability=fit, repair_time=repair)
    long = effective_process_time(work, 0.5, availability=fit, repair_time=2 * repair)
    assert short.mean == long.mean
    assert short.scv < long.scv
    assert queue_time(short.mean, busy, process_scv=short.scv) < queue_time(
        long.mean, busy, process_scv=long.scv
    )


@given(times, st.floats(0, 3))
def test_law_moments_of_one_kind_of_visit_are_its_own(time, scv):
    found = process_time_of_moments(time, time**2 * (1 + scv))
    assert found.mean == time
    assert found.scv == pytest.approx(scv, abs=1e-9)


def test_a_station_without_visits_has_no_time_and_no_spread():
    found = process_time_of_moments([0.0, 2.0], [0.0, 4.0 * (1 - 1e-12)])
    assert found.mean.tolist() == [0.0, 2.0]
    assert found.scv.tolist() == [0.0, 0.0]


def test_against_sampled_moments_of_a_mixture():
    generator = np.random.default_rng(5)
    kind = generator.choice(2, size=400_000, p=[0.3, 0.7])
    sample = np.where(
        kind == 0, generator.exponential(2.0, kind.size), generator.uniform(0.5, 1.5, kind.size)
    )
    mean, square = 0.3 * 2.0 + 0.7 * 1.0, 0.3 * 2 * 2.0**2 + 0.7 * (1 + 1 / 12)
    found = process_time_of_moments(mean, square)
    assert found.mean == pytest.approx(sample.mean(), rel=0.01)
    assert found.scv == pytest.approx(sample.var() / sample.mean() ** 2, rel=0.03)


def test_every_argument_broadcasts_over_scenarios():
    busy = np.array([[0.1], [0.5]])
    found = queue_time([1.0, 2.0, 3.0], busy, servers=[1, 2, 4])
    assert found.shape == (2, 3)
    one_by_one = [[float(queue_time(t, u, servers=m)) for t, m in ((1, 1), (2, 2), (3, 4))]
                  for u in (0.1, 0.5)]  # fmt: skip
    assert found == pytest.approx(np.array(one_by_one))
    assert delay_probability(busy, [1, 2, 3]) == pytest.approx(
        np.array([[float(delay_probability(u, m)) for m in (1, 2, 3)] for u in (0.1, 0.5)])
    )


# ------------------------------------------------------------------ refusals


@pytest.mark.parametrize("busy", [1.0, 1.2, [0.5, 1.0]])
def test_refuses_a_station_that_never_catches_up(busy):
    for function in (
        parse_utilization,
        lambda u: queue_time(1.0, u),
        lambda u: delay_probability(u, 2),
        lambda u: idle_probability(u, 2),
        lambda u: exponential_queue_time(1.0, u, 2),
    ):
        with pytest.raises(InputError, match=r"^utilization: 1\.[02] must be less than 1"):
            function(busy)


@pytest.mark.parametrize("bad", [float("nan"), -0.1, float("inf")])
def test_refuses_what_is_not_a_time_or_a_share(bad):
    with pytest.raises(InputError, match="utilization"):
        queue_time(1.0, bad)
    with pytest.raises(InputError, match="process_time"):
        queue_time(bad, 0.5)
    with pytest.raises(InputError, match="process_scv"):
        queue_time(1.0, 0.5, process_scv=bad)


def test_refuses_impossible_moments_no_availability_and_half_a_server():
    with pytest.raises(InputError, match=r"^square: 0\.75 must be at least 1 times the square"):
        process_time_of_moments(2.0, 3.0)
    with pytest.raises(InputError, match="time"):
        process_time_of_moments(-1.0, 1.0)
    with pytest.raises(InputError, match="availability"):
        effective_process_time(1.0, 0.0, availability=0.0, repair_time=1.0)
    with pytest.raises(InputError, match="whole number"):
        delay_probability(0.5, 1.5)
    with pytest.raises(InputError, match="servers"):
        queue_time(1.0, 0.5, servers=0.5)
