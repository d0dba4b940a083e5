"""The price above which a machine is not worth buying: by hand, and that the answer holds."""

import numpy as np
import pytest
from hand_shop import hand_study
from hypothesis import given
from hypothesis import strategies as st
from strategies import Size, laws, studies

from capex.decision.appraise import appraise
from capex.decision.cover import lender_view_of
from capex.decision.machine_price import for_cash, machine_price
from capex.decision.price_limit import PriceReason, highest_price
from capex.decision.walk_away import walk_away, walk_away_prices
from capex.errors import InputError
from capex.finance.price_ceilings import loan_constant, walk_away_price
from capex.study import data_folder, read_study

SMALL = studies(Size(jobs=2, frames=1, years=2))
OWNED = [{"machine": name, "owned": True} for name in ("printer", "cutter", "laminator")]
#: Five orders a month are made in the house and not bought in at 60: 1.02 m² of film at 5, ink 1.
SAVED = 12 * 5 * (60 - 1.02 * 5 - 1.0)
TAX, RATE = 0.3, 0.1


def yearly_shop(**changes):
    """A shop that counts at year ends and saves the same every year; no insurance, no growth."""
    usual = {
        "money__convention": "year_end",
        "money__horizon": 60,
        "money__tax": {"regime": "straight_line_5", "rate": TAX},
        "shop__premises__insurance": 0,
        "machines__frame__resale_by_year": [0.8, 0.6, 0.5, 0.4, 0.3],
        "jobs__plain__bought_in_price": 60,
        "alternatives__keep__bought_in": {"plain": 0.5},
    }
    return hand_study(**(usual | changes))


def saved_after_tax(years, rate=RATE, tax=TAX):
    return SAVED * (1 - tax) * sum((1 + rate) ** -year for year in range(1, years + 1))


@pytest.mark.parametrize(
    ("regime", "years", "claimed"),
    [
        ("straight_line_5", 5, [0.2] * 5),
        ("us_macrs_5", 5, [0.2, 0.32, 0.192, 0.1152, 0.1152]),
        ("us_macrs_5", 3, [0.2, 0.32, 0.192]),
        ("none", 4, None),
    ],
)
@pytest.mark.parametrize("count", [1, 2])
def test_against_the_closed_form(regime, years, claimed, count):
    """Nothing of the ledger enters the closed form: the yearly saving is worked out above.

    Without a regime neither price nor salvage is taxed: the share fetched counts whole.
    """
    resale = [0.8, 0.6, 0.5, 0.4, 0.3]
    study = yearly_shop(
        money__tax={"regime": regime, "rate": TAX},
        money__horizon=12 * years,
        alternatives__frame__machines=[{"machine": "frame", "count": count}, OWNED[2]],
    )
    if claimed is None:
        share, rule = resale[years - 1], {"depreciation": [0.0] * years}
    else:
        share, rule = resale[years - 1], {"depreciation": claimed, "tax_rate": TAX}
    expected = walk_away_price(saved_after_tax(years), RATE, salvage_share=share, **rule) / count
    found = walk_away(study, "frame", 0, "keep")
    assert found.reason is PriceReason.FOUND
    assert found.price == pytest.approx(float(expected), rel=1e-9)
    assert found.today == 10000
    assert found.margin == pytest.approx(float(expected) - 10000, abs=1e-4)


def test_against_the_closed_form_with_installation_training_and_the_lever():
    """Installation is written off with the price, training in the first year."""
    study = yearly_shop(
        alternatives__frame__machines=[
            {"machine": "frame", "price": 9000, "freight_and_installation": 800, "training": 500},
            OWNED[2],
        ],
        levers={"machine_price": 1.5},
    )
    claimed = 0.2 * sum(1.1**-year for year in range(1, 6))
    worth = saved_after_tax(5) - 800 * (1 - TAX * claimed) - 500 * (1 - TAX / 1.1)
    expected = walk_away_price(
        worth, RATE, tax_rate=TAX, depreciation=[0.2] * 5, salvage_share=0.3
    )  # fmt: skip
    found = walk_away(study, "frame", 0, "keep")
    assert found.today == 13500
    assert found.price == pytest.approx(float(expected), rel=1e-9)


def test_against_the_payment_at_the_lenders_limit():
    """One loan, no tax: the sales of the shop less its costs bear the payment 1.25 times."""
    study = hand_study(
        jobs__plain__price=1000,
        jobs__laminated__price=1000,
        shop__premises__insurance=0,
        money__loan={"share": 0.75, "annual_rate": 0.12, "term": 24},
        alternatives__frame__machines=[{"machine": "frame"}, *OWNED],
    )
    cash = 12 * (20 * (1000 - 1.02 * 5 - 1.0) - 10 * 1.02 * 3 - 2 * 160 * 20)
    payment = 0.01 / (1 - 1.01**-24)
    (found,) = walk_away_prices(study, "frame")
    expected = cash / 1.25 / (0.75 * 12 * payment)
    assert found.at_lender.price == pytest.approx(expected, rel=1e-9)
    assert found.bankable == pytest.approx(expected, rel=1e-9)
    assert found.at_lender.against is None
    assert float(loan_constant(0.12, 24)) == pytest.approx(12 * payment, rel=1e-12)


@pytest.mark.parametrize(
    ("month", "term", "paid"), [(0, 24, 12), (6, 24, 12), (0, 6, 6), (20, 6, 4), (14, 3, 3)]
)
def test_against_the_payments_of_the_year_with_the_least_cover(month, term, paid):
    """As many payments as fall in the fullest year; another machine's are existing service."""
    other = {"machine": "frame", "price": 5000, "month": month}
    study = hand_study(
        jobs__plain__price=1000,
        jobs__laminated__price=1000,
        shop__premises__insurance=0,
        money__loan={"share": 0.75, "annual_rate": 0.12, "term": term},
        alternatives__frame__machines=[{"machine": "frame", "month": month}, other, *OWNED],
    )
    cash = 12 * (20 * (1000 - 1.02 * 5 - 1.0) - 10 * 1.02 * 3 - 2 * 160 * 20)
    each = 0.75 * paid * 0.01 / (1 - 1.01**-term)
    first, second = walk_away_prices(study, "frame")
    assert first.at_lender.price == pytest.approx(cash / 1.25 / each - 5000, rel=1e-9)
    assert first.bankable == pytest.approx(cash / 1.25 / each - 5000, rel=1e-9)
    assert second.at_lender.price == pytest.approx(cash / 1.25 / each - 10000, rel=1e-9)
    assert second.bankable == pytest.approx(cash / 1.25 / each - 10000, rel=1e-9)


def test_no_closed_form_for_a_loan_that_is_not_served_in_the_tightest_year():
    small = {"machine": "frame", "price": 500, "month": 24}
    study = hand_study(
        jobs__plain__price=1000,
        jobs__laminated__price=1000,
        money__loan={"share": 0.75, "annual_rate": 0.12, "term": 12},
        alternatives__frame__machines=[{"machine": "frame"}, small, *OWNED],
    )
    first, second = walk_away_prices(study, "frame")
    assert first.bankable is not None
    assert second.bankable is None
    assert second.at_lender.reason is PriceReason.FOUND


def test_lenders_limit_moves_the_price_of_a_chosen_offer():
    """An offer's own loan with fixed equity: the price below it is not tried, and not refused."""
    offer = {
        "machine": "frame", "name": "Loan", "dated": "2026-11-01", "price": 12000,
        "loan": {"annual_rate": 0.12, "term": 24, "equity": 3000},
    }  # fmt: skip
    study = hand_study(
        jobs__plain__price=1000,
        jobs__laminated__price=1000,
        shop__premises__insurance=0,
        offers={"loan": offer},
        alternatives__frame__machines=[{"machine": "frame", "offer": "loan"}, *OWNED],
    )
    cash = 12 * (20 * (1000 - 1.02 * 5 - 1.0) - 10 * 1.02 * 3 - 2 * 160 * 20)
    payment = 0.01 / (1 - 1.01**-24)
    (found,) = walk_away_prices(study, "frame")
    assert found.today == 12000
    assert found.at_lender.price == pytest.approx(cash / 1.25 / (12 * payment) + 3000, rel=1e-9)
    assert found.at_lender.tried[0] == pytest.approx(3000, abs=1e-6)
    assert found.bankable is None
    assert found.against_baseline.tried[0] == 0.0


@laws(15)
@given(SMALL, st.sampled_from(["many", "staged"]), st.sampled_from(["keep", "other"]))
def test_law_both_leave_the_same_at_that_price(study, key, against):
    other = "keep" if against == "keep" else {"many": "staged", "staged": "many"}[key]
    found = walk_away(study, key, 0, other)
    if found.reason is not PriceReason.FOUND:
        assert found.price is None
        return
    price = machine_price(study, key, 0)
    near = appraise(study, price.scenarios(found.price * np.array([0.999, 1.0, 1.001])))
    gains = near.net_present_value[:, [list(near.outcomes).index(k) for k in (key, other)]]
    lead = gains[:, 0] - gains[:, 1]
    scale = max(float(np.abs(o.net_present_value).max()) for o in near.outcomes.values())
    assert lead[1] == pytest.approx(0.0, abs=1e-9 * scale)
    assert lead[2] < lead[1] < lead[0] or found.price == 0.0
    assert found.against == other


@laws(10)
@given(SMALL, st.floats(0.5, 4.0))
def test_law_gain_falls_as_the_price_rises(study, most):
    price = machine_price(study, "staged", 0)
    prices = price.today * np.linspace(0.0, most, 9)
    gain = appraise(study, price.scenarios(prices)).outcomes["staged"].gain
    assert (np.diff(gain) < 0.0).all()


@laws(12)
@given(st.floats(0.0, 0.3), st.floats(0.01, 0.3), st.integers(10, 200), st.integers(1, 8))
def test_law_a_higher_hurdle_rate_never_raises_the_price(rate, more, price, years):
    """Where every later flow is a plus: a shop that saves each month, and no tax."""
    study = yearly_shop(
        money__tax={"regime": "none"},
        money__convention="monthly",
        money__horizon=12 * years,
        jobs__plain__bought_in_price=price,
    )
    prices = [
        walk_away(study.replaced({"money.discount_rate": r}), "frame", 0, "keep").price
        for r in (rate, rate + more)
    ]
    assert prices[1] < prices[0]


@laws(8)
@given(SMALL)
def test_law_cover_is_at_the_minimum_at_the_lenders_limit(study):
    for found in walk_away_prices(study, "staged"):
        limit = found.at_lender
        if limit.reason is not PriceReason.FOUND:
            assert limit.price is None
            continue
        price = machine_price(study, "staged", found.place)
        near = appraise(study, price.scenarios(limit.price * np.array([0.999, 1.0, 1.001])))
        cover = lender_view_of(near.outcomes["staged"]).lowest_year.ratio
        level = study.money.lender.minimum_cover.likely
        assert cover[1] == pytest.approx(level, rel=1e-6)
        assert cover[0] > level > cover[2]


def test_law_an_offer_for_cash_leaves_every_gain_alone():
    study = read_study(data_folder() / "studies" / "quenlow.toml")
    for offer in study.offers:
        key, place = next(
            (key, i)
            for key, choice in study.alternatives.items()
            for i, placement in enumerate(choice.machines)
            if not placement.owned and placement.machine == study.offers[offer].machine
        )
        chosen = _with_offer(study, key, place, offer)
        gain = appraise(chosen).net_present_value
        np.testing.assert_allclose(appraise(for_cash(chosen)).net_present_value, gain, rtol=1e-12)


def _with_offer(study, key, place, offer):
    choice = study.alternatives[key]
    machines = list(choice.machines)
    machines[place] = machines[place].model_copy(update={"offer": offer})
    changed = choice.model_copy(update={"machines": tuple(machines)})
    return study.model_copy(update={"alternatives": {**study.alternatives, key: changed}})


def test_a_rival_that_buys_the_same_moves_along():
    """The seller's price is one: it rises for both, and cannot tell them apart."""
    both = [{"machine": "frame"}, OWNED[2]]
    dearer = {"name": "And training", "machines": [{"machine": "frame", "training": 5}, OWNED[2]]}
    study = yearly_shop(
        alternatives__frame__machines=both,
        alternatives__trained=dearer,
    )
    found = walk_away(study, "frame", 0)
    assert (found.price, found.reason) == (None, PriceReason.NO_EFFECT)
    assert found.against == "trained"
    assert "no difference" in found.reason.words
    quoted = yearly_shop(
        alternatives__frame__machines=both,
        alternatives__trained__name="Quoted",
        alternatives__trained__machines=[{"machine": "frame", "price": 9500}, OWNED[2]],
    )
    assert walk_away(quoted, "frame", 0).price == pytest.approx(9500, rel=1e-9)


def test_the_best_rival_is_the_best_at_each_price():
    """Quoted at 9,500 and at 9,000: what counts is the cheaper, which is the better of the two."""
    study = yearly_shop(
        alternatives__a={"name": "A", "machines": [{"machine": "frame", "price": 9500}, OWNED[2]]},
        alternatives__b={"name": "B", "machines": [{"machine": "frame", "price": 9000}, OWNED[2]]},
    )
    (found,) = walk_away_prices(study, "frame")
    assert found.against_rival.price == pytest.approx(9000, rel=1e-9)
    assert found.against_rival.against == "b"
    (named,) = walk_away_prices(study, "frame", rival="a")
    assert named.against_rival.price == pytest.approx(9500, rel=1e-9)


def test_reasons_where_there_is_no_price():
    taught = [{"machine": "frame", "training": 20000}, OWNED[2]]
    free = walk_away(yearly_shop(alternatives__frame__machines=taught), "frame", 0, "keep")
    assert (free.price, free.margin, free.reason) == (None, None, PriceReason.NOT_FREE)
    assert "even at the lowest" in free.reason.words
    any_price = walk_away(yearly_shop(), "frame", 0, "keep", high=5000)
    assert any_price.reason is PriceReason.ANY_PRICE
    assert any_price.tried == (0.0, 5000)
    (alone,) = walk_away_prices(yearly_shop(), "frame")
    assert alone.against_rival.reason is PriceReason.NO_RIVAL
    assert alone.at_lender.reason is PriceReason.NO_DEBT_SERVICE
    assert alone.bankable is None
    loan = {"share": 0.75, "annual_rate": 0.12, "term": 24}
    (poor,) = walk_away_prices(yearly_shop(money__loan=loan), "frame")
    assert poor.at_lender.reason is PriceReason.NOT_COVERED_FREE
    rich = yearly_shop(money__loan=loan, jobs__plain__price=5000)
    (rich,) = walk_away_prices(rich, "frame", high=11000)
    assert rich.at_lender.reason is PriceReason.COVERED_AT_ANY_PRICE


def test_the_highest_of_several_prices_is_the_answer():
    def lead(prices):
        return -((prices - 10.0) * (prices - 20.0) * (prices - 40.0))[:, None]

    price, reason = highest_price(lead, 0.0, 100.0, 0.0)
    assert reason is PriceReason.FOUND
    assert price == pytest.approx(40.0, rel=1e-9)


def test_only_what_an_alternative_buys_has_a_price():
    study = yearly_shop()
    assert [found.machine for found in walk_away_prices(study, "frame")] == ["frame"]
    with pytest.raises(InputError, match="which frame buys"):
        walk_away(study, "frame", 1, "keep")
    with pytest.raises(InputError, match="another alternative"):
        walk_away_prices(study, "keep", rival="keep")
    with pytest.raises(InputError, match="another alternative"):
        walk_away(study, "frame", 0, "frame")
    with pytest.raises(InputError, match="known: keep, frame"):
        walk_away(study, "frame", 0, "nothing")
    with pytest.raises(InputError, match="above 0"):
        walk_away(study, "frame", 0, "keep", high=-1.0)


def test_the_scenario_counts():
    study = yearly_shop()
    (found,) = walk_away_prices(study, "frame", {"levers.machine_price": 0.9})
    assert found.today == 9000
    (plain,) = walk_away_prices(study, "frame")
    assert found.against_baseline.price == pytest.approx(plain.against_baseline.price, rel=1e-9)
