"""Cover ratios: printed examples, the reason where there is none, the definition in words."""

import csv
import json

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from money_rows import DATA

from capex.errors import InputError
from capex.finance.coverage import (
    USUAL_COVER,
    CoverDefinition,
    Ratio,
    RatioReason,
    cover_ratio,
    extreme,
)

AMOUNT = st.floats(-1e6, 1e6)


def rows():
    with (DATA / "published" / "money_lender.csv").open(encoding="utf-8", newline="") as file:
        found = list(csv.DictReader(file))
    assert found
    return [pytest.param(row, id=row["case"]) for row in found]


@pytest.mark.parametrize("row", rows())
def test_published_cover(row):
    found = cover_ratio(**json.loads(row["inputs"])).ratio
    assert float(found) == pytest.approx(float(row["expected"]), abs=float(row["tolerance"]))


@given(AMOUNT, st.floats(1, 1e6))
def test_law_cover_times_debt_service_is_the_cash(cash, due):
    found = cover_ratio(cash, due)
    assert found.found
    assert float(found.ratio) * due == pytest.approx(cash, rel=1e-12, abs=1e-9)


@given(AMOUNT)
def test_law_without_debt_service_there_is_no_ratio_but_a_reason(cash):
    found = cover_ratio([cash, cash], [0.0, 5.0])
    assert found.reason.tolist() == [RatioReason.NO_DEBT_SERVICE, RatioReason.FOUND]
    assert np.isnan(found.ratio[0])
    assert np.isfinite(found.ratio[1])


def test_the_extreme_of_what_there_is():
    nan, none = float("nan"), int(RatioReason.NO_DEBT_SERVICE)
    each = Ratio(
        np.array([[nan, 2.0, 1.5, nan], [nan] * 4]), np.array([[none, 0, 0, none], [none] * 4])
    )
    least, most = extreme(each, 1, highest=False), extreme(each, 0, highest=True)
    assert (least.ratio[0], least.when.tolist()) == (1.5, [3, -1])
    assert (most.ratio[0], most.when.tolist()) == (2.0, [1, -1])
    assert np.isnan(least.ratio[1])
    assert least.reason.tolist() == [RatioReason.FOUND, RatioReason.NO_DEBT_SERVICE]


@pytest.mark.parametrize(
    ("cash", "due", "words"),
    [
        (1.0, -1.0, "debt_service: -1.0 must be at least 0"),
        (float("nan"), 1.0, "cash.*must be a finite number"),
        (1.0, float("inf"), "debt_service.*must be a finite number"),
    ],
)
def test_refuses_amounts_that_are_none(cash, due, words):
    with pytest.raises(InputError, match=words):
        cover_ratio(cash, due)


def test_every_definition_says_what_it_takes_off():
    kinds = [CoverDefinition(tax, draws) for tax in (True, False) for draws in (True, False)]
    assert len({kind.words for kind in kinds}) == 4
    assert "after tax and after the owner's draws" in USUAL_COVER.words
    assert "before tax and before the owner's draws" in CoverDefinition(False, False).words
    assert all(reason.words for reason in RatioReason)
