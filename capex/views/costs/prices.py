"""The most that can be paid for each machine, and the break-evens that a decision hangs on.

May import: from capex study, decision, `views.break_even`, `views.chart`, `views.charts.picture`
and `views.palette`.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from capex.decision.break_even import BreakEven, BreakEvenReason
from capex.decision.price_limit import PriceLimit, PriceReason
from capex.decision.walk_away import MachineWalkAway
from capex.units import UnitSystem
from capex.views.break_even import INPUT_HEADINGS, input_rows, table_sentences
from capex.views.chart import ChartTable
from capex.views.charts.picture import Look, Picture, axis, wrapped
from capex.views.palette import STYLES

__all__ = ["distances_picture", "price_words", "prices_picture"]

_TODAY = {"color": "#6f7a82", "symbol": "line-ns-open", "size": 16, "line": {"width": 3}}
_LENDER = "the lender's minimum cover"
#: Inputs shown.
_MOST = 12


def _limits(one: MachineWalkAway, look: Look) -> list[tuple[str, PriceLimit]]:
    """Return the limits with what each is against."""
    rival = one.against_rival.against
    names = look.study.alternatives
    best = "the best rival" if rival is None else f"the best rival, {names[rival].name}"
    baseline = names[look.study.baseline].name
    return [
        (f"the baseline, {baseline}", one.against_baseline),
        (best, one.against_rival),
        (_LENDER, one.at_lender),
    ]


def _reason(against: str, limit: PriceLimit) -> str:
    """Return why there is a price, or none, in words."""
    if against == _LENDER and limit.reason is PriceReason.FOUND:
        return "above this price cover falls below the lender's minimum"
    return limit.reason.words


def prices_picture(found: Sequence[MachineWalkAway], look: Look) -> Picture:
    """Return today's price and the walk-away prices of every machine that a choice buys."""
    machines = [look.study.machines[one.machine].name for one in found]
    places, rate, code = list(range(len(found))), look.currency.rate, look.currency.code
    data: list[dict[str, Any]] = [{
        "type": "scatter", "mode": "markers", "name": "Price today", "y": places,
        "x": [one.today * rate for one in found], "marker": _TODAY,
        "hovertemplate": f"%{{x:,.3s}} {code}",
    }]  # fmt: skip
    for k, name in enumerate(("Against the baseline", "Against the best rival",
                              "At the lender's minimum cover")):  # fmt: skip
        at = [(place, _limits(one, look)[k][1].price) for place, one in enumerate(found)]
        shown = [(place, price * rate) for place, price in at if price]
        if shown:
            data.append({
                "type": "scatter", "mode": "markers", "name": name, "y": [y for y, _ in shown],
                "x": [x for _, x in shown], "marker": {**STYLES[k + 1].marker, "size": 12},
                "hovertemplate": f"%{{x:,.3s}} {code}",
            })  # fmt: skip
    layout = {
        "xaxis": axis(f"One machine ({code}, log)", type="log",
                      showgrid=True, dtick=1, tickformat="~s"),
        "yaxis": {"tickvals": places, "ticktext": [wrapped(name) for name in machines],
                  "range": [len(found) - 0.5, -0.5], "showgrid": False, "zeroline": False},
    }  # fmt: skip
    return Picture({"data": data, "layout": layout}, " ".join(price_words(found, look)),
                   _prices_table(found, machines, look))  # fmt: skip


def _prices_table(
    found: Sequence[MachineWalkAway], machines: Sequence[str], look: Look
) -> ChartTable:
    """Return a row a machine and limit, with the reason."""
    rows = [
        [f"{name}, {'at' if against == _LENDER else 'against'} {against}",
         look.money(one.today), "–" if limit.price is None else look.money(limit.price),
         "–" if limit.margin is None else look.money(limit.margin), _reason(against, limit)]
        for name, one in zip(machines, found, strict=True)
        for against, limit in _limits(one, look)
    ]  # fmt: skip
    rows += [
        [f"{name}, at {_LENDER} in closed form", look.money(one.today),
         "–" if one.bankable is None else look.money(one.bankable),
         "–" if one.bankable is None else look.money(one.bankable - one.today),
         "no level loan of a share of the price pays for it" if one.bankable is None
         else "from the year with the least cover as the study stands"]
        for name, one in zip(machines, found, strict=True)
    ]  # fmt: skip
    return ChartTable(
        ["Machine", "Price today", "Walk-away price", "Above today's price", "Reason"], rows
    )


def price_words(found: Sequence[MachineWalkAway], look: Look) -> list[str]:
    """Return the binding limit of each machine, with today's price and the margin."""
    if not found:
        return ["This choice buys no machine."]
    said = []
    for one in found:
        name = look.study.machines[one.machine].name
        limits = _limits(one, look)
        priced = [(limit.price, against, limit) for against, limit in limits
                  if limit.price is not None]  # fmt: skip
        hopeless = [
            limit.reason.words if against == _LENDER
            else f"against {against} it is {limit.reason.words}"
            for against, limit in limits
            if limit.reason in (PriceReason.NOT_FREE, PriceReason.NOT_COVERED_FREE)
        ]  # fmt: skip
        if priced:
            price, against, limit = min(priced, key=lambda each: each[0])
            margin = limit.margin or 0.0
            side = "above" if margin >= 0 else "below"
            said.append(
                f"{name}: walk away above {look.money(price)} ({against}), "
                f"{look.money(abs(margin))} {side} today's {look.money(one.today)}"
                + (f"; {'; '.join(hopeless)}." if hopeless else ".")
            )
        else:
            words = "; ".join(f"{against}: {limit.reason.words}" for against, limit in limits)
            said.append(f"{name}, {look.money(one.today)} today: no walk-away price ({words}).")
    return said


def distances_picture(found: Sequence[BreakEven], look: Look) -> Picture:
    """Return how far from today's value the nearest break-evens are, the shortest first."""
    near = [
        each for each in found
        if each.reason is BreakEvenReason.FOUND and each.distance is not None
    ][:_MOST]  # fmt: skip
    system: UnitSystem = look.units
    names = [row[0].split("\n")[0] for row in input_rows(look.study, near, system=system)]
    places = list(range(len(near)))
    data = [
        {
            "type": "bar", "orientation": "h", "name": word, "marker": marker,
            "y": [k for k in places if (near[k].distance or 0.0) * sign > 0],
            "x": [100 * (near[k].distance or 0.0) for k in places
                  if (near[k].distance or 0.0) * sign > 0],
            "hovertemplate": "%{x:.1f} %",
        }
        for word, sign, marker in (
            ("If it rises", 1, {"color": "#1f7a8c"}),
            ("If it falls", -1, {"color": "#94527a",
                                 "pattern": {"shape": "/", "fillmode": "overlay"}}),
        )
    ]  # fmt: skip
    layout = {
        "barmode": "overlay",
        "xaxis": axis("Change from today (%)", showgrid=True,
                      zeroline=True),
        "yaxis": {"tickvals": places, "ticktext": [wrapped(name, 30) for name in names],
                  "autorange": "reversed", "showgrid": False},
    }  # fmt: skip
    rows = [
        [row[0].split("\n")[0], *row[1:]] for row in input_rows(look.study, found, system=system)
    ]
    said = " ".join(table_sentences(look.study, found, look.currency))
    if near:
        distance = f"{near[0].distance:+.1%}".replace("-", "−")
        said += f" Nearest: {names[0]}, {distance}."
    return Picture({"data": [d for d in data if d["y"]], "layout": layout}, said,
                   ChartTable(list(INPUT_HEADINGS), rows))  # fmt: skip
