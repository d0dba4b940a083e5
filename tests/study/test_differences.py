"""What differs between two studies: what was changed, and nothing else."""

import pytest

from capex.study import StudyFile, data_folder
from capex.study.differences import differences

FILE = StudyFile.read(data_folder() / "studies" / "quenlow.toml")


def test_law_a_study_does_not_differ_from_itself() -> None:
    assert differences(FILE.study, StudyFile.parsed(FILE.text).study) == ()


@pytest.mark.parametrize(
    ("path", "value"),
    [
        ("shop.people.wage", "25 USD/h"),
        ("levers.demand", 1.25),
        ("shop_name", "Another shop"),
        ("money.convention", "year_end"),
        ("alternatives.staged.machines.1.month", 24),
        ("jobs.banners.may_panel", True),
    ],
)
def test_law_one_change_is_one_difference(path: str, value: object) -> None:
    other = FILE.changed({path: value}).study
    found = differences(FILE.study, other)
    assert [one.path for one in found] == [path]
    back = differences(other, FILE.study)
    assert [(one.before, one.after) for one in back] == [(one.after, one.before) for one in found]


def test_how_a_value_was_typed_is_no_difference() -> None:
    metric = FILE.changed({"room.width": "9000 mm"})
    assert differences(metric.study, FILE.changed({"room.width": "9 m"}).study) == ()


def test_a_spread_and_a_source_are_differences() -> None:
    entry = {"low": "20 USD/h", "likely": "22 USD/h", "high": "24 USD/h", "source": "quoted"}
    found = differences(FILE.study, FILE.changed({"shop.people.wage": entry}).study)
    assert [one.path for one in found] == ["shop.people.wage"]


def test_what_stands_on_one_side_only_is_missing_on_the_other() -> None:
    alternative = {"name": "One more", "machines": [{"machine": "mid_all_in_one"}]}
    found = differences(FILE.study, FILE.changed({"alternatives.one_more": alternative}).study)
    assert found[0].before is None
    assert {one.path.split(".")[1] for one in found} == {"one_more"}
