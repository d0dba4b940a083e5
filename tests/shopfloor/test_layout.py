"""Roll layout: enumeration of every grid, and laws."""

import itertools
import math
from fractions import Fraction

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from capex.errors import InputError
from capex.shopfloor.layout import roll_layout

# Millimetres as whole numbers, so that the enumeration can be exact.
sides = st.integers(20, 4000)
quantities = st.integers(1, 500)
rolls = st.integers(300, 2000)
gaps = st.integers(0, 40)
overlaps = st.integers(0, 50)


def enumerated(side, along, quantity, usable, gap, overlap, panels):
    """Return the shortest length over all grids that fit, by trying every count across."""
    panel = Fraction(side + (panels - 1) * overlap, panels)
    lengths = []
    across = 1
    while across * panel + (across - 1) * gap <= usable:
        rows = -(-quantity * panels // across)
        lengths.append(rows * along + (rows - 1) * gap)
        across += 1
    return min(lengths, default=None)


def shortest(width, height, quantity, usable, gap, overlap, may_panel):
    """Return the least length over both orientations, in the fewest panels that fit."""
    both = [(width, height), (height, width)]
    whole = [enumerated(*pair, quantity, usable, gap, overlap, 1) for pair in both]
    lengths = [length for length in whole if length is not None]
    if lengths or not may_panel:
        return min(lengths, default=None)
    for side, along in both:
        panels = 2
        while (length := enumerated(side, along, quantity, usable, gap, overlap, panels)) is None:
            panels += 1
        lengths.append(length)
    return min(lengths)


def laid_out(width, height, quantity, usable, gap, overlap, may_panel):
    return roll_layout(
        width / 1000,
        height / 1000,
        quantity,
        usable_width=usable / 1000,
        gap=gap / 1000,
        overlap=overlap / 1000,
        may_panel=may_panel,
    )


@given(sides, sides, quantities, rolls, gaps, overlaps, st.booleans())
def test_against_enumeration_of_every_grid(width, height, quantity, usable, gap, overlap, panel):
    layout = laid_out(width, height, quantity, usable, gap, overlap, panel)
    expected = shortest(width, height, quantity, usable, gap, overlap, panel)
    assert bool(layout.makeable) == (expected is not None)
    if expected is None:
        assert float(layout.film_area) == 0.0
    else:
        assert float(layout.printed_length) == pytest.approx(expected / 1000, rel=1e-9)


@given(sides, sides, quantities, rolls, gaps, overlaps, st.booleans())
def test_law_every_piece_has_its_place_inside_the_roll(
    width, height, quantity, usable, gap, overlap, panel
):
    layout = laid_out(width, height, quantity, usable, gap, overlap, panel)
    assume(bool(layout.makeable))
    places = float(layout.across * layout.rows)
    needed = quantity * float(layout.panels)
    assert needed <= places < needed + float(layout.across)
    assert float(layout.printed_width) <= usable / 1000 * (1 + 1e-9)
    area = width * height * quantity / 1e6
    assert float(layout.film_area) >= area * (1 - 1e-9)
    assert 0 <= float(layout.waste_share) < 1
    assert float(layout.film_area * (1 - layout.waste_share)) == pytest.approx(area)


@given(sides, sides, quantities, rolls, gaps, overlaps, st.booleans())
def test_law_swapping_the_sides_changes_only_the_orientation(
    width, height, quantity, usable, gap, overlap, panel
):
    one = laid_out(width, height, quantity, usable, gap, overlap, panel)
    other = laid_out(height, width, quantity, usable, gap, overlap, panel)
    assert float(one.film_length) == pytest.approx(float(other.film_length), rel=1e-9)
    assert bool(one.makeable) == bool(other.makeable)


@given(sides, sides, quantities, rolls, st.integers(0, 500), gaps, overlaps, st.booleans())
def test_law_a_wider_roll_is_never_used_longer(
    width, height, quantity, usable, more, gap, overlap, panel
):
    narrow = laid_out(width, height, quantity, usable, gap, overlap, panel)
    wide = laid_out(width, height, quantity, usable + more, gap, overlap, panel)
    assume(bool(narrow.makeable))
    assert bool(wide.makeable)
    assert float(wide.film_length) <= float(narrow.film_length) * (1 + 1e-9)


@pytest.mark.parametrize("usable", [0.1 + 0.2, 0.3, 0.3 * (1 - 1e-15)])
def test_law_a_piece_exactly_as_wide_as_the_roll_fits(usable):
    layout = roll_layout(0.3, 1.0, 2, usable_width=usable, gap=0.01)
    assert bool(layout.makeable)
    assert not bool(layout.rotated)
    three = roll_layout(0.1, 0.4, 6, usable_width=usable, gap=0.0)
    assert (float(three.across), float(three.rows)) == (3, 2)


def test_a_piece_too_wide_is_not_makeable_and_is_laid_out_nowhere():
    layout = roll_layout(2.4, 1.4, 5, usable_width=1.3, gap=0.01, overlap=0.02)
    assert not bool(layout.makeable)
    fields = (layout.panels, layout.across, layout.rows, layout.film_area, layout.waste_share)
    assert [float(field) for field in fields] == [0, 0, 0, 0, 0]


def test_margins_and_the_full_roll_width_count_as_film():
    layout = roll_layout(0.5, 0.5, 4, usable_width=1.0, gap=0.0, roll_width=1.1, end_margin=0.2)
    assert float(layout.printed_length) == 1.0
    assert float(layout.film_length) == pytest.approx(1.2)
    assert float(layout.film_area) == pytest.approx(1.32)
    assert float(layout.waste_share) == pytest.approx(1 - 1.0 / 1.32)


def test_scenarios_and_jobs_broadcast_and_agree_with_single_calls():
    usable = np.array([[0.7], [1.3], [1.55]])
    width, height = np.array([0.3, 1.3, 2.4]), np.array([0.2, 3.7, 1.6])
    may_panel = np.array([False, False, True])
    table = roll_layout(
        width, height, [40, 5, 2], usable_width=usable, gap=0.01, overlap=0.02, may_panel=may_panel
    )
    for scenario, job in itertools.product(range(3), range(3)):
        single = roll_layout(
            width[job],
            height[job],
            (40, 5, 2)[job],
            usable_width=usable[scenario, 0],
            gap=0.01,
            overlap=0.02,
            may_panel=may_panel[job],
        )
        for name in ("makeable", "rotated", "panels", "across", "rows", "film_area"):
            assert getattr(table, name).shape == (3, 3)
            assert getattr(table, name)[scenario, job] == getattr(single, name)


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"piece_width": 0.0}, "piece_width"),
        ({"quantity": 0}, "quantity"),
        ({"gap": -0.01}, "gap"),
        ({"usable_width": math.nan}, "usable_width"),
        ({"overlap": 1.3, "may_panel": True}, "overlap"),
        ({"roll_width": 1.2}, "roll_width"),
    ],
)
def test_refuses_values_outside_their_bounds(changes, field):
    arguments = {"piece_width": 0.3, "piece_height": 0.2, "quantity": 10}
    arguments |= {"usable_width": 1.3, "gap": 0.01} | changes
    with pytest.raises(InputError) as caught:
        roll_layout(**arguments)
    assert caught.value.field == field
