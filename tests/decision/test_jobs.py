"""What is made elsewhere adds up, and every stage of a job belongs to its route."""

from __future__ import annotations

import numpy as np
import pytest

from capex.decision.appraise import appraise
from capex.decision.jobs import job_stages, jobs_made_elsewhere, yearly_contribution
from capex.errors import InputError
from capex.study import data_folder, read_study


@pytest.fixture(scope="module")
def demo():
    return read_study(data_folder() / "studies" / "quenlow.toml")


@pytest.mark.parametrize("demand", [0.5, 1.0, 2.0, 4.0])
def test_law_shares_made_here_and_elsewhere_add_up(demo, demand):
    for outcome in appraise(demo, {"levers.demand": demand}).outcomes.values():
        details = outcome.details
        elsewhere = dict.fromkeys(details.mix.keys, 0.0)
        for item in jobs_made_elsewhere(outcome):
            elsewhere[item.job] += item.share
        made = details.output.made[0].sum(axis=1)
        asked = details.output.demand[0].sum(axis=1)
        for j, key in enumerate(details.mix.keys):
            here = made[details.routes.job_of == j].sum() / asked[j]
            assert here + elsewhere[key] == pytest.approx(1.0, abs=0.011), (outcome.key, key)


def test_hours_that_run_out_are_named(demo):
    full = appraise(demo, {"levers.demand": 4.0}).outcomes["all_in_one"]
    assert "no hours left" in {item.reason for item in jobs_made_elsewhere(full)}
    now = appraise(demo).outcomes["keep"]
    assert "as the study says" in {item.reason for item in jobs_made_elsewhere(now)}


def test_laminated_work_leaves_the_all_in_one_before_it_outgasses(demo):
    found = appraise(demo).outcomes["all_in_one"]
    for job in ("fleet_badges", "one_way_window_film"):
        names = [stage.name for stage in job_stages(found, job)]
        assert names.index("unload the print") < names.index("outgas") < names.index("laminate")


def test_law_contribution_is_what_the_ledger_says_of_work(demo):
    lines = ("film", "ink", "laminate", "spoil", "other", "heads", "blades", "power", "bought_in")
    for outcome in appraise(demo, {"levers.demand": 1.7}).outcomes.values():
        ledger = outcome.details.ledger
        whole = ledger.group("sales")[0].sum() + sum(ledger.line(name)[0].sum() for name in lines)
        years = ledger.horizon[0] / 12
        np.testing.assert_allclose(yearly_contribution(outcome)[0].sum() * years, whole, rtol=1e-12)


def test_refuses_to_look_into_what_was_not_kept(demo):
    found = appraise(demo, keep="cash").outcomes["keep"]
    with pytest.raises(InputError, match="everything"):
        jobs_made_elsewhere(found)


def test_law_a_type_is_called_cheaper_bought_in_only_where_it_is(demo):
    """With five times the work hours run out; what is then bought in would cost less made here."""
    for outcome in appraise(demo, {"levers.demand": 5.0}).outcomes.values():
        path = outcome.details
        for item in jobs_made_elsewhere(outcome):
            j = path.mix.keys.index(item.job)
            ways = path.routes.job_of == j
            cheapest = path.routes.direct_cost[0, ways & path.routes.makeable[0]].min()
            cheaper = path.mix.bought_in_price[0, j] < cheapest
            assert (item.reason == "cheaper bought in") == bool(cheaper), (outcome.key, item.job)


def test_work_that_the_study_sends_away_is_said_to_be_so(demo):
    everything = appraise(demo, {"alternatives.keep.bought_in.sticker_sets": 1.0}).baseline
    said = {item.job: item.reason for item in jobs_made_elsewhere(everything)}
    assert said["sticker_sets"] == "as the study says"
