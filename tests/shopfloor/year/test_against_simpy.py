"""The dispatcher against the SimPy model, order by order on the same draws."""

import itertools
from dataclasses import fields, replace
from functools import partial

import numpy as np
import pytest
from random_floors import RULES, random_case

from capex.decision.audit.simpy_floor import simpy_dispatched
from capex.shopfloor.year import compiled, kernel
from capex.shopfloor.year.plan import Record

SEEDS = range(128)
#: Times go up to 4e6 s, where neighbouring floats are 5e-10 s apart; a few hundred sums of them.
ROUNDING = 1e-6


@pytest.fixture(scope="module")
def expected():
    """Every shop, and what the SimPy model makes of it."""
    cases = [random_case(seed) for seed in SEEDS]
    return [(case, simpy_dispatched(*case.everything)) for case in cases]


@pytest.fixture(scope="module", params=["plain", "compiled"])
def pairs(request, expected):
    """Every record of the SimPy model with that of the dispatcher, in plain Python or compiled."""
    if request.param == "compiled" and not compiled.can_compile():
        pytest.skip("numba is not there or not wanted")
    run = compiled.plain if request.param == "plain" else partial(compiled.run, wait=True)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(kernel, "run", run)
        found = [kernel.dispatched(*case.everything) for case, _ in expected]
    return request.param, [
        (simpy_record, record) for (_, simpy_record), record in zip(expected, found, strict=True)
    ]


@pytest.mark.parametrize("name", [each.name for each in fields(Record)])
def test_against_simpy_order_by_order(pairs, measured, name):
    engine, records = pairs
    worst, values = 0.0, 0
    for seed, (simpy_record, record) in zip(SEEDS, records, strict=True):
        wanted, found = getattr(simpy_record, name), getattr(record, name)
        assert found.shape == wanted.shape, seed
        if wanted.dtype.kind == "i":
            np.testing.assert_array_equal(found, wanted, err_msg=f"seed {seed}")
            continue
        np.testing.assert_allclose(found, wanted, rtol=0, atol=ROUNDING, err_msg=f"seed {seed}")
        there = np.isfinite(wanted)
        worst = max(worst, float(np.abs(found[there] - wanted[there]).max(initial=0.0)))
        values += int(there.sum())
    if values:
        measured(
            f"dispatcher ({engine}) and SimPy, {len(records)} shops, {name}: "
            f"at most {worst:.1e} s apart in {values} values"
        )


STATES = ("working", "set_up", "blocked", "down", "at_night", "busy")


@pytest.mark.parametrize("seed", SEEDS[::4])
def test_against_simpy_states_of_some_days(expected, seed):
    """Counted from one opening to another: that of a day of work, and of one after the end too."""
    case, whole = expected[seed]
    days = len(case.shifts.opens)
    for first, after in ((2, days // 2), (days // 2, days), (days // 2, days // 2)):
        shifts = replace(case.shifts, counted=(first, after))
        given = (case.floor, shifts, case.orders, case.luck, case.breakdown)
        wanted, found = simpy_dispatched(*given), kernel.dispatched(*given)
        np.testing.assert_array_equal(found.begun, kernel.dispatched(*case.everything).begun)
        for name in STATES:
            part = getattr(found, name)
            np.testing.assert_allclose(part, getattr(wanted, name), rtol=0, atol=ROUNDING)
            assert (part <= getattr(whole, name) + ROUNDING).all()
            assert part.any() <= (first < after)


def test_every_pair_of_rules_is_among_the_shops(expected):
    rules = {(case.floor.machine_rule, case.floor.people_rule) for case, _ in expected}
    assert rules == set(itertools.product(RULES, RULES))


def back_from_the_rack(floor):
    """Return whether some program dries between two steps on the same machines."""
    for first, last in zip(floor.first, floor.last, strict=True):
        machine, wall = floor.machine[first : last + 1], floor.wall[first : last + 1]
        for at in np.flatnonzero(wall):
            before, after = machine[:at][~wall[:at]], machine[at:][~wall[at:]]
            if before.size and after.size and before[-1] == after[0] >= 0:
                return True
    return False


def test_the_shops_leave_nothing_out(expected, measured):
    cases, records = zip(*expected, strict=True)
    seen = {
        "machine queues": sum(r.machine_queue.max() >= 2 for r in records),
        "people queues": sum(r.people_queue.max() >= 2 for r in records),
        "waiting for a person at a machine": sum(r.blocked.max() > 0 for r in records),
        "overtime": sum(r.extended.max() > 0 for r in records),
        "overtime on some days only": sum(
            (np.diff(np.sign(r.extended)) != 0).sum() > 1 for r in records
        ),
        "nights": sum(r.at_night.max() > 0 for r in records),
        "out of order": sum(r.down.max() > 0 for r in records),
        "placed breakdowns": sum(c.breakdown is not None for c in cases),
        "remakes": sum((c.orders.passes > 1).any() for c in cases),
        "drying": sum(c.floor.wall.any() for c in cases),
        "back to the same machine from the rack": sum(back_from_the_rack(c.floor) for c in cases),
        "persons who leave early": sum((c.floor.persons % 1 > 0).any() for c in cases),
        "several machines a group": sum((np.bincount(c.floor.group_of) > 1).any() for c in cases),
        "persons who go on with an order": sum(c.floor.keeps_person.any() for c in cases),
        "orders not finished": sum(np.isinf(r.finished).any() for r in records),
        "all orders finished": sum(np.isfinite(r.finished).all() for r in records),
    }
    for subject, shops in seen.items():
        assert shops >= (60 if "from the rack" in subject else 16), subject
    measured("shops with " + ", ".join(f"{name}: {shops}" for name, shops in seen.items()))
