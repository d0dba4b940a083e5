"""Bounds that one input sets another hold in the file and in every scenario, and name both."""

from __future__ import annotations

import pytest

from capex.errors import InputError, StudyError
from capex.study import Study, StudyFile, data_folder

DEMO = data_folder() / "studies" / "quenlow.toml"
MONTH = "alternatives.staged.machines.1.month"
SOLD = "alternatives.separate.machines.3.sold_in_month"
RESALE = "machines.mid_all_in_one.resale_by_year"
HOUR = 3600.0


@pytest.fixture(scope="module")
def demo() -> StudyFile:
    return StudyFile.read(DEMO)


@pytest.fixture(scope="module")
def study(demo: StudyFile) -> Study:
    return demo.study


@pytest.mark.parametrize(
    ("changes", "path", "other"),
    [
        ({"money.horizon": 36}, MONTH, "money.horizon (36 months)"),
        ({"money.horizon": {"low": 24, "likely": 60, "high": 84}}, MONTH,
         "money.horizon (24 months)"),
        ({MONTH: {"low": 24, "likely": 36, "high": 84}}, MONTH, "money.horizon (84 months)"),
        ({SOLD: 90}, SOLD, "money.horizon (84 months)"),
        ({"shop.hours.overnight_per_day": "17 h"}, "shop.hours.overnight_per_day",
         "shop.hours.hours_per_day (8 h): a day has 24 h"),
        ({"shop.hours.hours_per_day": "23 h"}, "shop.dispatching.overtime_per_day",
         "must leave room for shop.hours.hours_per_day (23 h), shop.hours.overnight_per_day (0 h) "
         "and shop.hours.overtime_per_month (20 h): a day has 24 h"),
        ({"shop.dispatching.overtime_per_day": {"low": "1 h", "likely": "2 h", "high": "17 h"}},
         "shop.dispatching.overtime_per_day", "must leave room for shop.hours.hours_per_day (8 h)"),
        ({"shop.hours.care_per_day": "8 h"}, "shop.hours.care_per_day",
         "shop.hours.hours_per_day (8 h)"),
        ({f"{RESALE}.3": 0.4}, f"{RESALE}.3",
         f"must be at most {RESALE}.2 (35.5%): a machine is worth no more a year later"),
        ({f"{RESALE}.3": {"low": 0.2, "likely": 0.256, "high": 0.36}}, f"{RESALE}.3",
         f"{RESALE}.2 (35.5%)"),
        ({f"{RESALE}.2": {"low": 0.25, "likely": 0.355, "high": 0.4}}, f"{RESALE}.3",
         f"{RESALE}.2 (25%)"),
    ],
)  # fmt: skip
def test_refuses_them_in_a_study_file(demo, changes, path, other):
    with pytest.raises(StudyError) as caught:
        demo.changed(changes)
    (problem,) = caught.value.problems
    assert problem.path == path
    assert other in problem.bound


@pytest.mark.parametrize(
    ("scenarios", "field", "says"),
    [
        ({"money.horizon": 24}, "money.horizon", f"must be after {MONTH} (36 months)"),
        ({"money.horizon": [84, 60, 36]}, "money.horizon", "the purchase would never happen"),
        ({MONTH: [48, 84]}, MONTH, "must be before money.horizon (84 months)"),
        ({MONTH: 40, "money.horizon": 38}, MONTH, "must be before money.horizon (38 months)"),
        ({SOLD: 84}, SOLD, "the sale would never happen"),
        ({"shop.hours.hours_per_day": 0.5 * HOUR}, "shop.hours.hours_per_day",
         "must be more than shop.hours.care_per_day (0.6 h)"),
        ({"shop.hours.hours_per_day": 20 * HOUR, "shop.hours.overnight_per_day": [HOUR, 5 * HOUR]},
         "shop.hours.overnight_per_day", "shop.hours.hours_per_day (20 h)"),
        ({"shop.hours.overnight_per_day": [14 * HOUR, 15 * HOUR]}, "shop.hours.overnight_per_day",
         "must leave room for shop.dispatching.overtime_per_day (2 h), shop.hours.hours_per_day"),
    ],
)  # fmt: skip
def test_refuses_them_in_a_scenario_at_the_field_that_was_moved(study, scenarios, field, says):
    with pytest.raises(InputError) as caught:
        study.replaced(scenarios)
    assert caught.value.field == field
    assert says in caught.value.bound


def test_allows_what_just_fits(study):
    fits = {
        "money.horizon": [37, 84],
        MONTH: [36, 83],
        "shop.hours.hours_per_day": 14 * HOUR,
        "shop.hours.overnight_per_day": 8 * HOUR,
    }
    assert study.replaced(fits).money.horizon.si.tolist() == [37, 84]
    # without overtime a day's overtime takes no room
    fits |= {"shop.hours.hours_per_day": 16 * HOUR, "shop.hours.overtime_per_month": 0.0}
    assert study.replaced(fits).shop.hours.hours_per_day.likely == 16 * HOUR
    with pytest.raises(InputError, match=r"^shop\.hours\.overtime_per_month: '20 h' must leave"):
        study.replaced(fits).replaced({"shop.hours.overtime_per_month": 20 * HOUR})


def test_a_spread_elsewhere_does_not_refuse_a_scenario(demo):
    spread = demo.changed({MONTH: {"low": 24, "likely": 36, "high": 60}}).study
    assert spread.replaced({"money.horizon": 48}).money.horizon.likely == 48


@pytest.mark.parametrize("value", [1e308, 1.1e15])
def test_no_quantity_is_so_large_that_products_overflow(study: Study, value: float) -> None:
    with pytest.raises(InputError, match=r"shop\.people\.wage.*must be at most"):
        study.replaced({"shop.people.wage": [value]})
