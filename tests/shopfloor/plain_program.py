"""A month's production as a linear programme of flows, in plain Python, solved by HiGHS.

Independent of `capex.shopfloor.capacity`: hours, loads and costs come from the written model
through `plain_content` and `plain_hours`, and the unknowns are orders at each operation and
eligible place, not routes. For every job type:

- ``cell[p, c]`` orders printed at place p and cut at place c (they stay together, as registration
  and layout depend on both);
- ``night[p, c]`` of these, printed with nobody there after the shift;
- ``lamination[p, c, l]`` of these, laminated at place l; they add up to ``cell[p, c]``;
- ``bought`` and ``refused`` orders, which with the cells add up to the orders asked for;

and once for the shop: overtime of the whole cell, and idle time of operators and of finishers
that is redeployed.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from plain_content import plain_content
from scipy.optimize import linprog

from capex.decision.audit.plain_hours import machine_works, station_hours
from capex.study import Alternative, Study


@dataclass(frozen=True)
class Rows:
    """Rows of a programme: stations first (in the order of `stations`), then the rest."""

    stations: list[tuple]
    matrix: np.ndarray
    limit: np.ndarray
    equal: np.ndarray
    total: np.ndarray
    value: np.ndarray
    columns: dict[tuple, int]


class PlainProgram:
    """The programmes of one alternative; contents are worked out once."""

    def __init__(self, study: Study, choice: Alternative) -> None:
        self.study, self.choice = study, choice
        places = list(enumerate(choice.machines))
        able = {
            part: [i for i, p in places if getattr(study.machines[p.machine], part) is not None]
            for part in ("printing", "cutting", "laminating")
        }
        self.contents = {}
        for key, job in study.jobs.items():
            for p in able["printing"] if job.film else [None]:
                for c in able["cutting"] if job.cut else [None]:
                    for tool in able["laminating"] if job.laminated.likely > 0 else [None]:
                        found = plain_content(study, choice, key, p, tool, c)
                        if found is not None:
                            self.contents[key, p, c, tool] = found

    def rows(self, month: int, demand: dict[str, float]) -> Rows:
        """Return the programme of a month (from 1) for given orders asked for."""
        study, choice = self.study, self.choice
        here = [machine_works(study, place, month) for place in choice.machines]
        contents = {
            name: found
            for name, found in self.contents.items()
            if all(here[x] for x in name[1:] if x is not None)
        }
        columns = self._columns(contents)
        stations = [("machine", i) for i in range(len(here))]
        stations += [("overnight", i) for i in range(len(here))]
        stations += [("operators",), ("finishers",)]
        lines, limit, equal, total = [], [], [], []

        def line(terms):
            found = np.zeros(len(columns))
            for name, coefficient in terms:
                found[columns[name]] += coefficient
            return found

        def at_most(terms, most):
            lines.append(line(terms))
            limit.append(most)

        def equals(terms, sum_):
            equal.append(line(terms))
            total.append(sum_)

        load, hours = self._loads(contents, columns), self.hours(month)
        for station in stations:
            normal, gained = hours[station]
            at_most([*load.get(station, []), (("overtime",), -gained)], normal)
        at_most([(("overtime",), 1.0)], study.shop.hours.overtime_per_month.likely)
        for who in ("operators", "finishers"):
            normal, gained = hours[(who,)]
            idle = [(("idle", who), 1.0), (("overtime",), -gained)]
            at_most([*load.get((who,), []), *idle], normal)
        for name in columns:
            if name[0] == "night":
                at_most([(name, 1.0), (("cell", *name[1:]), -1.0)], 0.0)
            if name[0] == "cell" and study.jobs[name[1]].laminated.likely > 0:
                parts = [(("lamination", *x), 1.0) for x in contents if x[:3] == name[1:]]
                equals([*parts, (name, -1.0)], 0.0)
        for key, job in study.jobs.items():
            cells = [(name, 1.0) for name in columns if name[:2] == ("cell", key)]
            away = choice.bought_in.get(key)
            share = away.likely if away is not None else 0.0
            equals([*cells, (("bought", key), 1.0), (("refused", key), 1.0)], demand[key])
            at_most(cells, (1 - share) * demand[key])
            if job.bought_in_price is None:
                at_most([(("bought", key), 1.0)], 0.0)
            else:
                at_most([(("bought", key), -1.0)], -share * demand[key])
        value = self._value(columns, contents, month)
        return Rows(stations, *(np.array(x) for x in (lines, limit, equal, total)), value, columns)

    def _columns(self, contents) -> dict[tuple, int]:
        names = []
        for key, p, c, tool in contents:
            if ("cell", key, p, c) not in names:
                names.append(("cell", key, p, c))
                if p is not None and self.study.jobs[key].unattended_overnight:
                    names.append(("night", key, p, c))
            if tool is not None:
                names.append(("lamination", key, p, c, tool))
        for key in self.study.jobs:
            names += [("bought", key), ("refused", key)]
        names += [("overtime",), ("idle", "operators"), ("idle", "finishers")]
        return {name: i for i, name in enumerate(names)}

    @staticmethod
    def _loads(contents, columns) -> dict[tuple, list]:
        """Return terms by station; a laminator must not change what the pair takes."""
        load: dict[tuple, list] = {}

        def takes(station, name, seconds):
            load.setdefault(station, []).append((name, seconds))

        pairs = {}
        for (key, p, c, tool), found in contents.items():
            if tool is not None:
                takes(("machine", tool), ("lamination", key, p, c, tool), found.held[tool])
                takes(("operators",), ("lamination", key, p, c, tool), found.held[tool])
            pair = pairs.setdefault((key, p, c), (tool, found))
            assert pair[1].layout_width == found.layout_width, "a laminator narrows the layout"
        for (key, p, c), (tool, found) in pairs.items():
            cell, night = ("cell", key, p, c), ("night", key, p, c)
            for place, seconds in found.held.items():
                if place != tool:
                    takes(("machine", place), cell, seconds)
            for who, seconds in found.people.items():
                own = found.held[tool] if tool is not None and who == "operators" else 0.0
                takes((who,), cell, seconds - own)
            if night in columns:
                takes(("machine", p), night, -found.alone)
                takes(("overnight", p), night, found.alone)
                for who, seconds in found.people.items():
                    takes((who,), night, found.people_by_day.get(who, 0.0) - seconds)
        return load

    def hours(self, month: int) -> dict[tuple, tuple[float, float]]:
        """Return normal seconds of every station, and seconds gained by a second of overtime."""
        names = [(work, i) for i in range(len(self.choice.machines))
                 for work in ("machine", "overnight")]  # fmt: skip
        found = {name: station_hours(self.study, self.choice, *name, month) for name in names}
        for who in ("operators", "finishers"):
            found[(who,)] = station_hours(self.study, self.choice, who, None, month)
        return found

    def _value(self, columns, contents, month: int) -> np.ndarray:
        """Return contribution by column: sales less direct cost, overtime, plus idle time."""
        value = np.zeros(len(columns))
        study, years = self.study, (month - 1) // 12
        rise = study.money.escalation
        sales, materials, wages = (
            (1 + rate.likely) ** years for rate in (rise.prices, rise.materials, rise.wages)
        )
        people = study.shop.people
        wage = people.wage.likely * people.on_cost_factor.likely * wages
        for (key, p, c, tool), found in contents.items():
            job = study.jobs[key]
            price = job.price.likely * study.levers.price.likely * sales
            name = ("cell", key, p, c)
            if tool is None:
                value[columns[name]] = price - found.cost * materials
            else:
                value[columns["lamination", key, p, c, tool]] = price - found.cost * materials
        for key, job in study.jobs.items():
            if job.bought_in_price is not None:
                price = job.price.likely * study.levers.price.likely * sales
                value[columns["bought", key]] = price - job.bought_in_price.likely * materials
        persons = people.operators.likely + people.finishers.likely
        premium = study.shop.hours.overtime_premium.likely
        value[columns["overtime",]] = -persons * wage * premium
        for who in ("operators", "finishers"):
            value[columns["idle", who]] = people.idle_time_redeployed.likely * wage
        return value


def solution(rows: Rows, extra: np.ndarray | None = None):
    """Return HiGHS's answer; `extra` is added to the limits."""
    limit = rows.limit if extra is None else rows.limit + extra
    found = linprog(-rows.value, rows.matrix, limit, rows.equal, rows.total, method="highs")
    assert found.status == 0, found.message
    return found
