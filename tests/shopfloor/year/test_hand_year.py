"""A small year worked out by hand, order by order: what a study becomes on the floor.

The shop of `hand_shop` with an order of each type a month, so few that none meets another: an
order takes its own times, one after the other. Five days of eight hours a week, an order that is
larger takes its printing, cutting and bench work longer but not its set-ups, minor stops and
warm-up stretch what a machine does, a spoiled order begins anew, and what dries goes on at night,
but not in a machine that prints and cuts: it waits for that, as long for every size, however the
machine's own work is stretched. A tenth of the study's orders come, those of the lowest levels.
The draws are those of numpy for the seed, the year and the names, as `year.arrivals` says.
"""

import math
import zlib
from itertools import pairwise

import hand_shop as hand
import numpy as np
import pytest
from hand_shop import hand_study

from capex.shopfloor.year.simulated_year import simulated_year

HOUR, DAY = 3600.0, 86400.0
#: Five days in every week.
MONTHLY = 365.25 / 12 * 5 / 7
SHIFT, MORNING = 8 * HOUR, 8 * HOUR
#: Days before the year that are not counted.
BEFORE = 21
SPOIL, VARIATION, DEMAND = 0.25, 0.5, 0.1
PROMISED = {"plain": 0.08, "laminated": 2.0}
#: Minor stops take a fifth and warm-up a tenth of the printer's day, stops a tenth of the cutter's.
PRINTER, CUTTER, LAMINATOR, FRAME = 1 / (0.8 * 0.9), 1 / 0.9, 1.0, 1 / 0.85
SET_UP, UNLOAD = 300.0, 120.0
BENCH = hand.WEED + hand.FINISH + hand.PACK
OUTGAS = 24 * HOUR
FIRST = 300.0  # set up the order, with no machine


def study():
    return hand_study(
        shop__hours__days_per_month=MONTHLY,
        shop__handling__printing_spoil=SPOIL,
        shop__dispatching__order_size_variation=VARIATION,
        levers__demand=DEMAND,
        machines__printer__minor_stop_share=0.2,
        machines__printer__warm_up_time="48 min",
        machines__cutter__minor_stop_share=0.1,
        machines__frame__minor_stop_share=0.15,
        machines__frame__mean_time_between_failures="1e9 h",
        machines__printer__mean_time_between_failures="1e9 h",
        machines__cutter__mean_time_between_failures="1e9 h",
        machines__laminator__mean_time_between_failures="1e9 h",
        **{f"jobs__{key}__promised_lead_time": days for key, days in PROMISED.items()},
    )


def times(key, kind, size):
    """Return the times of one pass: (seconds, whether they pass at night as well)."""
    printer, cutter = (PRINTER, CUTTER) if key == "keep" else (FRAME, FRAME)
    printing = printer * (hand.LOAD + hand.PRINT * size + UNLOAD)
    cutting = cutter * (hand.RELOAD + hand.MARKS + hand.CUT * size + hand.TAKE_OFF)
    bench = BENCH * size
    if (key, kind) == ("frame", "plain"):
        printing = hand.LOAD + hand.PRINT * size
        cutting = hand.MARKS + hand.CUT * size + hand.TAKE_OFF
        inside = FRAME * (printing + hand.REWIND + cutting) + hand.DRY
        return [(FIRST + inside + bench, False)]
    if kind == "plain":
        return [(FIRST + printing, False), (hand.DRY, True), (cutting + bench, False)]
    laminating = LAMINATOR * hand.LAMINATE * size
    return [(FIRST + printing, False), (OUTGAS, True), (laminating + cutting + bench, False)]


def opening(day):
    return (7 * (day // 5) + day % 5) * DAY + MORNING


def worked(wall):
    """Return the working time passed since day 0."""
    days = [day for day in range(600) if opening(day) <= wall]
    return (len(days) - 1) * SHIFT + min(wall - opening(days[-1]), SHIFT)


def after(wall, seconds):
    """Return when so much work is done that begins at a time, and the spells of it."""
    spells, day = [], next(d for d in range(600) if opening(d) + SHIFT > wall)
    while seconds > 1e-6:
        begin = max(wall, opening(day))
        end = min(begin + seconds, opening(day) + SHIFT)
        spells.append((begin, end))
        seconds -= end - begin
        wall, day = end, day + 1
    return wall, spells


def draws(seed, kind, name):
    names = [zlib.crc32(part.encode()) for part in (kind, "0", name)]
    return np.random.default_rng([*seed, *names])


def orders(seed, kind):
    """Return day, arrival, size and passes of every order of a type until the end of the year."""
    a_day = 10 / MONTHLY
    days = BEFORE + round(12 * MONTHLY)
    reach = np.cumsum(draws(seed, kind, "orders").exponential(size=1000)) / a_day
    assert reach[-1] > days
    reach = reach[reach < days]
    normal = draws(seed, kind, "size").standard_normal(len(reach))
    luck = draws(seed, kind, "luck").random((len(reach), 4))
    found = []
    for at, z, (_, _, u, level) in zip(reach, normal, luck, strict=True):
        if level >= DEMAND:
            continue
        # a lognormal size of mean 1
        spread = math.log(1 + VARIATION**2)
        size = math.exp(math.sqrt(spread) * z - spread / 2)
        passes = 1
        while u < SPOIL**passes:
            passes += 1
        found.append((int(at), opening(int(at)) + (at % 1.0) * SHIFT, size, passes))
    return found


def by_hand(key, seed):
    """Return kind, lead time in working days and arrival of the year's orders, and all spells."""
    found, everything = [], []
    for kind in ("plain", "laminated"):
        for day, arrival, size, passes in orders(seed, kind):
            now = arrival
            for _ in range(passes):
                for seconds, goes_on in times(key, kind, size):
                    if goes_on:
                        now += seconds
                    else:
                        now, spells = after(now, seconds)
                        everything += [(*spell, arrival) for spell in spells]
            if day >= BEFORE:
                lead = (worked(now) - worked(arrival)) / SHIFT
                found.append((arrival, kind, lead, passes, now))
    return sorted(found), sorted(everything)


@pytest.mark.parametrize("key", ["keep", "frame"])
@pytest.mark.parametrize("seed", [4, 6])
def test_against_a_year_by_hand_order_by_order(key, seed, measured):
    expected, spells = by_hand(key, (seed, 1))
    # nobody meets anybody, or the times would not be the orders' own
    assert all(one[1] <= two[0] or one[2] == two[2] for one, two in pairwise(spells))
    found = simulated_year(study(), key, 1, seed)
    assert found.came.tolist() == [sum(one[1] == kind for one in expected) for kind in PROMISED]
    assert [found.jobs[j].lower() for j in found.job] == [kind for _, kind, _, _, _ in expected]
    assert found.bought_in.sum() == found.refused.sum() == 0
    leads = np.array([lead for _, _, lead, _, _ in expected])
    np.testing.assert_allclose(found.lead_time, leads, rtol=0, atol=1e-6)
    late = [lead > PROMISED[kind] for _, kind, lead, _, _ in expected]
    np.testing.assert_array_equal(found.late, late)
    ended = [now for *_, now in expected]
    finished = found.record.finished
    for moment in ended:
        assert np.abs(finished - moment).min() < 1e-3
    # the year has something of everything
    assert len(expected) > 15
    assert 0 < sum(late) < len(late)
    assert max(passes for *_, passes, _ in expected) > 1
    measured(
        f"a year by hand, {key}: {len(expected)} orders, {sum(late)} late, lead times at most "
        f"{np.abs(found.lead_time - leads).max():.0e} days apart"
    )
