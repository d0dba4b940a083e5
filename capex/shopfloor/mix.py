"""The job types of a study as arrays, so that every stage is timed for all of them at once.

Arrays have shape (n, j): scenarios × job types, n being 1 where nothing on the way varies.

Imports numpy, `capex.study` and `capex.shopfloor.arrays`.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass

import numpy as np

from capex.errors import InputError
from capex.shopfloor.arrays import BoolArray, FloatArray
from capex.study import JobType, Quantity, Study

__all__ = ["Mix", "job_mix", "over_jobs"]


@dataclass(frozen=True)
class Mix:
    """What every job type needs, shape (n, j) unless said otherwise.

    Parameters
    ----------
    keys : tuple of str
        Job types in the order of the study.
    jobs : tuple of JobType
        The same as entered.
    printed, contour_cut : ndarray of bool, shape (j,)
        Which operations the type has.
    orders : ndarray, shape (n, j)
        Orders a month today, an average month [-].
    laminated : ndarray, shape (n, j)
        Share of orders that are laminated [-].
    """

    keys: tuple[str, ...]
    jobs: tuple[JobType, ...]
    printed: BoolArray
    contour_cut: BoolArray
    orders: FloatArray
    laminated: FloatArray
    pieces: FloatArray
    width: FloatArray
    height: FloatArray
    passes: FloatArray
    panel_overlap: FloatArray
    may_panel: BoolArray
    weeding_time: FloatArray
    finishing_time: FloatArray
    packing_time: FloatArray
    price: FloatArray
    bought_in_price: FloatArray
    other_cost: FloatArray

    @property
    def can_be_bought_in(self) -> BoolArray:
        """Which types have a bought-in price, shape (j,)."""
        return np.array([job.bought_in_price is not None for job in self.jobs])


_NONE = np.zeros(1)


def over_jobs(quantities: Iterable[Quantity | None]) -> FloatArray:
    """Return quantities side by side, shape (n, j); a missing one is 0 and must be masked.

    Raises
    ------
    InputError
        Scenario axes of different lengths.
    """
    columns = [_NONE if quantity is None else quantity.si for quantity in quantities]
    together = np.concatenate(columns) if columns else _NONE[:0]
    if together.size == len(columns):
        return together[None, :]
    sizes = {column.size for column in columns} - {1}
    if len(sizes) > 1:
        raise InputError("scenarios", sorted(sizes), "must all have the same length")
    table = np.empty((max(sizes), len(columns)))
    for place, column in enumerate(columns):
        table[:, place] = column
    return table


def job_mix(study: Study) -> Mix:
    """Return the job types of a study as arrays."""
    jobs = tuple(study.jobs.values())

    def table(pick: Callable[[JobType], Quantity | None]) -> FloatArray:
        return over_jobs(pick(job) for job in jobs)

    orders = table(lambda job: job.orders_per_month)
    return Mix(
        keys=tuple(study.jobs),
        jobs=jobs,
        printed=np.array([job.film is not None for job in jobs]),
        contour_cut=np.array([job.cut is not None for job in jobs]),
        orders=orders * study.levers.demand.si[:, None],
        laminated=_laminated_shares(study, table(lambda job: job.laminated), orders),
        pieces=table(lambda job: job.pieces_per_order),
        width=table(lambda job: job.width),
        height=table(lambda job: job.height),
        passes=table(lambda job: job.passes),
        panel_overlap=table(lambda job: job.panel_overlap),
        may_panel=np.array([job.may_panel for job in jobs]),
        weeding_time=table(lambda job: job.weeding_time),
        finishing_time=table(lambda job: job.finishing_time),
        packing_time=table(lambda job: job.packing_time),
        price=table(lambda job: job.price) * study.levers.price.si[:, None],
        bought_in_price=table(lambda job: job.bought_in_price),
        other_cost=table(lambda job: job.other_cost),
    )


def laminated_share(study: Study) -> FloatArray:
    """Return the share of laminable orders that are laminated in the whole mix, shape (n,).

    Laminable are the types that name a laminate. Without any, the share is 0.
    """
    jobs = study.jobs.values()
    orders = over_jobs(job.orders_per_month for job in jobs)
    return _overall_share(study, over_jobs(job.laminated for job in jobs), orders)


def _overall_share(study: Study, shares: FloatArray, orders: FloatArray) -> FloatArray:
    laminable = np.array([job.laminate is not None for job in study.jobs.values()])
    weight = orders * laminable
    total = weight.sum(axis=1)
    share: FloatArray = (weight * shares).sum(axis=1) / np.where(total > 0, total, 1.0)
    return share


def _laminated_shares(study: Study, shares: FloatArray, orders: FloatArray) -> FloatArray:
    """Move all laminable types towards the share that the levers ask for, if they do."""
    target = study.levers.laminated_share
    if target is None:
        return shares
    laminable = np.array([job.laminate is not None for job in study.jobs.values()])
    now = _overall_share(study, shares, orders)[:, None]
    wanted = target.si[:, None]
    with np.errstate(divide="ignore", invalid="ignore"):
        more = shares + (wanted - now) / (1.0 - now) * (1.0 - shares)
        less = shares * (wanted / now)
    moved = np.where(wanted > now, more, np.where(wanted < now, less, shares))
    result: FloatArray = np.where(laminable, moved, 0.0)
    return result
