"""What tax lets an alternative deduct: order, limits, quarters and dates, against their sources."""

import csv
from datetime import date, timedelta

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from money_rows import DATA, published

from capex.errors import InputError
from capex.finance.allowances import Asset, allowances, expensed_share, pool_rates
from capex.finance.depreciation import method_fractions
from capex.finance.measures import (
    after_tax_salvage,
    net_present_value,
    periodic_discount_factors,
)
from capex.study.catalogue import shipped_tax_regimes
from capex.study.tax import TaxRegime, regime_is_old

#: Begins on the day of the youngest change of a shipped regime.
START = date(2026, 4, 1)


def regime(**fields):
    given_ = {"title": "ours", "jurisdiction": "-", "source": "assumed", "as_of": date(2026, 1, 1)}
    return TaxRegime(**given_, **fields)


def shipped(name, **fields):
    return shipped_tax_regimes()[name].model_copy(update=fields)


def limited(limit, phase_out=None):
    """Return a regime's `expensing` with one limit."""
    entry = {"tax_year": 2000, "limit": limit, "phase_out": phase_out}
    return regime(method="none", expensing=[entry]).expensing


def bought(*costs_and_months, second_hand=False):
    """Return assets of one scenario."""
    return [
        Asset(np.array([float(cost)]), np.array([month]), second_hand)
        for cost, month in costs_and_months
    ]


def claimed(chosen, years, cost=1.0, month=0, start=START, **kind):
    """Return the claims of one asset alone, (years,)."""
    return allowances(chosen, bought((cost, month), **kind), start, years)[0][0]


@published("regime_percentages")
def test_published_regimes_claim_what_their_source_prints(row):
    years = row.inputs.get("years", len(row.expected))
    chosen = shipped(row.inputs["regime"])
    row.check(100 * claimed(chosen, years))
    assert chosen.source == row.source


@published("quarter_percentages", file_name="money_tax.csv")
def test_published_percentages_by_quarter(row):
    quarter, years = row.inputs["quarter"], len(row.expected)
    late = shipped(row.inputs["regime"], mid_quarter_above=0.0)
    # so little in the last quarter, and so low a share, that the quarter counts for all
    assets = bought((1.0, 3 * quarter + 1), (1e-6, 11))
    row.check(100 * allowances(late, assets, START, years)[0][0])
    assert sum(row.expected) == pytest.approx(100.0, abs=1e-9)


@published("mid_quarter_applies", file_name="money_tax.csv")
def test_published_mid_quarter_convention(row):
    chosen = shipped("us_macrs_7")
    assets = bought(*zip(row.inputs["costs"], row.inputs["months"], strict=True))
    claims = [claim[0, 0] for claim in allowances(chosen, assets, date(2027, 1, 1), 1)]
    tables = (
        method_fractions(chosen)[[0, 0]],
        [chosen.mid_quarter[0][0], chosen.mid_quarter[3][0]],
    )
    np.testing.assert_allclose(claims, row.inputs["costs"] * np.array(tables[row.expected]))


@published("expensed", file_name="money_tax.csv")
def test_published_limit_and_phase_out(row):
    chosen = regime(method="none", expensing=limited(row.inputs["limit"], row.inputs["phase_out"]))
    spent = np.array([[row.inputs["bought"]]], dtype=float)
    row.check((spent * expensed_share(chosen, spent, START))[0, 0])


@published("first_year_claim", file_name="money_tax.csv")
def test_published_expensing_then_bonus_then_method(row):
    chosen = shipped(
        row.inputs["regime"],
        expensing=limited(row.inputs["limit"], row.inputs["phase_out"]),
        first_year_allowance=row.inputs["bonus"],
    )
    row.check(claimed(chosen, 1, row.inputs["cost"])[0])


@published("hybrid_rate", file_name="money_tax.csv")
def test_published_hybrid_rates(row):
    chosen = regime(
        method="pool",
        writing_down_rate=row.inputs["rate"],
        writing_down_rate_before=row.inputs["before"],
        writing_down_rate_since=date.fromisoformat(row.inputs["since"]),
    )
    row.check(100 * pool_rates(chosen, date.fromisoformat(row.inputs["start"]), 1)[0])


@published("sold_salvage")
def test_published_salvage_of_a_machine_sold_early(row):
    cost, year = row.inputs["cost"], row.inputs["year"]
    basis = cost - claimed(shipped(row.inputs["regime"]), year, cost).sum()
    row.check(after_tax_salvage(row.inputs["proceeds"], basis, row.inputs["tax_rate"]))


@published("tax_shield")
def test_published_tax_shield(row):
    claims = claimed(shipped(row.inputs["regime"]), 12, row.inputs["cost"])
    shield = row.inputs["tax_rate"] * np.concatenate([[0.0], claims])
    row.check(net_present_value(shield, periodic_discount_factors(row.inputs["rate"], 12)))


@pytest.mark.parametrize("life", [3, 5, 7, 10])
@pytest.mark.parametrize("quarter", [0, 1, 2, 3])
def test_against_the_rule_behind_the_tables_by_quarter(life, quarter):
    # 26 U.S.C. 168(b) and (d): 200 % of the balance from the middle of the quarter, straight line
    # over what is left of the life from the year when that claims more. The printed figures add up
    # to 100 as they are rounded, so that some are off by a last digit; one, 17.85, by more.
    tolerance = 1.4e-4 if (life, quarter) == (7, 1) else 0.7e-4
    started = 1.0 - (quarter + 0.5) / 4.0
    left, age, expected = 1.0, 0.0, []
    while left > 1e-12:
        span = started if not expected else min(1.0, life - age)
        claim = left * max(2.0 / life, 1.0 / (life - age)) * span
        expected.append(min(claim, left))
        left, age = left - expected[-1], age + span
    printed = shipped(f"us_macrs_{life}").mid_quarter[quarter]
    np.testing.assert_allclose(printed, expected, rtol=0, atol=tolerance)


@given(st.dates(date(2020, 1, 1), date(2030, 1, 1)))
def test_law_a_mixed_rate_lies_between_the_two_and_is_never_below_its_days(start):
    pool = shipped("uk_main_pool")
    days = [start + timedelta(day) for day in range(365)]
    by_days = np.mean([0.18 if day < date(2026, 4, 1) else 0.14 for day in days])
    rates = pool_rates(pool, start, 12)
    assert 0.14 <= rates.min() <= rates.max() <= 0.18
    assert np.all(np.diff(rates) <= 0.0)
    # a leap day moves the share of days by less than 1/365, the rounding by 0.01 %
    assert by_days - 0.04 / 365 <= rates[0] <= by_days + 0.04 / 365 + 1e-4


def test_a_year_that_begins_on_a_leap_day_ends_on_the_last_of_february():
    assert pool_rates(shipped("uk_main_pool"), date(2024, 2, 29), 4).tolist() == [
        0.18, 0.18, 0.1434, 0.14,
    ]  # fmt: skip


MONEY = st.integers(1, 10_000_000).map(float)
PURCHASES = st.lists(
    st.tuples(MONEY, st.integers(0, 71), st.booleans()), min_size=1, max_size=5
).map(lambda all_: [Asset(np.array([c]), np.array([month]), used) for c, month, used in all_])
SHIPPED = st.sampled_from(sorted(set(shipped_tax_regimes()) - {"none"})).map(shipped)
STARTS = st.dates(date(2023, 1, 1), date(2030, 12, 31))


@given(SHIPPED, PURCHASES, STARTS)
def test_law_all_claims_together_come_to_the_cost_and_begin_with_the_purchase(
    chosen, assets, start
):
    for asset, claim in zip(assets, allowances(chosen, assets, start, 60), strict=True):
        assert np.all(claim >= 0.0)
        assert not claim[0, : asset.month[0] // 12].any()
        total, cost = claim.sum(), asset.cost[0]
        assert total <= cost * (1 + 1e-12)
        # a pool never ends; no other regime leaves anything
        assert chosen.method == "pool" or total == pytest.approx(cost, rel=1e-12)


@given(
    st.floats(0.0, 1.0), st.floats(0.0, 1.0), st.floats(0.0, 2000.0),
    st.integers(0, 59), st.integers(1, 12), STARTS,
)  # fmt: skip
def test_against_a_pool_kept_by_hand(rate, allowance, limit, month, years, start):
    pool = regime(
        method="pool",
        writing_down_rate=rate,
        first_year_allowance=allowance,
        expensing=limited(limit),
    )
    first = min(month // 12, years - 1)
    pooled, expected = 0.0, []
    for year in range(years):
        claim, entering = 0.0, 0.0
        if year == first:
            at_once = min(limit, 1000.0)
            claim = at_once + allowance * (1000.0 - at_once)
            entering = 1000.0 - claim
        if allowance == 0.0:
            pooled += entering
        claim += rate * pooled
        pooled -= rate * pooled
        if allowance > 0.0:
            pooled += entering
        expected.append(claim)
    computed = claimed(pool, years, 1000.0, month, start)
    np.testing.assert_allclose(computed, expected, rtol=0, atol=1e-9)


@given(SHIPPED, PURCHASES, STARTS, st.integers(1, 59))
def test_law_a_shorter_horizon_only_cuts_the_list(chosen, assets, start, years):
    within = [asset for asset in assets if asset.month[0] < 12 * years]
    whole = allowances(chosen, within, start, 60)
    for short, long in zip(allowances(chosen, within, start, years), whole, strict=True):
        np.testing.assert_array_equal(short, long[:, :years])


@given(SHIPPED, PURCHASES, STARTS, st.sampled_from([0.01, 3.0, 1000.0]))
def test_law_another_unit_of_money_changes_nothing_but_the_unit(chosen, assets, start, unit):
    limits = tuple(
        entry.model_copy(
            update={
                "limit": entry.limit * unit,
                "phase_out": None if entry.phase_out is None else entry.phase_out * unit,
            }
        )
        for entry in chosen.expensing
    )
    in_unit = [Asset(one.cost * unit, one.month, one.second_hand) for one in assets]
    scaled = allowances(chosen.model_copy(update={"expensing": limits}), in_unit, start, 12)
    for one, other in zip(allowances(chosen, assets, start, 12), scaled, strict=True):
        np.testing.assert_allclose(one * unit, other, rtol=1e-12)


@given(SHIPPED, PURCHASES, STARTS)
def test_law_one_invoice_or_two_halves_is_the_same(chosen, assets, start):
    halves = [Asset(one.cost / 2.0, one.month, one.second_hand) for one in assets]
    whole = sum(allowances(chosen, assets, start, 12))
    parts = sum(allowances(chosen, halves + halves, start, 12))
    np.testing.assert_allclose(parts, whole, rtol=1e-12)


@given(SHIPPED, STARTS, st.lists(st.tuples(MONEY, st.integers(0, 71)), min_size=2, max_size=6))
def test_law_scenarios_side_by_side_claim_what_each_does_alone(chosen, start, drawn):
    costs, months = (np.array(column) for column in zip(*drawn, strict=True))
    first = Asset(np.full(costs.size, 5e5), np.full(costs.size, 2))
    together = allowances(chosen, [Asset(costs, months), first], start, 8)
    for row, (cost, month) in enumerate(drawn):
        alone = allowances(chosen, bought((cost, month), (5e5, 2)), start, 8)
        for one, batch in zip(alone, together, strict=True):
            np.testing.assert_array_equal(one[0], batch[row])


def test_a_limit_is_that_of_its_tax_year_and_goes_on():
    entries = [{"tax_year": 2027, "limit": 40}, {"tax_year": 2026, "limit": 30, "phase_out": 50}]
    chosen = regime(method="none", expensing=entries)
    share = expensed_share(chosen, np.full((1, 4), 60.0), date(2025, 7, 1))
    # none yet; 30 less the 10 above 50; 40, and 40 again
    np.testing.assert_allclose(60.0 * share, [[0.0, 20.0, 40.0, 40.0]])


def test_a_limit_is_shared_by_the_purchases_of_a_year():
    chosen = regime(method="straight_line", life=10, expensing=limited(600.0))
    one, other = (claim[0] for claim in allowances(
        chosen, bought((500, 0), (1000, 11)), START, 2,
    ))  # fmt: skip
    np.testing.assert_allclose(one, [200.0 + 30.0, 30.0])
    np.testing.assert_allclose(other, [400.0 + 60.0, 60.0])


def test_a_first_year_allowance_is_for_new_machines_from_its_first_day_on():
    chosen = shipped("uk_first_year_allowance")
    assert claimed(chosen, 1)[0] == pytest.approx(0.40)
    assert claimed(chosen, 1, second_hand=True)[0] == pytest.approx(0.14)
    # bought on 31 December 2025 and on 31 January 2026, in a year with 274 days at 18 %
    year_from_july = np.ceil(1e4 * (274 * 0.18 + 91 * 0.14) / 365) / 1e4
    early, late = (claimed(chosen, 1, 1.0, month, date(2025, 7, 1))[0] for month in (5, 6))
    assert (early, late) == (pytest.approx(year_from_july), pytest.approx(0.40))
    bonus = shipped("us_section_179_bonus_macrs_7", expensing=())
    starts = (date(2025, 1, 19), date(2025, 1, 20))
    assert [claimed(bonus, 1, start=start)[0] for start in starts] == [
        pytest.approx(0.1429), pytest.approx(1.0),
    ]  # fmt: skip


def test_the_quarter_counts_only_above_two_fifths():
    chosen = shipped("us_macrs_5")
    exactly = allowances(chosen, bought((600, 0), (400, 9)), START, 1)
    above = allowances(chosen, bought((600, 0), (400.01, 9)), START, 1)
    assert [claim[0, 0] for claim in exactly] == pytest.approx([120.0, 80.0])
    assert [claim[0, 0] for claim in above] == pytest.approx([210.0, 20.0005])


def test_every_shipped_regime_has_a_source_a_date_and_a_caution():
    with (DATA / "sources.csv").open(encoding="utf-8", newline="") as file:
        known = {line["id"] for line in csv.DictReader(file)}
    assert len(shipped_tax_regimes()) >= 13
    for chosen in shipped_tax_regimes().values():
        assert chosen.source in known
        assert chosen.as_of > date(2025, 1, 1)
        assert "confirm with your accountant" in chosen.note.lower()


def test_a_regime_is_old_a_year_after_it_was_compared():
    chosen = regime(method="none")
    assert not regime_is_old(chosen, date(2026, 12, 31))
    assert not regime_is_old(chosen, date(2027, 1, 1))
    assert regime_is_old(chosen, date(2027, 1, 2))


def test_no_regime_and_no_purchase_claim_nothing():
    assert claimed(shipped("none"), 5).tolist() == [0.0] * 5
    assert allowances(shipped("us_macrs_5"), [], START, 5) == []


def test_refuses_a_horizon_without_a_year():
    with pytest.raises(InputError, match=r"years.*1 year or more"):
        claimed(shipped("us_macrs_5"), 0)
