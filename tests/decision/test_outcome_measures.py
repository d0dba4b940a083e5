"""The measures of an outcome, against general-purpose libraries on the outcome's own cash."""

import numpy as np
import numpy_financial as npf
import pytest
import pyxirr

from capex.decision.appraise import appraise
from capex.finance.rate_of_return import RateReason
from capex.study import data_folder, read_study
from capex.views.tables import rate_text


@pytest.fixture(scope="module")
def outcome():
    study = read_study(data_folder() / "studies" / "quenlow.toml")
    return appraise(study, {"levers.demand": [1.0, 1.2]}).outcomes["staged"]


def test_against_numpy_financial_modified_rate(outcome):
    monthly = (1 + outcome.discount_rate) ** (1 / 12) - 1
    for s, flow in enumerate(outcome.incremental_cash_flow):
        reference = (1 + npf.mirr(flow, monthly[s], monthly[s])) ** 12 - 1
        assert outcome.modified_internal_rate_of_return.rate[s] == pytest.approx(
            reference, rel=1e-9
        )


def test_law_a_batch_of_horizons_gives_each_the_modified_rate_that_it_has_alone():
    study = read_study(data_folder() / "studies" / "quenlow.toml")
    both = appraise(study, {"money.horizon": [60, 84]}).outcomes["separate"]
    for s, horizon in enumerate((60, 84)):
        alone = appraise(study.replaced({"money.horizon": horizon})).outcomes["separate"]
        rate = alone.modified_internal_rate_of_return.rate[0]
        assert both.modified_internal_rate_of_return.rate[s] == pytest.approx(rate, rel=1e-12)


def test_against_pyxirr_rate(outcome):
    for s, flow in enumerate(outcome.incremental_cash_flow):
        reference = (1 + pyxirr.irr(flow)) ** 12 - 1
        *below, rate = outcome.rates_of_return(s)  # no one discounts at rates below 0
        assert rate == pytest.approx(reference, rel=1e-8)
        assert max(below, default=-1) < 0
        assert outcome.internal_rate_of_return.rate[s] == pytest.approx(reference, rel=1e-8)


def test_law_the_index_times_capital_is_what_comes_back(outcome):
    """PI = PV of all that comes back over capital (openstax-finance, 16.4): cash less capital."""
    ledger, before = outcome.path.ledger, outcome.baseline.path.ledger
    keys = ("purchase", "installation", "training", "sold")
    capital = sum(ledger.line(key) - before.line(key) for key in keys)
    rest = outcome.incremental_cash_flow - capital
    back = (rest * outcome.discount_factors).sum(axis=1)
    spent = -(capital * outcome.discount_factors).sum(axis=1)
    assert outcome.profitability_index == pytest.approx(back / spent, rel=1e-9)


def test_law_the_baseline_has_no_index_and_a_named_reason_for_no_rate(outcome):
    baseline = outcome.baseline
    assert np.isnan(baseline.profitability_index).all()
    assert rate_text(baseline) == RateReason.NO_FLOW.words
