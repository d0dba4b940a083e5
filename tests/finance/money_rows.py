"""Rows of data/published/money.csv and its like, by the function that they check."""

import csv
import json
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest

DATA = Path(__file__).parents[2] / "data"


@dataclass(frozen=True)
class Row:
    kind: str
    case: str
    source: str
    inputs: dict[str, Any]
    expected: Any
    tolerance: float

    def check(self, computed: Any) -> None:
        message = f"{self.case} ({self.source})"
        # The last share is rounding in the comparison itself.
        allowed = self.tolerance * (1 + 1e-9)
        np.testing.assert_allclose(computed, self.expected, rtol=0, atol=allowed, err_msg=message)


@cache
def all_rows(file_name: str = "money.csv") -> tuple[Row, ...]:
    with (DATA / "published" / file_name).open(encoding="utf-8", newline="") as file:
        return tuple(
            Row(
                kind=line["case"].partition(":")[0],
                case=line["case"],
                source=line["source"],
                inputs=json.loads(line["inputs"]),
                expected=json.loads(line["expected"]),
                tolerance=float(line["tolerance"]),
            )
            for line in csv.DictReader(file)
        )


def published(*kinds: str, file_name: str = "money.csv") -> pytest.MarkDecorator:
    """Parametrize a test over the rows of some kinds; a kind without rows is an error."""
    found = {row.kind for row in all_rows(file_name)}
    missing = set(kinds) - found
    if missing:
        raise ValueError(f"no published rows for {sorted(missing)}")
    chosen = [row for row in all_rows(file_name) if row.kind in kinds]
    return pytest.mark.parametrize("row", chosen, ids=[row.case for row in chosen])
