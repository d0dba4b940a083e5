"""The decision over draws: the path itself on every draw, whatever the block."""

import gc
from dataclasses import replace

import numpy as np
import pytest

from capex.decision.appraise import appraise, held_lateness
from capex.decision.blocks import BLOCK
from capex.decision.cover import lender_view_of
from capex.decision.outcome import Outcome
from capex.decision.risk.draws import draw
from capex.decision.risk.simulation import Simulation, run, simulate
from capex.errors import InputError
from capex.finance.ledger import Ledger
from capex.study import Study, StudyFile, data_folder

STUDY = data_folder() / "studies" / "quenlow.toml"
DRAWS = 512


@pytest.fixture(scope="module")
def file() -> StudyFile:
    return StudyFile.read(STUDY)


@pytest.fixture(scope="module")
def simulation(file: StudyFile) -> Simulation:
    return simulate(file.study, DRAWS)


def test_against_single_appraisals(simulation: Simulation) -> None:
    """Every figure of a draw is that of the draw appraised alone, to the last bit."""
    assert DRAWS >= 2 * BLOCK  # so that blocks are joined
    for row in range(0, DRAWS, 73):
        values = {path: v[row] for path, v in simulation.draws.scenarios().items()}
        outcomes = list(appraise(simulation.study, values).outcomes.values())
        for k, outcome in enumerate(outcomes):
            assert simulation.gains[row, k] == outcome.gain[0]
            assert simulation.payback[row, k] == outcome.payback_period[0]
            assert simulation.worst_cash[row, k] == outcome.worst_month_end_cash[0]
            cover = lender_view_of(outcome).lowest_year.ratio[0]
            assert simulation.least_cover[row, k] == (np.inf if np.isnan(cover) else cover)


def test_law_two_halves_of_the_draws_give_the_two_halves_of_the_figures(
    simulation: Simulation, file: StudyFile
) -> None:
    """Cut off the blocks, at 200 of 512: all four figures of every draw, to the last bit."""
    whole = simulation.draws
    found = []
    for some in (slice(0, 200), slice(200, DRAWS)):
        part = replace(whole, ranks=whole.ranks[some], values=whole.values[some])
        *_, last = run(file.study, part)
        assert isinstance(last, Simulation)
        found.append(last)
    for name in ("gains", "payback", "worst_cash", "least_cover"):
        joined = np.concatenate([getattr(one, name) for one in found])
        assert joined.shape == (DRAWS, len(simulation.keys))
        assert np.array_equal(joined, getattr(simulation, name))


def test_law_the_same_seed_gives_the_same_figures(simulation: Simulation, file: StudyFile) -> None:
    again = simulate(file.study, DRAWS)
    assert np.array_equal(again.gains, simulation.gains)
    other = simulate(file.study, DRAWS, seed=77)
    assert other.draws.seed == 77
    assert not np.array_equal(other.gains, simulation.gains)


def test_law_identical_alternatives_differ_by_exactly_nothing(file: StudyFile) -> None:
    twin = file.study.alternatives["all_in_one"].model_copy(update={"name": "Twin"})
    study = file.study.model_copy(
        update={"alternatives": {**file.study.alternatives, "twin": twin}}
    )
    gains = simulate(study, 64).gains
    keys = list(study.alternatives)
    one, other = keys.index("all_in_one"), keys.index("twin")
    assert np.array_equal(gains[:, one], gains[:, other])


def spread_of_nothing(file: StudyFile, path: str) -> Study:
    """Return the study with one more input whose low, likely and high are the same."""
    value = file.study.quantity(path).text
    return file.changed({path: {"low": value, "likely": value, "high": value}}).study


def test_law_a_spread_of_nothing_changes_nothing(file: StudyFile, simulation: Simulation) -> None:
    path = "money.opening_cash"
    study = spread_of_nothing(file, path)
    assert study.quantity(path).low == study.quantity(path).high
    assert np.array_equal(simulate(study, DRAWS).gains, simulation.gains)


def test_law_without_uncertain_inputs_every_draw_is_the_appraisal(file: StudyFile) -> None:
    held = {p: q.likely for p, q in file.study.quantities() if q.low != q.high}
    found = simulate(file.study, 32, held=held)
    assert found.draws.values.shape == (32, 0)
    assert np.array_equal(
        found.gains, np.tile(appraise(file.study, held).net_present_value, (32, 1))
    )


def test_held_inputs_are_held(file: StudyFile) -> None:
    found = simulate(file.study, 64, held={"levers.demand": 1.3})
    assert "levers.demand" not in found.draws.scenarios()
    assert found.study.levers.demand.likely == 1.3


def test_shares_of_late_orders_are_those_of_the_study(file: StudyFile) -> None:
    """A cost of late orders is in every draw, and without one the figures are as ever."""
    late = file.changed({"shop.promises.cost_of_late_order": "40 USD"}).study
    with_cost, without = simulate(late, 32), simulate(file.study, 32)
    values = {path: v[5] for path, v in with_cost.draws.scenarios().items()}
    alone = appraise(late, values, lateness=held_lateness(late))
    assert np.array_equal(with_cost.gains[5], alone.net_present_value[0])
    assert not np.array_equal(with_cost.gains, without.gains)


def test_a_run_says_how_far_it_is_and_can_be_left(file: StudyFile) -> None:
    steps = run(file.study, draw(file.study, 4 * BLOCK))
    assert [next(steps) for _ in range(2)] == [0.25, 0.5]


def test_refuses_a_held_value_out_of_bounds(file: StudyFile) -> None:
    with pytest.raises(InputError, match=r"levers\.demand"):
        simulate(file.study, 32, held={"levers.demand": -1.0})


def test_no_block_of_a_run_stays_in_memory(file: StudyFile) -> None:
    """Without the collector of cycles, so that what goes goes by itself."""

    def there() -> list[object]:
        return [one for one in gc.get_objects() if isinstance(one, (Outcome, Ledger))]

    steps = run(file.study, draw(file.study, 2 * BLOCK))
    gc.collect()
    gc.disable()
    try:
        of_other_tests = there()
        known = {id(one) for one in of_other_tests}
        assert [next(steps) for _ in range(2)] == [0.5, 1.0]
        held = [one for one in there() if id(one) not in known]
    finally:
        gc.enable()
    assert held == []


def test_against_single_appraisals_inputs_of_orders_and_offers_in_every_shape(
    file: StudyFile,
) -> None:
    """Any field with a low and a high is drawn, and reaches the figures as when replaced alone."""
    spreads = {
        "jobs.banners.orders_per_month": {
            "low": 30, "likely": 34, "high": 38, "distribution": "normal",
        },
        "jobs.wall_graphics.price": {
            "low": 500, "likely": 560, "high": 600, "distribution": "triangular",
        },
        "jobs.floor_graphics.price": {
            "low": 248, "likely": 310, "high": 387.5, "distribution": "lognormal",
        },
        "offers.all_in_one_loan.loan.annual_rate": {
            "low": "8 %", "likely": "8.6 %", "high": "11 %", "chances": [0.2, 0.5, 0.3],
        },
        "offers.all_in_one_cash.price": {"low": 20000, "likely": 21800, "high": 23000},
    }  # fmt: skip
    study = file.changed({
        **spreads,
        "alternatives.all_in_one.machines.0.offer": "all_in_one_cash",
        "alternatives.all_in_one.machines.2.sale_proceeds": 0,
        "alternatives.staged.machines.0.offer": "all_in_one_loan",
    }).study  # fmt: skip
    held = {one.path: one.quantity.likely for one in draw(study, 32).inputs}
    for path in spreads:
        others = {known: value for known, value in held.items() if known != path}
        found = simulate(study, 32, held=others)
        (drawn,) = found.draws.inputs
        assert drawn.path == path
        assert np.ptp(found.draws.values) > 0.0
        alone = appraise(study, {**others, path: found.draws.values[5, 0]})
        assert np.array_equal(found.gains[5], alone.net_present_value[0])
        # what financing costs shows in the cover of the choice that borrows, never in a gain
        staged = found.keys.index("staged")
        figures = found.least_cover[:, [staged]] if "loan" in path else found.gains
        assert np.ptp(figures, axis=0).max() > 0.0
