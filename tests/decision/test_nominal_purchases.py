"""A lease whose machine is bought for next to nothing is told, and nothing of its figures moves."""

import pytest
from hand_shop import hand_study

from capex.decision.appraise import appraise
from capex.decision.nominal_purchases import nominal_purchases
from capex.views.tables import notices


def leased(**end):
    """The frame of 10,000 on a lease of 24 months that ends as said."""
    lease = {"rent": 300, "term": 24} | end
    offer = {"machine": "frame", "name": "Lease", "dated": "2026-11-20", "lease": lease}
    machines = [{"machine": "frame", "offer": "one"}, {"machine": "laminator", "owned": True}]
    study = hand_study(
        money__horizon=24, offers={"one": offer}, alternatives__frame__machines=machines
    )
    return appraise(study)


@pytest.mark.parametrize(
    ("end", "told"),
    [
        ({"at_end": "purchase", "residual": 0}, True),
        ({"at_end": "purchase", "residual": 100}, True),
        ({"at_end": "purchase", "residual": 101}, False),
        ({"at_end": "return"}, False),
        ({"at_end": "ownership", "rent": 450}, False),
    ],
)
def test_at_most_a_hundredth_of_the_price_is_nominal(end, told):
    found = leased(**end)
    assert bool(nominal_purchases(found.outcomes["frame"])) == told
    said = " ".join(notices(found))
    assert ("ask your accountant" in said) == told
    if told:
        assert f"Frame is bought for ${end['residual']} at the end of “Lease”" in said
        assert "hire purchase, conditional sale" in said
    assert nominal_purchases(found.baseline) == ()
