"""The closed forms: against published values, and by following the flows year by year."""

import csv

import numpy as np
import pytest
from decision_rows import DATA, decision_rows, matches, published_decisions
from hypothesis import given
from hypothesis import strategies as st

from capex.errors import InputError
from capex.finance.price_ceilings import bankable_price, loan_constant, walk_away_price

SHARE = st.floats(0.0, 0.9)


def test_every_row_has_a_known_source():
    with (DATA / "sources.csv").open(encoding="utf-8", newline="") as file:
        known = {line["id"] for line in csv.DictReader(file)}
    assert {row["source"] for row in decision_rows()} <= known


@published_decisions("walk_away")
def test_published_worth_is_what_the_price_may_rise(row):
    given_ = row["inputs"]
    years = np.arange(1, len(given_["later"]) + 1)
    worth = (np.array(given_["later"]) * (1 + given_["rate"]) ** -years).sum()
    assert matches(row, float(walk_away_price(worth, given_["rate"])) - given_["outlay"])


@published_decisions("taxed_walk_away")
def test_published_worth_after_tax(row):
    """Each unit of price costs 1 − t·z: the worth at another price follows from the closed form."""
    given_ = row["inputs"]
    claimed = np.array(given_["claimed"]) / given_["price"]
    factors = (1 + given_["rate"]) ** -np.arange(1.0, 6.0)
    worth = given_["income"] * (1 - given_["tax_rate"]) * factors.sum()
    price = float(
        walk_away_price(worth, given_["rate"], tax_rate=given_["tax_rate"], depreciation=claimed)
    )
    each = 1 - given_["tax_rate"] * (claimed * factors).sum()
    assert matches(row, (price - given_["price"]) * each)


@published_decisions("bankable")
def test_published_payment_bears_its_loan(row):
    given_ = row["inputs"]
    cash = given_["cover"] * 12 * given_["monthly_payment"]
    constant = loan_constant(given_["annual_rate"], given_["term"])
    assert matches(row, float(bankable_price(cash, given_["cover"], constant)))


@published_decisions("bankable_service")
def test_published_service_at_a_cover(row):
    given_ = row["inputs"]
    assert matches(row, float(bankable_price(given_["cash"], given_["cover"], 1.0)))


@given(
    worth=st.floats(-1e5, 1e6),
    rate=st.floats(0.0, 0.5),
    tax=SHARE,
    claims=st.lists(st.floats(0.0, 1.0), min_size=1, max_size=8),
    whole=st.floats(0.0, 1.0),
    salvage=st.floats(0.0, 1e5),
    share=st.floats(0.0, 0.5),
)
def test_law_the_flows_of_that_price_are_worth_nothing(
    worth, rate, tax, claims, whole, salvage, share
):
    total = sum(claims)
    claimed = [claim / total * whole if total > 0 else 0.0 for claim in claims]
    try:
        price = float(
            walk_away_price(
                worth, rate, tax_rate=tax, depreciation=claimed, salvage=salvage,
                salvage_share=share,
            )
        )  # fmt: skip
    except InputError:
        back = sum(tax * c / (1 + rate) ** k for k, c in enumerate(claimed, 1))
        end = tax * (1 - sum(claimed)) + share * (1 - tax)
        assert back + end / (1 + rate) ** len(claimed) >= 1 - 1e-9
        return
    flows = [worth - price]
    for claim in claimed:
        flows.append(tax * claim * price)
    fetched = salvage + share * price
    flows[-1] += fetched - tax * (fetched - price * (1 - sum(claimed)))
    value = sum(flow / (1 + rate) ** year for year, flow in enumerate(flows))
    assert value == pytest.approx(0.0, abs=1e-9 * (abs(worth) + abs(price) + salvage + 1))


@given(st.floats(0, 1e6), st.floats(0.1, 5), st.floats(0, 0.3), st.integers(1, 120), SHARE)
def test_law_cover_at_the_bankable_price_is_the_minimum(cash, cover, rate, term, other):
    """The loan's own payment, twelve times, and the other debts are all that the cover leaves."""
    constant = loan_constant(rate, term)
    debts = other * cash / cover
    price = bankable_price(cash, cover, constant, existing_debt_service=debts, loan_to_value=0.8)
    service = 0.8 * price * constant + debts
    assert service * cover == pytest.approx(cash, rel=1e-9, abs=1e-9)


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"tax_rate": 30.0}, "from 0 to 1"),
        ({"salvage_share": -0.1}, "from 0 to 1"),
        ({"depreciation": [0.6, 0.6]}, "at most 1"),
        ({"salvage_share": 1.0, "discount_rate": 0.0}, "do not bring back"),
        ({"operating_value": np.nan}, "finite"),
    ],
)
def test_bad_input_is_refused(changes, words):
    usual = {"operating_value": 100.0, "discount_rate": 0.1, "depreciation": [0.5, 0.5]}
    given_ = usual | changes
    with pytest.raises(InputError, match=words):
        walk_away_price(given_.pop("operating_value"), given_.pop("discount_rate"), **given_)


@pytest.mark.parametrize("name", ["minimum_cover", "constant", "loan_to_value"])
def test_a_lender_that_asks_for_nothing_is_refused(name):
    given_ = {"cash_available": 1.0, "minimum_cover": 1.0, "constant": 1.0, "loan_to_value": 1.0}
    with pytest.raises(InputError, match=name):
        bankable_price(**(given_ | {name: 0.0}))
