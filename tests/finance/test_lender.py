"""The lender's view of a small study worked out month by month, and its laws."""

import numpy as np
import pytest
from hand_shop import hand_study
from hypothesis import given
from hypothesis import strategies as st
from strategies import Size, laws, studies

from capex.decision.appraise import appraise
from capex.decision.cover import lender_view_of
from capex.finance.coverage import CoverDefinition, RatioReason
from capex.finance.ledger import Ledger, Line
from capex.finance.lender import LenderView, machine_values
from capex.study import data_folder, read_study
from capex.views.cover_tax import cover_tax_sentence
from capex.views.wording import Currency

SMALL = studies(Size(jobs=3, frames=1, years=2))
BEFORE = CoverDefinition(after_tax=False, after_draws=False)
MONTHS, DRAWN_IN, TERM = 36, 3, 24
# Ten orders of each type at 1,000. A metre of roll 1.02 m wide costs 5 a square metre, the laminate
# 3; a square metre is printed with 10 mL of ink at 100 a litre. Two people, 160 hours, 20 an hour.
OPERATING = 20 * 1000 - 20 * 1.02 * 5 - 10 * 1.02 * 3 - 20 * 1.0 - 2 * 160 * 20
OWNED = [{"machine": name, "owned": True} for name in ("printer", "cutter", "laminator")]


def shop(term=TERM, **changes):
    """Return a shop that buys a frame on credit in month 3 and works as before."""
    usual = {
        "jobs__plain__price": 1000,
        "jobs__laminated__price": 1000,
        "money__tax": {"regime": "none", "rate": 0.25},
        "money__loan": {"share": 0.75, "annual_rate": 0.12, "term": term, "fee": 0.01},
        "money__lender": {"owner_draws": 500, "existing_debt_service": 200},
        "money__opening_cash": 4000,
        "alternatives__frame__machines": [{"machine": "frame", "month": DRAWN_IN}, *OWNED],
    }
    return hand_study(**(usual | changes))


def view_of(study, key="frame", scenarios=None, **kind):
    outcome = appraise(study, scenarios).outcomes[key]
    return lender_view_of(outcome, CoverDefinition(**kind))


def by_hand(term):
    """Return interest, payments, what is owed and the frame's worth in months 0 … 36."""
    rate = 0.12 / 12
    payment = 7500 * rate / (1 - (1 + rate) ** -term)
    interest, paid, owed, worth = ([0.0] * (MONTHS + 1) for _ in range(4))
    left = 0.0
    for month in range(DRAWN_IN, MONTHS + 1):
        if month == DRAWN_IN:
            left = 7500.0
        elif month <= DRAWN_IN + term:
            interest[month], paid[month] = left * rate, payment
            left += left * rate - payment
        owed[month] = max(left, 0.0) if left > 1e-6 else 0.0
        age = (month - DRAWN_IN) / 12
        year = int(age)
        curve = [1.0, 0.6, 0.5, 0.4]
        worth[month] = 10000 * (curve[year] + (curve[year + 1] - curve[year]) * (age - year))
    return interest, paid, owed, worth


@pytest.mark.parametrize("after_tax", [True, False])
@pytest.mark.parametrize("after_draws", [True, False])
def test_against_a_study_worked_out_month_by_month(after_tax, after_draws):
    interest, paid, owed, worth = by_hand(TERM)
    found = view_of(shop(), after_tax=after_tax, after_draws=after_draws)
    fee = 75.0
    cash, due = [0.0] * (MONTHS + 1), [0.0] * (MONTHS + 1)
    for month in range(1, MONTHS + 1):
        year = (month - 1) // 12
        spent = sum(interest[12 * year + 1 : 12 * year + 13]) + (fee if year == 0 else 0.0)
        tax = 0.25 * (12 * OPERATING - spent) / 12
        cash[month] = OPERATING - tax * after_tax - 500 * after_draws
        due[month] = paid[month] + 200
    np.testing.assert_allclose(found.cash_available[0], cash, rtol=1e-9, atol=1e-6)
    np.testing.assert_allclose(found.debt_service[0], due, rtol=1e-9, atol=1e-6)
    np.testing.assert_allclose(found.owed[0], owed, rtol=1e-9, atol=1e-6)
    np.testing.assert_allclose(found.machines[0], worth, rtol=1e-9, atol=1e-6)
    months = [cash[t] / due[t] for t in range(1, MONTHS + 1)]
    years = [sum(cash[t : t + 12]) / sum(due[t : t + 12]) for t in (1, 13, 25)]
    np.testing.assert_allclose(found.by_month.ratio[0, 1:], months, rtol=1e-9)
    np.testing.assert_allclose(found.by_year.ratio[0], years, rtol=1e-9)
    assert found.by_month.reason[0, 0] == RatioReason.NO_DEBT_SERVICE
    assert found.lowest_month.ratio[0] == pytest.approx(min(months))
    assert found.lowest_month.when[0] == 1 + int(np.argmin(np.round(months, 9)))
    assert (found.lowest_year.ratio[0], found.lowest_year.when[0]) == (pytest.approx(years[1]), 2)


def test_against_loan_to_value_and_cash_by_hand():
    _, _, owed, worth = by_hand(TERM)
    outcome = appraise(shop()).outcomes["frame"]
    found = lender_view_of(outcome)
    shares = [o / w if w else 0.0 for o, w in zip(owed, worth, strict=True)]
    np.testing.assert_allclose(found.loan_to_value.ratio[0], shares, rtol=1e-9, atol=1e-9)
    assert found.highest_loan_to_value.ratio[0] == pytest.approx(max(shares))
    assert found.highest_loan_to_value.when[0] == shares.index(max(shares))
    # The bank begins with 4,000; month 1 brings the month's cash less what is paid anyway.
    assert found.month_end_cash[0, :2] == pytest.approx([4000, 4000 + OPERATING - 700])
    assert found.lowest_cash[0] == pytest.approx(4000)
    assert found.lowest_cash_month[0] == 0
    assert outcome.worst_month_end_cash[0] == found.lowest_cash[0]


def test_against_the_tax_that_a_machine_moves_by_hand():
    """Straight line over 5 years at 25 %: 500 a year, and the gain over what is left at the end.

    The frame starts work in year 1; at the horizon it is 33 months old and fetches 42.5 % of
    10,000, of which 4,000 is not written off.
    """
    view = view_of(shop(money__tax={"regime": "straight_line_5", "rate": 0.25}))
    moved = np.array([500.0, 500.0, 500.0 - 0.25 * (4250 - 4000)])
    np.testing.assert_allclose(view.tax_moved, [moved], rtol=1e-9)
    cash, due = view.cash_by_year[0], view.debt_service_by_year[0]
    np.testing.assert_allclose(view.recurring_by_year.ratio[0], (cash - moved) / due, rtol=1e-12)
    assert view.lowest_recurring_year.ratio[0] < view.lowest_year.ratio[0]
    said = cover_tax_sentence(view, Currency("EUR"))
    assert "write-offs of machines, training and machines sold take €500 off the tax" in said
    assert f"Without that, cover there is {view.lowest_recurring_year.ratio[0]:,.2f}." in said
    before = view_of(shop(money__tax={"regime": "straight_line_5", "rate": 0.25}), after_tax=False)
    assert not before.tax_moved.any()
    assert cover_tax_sentence(before, Currency("EUR")) == ""


@pytest.mark.parametrize("losses", ["absorbed", "carried_forward"])
@pytest.mark.parametrize("regime", ["us_section_179_bonus_macrs_7", "uk_main_pool", "us_macrs_5"])
def test_law_recurring_cover_is_that_of_a_regime_that_deducts_nothing(regime, losses):
    """One bought, one leased, one sold: without a regime none of them moves any tax."""
    lease = {"rent": 200, "term": 24, "at_end": "purchase", "residual": 900}
    changes = {
        "currency": "USD",
        "offers": {"one": {"machine": "cutter", "name": "One", "dated": "2026-11-20",
                           "lease": lease}},
        "alternatives__frame__machines": [
            {"machine": "frame", "month": DRAWN_IN}, {"machine": "cutter", "offer": "one"},
            OWNED[0] | {"sold_in_month": 12, "sale_proceeds": 3000}, OWNED[2],
        ],
    }  # fmt: skip
    found, bare = (
        view_of(shop(money__tax={"regime": name, "rate": 0.25, "losses": losses}, **changes))
        for name in (regime, "none")
    )
    np.testing.assert_allclose(found.recurring_by_year.ratio, bare.by_year.ratio, rtol=1e-9)
    assert np.abs(found.tax_moved).max() > 100.0
    np.testing.assert_allclose(bare.tax_moved, 0.0, atol=1e-9)


def test_what_is_left_of_a_loan_at_the_horizon_is_no_debt_service():
    """A loan of 48 months has 15 payments left at the horizon: none of them is due by then."""
    _, paid, owed, _ = by_hand(48)
    found = view_of(shop(term=48))
    assert owed[MONTHS] > 0
    np.testing.assert_allclose(found.debt_service[0, 1:], np.array(paid[1:]) + 200, rtol=1e-9)
    assert found.owed[0, MONTHS] == 0


def test_every_machine_of_a_placement_stands_for_the_loan():
    study = hand_study(
        alternatives__frame__machines=[{"machine": "frame", "count": 3}, *OWNED],
        money__loan={"share": 0.5, "annual_rate": 0.1, "term": 24},
    )
    found = view_of(study)
    assert (found.owed[0, 0], found.machines[0, 0]) == (pytest.approx(15000), 30000)
    assert found.machines[0, 12] == pytest.approx(18000)


def test_what_is_due_on_the_first_day_belongs_to_the_first_year():
    """A rent in advance: 13 of 100 fall in the first year's 2,600 of cash, 12 in the second's."""
    table = np.stack([np.full((1, 25), 2600 / 12), np.full((1, 25), -100.0)], axis=1)
    table[0, 0, 0] = 0.0
    lines = (Line("sales.a", "Sales", "sales", True), Line("rent", "Rent", "financing", True))
    study = hand_study()
    found = LenderView(
        study, study.alternatives["frame"], Ledger(lines, table, np.array([24])), table[:, 0],
        CoverDefinition(after_tax=False),
    )  # fmt: skip
    assert found.debt_service_by_year[0].tolist() == [1300, 1200]
    assert found.cash_by_year[0] == pytest.approx([2600, 2600])
    assert found.by_year.ratio[0] == pytest.approx([2600 / 1300, 2600 / 1200])


def test_a_choice_without_debts_has_no_cover_and_says_why():
    study = shop().replaced({"money.lender.existing_debt_service": 0.0})
    found = view_of(study, "keep")
    assert (found.by_year.reason == RatioReason.NO_DEBT_SERVICE).all()
    assert found.lowest_year.reason[0] == RatioReason.NO_DEBT_SERVICE
    assert found.lowest_year.when[0] == -1
    assert (found.loan_to_value.reason == RatioReason.NO_LOAN).all()
    assert "nothing is borrowed" in RatioReason(int(found.highest_loan_to_value.reason[0])).words


def test_a_debt_without_its_machine_says_so():
    machines = [{"machine": "frame", "month": DRAWN_IN, "sold_in_month": 6}, *OWNED]
    study = hand_study(
        money__loan={"share": 0.75, "annual_rate": 0.12, "term": 24},
        alternatives__frame__machines=machines,
    )
    found = view_of(study)
    assert found.loan_to_value.reason[0, 5:8].tolist() == [0, *[int(RatioReason.NO_MACHINE)] * 2]
    assert found.highest_loan_to_value.reason[0] == RatioReason.NO_MACHINE
    assert found.highest_loan_to_value.when[0] == 6


@pytest.mark.parametrize(("at_end", "owned_from"), [("purchase", 24), ("return", None)])
def test_a_leased_machine_is_due_its_rent_and_stands_for_nothing_while_leased(at_end, owned_from):
    """Rent of 450 a month for 24 or 33 months, no more; the lessor’s is no security."""
    term = 24 if owned_from is not None else MONTHS - DRAWN_IN
    lease = {"rent": 450, "term": term, "at_end": at_end}
    if at_end == "purchase":
        lease["residual"] = 1000
    machines = [{"machine": "frame", "month": DRAWN_IN, "offer": "rented"}, *OWNED]
    study = hand_study(
        money__tax={"regime": "none", "rate": 0.25},
        offers={"rented": {"machine": "frame", "name": "Rented", "dated": "2026-11-01",
                           "lease": lease}},
        alternatives__frame__machines=machines,
    )  # fmt: skip
    view = view_of(study)
    due = view.debt_service[0]
    assert due.sum() == pytest.approx(450 * term)
    assert set(np.round(due[due > 0], 6)) == {450.0}
    worth = view.machines[0]
    if owned_from is None:
        assert not worth.any()
    else:
        assert not worth[: DRAWN_IN + owned_from].any()
        assert worth[DRAWN_IN + owned_from] == pytest.approx(10000 * 0.5)


def test_service_that_a_rent_covers_is_not_taken_off_twice():
    """A rent that covers service leaves the cash of a machine that has none."""
    lease = {"rent": 450, "term": MONTHS - DRAWN_IN, "at_end": "return"}
    covers = []
    for included, service in ((True, "6000 USD/year"), (False, "0 USD/year")):
        offer = {"machine": "frame", "name": "Rented", "dated": "2026-11-01",
                 "lease": {**lease, "maintenance_included": included}}  # fmt: skip
        view = view_of(hand_study(
            machines__frame__service=service,
            offers={"rented": offer},
            alternatives__frame__machines=[
                {"machine": "frame", "month": DRAWN_IN, "offer": "rented"}, *OWNED,
            ],
        ))  # fmt: skip
        covers.append((view.cash_available[0], view.by_year.ratio[0]))
    for one, other in zip(*covers, strict=True):
        assert one == pytest.approx(other, rel=1e-12, nan_ok=True)


@laws(20)
@given(SMALL, st.floats(0.05, 0.5), st.floats(0, 0.5))
def test_law_more_debt_never_raises_cover(study, share, more):
    """Before tax, where there is cash: tax saved by interest would count for the lender too."""
    views = [
        [lender_view_of(outcome, BEFORE) for outcome in appraise(
            study, {"money.loan.share": part}).outcomes.values()]
        for part in (share, share + more)
    ]  # fmt: skip
    for less, greater in zip(*views, strict=True):
        assert (less.cash_available == greater.cash_available).all()
        both = less.by_year.found & greater.by_year.found
        positive = less.by_year.ratio[both] >= 0
        fell = greater.by_year.ratio[both] <= less.by_year.ratio[both] * (1 + 1e-9)
        assert (fell | ~positive).all()
        assert (less.by_year.found == greater.by_year.found).all()


@laws(20)
@given(SMALL)
def test_law_ratios_are_finite_where_found_and_nan_where_not(study):
    for outcome in appraise(study, {"levers.demand": [0.5, 2.0]}).outcomes.values():
        view = lender_view_of(outcome)
        for each in (view.by_month, view.by_year, view.loan_to_value):
            assert np.isfinite(each.ratio[each.found]).all()
            assert np.isnan(each.ratio[~each.found]).all()


@laws(20)
@given(SMALL)
def test_law_what_is_owed_ends_at_nothing(study):
    for outcome in appraise(study).outcomes.values():
        view = lender_view_of(outcome)
        end = int(view.horizon[0])
        assert (view.owed >= 0).all()
        assert view.owed[0, end] == 0
        if view.owed.any():
            assert view.loan_to_value.ratio[0, end] == 0
            drawn = int(np.flatnonzero(view.owed[0])[0])
            assert view.owed[0, drawn] == pytest.approx(outcome.path.ledger.line("loan")[0, drawn])


@laws(10)
@given(SMALL, st.floats(100, 5000), st.floats(100, 5000))
def test_law_standing_payments_move_no_choice(study, draws, debts):
    paid = {"money.lender.owner_draws": draws, "money.lender.existing_debt_service": debts}
    before, after = appraise(study), appraise(study, paid)
    for key, outcome in before.outcomes.items():
        other = after.outcomes[key]
        assert (other.net_cash_flow == outcome.net_cash_flow).all()
        months = np.minimum(np.arange(outcome.net_cash_flow.shape[1]), outcome.horizon[:, None])
        expected = outcome.month_end_cash - (draws + debts) * months
        np.testing.assert_allclose(other.month_end_cash, expected, rtol=1e-9, atol=1e-6)


def test_values_of_scenarios_are_those_of_singles():
    study = read_study(data_folder() / "studies" / "quenlow.toml")
    batch = {
        "alternatives.staged.machines.1.month": [12.0, 36.0, 47.0],
        "machines.mid_all_in_one.resale_by_year.1": [0.3, 0.4, 0.5],
        "levers.machine_price": [0.9, 1.0, 1.1],
    }
    many = study.replaced(batch)
    found = machine_values(many, many.alternatives["staged"], 84)
    for row in range(3):
        one = study.replaced({path: values[row] for path, values in batch.items()})
        single = machine_values(one, one.alternatives["staged"], 84)
        np.testing.assert_allclose(found[row], single[0], rtol=1e-12)
