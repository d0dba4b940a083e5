"""Rules between fields of a study that no field can check alone.

A rule takes one item of the study and yields what is wrong with it. Where one of its fields could
not be read, that is reported already, and the rule is passed over.

Imports `capex.errors`, `capex.units` and the other files of `capex.study`.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from contextlib import suppress
from typing import TYPE_CHECKING, Any, Final

from capex.errors import Problem
from capex.study.actuals import ACTUALS_RULES
from capex.study.bounds import bound_problems, placements
from capex.study.catalogue import artwork_names, shipped_tax_regimes
from capex.study.jobs import Artwork
from capex.study.name_checks import NAME_RULES
from capex.study.offer_checks import OFFER_RULES
from capex.study.parts import Unparsed
from capex.study.room_checks import ROOM_RULES
from capex.study.uncertainty import UNCERTAINTY_RULES
from capex.units import quantity_text

if TYPE_CHECKING:
    from capex.study.alternatives import Alternative, Placement
    from capex.study.jobs import JobType
    from capex.study.machines import Machine
    from capex.study.quantity import Quantity
    from capex.study.study import Study
    from capex.study.tax import TaxRegime

__all__ = ["study_problems"]

_MEAN_TOLERANCE = 0.005
_NEEDED_BY_METHOD: Final = {
    "none": (),
    "straight_line": ("life",),
    "table": ("fractions",),
    "declining_balance": ("life", "multiple"),
    "sum_of_years": ("life",),
    "pool": ("writing_down_rate",),
}


def study_problems(study: Study) -> Iterator[Problem]:
    """Yield every problem between fields of the study, whole or partial."""
    for rules, items in _RULES:
        for item in _readable(items(study)):
            for rule in rules:
                try:
                    yield from rule(study, *item)
                except Unparsed:
                    continue
    yield from bound_problems(study)


def _readable(items: Iterable[tuple[Any, ...]]) -> Iterator[tuple[Any, ...]]:
    """Yield what rules are about, as far as it could be read."""
    with suppress(Unparsed):
        yield from items


def _unknown(path: str, value: str | None, known: Iterable[str], what: str) -> Iterator[Problem]:
    if value is not None and value not in known:
        names = ", ".join(sorted(known)) or "none"
        yield Problem(path, value, f"is not a known {what}; known: {names}")


# The whole study


def check_baseline(study: Study) -> Iterator[Problem]:
    """Yield a problem unless exactly one alternative is the baseline."""
    baselines = [key for key, choice in study.alternatives.items() if choice.baseline]
    if len(baselines) != 1:
        found = ", ".join(baselines) or "none"
        yield Problem("alternatives", found, "must have exactly one with baseline = true")


def check_tax_regime(study: Study) -> Iterator[Problem]:
    """Yield a tax regime that nobody states."""
    regimes = {*study.tax_regimes, *shipped_tax_regimes()}
    yield from _unknown("money.tax.regime", study.money.tax.regime, regimes, "tax regime")


def check_regime_currency(study: Study) -> Iterator[Problem]:
    """Yield a limit of the chosen regime that is stated in another currency."""
    name = study.money.tax.regime
    regime = study.tax_regimes.get(name) or shipped_tax_regimes().get(name)
    if regime is None or regime.limit_currency in (None, study.currency):
        return
    if regime.expensing:
        yield Problem(
            "money.tax.regime", name,
            f"states its limits in {regime.limit_currency}, the study is in {study.currency}: copy "
            f"it to tax_regimes and state them in {study.currency}",
        )  # fmt: skip


def check_exchange_rates(study: Study) -> Iterator[Problem]:
    """Yield an exchange rate of the study's own currency."""
    rates = study.money.exchange_rates
    if study.currency in rates:
        path, rate = f"money.exchange_rates.{study.currency}", rates[study.currency].likely
        yield Problem(path, rate, "is the study's own currency; list only others")


def check_room(study: Study) -> Iterator[Problem]:
    """Yield a room that costs nothing without a reason."""
    premises = study.shop.premises
    if premises.room_already_paid and not premises.reason.strip():
        yield Problem(
            "shop.premises.reason", "", "must say why the room has no other use, as its cost is 0"
        )


def check_shop_seasonality(study: Study) -> Iterator[Problem]:
    """Yield seasonal factors of the shop that do not average 1."""
    yield from _off_mean("shop.seasonality", study.shop.seasonality)


def _off_mean(path: str, factors: tuple[Quantity, ...]) -> Iterator[Problem]:
    mean = sum(factor.likely for factor in factors) / len(factors)
    if abs(mean - 1.0) > _MEAN_TOLERANCE:
        yield Problem(path, round(mean, 4), "must be 12 factors that average 1")


# Alternatives and their machines


def check_machine_known(study: Study, path: str, placement: Placement) -> Iterator[Problem]:
    """Yield a machine that the study does not describe."""
    yield from _unknown(f"{path}.machine", placement.machine, study.machines, "machine")


def check_owned_month(study: Study, path: str, placement: Placement) -> Iterator[Problem]:
    """Yield an owned machine that comes later."""
    if placement.owned and placement.month.likely > 0:
        month = int(placement.month.likely)
        yield Problem(f"{path}.month", month, "must be 0 for a machine that is owned already")


def check_proceeds_date(study: Study, path: str, placement: Placement) -> Iterator[Problem]:
    """Yield proceeds of a sale that has no date."""
    if placement.sale_proceeds is not None and placement.sold_in_month is None:
        yield Problem(f"{path}.sold_in_month", None, "is missing, as there are sale_proceeds")


def check_owned_proceeds(study: Study, path: str, placement: Placement) -> Iterator[Problem]:
    """Yield the sale of an owned machine without its proceeds."""
    if placement.owned and placement.sold_in_month is not None and placement.sale_proceeds is None:
        bound = "is missing, as the owned machine is sold; 0 if it brings nothing"
        yield Problem(f"{path}.sale_proceeds", None, bound)


def check_trigger(study: Study, path: str, placement: Placement) -> Iterator[Problem]:
    """Yield a load to wait for beside a date, or of a machine that is there or goes again."""
    if placement.when_load_passes is None:
        return
    field = f"{path}.when_load_passes"
    shown = quantity_text(placement.when_load_passes.likely, "fraction")
    if placement.owned:
        yield Problem(field, shown, "must be left out for a machine that is owned already")
    if placement.month.likely > 0:
        month = int(placement.month.likely)
        yield Problem(f"{path}.month", month, "must be left out where when_load_passes is given")
    if placement.sold_in_month is not None:
        month = int(placement.sold_in_month.likely)
        bound = "must be left out where when_load_passes is given: it may be before the purchase"
        yield Problem(f"{path}.sold_in_month", month, bound)


def check_trigger_relieves(study: Study, key: str, choice: Alternative) -> Iterator[Problem]:
    """Yield a load to wait for where no other machine does what the later one does."""
    for place, placement in enumerate(choice.machines):
        machines = {one.machine for n, one in enumerate(choice.machines) if n != place}
        others = [study.machines[name] for name in machines if name in study.machines]
        if placement.when_load_passes is None or placement.machine not in study.machines:
            continue
        does = study.machines[placement.machine].functions
        if not any(does & other.functions for other in others):
            shown = quantity_text(placement.when_load_passes.likely, "fraction")
            yield Problem(
                f"alternatives.{key}.machines.{place}.when_load_passes", shown,
                f"needs another machine in the alternative for {' or '.join(sorted(does))}, whose "
                "load can pass it; give a month instead",
            )  # fmt: skip


def check_bought_in(study: Study, key: str, choice: Alternative) -> Iterator[Problem]:
    """Yield shares bought in of job types that are unknown or have no price to buy them at."""
    for job, share in choice.bought_in.items():
        path = f"alternatives.{key}.bought_in.{job}"
        if job not in study.jobs:
            yield from _unknown(path, job, study.jobs, "job type")
        elif getattr(study.jobs[job], "bought_in_price", share) is None:
            shown = quantity_text(share.likely, "fraction")
            yield Problem(path, shown, f"needs jobs.{job}.bought_in_price")


# Machines


def check_machine_works(study: Study, key: str, machine: Machine) -> Iterator[Problem]:
    """Yield a machine that does nothing."""
    if machine.printing is None and machine.cutting is None and machine.laminating is None:
        yield Problem(
            f"machines.{key}", None, "needs at least one of printing, cutting and laminating"
        )


def check_print_rate(study: Study, key: str, machine: Machine) -> Iterator[Problem]:
    """Yield a print engine whose rate nothing tells."""
    engine = machine.printing
    if engine is None:
        return
    quoted = (engine.quoted_rate, engine.quoted_passes, engine.quoted_width)
    if (engine.swath_height is None or engine.carriage_speed is None) and None in quoted:
        yield Problem(
            f"machines.{key}.printing", None,
            "needs either swath_height and carriage_speed, or quoted_rate with quoted_passes and "
            "quoted_width",
        )  # fmt: skip


def check_ink(study: Study, key: str, machine: Machine) -> Iterator[Problem]:
    """Yield an ink that the study does not describe."""
    if machine.printing is not None:
        path = f"machines.{key}.printing.ink"
        yield from _unknown(path, machine.printing.ink, study.inks, "ink")


# Job types


def check_job_works(study: Study, key: str, job: JobType) -> Iterator[Problem]:
    """Yield a job type that is neither printed nor cut."""
    if job.film is None and job.cut is None:
        yield Problem(f"jobs.{key}", None, "needs a film to print on, a cut, or both")


def check_cut_material(study: Study, key: str, job: JobType) -> Iterator[Problem]:
    """Yield a cut material too many or too few."""
    path = f"jobs.{key}.cut_material"
    if job.film is not None and job.cut_material is not None:
        yield Problem(path, job.cut_material, "is for work that is not printed; this has a film")
    if job.film is None and job.cut is not None and job.cut_material is None:
        bound = "is missing, as the job is cut only; a film of price 0 if customers bring it"
        yield Problem(path, None, bound)


def check_laminated(study: Study, key: str, job: JobType) -> Iterator[Problem]:
    """Yield laminated orders without a laminate."""
    if job.laminate is None and job.laminated.likely > 0:
        shown = quantity_text(job.laminated.likely, "fraction")
        yield Problem(f"jobs.{key}.laminated", shown, "needs a laminate, the film laid over them")


def check_laminate(study: Study, key: str, job: JobType) -> Iterator[Problem]:
    """Yield a laminate of work that is not printed."""
    if job.laminate is not None and job.film is None:
        yield Problem(f"jobs.{key}.laminate", job.laminate, "needs a film that is printed first")


def check_films(study: Study, key: str, job: JobType) -> Iterator[Problem]:
    """Yield films that the study does not describe."""
    for name in ("film", "laminate", "cut_material"):
        film = getattr(job, name, None)  # one that could not be read is reported already
        yield from _unknown(f"jobs.{key}.{name}", film, study.films, "film")


def check_artwork(study: Study, key: str, job: JobType) -> Iterator[Problem]:
    """Yield artwork that is neither in the study nor shipped."""
    if isinstance(job.cut, Artwork):
        known = {*study.artworks, *artwork_names()}
        yield from _unknown(f"jobs.{key}.cut.name", job.cut.name, known, "artwork")


def check_job_size(study: Study, key: str, job: JobType) -> Iterator[Problem]:
    """Yield a job type that no roll can carry in either direction."""
    narrow = min(job.width.likely, job.height.likely)
    for name in ("film", "cut_material"):
        film = study.films.get(getattr(job, name, None) or "")
        if film is None or job.may_panel:
            continue
        usable = film.roll_width.likely - 2 * film.edge_margin.likely
        if narrow > usable + 1e-9:
            yield Problem(
                f"jobs.{key}.width",
                quantity_text(narrow, "length"),
                f"must be at most {quantity_text(usable, 'length')}, the usable width of "
                f"{film.name}; or set may_panel = true",
            )


def check_job_seasonality(study: Study, key: str, job: JobType) -> Iterator[Problem]:
    """Yield seasonal factors of a job type that do not average 1."""
    if job.seasonality is not None:
        yield from _off_mean(f"jobs.{key}.seasonality", job.seasonality)


# Tax regimes of the study


def check_regime_complete(study: Study, key: str, regime: TaxRegime) -> Iterator[Problem]:
    """Yield what a method of depreciation needs and does not have."""
    for name in _NEEDED_BY_METHOD[regime.method]:
        if getattr(regime, name, "") is None:
            path = f"tax_regimes.{key}.{name}"
            yield Problem(path, None, f"is missing, as the method is {regime.method}")


def check_regime_quarters(study: Study, key: str, regime: TaxRegime) -> Iterator[Problem]:
    """Yield tables by quarter that are not four, or that claim more than the cost."""
    path = f"tax_regimes.{key}.mid_quarter"
    if regime.mid_quarter is None:
        return
    if len(regime.mid_quarter) != 4:
        yield Problem(path, len(regime.mid_quarter), "must be 4 tables, one a quarter")
    for quarter, fractions in enumerate(regime.mid_quarter):
        if sum(fractions) > 1.0 + 1e-9:
            total = round(sum(fractions), 4)
            yield Problem(f"{path}.{quarter}", total, "must add up to at most 1")


def check_regime_change(study: Study, key: str, regime: TaxRegime) -> Iterator[Problem]:
    """Yield a change of a pool's rate that lacks its date or the rate before."""
    change = ("writing_down_rate_before", "writing_down_rate_since")
    missing = [name for name in change if getattr(regime, name) is None]
    if len(missing) == 1:
        yield Problem(
            f"tax_regimes.{key}.{missing[0]}", None,
            "is missing: a rate that has changed needs the rate before and the date",
        )  # fmt: skip


def check_regime_years(study: Study, key: str, regime: TaxRegime) -> Iterator[Problem]:
    """Yield a tax year for which a regime states two limits."""
    seen = [entry.tax_year for entry in regime.expensing]
    for place, year in enumerate(seen):
        if year in seen[:place]:
            yield Problem(f"tax_regimes.{key}.expensing.{place}.tax_year", year, "is stated twice")


def check_regime_fractions(study: Study, key: str, regime: TaxRegime) -> Iterator[Problem]:
    """Yield a table that deducts more than the cost."""
    if regime.fractions is not None and sum(regime.fractions) > 1.0 + 1e-9:
        total = round(sum(regime.fractions), 4)
        yield Problem(f"tax_regimes.{key}.fractions", total, "must add up to at most 1")


def _whole(study: Study) -> Iterator[tuple[()]]:
    yield ()


def _each(section: str) -> Callable[[Study], Iterable[tuple[str, Any]]]:
    return lambda study: getattr(study, section, {}).items()


_RULES: Final[tuple[tuple[tuple[Callable[..., Iterator[Problem]], ...], Any], ...]] = (
    (
        (check_baseline, check_tax_regime, check_regime_currency, check_exchange_rates, check_room,
         check_shop_seasonality),
        _whole,
    ),
    (
        (check_machine_known, check_owned_month, check_proceeds_date, check_owned_proceeds,
         check_trigger),
        placements,
    ),
    ((check_bought_in, check_trigger_relieves), _each("alternatives")),
    ((check_machine_works, check_print_rate, check_ink), _each("machines")),
    (
        (check_job_works, check_cut_material, check_laminated, check_laminate, check_films,
         check_artwork, check_job_size, check_job_seasonality),
        _each("jobs"),
    ),
    (
        (check_regime_complete, check_regime_fractions, check_regime_quarters,
         check_regime_change, check_regime_years),
        _each("tax_regimes"),
    ),
    *NAME_RULES,
    *OFFER_RULES,
    *ROOM_RULES,
    *UNCERTAINTY_RULES,
    *ACTUALS_RULES,
)  # fmt: skip
