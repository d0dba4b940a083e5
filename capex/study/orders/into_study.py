"""What an order book changes in a study file: its job types and the shop's seasonality.

Promises: comments and everything an order book cannot show stay; what changes is said.
May import `capex.study`.
"""

from __future__ import annotations

from collections.abc import Mapping

from pydantic import BaseModel

from capex.study.files import StudyFile
from capex.study.jobs import JobType
from capex.study.orders.grouping import OrderGroups
from capex.study.orders.job_types import job_types, shop_seasonality
from capex.study.quantity import Quantity
from capex.study.study import Study

__all__ = ["study_with_orders"]


def study_with_orders(
    file: StudyFile,
    groups: OrderGroups,
    *,
    film: str | None = None,
    laminate: str | None = None,
) -> tuple[StudyFile, tuple[str, ...]]:
    """Return the study file with the job types of an order book, and what changed in sentences.

    The order book is taken as the shop's whole work: job types it does not know leave the study,
    together with their shares of bought-in work.

    Parameters
    ----------
    file : StudyFile
        Keeps its comments and its order.
    groups : OrderGroups
        From `grouped_job_types`.
    film, laminate : str, optional
        As for `job_types`.

    Returns
    -------
    StudyFile, tuple of str

    Raises
    ------
    StudyError
        A job type of the order book does not fit the study, such as one wider than its roll.
    """
    study = file.study
    found = job_types(groups, study.jobs, film=film, laminate=laminate)
    changes: dict[str, object] = {
        "shop.seasonality": [factor.as_entered() for factor in shop_seasonality(groups)]
    }
    said = []
    for key, job in found.items():
        known = study.jobs.get(key)
        name = job.name if known is None else known.name
        monthly = f"{name}: {job.orders_per_month.likely:.1f} orders a month"
        if known is None:
            changes[f"jobs.{key}"] = _table(job)
            said.append(f"{monthly}, new; check its film, passes, cut and handling times")
        else:
            changes.update(_differences(f"jobs.{key}", known, job))
            said.append(f"{monthly}, {known.orders_per_month.likely:.1f} before")
    for key in set(study.jobs) - set(found):
        changes[f"jobs.{key}"] = None
        said.append(f"{study.jobs[key].name}: not in the order book, left out of the study")
        for name, alternative in study.alternatives.items():
            if key in alternative.bought_in:
                changes[f"alternatives.{name}.bought_in.{key}"] = None
    pairs, kept = study.uncertainty.correlations, _pairs_that_stay(study, found)
    if len(kept) < len(pairs):
        changes["uncertainty.correlations"] = kept or None
        said.append(
            f"{len(pairs) - len(kept)} of {len(pairs)} pairs of inputs that go together named a "
            "job type that is gone, and left with it"
        )
    return file.changed(changes), tuple(said)


def _pairs_that_stay(study: Study, found: Mapping[str, JobType]) -> list[dict[str, object]]:
    """Return the correlations of which neither input belongs to a job type that leaves."""
    gone = tuple(f"jobs.{key}." for key in study.jobs if key not in found)
    return [
        pair.model_dump()
        for pair in study.uncertainty.correlations
        if not pair.one.startswith(gone) and not pair.other.startswith(gone)
    ]


def _differences(path: str, known: JobType, job: JobType) -> dict[str, object]:
    """Return the entries in which a job type differs from the one it takes the place of."""
    return {
        f"{path}.{name}": _entry(getattr(job, name))
        for name in JobType.model_fields
        if name != "name" and getattr(job, name) != getattr(known, name)
    }


def _table(job: JobType) -> dict[str, object]:
    """Return a job type as a table of a study file, without what is a default anyway."""
    return {
        name: _entry(value)
        for name in JobType.model_fields
        if (value := getattr(job, name)) is not None
        and value is not False
        and not (isinstance(value, Quantity) and value.source == "default")
    }


def _entry(value: object) -> object:
    if isinstance(value, Quantity):
        return value.as_entered()
    if isinstance(value, BaseModel):
        return {name: _entry(part) for name, part in value if part is not None}
    if isinstance(value, Mapping):
        return {name: _entry(part) for name, part in value.items()}
    if isinstance(value, tuple):
        return [_entry(part) for part in value]
    return value
