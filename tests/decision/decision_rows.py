"""Rows of data/published/money_decisions.csv, by the function that they check."""

import csv
import json
from pathlib import Path

import pytest

DATA = Path(__file__).parents[2] / "data"


def decision_rows():
    path = DATA / "published" / "money_decisions.csv"
    with path.open(encoding="utf-8", newline="") as file:
        return [
            {**line, "inputs": json.loads(line["inputs"]), "expected": json.loads(line["expected"])}
            for line in csv.DictReader(file)
        ]


def published_decisions(kind):
    """Parametrize a test over the rows of a kind; a kind without rows is an error."""
    found = [row for row in decision_rows() if row["case"].partition(":")[0] == kind]
    if not found:
        raise ValueError(f"no published rows for {kind}")
    return pytest.mark.parametrize("row", found, ids=[row["case"] for row in found])


def matches(row, computed):
    return computed == pytest.approx(row["expected"], rel=0, abs=float(row["tolerance"]))
