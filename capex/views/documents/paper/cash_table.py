"""Cash of a choice by kind: the first year by month, then by project year, to the unit.

Imports numpy, and from capex decision, finance, `views.bank.amounts`, `views.chart`,
`views.charts.picture` and `views.wording`.
"""

from __future__ import annotations

from typing import Final, get_args

import numpy as np
import numpy.typing as npt

from capex.decision.outcome import Outcome
from capex.finance.ledger import Group
from capex.views.bank.amounts import amount_text, whole_amount
from capex.views.chart import ChartTable
from capex.views.charts.picture import Look
from capex.views.wording import month_name

__all__ = ["STRONG_ROWS", "first_year_table", "yearly_table"]

FloatArray = npt.NDArray[np.float64]

_GROUPS: Final[tuple[Group, ...]] = get_args(Group)
#: Rows that are sums, counted from the first.
STRONG_ROWS: Final = (len(_GROUPS) - 1, len(_GROUPS) + 1, len(_GROUPS) + 2)


def _table(
    flows: dict[str, FloatArray], heads: list[str], opening: float, look: Look
) -> ChartTable:
    """Return rounded amounts that add up as they stand; the last row is the bank account."""
    rows: list[tuple[str, list[int]]] = []
    total = np.zeros(len(heads), dtype=int)
    for name, flow in flows.items():
        amounts = [whole_amount(float(value), look) for value in flow]
        if name == "financing":
            rows.append(("Before financing", total.tolist()))
        rows.append((name.capitalize(), amounts))
        total = total + np.array(amounts)
    rows.append(("All cash", total.tolist()))
    rows.append(("In the bank at the end", (whole_amount(opening, look) + total.cumsum()).tolist()))
    code = look.currency.code
    return ChartTable(
        [code, *heads], [[name, *(amount_text(value, look) for value in amounts)]
                         for name, amounts in rows],
    )  # fmt: skip


def _flows(outcome: Outcome) -> dict[str, FloatArray]:
    last = int(outcome.horizon[0])
    return {group: outcome.path.ledger.group(group)[0, : last + 1] for group in _GROUPS}


def first_year_table(outcome: Outcome, look: Look) -> ChartTable:
    """Return a row a kind of cash and a column a month, the day of decision first."""
    months = min(12, int(outcome.horizon[0]))
    flows = {name: flow[: months + 1] for name, flow in _flows(outcome).items()}
    heads = ["Start", *(month_name(look.study, m)[:3] for m in range(1, months + 1))]
    return _table(flows, heads, float(look.study.money.opening_cash.likely), look)


def yearly_table(outcome: Outcome, look: Look) -> ChartTable:
    """Return a row a kind of cash and a column a project year, the day of decision in the first."""
    last = int(outcome.horizon[0])
    starts = [0, *range(13, last + 1, 12)]
    flows = {name: np.add.reduceat(flow, starts) for name, flow in _flows(outcome).items()}
    heads = [f"Year {k + 1}" for k in range(len(starts))]
    return _table(flows, heads, float(look.study.money.opening_cash.likely), look)
