"""The published rows are all checked somewhere, and all have a source."""

import ast
import csv
from pathlib import Path

from money_rows import DATA, all_rows


def test_every_row_has_a_known_source():
    with (DATA / "sources.csv").open(encoding="utf-8", newline="") as file:
        known = {line["id"] for line in csv.DictReader(file)}
    assert {row.source for row in all_rows()} <= known


def test_every_kind_of_row_is_asked_for_by_a_test():
    asked = set()
    for file in Path(__file__).parent.glob("test_*.py"):
        for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call) and getattr(node.func, "id", "") == "published":
                asked |= {argument.value for argument in node.args}
    assert asked == {row.kind for row in all_rows()}


def test_cases_are_distinct_and_tolerances_positive():
    cases = [row.case for row in all_rows()]
    assert len(cases) == len(set(cases))
    assert all(row.tolerance > 0 for row in all_rows())
