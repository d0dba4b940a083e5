"""Break-evens: against closed forms by hand and a root finder, and why there is none."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from hand_shop import hand_study
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import brentq
from strategies import Size, laws, studies

from capex.decision.appraise import appraise
from capex.decision.break_even import BreakEvenReason, break_evens
from capex.decision.break_even_table import break_even_table, closest_rival
from capex.errors import InputError
from capex.study import data_folder, read_study

SMALL = studies(Size(jobs=2, frames=1, years=2))
# A frame for 10,000, worth 40 % after the three years, takes the place of a printer and a cutter
# that are sold for 3,000 and 2,000. No tax; everything else costs and brings the same.
SWAP = [
    {"machine": "frame"},
    {"machine": "printer", "owned": True, "sold_in_month": 0, "sale_proceeds": 3000},
    {"machine": "cutter", "owned": True, "sold_in_month": 0, "sale_proceeds": 2000},
    {"machine": "laminator", "owned": True},
]
FRAME = [{"machine": "frame"}, {"machine": "laminator", "owned": True}]
THREE_YEARS = 1.1**-3
GAIN = 5000 - 10000 * (1 - 0.4 * THREE_YEARS)
MONTHLY = sum(1.1 ** (-month / 12) for month in range(1, 37)) / 12


def swap(**changes):
    return hand_study(**({"alternatives__frame__machines": SWAP} | changes))


@pytest.fixture(scope="module")
def demo():
    return read_study(data_folder() / "studies" / "quenlow.toml")


# Closed forms


@pytest.mark.parametrize(
    ("path", "expected", "rises"),
    [
        ("machines.frame.price", 5000 / (1 - 0.4 * THREE_YEARS), False),
        ("levers.machine_price", 0.5 / (1 - 0.4 * THREE_YEARS), False),
        ("machines.frame.resale_by_year.2", 0.5 / THREE_YEARS, True),
        ("alternatives.frame.machines.1.sale_proceeds", 3000 - GAIN, True),
    ],
)
def test_against_the_closed_form_of_an_input_that_enters_in_proportion(path, expected, rises):
    (found,) = break_evens(swap(), path)
    assert found.reason is BreakEvenReason.FOUND
    assert found.value == pytest.approx(expected, rel=1e-9, abs=1e-6)
    assert found.changes[0].rises == rises
    assert found.jumps == (False,)
    assert found.difference == pytest.approx(GAIN)
    assert found.distance == pytest.approx(expected / found.today - 1)


def test_against_the_closed_form_of_a_yearly_cost():
    """Service is paid at the end of every month; the keep alternative has none to pay."""
    study = swap(alternatives__frame__machines=[SWAP[0] | {"price": 4000}, *SWAP[1:]])
    gain = 5000 - 4000 + 4000 * 0.4 * THREE_YEARS
    (found,) = break_evens(study, "machines.frame.service", low=0.0, high=9000.0)
    assert found.value == pytest.approx(gain / MONTHLY, abs=1e-6)
    assert found.unit == "USD/year"
    assert found.distance is None  # today's value is 0
    assert found.reach.words == "as asked"


def test_units_are_the_canonical_ones_by_name():
    study = swap()
    units = {
        "shop.people.wage": "USD/s",
        "machines.frame.printing.carriage_speed": "m/s",
        "levers.demand": "",
        "money.horizon": "month",
    }
    for path, unit in units.items():
        assert break_evens(study, path)[0].unit == unit


# Against a root finder that drives single appraisals


@pytest.mark.parametrize(
    ("path", "pair"),
    [
        ("levers.demand", ("all_in_one", "separate")),
        ("levers.growth_shift", ("separate", "all_in_one")),
        ("machines.mid_all_in_one.printing.head_price", ("all_in_one", "separate")),
        ("inks.solvent.laid_down", ("all_in_one", "separate")),
        ("money.escalation.materials", ("all_in_one", "separate")),
        ("machines.mid_roll_printer.printing.head_life", ("staged", "separate")),
        ("shop.handling.printing_spoil", ("all_in_one", "separate")),
        ("shop.hours.hours_per_day", ("all_in_one", "separate")),
    ],
)
def test_against_brentq_on_single_appraisals(demo, path, pair):
    (found,) = break_evens(demo, path, [pair])
    one, other = (list(demo.alternatives).index(key) for key in pair)

    def difference(value):
        gains = appraise(demo, {path: value}).net_present_value[0]
        return gains[one] - gains[other]

    width = found.reach.high - found.reach.low
    assert found.values
    for change in found.changes:
        ends = change.low - 1e-3 * width, change.high + 1e-3 * width
        reference = brentq(difference, *ends, xtol=1e-12 * width)
        assert change.value == pytest.approx(reference, abs=2e-9 * width)


# Laws


@laws(10)
@given(
    SMALL,
    st.sampled_from(
        ["levers.demand", "levers.price", "levers.cut_speed", "levers.machine_price",
         "shop.people.wage", "money.discount_rate", "levers.print_rate"]
    ),
)  # fmt: skip
def test_law_the_sign_changes_within_each_bracket_and_nowhere_seen_outside(study, path):
    pairs = [(key, other) for key in study.alternatives for other in study.alternatives
             if key < other]  # fmt: skip
    places = {key: place for place, key in enumerate(study.alternatives)}
    for found in break_evens(study, path, pairs):
        one, other = places[found.alternative], places[found.against]

        def difference(values, one=one, other=other):
            gains = appraise(study, {path: values}, keep="cash").net_present_value
            return gains[:, one] - gains[:, other]

        reach = found.reach
        for change, jump in zip(found.changes, found.jumps, strict=True):
            assert reach.low <= change.low <= change.value <= change.high <= reach.high
            assert change.high - change.low <= 1e-9 * (reach.high - reach.low) * (1 + 1e-6)
            before, at, after = difference([change.low, change.value, change.high])
            assert before * after <= 0
            if not jump:
                assert abs(at) <= change.step + 1e-6
        edges = [reach.low, *(c.value for c in found.changes), reach.high]
        middles = [(a + b) / 2 for a, b in pairwise(edges)]
        signs = np.sign(np.round(difference(middles), 6))
        if found.reason is BreakEvenReason.FOUND and len(found.changes) == 1:
            assert signs[0] * signs[1] <= 0
        if found.reason is BreakEvenReason.ALWAYS:
            assert (signs >= 0).all()
        if found.reason in {BreakEvenReason.NEVER, BreakEvenReason.CAPACITY}:
            assert (signs <= 0).all()


@laws(10)
@given(SMALL)
def test_law_dearer_machines_turn_a_choice_once_at_most(study):
    """Without tax a price only takes away, less what the resale brings back."""
    for found in break_evens(study, "levers.machine_price", low=0.01, high=50.0):
        assert len(found.changes) <= 1
        assert not any(change.rises for change in found.changes)


@laws(6)
@given(SMALL, st.floats(0.5, 2.0))
def test_law_the_other_way_round_the_same_values_turn_the_other_way(study, demand):
    keys = list(study.alternatives)
    pairs = [(keys[0], keys[1]), (keys[1], keys[0])]
    one, other = break_evens(study, "levers.price", pairs, {"levers.demand": demand})
    assert one.values == pytest.approx(other.values)
    assert [c.rises for c in one.changes] == [not c.rises for c in other.changes]
    assert one.difference == -other.difference


# Whole numbers


def test_a_month_is_the_first_at_which_the_other_leads_seen_from_today(demo):
    (found,) = break_evens(demo, "money.horizon", [("all_in_one", "separate")])
    assert found.values == tuple(round(value) for value in found.values)
    now = np.sign(found.difference)
    for value, change in zip(found.values, found.changes, strict=True):
        assert change.high - change.low == 1
        gains = appraise(demo, {"money.horizon": value}).net_present_value[0]
        assert np.sign(gains[2] - gains[1]) == -now
    assert found.jumps == (True,) * len(found.values)


def test_a_month_below_todays_is_the_last_at_which_the_other_leads():
    """The resale falls in a straight line from 60 % to 50 %: more than half is lost in month 16."""
    (found,) = break_evens(swap(), "money.horizon", low=12.0, high=36.0)
    months = np.arange(12, 25)
    lost = 5000 - 10000 * (1 - (0.6 - 0.1 * (months - 12) / 12) * 1.1 ** (-months / 12))
    last = int(months[lost > 0][-1])
    assert found.values == (float(last),)
    assert found.distance == pytest.approx(last / 36 - 1)


# Jumps


def test_a_printer_too_narrow_for_two_pieces_side_by_side_turns_the_choice_in_a_jump():
    """Pieces are 0.5 m wide, so that one metre of width takes two and less takes one."""
    (found,) = break_evens(swap(), "machines.printer.printing.print_width")
    assert found.values == (pytest.approx(1.0, abs=1e-8),)
    assert found.jumps == (True,)


# Why there is none


def full(**changes):
    """A tenth of an hour a day: all machines are full, and the frame costs a fortune."""
    frame = [{"machine": "frame", "price": 10**6}, *SWAP[1:]]
    hours = {"shop__hours__hours_per_day": "0.1 h", "alternatives__frame__machines": frame}
    return hand_study(**(hours | changes))


def test_capacity_caps_what_more_orders_bring():
    for path in ("levers.demand", "jobs.plain.orders_per_month"):
        (found,) = break_evens(full(), path, low=0.5, high=200.0)
        assert found.reason is BreakEvenReason.CAPACITY
        assert found.value is None
        assert found.values == ()
        assert "capacity caps it" in found.reason.words


def test_a_shop_with_time_to_spare_is_not_capped():
    spare = full(shop__hours__hours_per_day="8 h", shop__after_purchase={"recovered_demand": 0.1})
    (found,) = break_evens(spare, "levers.demand")
    assert found.reason is BreakEvenReason.NEVER


def test_an_input_that_brings_no_orders_is_never_capped():
    (found,) = break_evens(full(), "alternatives.frame.machines.0.price", low=1e5, high=1e6)
    assert found.reason is BreakEvenReason.NEVER


@pytest.mark.parametrize(
    ("path", "reason"),
    [
        ("machines.frame.mass", BreakEvenReason.NO_EFFECT),
        ("machines.frame.service", BreakEvenReason.HELD),
        ("alternatives.frame.machines.0.training", BreakEvenReason.NEVER),
    ],
)
def test_every_other_reason_has_a_name(path, reason):
    study = swap(machines__frame__mass="100 kg")
    (found,) = break_evens(study, path)
    assert (found.reason, found.value, found.distance) == (reason, None, None)
    (turned,) = break_evens(study, path, [("keep", "frame")])
    expected = BreakEvenReason.ALWAYS if reason is BreakEvenReason.NEVER else reason
    assert turned.reason is expected
    assert turned.reason.words


def test_an_input_that_the_study_leaves_out_has_no_value_today():
    path = "alternatives.frame.machines.0.price"
    (found,) = break_evens(swap(), path)
    assert (found.today, found.distance) == (None, None)
    (own,) = break_evens(swap(), "machines.frame.price")
    # where no resale value of its own is stated, that too follows the price agreed
    assert found.difference == own.difference
    given_ = appraise(swap(), {path: found.value}).outcomes["frame"].gain[0]
    assert given_ == pytest.approx(0.0, abs=1e-4)


def test_two_alternatives_that_come_to_the_same_have_none():
    study = hand_study(alternatives__frame__machines=[
        {"machine": name, "owned": True} for name in ("printer", "cutter", "laminator")
    ])  # fmt: skip
    (found,) = break_evens(study, "levers.price")
    assert found.reason is BreakEvenReason.NO_EFFECT


@pytest.mark.parametrize(
    ("pairs", "path", "words"),
    [
        ([("frame", "frame")], "levers.demand", "against: 'frame' must be another"),
        ([("frame", "nix")], "levers.demand", "not one of the study"),
        (None, "levers.nix", "not known"),
    ],
)
def test_refuses_what_cannot_be_compared_or_moved(pairs, path, words):
    with pytest.raises(InputError, match=words):
        break_evens(swap(), path, pairs)


def test_an_end_asked_for_that_cannot_be_appraised_is_refused_by_name():
    with pytest.raises(InputError, match=r"usable_width.*greater than 0 m"):
        break_evens(swap(), "films.vinyl.roll_width", low=1e-4, high=1.0)


# The table


def test_law_the_table_holds_every_input_and_the_nearest_first():
    study = swap()
    table = break_even_table(study, "frame", "keep")
    late = {"shop.promises.cost_of_late_order", "shop.promises.price_lost_when_late"}
    assert {each.path for each in table} == {path for path, _ in study.quantities()} - late
    distances = [abs(each.distance) for each in table if each.distance is not None]
    assert distances == sorted(distances)
    assert all(each.distance is not None for each in table[: len(distances)])
    assert table[-1].reason in {BreakEvenReason.NO_EFFECT, BreakEvenReason.HELD}


def test_law_the_table_and_the_single_input_agree():
    study = swap()
    for each in break_even_table(study, "frame", "keep"):
        if each.reason is not BreakEvenReason.FOUND or len(each.changes) > 1:
            continue
        (alone,) = break_evens(study, each.path, [("frame", "keep")])
        assert (alone.reach, alone.today) == (each.reach, each.today)
        width = each.reach.high - each.reach.low
        if len(alone.changes) == 1:
            assert each.value == pytest.approx(alone.value, abs=2e-6 * width)
        assert any(abs(value - each.value) <= 2e-6 * width for value in alone.values)


def test_an_input_that_would_set_off_the_simulation_is_left_out():
    table = break_even_table(swap())
    assert not any("late" in each.path for each in table)


def test_the_closest_rival_is_the_best_of_the_others(demo):
    here = appraise(demo)
    ranked = sorted(here.outcomes, key=lambda key: -here.outcomes[key].gain[0])
    assert closest_rival(here) == (ranked[0], ranked[1])
    assert closest_rival(here, ranked[2]) == (ranked[2], ranked[0])
    assert closest_rival(here, None, ranked[0]) == (ranked[1], ranked[0])
    with pytest.raises(InputError, match="must be another alternative"):
        closest_rival(here, "keep", "keep")
