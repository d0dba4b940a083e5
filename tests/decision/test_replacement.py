"""When a machine costs least a year and when it should go: published, and by trying every age."""

import numpy as np
import numpy_financial as npf
import pytest
from decision_rows import matches, published_decisions
from hand_shop import hand_study
from hypothesis import given
from hypothesis import strategies as st

from capex.decision.replacement import (
    ReplacementReason,
    economic_life,
    machine_life,
    machine_replacement,
    replacement,
)
from capex.errors import InputError

# The fork-lift truck of the published rows, and the old one that it may replace.
NEW = (20_000, [2000, 3000, 4620, 8000, 12_000], [15_000, 11_250, 8500, 6500, 4750], 0.1)
OLD = (5000, [5500, 6600, 7800, 8800], [4000, 3000, 2000, 1000], 0.1)

MONEY = st.floats(0.0, 1e5)
RATE = st.integers(0, 4000).map(lambda points: points / 10_000)


@st.composite
def costs(draw):
    years = draw(st.integers(1, 10))
    each = st.lists(MONEY, min_size=years, max_size=years)
    return draw(MONEY), draw(each), draw(each), draw(RATE)


@published_decisions("economic_life")
def test_published_costs_of_each_age(row):
    found = getattr(economic_life(*NEW), row["inputs"]["figure"])
    assert matches(row, found[: row["inputs"]["years"]])
    assert economic_life(*NEW).age == 3
    assert not economic_life(*NEW).still_falling


@published_decisions("replacement")
def test_published_years_to_keep_the_old_one(row):
    found = replacement(*OLD, economic_life(*NEW).cost)
    assert matches(row, getattr(found, row["inputs"]["figure"]))
    assert found.reason == ReplacementReason.LATER


@published_decisions("life")
def test_published_optimum_of_a_dynamic_programme(row):
    """Income at the start of each year is a cost below 0 at its end; like follows like for ever."""
    given = row["inputs"]
    rate = 1.0 / given["discount"] - 1.0
    upkeep = -(1.0 + rate) * np.array(given["income"])
    found = economic_life(given["price"], upkeep, np.zeros_like(upkeep), rate)
    assert matches(row, {"age": found.age, "worth": -found.cost / rate}[given["figure"]])


@published_decisions("level")
def test_published_level_costs(row):
    given = row["inputs"]
    found = economic_life(given["price"], given["upkeep"], given["resale"], given["rate"])
    level = found.equivalent_annual_cost
    assert matches(row, level[: given["ages"]] if given["ages"] > 0 else level[-1])


@published_decisions("keep")
def test_published_years_before_a_successor_takes_over(row):
    given = row["inputs"]
    costs = given["worth"], given["upkeep"], given["resale"], given["rate"]
    assert matches(row, replacement(*costs, given["successor"]).years)


def _least_cost_from(old, new, rate, years):
    """Present cost of the best plan, by backward induction over the age of what is there.

    Each year what is there is kept or sold, the old one for the first of the new ones, a new one
    for its like; what is left at the end is sold. Which one is how old is all the state there is.
    """
    worth, upkeep, resale = old
    price, care, fetches = new
    last, oldest = len(upkeep), len(care)
    left_old = [-value for value in (worth, *resale)]
    left_new = [-value for value in (price, *fetches)]
    for _ in range(years):
        fresh = price + (care[0] + left_new[1]) / (1 + rate)
        keep_new = [
            (care[age] + left_new[age + 1]) / (1 + rate) if age < oldest else np.inf
            for age in range(oldest + 1)
        ]
        keep_old = [
            (upkeep[k] + left_old[k + 1]) / (1 + rate) if k < last else np.inf
            for k in range(last + 1)
        ]
        sold_new, sold_old = (price, *fetches), (worth, *resale)
        left_new = [min(keep_new[age], fresh - sold_new[age]) for age in range(oldest + 1)]
        left_old = [min(keep_old[k], fresh - sold_old[k]) for k in range(last + 1)]
    return left_old[0], keep_old[0], fresh - worth


@given(costs(), costs().filter(lambda new: new[3] > 0.02))
def test_against_backward_induction_over_every_plan(old, new):
    """What keeping saves, the successors' own ages being free: nothing is taken from the kernel."""
    (worth, upkeep, resale, _), (price, care, fetches, rate) = old, new
    life = economic_life(price, care, fetches, rate)
    found = replacement(worth, upkeep, resale, rate, life.cost)
    years = int(np.ceil(30.0 / np.log1p(rate)))  # what comes after is worth e^-30 of it
    best, kept, now = _least_cost_from((worth, upkeep, resale), (price, care, fetches), rate, years)
    scale = 1e-8 * (abs(best) + abs(now) + float(life.cost) / rate + 1.0)
    assert float(found.saving) == pytest.approx(now - best, abs=scale)
    assert now == pytest.approx(float(life.cost) / rate - worth, abs=scale)
    if abs(kept - now) > 2 * scale:
        assert (found.years > 0) == (best < now - scale)


@given(costs())
def test_against_payments_worth_the_same(costs):
    """Level cost of each age against the payment that numpy-financial finds for its net cost."""
    price, upkeep, resale, rate = costs
    found = economic_life(*costs).equivalent_annual_cost
    for age in range(1, len(upkeep) + 1):
        flows = [price, *upkeep[:age]]
        flows[age] -= resale[age - 1]
        worth = sum(flow / (1 + rate) ** year for year, flow in enumerate(flows))
        payment = -npf.pmt(rate, age, worth)
        assert found[age - 1] == pytest.approx(payment, rel=1e-9, abs=1e-6)


@given(costs(), MONEY)
def test_against_every_plan_followed_for_a_century(costs, cost):
    """Present cost of k more years, then the successor: the best k by trying each."""
    worth, upkeep, resale, rate = costs
    last = 100

    def present(kept):
        flows = np.zeros(last + 1)
        flows[0] = worth if kept else 0.0  # what is given up by not selling today
        flows[1 : kept + 1] += upkeep[:kept]
        if kept:
            flows[kept] -= resale[kept - 1]
        flows[kept + 1 :] += cost
        return (flows / (1 + rate) ** np.arange(last + 1)).sum()

    found = replacement(worth, upkeep, resale, rate, cost)
    every = [present(kept) for kept in range(len(upkeep) + 1)]
    scale = 1e-9 * (np.abs(every).max() + 1)
    assert every[int(found.years)] == pytest.approx(min(every), abs=scale)
    assert float(found.saving) == pytest.approx(every[0] - min(every), abs=scale)


@given(costs())
def test_law_the_level_cost_is_a_mean_of_the_costs_of_its_years(costs):
    found = economic_life(*costs)
    low = np.minimum.accumulate(found.marginal_cost)
    high = np.maximum.accumulate(found.marginal_cost)
    slack = 1e-9 * (np.abs(found.marginal_cost).max() + 1)
    assert (found.equivalent_annual_cost >= low - slack).all()
    assert (found.equivalent_annual_cost <= high + slack).all()


@given(costs(), MONEY, st.floats(1.0, 1e4))
def test_law_a_dearer_successor_is_never_taken_sooner(costs, cost, more):
    near, far = (replacement(*costs, c).years for c in (cost, cost + more))
    assert far >= near


@given(costs(), st.floats(1.0, 1e4))
def test_law_upkeep_that_does_not_rise_adds_itself_to_every_age(costs, more):
    price, upkeep, resale, rate = costs
    plain = economic_life(*costs)
    dearer = economic_life(price, np.add(upkeep, more), resale, rate)
    rise = dearer.equivalent_annual_cost - plain.equivalent_annual_cost
    np.testing.assert_allclose(rise, more, rtol=1e-6)


def test_reasons():
    now = replacement(*OLD, 6999.0)
    assert (now.reason, now.years, now.saving) == (ReplacementReason.NOW, 0, 0.0)
    far = replacement(*OLD, 20_000.0)
    assert (far.reason, far.years) == (ReplacementReason.NOT_IN_SIGHT, 4)
    assert "all the years" in ReplacementReason.NOT_IN_SIGHT.words
    assert "now" in ReplacementReason.NOW.words


def test_a_dear_year_before_cheap_ones_is_borne():
    """An overhaul in the next year, then years that cost little: the first year alone misleads."""
    found = replacement(1000, [3000, 100, 100, 100], [1000, 1000, 1000, 1000], 0.0, 2000)
    assert found.marginal_cost[0] > 2000
    assert found.years == 4


def test_over_scenarios():
    found = economic_life([20_000, 30_000], NEW[1], NEW[2], [0.1, 0.0])
    assert found.marginal_cost.shape == (2, 5)
    np.testing.assert_allclose(
        found.equivalent_annual_cost[0], economic_life(*NEW).equivalent_annual_cost
    )
    assert found.equivalent_annual_cost[1, 0] == 30_000 + 2000 - 15_000
    # Without interest: (30,000 + 17,620 − 6,500)/4 = 10,280 is the least.
    assert found.age.tolist() == [3, 4]
    np.testing.assert_allclose(found.cost[1], 10_280)
    assert economic_life(30_000, NEW[1][:4], NEW[2][:4], [0.1, 0.0]).still_falling.all()


def shop():
    return hand_study(
        machines__frame__service="1000 USD/year",
        shop__premises__insurance=0.02,
        money__escalation={"overheads": 0.05},
    )


def test_against_the_life_of_a_machine_by_hand():
    """Resale 0.6, 0.5, 0.4 of 10,000; service and insurance rise by 5 %, service by 20 % more."""
    found = machine_life(shop(), "frame", upkeep_growth=0.2, years=3)
    upkeep = [1000 + 200, 1000 * 1.2 * 1.05 + 200 * 1.05, (1000 * 1.44 + 200) * 1.05**2]
    by_hand = [11000 - 6000 + upkeep[0], 6600 - 5000 + upkeep[1], 5500 - 4000 + upkeep[2]]
    np.testing.assert_allclose(found.marginal_cost, [by_hand], rtol=1e-12)


def test_against_the_old_machine_by_hand():
    """A year old it fetches 6,000, and 5/6 and 4/6 of that after; then the last ratio goes on."""
    found = machine_replacement(
        shop(), "frame", "frame", age=1.0, upkeep_growth=0.2, worth_now=3000, years=2
    )
    upkeep = [1000 + 200, (1000 * 1.2 + 200) * 1.05]  # insured on its price, as in the ledger
    by_hand = [3300 - 2500 + upkeep[0], 2750 - 2000 + upkeep[1]]
    np.testing.assert_allclose(found.marginal_cost, [by_hand], rtol=1e-12)
    new = machine_life(shop(), "frame", upkeep_growth=0.2, years=2)
    np.testing.assert_array_equal(found.successor_cost, new.cost)
    usual = machine_replacement(shop(), "frame", "frame", age=1.0, upkeep_growth=0.2, years=2)
    assert usual.marginal_cost[0, 0] == pytest.approx(6600 - 5000 + 1000 + 200)


LAMINATOR = {"machine": "laminator", "owned": True}


def test_freight_and_training_of_the_successor_count():
    """Another 800 paid with the new one: its first year costs as much more, and 10 % on it."""
    machines = [
        {"machine": "frame", "month": 0, "freight_and_installation": 500,
         "training": 300}, LAMINATOR,
    ]  # fmt: skip
    paid = hand_study(alternatives__frame__machines=machines)
    bare = hand_study(alternatives__frame__machines=[{"machine": "frame", "month": 0}, LAMINATOR])
    dear, cheap = (machine_life(one, "frame", upkeep_growth=0.0, years=1) for one in (paid, bare))
    assert dear.cost[0] - cheap.cost[0] == pytest.approx(800 * 1.1)


def test_the_scenario_counts():
    dear = machine_life(
        shop(), "frame", upkeep_growth=0.0, years=2, scenario={"levers.machine_price": 2.0}
    )
    assert dear.marginal_cost[0, 0] == pytest.approx(22000 - 12000 + 1000 + 400)


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"upkeep_growth": -1.0}, "above -1"),
        ({"upkeep_growth": np.nan}, "above -1"),
        ({"years": 0}, "at least 1"),
        ({"age": -1.0}, "at least 0"),
        ({"worth_now": np.inf}, "at least 0"),
        ({"machine": "nothing"}, "known: printer"),
        ({"successor": "nothing"}, "known: printer"),
    ],
)
def test_bad_input_is_refused(changes, words):
    usual = {"machine": "frame", "successor": "frame", "age": 1.0, "upkeep_growth": 0.1}
    with pytest.raises(InputError, match=words):
        machine_replacement(shop(), **(usual | changes))


def test_lengths_must_agree():
    with pytest.raises(InputError, match="one value a year"):
        economic_life(1.0, [1.0, 2.0], [1.0], 0.1)
