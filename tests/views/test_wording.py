"""Words for inputs and conventions: every input can be told from its name alone."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from capex.decision.explanation import explanation
from capex.decision.verdict import Reason
from capex.study import Study
from capex.views.documents.paper.shop_sections import staff_words
from capex.views.why import value_text, why_sentences
from capex.views.wording import (
    Currency,
    convention_sentence,
    input_name,
    payback_text,
    reason_sentence,
)


def test_no_input_is_named_by_its_place_in_a_list(demo: Study) -> None:
    named = {path: input_name(demo, path) for path, _ in demo.quantities()}
    assert all(name[0].isalpha() for name in named.values())
    several = [path for path in named if ".resale_by_year." in path or ".seasonality." in path]
    assert len({named[path] for path in several}) == len(several)
    assert named["shop.seasonality.0"].startswith("orders of January")
    assert named["machines.laminator.resale_by_year.0"].startswith("resale after 1 year,")
    assert "for display only" in named["money.exchange_rates.EUR"]


@pytest.mark.parametrize("line", ["prices", "materials", "wages", "overheads"])
def test_a_study_without_rising_prices_says_so_beside_its_nominal_rate(
    demo: Study, line: str
) -> None:
    """Today's prices under a rate that holds inflation are the usual mix of real and nominal."""
    says = "no yearly rise of prices entered"
    assert says in convention_sentence(demo, 0.1, 84)
    rising = demo.replaced({f"money.escalation.{line}": 0.02})
    assert says not in convention_sentence(rising, 0.1, 84)
    assert "in nominal money, after tax" in convention_sentence(rising, 0.1, 84)


def test_what_a_lender_asks_for_has_a_source_and_a_date(demo: Study) -> None:
    lender = demo.money.lender
    for asked in (lender.minimum_cover, lender.highest_loan_to_value):
        assert asked.source in ("default", "assumed")
        assert asked.on is not None
        assert asked.note


def test_one_input_is_and_several_are(demo: Study) -> None:
    path = "machines.mid_all_in_one.price"
    quoted = demo.model_copy(update={"machines": demo.machines | {
        "mid_all_in_one": demo.machines["mid_all_in_one"].model_copy(
            update={"price": replace(demo.quantity(path), source="quoted")})}})  # fmt: skip
    why = explanation(quoted, "highest_loan_to_value", "all_in_one")
    proven = [each for each in why.inputs if each.is_evidence]
    said = why_sentences(quoted, why, Currency("USD"), "metric")[-1]
    assert len(proven) == 1
    assert f"{len(why.inputs)} inputs stand behind it" in said
    assert f"1 is entered, measured or quoted, {len(why.inputs) - 1} are assumed" in said


def test_a_shop_without_finishers_has_none_in_its_words(demo: Study) -> None:
    alone = demo.replaced({"shop.people.finishers": 0.0, "shop.people.operators": 2.0})
    assert staff_words(alone.shop.people) == "2 operators"
    assert staff_words(demo.shop.people) == "1 operator and 1.2 finishers"


@pytest.mark.parametrize(
    ("months", "words"),
    [(0.2, "1 month"), (11, "11 months"), (11.6, "1 year"), (13, "1 year 1 month"),
     (29.2, "2 years 5 months"), (35.7, "3 years"), (math.inf, "not within 7 years 6 months")],
)  # fmt: skip
def test_a_payback_is_said_in_years_and_months_wherever_it_stands(
    months: float, words: str
) -> None:
    assert payback_text(months / 12, 90) == words
    assert value_text(months / 12, "years", Currency("USD"), "metric", 90) == words


@pytest.mark.parametrize(
    "group",
    ["contribution", "people", "machines", "room", "investment", "working capital", "tax"],
)
def test_more_and_less_are_words_and_no_sign_contradicts_them(group: str) -> None:
    """A group that is worth more costs less or earns more; the amount stands without a sign."""
    said = {
        worth: reason_sentence([Reason(group, worth), Reason("investment", 1e-9)], Currency("USD"))
        for worth in (6850.0, -6850.0)
    }
    if group == "tax":  # follows from the others and is no reason by itself
        assert set(said.values()) == {"nothing differs"}
        return
    for worth, text in said.items():
        assert "$6,850" in text
        assert not set("+−-") & set(text.replace("$", ""))
        good = "more" if group == "contribution" else "less"
        assert (f" {good}" in text) == (worth > 0)
