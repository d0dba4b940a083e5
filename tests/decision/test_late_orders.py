"""What late orders cost stands in the ledger as the simulated years say."""

from __future__ import annotations

import numpy as np
import pytest

from capex.decision.appraise import appraise
from capex.shopfloor.year.simulated_year import simulated_year
from capex.study import data_folder, read_study


@pytest.fixture(scope="module")
def short():
    demo = read_study(data_folder() / "studies" / "quenlow.toml")
    return demo.replaced({"money.horizon": 37.0, "shop.promises.lead_time": 1.0})


def test_law_the_line_is_late_orders_times_their_cost(short):
    costs = {"shop.promises.cost_of_late_order": 30.0, "shop.promises.price_lost_when_late": 0.1}
    outcome = appraise(short.replaced(costs)).outcomes["separate"]
    path = outcome.details
    line = path.ledger.line("late")[0, 1:]
    for year in (1, 3):
        late = simulated_year(short, "separate", year, seed=1).late_share
        for month in (12 * year - 12, 12 * year - 1):
            expected = 0.0
            for v, route in enumerate(path.routes.each):
                price = path.mix.price[0, route.job] * path.prices.sales[0, month]
                amount = 30.0 * path.prices.overheads[0, month] + 0.1 * price
                expected += path.output.made[0, v, month] * late[route.job] * amount
            assert line[month] == pytest.approx(-expected, rel=1e-9)
    assert (line < 0).any()


def test_law_being_late_costs_money_only_where_the_study_says_so(short):
    free = appraise(short)
    assert "late" not in {line.key for line in free.baseline.details.ledger.lines}
    dear = appraise(short, {"shop.promises.cost_of_late_order": [0.0, 10.0, 20.0]})
    for key, outcome in dear.outcomes.items():
        worth = outcome.net_present_value
        assert worth[0] == pytest.approx(free.outcomes[key].net_present_value[0], rel=1e-12)
        # every amount of cost counts alike, after tax
        assert worth[1] - worth[0] == pytest.approx(worth[2] - worth[1], rel=1e-9)
        assert np.all(np.diff(worth) <= 0)


def test_law_a_year_in_which_nothing_is_made_costs_nothing_for_being_late(short):
    delayed = short.replaced({"levers.delay": 12.0, "shop.promises.cost_of_late_order": 30.0})
    found = appraise(delayed).outcomes
    for key in ("separate", "all_in_one", "staged"):
        line = found[key].path.ledger.line("late")[0]
        assert (line[:13] == 0).all()
        assert (line[13:] < 0).any()
    assert (found["keep"].path.ledger.line("late")[0, 1:13] < 0).any()
