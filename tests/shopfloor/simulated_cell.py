"""The stages up to the lead times, and a plain event simulation of the cell to hold them against.

The simulation serves in order of arrival; orders wait for a machine, then for a person; a larger
order takes longer but for its set-ups. It takes the operations of an order from the package and
everything else from the study.
"""

import heapq
import math
import statistics
from collections import deque
from functools import cache

import numpy as np

from capex.shopfloor.capacity import monthly_output
from capex.shopfloor.content import Contents
from capex.shopfloor.lead_time import lead_times, working_days
from capex.shopfloor.mix import job_mix
from capex.shopfloor.prices import price_levels
from capex.shopfloor.routes import routes
from capex.study import data_folder, read_study

STUDY = read_study(data_folder() / "studies" / "quenlow.toml")
CHOICES = list(STUDY.alternatives)
NO_SPOIL = {
    "shop.handling.printing_spoil": 0.0,
    **{
        f"machines.{key}.cutting.spoil_{how}": 0.0
        for key, machine in STUDY.machines.items()
        if machine.cutting
        for how in ("direct", "reloaded", "laminated")
    },
}

# Breakdowns as long and as frequent as this settle within a simulation of reasonable length.
OFTEN_SHORTLY_DOWN = {
    f"machines.{key}.mean_time_{what}": hours * 3600.0
    for key in STUDY.machines
    for what, hours in (("between_failures", 30.0), ("to_repair", 2.0))
}


class Path:
    """The stages up to the lead times, for one alternative."""

    def __init__(self, key, scenarios=None, months=12, study=STUDY):
        replaced = {path: np.atleast_1d(values) for path, values in (scenarios or {}).items()}
        self.study = study.replaced(replaced)
        self.mix = job_mix(self.study)
        self.choice = self.study.alternatives[key]
        self.routes = routes(Contents(self.study, self.mix), self.choice)
        levels = price_levels(self.study, months)
        self.output = monthly_output(self.study, self.mix, self.choice, self.routes, levels)

    def lead_times(self):
        return lead_times(self.study, self.mix, self.choice, self.routes, self.output)


def blocks_of(path, v, laminated):
    """Return the stretches of an order in one place: where, how long, attended by whom [s].

    Times are pairs: set-ups, and what grows with the order.
    """
    route, done = path.routes.each[v], path.routes.contents[v].operations
    blocks = []
    for operation in done.laminated if laminated else done.plain:
        busy, attended, wait = (
            float(np.broadcast_to(part, done.makeable.shape)[0, route.job])
            for part in (operation.busy, operation.attended, operation.wait)
        )
        grows = 0.0 if operation.set_up else 1.0
        if wait:
            blocks.append(["wait", np.array([wait, 0.0]), np.zeros(2), None])
        if busy or attended:
            at_machine = operation.at is not None
            place = getattr(route, operation.at) if at_machine else operation.by
            split = np.array([1.0 - grows, grows])
            part = [split * (busy if at_machine else attended), split * attended * at_machine]
            if blocks and blocks[-1][0] == place:
                blocks[-1][1] += part[0]
                blocks[-1][2] += part[1]
            else:
                blocks.append([place, *part, operation.by])
    return blocks


def step_maker(path):
    """Return a function that draws what an order passes: (station, days, stays with it)."""
    hours = path.study.shop.hours
    shift = hours.hours_per_day.likely - hours.care_per_day.likely
    known = {}
    machines = [path.study.machines[place.machine] for place in path.choice.machines]
    shares = [path.mix.laminated[0, route.job] for route in path.routes.each]
    sigma = math.log1p(path.study.shop.dispatching.order_size_variation.likely**2) ** 0.5

    def steps(v, rng):
        key = v, rng.random() < shares[v]
        if key not in known:
            known[key] = blocks_of(path, *key)
        size = rng.lognormvariate(-(sigma**2) / 2, sigma)
        for place, *times, by in known[key]:
            time, attended = (float(fixed + size * scaled) for fixed, scaled in times)
            if place == "wait":
                calendar = (shift, hours.days_per_month.likely)
                yield "wait", days_passed(time, *calendar), True
            elif isinstance(place, str):
                yield place, time / shift, True
            else:
                machine = machines[place]
                up, down = (
                    machine.mean_time_between_failures.likely,
                    machine.mean_time_to_repair.likely,
                )
                # minor stops stretch what the breakdowns leave
                spent, next_stop = time, rng.expovariate(1 / up)
                while next_stop < time:
                    spent += rng.expovariate(1 / down)
                    next_stop += rng.expovariate(1 / up)
                day = shift - machine.warm_up_time.likely
                yield place, spent / (day * (1 - machine.minor_stop_share.likely)), True
                if attended:
                    yield by, attended / shift, False

    return steps


@cache
def days_passed(wait, hours_per_day, days_per_month):
    return float(working_days(wait, hours_per_day=hours_per_day, days_per_month=days_per_month))


def simulated_lead_time(path, month, servers, rng, orders):
    """Return the mean lead time [days] of a cell whose stations serve in order of arrival."""
    rates = path.output.made[0, :, month] / path.study.shop.hours.days_per_month.likely
    total = rates.sum()
    steps = step_maker(path)
    events, number, now = [], 0, 0.0
    for _ in range(orders):
        now += rng.expovariate(total)
        v = rng.choices(range(rates.size), weights=rates)[0]
        heapq.heappush(events, (now, number, "arrive", (now, deque(steps(v, rng)))))
        number += 1
    free, lines = dict(servers), {place: deque() for place in servers}
    ended = []

    def go_on(time, order):
        nonlocal number
        came, steps = order
        if not steps:
            ended.append((came, time - came))
            return
        place, span, stays = steps.popleft()
        if place == "wait":
            number += 1
            heapq.heappush(events, (time + span, number, "arrive", order))
        else:
            lines[place].append((span, stays, order))
            start(time, place)

    def start(time, place):
        nonlocal number
        while free[place] and lines[place]:
            free[place] -= 1
            span, stays, order = lines[place].popleft()
            number += 1
            heapq.heappush(events, (time + span, number, "free", (place, order if stays else None)))
            if not stays:
                number += 1
                heapq.heappush(events, (time, number, "arrive", order))

    while events:
        time, _, kind, what = heapq.heappop(events)
        if kind == "arrive":
            go_on(time, what)
        else:
            place, order = what
            free[place] += 1
            start(time, place)
            if order is not None:
                go_on(time, order)
    ended.sort()
    return statistics.fmean(span for _, span in ended[orders // 10 :])
