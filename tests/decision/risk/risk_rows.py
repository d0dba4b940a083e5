"""Rows of data/published/risk.csv for the tests beside this file."""

import csv
import json
from pathlib import Path
from typing import Any

import pytest

DATA = Path(__file__).parents[3] / "data"


def published(*cases: str) -> list[Any]:
    """Return (inputs, expected, tolerance) of the rows whose case begins with one of the names."""
    with (DATA / "sources.csv").open(encoding="utf-8", newline="") as lines:
        sources = {row["id"] for row in csv.DictReader(lines)}
    found, seen = [], set()
    with (DATA / "published" / "risk.csv").open(encoding="utf-8", newline="") as lines:
        for row in csv.DictReader(lines):
            name = row["case"].partition(":")[0]
            if name in cases:
                assert row["source"] in sources, row
                seen.add(name)
                numbers = (float(row["expected"]), float(row["tolerance"]))
                found.append(pytest.param(json.loads(row["inputs"]), *numbers, id=row["case"]))
    assert seen == set(cases)
    return found
