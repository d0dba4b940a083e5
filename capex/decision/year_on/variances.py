"""Plan against actual by month and figure, and what each difference comes of.

The variances of cost accounting. A volume variance is what the plan would have for the orders
there were, less the plan; what is left is one of price or of cost an order. Wages are split into
the hours that were paid and the rate that was paid for one. Source: lpu-management-control, section
8.2.3; blocher-cost-management, chapter 13.

Imports numpy, `capex.study` and, of this folder, `planned`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from capex.decision.year_on.planned import FIGURES, PlannedMonths
from capex.study.actuals import ActualMonth, Actuals

__all__ = ["Compared", "compared", "flexed", "rate_and_efficiency"]

FloatArray = npt.NDArray[np.float64]

#: Sales, and costs that follow the orders wholly or in part.
FOLLOWS_VOLUME: Final = ("sales", "materials", "bought_in", "upkeep")


@dataclass(frozen=True)
class Compared:
    """One figure over the months in which it was recorded, n of them.

    Parameters
    ----------
    figure : str
        As in `planned.FIGURES`.
    months : ndarray of int, shape (n,)
        Of the plan, from 1.
    plan, actual : ndarray, shape (n,)
        Orders, money or time [s]; costs positive.
    flexed : ndarray, shape (n,)
        What the plan would have for the orders there were; the plan itself where the figure does
        not follow the volume.
    causes : dict of str to ndarray, shape (n,)
        What actual less plan comes of: volume, price, cost, hours, rate or all. They add up to it.
    """

    figure: str
    months: npt.NDArray[np.intp]
    plan: FloatArray
    actual: FloatArray
    flexed: FloatArray
    causes: dict[str, FloatArray]

    @property
    def difference(self) -> float:
        """Actual less plan over all months."""
        return float(self.actual.sum() - self.plan.sum())


def flexed(
    plan: npt.ArrayLike, planned_orders: npt.ArrayLike, orders: npt.ArrayLike,
    price: npt.ArrayLike | None = None,
) -> FloatArray:  # fmt: skip
    """Return what a plan comes to for another volume: budgeted figure an order × orders.

    Parameters
    ----------
    plan, planned_orders, orders : array_like (...)
        Figure and orders as planned, and orders as they were.
    price : array_like (...), optional
        Figure an order where none was planned; else such orders add nothing.

    Returns
    -------
    ndarray (...)

    Examples
    --------
    >>> flexed([6000.0, 6400.0], [1200.0, 400.0], [1100.0, 700.0]).tolist()
    [5500.0, 11200.0]

    Source: lpu-management-control, section 8.2.3.
    """
    figure, before, now = (np.asarray(x, dtype=np.float64) for x in (plan, planned_orders, orders))
    instead = np.zeros_like(figure) if price is None else np.asarray(price, dtype=np.float64)
    each = np.divide(figure, before, out=instead.copy(), where=before > 0)
    result: FloatArray = figure + (now - before) * each  # the plan to the last bit if nothing moves
    return result


def rate_and_efficiency(
    rate: npt.ArrayLike, hours: npt.ArrayLike, planned_rate: npt.ArrayLike,
    planned_hours: npt.ArrayLike,
) -> tuple[FloatArray, FloatArray]:  # fmt: skip
    """Return the two parts of a difference in what is paid by the hour; positive costs more.

    Parameters
    ----------
    rate, hours, planned_rate, planned_hours : array_like (...)
        Paid an hour, and hours.

    Returns
    -------
    tuple of ndarray (...)
        Rate: (rate − planned rate) × hours. Efficiency: (hours − planned hours) × planned rate.

    Examples
    --------
    >>> rate, efficiency = rate_and_efficiency(9.8, 23_200, 10.0, 22_500)
    >>> float(rate.round(2)), float(efficiency)
    (-4640.0, 7000.0)

    Source: worked-labor-variances.
    """
    paid, worked = np.asarray(rate, dtype=np.float64), np.asarray(hours, dtype=np.float64)
    before, allowed = np.asarray(planned_rate), np.asarray(planned_hours)
    return np.asarray((paid - before) * worked), np.asarray((worked - allowed) * before)


def compared(actuals: Actuals, places: Sequence[int], plan: PlannedMonths,
             jobs: Sequence[str]) -> dict[str, Compared]:  # fmt: skip
    """Return every figure that was recorded, beside the plan.

    Parameters
    ----------
    actuals : Actuals
    places : sequence of int
        Month of the plan of each record, from 1.
    plan : PlannedMonths
        Of the choice that was made.
    jobs : sequence of str
        Job types in the order of the plan.

    Returns
    -------
    dict of str to Compared
        By figure; those that no month records are left out.
    """
    found = {}
    for figure in FIGURES:
        rows = [(place, month, value) for place, month in zip(places, actuals.months, strict=True)
                if (value := _recorded(month, figure)) is not None]  # fmt: skip
        if rows:
            at = np.array([place for place, _, _ in rows], dtype=np.intp)
            before = plan.total[figure][at - 1]
            actual = np.array([value for _, _, value in rows])
            moved = before
            if figure in FOLLOWS_VOLUME:
                moved = np.array([_for_volume(plan, figure, place, month, jobs)
                                  for place, month, _ in rows])  # fmt: skip
            months = [month for _, month, _ in rows]
            causes = _causes(figure, before, actual, moved) if figure != "wages" else _of_wages(
                before, actual, plan.total["hours_paid"][at - 1], months)  # fmt: skip
            found[figure] = Compared(figure, at, before, actual, moved, causes)
    return found


def _recorded(month: ActualMonth, figure: str) -> float | None:
    value: float | None = month.volume if figure == "orders" else getattr(month, figure)
    return value


def _for_volume(
    plan: PlannedMonths, figure: str, place: int, month: ActualMonth, jobs: Sequence[str]
) -> float:
    """Return what the plan would have for the orders of a month, by job type where known."""
    column = place - 1
    total, following = plan.total[figure][column], plan.by_job[figure][:, column]
    if not month.orders_by_job:
        all_of_it = following.sum()
        moved = flexed(all_of_it, plan.total["orders"][column], month.volume)
        return float(total + (moved - all_of_it))
    now = np.array([month.orders_by_job.get(job, 0.0) for job in jobs])
    price = plan.price[:, column] if figure == "sales" else None
    moved = flexed(following, plan.by_job["orders"][:, column], now, price)
    return float(total + (moved - following).sum())


def _causes(figure: str, plan: FloatArray, actual: FloatArray, moved: FloatArray
            ) -> dict[str, FloatArray]:  # fmt: skip
    if figure not in FOLLOWS_VOLUME:
        return {"all": actual - plan}
    return {"volume": moved - plan, "price" if figure == "sales" else "cost": actual - moved}


def _of_wages(plan: FloatArray, actual: FloatArray, hours: FloatArray,
              months: Sequence[ActualMonth]) -> dict[str, FloatArray]:  # fmt: skip
    """Return rate and hours where hours were recorded in every month; else all in one."""
    paid = np.array([month.hours_paid or 0.0 for month in months])
    if not (paid > 0).all() or not (hours > 0).all():
        return {"all": actual - plan}
    rate, efficiency = rate_and_efficiency(actual / paid, paid, plan / hours, hours)
    return {"hours": efficiency, "rate": rate}
