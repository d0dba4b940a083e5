"""The hand-worked shop with months seen: a study and records made from a plan."""

from __future__ import annotations

from collections.abc import Mapping
from copy import deepcopy
from typing import Any

from hand_shop import hand_study

from capex.decision.appraise import appraise
from capex.decision.year_on.planned import PlannedMonths, planned_months
from capex.study import Study

SHOP: dict[str, Any] = {
    "shop__people__wage": "20 USD/h",
    "shop__premises__electricity": "0.2 USD/kWh",
    "shop__premises__insurance": 0.01,
    "money__horizon": 60,
}


def shop(**changes: Any) -> Study:
    return hand_study(**deepcopy(SHOP | changes))


def plan_of(study: Study, choice: str, scenario: Mapping[str, float] | None = None
            ) -> PlannedMonths:  # fmt: skip
    return planned_months(appraise(study, scenario).outcomes[choice])


def records(study: Study, plan: PlannedMonths, months: range, *, by_job: bool = False
            ) -> list[dict[str, object]]:  # fmt: skip
    """Return records that say exactly what a plan has, from the start of the study on."""
    start, found = study.money.start, []
    for month in months:
        at = start.month - 1 + month - 1
        record: dict[str, object] = {"month": f"{start.year + at // 12}-{at % 12 + 1:02d}"}
        if by_job:
            record["orders_by_job"] = {
                job: float(plan.by_job["orders"][j, month - 1]) for j, job in enumerate(study.jobs)
            }
        else:
            record["orders"] = float(plan.total["orders"][month - 1])
        for name in ("sales", "materials", "bought_in", "wages", "upkeep"):
            record[name] = float(plan.total[name][month - 1])
        for name in ("hours_paid", "downtime"):
            record[name] = f"{float(plan.total[name][month - 1])!r} s"
        found.append(record)
    return found


def seen(choice: str, months: list[dict[str, object]], **changes: Any) -> Study:
    return shop(actuals={"choice": choice, "months": months}, **changes)
