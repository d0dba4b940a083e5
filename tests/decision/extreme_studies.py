"""Valid studies at the ends of what can be entered, and what of a result is no finite number.

The tests try them on the small plain shop; `tests/stress/extremes.py` tries them on the demo
too, with every document.
"""

from __future__ import annotations

from dataclasses import fields, is_dataclass

import numpy as np

from capex.finance.rate_of_return import RateOfReturn, RateReason
from capex.study import Study, StudyFile

#: Fields where infinity or NaN is the answer that their docstrings promise.
SAID = {
    "payback": "never paid back",
    "ratio": "none, as nothing is due",
    "volume": "none, with its reason",
    "least_cover": "without end, as nothing is due in any year",
}


def every_job(file: StudyFile, **entries) -> dict[str, object]:
    """Return the same entries for every job type."""
    return {
        f"jobs.{key}.{name}": entry for key in file.study.jobs for name, entry in entries.items()
    }


def every_machine(file: StudyFile, **entries) -> dict[str, object]:
    """Return the same entries for every machine."""
    return {
        f"machines.{key}.{name}": entry
        for key in file.study.machines
        for name, entry in entries.items()
    }


def every_price_rises(by: str, *but: str) -> dict[str, object]:
    """Return one rise a year of all kinds of prices but some, over forty years."""
    kinds = {"prices", "materials", "wages", "overheads"} - set(but)
    return {f"money.escalation.{kind}": by for kind in sorted(kinds)} | {"money.horizon": 480}


def knives(file: StudyFile, **entries) -> dict[str, object]:
    """Return the same entries for every knife."""
    return {
        f"machines.{key}.cutting.{name}": entry
        for key, machine in file.study.machines.items()
        if machine.cutting
        for name, entry in entries.items()
    }


def at_once(file: StudyFile) -> dict[str, object]:
    """Return dates that fit a horizon of one month."""
    changes: dict[str, object] = {"money.horizon": 1}
    for key, choice in file.study.alternatives.items():
        for place, machine in enumerate(choice.machines):
            if machine.month.likely > 0:
                changes[f"alternatives.{key}.machines.{place}.month"] = 0
            if machine.sold_in_month is not None and machine.sold_in_month.likely > 0:
                changes[f"alternatives.{key}.machines.{place}.sold_in_month"] = 0
    return changes


def extreme_changes(file: StudyFile) -> dict[str, dict[str, object]]:
    """Return what is entered in each extreme study, by its name."""
    first, *others = file.study.jobs
    return {
        "one order a year": {f"jobs.{key}.orders_per_month": 0 for key in others}
        | {f"jobs.{first}.orders_per_month": 1 / 12},
        "no orders": every_job(file, orders_per_month=0),
        "a million orders": every_job(file, orders_per_month=1e6),
        "demand 50 times": {"levers.demand": 50},
        "customers lost at 50 times": {"levers.demand": 50, **every_job(file, lost_customers=1)},
        "growth of 100 % for 40 years": {"money.horizon": 480, **every_job(file, growth="100 %")},
        "work that fades by 99 %": every_job(file, growth="-99 %"),
        "one month of season": {"shop.seasonality": [12, *[0] * 11]},
        "no rent": {"shop.premises.rent": "0 USD/m²/year"},
        "tax of 100 %": {"money.tax.rate": "100 %", "money.tax.losses": "absorbed"},
        "tax of 100 %, losses forward": {
            "money.tax.rate": "100 %", "money.tax.losses": "carried_forward"},
        "prices double every year": every_price_rises("100 %"),
        "costs double every year": every_price_rises("100 %", "prices"),
        "prices fall by 99 % a year": every_price_rises("-99 %"),
        "forty years": {"money.horizon": 480},
        "forty years at year ends": {"money.horizon": 480, "money.convention": "year_end"},
        "one month": at_once(file),
        "discount of 0": {"money.discount_rate": 0},
        "discount of 100 %": {"money.discount_rate": "100 %"},
        "a failure a minute": every_machine(file, mean_time_between_failures="1 min"),
        "a year of repair a second": every_machine(
            file, mean_time_between_failures="1 s", mean_time_to_repair="8760 h"),
        "work for nothing": every_job(file, price=0),
        "work of a trillion": every_job(file, price=1e12),
        "machines for nothing": every_machine(file, price=0) | {"levers.machine_price": 1e-9},
        "machines of a trillion": every_machine(file, price=1e12),
        "people for nothing": {"shop.people.wage": "0 USD/h"},
        "hardly anybody": {"shop.people.operators": 0.001, "shop.people.finishers": 0.001},
        "a million people": {"shop.people.operators": 1e6, "shop.people.finishers": 1e6},
        "open day and night": {
            "shop.hours.hours_per_day": "20 h", "shop.hours.overtime_per_month": "700 h",
            "shop.dispatching.overtime_per_day": "4 h"},
        "staffed day and night": {
            "shop.hours.hours_per_day": "24 h", "shop.hours.overtime_per_month": "0 h"},
        "orders of a million pieces": every_job(file, pieces_per_order=1_000_000),
        "a thousand starts an order": knives(
            file, spoil_direct=0.999, spoil_reloaded=0.999, spoil_laminated=0.999),
        "a roll wasted for a metre": {
            "shop.handling.media_waste": 0.999, "shop.handling.printing_spoil": 0.999},
        "a knife that creeps": knives(file, set_speed="1 µm/s"),
        "all lent at 100 %": {
            "money.loan.share": "100 %", "money.loan.annual_rate": "100 %",
            "money.loan.term": 480, "money.loan.fee": "100 %"},
        "lent for a month": {
            "money.loan.share": "100 %", "money.loan.annual_rate": 0, "money.loan.term": 1},
        "lent at next to nothing": {"money.loan.annual_rate": 1e-300},
        "sales of 80 years tied up": {"money.working_capital": 1000},
        "all demand recovered at once": {
            "shop.after_purchase.recovered_demand": 1, "shop.after_purchase.ramp_up": 0},
        "a ramp-up beyond the horizon": {
            "shop.after_purchase.ramp_up": 480, "shop.after_purchase.ramp_up_start": 0},
        "a billion drawn a month": {
            "money.lender.owner_draws": 1e9, "money.lender.existing_debt_service": 1e9},
    }  # fmt: skip


def extreme_study(file: StudyFile, name: str) -> Study:
    """Return one extreme study by its name."""
    return file.changed(extreme_changes(file)[name]).study


def not_finite(found: object, path: str = "", *, seen: set[int] | None = None) -> list[str]:
    """Return where a result holds NaN or infinity that its field does not promise."""
    seen = set() if seen is None else seen
    if id(found) in seen or isinstance(found, Study):
        return []
    seen.add(id(found))
    if isinstance(found, RateOfReturn):
        right = np.isfinite(found.rate) == (found.reason == RateReason.FOUND)
        return [] if right.all() else [path]
    if isinstance(found, (float, np.ndarray)):
        values = np.asarray(found)
        real = values.dtype.kind != "f" or bool(np.isfinite(values).all())
        return [] if real or path.rpartition(".")[2].split("[")[0] in SAID else [path]
    if is_dataclass(found):
        parts = [(f".{each.name}", getattr(found, each.name)) for each in fields(found)]
    elif isinstance(found, dict):
        parts = [(f"[{key!r}]", part) for key, part in found.items()]
    elif isinstance(found, (list, tuple)):
        parts = [(f"[{place}]", part) for place, part in enumerate(found)]
    else:
        return []
    return [where for name, part in parts for where in not_finite(part, path + name, seen=seen)]
