"""Sequences: published instances, enumeration, a constraint solver, laws and refusals."""

import csv
import itertools
import json
from pathlib import Path

import numpy as np
import pytest
from constraint_models import flow_shop_sequence, job_shop_order
from hypothesis import given, settings
from hypothesis import strategies as st
from taillard_times import taillard_times

from capex.errors import InputError
from capex.shopfloor.batch.lower_bounds import (
    flow_shop_lower_bound,
    job_shop_lower_bound,
    reentrant_lower_bound,
)
from capex.shopfloor.batch.sequences import (
    completion_times,
    job_shop_completion_times,
    johnson_mitten_sequence,
    johnson_sequence,
    makespan,
)
from capex.shopfloor.batch.streaming import (
    alternating_makespan,
    cycle_time,
    reentrant_makespan,
    speed_up,
    streamed_makespan,
)

DATA = Path(__file__).parents[3] / "data"


def published(kind):
    with (DATA / "sources.csv").open(encoding="utf-8", newline="") as lines:
        sources = {row["id"] for row in csv.DictReader(lines)}
    cases = []
    with (DATA / "published" / "sequencing.csv").open(encoding="utf-8", newline="") as lines:
        for row in csv.DictReader(lines):
            if row["case"].partition(":")[0] == kind:
                assert row["source"] in sources
                numbers = (float(row["expected"]), float(row["tolerance"]))
                cases.append(pytest.param(json.loads(row["inputs"]), *numbers, id=row["case"]))
    assert cases, kind
    return cases


def every_makespan(times, lags=0.0):
    """Return the makespan of every sequence: a scenario each."""
    sequences = np.array(list(itertools.permutations(range(len(times)))))
    return makespan(completion_times(np.array([times], dtype=float), sequences, lags))


@pytest.mark.parametrize(("inputs", "expected", "tolerance"), published("johnson"))
def test_published_johnson(inputs, expected, tolerance):
    times = np.array([inputs["times"]], dtype=float)
    sequence = johnson_sequence(times[..., 0], times[..., 1])
    assert makespan(completion_times(times, sequence)) == pytest.approx(expected, abs=tolerance)
    assert every_makespan(inputs["times"]).min() == pytest.approx(expected, abs=tolerance)
    if "sequence" in inputs:
        printed = makespan(completion_times(times, inputs["sequence"]))
        assert printed == pytest.approx(expected, abs=tolerance)


@pytest.mark.parametrize(("inputs", "expected", "tolerance"), published("flow shop in sequence"))
def test_published_flow_shop_in_sequence(inputs, expected, tolerance):
    ends = completion_times([inputs["times"]], inputs["sequence"])
    assert makespan(ends) == pytest.approx(expected, abs=tolerance)


@pytest.mark.parametrize(("inputs", "expected", "tolerance"), published("flow shop optimum"))
def test_published_flow_shop_optimum(inputs, expected, tolerance):
    assert every_makespan(inputs["times"]).min() == pytest.approx(expected, abs=tolerance)


@pytest.mark.parametrize(("inputs", "expected", "tolerance"), published("flow shop solved"))
def test_published_flow_shop_in_the_sequence_that_a_solver_finds(inputs, expected, tolerance):
    sequence, found, bound = flow_shop_sequence(inputs["times"])
    assert found == bound == pytest.approx(expected, abs=tolerance)
    ends = completion_times([inputs["times"]], sequence)
    assert makespan(ends) == pytest.approx(expected, abs=tolerance)


@pytest.mark.parametrize(("inputs", "expected", "tolerance"), published("taillard"))
def test_published_taillard_in_the_sequence_that_a_solver_found(inputs, expected, tolerance):
    times = taillard_times(inputs["seed"], inputs["jobs"], inputs["machines"])
    ends = completion_times([times], inputs["sequence"])
    assert makespan(ends) == pytest.approx(expected, abs=tolerance)


@pytest.mark.parametrize(("inputs", "expected", "tolerance"), published("taillard bound"))
def test_published_taillard_bounds(inputs, expected, tolerance):
    times = taillard_times(inputs["seed"], inputs["jobs"], inputs["machines"])
    assert flow_shop_lower_bound([times]) == pytest.approx(expected, abs=tolerance)


@pytest.mark.parametrize(("inputs", "expected", "tolerance"), published("job shop solved"))
def test_published_job_shop_in_the_order_that_a_solver_finds(inputs, expected, tolerance):
    times, machines = inputs["times"], inputs["machines"]
    order, found, bound = job_shop_order(times, machines)
    assert found == bound == pytest.approx(expected, abs=tolerance)
    ends = job_shop_completion_times([times], machines, order)
    assert makespan(ends) == pytest.approx(expected, abs=tolerance)
    assert job_shop_lower_bound([times], machines)[0] <= expected


@pytest.mark.parametrize(("inputs", "expected", "tolerance"), published("streamed"))
def test_published_streams(inputs, expected, tolerance):
    assert streamed_makespan(**inputs) == pytest.approx(expected, abs=tolerance)
    times = [[[inputs["first"], inputs["second"]]] * inputs["count"]]
    ends = completion_times(times, lags=inputs["lag"])
    assert makespan(ends) == pytest.approx(expected, abs=tolerance)


whole = st.integers(0, 20)


def tables(machines, jobs=5):
    return st.lists(st.lists(whole, min_size=machines, max_size=machines),
                    min_size=1, max_size=jobs)  # fmt: skip


@given(tables(2))
def test_against_enumeration_johnson(times):
    table = np.array([times], dtype=float)
    found = makespan(completion_times(table, johnson_sequence(table[..., 0], table[..., 1])))
    assert found[0] == every_makespan(times).min()


@given(tables(4))
def test_against_enumeration_johnson_mitten(rows):
    """With lags as start and stop lags ask for: negative ones too, where work overlaps."""
    table = np.array([rows], dtype=float)
    times = table[..., :2]
    lags = (table[..., 2:] - times).max(axis=-1, keepdims=True)
    sequence = johnson_mitten_sequence(times[..., 0], times[..., 1], lags[..., 0])
    found = makespan(completion_times(times, sequence, lags))
    assert found[0] == every_makespan([row[:2] for row in rows], lags).min()


@given(tables(3, jobs=6), st.randoms())
def test_against_a_plain_recursion(times, random):
    sequence = random.sample(range(len(times)), len(times))
    free = [0.0] * 3
    found = completion_times([times], sequence, lags=2.0)[0]
    for job in sequence:
        ready = 0.0
        for m in range(3):
            free[m] = max(free[m], ready) + times[job][m]
            ready = free[m] + 2.0
        assert found[job].tolist() == free


def reentrant_optimum(jobs):
    """Return the shortest makespan of jobs (p, lag, c) on one machine, by enumeration."""
    best = np.inf
    visits = [job for job in range(len(jobs)) for _ in range(2)]
    for order in set(itertools.permutations(visits)):
        free, back = 0.0, {}
        for job in order:
            p, lag, c = jobs[job]
            if job in back:
                free = max(free, back[job]) + c
            else:
                free += p
                back[job] = free + lag
        best = min(best, free)
    return best


@settings(max_examples=40)
@given(tables(3, jobs=3))
def test_law_no_sequence_beats_the_reentrant_bound(jobs):
    first, lags, second = (np.array([column]) for column in zip(*jobs, strict=True))
    assert reentrant_lower_bound(first, lags, second)[0] <= reentrant_optimum(jobs)


@settings(max_examples=40)
@given(whole, whole, whole, st.integers(1, 3))
def test_against_enumeration_equal_reentrant_jobs(p, lag, c, count):
    best = reentrant_optimum([(p, lag, c)] * count)
    assert reentrant_makespan(p, c, count, lag) == best
    each = [[[float(value)] * count] for value in (p, lag, c)]
    assert reentrant_lower_bound(*each)[0] == best


@given(tables(4), st.integers(0, 9))
def test_law_makespan_is_at_least_the_busiest_machine_and_the_longest_job(times, lag):
    table = np.array([times], dtype=float)
    bound = flow_shop_lower_bound(table, lag)[0]
    shortest = every_makespan(times, float(lag)).min()
    assert shortest >= bound
    assert bound >= table.sum(axis=1).max()
    assert bound >= table.sum(axis=2).max() + 3 * lag


@given(tables(3), st.sampled_from([0.25, 2.0, 8.0]))
def test_law_times_scaled_scale_the_makespan(times, factor):
    table = np.array([times], dtype=float)
    once, scaled = (makespan(completion_times(table * k, lags=3.0 * k)) for k in (1.0, factor))
    assert scaled == once * factor
    assert flow_shop_lower_bound(table * factor) == flow_shop_lower_bound(table) * factor


@given(st.lists(st.tuples(whole, st.integers(0, 2)), min_size=1, max_size=8), st.randoms())
def test_law_no_machine_works_two_jobs_at_once(flat, random):
    times = [[time, 1 + time // 2] for time, _ in flat]
    machines = [[m, (m + 1) % 3] for _, m in flat]
    order = [job for job in range(len(flat)) for _ in range(2)]
    random.shuffle(order)
    ends = job_shop_completion_times([times], machines, order)[0]
    starts = ends - np.array(times)
    assert (starts[:, 1] >= ends[:, 0]).all()
    assert (starts >= 0).all()
    for m in range(3):
        here = np.array(machines) == m
        spans = sorted(zip(starts[here], ends[here], strict=True))
        assert all(before[1] <= after[0] for before, after in itertools.pairwise(spans))
    assert ends.max() >= job_shop_lower_bound([times], machines)[0]


@given(st.floats(0.1, 99), st.floats(0.1, 99))
def test_law_a_long_stream_reaches_the_speed_up(p, c):
    count = 1e7
    ratio = alternating_makespan(p, c, count) / streamed_makespan(p, c, count)
    assert ratio == pytest.approx(float(speed_up(p, c)), rel=1e-4)
    assert 1.0 <= speed_up(p, c) <= 2.0
    assert speed_up(p, c) == pytest.approx(float((p + c) / cycle_time([p, c])), rel=1e-12)


def test_scenarios_are_sequenced_each_by_itself():
    first, second = np.array([[1.0, 9.0], [9.0, 1.0]]), np.array([[5.0, 5.0], [5.0, 5.0]])
    assert johnson_sequence(first, second).tolist() == [[0, 1], [1, 0]]
    times = np.stack([first, second], axis=2)
    both = completion_times(times, johnson_sequence(first, second))
    assert makespan(both).tolist() == [15.0, 15.0]


@pytest.mark.parametrize(
    ("call", "field"),
    [
        (lambda: johnson_sequence([[-1.0]], [[1.0]]), "first"),
        (lambda: johnson_sequence([1.0], [1.0]), "first"),
        (lambda: johnson_mitten_sequence([[1.0]], [[1.0]], [[-2.0]]), "lags"),
        (lambda: completion_times([[[np.nan]]]), "times"),
        (lambda: completion_times([[[1.0], [2.0]]], [0, 0]), "sequence"),
        (lambda: completion_times([[[1.0, 1.0]]], lags=-1.5), "lags"),
        (lambda: flow_shop_lower_bound([[[1.0, 1.0]]], lags=-0.5), "lags"),
        (lambda: job_shop_completion_times([[[1.0]]], [[0]], [0, 0]), "operation_order"),
        (lambda: job_shop_completion_times([[[1.0]]], [[0, 1]], [0]), "machines"),
        (lambda: reentrant_lower_bound([[1.0]], [[-1.0]], [[1.0]]), "lags"),
        (lambda: streamed_makespan(1.0, 1.0, 0), "count"),
        (lambda: speed_up(0.0, 0.0), "the longer of first and second"),
        (lambda: cycle_time([1.0], 0.0), "servers"),
    ],
)
def test_refuses_what_it_cannot_time(call, field):
    with pytest.raises(InputError) as error:
        call()
    assert error.value.field == field


def test_a_lag_that_is_too_short_is_named_with_its_bound_and_unit():
    with pytest.raises(InputError, match=r"lags: -3\.0 must be at least -2 s: no machine starts"):
        completion_times([[[5.0, 1.0], [2.0, 1.0]]], lags=[[[-4.0], [-3.0]]])
