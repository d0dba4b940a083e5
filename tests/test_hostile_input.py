"""Hostile inputs at every way in: refused with a place, or read; never anything else.

The long runs are `python tests/stress/hostile_input.py SURFACE COUNT`; here are a few inputs a
surface, those that once broke a promise, and the claims and bombs that cost little to make.
What a workbook may claim stands in ECMA-376, part 1, 18.3.1 and 18.18.7 (last cell XFD1048576);
the rest is common practice, no source.
"""

import random
import tomllib
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from stress import drawings, workbooks
from stress.hostile_input import FOUND, broken_promise
from stress.ways_in import WAYS_IN

from capex.errors import CapexError, OrderBookError, Problem, StudyError, UnitError
from capex.study import Study
from capex.study.orders.sheet import candidate_sheets
from capex.units import parse_number

KEPT = sorted(FOUND.glob("*/*.bin"))
#: So few that all surfaces together stay within 15 s.
EXAMPLES = {
    "orders-csv": 6,
    "study": 10,
    "orders-xlsx": 8,
    "edits": 6,
    "months": 6,
    "widgets": 4,
    "address": 12,
}


@pytest.fixture(autouse=True)
def own_store(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setenv("CAPEX_DATA", str(tmp_path))
    monkeypatch.delenv("QUERY_STRING", raising=False)


def refused_or_read(surface: str, body: bytes) -> None:
    broken = None
    try:
        WAYS_IN[surface].taken(body)
    except CapexError as error:
        broken = broken_promise(error)
    assert broken is None


@pytest.mark.parametrize("surface", WAYS_IN)
def test_law_an_input_is_read_or_refused_with_its_place(surface: str) -> None:
    @settings(
        max_examples=EXAMPLES.get(surface, 15), deadline=None, derandomize=True, database=None,
        suppress_health_check=list(HealthCheck),
    )  # fmt: skip
    @given(st.integers(0, 2**32))
    def each(seed: int) -> None:
        refused_or_read(surface, WAYS_IN[surface].made(random.Random(seed)))

    each()


@pytest.mark.parametrize("path", KEPT, ids=lambda path: f"{path.parent.name}-{path.stem}")
def test_what_once_broke_a_promise_is_refused_or_read(path: Path) -> None:
    refused_or_read(path.parent.name, path.read_bytes())


@pytest.mark.parametrize(
    ("text", "kind"),
    [
        ("1 m**9**9**9", "length"), ("1 m*9**9**9**9", "length"), ("1 m^9^9", "length"),
        ("1 (m", "length"), ("1 ()", "length"), ("1 m**", "length"), ("1 m/0", "length"),
        ("5 %%", "fraction"), ("1 dB", "number"), ("26 deg", "number"), ("20 %", "angle"),
        ("1e308 km", "length"), (10**400, "number"), ("3 /order", "number"),
    ],
)  # fmt: skip
def test_a_unit_that_is_none_is_refused(text: object, kind: str) -> None:
    with pytest.raises(UnitError, match="needs a value such as"):
        parse_number(text, kind)


CLAIMS = {
    "a last cell at XFD1048576": "holds 1,048,576 rows",
    "a merge of all cells": "holds 17,179,869,184 cells",
    "a row of 16384 cells": "16,384 columns",
    "a thousand million laughs": "document type",
    "an external entity": "document type",
    "nested ten thousand deep": "64 deep",
    "a million styles": "65,490",
}


@pytest.mark.parametrize("claim", CLAIMS)
def test_a_workbook_that_claims_too_much_is_refused(claim: str) -> None:
    with pytest.raises(OrderBookError, match=CLAIMS[claim]):
        candidate_sheets(workbooks.claims()[claim])


@pytest.mark.parametrize(
    ("table", "path"),
    [
        ({"jobs": {str(k): {} for k in range(1001)}}, "jobs"),
        ({str(k): 1 for k in range(1001)}, "file"),
    ],
)
def test_a_study_of_too_many_entries_is_refused(table: dict, path: str) -> None:
    with pytest.raises(StudyError) as caught:
        Study.from_mapping(table)
    assert [problem.path for problem in caught.value.problems] == [path]


def test_a_message_repeats_no_more_than_is_read() -> None:
    many = [Problem(f"jobs.{k}", "x" * 5000, "y" * 5000) for k in range(5000)]
    error = StudyError("own.toml", many)
    assert len(str(error)) < 150_000
    assert str(error).endswith("has 4,900 problems more")
    assert len(error.problems) == 5000


def test_months_beyond_the_most_are_one_problem() -> None:
    text = "\n[actuals]\nchoice = 'x'\nmonths = [" + "{month = '2027-05'}," * 500 + "]"
    with pytest.raises(StudyError, match="must have at most 480 entries"):
        Study.from_mapping(tomllib.loads(text))


def test_a_drawing_that_copies_itself_is_refused() -> None:
    names = (
        "a copy of itself", "two that copy each other", "copies of copies", "an external entity",
        "a thousand million laughs", "nested ten thousand deep",
    )  # fmt: skip
    for name in names:
        with pytest.raises(CapexError):
            WAYS_IN["artwork"].taken(drawings.handmade()[name])
