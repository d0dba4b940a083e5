"""Study files: everything wrong is said at once, comments survive, nothing is lost."""

from __future__ import annotations

import json
import tomllib

import jsonschema
import numpy as np
import pytest
import tomlkit
from hypothesis import given
from hypothesis import strategies as st
from pydantic import BaseModel

from capex.errors import InputError, StudyError
from capex.study import (
    Quantity,
    Study,
    StudyFile,
    data_folder,
    json_schema,
    read_study,
    shipped_films,
    shipped_inks,
    shipped_machines,
    shipped_tax_regimes,
)

DEMO = data_folder() / "studies" / "quenlow.toml"


@pytest.fixture(scope="module")
def demo() -> StudyFile:
    return StudyFile.read(DEMO)


def refused(file: StudyFile, changes: dict[str, object]) -> dict[str, str]:
    """Return the problems of a changed study by path."""
    with pytest.raises(StudyError) as caught:
        file.changed(changes)
    return {problem.path: str(problem) for problem in caught.value.problems}


def test_says_all_problems_at_once_with_path_value_bound_and_unit(demo):
    found = refused(
        demo,
        {
            "machines.mid_roll_printer.printing.print_width": "-1.3 m",
            "machines.mid_roll_printer.printing.swath_height": "0 mm",
            "machines.old_cutter.cutting.set_speed": "40 kg",
            "shop.people.wage": "22 EUR/h",
            "jobs.banners.colour": "red",
            "shop.seasonality": [1.0] * 11,
            "money.horizon": "0 years",
        },
    )
    wanted = {
        "machines.mid_roll_printer.printing.print_width": "'-1.3 m' must be greater than 0 m",
        "machines.mid_roll_printer.printing.swath_height": "'0 mm' must be greater than 0 mm",
        "machines.old_cutter.cutting.set_speed": "unit of another kind",
        "shop.people.wage": "counts in USD",
        "jobs.banners.colour": "is not a known key",
        "shop.seasonality": "must have at least 12 entries, has 11",
        "money.horizon": "must be at least 1 months",
    }
    assert set(found) == set(wanted)
    for path, words in wanted.items():
        assert words in found[path], found[path]


@pytest.mark.parametrize(
    ("changes", "path", "words"),
    [
        ({"jobs.banners.height": "2 m"}, "jobs.banners.width", "usable width of Banner material"),
        (
            {"alternatives.staged.machines.1.sold_in_month": 12},
            "alternatives.staged.machines.1.sold_in_month",
            "must not be before alternatives.staged.machines.1.month (36 months)",
        ),
        (
            {"alternatives.staged.machines.1.month": 84},
            "alternatives.staged.machines.1.month",
            "must be before money.horizon (84 months)",
        ),
        ({"alternatives.keep.baseline": False}, "alternatives", "exactly one with baseline"),
        ({"jobs.banners.film": "paper"}, "jobs.banners.film", "is not a known film; known:"),
        ({"money.tax.regime": "moon"}, "money.tax.regime", "is not a known tax regime"),
        ({"shop.seasonality": [2.0] * 12}, "shop.seasonality", "12 factors that average 1"),
        ({"shop.premises.room_already_paid": True}, "shop.premises.reason", "must say why"),
        ({"jobs.sticker_sets.laminated": 1.2}, "jobs.sticker_sets.laminated", "at most 100%"),
        ({"money.exchange_rates.USD": 1}, "money.exchange_rates.USD", "own currency"),
        ({"jobs.banners.passes": 4.5}, None, None),
    ],
)
def test_refuses_what_cannot_be(demo, changes, path, words):
    if path is None:
        assert demo.changed(changes).study.jobs["banners"].passes.likely == 4.5
        return
    found = refused(demo, changes)
    assert words in found[path]


def test_refuses_files_that_are_no_study(tmp_path):
    bad = tmp_path / "bad.toml"
    for content, words in (
        (b"a = [", "cannot be read"),
        (b"\xff\xfe\x00", "not UTF-8"),
        (b"", "is missing"),
    ):
        bad.write_bytes(content)
        with pytest.raises(StudyError, match=words):
            read_study(bad)
    with pytest.raises(StudyError, match="No such file"):
        read_study(tmp_path / "none.toml")


def test_comments_survive_a_change_and_a_save(demo, tmp_path):
    changed = demo.changed({"shop.people.wage": "25 USD/h", "jobs.banners.width": "2.0 m"})
    comments = [line for line in demo.text.splitlines() if line.lstrip().startswith("#")]
    assert len(comments) > 5
    assert [x for x in changed.text.splitlines() if x.lstrip().startswith("#")] == comments
    changed.write(tmp_path / "saved.toml")
    again = StudyFile.read(tmp_path / "saved.toml")
    assert again.study == changed.study
    assert again.study.shop.people.wage.likely == pytest.approx(25 / 3600)
    assert again.study.shop.people.wage.source == "entered"
    assert again.study.shop.people.wage.low is None
    assert [path.name for path in tmp_path.iterdir()] == ["saved.toml"]


def test_a_refused_change_leaves_the_file_as_it_was(demo):
    before = demo.text
    with pytest.raises(StudyError):
        demo.changed({"shop.people.wage": "minus one"})
    with pytest.raises(InputError, match="must be a number from 0 to"):
        demo.changed({"alternatives.keep.machines.9.count": 2})
    assert demo.text == before


def test_law_a_study_written_out_reads_back_the_same(demo):
    plain = demo.study.model_dump(mode="python", exclude_none=True)
    text = tomlkit.dumps(_plain(plain))
    again = Study.from_mapping(tomllib.loads(text))
    assert [path for path, _ in again.quantities()] == [p for p, _ in demo.study.quantities()]
    for (path, one), (_, other) in zip(demo.study.quantities(), again.quantities(), strict=True):
        assert one.likely == pytest.approx(other.likely, rel=1e-12), path
        assert (one.source, one.on, one.note) == (other.source, other.on, other.note), path
        assert (one.low is None) == (other.low is None), path


def _plain(value):
    if isinstance(value, dict):
        return {key: _plain(item) for key, item in value.items()}
    if isinstance(value, (list, tuple)):
        return [_plain(item) for item in value]
    return value


def test_against_jsonschema_the_demo_fits_the_exported_schema():
    schema = json.loads(json.dumps(json_schema(), allow_nan=False))
    jsonschema.Draft202012Validator.check_schema(schema)
    document = _jsonable(tomllib.loads(DEMO.read_text(encoding="utf-8")))
    validator = jsonschema.Draft202012Validator(schema)
    assert not list(validator.iter_errors(document))
    document["jobs"]["banners"]["colour"] = "red"
    assert [error.validator for error in validator.iter_errors(document)]


def test_a_default_with_a_date_is_written_in_the_schema_as_a_file_would_hold_it():
    entry = json_schema()["$defs"]["Lender"]["properties"]["minimum_cover"]
    assert entry["default"]["value"] == 1.25
    assert entry["default"]["date"] == "2026-11-25"  # ISO 8601
    jsonschema.validate(entry["default"], entry)


def _jsonable(value):
    if isinstance(value, dict):
        return {key: _jsonable(item) for key, item in value.items()}
    if isinstance(value, list):
        return [_jsonable(item) for item in value]
    return value if isinstance(value, (str, int, float, bool)) else value.isoformat()


def quantities_of(part):
    """Yield every quantity inside a part of a study."""
    if isinstance(part, Quantity):
        yield part
    elif isinstance(part, BaseModel):
        for name in type(part).model_fields:
            yield from quantities_of(getattr(part, name))
    elif isinstance(part, tuple):
        for value in part:
            yield from quantities_of(value)


def test_shipped_files_are_whole_and_only_defaults():
    machines = shipped_machines()
    assert len(machines) == 10
    parts = (*machines.values(), *shipped_films().values(), *shipped_inks().values())
    for part in parts:
        for quantity in quantities_of(part):
            assert quantity.source == "default", part.name
    assert len(shipped_tax_regimes()) >= 9


@given(factor=st.floats(min_value=0.1, max_value=10))
def test_law_replacing_touches_nothing_else(factor):
    study = read_study(DEMO)
    changed = study.replaced({"levers.demand": [factor, 1.0]})
    assert changed.levers.demand.si.tolist() == [factor, 1.0]
    before = dict(study.quantities())
    assert before["levers.demand"].likely == 1.0
    for path, quantity in changed.quantities():
        if path != "levers.demand":
            assert quantity is before[path], path


@pytest.mark.parametrize(
    ("scenarios", "words"),
    [
        ({"shop.people.wag": 1.0}, "known: operators"),
        ({"shop.people": 1.0}, "not a quantity"),
        ({"levers.demand": [1.0, -1.0]}, "must be greater than 0"),
        ({"levers.demand": [1.0, np.nan]}, "must be finite"),
        ({"levers.demand": [1.0, 2.0], "levers.price": [1.0, 2.0, 3.0]}, "same length"),
        ({"levers.demand": []}, "one value a scenario"),
        ({"levers.demand": [[1.0]]}, "one value a scenario"),
    ],
)
def test_refuses_scenarios_that_do_not_fit(scenarios, words):
    with pytest.raises(InputError, match=words):
        read_study(DEMO).replaced(scenarios)


def test_quantity_tables_are_checked(demo):
    for entry, words in (
        ({"low": "3 USD/h", "likely": "2 USD/h", "high": "4 USD/h"}, "between low and high"),
        ({"low": "3 USD/h", "likely": "4 USD/h"}, "give both"),
        ({"value": "3 USD/h", "likely": "4 USD/h"}, "one of"),
        ({"value": "3 USD/h", "source": "rumour"}, "not a source"),
        ({"value": "3 USD/h", "unit": "h"}, "not part of a quantity"),
        ({"value": "3 USD/h", "date": "yesterday"}, "is not a date"),
    ):
        mapping = tomllib.loads(demo.text)
        mapping["shop"]["people"]["wage"] = entry
        with pytest.raises(StudyError, match=words):
            Study.from_mapping(mapping)
