"""What a payback counts is said, and where it rests on the horizon alone."""

from hand_shop import hand_study

from capex.decision.appraise import appraise
from capex.finance.payback import payback_period
from capex.study import data_folder, read_study
from capex.views.payback import PAYBACK_COUNTS, payback_note
from capex.views.tables import measures_notes


def test_a_payback_by_resale_alone_is_told():
    """Nothing is earned: 10,000 is paid, and resale brings 10,000 back in the last month."""
    study = hand_study(
        jobs__plain__orders_per_month=0, jobs__laminated__orders_per_month=0,
        machines__frame__resale_by_year=[1.0, 1.0, 1.0], shop__premises__insurance=0,
        money__tax={"regime": "none", "rate": 0},
        alternatives__keep__machines=[{"machine": "laminator", "owned": True}],
    )  # fmt: skip
    outcome = appraise(study).outcomes["frame"]
    flow = outcome.incremental_cash_flow[0].copy()
    assert outcome.payback_period[0] == outcome.horizon[0] / 12
    flow[-1] -= outcome.path.ledger.line("salvage")[0, -1]
    assert payback_period(flow) == float("inf")
    assert payback_note(outcome) == (
        "only by what comes back at the horizon: resale and working capital"
    )


def test_what_it_counts_is_said_beside_the_measures():
    found = appraise(read_study(data_folder() / "studies" / "quenlow.toml"))
    assert payback_note(found.outcomes["separate"]) == PAYBACK_COUNTS
    lives, payback = measures_notes(found)
    assert "All choices share the horizon of 7 years, so that no lives are unequal" in lives
    assert PAYBACK_COUNTS in payback
