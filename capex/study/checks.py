"""Rules between the parts of a study that no single part can check alone.

Imports `capex.errors`, `capex.units` and the other files of `capex.study`.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import TYPE_CHECKING

from capex.errors import Problem
from capex.study.catalogue import artwork_names, shipped_tax_regimes
from capex.study.jobs import Artwork
from capex.units import quantity_text

if TYPE_CHECKING:
    from capex.study.jobs import JobType
    from capex.study.quantity import Quantity
    from capex.study.study import Study

__all__ = ["study_problems"]

_MEAN_TOLERANCE = 0.005


def study_problems(study: Study) -> Iterator[Problem]:
    """Yield every problem between parts of the study."""
    yield from check_alternatives(study)
    yield from check_names(study)
    yield from check_job_sizes(study)
    yield from check_seasonality(study)
    yield from check_money(study)


def _unknown(path: str, value: str | None, known: Iterable[str], what: str) -> Iterator[Problem]:
    if value is not None and value not in known:
        names = ", ".join(sorted(known)) or "none"
        yield Problem(path, value, f"is not a known {what}; known: {names}")


def check_alternatives(study: Study) -> Iterator[Problem]:
    """Yield problems of the alternatives: one baseline, dates within the horizon."""
    baselines = [key for key, choice in study.alternatives.items() if choice.baseline]
    if len(baselines) != 1:
        found = ", ".join(baselines) or "none"
        yield Problem("alternatives", found, "must have exactly one with baseline = true")
    horizon = study.money.horizon.likely
    for key, choice in study.alternatives.items():
        for index, placement in enumerate(choice.machines):
            path = f"alternatives.{key}.machines.{index}"
            yield from _unknown(f"{path}.machine", placement.machine, study.machines, "machine")
            if placement.owned and placement.month.likely > 0:
                yield Problem(
                    f"{path}.month",
                    int(placement.month.likely),
                    "must be 0 for a machine that is owned already",
                )
            for name in ("month", "sold_in_month"):
                date = getattr(placement, name)
                if date is not None and date.likely >= horizon:
                    yield Problem(
                        f"{path}.{name}",
                        int(date.likely),
                        f"must be before the horizon of {horizon:.0f} months",
                    )
        for job in choice.bought_in:
            yield from _unknown(f"alternatives.{key}.bought_in", job, study.jobs, "job type")
            if job in study.jobs and study.jobs[job].bought_in_price is None:
                yield Problem(
                    f"alternatives.{key}.bought_in.{job}",
                    quantity_text(choice.bought_in[job].likely, "fraction"),
                    "needs a bought_in_price on the job type",
                )


def check_names(study: Study) -> Iterator[Problem]:
    """Yield names that point nowhere: inks, films, artworks, tax regimes."""
    for key, machine in study.machines.items():
        if machine.printing is not None:
            path = f"machines.{key}.printing.ink"
            yield from _unknown(path, machine.printing.ink, study.inks, "ink")
    known_artwork = {*study.artworks, *artwork_names()}
    for key, job in study.jobs.items():
        for name in ("film", "laminate", "cut_material"):
            yield from _unknown(f"jobs.{key}.{name}", getattr(job, name), study.films, "film")
        if isinstance(job.cut, Artwork):
            yield from _unknown(f"jobs.{key}.cut.name", job.cut.name, known_artwork, "artwork")
    regimes = {*study.tax_regimes, *shipped_tax_regimes()}
    yield from _unknown("money.tax.regime", study.money.tax.regime, regimes, "tax regime")


def check_job_sizes(study: Study) -> Iterator[Problem]:
    """Yield job types that no roll can carry in either direction."""
    for key, job in study.jobs.items():
        for name in ("film", "cut_material"):
            film = study.films.get(getattr(job, name) or "")
            if film is None or job.may_panel:
                continue
            usable = film.roll_width.likely - 2 * film.edge_margin.likely
            narrow = min(job.width.likely, job.height.likely)
            if narrow > usable + 1e-9:
                yield Problem(
                    f"jobs.{key}.width",
                    quantity_text(narrow, "length"),
                    f"must be at most {quantity_text(usable, 'length')}, the usable width of "
                    f"{film.name}; or set may_panel = true",
                )


def check_seasonality(study: Study) -> Iterator[Problem]:
    """Yield seasonal factors that do not average 1."""
    yield from _off_mean("shop.seasonality", study.shop.seasonality)
    for key, job in study.jobs.items():
        yield from _job_seasonality(key, job)


def _job_seasonality(key: str, job: JobType) -> Iterator[Problem]:
    if job.seasonality is not None:
        yield from _off_mean(f"jobs.{key}.seasonality", job.seasonality)


def _off_mean(path: str, factors: tuple[Quantity, ...]) -> Iterator[Problem]:
    mean = sum(factor.likely for factor in factors) / len(factors)
    if abs(mean - 1.0) > _MEAN_TOLERANCE:
        yield Problem(path, round(mean, 4), "must be 12 factors that average 1")


def check_money(study: Study) -> Iterator[Problem]:
    """Yield exchange rates that make no sense and a room without a reason."""
    if study.currency in study.money.exchange_rates:
        yield Problem(
            f"money.exchange_rates.{study.currency}",
            study.money.exchange_rates[study.currency].likely,
            "is the study's own currency; list only others",
        )
    premises = study.shop.premises
    if premises.room_already_paid and not premises.reason.strip():
        yield Problem(
            "shop.premises.reason", "", "must say why the room has no other use, as its cost is 0"
        )
