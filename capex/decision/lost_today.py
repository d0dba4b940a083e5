"""What is lost today: work turned away, bought in at a smaller margin, and late.

Imports numpy and, of this folder, `appraise`, `making_cost` and `outcome`.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

from capex.decision.appraise import Appraisal
from capex.decision.making_cost import making_cost, months_of_year
from capex.decision.outcome import of_scenario

__all__ = ["Kind", "Loss", "LostToday", "Step", "lost_today"]

Kind = Literal["turned away", "refused", "bought in", "late"]


@dataclass(frozen=True)
class Loss:
    """What one type loses in one way.

    Parameters
    ----------
    job, name : str or None
        Key and name of the type; None for late orders, which the ledger holds as one line.
    kind : {"turned away", "refused", "bought in", "late"}
        Not asked for any more, as the study says of today; refused for want of hours; bought in;
        finished late.
    orders : float or None
        In the year [-].
    amount : float or None
        Contribution lost in the year [currency/year], at least 0; None where no machine of the
        study makes the type, so that nobody knows what making it would cost.
    made_by : str or None
        Key of the alternative on whose machines making was costed.
    """

    job: str | None
    name: str | None
    kind: Kind
    orders: float | None
    amount: float | None
    made_by: str | None = None


@dataclass(frozen=True)
class Step:
    """One bar of a waterfall, from one running total to the next [currency/year]."""

    name: str
    kind: Kind
    start: float
    end: float


@dataclass(frozen=True)
class LostToday:
    """All losses of the baseline in a year.

    Parameters
    ----------
    year : int
        Project year.
    months : int
        Of the year within the horizon.
    each : tuple of Loss
        By kind, then by type.
    """

    year: int
    months: int
    each: tuple[Loss, ...]

    @property
    def total(self) -> float:
        """All known amounts together [currency/year]."""
        return sum(loss.amount for loss in self.each if loss.amount is not None)

    @property
    def unknown(self) -> tuple[Loss, ...]:
        """Losses that nobody can put a figure on, to be said by name."""
        return tuple(loss for loss in self.each if loss.amount is None)

    @property
    def waterfall(self) -> tuple[Step, ...]:
        """The known amounts end to end, within each kind the largest first."""
        steps: list[Step] = []
        level = 0.0
        for kind in dict.fromkeys(loss.kind for loss in self.each):
            known = [
                (loss.amount, loss.name or "All types")
                for loss in self.each
                if loss.kind == kind and loss.amount
            ]
            for amount, name in sorted(known, key=lambda pair: -pair[0]):
                steps.append(Step(name, kind, level, level + amount))
                level += amount
        return tuple(steps)


def lost_today(appraisal: Appraisal, year: int = 1, scenario: int = 0) -> LostToday:
    """Return what the baseline loses in a year against making all that is asked for in the house.

    An order refused loses its price less what making it would cost; one bought in loses what the
    supplier takes above that, and nothing where buying in is cheaper. Making is costed on the
    baseline's own machines, where they can, else on those of the first alternative that can.
    People and machines that the extra work might take are not counted: this is no gain that a
    purchase would bring.

    Parameters
    ----------
    appraisal : Appraisal
        That kept everything.
    year : int
        Project year, from 1.
    scenario : int
        Which scenario.

    Returns
    -------
    LostToday

    Raises
    ------
    InputError
        An appraisal that kept only cash, or a year beyond the horizon.

    Examples
    --------
    >>> from capex.decision.appraise import appraise
    >>> from capex.study import data_folder, read_study
    >>> study = read_study(data_folder() / "studies" / "quenlow.toml")
    >>> found = lost_today(appraise(study))
    >>> bool(abs(found.waterfall[-1].end - found.total) < 1e-6)
    True
    """
    details = appraisal.baseline.path
    months = months_of_year(details, year, scenario)
    each = [*_by_type(appraisal, year, scenario), *_late(appraisal, months, scenario)]
    order: tuple[Kind, ...] = ("turned away", "refused", "bought in", "late")
    each.sort(key=lambda loss: order.index(loss.kind))
    return LostToday(year, months.stop - months.start, tuple(each))


def _by_type(appraisal: Appraisal, year: int, scenario: int) -> Iterator[Loss]:
    details = appraisal.baseline.path
    mix, output, level = details.mix, details.output, details.prices
    months = months_of_year(details, year, scenario)
    demand, refused, bought = (
        of_scenario(part, scenario)[:, months].sum(axis=1)
        for part in (output.demand, output.refused, output.bought_in)
    )
    price = of_scenario(mix.price, scenario) * of_scenario(level.sales, scenario)[months.start]
    outside = (
        of_scenario(mix.bought_in_price, scenario)
        * of_scenario(level.materials, scenario)[months.start]
    )
    recovered = details.study.shop.after_purchase.recovered_demand.si
    away = demand * of_scenario(recovered, scenario)
    for j, (key, job) in enumerate(zip(mix.keys, mix.jobs, strict=True)):
        cost, by = _cheapest(appraisal, j, year, scenario)
        kinds: tuple[tuple[Kind, float, float], ...] = (
            ("turned away", float(away[j]), float(price[j])),
            ("refused", float(refused[j]), float(price[j])),
            ("bought in", float(bought[j]), float(outside[j])),
        )
        for kind, orders, worth in kinds:
            if orders > 0:
                amount = None if cost is None else orders * max(worth - cost, 0.0)
                yield Loss(key, job.name, kind, orders, amount, by)


def _cheapest(
    appraisal: Appraisal, j: int, year: int, scenario: int
) -> tuple[float | None, str | None]:
    """Return what making an order costs, and on whose machines: the baseline's where they can."""
    others = (one for one in appraisal.outcomes.values() if one is not appraisal.baseline)
    for outcome in (appraisal.baseline, *others):
        found = making_cost(outcome.path, outcome.key, j, year, scenario)
        if not isinstance(found, str):
            return found.whole, outcome.key
    return None, None


def _late(appraisal: Appraisal, months: slice, scenario: int) -> Iterator[Loss]:
    ledger = appraisal.baseline.path.ledger
    if any(line.key == "late" for line in ledger.lines):
        flow = of_scenario(ledger.line("late"), scenario)[1:][months]
        yield Loss(None, None, "late", None, -float(flow.sum()))
