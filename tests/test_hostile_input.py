"""Hostile inputs at every way in: refused with a place, or read; never anything else.

The long runs are `python -m tests.stress.hostile_input SURFACE COUNT`; here are a few inputs a
surface, those that once broke a promise, and the claims and bombs that cost little to make.
What a workbook may claim stands in ECMA-376, part 1, 18.3.1 and 18.18.7 (last cell XFD1048576);
the rest is common practice, no source.
"""

import random
import time
import tomllib
from functools import partial
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from stress import drawings, hostile_input, workbooks
from stress.hostile_input import FOUND, kept_input, tried
from stress.surfaces import Surface
from stress.ways_in import WAYS_IN

from capex.errors import CapexError, OrderBookError, Problem, StudyError, UnitError
from capex.study import Study
from capex.study.orders.sheet import candidate_sheets
from capex.units import parse_number

KEPT = sorted(path.with_suffix("") for path in FOUND.glob("*/*.txt"))
#: Processor time an input may take here [s]: a machine that others use too counts more for the
#: same work, and what takes longest (a book of 17,000 job types) comes near the 5 s of a long run.
LONGEST = 20.0
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
    assert tried(WAYS_IN[surface].taken, body, LONGEST).fault is None


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
    refused_or_read(path.parent.name, kept_input(path))


def test_every_input_kept_is_tried_once_more() -> None:
    assert {path.with_suffix("") for path in FOUND.glob("*/*.*")} == set(KEPT)


def test_a_kept_input_that_cannot_be_made_once_more_is_told(tmp_path: Path) -> None:
    (tmp_path / "artwork").mkdir()
    path = tmp_path / "artwork" / "0123456789ab"
    for seed in ("handmade: never made", "7", "bytes: 00ff"):
        path.with_suffix(".txt").write_text(f"seed {seed}\nslow\n", encoding="utf-8")
        with pytest.raises(ValueError, match=r"never made|another input by now"):
            kept_input(path)


def test_an_input_is_bounded_in_processor_time_and_by_the_clock() -> None:
    def spin(_: bytes) -> str:
        while True:
            pass

    slept = tried(lambda _: str(time.sleep(30)), b"", clock=0.05)
    assert slept.fault.startswith("takes more than 0.05 s by the clock, in ")
    assert tried(spin, b"", 0.05).fault.startswith("takes more than 0.05 s of processor time, in ")


@pytest.mark.skipif(not Path("/proc/self/clear_refs").exists(), reason="Linux tells it alone")
def test_the_memory_of_an_input_is_its_own(monkeypatch: pytest.MonkeyPatch) -> None:
    def taken(body: bytes) -> str:
        return str(len(bytes(range(256)) * (int(body) * 4000)))

    monkeypatch.setattr(hostile_input, "MOST", 50_000_000)
    faults = [tried(taken, size).fault for size in (b"45", b"90", b"100", b"45")]
    assert [fault is None for fault in faults] == [True, False, False, True]


def test_a_run_ends_with_1_where_a_promise_was_broken(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(hostile_input, "FOUND", tmp_path)
    monkeypatch.setitem(WAYS_IN, "months", Surface(lambda _: b"", lambda _: "read"))
    assert hostile_input.main(["months", "2"]) == 0
    broken = Surface(lambda draws: b"", lambda _: str(1 / 0), (partial(dict, a=b"a"),))
    monkeypatch.setitem(WAYS_IN, "months", broken)
    assert hostile_input.main(["months", "2"]) == 1
    assert "broken: 3 inputs, 1 kinds" in capsys.readouterr().out
    assert [kept_input(path) for path in tmp_path.glob("*/*.txt")] == [b"a"]


def test_a_surface_that_is_none_is_refused_with_those_there_are(
    capsys: pytest.CaptureFixture[str],
) -> None:
    with pytest.raises(SystemExit):
        hostile_input.main(["nonsense"])
    said = capsys.readouterr().err
    assert all(name in said and name in hostile_input.__doc__ for name in (*WAYS_IN, "all"))


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
