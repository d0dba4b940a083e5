"""Rows of data/published/shopfloor.csv for the tests beside this file."""

import csv
import json
from pathlib import Path
from typing import Any

import pytest

DATA = Path(__file__).parents[2] / "data"


def published(*functions: str) -> list[Any]:
    """Return (function, inputs, expected, tolerance) of the rows whose case names a function."""
    with (DATA / "sources.csv").open(encoding="utf-8", newline="") as lines:
        sources = {row["id"] for row in csv.DictReader(lines)}
    cases = []
    with (DATA / "published" / "shopfloor.csv").open(encoding="utf-8", newline="") as lines:
        for row in csv.DictReader(lines):
            name = row["case"].partition(":")[0]
            if name in functions:
                assert row["source"] in sources, row
                values = (name, json.loads(row["inputs"]))
                numbers = (float(row["expected"]), float(row["tolerance"]))
                cases.append(pytest.param(*values, *numbers, id=row["case"]))
    assert {case.values[0] for case in cases} == set(functions)
    return cases
