"""Limits of a lender: the whole path, run at the answer, lies on the limit."""

from __future__ import annotations

import numpy as np
import pytest

from capex.decision.appraise import appraise
from capex.decision.cover import lender_view_of
from capex.decision.lender_limits import drawable, least_cash_after, lendable_share
from capex.errors import InputError
from capex.study import StudyFile, data_folder

DEMO = StudyFile.read(data_folder() / "studies" / "quenlow.toml")
CHOICES = ["separate", "all_in_one", "staged"]


def view_of(key, changes=None, **scenario):
    study = DEMO.changed(changes or {}).study
    return lender_view_of(appraise(study, scenario).outcomes[key])


@pytest.mark.parametrize("highest", [0.5, 0.8, 1.0])
@pytest.mark.parametrize("key", CHOICES)
def test_law_loans_of_the_share_found_reach_the_highest_loan_to_value(key, highest):
    """The study is appraised anew with the smaller loan: no closed form is repeated."""
    share = float(lendable_share(view_of(key), highest)[0])
    assert 0.0 < share < 1.0
    smaller = DEMO.study.money.loan.share.likely * share
    found = view_of(key, {"money.loan.share": smaller}).highest_loan_to_value
    assert found.ratio[0] == pytest.approx(highest, rel=1e-9)


def test_law_an_offer_with_a_balloon_shrinks_in_proportion():
    """Equity is 20 % of the price; a loan of a share s leaves 1 - 0.8 s and a balloon of 2500 s."""
    offer = {"alternatives.all_in_one.machines.0.offer": "all_in_one_loan"}
    share = float(lendable_share(view_of("all_in_one", offer), 0.8)[0])
    smaller = {
        "offers.all_in_one_loan.loan.equity_share": 1.0 - 0.8 * share,
        "offers.all_in_one_loan.loan.balloon": 2500.0 * share,
    }
    found = view_of("all_in_one", {**offer, **smaller}).highest_loan_to_value
    assert found.ratio[0] == pytest.approx(0.8, rel=1e-9)


def test_all_can_be_lent_where_nothing_is_owed_or_the_limit_is_far():
    assert lendable_share(view_of("keep"), 0.8)[0] == 1.0
    assert lendable_share(view_of("separate"), 5.0)[0] == 1.0


def test_nothing_can_be_lent_on_a_machine_that_has_gone():
    """The machines are sold in month 24 while the study's own loan runs on."""
    sold = {
        "alternatives.all_in_one.machines.0.sold_in_month": 24,
        "alternatives.all_in_one.machines.0.sale_proceeds": 5000,
    }
    assert lendable_share(view_of("all_in_one", sold), 0.8)[0] == 0.0


@pytest.mark.parametrize("already", [0.0, 900.0])
@pytest.mark.parametrize("key", CHOICES)
def test_law_draws_of_the_amount_found_reach_the_least_cover(key, already):
    path = "money.lender.owner_draws"
    more = float(drawable(view_of(key, {path: already}), 1.25)[0])
    found = view_of(key, {path: already + more}).lowest_year
    assert found.ratio[0] == pytest.approx(1.25, rel=1e-9)


def test_law_a_horizon_within_a_year_counts_its_own_months():
    changes = {"money.horizon": "54 months"}
    more = float(drawable(view_of("separate", changes), 20.0)[0])
    found = view_of("separate", {**changes, "money.lender.owner_draws": more}).lowest_year
    assert found.ratio[0] == pytest.approx(20.0, rel=1e-9)


def test_any_draw_leaves_cover_where_nothing_is_due():
    assert drawable(view_of("keep"), 1.25)[0] == np.inf


def test_least_cash_after_a_month_leaves_that_month_and_those_before_out():
    view = view_of("separate", {"money.lender.owner_draws": 20_000})
    for month in (0, 11, 83):
        amount, when = least_cash_after(view, month)
        later = view.month_end_cash[0, month + 1 : view.horizon[0] + 1]
        assert amount[0] == later.min()
        assert view.month_end_cash[0, when[0]] == amount[0]


@pytest.mark.parametrize(
    ("asked", "field"),
    [
        (lambda view: lendable_share(view, 0.0), "highest"),
        (lambda view: lendable_share(view, np.nan), "highest"),
        (lambda view: drawable(view, np.inf), "least"),
        (lambda view: least_cash_after(view, 84), "month"),
        (lambda view: least_cash_after(view, -1), "month"),
    ],
)
def test_a_bad_limit_is_named(asked, field):
    with pytest.raises(InputError, match=field):
        asked(view_of("separate"))
