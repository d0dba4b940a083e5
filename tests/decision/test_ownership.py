"""Groups of the cost of ownership are the ledger, sorted; no line is lost or counted twice."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from hand_shop import hand_study

from capex import appraise, read_study
from capex.decision.ownership import ownership_cost
from capex.errors import InputError
from capex.study import data_folder

PLAIN = Path(__file__).with_name("plain_shop.toml")
DEMO = data_folder() / "studies" / "quenlow.toml"


@pytest.mark.parametrize("file", [PLAIN, DEMO])
def test_law_groups_add_up_to_the_ledger_and_hold_each_line_once(file):
    found = appraise(read_study(file), {"levers.demand": [0.7, 1.0, 2.5]})
    for outcome in found.outcomes.values():
        ledger, cost = outcome.path.ledger, ownership_cost(outcome)
        held = [key for group in cost.groups for key in group.lines]
        assert sorted(held) == sorted(line.key for line in ledger.lines)
        scale = np.abs(ledger.table).sum()
        whole = sum(group.nominal for group in cost.groups)
        np.testing.assert_allclose(whole, ledger.equity_cash_flow.sum(axis=1), atol=1e-13 * scale)
        # the present value without anything of the financing is the alternative's own NPV
        apart = {line.key for line in ledger.lines if line.group == "financing"}
        own = [ledger.line(line.key) for line in ledger.lines if line.key not in apart]
        assert not apart & {key for group in cost.costs for key in group.lines}
        worth = (np.sum(own, axis=0) * outcome.discount_factors).sum(axis=1)
        np.testing.assert_allclose(worth, outcome.net_present_value, atol=1e-13 * scale)


def test_against_figures_worked_out_by_hand():
    """Two machines at 18,000 in month 3, salvage after 17 months, service 2,000 a year each.

    Old ones go for 2,500 each in month 4. Overheads rise by 5 % after a year; 10 % discount.
    """
    cost = ownership_cost(appraise(read_study(PLAIN)).outcomes["new"])
    found = {group.name: group for group in (*cost.costs, *cost.financing)}
    salvage = 2 * 18000 * (0.65 + (0.5 - 0.65) * 5 / 12)
    machines = found["Machines, less what they fetch"]
    assert machines.nominal[0] == pytest.approx(-36000 + 5000 + salvage)
    worth = -36000 / 1.1 ** (3 / 12) + 5000 / 1.1 ** (4 / 12) + salvage / 1.1 ** (20 / 12)
    assert machines.present_value[0] == pytest.approx(worth)
    assert found["Training"].present_value[0] == pytest.approx(-500 / 1.1**0.25)
    assert found["Freight and installation"].nominal[0] == pytest.approx(-2000)
    months = range(1, 21)
    there = {t: 2 * (t <= 4) + 2 * (t > 3) for t in months}
    service = {t: -2000 / 12 * there[t] * (1.05 if t > 12 else 1.0) for t in months}
    assert found["Service"].nominal[0] == pytest.approx(sum(service.values()))
    discounted = sum(flow / 1.1 ** (t / 12) for t, flow in service.items())
    assert found["Service"].present_value[0] == pytest.approx(discounted)
    # four fifths at 9 % in 24 payments from month 4, the fee of 2 % on the day
    rate, owed, paid = 0.09 / 12, 0.8 * 36000, 0.02 * 0.8 * 36000
    payment = owed * rate / (1 - (1 + rate) ** -24)
    for _ in range(4, 21):
        paid += owed * rate
        owed -= payment - owed * rate
    assert found["Interest and fees of loans"].nominal[0] == pytest.approx(-paid)


def test_law_interest_stands_apart():
    """The loan's rate moves the interest and nothing of the cost of owning."""
    study = read_study(PLAIN)
    cheap, dear = (
        ownership_cost(appraise(study, {"money.loan.annual_rate": rate}).outcomes["new"])
        for rate in (0.02, 0.2)
    )
    assert np.array_equal(cheap.nominal, dear.nominal)
    assert np.array_equal(cheap.present_value, dear.present_value)
    assert cheap.nominal_financed[0] > dear.nominal_financed[0]


@pytest.mark.parametrize(("at_end", "residual"), [("purchase", 900), ("return", None)])
def test_against_a_leased_machine_by_hand(at_end, residual):
    """A frame of 10,000, 24 rents of 300, a fee of 80; bought for 900 or given back in month 24.

    As if paid in cash it costs 10,000 less half of that at two years of age. Leased, it costs its
    rents and fee, and either the option less what it fetches, or nothing more.
    """
    lease = {"rent": 300, "term": 24, "fee": 80, "at_end": at_end}
    lease |= {} if residual is None else {"residual": residual}
    study = hand_study(
        money__horizon="24 months",
        offers={"one": {"machine": "frame", "name": "One", "dated": "2026-11-20", "lease": lease}},
        alternatives__frame__machines=[
            {"machine": "frame", "offer": "one"}, {"machine": "laminator", "owned": True},
        ],
    )  # fmt: skip
    cost = ownership_cost(appraise(study).outcomes["frame"])
    found = {group.name: float(group.nominal[0]) for group in cost.groups}
    assert found["Machines, less what they fetch"] == pytest.approx(-10_000 + 5000)
    assert found["Rents and fees of leases"] == pytest.approx(-24 * 300 - 80)
    assert found["Price paid by the lessor"] == pytest.approx(10_000)
    assert found["Interest and fees of loans"] == 0.0
    end = -900 if residual else -5000
    back = "Purchase at the end of a lease" if residual else "Value of machines given back"
    assert found[back] == pytest.approx(end)
    other = cost.nominal[0] - found["Machines, less what they fetch"]
    paid = -7280 - 900 + 5000 if residual else -7280
    assert cost.nominal_financed[0] == pytest.approx(other + paid)


def test_refuses_to_look_into_what_was_not_kept():
    with pytest.raises(InputError, match="everything"):
        ownership_cost(appraise(read_study(PLAIN), keep="cash").outcomes["new"])
