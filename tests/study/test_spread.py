"""Spreads that a study may state: what a normal or lognormal one may leave beyond a field."""

from __future__ import annotations

import math

import pytest
from scipy import stats

from capex.decision.risk.draws import draw
from capex.errors import StudyError
from capex.study import StudyFile, data_folder
from capex.study.spread import CUT_AT_MOST, spread_problem

DEMO = StudyFile.read(data_folder() / "studies" / "quenlow.toml")
RECOVERED = "shop.after_purchase.recovered_demand"


def spread(low: str, likely: str, high: str, shape: str) -> dict[str, str]:
    return {"low": low, "likely": likely, "high": high, "distribution": shape}


def test_a_lognormal_share_far_beyond_100_percent_is_refused_when_it_is_read() -> None:
    with pytest.raises(StudyError) as refused:
        _ = DEMO.changed({RECOVERED: spread("20 %", "40 %", "80 %", "lognormal")}).study
    said = str(refused.value)
    assert RECOVERED in said
    assert "as a lognormal distribution lies beyond the bounds of the field" in said
    assert "at most 1% may: take 'pert'" in said


def test_one_that_passes_100_percent_by_a_little_is_cut_off_there() -> None:
    study = DEMO.changed({RECOVERED: spread("30 %", "42.43 %", "60 %", "lognormal")}).study
    drawn = draw(study, 4096).scenarios()[RECOVERED]
    assert 0.9 < drawn.max() <= 1.0
    study.replaced({RECOVERED: drawn})


@pytest.mark.parametrize("shape", ["normal", "lognormal"])
@pytest.mark.parametrize("side", [0, 1])
def test_against_scipy_the_share_beyond_a_bound(shape: str, side: int) -> None:
    """A bound at which 1.1 % lies beyond is refused, one at 0.9 % is not."""
    low, likely, high = (40.0, 60.0, 90.0) if shape == "lognormal" else (40.0, 60.0, 80.0)
    half = stats.norm.ppf(0.9)
    curve = (
        stats.lognorm(math.log(high / low) / (2 * half), scale=likely)
        if shape == "lognormal"
        else stats.norm(likely, (high - low) / (2 * half))
    )
    for share in (0.9 * CUT_AT_MOST, 1.1 * CUT_AT_MOST):
        bounds = [-math.inf, math.inf]
        bounds[side] = curve.ppf(share if side == 0 else 1.0 - share)
        found = spread_problem(low, likely, high, shape, bounds=(bounds[0], bounds[1]))  # type: ignore[arg-type]
        assert (found is None) == (share < CUT_AT_MOST)
    assert spread_problem(likely, likely, likely, shape, bounds=(likely, likely)) is None  # type: ignore[arg-type]
