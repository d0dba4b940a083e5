"""What the lender's figures rest on: how many are evidence, and the most influential of all.

May import: numpy, and from capex decision, study, units, `views.bank`, `views.chart`,
`views.charts.picture` and `views.wording`.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from capex.decision.swings import Swing, Swings
from capex.study import Quantity
from capex.units import quantity_text
from capex.views.bank.amounts import money_to_unit
from capex.views.chart import ChartTable
from capex.views.charts.picture import Look
from capex.views.wording import input_name

__all__ = ["evidence_sentences", "evidence_table"]

_TOP: Final = 10
_UNPROVEN: Final = ("default", "assumed")


def evidence_sentences(look: Look, found: Swings | None) -> list[str]:
    """Return how many figures are no evidence, and which of the lender's own are among them.

    Parameters
    ----------
    look : Look
    found : Swings or None
        Not known yet where None.
    """
    study = look.study
    each = [quantity for _, quantity in study.quantities()]
    without = sum(quantity.source in _UNPROVEN for quantity in each)
    said = [
        f"Of the {len(each)} figures of the study {len(each) - without} are entered, measured "
        f"or quoted; {without} are assumed or default, which is no evidence."
    ]
    if found is not None and found.each:
        top = min(_TOP, len(found.each))
        some = "all" if found.unproven == top else str(found.unproven)
        said[0] += f" Of the {top} most influential {some} are assumed or default."
    asked = study.money.lender
    most, draws, debts = (asked.highest_loan_to_value, asked.owner_draws,
                          asked.existing_debt_service)  # fmt: skip
    cash = study.money.opening_cash
    named = [
        (f"owner's draws {money_to_unit(draws.likely, look)} a month", draws),
        (f"service of debts there are already {money_to_unit(debts.likely, look)} a month", debts),
        (f"least cover asked for {asked.minimum_cover.likely:.2f}", asked.minimum_cover),
        (f"highest loan to value asked for {most.likely:.0%}", most),
        (f"least cash asked for {money_to_unit(asked.lowest_cash.likely, look)}",
         asked.lowest_cash),
        (f"money in the bank before the purchase {money_to_unit(cash.likely, look)}", cash),
    ]  # fmt: skip
    unproven = [f"{text} ({each.source})" for text, each in named if each.source in _UNPROVEN]
    if unproven:
        said.append(f"Among them what a lender asks first: {', '.join(unproven)}.")
    return said


def evidence_table(found: Swings, look: Look) -> ChartTable | None:
    """Return the most influential inputs, how far each may lie off, and where each came from.

    Influence is what the input moves the lead of the best choice over the next by, alone; None
    where there is no other choice, or no input with a spread.
    """
    if len(found.keys) < 2 or not found.each:
        return None
    study = look.study
    best, second = np.argsort(-found.gains, kind="stable")[:2]
    names = [study.alternatives[found.keys[place]].name for place in (best, second)]
    lead = float(found.gains[best] - found.gains[second])
    rows = [
        [
            input_name(study, swing.path),
            _text(swing.quantity, swing.quantity.likely, look),
            _text(swing.quantity, swing.quantity.low, look),
            _text(swing.quantity, swing.quantity.high, look),
            _source(swing),
            look.money(float(np.abs(swing.gains[:, best] - swing.gains[:, second] - lead).max())),
        ]
        for swing in found.each[:_TOP]
    ]
    return ChartTable(
        ["Input", "Value", "Low", "High", "Source",
         f"Moves the lead of {names[0]} over {names[1]} by"],
        rows,
    )  # fmt: skip


def _source(swing: Swing) -> str:
    on = swing.quantity.on
    return swing.quantity.source if on is None else f"{swing.quantity.source}, {on.isoformat()}"


def _text(quantity: Quantity, value: float | None, look: Look) -> str:
    known = quantity.likely if value is None else value
    return quantity_text(known, quantity.entry.kind, look.units, look.study.currency, 3)
