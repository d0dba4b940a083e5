"""Volume, price, cost, rate and hours: printed examples, and differences that add up."""

import csv
import json
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from seen_months import plan_of, records, seen, shop

from capex.decision.year_on.variances import compared, flexed, rate_and_efficiency

PUBLISHED = Path(__file__).parents[3] / "data" / "published" / "variances.csv"


def rows() -> list[dict[str, str]]:
    with PUBLISHED.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def computed(case: str, given: dict[str, object]) -> float:
    kind = case.partition(":")[0]
    if kind.startswith("labor"):
        rate, efficiency = rate_and_efficiency(
            given["rate"], given["hours"], given["planned_rate"], given["planned_hours"]
        )
        return float(rate if kind == "labor_rate" else efficiency)
    moved = flexed(given["plan"], given["planned_orders"], given["orders"])
    if kind.endswith("_volume"):
        return float((moved - np.array(given["plan"])).sum())
    return float((np.array(given["actual"]) - moved).sum())


@pytest.mark.parametrize("row", rows(), ids=lambda row: row["case"])
def test_published_variance(row):
    found = computed(row["case"], json.loads(row["inputs"]))
    assert found == pytest.approx(float(row["expected"]), rel=0, abs=float(row["tolerance"]))


amounts = st.floats(0.0, 1e6)


@given(plan=amounts, orders=st.floats(1.0, 1e4), now=st.floats(0.0, 1e4))
def test_law_a_plan_follows_its_orders(plan, orders, now):
    assert flexed(plan, orders, orders) == plan
    assert flexed(plan, orders, now) == pytest.approx(plan * now / orders, abs=1e-6, rel=1e-9)


@given(rate=amounts, hours=amounts, before=amounts, allowed=amounts)
def test_law_rate_and_efficiency_are_the_whole_difference(rate, hours, before, allowed):
    parts = sum(rate_and_efficiency(rate, hours, before, allowed))
    assert parts == pytest.approx(rate * hours - before * allowed, rel=1e-9, abs=1e-3)


def test_orders_where_none_were_planned_count_at_their_price():
    assert flexed([0.0], [0.0], [3.0], [100.0]).tolist() == [300.0]
    assert flexed([0.0], [0.0], [3.0]).tolist() == [0.0]


@pytest.mark.parametrize("by_job", [False, True])
def test_law_causes_add_up_to_actual_less_plan(by_job):
    study = shop()
    plan = plan_of(study, "frame")
    months = records(study, plan, range(1, 5), by_job=by_job)
    for k, month in enumerate(months):  # away from the plan, each month by another share
        share = 0.8 + 0.1 * k
        for name in ("sales", "materials", "wages", "upkeep"):
            month[name] *= 1.0 + 0.07 * (k + 1)
        if by_job:
            month["orders_by_job"]["plain"] *= share
        else:
            month["orders"] *= share
    actuals = seen("frame", months).actuals
    found = compared(actuals, [1, 2, 3, 4], plan, list(study.jobs))
    assert set(found) >= {"orders", "sales", "materials", "wages", "upkeep"}
    for one in found.values():
        parts = sum(one.causes.values())
        np.testing.assert_allclose(parts, one.actual - one.plan, rtol=1e-9, atol=1e-9)
        assert one.difference == pytest.approx(float(parts.sum()))


def test_law_a_mix_that_moves_alone_is_volume_and_no_price():
    """Two types at different prices change places: sales move, and no price did."""
    study = shop(jobs__plain__price=50)
    plan = plan_of(study, "frame")
    (month,) = records(study, plan, range(2, 3), by_job=True)
    month["orders_by_job"]["plain"] += 4
    month["orders_by_job"]["laminated"] -= 4
    month["sales"] += 4 * (50 - 100)
    actuals = seen("frame", [month], jobs__plain__price=50).actuals
    sales = compared(actuals, [2], plan, list(study.jobs))["sales"]
    assert sales.causes["volume"] == pytest.approx([-200.0])
    assert sales.causes["price"] == pytest.approx([0.0], abs=1e-9)


def test_wages_without_hours_are_not_split():
    study = shop()
    plan = plan_of(study, "frame")
    (month,) = records(study, plan, range(1, 2))
    del month["hours_paid"]
    found = compared(seen("frame", [month]).actuals, [1], plan, list(study.jobs))
    assert set(found["wages"].causes) == {"all"}
    assert "hours_paid" not in found
