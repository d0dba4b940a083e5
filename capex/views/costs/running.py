"""What is lost today, what owning costs over the horizon, and making against buying in.

May import: numpy, and from capex decision, `views.chart`, `views.charts.picture` and
`views.wording`.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Final

import numpy as np
import numpy.typing as npt

from capex.decision.appraise import Appraisal
from capex.decision.lost_today import Kind, LostToday
from capex.decision.make_or_buy import MakeOrBuy
from capex.decision.ownership import OwnershipCost, OwnershipGroup, ownership_cost
from capex.views.chart import ChartTable
from capex.views.charts.picture import Look, Picture, axis, joined, wrapped
from capex.views.wording import Currency, money_text

__all__ = ["lost_picture", "make_or_buy_picture", "ownership_picture"]

_KINDS: Final[dict[Kind, tuple[str, dict[str, Any]]]] = {
    "turned away": ("Turned away", {"color": "#94527a"}),
    "refused": ("Refused for want of hours",
                {"color": "#94527a", "pattern": {"shape": "x", "fillmode": "overlay"}}),
    "bought in": ("Bought in at a smaller margin",
                  {"color": "#1f7a8c", "pattern": {"shape": "/", "fillmode": "overlay"}}),
    "late": ("Late", {"color": "#8c6d1f", "pattern": {"shape": ".", "fillmode": "overlay"}}),
}  # fmt: skip

#: Bars of the cost of owning and running, and the groups of `ownership_cost` in each.
_BARS: Final[dict[str, tuple[tuple[str, ...], dict[str, Any]]]] = {
    "Machines less what they fetch, freight, training": (
        ("Machines, less what they fetch", "Freight and installation", "Training"),
        {"color": "#1f7a8c"}),
    "Service and insurance": (
        ("Service", "Insurance"),
        {"color": "#1f7a8c", "pattern": {"shape": "/", "fillmode": "overlay"}}),
    "Film, overlaminate and ink": (("Film and overlaminate", "Ink"), {"color": "#8c6d1f"}),
    "Heads, blades and spoil": (
        ("Print heads and blades", "Spoil and other direct cost"),
        {"color": "#8c6d1f", "pattern": {"shape": "x", "fillmode": "overlay"}}),
    "Power and floor space": (("Power", "Floor space"), {"color": "#94527a"}),
    "Wages and overtime": (("Wages and overtime",), {"color": "#6f7a82"}),
    "Other": (
        ("Other cost of machines and room",),
        {"color": "#94527a", "pattern": {"shape": "/", "fillmode": "overlay"}}),
}  # fmt: skip


def lost_picture(found: LostToday, look: Look) -> Picture:
    """Return the losses of a year end to end, and their sum."""
    steps, rate, code = found.waterfall, look.currency.rate, look.currency.code
    places = np.arange(len(steps) + 1)
    data: list[dict[str, Any]] = []
    for kind, (name, marker) in _KINDS.items():
        mine = [k for k, step in enumerate(steps) if step.kind == kind]
        if mine:
            data.append(_bars(name, mine, [steps[k].start * rate for k in mine],
                              [(steps[k].end - steps[k].start) * rate for k in mine], marker,
                              code))  # fmt: skip
    data.append(_bars("All together", [len(steps)], [0.0], [found.total * rate],
                      {"color": "#6f7a82"}, code))  # fmt: skip
    layout = {
        "barmode": "overlay",
        "xaxis": axis(f"Contribution lost a year ({code})", tickformat="~s", showgrid=True,
                      rangemode="tozero"),
        "yaxis": {"tickvals": places, "autorange": "reversed", "showgrid": False,
                  "ticktext": [*(wrapped(step.name) for step in steps), "All together"]},
    }  # fmt: skip
    table = ChartTable(
        ["Job type", "How", "Orders a year", f"Lost a year ({code})"],
        [
            [loss.name or "All types", _KINDS[loss.kind][0],
             "–" if loss.orders is None else f"{loss.orders:.1f}",
             "no machine of the study makes it" if loss.amount is None
             else look.money(loss.amount)]
            for loss in found.each
        ],
    )  # fmt: skip
    return Picture({"data": data, "layout": layout}, _lost_reading(found, look), table)


def _bars(
    name: str, at: list[int], base: list[float], long: list[float], marker: dict[str, Any],
    code: str,
) -> dict[str, Any]:  # fmt: skip
    return {
        "type": "bar", "orientation": "h", "name": name, "y": at, "base": base, "x": long,
        "marker": marker, "hovertemplate": f"%{{x:,.3s}} {code}",
    }  # fmt: skip


def _lost_reading(found: LostToday, look: Look) -> str:
    if not found.waterfall:
        said = "Nothing that a figure can be put on is lost today."
    else:
        by_kind = {
            kind: sum(step.end - step.start for step in found.waterfall if step.kind == kind)
            for kind in dict.fromkeys(step.kind for step in found.waterfall)
        }
        parts = [f"{look.money(sum_)} {_KINDS[kind][0].lower()}" for kind, sum_ in by_kind.items()]
        most = max(found.waterfall, key=lambda step: step.end - step.start)
        said = (
            f"In year {found.year} {look.money(found.total)} is lost: {joined(parts)}; most with "
            f"{most.name}, {look.money(most.end - most.start)}."
        )
    names = [loss.name or "all types" for loss in found.unknown]
    if names:
        said += f" No figure for {joined(names)}: no machine of the study makes it."
    return f"{said} Before the people and machines that this work would take: no gain by itself."


def ownership_picture(found: Appraisal, look: Look) -> Picture:
    """Return what owning and running costs over the horizon, a stacked bar a choice."""
    costs = {key: ownership_cost(outcome) for key, outcome in found.outcomes.items()}
    names, rate, code = look.names(found), look.currency.rate, look.currency.code
    data = []
    for bar, (groups, marker) in _BARS.items():
        values = [-rate * sum(float(group.nominal[0]) for group in cost.costs
                              if group.name in groups) for cost in costs.values()]  # fmt: skip
        if any(values):
            data.append({
                "type": "bar", "orientation": "h", "name": bar, "x": values, "marker": marker,
                "y": [wrapped(names[key], 18) for key in costs],
                "hovertemplate": f"%{{x:,.3s}} {code}",
            })  # fmt: skip
    years = int(found.baseline.horizon[0]) / 12
    layout = {
        "barmode": "relative",
        "xaxis": axis(f"Over {years:g} years, before tax ({code})", tickformat="~s",
                      showgrid=True),
        "yaxis": {"autorange": "reversed", "showgrid": False},
    }  # fmt: skip
    return Picture({"data": data, "layout": layout}, _owning_reading(costs, look, names, years),
                   _owning_table(costs, look, names))  # fmt: skip


def _owning_table(costs: dict[str, OwnershipCost], look: Look, names: dict[str, str]) -> ChartTable:
    """Return the costs down to their sum, and what lending and leasing add down to theirs."""
    every = list(costs.values())

    def row(name: str, paid: Sequence[npt.NDArray[np.float64]]) -> list[str]:
        # to the unit, so that the lines visibly add up
        units = [round(-float(each[0]) * look.currency.rate) for each in paid]
        shown = (money_text(each, Currency(look.currency.code), 15) for each in units)
        return [name, *(text.removesuffix(".00") for text in shown)]

    def rows(parts: Sequence[Sequence[OwnershipGroup]]) -> list[list[str]]:
        lines = zip(*parts, strict=True)
        return [row(line[0].name, [group.nominal for group in line]) for line in lines]

    shown = rows([cost.costs for cost in every])
    shown.append(row("Owning and running", [cost.nominal for cost in every]))
    shown.append(row("The same in today's money", [cost.present_value for cost in every]))
    # what no choice has is left out: a study without a lease speaks of none
    some = [k for k in range(len(every[0].financing))
            if any(cost.financing[k].lines for cost in every)]  # fmt: skip
    if some:
        shown += rows([[cost.financing[k] for k in some] for cost in every])
        shown.append(row("As the machines are paid for", [cost.nominal_financed for cost in every]))
    return ChartTable(["Cost", *(names[key] for key in costs)], shown)


def _owning_reading(
    costs: dict[str, OwnershipCost], look: Look, names: dict[str, str], years: float
) -> str:
    total = {key: -float(cost.nominal[0]) for key, cost in costs.items()}
    least, most = min(total, key=total.__getitem__), max(total, key=total.__getitem__)
    largest = min(costs[most].costs, key=lambda group: float(group.nominal[0]))
    said = (
        f"Over {years:g} years {names[most]} costs most to own and run, {look.money(total[most])}"
        f" ({largest.name.lower()}: {-float(largest.nominal[0]) / total[most]:.0%}); "
    )
    said += f"{names[least]} costs least, {look.money(total[least])}. " if least != most else ""
    return said + (
        "Sales, bought-in work and tax are not in it: what costs least need not leave most. "
        "Machines count as paid in cash; what a loan or a lease adds stands below in the table."
    )


def make_or_buy_picture(found: Sequence[MakeOrBuy], name: str, year: int, look: Look) -> Picture:
    """Return what making all orders of each type leaves more than buying them in."""
    rate, code = look.currency.rate, look.currency.code
    known = [each for each in found if each.yearly_difference is not None]
    data = [
        {
            "type": "bar", "orientation": "h", "name": word,
            "y": [wrapped(each.name) for each in part],
            "x": [(each.yearly_difference or 0.0) * rate for each in part], "marker": marker,
            "hovertemplate": f"%{{x:,.3s}} {code}",
        }
        for word, part, marker in (
            ("Make", [each for each in known if (each.yearly_difference or 0.0) >= 0.0],
             {"color": "#1f7a8c"}),
            ("Buy in", [each for each in known if (each.yearly_difference or 0.0) < 0.0],
             {"color": "#94527a", "pattern": {"shape": "/", "fillmode": "overlay"}}),
        ) if part
    ]  # fmt: skip
    layout = {
        "barmode": "overlay",
        "xaxis": axis(f"More by making, a year ({code})", tickformat="~s",
                      showgrid=True, zeroline=True),
        "yaxis": {"autorange": "reversed", "showgrid": False, "categoryorder": "array",
                  "categoryarray": [wrapped(each.name) for each in known]},
    }  # fmt: skip
    columns = [
        "Job type", "Orders a year", "Price", "Cost of making: break-even price",
        "Bought-in price", "Making leaves more, an order", "a year", "an hour at its station",
        "Reason for a gap",
    ]  # fmt: skip
    return Picture({"data": data, "layout": layout}, _making_reading(found, name, year, look),
                   ChartTable(columns, [_making_row(each, look) for each in found]))  # fmt: skip


def _making_row(each: MakeOrBuy, look: Look) -> list[str]:
    cells = (each.price, each.break_even_price, each.bought_in_price, each.difference,
             each.yearly_difference, each.difference_per_hour)  # fmt: skip
    reasons = [reason for reason in (each.cannot_make, each.cannot_buy) if reason]
    return [
        each.name, f"{each.orders:.0f}",
        *("–" if value is None else look.money(value) for value in cells),
        "; ".join(reasons) or "none",
    ]  # fmt: skip


def _making_reading(found: Sequence[MakeOrBuy], name: str, year: int, look: Look) -> str:
    worse = [each.name for each in found if each.difference is not None and each.difference < 0.0]
    gaps = [f"{each.name} ({each.cannot_make or each.cannot_buy})" for each in found
            if each.difference is None]  # fmt: skip
    hourly = {each.name: each.difference_per_hour for each in found
              if each.difference_per_hour is not None}  # fmt: skip
    said = f"{name}, year {year}: " + (
        f"buying in costs less than making for {joined(worse)}."
        if worse
        else "making costs less than buying in for every type compared."
    )
    if hourly:
        least = min(hourly, key=lambda each: hourly[each] or 0.0)
        station = next(each.station for each in found if each.name == least)
        said += (
            f" Where hours run out at {station}, {least} should leave the house first: an hour of "
            f"it there brings {look.money(hourly[least] or 0.0)}."
        )
    if gaps:
        said += f" No comparison: {joined(gaps)}."
    return f"{said} Before wages paid anyway, room and standing cost."
