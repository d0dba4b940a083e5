"""A study's own copy of a tax regime: what it may state, and what is said of a broken one."""

from __future__ import annotations

import tomllib

import pytest

from capex.errors import StudyError
from capex.finance.purchases import tax_regime
from capex.study import Study, StudyFile, data_folder, shipped_tax_regimes

DEMO = data_folder() / "studies" / "quenlow.toml"
SHIPPED = tomllib.loads((data_folder() / "tax_regimes.toml").read_text(encoding="utf-8"))


def with_regime(name: str, **changes: object) -> dict:
    """Return the demo with a copy of a shipped regime, changed, as the one it uses."""
    mapping = tomllib.loads(DEMO.read_text(encoding="utf-8"))
    mapping["tax_regimes"] = {"ours": SHIPPED[name] | changes}
    mapping["money"]["tax"]["regime"] = "ours"
    return mapping


def problems(mapping: dict) -> list[str]:
    with pytest.raises(StudyError) as caught:
        Study.from_mapping(mapping)
    return [str(problem) for problem in caught.value.problems]


@pytest.mark.parametrize("name", SHIPPED)
def test_every_shipped_regime_can_be_copied_into_a_study_and_edited(name):
    mapping = with_regime(name, limit_currency="USD", note="ours")
    regime = tax_regime(Study.from_mapping(mapping))
    shipped = shipped_tax_regimes()[name]
    assert regime == shipped.model_copy(update={"limit_currency": "USD", "note": "ours"})


def test_a_limit_of_the_study_survives_a_save(tmp_path):
    file = StudyFile.read(DEMO).changed(
        {"tax_regimes.ours": SHIPPED["us_section_179_bonus_macrs_7"], "money.tax.regime": "ours"}
    )
    file.write(tmp_path / "saved.toml")
    again = tax_regime(StudyFile.read(tmp_path / "saved.toml").study)
    assert again == shipped_tax_regimes()["us_section_179_bonus_macrs_7"]


def test_limits_in_another_currency_are_refused_not_taken_as_they_stand():
    mapping = tomllib.loads(DEMO.read_text(encoding="utf-8"))
    mapping["money"]["tax"]["regime"] = "uk_annual_investment_allowance"
    assert problems(mapping) == [
        "money.tax.regime: 'uk_annual_investment_allowance' states its limits in GBP, the study is "
        "in USD: copy it to tax_regimes and state them in USD"
    ]


@pytest.mark.parametrize(
    ("name", "changes", "says"),
    [
        (
            "us_macrs_3",
            {"mid_quarter": [[0.6, 0.6], [1.0], [1.0]]},
            [
                "tax_regimes.ours.mid_quarter: 3 must be 4 tables, one a quarter",
                "tax_regimes.ours.mid_quarter.0 (ours, mid quarter, entry 1): 1.2 must add up "
                "to at most 1",
            ],
        ),
        (
            "uk_special_pool",
            {"writing_down_rate_before": 0.08},
            [
                "tax_regimes.ours.writing_down_rate_since: is missing: a rate that has changed "
                "needs the rate before and the date"
            ],
        ),
        (
            "us_macrs_3",
            {"expensing": [{"tax_year": 2026, "limit": 1}, {"tax_year": 2026, "limit": 2}]},
            [
                "tax_regimes.ours.expensing.1.tax_year (ours, expensing, entry 2, tax year): 2026 "
                "is stated twice"
            ],
        ),
    ],
)
def test_a_broken_regime_says_what_is_wrong(name, changes, says):
    assert problems(with_regime(name, **changes)) == says


@pytest.mark.parametrize(
    ("changes", "path"),
    [
        ({"first_year_allowance": 1.1}, "tax_regimes.ours.first_year_allowance"),
        ({"expensing": [{"tax_year": 2026, "limit": -1}]}, "tax_regimes.ours.expensing.0.limit"),
        ({"expensing": [{"limit": 1}]}, "tax_regimes.ours.expensing.0.tax_year"),
        (
            {"expensing": [{"tax_year": 2026, "limit": float("nan")}]},
            "tax_regimes.ours.expensing.0.limit",
        ),
        ({"mid_quarter": [[2.0], [1.0], [1.0], [1.0]]}, "tax_regimes.ours.mid_quarter.0.0"),
    ],
)
def test_a_value_out_of_bounds_is_named(changes, path):
    assert [
        text.partition(":")[0].partition(" (")[0]
        for text in problems(with_regime("us_macrs_3", **changes))
    ] == [path]
