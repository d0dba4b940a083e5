"""The volume at which cover reaches a level: by hand, and that the answer holds on the path."""

import math

import numpy as np
import pytest
from hand_shop import hand_study
from hypothesis import given
from hypothesis import strategies as st
from strategies import Size, laws, studies

from capex.decision.appraise import appraise
from capex.decision.cover import VolumeReason, cover_volumes, lender_view_of
from capex.errors import InputError
from capex.finance.coverage import CoverDefinition
from capex.study import data_folder, read_study

SMALL = studies(Size(jobs=3, frames=1, years=2))
BEFORE = CoverDefinition(after_tax=False, after_draws=False)
OWNED = [{"machine": name, "owned": True} for name in ("printer", "cutter", "laminator")]
# An order brings 1,000 and takes a metre of film 1.02 m wide at 5 a square metre and 1 of ink,
# every other one a laminate at 3. Ten of each a month; two people cost 6,400.
BROUGHT = 20 * (1000 - 1.02 * 5 - 1.0) - 10 * 1.02 * 3
STAFF = 2 * 160 * 20


def shop(**changes):
    usual = {
        "jobs__plain__price": 1000,
        "jobs__laminated__price": 1000,
        "money__loan": {"share": 0.75, "annual_rate": 0.12, "term": 24},
        "alternatives__frame__machines": [{"machine": "frame"}, *OWNED],
    }
    return hand_study(**(usual | changes))


@pytest.mark.parametrize("level", [1.0, 1.25])
def test_against_the_volume_by_hand(level):
    """Sales less direct cost rise in proportion to volume; wages and payment do not."""
    payment = 7500 * 0.01 / (1 - 1.01**-24)
    expected = (STAFF + level * payment) / BROUGHT
    keep, frame = cover_volumes(shop(), level, within=1e-7)
    assert frame.volume == pytest.approx(expected, abs=2e-7)
    assert (frame.reason, frame.stays) == (VolumeReason.FOUND, True)
    assert keep.reason is VolumeReason.NO_DEBT_SERVICE
    assert math.isnan(keep.volume)
    assert "no cover" in keep.reason.words


def test_capacity_caps_what_volume_can_do():
    """Half an hour a day: the machines are full long before wages are earned."""
    study = shop(shop__hours__hours_per_day="0.5 h", shop__people__wage="4000 USD/h")
    frame = cover_volumes(study, 1.0)[1]
    assert frame.reason is VolumeReason.CAPACITY
    assert math.isnan(frame.volume)
    assert not frame.stays
    assert "full" in frame.reason.words


def test_orders_that_bring_nothing_never_reach_the_level():
    study = shop(jobs__plain__price=1, jobs__laminated__price=1)
    assert cover_volumes(study, 1.0, high=0.2)[1].reason is VolumeReason.NEVER


def test_a_level_met_at_every_volume_is_named():
    loan = {"share": 1e-6, "annual_rate": 0.1, "term": 24}
    study = shop(shop__people__wage="0 USD/h", money__loan=loan)
    frame = cover_volumes(study, 1.0)[1]
    assert (frame.reason, frame.stays) == (VolumeReason.ALWAYS, True)
    assert math.isnan(frame.volume)


def test_cover_begins_at_the_volume_at_which_a_machine_is_bought():
    """Half an hour a day: below the trigger nothing is owed, and so there is no cover."""
    waiting = [{"machine": "frame", "when_load_passes": 0.3}, *OWNED]
    study = shop(shop__hours__hours_per_day="0.5 h", alternatives__frame__machines=waiting)
    frame = cover_volumes(study, 1.0, within=1e-6)[1]
    assert frame.reason is VolumeReason.FOUND
    near = appraise(study, {"levers.demand": [frame.volume - 1e-6, frame.volume]})
    below, there = lender_view_of(near.outcomes["frame"]).lowest_year.ratio
    assert math.isnan(below)
    assert there >= 1.0


def test_against_the_lowest_volume_by_hand_where_a_second_loan_takes_cover_down_again():
    """Two hours a day; a printer is bought, on a loan too, once a load passes a tenth."""
    machines = [{"machine": "frame"}, {"machine": "printer", "when_load_passes": 0.1}, *OWNED[1:]]
    study = shop(shop__hours__hours_per_day="2 h", alternatives__frame__machines=machines)
    frame = cover_volumes(study, 30.0, within=1e-7)[1]
    payment = 7500 * 0.01 / (1 - 1.01**-24)
    assert frame.volume == pytest.approx((STAFF / 4 + 30 * payment) / BROUGHT, abs=2e-7)
    assert not frame.stays


@laws(8)
@given(SMALL, st.floats(0.5, 3.0))
def test_law_cover_is_at_the_level_there_and_below_it_just_before(study, level):
    for found in cover_volumes(study, level, definition=BEFORE, within=1e-5):
        if found.reason is not VolumeReason.FOUND:
            continue
        near = appraise(study, {"levers.demand": [found.volume - 1e-5, found.volume]})
        cover = lender_view_of(near.outcomes[found.key], BEFORE).lowest_year.ratio
        assert cover[1] >= level
        assert cover[0] <= level + 1e-9


def test_all_alternatives_of_the_demo_are_narrowed_together():
    study = read_study(data_folder() / "studies" / "quenlow.toml")
    together = cover_volumes(study, 1.25, within=1e-4)
    for found in together[1:]:
        volumes = [found.volume - 1e-4, found.volume]
        near = appraise(study, {"levers.demand": volumes}).outcomes[found.key]
        below, above = lender_view_of(near).lowest_year.ratio
        assert below < 1.25 <= above


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"low": 0.0}, "low: 0.0 must be above 0 and below high, 3"),
        ({"low": 4.0}, "below high"),
        ({"within": 0.0}, "within: 0.0 must be above 0"),
        ({"level": np.nan}, "level.*must be a finite number"),
    ],
)
def test_refuses_a_range_that_is_none(change, words):
    with pytest.raises(InputError, match=words):
        cover_volumes(shop(), **change)
