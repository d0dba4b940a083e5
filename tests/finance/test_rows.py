"""The published rows are all checked somewhere, and all have a source."""

import ast
import csv
from pathlib import Path

import pytest
from money_rows import DATA, all_rows

FILES = ["money.csv", "money_tax.csv"]


def kinds_asked_for() -> dict[str, set[str]]:
    """Return the kinds of row that the tests of this folder name, by file of rows."""
    asked: dict[str, set[str]] = {}
    for file in Path(__file__).parent.glob("test_*.py"):
        for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call) and getattr(node.func, "id", "") == "published":
                named = {one.arg: ast.literal_eval(one.value) for one in node.keywords}
                kinds = asked.setdefault(named.get("file_name", FILES[0]), set())
                kinds |= {ast.literal_eval(argument) for argument in node.args}
    return asked


@pytest.mark.parametrize("file_name", FILES)
def test_every_row_has_a_known_source(file_name):
    with (DATA / "sources.csv").open(encoding="utf-8", newline="") as file:
        known = {line["id"] for line in csv.DictReader(file)}
    assert {row.source for row in all_rows(file_name)} <= known


def test_every_kind_of_row_is_asked_for_by_a_test():
    assert kinds_asked_for() == {file: {row.kind for row in all_rows(file)} for file in FILES}


@pytest.mark.parametrize("file_name", FILES)
def test_cases_are_distinct_and_tolerances_positive(file_name):
    rows = all_rows(file_name)
    assert len(rows) == len({row.case for row in rows})
    assert all(row.tolerance > 0 for row in rows)
