"""Records of the months since the purchase: what they must say, and old files without them."""

from datetime import date

import pytest
from hand_shop import hand_study
from pydantic import ValidationError

from capex.errors import StudyError
from capex.study import Study, StudyFile, data_folder
from capex.study.actuals import ActualMonth, Actuals, last_day
from capex.study.places import MONTHS


def shop(*months: dict[str, object], choice: str = "frame") -> Study:
    return hand_study(actuals={"choice": choice, "months": list(months)})


def problems(*months: dict[str, object], choice: str = "frame") -> list[tuple[str, str]]:
    with pytest.raises(StudyError) as caught:
        shop(*months, choice=choice)
    return [(problem.path, problem.bound) for problem in caught.value.problems]


def test_a_study_without_records_has_none():
    assert hand_study().actuals is None


def test_records_are_numbers_in_canonical_units_and_no_inputs():
    study = shop({"month": "2027-02", "orders": 18, "sales": "1700 USD", "downtime": "2 h"})
    assert study.actuals is not None
    (month,) = study.actuals.months
    assert (month.volume, month.sales, month.downtime) == (18.0, 1700.0, 7200.0)
    assert study.actuals.places(study.money.start) == [2]
    assert [path for path, _ in study.quantities() if path.startswith("actuals")] == []


def test_records_written_back_read_the_same():
    study = shop({"month": "2027-02", "orders_by_job": {"plain": 9}, "downtime": "90 min"})
    assert study.actuals is not None
    again = Actuals.model_validate(study.actuals.model_dump(), context={"currency": "USD"})
    assert again == study.actuals


def test_records_are_added_to_a_file_with_its_comments_kept():
    file = StudyFile.read(data_folder() / "studies" / "quenlow.toml")
    month = {"month": "2027-01", "orders": 120, "sales": 30000}
    changed = file.changed({"actuals": {"choice": "all_in_one", "months": [month]}})
    assert changed.study.actuals is not None
    assert changed.text.startswith(file.text.rstrip())


def test_all_problems_come_at_once_with_value_and_bound():
    found = problems(
        {"month": "2026-12", "orders": 1},
        {"month": "2027-13", "orders": 1},
        {"month": "2027-02", "orders": -1, "sales": "3 EUR"},
        {"month": "2027-02", "orders": 3, "orders_by_job": {"plain": 2}},
        {"month": "2027-02"},
        {"month": "2027-04", "orders_by_job": {"cards": 2}, "hours_paid": "9"},
        {"month": "2027-05", "orders": 2, "hours_paid": "9 h", "wages": {"low": 1}},
        choice="none",
    )
    where = "actuals.months"
    assert [path for path, _ in found] == [
        "actuals.choice", f"{where}.0.month", f"{where}.1.month", f"{where}.2.orders",
        f"{where}.2.sales", f"{where}.3.month", f"{where}.3.orders", f"{where}.4.month",
        f"{where}.4.orders", f"{where}.5.orders_by_job.cards", f"{where}.5.hours_paid",
        f"{where}.6.wages",
    ]  # fmt: skip
    said = dict(found)
    assert "of the 36 months of the plan, from 2027-01 on" in said[f"{where}.0.month"]
    assert said[f"{where}.1.month"] == ("must be a month such as 2027-01, 01/2027 or Jan 2027")
    assert said[f"{where}.2.orders"].startswith("must be at least 0")
    assert "counts in USD" in said[f"{where}.2.sales"]
    assert "has no unit" in said[f"{where}.5.hours_paid"]


@pytest.mark.parametrize(
    ("month", "path", "says"),
    [
        ({"orders": 1, "hours_paid": "9 h"}, "hours_paid", "needs the wages"),
        ({"sales": 100}, "orders", "is missing"),
        ({"orders": 1, "orders_by_job": {"plain": 1}}, "orders", "must be left out"),
        ({"orders": 1, "profit": 3}, "profit", "is not a known key"),
        ({"orders": 1, "sales": {"low": 1, "likely": 2, "high": 3}}, "sales", "one figure"),
    ],
)
def test_one_wrong_figure_is_named(month, path, says):
    ((found, bound),) = problems({"month": "2027-03", **month})
    assert found == f"actuals.months.0.{path}"
    assert says in bound


def test_months_come_once_and_in_order():
    ((path, bound),) = problems(
        {"month": "2027-03", "orders": 1}, {"month": "2027-03", "orders": 1}
    )
    assert path == "actuals.months.1.month"
    assert "must come after" in bound


def test_the_last_day_of_a_month():
    assert last_day("2027-12") == date(2027, 12, 31)
    assert last_day("2028-02") == date(2028, 2, 29)


@pytest.mark.parametrize(
    "text",
    ["2027-01", "2027-1", "01/2027", "1/2027", "Jan 2027", "jan. 2027", "January 2027",
     " January,  2027", "2027 Jan", "2027-01-15"],
)  # fmt: skip
def test_a_month_is_read_as_people_write_it(text: str) -> None:
    assert ActualMonth(month=text, orders=1).month == "2027-01"


@pytest.mark.parametrize("text", ["Jan 27", "01/02/2027", "13/2027", "2027-00", "Ja 2027",
                                  "Janvier 2027", "2027", "2027-01-32", "Sepx 2027"])  # fmt: skip
def test_a_month_that_may_be_another_is_refused(text: str) -> None:
    with pytest.raises(ValidationError, match="must be a month such as 2027-01, 01/2027"):
        ActualMonth(month=text, orders=1)


def test_each_name_of_a_month_is_that_month() -> None:
    for number, name in enumerate(MONTHS, 1):
        for text in (name, name[:3], name.upper()):
            assert ActualMonth(month=f"{text} 2028", orders=1).month == f"2028-{number:02}"
    assert ActualMonth(month="Sept 2028", orders=1).month == "2028-09"
