"""Extreme but valid studies: finite figures or a named reason; second derivations that agree."""

import json
import math
from datetime import date
from pathlib import Path

import numpy as np
import pytest
from extreme_studies import extreme_changes, extreme_study, not_finite

from capex import appraise
from capex.decision.audit.capacity_checks import capacity_checks
from capex.decision.audit.ledger_checks import ledger_checks
from capex.decision.audit.loan_checks import loan_checks
from capex.decision.cover import cover_volumes, lender_view_of
from capex.decision.crossover import volume_sweep
from capex.decision.risk.simulation import simulate
from capex.decision.risk.summary import risk_summary
from capex.decision.stress import stress_test
from capex.decision.verdict import verdict
from capex.decision.walk_away import walk_away_prices
from capex.errors import InputError
from capex.finance.rate_of_return import RateOfReturn
from capex.shopfloor.year.simulated_year import simulated_year
from capex.study import StudyFile
from capex.views import tables
from capex.views.documents.workbook.document import workbook

FILE = StudyFile.read(Path(__file__).with_name("plain_shop.toml"))
EVERY = tuple(extreme_changes(FILE))
#: Their 480 programmes of every choice take seconds: tests/stress/extremes.py solves them.
LONG = {name for name, changes in extreme_changes(FILE).items()
        if changes.get("money.horizon") == 480}  # fmt: skip
#: Those that leave least to divide by, for what takes longer.
HARDEST = ("no orders", "one month", "work for nothing", "all lent at 100 %")


@pytest.mark.parametrize("name", EVERY)
def test_against_second_derivations_figures_are_finite_or_have_a_reason(name):
    study = extreme_study(FILE, name)
    found = appraise(study)
    for key, outcome in found.outcomes.items():
        rates = (outcome.internal_rate_of_return, outcome.modified_internal_rate_of_return,
                 outcome.annual_percentage_rate)  # fmt: skip
        measures = (outcome.gain, outcome.net_present_value, outcome.equivalent_annual_value,
                    outcome.worst_month_end_cash, outcome.load)  # fmt: skip
        assert not_finite([outcome.path.ledger, outcome.path.output, rates, measures], key) == []
        assert not np.isnan([outcome.payback_period, outcome.discounted_payback_period]).any()
        assert not_finite(lender_view_of(outcome), key) == []
    prices = walk_away_prices(study, "new") if study.money.horizon.likely < 100 else ()
    assert not_finite([verdict(found), *prices]) == []
    texts = [tables.headline_table(found), tables.measures_table(found), tables.notices(found)]
    assert json.dumps(tables.headline_data(found), allow_nan=False)
    words = repr(texts).replace("'", " ").split()
    assert not {"nan", "inf", "-inf", "nan%", "inf%", "-0"} & set(words)
    checks = [
        check
        for outcome in found.outcomes.values()
        for made in (ledger_checks, loan_checks, *(() if name in LONG else (capacity_checks,)))
        for check in made(outcome)
    ]
    assert len(checks) >= 10
    assert [check for check in checks if not check.holds] == []


@pytest.mark.parametrize("name", HARDEST)
def test_law_whatever_else_is_asked_is_finite_or_has_a_reason(name):
    study = extreme_study(FILE, name)
    found = (stress_test(study), cover_volumes(study), volume_sweep(study, [0.5, 1.0, 2.0]),
             risk_summary(simulate(study, 32)))  # fmt: skip
    assert not_finite(found) == []
    assert workbook(study, "new", date(2027, 1, 4))[:2] == b"PK"


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"levers.demand": 50_000.0}, "jobs.badge.orders_per_month"),
        ({"machines.all_in_one.mean_time_between_failures": 1e-6},
         "machines.all_in_one.mean_time_between_failures"),
    ],
)  # fmt: skip
def test_a_year_that_cannot_be_simulated_one_by_one_is_refused_at_once(changes, field):
    with pytest.raises(InputError, match="one by one") as raised:
        simulated_year(FILE.study.replaced(changes), "new")
    assert raised.value.field == field


def test_what_is_not_finite_is_found():
    wrong = RateOfReturn(np.array([math.nan]), np.array([0]), np.array([False]))
    right = RateOfReturn(np.array([math.nan]), np.array([2]), np.array([False]))
    assert not_finite({"a": (1.0, np.array([np.inf])), "b": [wrong, right]}) == [
        "['a'][1]", "['b'][0]"
    ]  # fmt: skip
