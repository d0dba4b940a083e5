"""Make the demo study a year after its purchase, with invented months.

Everything here is invented. Run it to write ``quenlow_year_on.toml`` beside this file, from
``quenlow.toml``; the same seed gives the same bytes. The shop behaves by the model with the inputs
in `TRUE`, which differ from what the study assumes; every figure scatters by its share in
`SCATTER`, and orders come whole.

Only ``random.Random.random`` is drawn from, whose sequence Python keeps from version to version.
"""

from __future__ import annotations

import random
from pathlib import Path
from statistics import NormalDist

from capex.decision.appraise import appraise
from capex.decision.year_on.inputs import inputs_of
from capex.decision.year_on.planned import PlannedMonths, planned_months
from capex.study import Study, StudyFile

SEED = 20_280_108
CHOICE = "all_in_one"
MONTHS = 12
TRUE = {
    "demand": 1.14, "price": 0.985, "materials": 1.05, "bought_in": 1.02, "wages": 1.03,
    "upkeep": 1.12, "repair": 1.3,
}  # fmt: skip
SCATTER = {
    "orders": 0.05, "sales": 0.015, "materials": 0.03, "bought_in": 0.04, "wages": 0.01,
    "upkeep": 0.06, "downtime": 0.35,
}  # fmt: skip
HERE = Path(__file__).parent
HEAD = (
    "# The demo study a year after the purchase: the months under actuals, at the end, are\n"
    "# invented by make_year_on.py; all else is quenlow.toml.\n\n"
)


def true_months(study: Study) -> PlannedMonths:
    """Return the plan with what turned out to be true."""
    values = {
        path: study.quantity(path).likely * share
        for key, share in TRUE.items()
        for path in inputs_of(study, key)
    }
    return planned_months(appraise(study, values).outcomes[CHOICE])


def record(
    study: Study, true: PlannedMonths, month: int, drawn: random.Random
) -> dict[str, object]:
    """Return one month as the shop's books have it."""
    start = study.money.start
    at = start.month - 1 + month - 1

    def scattered(name: str, value: float) -> float:
        return value * (1.0 + SCATTER[name] * NormalDist().inv_cdf(drawn.random()))

    planned = true.by_job["orders"][:, month - 1]
    orders = {job: max(0, round(scattered("orders", float(planned[j]))))
              for j, job in enumerate(study.jobs)}  # fmt: skip
    busy = sum(orders.values()) / float(planned.sum())
    found: dict[str, object] = {
        "month": f"{start.year + at // 12}-{at % 12 + 1:02d}", "orders_by_job": orders,
    }  # fmt: skip
    for name in ("sales", "materials", "bought_in"):
        found[name] = round(scattered(name, float(true.total[name][month - 1]) * busy), -1)
    wages = scattered("wages", float(true.total["wages"][month - 1]))
    found["wages"] = round(wages, -1)
    rate = float(true.total["wages"][month - 1] / true.total["hours_paid"][month - 1])
    found["hours_paid"] = f"{wages / rate / 3600:.0f} h"
    found["upkeep"] = round(scattered("upkeep", float(true.total["upkeep"][month - 1])), -1)
    down = scattered("downtime", float(true.total["downtime"][month - 1]))
    found["downtime"] = f"{max(0.5, down / 3600):.1f} h"
    return found


def main() -> None:
    """Write the study."""
    file = StudyFile.read(HERE / "quenlow.toml")
    planned = file.changed({"actuals": {"choice": CHOICE, "months": []}})
    true, drawn = true_months(planned.study), random.Random(SEED)
    months = [record(file.study, true, month, drawn) for month in range(1, MONTHS + 1)]
    changed = file.changed({"actuals": {"choice": CHOICE, "months": months}})
    (HERE / "quenlow_year_on.toml").write_text(HEAD + changed.text, encoding="utf-8")


if __name__ == "__main__":
    main()
