"""What each job type leaves, a year and an order, under each alternative.

May import: numpy, and from capex errors, decision, `views.chart`,
`views.charts.picture`, `views.state` and `views.wording`.
"""

from __future__ import annotations

from functools import lru_cache
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from capex.decision.jobs import yearly_contribution
from capex.decision.outcome import Outcome
from capex.views.chart import ChartTable
from capex.views.charts.picture import Look, Picture, axis, plot_text, wrapped
from capex.views.state import Result
from capex.views.wording import Currency, money_text

__all__ = ["contribution_height", "contribution_picture"]


def contribution_height(result: Result) -> int:
    """Return the height that the bars need [px]."""
    bars = len(result.study.jobs) * len(result.appraisal.outcomes)
    return 60 + 11 * bars


def contribution_picture(result: Result, look: Look) -> Picture:
    """Return sales less materials, other direct cost and bought-in work, a year on average.

    The figures behind it, and what a bar says, tell the same of one order at today's prices.
    """
    outcomes = result.appraisal.outcomes
    jobs = [job.name for job in result.study.jobs.values()]
    earned = {key: yearly_contribution(outcome)[0] for key, outcome in outcomes.items()}
    orders = {key: _orders(outcome) for key, outcome in outcomes.items()}
    texts = {
        key: [_order_texts(order, look.currency) for order in each] for key, each in orders.items()
    }
    code = look.currency.code
    data = [
        {
            "type": "bar",
            "orientation": "h",
            "name": plot_text(outcomes[key].name),
            "y": [wrapped(job, 16) for job in jobs],
            "x": (values * look.currency.rate).round(0),
            "customdata": [said for said, _ in texts[key]],
            "marker": look.styles[key].bar,
            "hovertemplate": f"%{{x:,.3s}} {code} a year<br>%{{customdata}}",
        }
        for key, values in earned.items()
    ]
    layout = {
        "barmode": "group",
        "bargap": 0.25,
        "xaxis": axis(
            f"A year, before wages ({code})",
            tickformat="~s",
            showgrid=True,
            zeroline=True,
        ),
        "yaxis": {"autorange": "reversed", "showgrid": False},
    }
    reading = _reading(result, look, jobs, earned) + _by_the_hour(result, look, jobs, orders)
    table = _table(result, look, earned, texts)
    return Picture({"data": data, "layout": layout}, reading, table)


def _table(
    result: Result,
    look: Look,
    earned: dict[str, npt.NDArray[np.float64]],
    texts: dict[str, list[tuple[str, list[str]]]],
) -> ChartTable:
    """Return a row for each job type under each alternative."""
    columns = [
        "Job type: choice", f"A year ({look.currency.code})", "An order: price", "if bought in",
        "materials, wear, power", "leaves", "an hour", "at its fullest station", "minutes there",
        "minutes of people",
    ]  # fmt: skip
    rows = [
        [f"{job.name}: {outcome.name}", look.money(float(earned[key][j])), *texts[key][j][1]]
        for j, job in enumerate(result.study.jobs.values())
        for key, outcome in result.appraisal.outcomes.items()
    ]
    return ChartTable(columns, rows)


class _Order(NamedTuple):
    """One order of a type, as an alternative makes most of it or buys it in; today's prices.

    `station` is the fullest of those that the order needs, None where it is not made in the house.
    """

    price: float
    bought_in_price: float | None
    direct_cost: float | None = None
    station: str | None = None
    time: float = 0.0
    attended: float = 0.0
    bought_in: bool = False

    @property
    def leaves(self) -> float | None:
        """Price less what is spent on this order [currency]; None where it is turned away."""
        spent = self.bought_in_price if self.bought_in else self.direct_cost
        return None if spent is None else self.price - spent

    @property
    def leaves_an_hour(self) -> float | None:
        """The same over the time at its station [currency/h]."""
        return None if self.leaves is None or not self.time else self.leaves / self.time * 3600.0


@lru_cache(maxsize=1024)
def _order_texts(order: _Order, currency: Currency) -> tuple[str, list[str]]:
    """Return what an order leaves in a few words, and its cells; kept while only demand moves."""
    price, elsewhere, spent, leaves, hourly = (
        "–" if value is None else money_text(value, currency)
        for value in (
            order.price, order.bought_in_price, order.direct_cost, order.leaves,
            order.leaves_an_hour,
        )
    )  # fmt: skip
    where = order.station or ("bought in" if order.bought_in else "not made")
    said = where if order.leaves is None else f"an order leaves {leaves}, {where}"
    if order.station is not None:
        said = f"an order leaves {leaves}, {hourly} an hour at {where}"
    times = (order.time, order.attended)
    minutes = [f"{time / 60:.1f}" if order.station else "–" for time in times]
    return plot_text(said), [price, elsewhere, spent, leaves, hourly, where, *minutes]


def _orders(outcome: Outcome) -> list[_Order]:
    """Return one order of every type, read off the shop floor of an outcome."""
    path = outcome.path
    mix, routes, months = path.mix, path.routes, int(outcome.horizon[0])
    made = path.output.made[0, :, :months].sum(axis=1).tolist()
    bought = path.output.bought_in[0, :, :months].sum(axis=1).tolist()
    people = [place.placement is None for place in routes.stations]
    way: dict[int, int] = {}
    for v, j in enumerate(routes.job_of.tolist()):
        if made[v] > (made[way[j]] if j in way else 0.0):
            way[j] = v
    ways = list(way.values())
    load = routes.load[0, ways]
    station = np.where(load > 0, outcome.load[0], -1.0).argmax(axis=1).tolist()
    attended = (load @ people).tolist()
    prices = zip(mix.price[0].tolist(), mix.bought_in_price[0].tolist(), strict=True)
    found = []
    for j, ((price, elsewhere), can) in enumerate(zip(prices, mix.can_be_bought_in, strict=True)):
        order = _Order(price, elsewhere if can else None, bought_in=j not in way and bought[j] > 0)
        if j in way:
            at = ways.index(way[j])
            order = order._replace(
                direct_cost=float(routes.direct_cost[0, way[j]]),
                station=routes.stations[station[at]].name,
                time=float(load[at, station[at]]),
                attended=attended[at],
            )
        found.append(order)
    return found


def _by_the_hour(
    result: Result, look: Look, jobs: list[str], orders: dict[str, list[_Order]]
) -> str:
    """Return which type uses the fullest station of the leading choice best and worst."""
    leader = result.appraisal.outcomes[result.verdict.best]
    station = leader.stations[int(leader.tightest_station[0])].name
    hourly = {
        job: order.leaves_an_hour
        for job, order in zip(jobs, orders[leader.key], strict=True)
        if order.station == station and order.leaves_an_hour is not None
    }
    if len(hourly) < 2:
        return ""
    most, least = max(hourly, key=hourly.__getitem__), min(hourly, key=hourly.__getitem__)
    return (
        f" An hour at {station}, the fullest station of {leader.name}, leaves most with {most} "
        f"({look.money(hourly[most])}) and least with {least} ({look.money(hourly[least])})."
    )


def _reading(
    result: Result, look: Look, jobs: list[str], earned: dict[str, npt.NDArray[np.float64]]
) -> str:
    best = result.verdict.best
    top = int(earned[best].argmax())
    said = (
        f"Most comes from {jobs[top]}: {look.money(float(earned[best][top]))} a year with "
        f"{result.appraisal.outcomes[best].name}."
    )
    spread = np.ptp(np.stack(list(earned.values())), axis=0)
    most = int(spread.argmax())
    if len(earned) > 1 and spread[most] > 0:
        values = {key: float(row[most]) for key, row in earned.items()}
        high, low = max(values, key=values.__getitem__), min(values, key=values.__getitem__)
        names = look.names(result.appraisal)
        said += (
            f" The choice matters most for {jobs[most]}: {look.money(float(spread[most]))} a year "
            f"between {names[high]} and {names[low]}."
        )
    return f"{said} Before wages, room, machines and tax."
