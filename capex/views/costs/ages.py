"""When to sell or trade in, and used against new: pictures and tables.

May import: numpy, and from capex decision, `views.chart` and `views.charts.picture`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from capex.decision.machine_lives import MachineLife
from capex.decision.replacement import EconomicLife, Replacement, ReplacementReason
from capex.decision.used_or_new import UsedOrNew
from capex.views.chart import ChartTable
from capex.views.charts.picture import Look, Picture, axis, plot_text

__all__ = ["keep_picture", "life_picture", "lives_table", "used_table", "used_words"]

_YEARLY: dict[str, Any] = {"color": "#1f7a8c", "width": 2.5}
_LEVEL: dict[str, Any] = {"color": "#94527a", "width": 2.5, "dash": "dash"}


def life_picture(found: EconomicLife, name: str, look: Look) -> Picture:
    """Return what a machine bought new costs a year, by the age at which it goes."""
    marginal, level = found.marginal_cost[0], found.equivalent_annual_cost[0]
    age, cost, last = int(found.age[0]), float(found.cost[0]), level.size
    data = [_line("Of that year alone", marginal, _YEARLY, look),
            _line("Level cost of every year up to it", level, _LEVEL, look)]  # fmt: skip
    reading = (
        f"{name} costs least a year, {look.money(cost)}, if it goes after {age} years"
        + (", the last year looked at: a later age may be better still."
           if found.still_falling[0] else
           f"; after {last} years it would be {look.money(level[-1])}.")
    )  # fmt: skip
    rows = [[str(k + 1), look.money(marginal[k]), look.money(level[k])] for k in range(last)]
    table = ChartTable(["Age when it goes (years)", "Cost of that year", "Level cost a year"], rows)
    layout = _layout("Age at which it goes (years)", look)
    return Picture({"data": data, "layout": layout}, reading, table)


def lives_table(found: Sequence[MachineLife], names: Mapping[str, str], look: Look) -> ChartTable:
    """Return machines of unequal lives: level cost a year, and a chain to a common horizon."""
    horizon = found[0].chain_years
    return ChartTable(
        ["New machine, followed by its like", "Goes after (years)", "One life, today's money",
         "Level cost a year", f"Chain over {horizon} years, today's money"],
        [
            [names[each.machine], f"{each.age}{' or more' if each.still_falling else ''}",
             look.money(each.present_cost), look.money(each.annual_cost),
             "no common horizon within 100 years" if each.chain_cost is None
             else look.money(each.chain_cost)]
            for each in found
        ],
    )  # fmt: skip


def keep_picture(found: Replacement, names: tuple[str, str], look: Look) -> Picture:
    """Return what each further year with the old machine costs, beside the new one's level cost."""
    marginal, new = found.marginal_cost[0], float(found.successor_cost[0])
    old, successor = names
    level = np.full(marginal.size, new)
    data = [_line(f"One more year with {old}", marginal, _YEARLY, look),
            _line(f"{successor}, level cost of a year", level, _LEVEL, look)]  # fmt: skip
    years, reason = int(found.years[0]), ReplacementReason(int(found.reason[0]))
    saving = look.money(float(found.saving[0]))
    reading = {
        ReplacementReason.NOW: f"Replace {old} now: its next year costs "
        f"{look.money(marginal[0])}, {successor} {look.money(new)} a year.",
        ReplacementReason.LATER: f"Keep {old} for {years} more years, which saves {saving} in "
        f"today's money over replacing it now; then a year with it costs more than the "
        f"{look.money(new)} of {successor}.",
        ReplacementReason.NOT_IN_SIGHT: f"Keep {old} in all {marginal.size} years looked at: each "
        f"costs less than the {look.money(new)} of {successor}.",
    }[reason]
    rows = [[str(k + 1), look.money(value), look.money(new)] for k, value in enumerate(marginal)]
    table = ChartTable(["Further year", f"With {old}", f"With {successor}"], rows)
    layout = _layout("Further year", look)
    return Picture({"data": data, "layout": layout}, reading, table)


def _line(
    name: str, values: np.ndarray[Any, np.dtype[np.float64]], line: dict[str, Any], look: Look
) -> dict[str, Any]:
    return {
        "type": "scatter", "mode": "lines+markers", "name": plot_text(name),
        "x": np.arange(1, values.size + 1), "y": (values * look.currency.rate).round(0),
        "line": line, "hovertemplate": f"%{{y:,.3s}} {look.currency.code}",
    }  # fmt: skip


def _layout(title: str, look: Look) -> dict[str, Any]:
    return {
        "xaxis": axis(title, dtick=1),
        "yaxis": axis(f"A year ({look.currency.code})", tickformat="~s", rangemode="tozero"),
        "hovermode": "x unified",
    }


def used_table(found: UsedOrNew, look: Look) -> ChartTable:
    """Return what buying new and buying second-hand come to."""
    both = (found.new, found.used)
    rows = [
        ["Price", *(look.money(one.price) for one in both)],
        ["Share of staffed time in which it works", *(f"{one.availability:.1%}" for one in both)],
        ["Service a year", *(look.money(one.service) for one in both)],
        ["Fetches in the end, before tax", *(look.money(one.resale) for one in both)],
        ["Least money in the bank", *(look.money(one.least_cash) for one in both)],
        ["NPV gain of the choice over the baseline", *(look.money(one.gain) for one in both)],
    ]
    return ChartTable(["", "New", "Second-hand"], rows)


def used_words(found: UsedOrNew, look: Look) -> str:
    """Return which of the two leaves more, and up to which price."""
    more = "Second-hand" if found.ahead > 0 else "New"
    said = f"{more} leaves {look.money(abs(found.ahead))} more (net present value)."
    if found.level.price is None:
        return f"{said} For the used machine: {found.level.reason.words}."
    return f"{said} Above {look.money(found.level.price)} for the used machine, buy new."
