"""What capex carries into the workbook as values: how much is used, made and sold each month.

What the timed capacity brings about is read off the ledger by its own rules: with the month's plan
held, each price is raised by itself, and what a line moves by is how much of it is bought. Nothing
is worked out by a second rule.

May import: numpy, `capex.study`, `capex.shopfloor`, `capex.finance` and `capex.decision`.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from capex.decision.outcome import Details
from capex.finance.cash_flows import cash_flows
from capex.shopfloor.content import COSTS, Contents
from capex.shopfloor.mix import job_mix
from capex.shopfloor.prices import price_levels
from capex.shopfloor.routes import routes
from capex.study import Study
from capex.units import shown_number

__all__ = ["Quantities", "Use", "quantities", "shown_scale"]

FloatArray = npt.NDArray[np.float64]

#: Inputs that stand at round values while others are raised: today's prices, one wage.
_PLAIN: Final = {
    "money.escalation.prices": 0.0,
    "money.escalation.materials": 0.0,
    "money.escalation.wages": 0.0,
    "money.escalation.overheads": 0.0,
    "levers.price": 1.0,
    "shop.people.wage": 1.0 / 3600.0,
    "shop.people.on_cost_factor": 1.0,
    "shop.people.idle_time_redeployed": 0.0,
    "shop.hours.overtime_premium": 1.0,
}
_REDEPLOYED: Final = "shop.people.idle_time_redeployed"
#: Where a price can stand that ledger lines follow in proportion.
_PRICES: Final = (
    "films.*.price", "inks.*.price", "machines.*.printing.head_price",
    "machines.*.cutting.blade_price", "shop.premises.electricity", "shop.premises.rent",
    "jobs.*.price", "jobs.*.bought_in_price", "jobs.*.other_cost",
)  # fmt: skip
_ROUNDING: Final = 1e-12


@dataclass(frozen=True)
class Use:
    """How much of what a price is of goes into a ledger line.

    Parameters
    ----------
    line, path : str
        Key of the line, and the price's path in the study.
    amount : ndarray, shape (m + 1,)
        For each month, in the unit that the shown price is for; positive.
    """

    line: str
    path: str
    amount: FloatArray


@dataclass(frozen=True)
class Quantities:
    """What one alternative uses, makes and sells by month; arrays of shape (m + 1,).

    Parameters
    ----------
    uses : tuple of Use
        In the order of the ledger's lines.
    paid_hours, idle_hours, overtime_hours : ndarray
        Hours of all persons.
    late : dict of str to ndarray
        Orders that are late, by job type, where being late costs something.
    """

    uses: tuple[Use, ...]
    paid_hours: FloatArray
    idle_hours: FloatArray
    overtime_hours: FloatArray
    late: dict[str, FloatArray]

    def of(self, line: str) -> Iterator[Use]:
        """Yield what goes into one line."""
        return (use for use in self.uses if use.line == line)


def shown_scale(kind: str) -> float:
    """Return how many shown units a canonical one is; fractions stay fractions.

    Examples
    --------
    >>> shown_scale("wage"), shown_scale("fraction")
    (3600.0, 1.0)
    """
    return 1.0 if kind == "fraction" else float(shown_number(1.0, kind))


def quantities(key: str, path: Details, today: FloatArray) -> Quantities:
    """Return what an alternative uses each month, its plan held.

    Parameters
    ----------
    key : str
        Of the alternative.
    path : Details
        Of one scenario.
    today : ndarray, shape (1,) [currency]
        Sales of a month today; see `capex.finance.cash_flows`.

    Returns
    -------
    Quantities
    """
    plain = dict(_PLAIN)
    if path.late is not None:
        plain |= {
            "shop.promises.cost_of_late_order": 0.0,
            "shop.promises.price_lost_when_late": 1.0,
        }
    study = path.study.replaced(plain)
    raised = [*_prices(study), _REDEPLOYED]
    steps = {one: max(study.quantity(one).likely, 1.0) for one in raised}
    cases = np.arange(len(raised) + 1)
    study = study.replaced(
        {
            one: np.where(
                cases == place, study.quantity(one).likely + steps[one], study.quantity(one).likely
            )
            for place, one in enumerate(raised, start=1)
        }
    )
    table, keys = _ledger(study, key, path, today, cases.size)
    moved = {one: (table[i] - table[0]) / steps[one] for i, one in enumerate(raised, start=1)}
    uses = tuple(
        Use(line, one, _cleared(amount) / shown_scale(study.quantity(one).entry.kind))
        for place, line in enumerate(keys)
        if line in (*COSTS, "bought_in", "standby", "floor_space") or line.startswith("sales.")
        for one in raised[:-1]
        for amount in (moved[one][place],)
        if np.abs(amount).max() > _ROUNDING
    )
    late = {}
    if path.late is not None:
        place = keys.index("late")
        late = {job: -moved[f"jobs.{job}.price"][place] for job in path.mix.keys}
    wages, overtime = keys.index("wages"), keys.index("overtime")
    return Quantities(uses, -table[0][wages], moved[_REDEPLOYED][wages], -table[0][overtime], late)


def _cleared(amount: FloatArray) -> FloatArray:
    """Return amounts as positive, without the rounding that a difference leaves."""
    size = np.abs(amount)
    return np.where(size > _ROUNDING * size.max(), size, 0.0)


def _prices(study: Study) -> list[str]:
    """Return the paths of all prices, as far as the study states them."""
    patterns = [pattern.split(".") for pattern in _PRICES]
    return [
        path
        for path, _ in study.quantities()
        for parts in (path.split("."),)
        if any(
            len(parts) == len(pattern)
            and all(b in ("*", a) for a, b in zip(parts, pattern, strict=True))
            for pattern in patterns
        )
    ]


def _ledger(
    study: Study, key: str, path: Details, today: FloatArray, count: int
) -> tuple[FloatArray, list[str]]:
    """Return lines of money with the plan held, shape (count, lines, m + 1), and their keys."""
    months = path.prices.sales.shape[1]
    alternative, mix = study.alternatives[key], job_mix(study)
    ways = routes(Contents(study, mix), alternative)
    levels = price_levels(study, months)
    held = cash_flows(
        study, mix, alternative, ways, path.output, levels, path.area, count, path.late, today
    )
    return held.table, [line.key for line in held.lines]
