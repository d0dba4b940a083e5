"""The dispatcher against queueing theory: what the formulas say, inside intervals of its long runs.

One endless day with Poisson arrivals. An interval is for 99 % of chance, from the means of 30
batches of orders in a row (each hundreds of times as long as the queue remembers), the first tenth
of the run left out; it has to be so narrow that a wrong formula falls outside.
"""

import math
import statistics
from functools import partial

import numpy as np
import pytest

from capex.shopfloor.erlang import exponential_queue_time
from capex.shopfloor.waiting import (
    effective_process_time,
    process_time_of_moments,
    queue_time,
)
from capex.shopfloor.year import compiled, kernel
from capex.shopfloor.year.plan import Floor, Luck, Orders, Shifts

HOUR = 3600.0
BATCHES = 30
QUANTILE = 2.756  # Student's t, 29 degrees of freedom, 0.995; printed in every table of it
ORDERS = 600_000
NARROW = 0.06  # the half width of an interval, as a share of the formula


@pytest.fixture(autouse=True, scope="module")
def _compiled():
    """Run compiled from the first, where numba is there: the runs are long."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(kernel, "run", partial(compiled.run, wait=True))
        yield


def interval(values):
    """Return mean and half width of the 99 % interval of correlated values in a row."""
    settled = values[len(values) // 10 :]
    means = [part.mean() for part in np.array_split(settled, BATCHES)]
    return statistics.fmean(means), QUANTILE * statistics.stdev(means) / math.sqrt(BATCHES)


def run(arrival, times, servers=(1,), later=None, *, person=False, **more):
    """Run one endless day; order i takes times[i] hours at its first step.

    Stations are machine groups with `servers` machines each, or groups of so many persons. With a
    second step, `later` is the program of each order and the second time of each program, which
    has nothing to do with the first then. `more`: stations of the steps (`at`), whether the
    machine is kept (`keeps`), a `rule`, a `luck`.
    """
    program, second = (np.zeros(len(times), dtype=np.int64), None) if later is None else later
    fixed = np.zeros((1, 1)) if second is None else np.column_stack([0.0 * second, second]) * HOUR
    programs, steps = fixed.shape
    count = programs * steps
    place = np.tile(more.get("at", range(steps)), programs)
    nowhere, no = np.full(count, -1), np.zeros(count, dtype=bool)
    keeps = np.tile(np.arange(steps) < steps - 1, programs)
    group_of = np.arange(0) if person else np.repeat(np.arange(len(servers)), servers)
    floor = Floor(
        group_of=group_of,
        persons=np.array(servers, dtype=float) if person else np.zeros(0),
        first=np.arange(programs) * steps,
        last=np.arange(programs) * steps + steps - 1,
        machine=nowhere if person else place,
        people=place if person else nowhere,
        fixed=fixed.ravel(),
        scaled=np.tile(np.arange(steps) == 0, programs) * HOUR,
        wall=no,
        alone=no,
        set_up=no,
        keeps_machine=keeps if more.get("keeps") else no,
        keeps_person=no,
        machine_rule=more.get("rule", "furthest_along"),
    )
    shifts = Shifts(
        opens=np.zeros(1),
        shift=(arrival[-1] // HOUR + 1000.0) * HOUR,  # the last orders leave long before
        overtime=0.0,
        overtime_left=np.zeros(1),
        month_of=np.zeros(1, dtype=np.int64),
        trigger=1.0,
        night=0.0,
        completion=0.0,
    )
    never = np.full((len(group_of), 1), np.inf)
    luck = more.get("luck", Luck(until=never, repair=never, night=never))
    passes = more.get("passes", np.ones(len(times), dtype=np.int64))
    orders = Orders(arrival, program, size=times, passes=passes, due=arrival)
    record = kernel.dispatched(floor, shifts, orders, luck)
    assert np.isfinite(record.finished).all()
    return record


def poisson(rng, rate, orders=ORDERS):
    """Return arrivals, `rate` of them an hour on average."""
    return np.cumsum(rng.exponential(HOUR / rate, orders))


def gamma(rng, scv, orders=ORDERS):
    """Return times of one hour on average [h]."""
    return rng.gamma(1 / scv, scv, orders) if scv else np.ones(orders)


def first_wait(record, arrival):
    return (record.begun[record.offset] - arrival) / HOUR


def agrees(measured, name, values, formula):
    """Hold a formula against a run."""
    mean, half = interval(values)
    measured(f"{name}: formula {formula:.4f} h, dispatcher {mean:.4f} ± {half:.4f} h (99 %)")
    assert half < NARROW * formula
    assert abs(mean - formula) <= half


@pytest.mark.parametrize(
    ("name", "scv", "seed"),
    [("M/M/1", 1.0, 1), ("M/D/1", 0.0, 2), ("M/G/1", 0.25, 3), ("M/G/1", 3.0, 4)],
)
def test_against_formulas_one_machine(measured, name, scv, seed):
    rng = np.random.default_rng(seed)
    arrival = poisson(rng, 0.7)
    wait = first_wait(run(arrival, gamma(rng, scv)), arrival)
    formula = float(queue_time(1.0, 0.7, process_scv=scv))
    agrees(measured, f"{name}, scv {scv}", wait, formula)


@pytest.mark.parametrize(("servers", "seed"), [(2, 5), (3, 6), (6, 7)])
def test_against_formulas_machines_side_by_side(measured, servers, seed):
    rng = np.random.default_rng(seed)
    arrival = poisson(rng, 0.7 * servers)
    wait = first_wait(run(arrival, gamma(rng, 1.0), (servers,)), arrival)
    formula = float(exponential_queue_time(1.0, 0.7, servers))
    agrees(measured, f"M/M/{servers}", wait, formula)
    # the approximation for any variability promises 4 % of a process time
    mean, half = interval(wait)
    assert abs(float(queue_time(1.0, 0.7, servers=servers)) - mean) <= half + 0.04


def test_law_persons_are_waited_for_as_machines_are():
    rng = np.random.default_rng(8)
    arrival, times = poisson(rng, 1.7, 5_000), gamma(rng, 1.0, 5_000)
    machines, persons = run(arrival, times, (2,)), run(arrival, times, (2,), person=True)
    np.testing.assert_array_equal(machines.begun, persons.begun)
    assert first_wait(persons, arrival).mean() > 0.5


#: Second times of 2,000 programs, equally likely: an hour on average, exponential and uniform.
STRATA = (np.arange(2_000) + 0.5) / 2_000
EXPONENTIAL, UNIFORM = -np.log1p(-STRATA), 0.5 + STRATA


def of_equally_likely(times):
    """Return mean and squared coefficient of variation, which the strata narrow a little."""
    return process_time_of_moments(times.mean(), (times**2).mean())


def test_against_formulas_two_machines_in_a_row(measured):
    # λ = 2, μ = 3 and 4: one unit of time there and one half. What leaves the first is Poisson
    # (Burke), so each queues by itself.
    rng = np.random.default_rng(9)
    arrival, program = poisson(rng, 2.0), rng.integers(len(STRATA), size=ORDERS)
    record = run(arrival, gamma(rng, 1.0) / 3, (1, 1), (program, EXPONENTIAL / 4))
    ended = record.ended.reshape(-1, 2)
    whole = of_equally_likely(EXPONENTIAL / 4)
    second = float(whole.mean + queue_time(whole.mean, 2 * whole.mean, process_scv=whole.scv))
    assert second == pytest.approx(0.5, rel=0.005)
    agrees(measured, "tandem, first", (ended[:, 0] - arrival) / HOUR, 1.0)
    agrees(measured, "tandem, second", (ended[:, 1] - ended[:, 0]) / HOUR, second)
    agrees(measured, "tandem, both", (record.finished - arrival) / HOUR, 1.0 + second)


def test_against_formulas_a_machine_that_prints_and_cuts(measured):
    # The order comes back the moment it is printed. Furthest along, it goes before all others, so
    # the machine serves it through: an M/G/1 whose time is the sum, S = p + c.
    rng = np.random.default_rng(10)
    arrival, program = poisson(rng, 1.0), rng.integers(len(STRATA), size=ORDERS)
    printing, cutting = 0.5 * gamma(rng, 1.0), (program, 0.25 * UNIFORM)
    record = run(arrival, printing, later=cutting, at=[0, 0])
    each = of_equally_likely(0.25 * UNIFORM)
    mean, variance = 0.5 + each.mean, 0.5**2 + each.scv * each.mean**2
    whole = process_time_of_moments(mean, mean**2 + variance)
    formula = float(queue_time(whole.mean, whole.mean, process_scv=whole.scv))
    agrees(measured, "prints and cuts", first_wait(record, arrival), formula)
    begun, ended = record.begun.reshape(-1, 2), record.ended.reshape(-1, 2)
    np.testing.assert_array_equal(begun[:, 1], ended[:, 0])
    # and as one that says it stays on its machine
    kept = run(arrival, printing, later=cutting, at=[0, 0], keeps=True)
    np.testing.assert_array_equal(kept.ended, record.ended)


def test_who_goes_first_decides_how_long_orders_are_there(measured):
    # Printing always takes less than cutting, so with the shortest step first all is printed
    # before anything is cut, and the formula of one that is served through no longer holds.
    rng = np.random.default_rng(11)
    arrival, later = poisson(rng, 1.0), (np.zeros(ORDERS, dtype=np.int64), np.array([0.5]))
    through, last = (
        (run(arrival, np.full(ORDERS, 0.25), later=later, at=[0, 0], rule=rule).finished - arrival)
        / HOUR
        for rule in ("furthest_along", "shortest")
    )
    formula = 0.75 + float(queue_time(0.75, 0.75, process_scv=0.0))
    agrees(measured, "prints and cuts, served through", through, formula)
    mean, half = interval(last)
    measured(f"prints and cuts, all printed first: {mean:.4f} ± {half:.4f} h (99 %)")
    assert mean - half > 1.1 * formula


def test_against_formulas_two_types_on_one_machine(measured):
    rng = np.random.default_rng(12)
    kind = rng.uniform(size=ORDERS) < 0.25
    times = np.where(kind, 2.0 * gamma(rng, 0.5), 0.4 * gamma(rng, 1.0))
    arrival = poisson(rng, 0.8)
    squares = 0.25 * 1.5 * 2.0**2 + 0.75 * 2.0 * 0.4**2
    mixed = process_time_of_moments(0.25 * 2.0 + 0.75 * 0.4, squares)
    formula = float(queue_time(mixed.mean, 0.8 * mixed.mean, process_scv=mixed.scv))
    agrees(measured, "two types", first_wait(run(arrival, times), arrival), formula)


def test_against_formulas_a_machine_that_fails(measured):
    # Failures after exponential operating times: the formula is exact. The machine works for 6 h
    # between failures, a repair takes 2 h; an order has 0.75 h of work, so 1 h with its repairs.
    rng = np.random.default_rng(13)
    arrival = poisson(rng, 0.7)
    draws = ORDERS // 4
    luck = Luck(
        until=rng.exponential(6 * HOUR, (1, draws)),
        repair=rng.exponential(2 * HOUR, (1, draws)),
        night=np.ones((1, 1)),
    )
    record = run(arrival, 0.75 * gamma(rng, 0.25), luck=luck)
    whole = effective_process_time(0.75, 0.25, availability=6 / 8, repair_time=2.0)
    assert float(whole.mean) == 1.0
    formula = float(queue_time(1.0, 0.7, process_scv=whole.scv))
    agrees(measured, "fails", first_wait(record, arrival), formula)
    share = float(record.down[0] / (record.down[0] + record.working[0]))
    assert share == pytest.approx(1 / 4, abs=0.005)


def test_law_little_orders_waiting_are_arrivals_times_the_wait(measured):
    rng = np.random.default_rng(14)
    arrival = poisson(rng, 0.7)
    record = run(arrival, gamma(rng, 1.0))
    hours = np.arange(0.0, arrival[-1], HOUR)
    seen = record.machine_queue[0, : len(hours), 0]
    # exactly: who has come and has not begun
    waiting = np.searchsorted(arrival, hours) - np.searchsorted(np.sort(record.begun), hours)
    np.testing.assert_array_equal(seen, waiting)
    # on average: rate times wait
    mean, half = interval(seen)
    formula = 0.7 * float(queue_time(1.0, 0.7))
    measured(f"Little: formula {formula:.4f} orders, dispatcher {mean:.4f} ± {half:.4f} (99 %)")
    assert half < NARROW * formula
    assert abs(mean - formula) <= half
    # and in this very run, where only its ends are in the way
    assert seen.mean() == pytest.approx(0.7 * first_wait(record, arrival).mean(), rel=0.01)


def test_law_little_two_machines_that_fail_and_orders_that_come_back(measured):
    """Waiting orders, as the shop counts them, against rate times wait from the orders' times.

    One arrival an hour; three in ten finished orders are spoiled and begin anew, so 1/0.7 visits
    an order at either machine; the first fails.
    """
    rng = np.random.default_rng(15)
    arrival = poisson(rng, 1.0)
    passes = rng.geometric(0.7, ORDERS)
    program = rng.integers(len(STRATA), size=ORDERS)
    draws = ORDERS // 4
    luck = Luck(
        until=rng.exponential(6 * HOUR, (2, draws)),
        repair=rng.exponential(2 * HOUR, (2, draws)) * np.array([[1.0], [0.25]]),
        night=np.ones((2, 1)),
    )
    record = run(
        arrival,
        0.35 * gamma(rng, 1.0),
        (1, 1),
        (program, 0.5 * EXPONENTIAL),
        luck=luck,
        passes=passes,
    )
    assert record.down.min() > 0
    starts = np.repeat(arrival, 2 * passes)
    first = np.zeros(starts.size, dtype=bool)
    first[record.offset] = True
    ready = np.where(first, starts, np.append(0.0, record.ended[:-1]))
    waits = ((record.begun - ready) / HOUR).reshape(-1, 2)
    hours = int(arrival[-1] // HOUR)
    for station, name in enumerate(("first", "second")):
        seen, half = interval(record.machine_queue[0, :hours, station])
        wait, error = interval(waits[:, station])
        formula, wide = wait / 0.7, error / 0.7
        measured(
            f"Little, {name} of two with failures and returns: rate times wait {formula:.4f} ± "
            f"{wide:.4f}, counted {seen:.4f} ± {half:.4f} orders (99 % each)"
        )
        assert half + wide < 2 * NARROW * formula
        assert abs(seen - formula) <= half + wide
