"""Deciding later: never worth less than nothing, nothing without uncertainty, a textbook case."""

from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp
from risk_rows import published

from capex.decision.appraise import appraise
from capex.decision.risk.chances import best_shares
from capex.decision.risk.draws import SETS, draw
from capex.decision.risk.freedom import staging_freedom, value_of_freedom
from capex.decision.staging import purchase_timing
from capex.errors import InputError
from capex.study import Study, StudyFile, data_folder, read_study

WORTHS = hnp.arrays(
    np.float64,
    st.tuples(st.integers(1, 3).map(lambda k: k * SETS), st.integers(1, 4)),
    elements=st.integers(-50, 50).map(float),
)


@pytest.fixture(scope="module")
def demo() -> Study:
    return read_study(data_folder() / "studies" / "quenlow.toml")


def test_published_a_factory_that_can_wait() -> None:
    """Build now: 600. Wait a year and build only if the price is high: 773; freedom is worth 173.

    Source dixit-pindyck-1994, chapter 2: printed 600, 773 and 173.
    """
    prices = np.tile([300.0, 100.0], SETS)
    now = (-1600 + 200 + prices / 0.1)[:, None]
    later = np.stack([(-1600 + prices + prices / 0.1) / 1.1, 0.0 * prices], axis=1)
    worth = value_of_freedom(later, now).value
    assert worth == pytest.approx(173, abs=0.5)
    assert worth + now.mean() == pytest.approx(773, abs=0.5)
    assert now.mean() == pytest.approx(600)
    assert value_of_freedom(later, now + 173).value == pytest.approx(0.0, abs=0.5)
    assert value_of_freedom(later, now + 200).value == 0.0  # more now than waiting brings


@pytest.mark.parametrize(("inputs", "expected", "tolerance"), published("freedom"))
def test_published_freedom_to_decide_later(
    inputs: dict[str, Any], expected: float, tolerance: float
) -> None:
    net = np.array(inputs["payoffs"], dtype=np.float64) - inputs["cost"]
    worth = net / (1 + inputs["rate"]) ** inputs["years"]
    worths = np.tile(np.stack([worth, np.zeros(2)], axis=1), (SETS, 1))
    assert value_of_freedom(worths).value == pytest.approx(expected, abs=tolerance)


@given(WORTHS)
def test_law_freedom_is_never_worth_less_than_nothing(worths: Any) -> None:
    assert value_of_freedom(worths).value >= 0.0


@given(WORTHS)
def test_law_freedom_to_do_what_is_best_anyway_is_worth_nothing(worths: Any) -> None:
    ahead = np.concatenate([worths, worths.max(axis=1, keepdims=True) + 1.0], axis=1)
    assert value_of_freedom(ahead).value == 0.0


def test_law_without_uncertainty_freedom_is_worth_nothing(demo: Study) -> None:
    held = {path: q.likely for path, q in demo.quantities() if q.low != q.high}
    found = staging_freedom(demo, draw(demo, 32, held=held), "staged", held=held)
    assert found.worth.value == 0.0
    months = [month for month in found.months if month is not None]
    assert months[0] == 0
    timing = purchase_timing(demo, "staged", months=months, scenario=held)
    assert found.fixed == timing.best_month


CUTTER = "alternatives.staged.machines.1"


def changed(inputs: dict[str, Any]) -> Study:
    return StudyFile.read(data_folder() / "studies" / "quenlow.toml").changed(inputs).study


def without_cutter(study: Study) -> Study:
    choice = study.alternatives["staged"]
    less = choice.model_copy(update={"machines": (choice.machines[0], *choice.machines[2:])})
    return study.model_copy(update={"alternatives": {**study.alternatives, "staged": less}})


@pytest.mark.parametrize("price", [2500, 20000])
def test_against_single_appraisals(price: float) -> None:
    """Every option in every draw worked out alone, in a shop where freedom is worth something.

    At 2,500 buying today is best of all that can be chosen today, at 20,000 a later month.
    """
    study = changed({
        "levers.demand": {"low": 0.6, "likely": 1.2, "high": 3},
        "machines.mid_contour_cutter.price": price,
    })  # fmt: skip
    draws = draw(study, 32)
    found = staging_freedom(study, draws, "staged", months=[24, 60])
    assert found.months == (0, 24, 36, 60, None)
    assert found.later == (24, 36, 60, None)
    less, table = without_cutter(study), np.empty((32, 5))
    for row in range(32):
        values = {path: v[row] for path, v in draws.scenarios().items()}
        for k, month in enumerate((0.0, 24.0, 36.0, 60.0)):
            one = appraise(study, {**values, f"{CUTTER}.month": month})
            table[row, k] = one.outcomes["staged"].net_present_value[0]
        table[row, 4] = appraise(less, values).outcomes["staged"].net_present_value[0]
    average = [sum(table[:, k]) / 32 for k in range(5)]
    assert found.fixed == found.months[average.index(max(average))]
    assert (found.fixed == 0) == (price == 2500)
    waiting = sum(max(row[1:]) for row in table) / 32
    assert found.worth.value == pytest.approx(waiting - max(average), rel=1e-6)
    assert found.worth.value > 1000.0
    for k, share in enumerate(found.shares):
        wins = sum(list(row).index(max(row)) == k for row in table) / 32
        assert share.value == pytest.approx(wins)
        assert share.error > 0.0


def test_where_buying_today_is_better_than_knowing_more_freedom_is_worth_nothing() -> None:
    study = changed({
        "levers.demand": {"low": 0.8, "likely": 1.8, "high": 4},
        "machines.mid_contour_cutter.price": 2500,
    })  # fmt: skip
    found = staging_freedom(study, draw(study, 32), "staged")
    assert found.fixed == 0
    assert found.worth.value == 0.0


def test_the_studys_own_month_is_one_of_the_options() -> None:
    study = changed({f"{CUTTER}.month": 7})
    found = staging_freedom(study, draw(study, 32), "staged", months=[12])
    assert (found.months, found.later, found.own) == ((0, 7, 12, None), (12, None), 7)


def test_a_machine_that_goes_again_is_bought_no_later() -> None:
    study = changed({f"{CUTTER}.sold_in_month": 60})
    found = staging_freedom(study, draw(study, 32), "staged")
    assert found.later == (12, 24, 36, 48, 60, None)
    with pytest.raises(InputError, match=rf"must be 1 to 60, no later than {CUTTER}.sold_in"):
        staging_freedom(study, draw(study, 32), "staged", months=[61])


def test_an_uncertain_horizon_leaves_the_months_before_the_shortest_of_them() -> None:
    """Never is no purchase in the longer draws either."""
    spread = {"low": 60, "likely": 84, "high": 120}
    demand = {"low": 0.8, "likely": 1.8, "high": 4}
    study = changed({"money.horizon": spread, "levers.demand": demand})
    draws = draw(study, 32)
    found = staging_freedom(study, draws, "staged")
    horizons = draws.scenarios()["money.horizon"]
    assert horizons.min() < 72 < 86 < horizons.max()
    assert found.later == (12, 24, 36, 48, 60, None)
    ways = [{**draws.scenarios(), f"{CUTTER}.month": float(month)} for month in found.months[:-1]]
    each = [appraise(study, way).outcomes["staged"].net_present_value for way in ways]
    less = appraise(without_cutter(study), draws.scenarios()).outcomes["staged"]
    table = np.stack([*each, less.net_present_value], axis=1)
    assert found.shares == best_shares(table)


def test_a_load_gives_way_to_the_months() -> None:
    load = {"low": 0.8, "likely": 0.9, "high": 1.0}
    by_load = changed({f"{CUTTER}.month": 0, f"{CUTTER}.when_load_passes": load})
    found = staging_freedom(by_load, draw(by_load, 32), "staged", months=[24])
    assert (found.months, found.own) == ((0, 24, None), None)
    # the same points: only the load is drawn beside what the study draws anyway
    drawn = draw(by_load, 32)
    rest = {p: v for p, v in drawn.scenarios().items() if not p.endswith("when_load_passes")}
    dated = changed({f"{CUTTER}.month": 0})
    table = [appraise(dated, {**rest, f"{CUTTER}.month": m}).outcomes["staged"] for m in (0, 24.0)]
    never = appraise(without_cutter(dated), rest).outcomes["staged"]
    values = np.stack([one.net_present_value for one in (*table, never)], axis=1)
    assert found.shares == best_shares(values)
    assert found.fixed == found.months[int(values.mean(axis=0).argmax())]


def test_inputs_of_machines_behind_one_that_is_never_bought_keep_their_machine() -> None:
    """The list is shorter without it, the price drawn for the machine behind stays that one's."""
    behind = "alternatives.separate.machines.1"
    study = changed({
        f"{behind}.price": {"low": 10000, "likely": 20000, "high": 30000},
        "alternatives.separate.machines.0.month": 6,
    })  # fmt: skip
    draws = draw(study, 32)
    found = staging_freedom(study, draws, "separate", 0, months=[24])
    path = "alternatives.separate.machines.0.price"
    drawn = {p: v for p, v in draws.scenarios().items() if p != f"{behind}.price"}
    choice = study.alternatives["separate"]
    less = choice.model_copy(update={"machines": choice.machines[1:]})
    shorter = study.model_copy(update={"alternatives": {**study.alternatives, "separate": less}})
    never = appraise(shorter, {**drawn, path: draws.scenarios()[f"{behind}.price"]})
    month = "alternatives.separate.machines.0.month"
    bought = [appraise(study, {**draws.scenarios(), month: m}) for m in (0.0, 6.0, 24.0)]
    values = [one.outcomes["separate"].net_present_value for one in (*bought, never)]
    assert found.shares == best_shares(np.stack(values, axis=1))


def test_refuses_months_beyond_the_horizon(demo: Study) -> None:
    with pytest.raises(InputError, match="must be 1 to 83, before the horizon"):
        staging_freedom(demo, draw(demo, 32), "staged", months=[84])
