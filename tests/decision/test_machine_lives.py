"""Machines of unequal lives: level cost a year and chain, against each other and by hand."""

from operator import attrgetter

import numpy_financial as npf
import pytest
from hand_shop import hand_study

from capex.decision.machine_lives import machine_lives
from capex.decision.replacement import machine_life
from capex.study import data_folder, read_study

DEMO = data_folder() / "studies" / "quenlow.toml"


def unequal():
    """One that is best after a year, as resale falls late, and one that is best after three."""
    return hand_study(
        machines__frame__resale_by_year=[0.99, 0.5, 0.0],
        machines__cutter__resale_by_year=[0.4, 0.39, 0.38, 0.0],
        money__discount_rate="10 %",
    )


def test_against_purchase_after_purchase_by_hand():
    """Both bought again and again for three years, cash year by year, discounted by a library."""
    study = unequal()
    short, long = machine_lives(study, ["frame", "cutter"], upkeep_growth=0.0, years=4)
    assert (short.age, long.age) == (1, 3)
    assert short.chain_years == long.chain_years == 3
    insured = 10_000 * float(study.shop.premises.insurance.si[0])
    each = [10_000, insured + 100, insured + 100, insured - 9900]
    assert short.chain_cost == pytest.approx(npf.npv(0.1, each), rel=1e-12)
    once = [10_000, insured, insured, insured - 3800]
    assert long.chain_cost == pytest.approx(npf.npv(0.1, once), rel=1e-12)
    assert long.present_cost == pytest.approx(long.chain_cost, rel=1e-12)
    for one in (short, long):
        payment = -npf.pmt(0.1, one.age, one.present_cost)
        assert one.annual_cost == pytest.approx(payment, rel=1e-12)


def test_law_both_comparisons_rank_alike():
    study = read_study(DEMO)
    keys = ["mid_roll_printer", "mid_contour_cutter", "mid_all_in_one"]
    found = machine_lives(study, keys, upkeep_growth=0.3)
    assert len({each.age for each in found}) > 1
    by_year, by_chain = (
        sorted(found, key=attrgetter(name)) for name in ("annual_cost", "chain_cost")
    )
    assert by_year == by_chain
    for each in found:
        life = machine_life(study, each.machine, upkeep_growth=0.3)
        assert each.annual_cost == pytest.approx(float(life.cost[0]), rel=1e-12)


def test_a_common_horizon_that_is_far_is_none():
    far = hand_study(
        machines__frame__resale_by_year=[0.9] * 11 + [0.0],
        machines__cutter__resale_by_year=[0.9] * 10 + [0.0],
    )
    found = machine_lives(far, ["frame", "cutter"], upkeep_growth=0.0)
    assert [each.age for each in found] == [11, 10]
    assert [(each.chain_cost, each.chain_years) for each in found] == [(None, 110)] * 2
