"""Offers that end before the purchase that counts on them, in the outcome and in words."""

from datetime import date

import pytest
from hand_shop import hand_study

from capex.decision.appraise import appraise
from capex.decision.expired_offers import expired_offers
from capex.views.expired_offers import expired_offer_sentences
from capex.views.tables import notices


def shop(start="2027-01-31", valid_until="2027-02-28", **placed):
    offer = {"machine": "frame", "name": "Autumn", "dated": "2026-11-20"}
    offer |= {"valid_until": valid_until} if valid_until else {}
    machines = [{"machine": name, "owned": True} for name in ("printer", "cutter", "laminator")]
    return hand_study(
        offers={"one": offer}, money__start=start,
        alternatives__frame__machines=[{"machine": "frame", "offer": "one"} | placed, *machines],
    )  # fmt: skip


@pytest.mark.parametrize(
    ("month", "until", "ends"),
    [
        (0, "2027-02-28", False),
        (1, "2027-02-28", False),  # a month after 31 January is the last day of February
        (1, "2027-02-27", True),
        (2, "2027-02-28", True),
        (35, "2029-12-30", True),
        (35, "2029-12-31", False),
        (35, None, False),
    ],
)
def test_an_offer_must_hold_on_the_day_of_purchase(month, until, ends):
    outcome = appraise(shop(valid_until=until, month=month)).outcomes["frame"]
    assert bool(expired_offers(outcome)) == ends


def test_the_month_is_the_one_that_the_trigger_finds():
    """A load above nothing is passed at once: bought in month 2, when February has passed."""
    outcome = appraise(shop(when_load_passes=0.0001)).outcomes["frame"]
    (found,) = expired_offers(outcome)
    assert (found.month, found.bought) == (2, date(2027, 3, 31))
    assert not expired_offers(appraise(shop(when_load_passes=5)).outcomes["frame"])  # never


def test_it_is_said_wherever_notices_are():
    found = appraise(shop(month=6))
    (said,) = expired_offer_sentences(found.outcomes["frame"])
    assert said.startswith(
        "Frame is bought in month 6 (2027-07), and “Autumn” holds until 2027-02-28"
    )
    assert any(said in notice for notice in notices(found))
    assert not any("holds until" in notice for notice in notices(appraise(shop())))
