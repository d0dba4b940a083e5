"""Job types found in an order book: how often, how large, how dear, and how it has grown.

Promises: every order belongs to one group; the order of rows has no influence; each figure is
measured from the rows or ``None`` with the reason.

May import numpy, pandas, `capex.errors` and the files of this folder.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

import numpy as np
import pandas as pd

from capex.errors import OrderBookError
from capex.study.orders.book import OrderBook
from capex.study.orders.kinds import explained_share, kinds
from capex.study.orders.rates import (
    FloatArray,
    Growth,
    Span,
    growth,
    monthly_level,
    pooled_growths,
    seasonality,
)

__all__ = ["OrderGroup", "OrderGroups", "grouped_job_types"]


@dataclass(frozen=True)
class OrderGroup:
    """One job type as the order book shows it.

    Parameters
    ----------
    name : str
        The book's own most frequent word for it, in small letters.
    orders : int
        Number of orders.
    orders_per_month : float
        Of an average month in the middle of the span, seasonality and growth taken out [1/month].
    seasonality : tuple of float
        Twelve factors that average 1, January first; drawn toward the whole shop's where the
        orders are few.
    own_seasonality : bool
        Whether the factors differ from the whole shop's at all.
    growth : Growth
        Per year, from this group's orders alone.
    pooled_growth : Growth
        The same drawn toward the whole shop's as far as it is uncertain; the one to plan with.
    mean_quantity, median_quantity : float
        Pieces per order.
    width, height : float
        Medians weighted by order value [m].
    area_per_order : float
        Mean of quantity x width x height [m²].
    printed, laminated, cut : float
        Shares of orders.
    mean_price : float
        Mean order total [currency].
    share_of_value : float
        Of the value of all orders.
    spellings : tuple of str
        Type texts found under this name.
    """

    name: str
    orders: int
    orders_per_month: float
    seasonality: tuple[float, ...]
    own_seasonality: bool
    growth: Growth
    pooled_growth: Growth
    mean_quantity: float
    median_quantity: float
    width: float
    height: float
    area_per_order: float
    printed: float
    laminated: float
    cut: float
    mean_price: float
    share_of_value: float
    spellings: tuple[str, ...]


@dataclass(frozen=True, eq=False)
class OrderGroups:
    """The job types of an order book and the shop as a whole.

    Parameters
    ----------
    groups : tuple of OrderGroup
        The largest share of value first.
    span : Span
        Days covered.
    orders : int
        Number of orders.
    orders_per_month : float
        As in `OrderGroup`, all orders.
    seasonality : tuple of float
        Of all orders; twelve factors that average 1, January first.
    growth : Growth
        Of all orders.
    share_of_value_explained : float
        Share of the variance of order value that lies between groups rather than within (one minus
        the squared deviations from the group means over those from the overall mean).
    group_of_row : mapping of int to str
        Name of the group by row number of the file.
    currency : str or None
        ISO code, where the book writes one.
    notes : tuple of str
        What was joined, pooled, split or could not be told.
    """

    groups: tuple[OrderGroup, ...]
    span: Span
    orders: int
    orders_per_month: float
    seasonality: tuple[float, ...]
    growth: Growth
    share_of_value_explained: float
    group_of_row: Mapping[int, str]
    currency: str | None
    notes: tuple[str, ...]


def grouped_job_types(
    book: OrderBook,
    at_most: int = 12,
    at_least: int = 8,
    *,
    covers: tuple[date, date] | None = None,
    same_as: Mapping[str, str] | None = None,
) -> OrderGroups:
    r"""Return the job types of an order book with their volumes, seasonality and growth.

    Groups are made by type text, else description words, and processes (`kinds.kinds` has
    the rules). Rates count parts of months by days. Growth needs 13 months (`rates.growth`);
    seasonality is shrunk (`rates.seasonality`): the shop's toward 1, a group's toward the
    shop's.

    Parameters
    ----------
    book : OrderBook
        As read.
    at_most, at_least : int
        Bounds on the number of groups; a small book may give fewer, with a note.
    covers : tuple of two dates, optional
        First and last day that the book covers; by default those of its first and last order.
    same_as : mapping of str to str, optional
        Types that are one in the user's eyes, e.g. ``{"Full wrap": "Full wrap panels"}``.

    Returns
    -------
    OrderGroups

    Raises
    ------
    OrderBookError
        Bounds out of order, all orders free of charge, or orders outside `covers`.

    Examples
    --------
    >>> from capex.study.orders.book import read_order_book
    >>> lines = ["date,type,qty,width mm,height mm,print,lam,cut,price"]
    >>> lines += [f"2031-{month:02}-15,Banners,2,2400,1000,y,n,n,130" for month in range(1, 13)]
    >>> groups = grouped_job_types(read_order_book("\n".join(lines).encode()))
    >>> [(group.name, group.orders, group.growth.rate) for group in groups.groups]
    [('banners', 12, None)]
    """
    if not 1 <= at_least <= at_most:
        raise OrderBookError(
            f"at_least {at_least} and at_most {at_most}: must be 1 <= at_least <= at_most"
        )
    columns = [name for name in book.orders.columns if name != "row"]
    orders = book.orders.sort_values([*columns, "row"], ignore_index=True)
    value = float(orders["price"].sum())
    if value <= 0:
        raise OrderBookError("price: all orders are free of charge; shares of value need a price")
    days = orders["date"].dt.date
    span = Span(*covers) if covers else Span(days.iloc[0], days.iloc[-1])
    counts = span.counts(list(days))
    whole = growth(counts, span)
    slope = whole.slope or 0.0
    factors = seasonality(counts, span, slope)
    sorting = kinds(orders, at_most, at_least, same_as)
    parts = [
        (str(name), part, sorting.spellings[str(name)])
        for name, part in orders.groupby(sorting.names.to_numpy(dtype=object), sort=True)
    ]
    own = [growth(span.counts(list(part["date"].dt.date)), span) for _, part, _ in parts]
    groups = [
        _group(name, part, spellings, span, factors, one, pooled, value)
        for (name, part, spellings), one, pooled in zip(
            parts, own, pooled_growths(own, whole), strict=True
        )
    ]
    return OrderGroups(
        tuple(sorted(groups, key=lambda group: (-group.share_of_value, group.name))),
        span,
        len(orders),
        monthly_level(counts, span, factors, slope),
        tuple(factors.tolist()),
        whole,
        explained_share(orders, sorting.names),
        {int(row): str(name) for row, name in zip(orders["row"], sorting.names, strict=True)},
        book.currency,
        (*sorting.notes, *_rate_notes(span, counts, whole, factors), *_mixed_notes(groups)),
    )


def _group(
    name: str,
    part: pd.DataFrame,
    spellings: tuple[str, ...],
    span: Span,
    shop_factors: FloatArray,
    own: Growth,
    pooled: Growth,
    value: float,
) -> OrderGroup:
    counts = span.counts(list(part["date"].dt.date))
    slope = pooled.slope or 0.0
    factors = seasonality(counts, span, slope, shop_factors)
    area = part["quantity"] * part["width"] * part["height"]
    return OrderGroup(
        name=name,
        orders=len(part),
        orders_per_month=monthly_level(counts, span, factors, slope),
        seasonality=tuple(factors.tolist()),
        own_seasonality=not bool(np.allclose(factors, shop_factors, rtol=1e-9, atol=0)),
        growth=own,
        pooled_growth=pooled,
        mean_quantity=float(part["quantity"].mean()),
        median_quantity=float(part["quantity"].median()),
        width=_weighted_median(part["width"], part["price"]),
        height=_weighted_median(part["height"], part["price"]),
        area_per_order=float(area.mean()),
        printed=float(part["print"].mean()),
        laminated=float(part["laminate"].mean()),
        cut=float(part["cut"].mean()),
        mean_price=float(part["price"].mean()),
        share_of_value=float(part["price"].sum()) / value,
        spellings=spellings,
    )


def _weighted_median(values: pd.Series[float], weights: pd.Series[float]) -> float:
    """Return the smallest value at which half the weight is reached; equal weights if all 0."""
    order = np.argsort(values.to_numpy(), kind="stable")
    sizes = values.to_numpy()[order]
    heavy = weights.to_numpy()[order]
    if heavy.sum() <= 0:
        heavy = np.ones_like(heavy)
    return float(sizes[np.searchsorted(np.cumsum(heavy), heavy.sum() / 2)])


def _rate_notes(span: Span, counts: FloatArray, whole: Growth, factors: FloatArray) -> list[str]:
    notes = []
    if (factors == 1.0).all():
        notes.append(
            "seasonality: the months differ no more than by chance; each counts as an average one"
        )
    missing = sorted(set(range(12)) - set(span.calendar_month.tolist()))
    if missing:
        names = ", ".join(date(2000, month + 1, 1).strftime("%B") for month in missing)
        notes.append(f"seasonality: no day of {names} is covered; the factor stays at the average")
    if whole.rate is None:
        notes.append(f"growth: not told, {whole.reason}")
    empty = int((counts == 0).sum())
    if empty:
        notes.append(
            f"{empty} of {counts.size} months have no order at all: a gap in the book, or a slip "
            "in a date at its beginning or end"
        )
    return notes


def _mixed_notes(groups: list[OrderGroup]) -> list[str]:
    """Say where one representative piece or route stands for the group only roughly."""
    notes = []
    for group in groups:
        for share, word in ((group.printed, "printed"), (group.cut, "contour-cut")):
            if 0 < share < 1:
                notes.append(f"{group.name}: {share:.1%} of its orders are {word}")
        piece = group.mean_quantity * group.width * group.height
        if not 0.8 <= piece / group.area_per_order <= 1.25:
            notes.append(
                f"{group.name}: mean quantity × representative size is {piece:.3g} m² an order, "
                f"the measured mean {group.area_per_order:.3g} m²: size and quantity go together"
            )
    return notes
