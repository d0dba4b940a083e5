"""The audit of a study: it agrees with what is right, and finds every figure that is made wrong."""

from dataclasses import replace
from importlib.util import find_spec
from pathlib import Path

import numpy as np
import numpy_financial
import pytest
from hypothesis import given
from hypothesis import strategies as st
from pyxirr import irr

from capex import appraise, read_study
from capex.decision.audit import year_checks
from capex.decision.audit.audit import audit
from capex.decision.audit.capacity_checks import capacity_checks
from capex.decision.audit.check import Check
from capex.decision.audit.ledger_checks import ledger_checks
from capex.decision.audit.loan_checks import loan_checks
from capex.decision.audit.plain_money import (
    annuity_payment,
    halved_rate,
    loan_balance,
    payback_time,
)
from capex.shopfloor.year import simulated_year
from capex.shopfloor.year.kernel import dispatched
from capex.study import StudyFile

STUDY = Path(__file__).with_name("plain_shop.toml")
EVERY = 24
FLOWS = st.lists(st.integers(-1000, 1000), min_size=2, max_size=40)


@pytest.fixture(scope="module")
def study():
    return read_study(STUDY)


def wrong(found, choice="new"):
    """Return the figures of a choice that differ, beside those of the simulated year."""
    outcome = found.outcomes[choice]
    checks = [*ledger_checks(outcome), *loan_checks(outcome), *capacity_checks(outcome)]
    assert len(checks) > 5
    return {each.figure for each in checks if not each.holds}


def test_against_second_derivations_every_figure_agrees(study, measured):
    checks = list(audit(study))
    made = [each for each in checks if not each.is_skipped]
    assert [each for each in checks if not each.holds] == []
    assert len(made) >= EVERY
    nearest = min(each.tolerance / each.difference for each in made if each.difference > 0)
    measured(f"audit of the plain shop: {len(made)} figures, all at least {nearest:,.0f} times "
             "nearer than their tolerance")  # fmt: skip


@pytest.mark.parametrize(
    ("changes", "choice"),
    [
        ({"money.convention": "year_end", "money.tax.losses": "absorbed"}, "new"),
        ({"levers.delay": 2, "levers.demand": 3}, "new"),
        ({"jobs.badge.lost_customers": 0.5, "levers.demand": 4}, "new"),
        ({"money.loan.annual_rate": 0, "money.loan.term": 5}, "new"),
        ({"shop.people.idle_time_redeployed": 1, "levers.demand": 3}, "keep"),
    ],
)
def test_against_second_derivations_other_rules_agree(changes, choice):
    changed = StudyFile.read(STUDY).changed(changes).study
    assert wrong(appraise(changed), choice) == set()


def made_wrong(name, by):
    """Return what sets one figure of the new choice wrong by a share."""

    def change(found):
        outcome = found.outcomes["new"]
        outcome.__dict__[name] = getattr(outcome, name) * (1 + by)

    return change


def one_line_wrong(found):
    """A dollar is lost between the ledger's lines and their sum."""
    outcome = found.outcomes["new"]
    outcome.net_cash_flow[0, 7] -= 1.0


def rate_wrong(found):
    outcome = found.outcomes["new"]
    outcome.rates_of_return = lambda: np.array([2.3607])


def loan_wrong(found):
    ledger = found.outcomes["new"].path.ledger
    ledger.line("principal")[0, 9] += 0.01


def order_lost(found):
    output = found.outcomes["new"].path.output
    output.made[0, np.argmax(output.made[0, :, 5]), 5] -= 1e-3


def hours_wrong(found):
    found.outcomes["new"].path.output.available[0, 0, 3] *= 1 + 1e-6


def demand_wrong(found):
    found.outcomes["new"].path.output.demand[0, 0, 0] += 1e-3


@pytest.mark.parametrize(
    ("change", "figures"),
    [
        (made_wrong("net_present_value", 1e-6), {"Net present value"}),
        (made_wrong("gain", -1e-6), {"Gain over the baseline"}),
        (made_wrong("equivalent_annual_value", 1e-6), {"Gain as a level amount a year"}),
        (made_wrong("payback_period", 1e-4), {"Payback, simple"}),
        (made_wrong("discounted_payback_period", 1e-4), {"Payback, discounted"}),
        (made_wrong("worst_month_end_cash", 1e-6), {"Least cash at a month's end"}),
        (one_line_wrong, {"Net present value", "Gain over the baseline", "Payback, simple"}),
        (rate_wrong, {"Internal rate of return, the lowest from 0 % of several"}),
        (loan_wrong, {"Loan payments up to the horizon"}),
        (order_lost, {"Contribution of what is made"}),
        (hours_wrong, {"Hours of the stations"}),
        (demand_wrong, {"Orders asked for"}),
    ],
)  # fmt: skip
def test_a_figure_made_wrong_is_found(study, change, figures):
    found = appraise(study)
    change(found)
    assert figures <= wrong(found)


def test_a_simulated_year_made_wrong_is_found(study, monkeypatch):
    """One order of the year is finished a minute later than the rules say."""

    def later(*everything):
        record = dispatched(*everything)
        finished = record.finished.copy()
        finished[len(finished) // 2] += 60.0
        return replace(record, finished=finished)

    monkeypatch.setattr(simulated_year, "dispatched", later)
    checks = year_checks.year_checks(study, appraise(study).outcomes["new"])
    assert [each.figure for each in checks if not each.holds] == ["Mean lead time, first year"]


def test_what_cannot_be_checked_says_why(study, monkeypatch):
    monkeypatch.setattr(
        year_checks, "find_spec", lambda name: None if name == "simpy" else find_spec(name)
    )
    changed = StudyFile.read(STUDY).changed({
        "offers.bank": {"machine": "all_in_one", "name": "Bank", "dated": "2027-01-04",
                        "price": 18000, "loan": {"annual_rate": 0.08, "term": 24}},
        "alternatives.new.machines.0.offer": "bank", "alternatives.new.machines.0.price": None,
    })  # fmt: skip
    left = {each.figure: each.reason for each in audit(changed.study) if each.is_skipped}
    assert left["Mean lead time, first year"].startswith("simpy is not installed")
    assert left["Loan payments"] == "an offer with a loan of its own shares these lines"


def test_one_missing_figure_is_a_difference():
    assert not Check("a", "Payback", "loop", "years", None, 2.0, 0.1).holds
    assert not Check("a", "Payback", "loop", "years", np.inf, 2.0, 0.1).holds
    assert not Check("a", "Payback", "loop", "years", np.nan, 2.0, 0.1).holds
    assert Check("a", "Payback", "loop", "years", None, None, 0.1).holds


@given(st.lists(st.floats(1, 1000), min_size=1, max_size=40), st.floats(1, 5000))
def test_against_pyxirr_the_halved_rate(inflows, outlay):
    flow = [-outlay, *inflows]
    expected = irr(flow)
    found = halved_rate(flow)
    if expected is not None and -0.99 < expected < 1e3:
        assert found == pytest.approx(expected, rel=1e-6, abs=1e-7)


@given(st.floats(1e-4, 0.05), st.integers(1, 400), st.floats(0, 1))
def test_against_numpy_financial_the_loan(rate, term, part):
    paid = int(part * term)
    payment = float(-numpy_financial.pmt(rate, term, 1000.0))
    assert annuity_payment(1000.0, rate, term) == pytest.approx(payment, rel=1e-7)
    owed = float(-numpy_financial.fv(rate, paid, -payment, 1000.0))
    assert loan_balance(1000.0, rate, term, paid) == pytest.approx(owed, abs=1e-4)


@given(FLOWS)
def test_law_before_its_payback_a_flow_is_behind_and_after_it_never_again(flow):
    months, total = payback_time([float(x) for x in flow]), np.cumsum(flow)
    behind = np.flatnonzero(total < 0)
    if behind.size == 0:
        assert months == 0
    elif behind[-1] == len(flow) - 1:
        assert months == np.inf
    else:
        assert behind[-1] < months <= behind[-1] + 1
