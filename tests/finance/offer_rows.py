"""Rows of data/published/money_offers.csv, by the function that they check."""

import csv
import json

import pytest
from money_rows import DATA, Row


def all_offer_rows() -> list[Row]:
    with (DATA / "published" / "money_offers.csv").open(encoding="utf-8", newline="") as file:
        return [
            Row(
                kind=line["case"].partition(":")[0],
                case=line["case"],
                source=line["source"],
                inputs=json.loads(line["inputs"]),
                expected=json.loads(line["expected"]),
                tolerance=float(line["tolerance"]),
            )
            for line in csv.DictReader(file)
        ]


def published_offers(kind: str) -> pytest.MarkDecorator:
    """Parametrize a test over the rows of a kind; a kind without rows is an error."""
    found = [row for row in all_offer_rows() if row.kind == kind]
    if not found:
        raise ValueError(f"no published rows for {kind}")
    return pytest.mark.parametrize("row", found, ids=[row.case for row in found])
