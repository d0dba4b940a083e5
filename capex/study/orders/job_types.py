"""Groups of orders as job types of a study.

Promises: what the rows show enters the study as measured, dated by the last order; what an order
book cannot show (film, passes, cut path, handling times) stays as the study has it, or at its
stated default.

May import pandas, pydantic, `capex.errors` and `capex.study`.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable, Mapping
from typing import Final

from pydantic import TypeAdapter

from capex.errors import OrderBookError
from capex.study.entries import Level
from capex.study.jobs import JobType, Rectangle
from capex.study.orders.grouping import OrderGroup, OrderGroups
from capex.study.orders.kinds import stems
from capex.study.quantity import Quantity

__all__ = ["job_types", "shop_seasonality"]

#: More digits than any order book is worth, so that a study file stays readable.
_DIGITS: Final = 6
_LEVEL: Final[TypeAdapter[Quantity]] = TypeAdapter(Level)


def job_types(
    groups: OrderGroups,
    existing: Mapping[str, JobType],
    *,
    film: str | None = None,
    laminate: str | None = None,
) -> dict[str, JobType]:
    r"""Return the study's job types as the order book shows them.

    Measured, with the date of the last order: orders per month (the level in the middle of the
    book, carried to its last day by the pooled growth), pieces (mean, in whole pieces),
    width, height, laminated share, price, growth (pooled, with P10 and P90), and seasonality where
    it differs from the whole shop's. A group is printed, or cut, if most of its orders are. All
    else comes from the job type of the same name, or from the defaults, tagged so; a new cut group
    is cut along its edge.

    Parameters
    ----------
    groups : OrderGroups
        From `grouped_job_types`.
    existing : mapping of str to JobType
        The study's job types; matched by key or name, whatever the capitals and plurals. A part of
        a kind that was split (``banners, cut``) is matched by the kind's name too.
    film, laminate : str, optional
        Keys of the films for printed and laminated groups without a counterpart; by default those
        most used in `existing`.

    Returns
    -------
    dict of str to JobType
        A counterpart's key is kept; new keys are made from the names.

    Raises
    ------
    OrderBookError
        A new group needs a film and none is known.

    Examples
    --------
    >>> from capex.study.orders import grouped_job_types, read_order_book
    >>> lines = ["date,type,qty,width mm,height mm,print,lam,cut,price"]
    >>> lines += [f"2031-{month:02}-15,Banners,2,2400,1000,y,n,n,130" for month in range(1, 13)]
    >>> groups = grouped_job_types(read_order_book("\n".join(lines).encode()))
    >>> job = job_types(groups, {}, film="banner")["banners"]
    >>> job.width.likely, job.width.source, job.width.on, job.passes.source
    (2.4, 'measured', datetime.date(2031, 12, 15), 'default')
    """
    films = (film or _most_used(job.film for job in existing.values()),
             laminate or _most_used(job.laminate for job in existing.values()))  # fmt: skip
    named = {stems(text): key for key, job in existing.items()
             for text in (key.replace("_", " "), job.name)}  # fmt: skip
    reserved = {named[stems(group.name)] for group in groups.groups if stems(group.name) in named}
    found: dict[str, JobType] = {}
    for group in groups.groups:
        key = named.get(stems(group.name))
        # One part of a kind that was split takes the whole kind's counterpart as its model.
        model = key or named.get(stems(group.name.split(",")[0]))
        base = existing[model] if model is not None else None
        if key is None or key in found:
            free = model is not None and model not in {*reserved, *found}
            key = model if model is not None and free else _new_key(group.name, {*existing, *found})
        kept = () if base is None else tuple(JobType.model_fields)
        fields = {name: getattr(base, name) for name in kept}
        fields.update(_measured(group, groups))
        fields.update(_materials(group, groups, base, *films))
        found[key] = JobType.model_validate(fields, context={"currency": groups.currency})
    return found


def shop_seasonality(groups: OrderGroups) -> tuple[Quantity, ...]:
    """Return the whole shop's twelve seasonality factors as measured entries, January first."""
    note = f"{groups.orders} orders, {groups.span.first} to {groups.span.last}"
    return tuple(
        _LEVEL.validate_python(_entry(factor, groups, note)) for factor in groups.seasonality
    )


def _entry(value: float, groups: OrderGroups, note: str, unit: str = "") -> dict[str, object]:
    number = float(f"{value:.{_DIGITS}g}")
    written = f"{number!r} {unit}" if unit else number
    return {"value": written, "source": "measured", "date": groups.span.last, "note": note}


def _growth_to_last_day(group: OrderGroup, groups: OrderGroups) -> float:
    """Return the factor from the middle of the book, where its level stands, to its last day."""
    rate = group.pooled_growth.rate
    half_span = (groups.span.last - groups.span.first).days / 2.0 / 365.25
    return 1.0 if rate is None else float((1.0 + rate) ** half_span)


def _measured(group: OrderGroup, groups: OrderGroups) -> dict[str, object]:
    """Return the fields that the rows show."""
    note = f"{group.orders} orders, {groups.span.first} to {groups.span.last}"
    fields: dict[str, object] = {
        "name": group.name,
        "orders_per_month": _entry(
            group.orders_per_month * _growth_to_last_day(group, groups),
            groups,
            f"average month at the end of {note}",
        ),
        "pieces_per_order": _entry(
            max(1, round(group.mean_quantity)),
            groups,
            f"mean {group.mean_quantity:.{_DIGITS}g} of {note}, in whole pieces",
        ),
        "width": _entry(group.width, groups, f"value-weighted median of {note}", "m"),
        "height": _entry(group.height, groups, f"value-weighted median of {note}", "m"),
        "price": _entry(group.mean_price, groups, f"mean of {note}"),
        "seasonality": None,
    }
    if group.own_seasonality:
        fields["seasonality"] = tuple(
            _entry(factor, groups, f"shrunk, {note}") for factor in group.seasonality
        )
    spread = group.pooled_growth.quantile_range()
    if group.pooled_growth.rate is not None and spread is not None:
        entry = _entry(group.pooled_growth.rate, groups, f"P10 to P90, pooled, {note}")
        low, high = (float(f"{end:.{_DIGITS}g}") for end in spread)
        fields["growth"] = {"low": low, "likely": entry.pop("value"), "high": high, **entry}
    return fields


def _materials(
    group: OrderGroup,
    groups: OrderGroups,
    base: JobType | None,
    film: str | None,
    laminate: str | None,
) -> dict[str, object]:
    """Return film, laminate and cut: from the counterpart, else as stated."""
    printed, cut = group.printed >= 0.5, group.cut >= 0.5
    share = group.laminated if printed else 0.0
    laminated = share > 0
    own_film = (base.film if base is not None else None) or film
    own_laminate = (base.laminate if base is not None else None) or laminate
    if printed and own_film is None:
        raise OrderBookError(f"{group.name}: is printed, and no film is known; state film")
    if laminated and own_laminate is None:
        raise OrderBookError(f"{group.name}: is laminated, and no film is known; state laminate")
    return {
        "film": own_film if printed else None,
        "laminate": own_laminate if laminated else None,
        "laminated": _entry(share, groups, f"share of {group.orders} orders"),
        "cut": ((base.cut if base is not None else None) or Rectangle()) if cut else None,
        "cut_material": None if printed else (base.cut_material if base else None) or own_film,
    }


def _most_used(keys: Iterable[str | None]) -> str | None:
    counts = Counter(key for key in keys if key is not None)
    return min(counts, key=lambda key: (-counts[key], key)) if counts else None


def _new_key(name: str, taken: set[str]) -> str:
    words = re.findall(r"[a-z0-9]+", name.casefold())
    stem = re.sub(r"^(?=[^a-z])", "job_", "_".join(words))[:50].rstrip("_") or "job"
    number = 2
    key = stem
    while key in taken:
        key, number = f"{stem}_{number}", number + 1
    return key
