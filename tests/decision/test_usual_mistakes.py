"""One test for each mistake that calculations of this kind usually hold.

Where a value is published its source stands beside it (ids of data/sources.csv); the wrong figure
is worked out too, so that a test fails as soon as the path makes the mistake. The demo study is
invented: only laws are tested on it, no figure of it is taken as truth.
"""

from __future__ import annotations

import numpy as np
import pytest
from hand_shop import hand_study

from capex.decision.appraise import Appraisal, appraise
from capex.decision.verdict import verdict
from capex.finance.discounting import discount_factors, net_present_value
from capex.finance.ledger import Ledger
from capex.finance.loans import flat_rate_apr, level_payment
from capex.finance.measures import (
    after_tax_salvage,
    equivalent_annual_value,
    internal_rate_of_return,
    replacement_chain_value,
)
from capex.finance.rate_of_return import RateReason
from capex.finance.rates import effective_annual_rate, real_rate
from capex.study import Study, data_folder, read_study

#: Flows of openstax-finance, chapter 16.
SAM = np.array([-16000, 2000, 4000, 5000, 5000, 5000, 5000.0])


@pytest.fixture(scope="module")
def study() -> Study:
    return read_study(data_folder() / "studies" / "quenlow.toml")


@pytest.fixture(scope="module")
def found(study: Study) -> Appraisal:
    return appraise(study)


def test_the_first_outlay_is_not_discounted(found):
    """Discounting year 0 too: 2,601 instead of 2,835.62 (openstax-finance, 16.2)."""
    factors = 1.09 ** -np.arange(7.0)
    assert net_present_value(SAM, factors) == pytest.approx(2835.62, abs=0.005)
    assert net_present_value(SAM, factors / 1.09) == pytest.approx(2601.49, abs=0.005)
    assert found.baseline.discount_factors[0, 0] == 1.0


def test_flows_are_not_moved_to_mid_year():
    """The convention is stated: month by month, or a whole year's at its end."""
    by_month = discount_factors(0.09, 24)
    assert by_month[..., 6] == pytest.approx(1.09**-0.5)
    at_year_end = discount_factors(0.09, 24, "year_end")
    assert np.allclose(at_year_end[..., 1:13], 1.09**-1)
    assert np.allclose(at_year_end[..., 13:25], 1.09**-2)


def test_a_nominal_rate_is_not_the_effective_one():
    """1.5 % a month is 19.562 % a year, not 18 % (openstax-finance, 8.4)."""
    assert effective_annual_rate(0.18) == pytest.approx(0.19562, abs=5e-6)


def test_a_monthly_payment_is_not_a_yearly_one_over_twelve():
    """973.502 a month (openstax-finance, 8.3), not a twelfth of the yearly 11,971.51."""
    assert level_payment(32000, 0.06, 36) == pytest.approx(973.502, abs=5e-4)
    yearly = 32000 * 0.06 / (1 - 1.06**-3)
    assert yearly / 12 == pytest.approx(997.63, abs=0.005)


def test_a_flat_rate_is_not_an_annual_percentage_rate():
    """6 % flat over three years costs 11.08 % (derivable)."""
    assert flat_rate_apr(0.06, 36) == pytest.approx(0.1108, abs=5e-5)
    flat_payment = 32000 * (1 + 0.06 * 3) / 36
    assert level_payment(32000, flat_rate_apr(0.06, 36), 36) == pytest.approx(flat_payment)


def test_a_payment_in_advance_is_not_one_in_arrears():
    """The first payment falls with the money: each is smaller by a month's interest (derivable)."""
    arrears, advance = (level_payment(32000, 0.06, 36, t) for t in ("arrears", "advance"))
    assert advance == pytest.approx(arrears / 1.005, rel=1e-12)


def test_what_an_owned_machine_once_cost_changes_nothing(study):
    """Sunk: nothing but the insurance looks at it, and that is set to nothing here."""
    flows = appraise(study, {
        "shop.premises.insurance": 0.0, "machines.old_roll_printer.price": [1.0, 1e6],
    }).outcomes  # fmt: skip
    for outcome in flows.values():
        assert (outcome.net_cash_flow[0] == outcome.net_cash_flow[1]).all()


def test_depreciation_is_no_cash(study):
    """Without tax no regime moves anything, and with it only the tax line differs."""
    tax = study.money.tax
    other = study.model_copy(update={"money": study.money.model_copy(
        update={"tax": tax.model_copy(update={"regime": "straight_line_5"})})})  # fmt: skip
    free = {"money.tax.rate": 0.0}
    assert (appraise(study, free).net_present_value
            == appraise(other, free).net_present_value).all()  # fmt: skip
    one, two = (appraise(each).outcomes["separate"].path.ledger for each in (study, other))
    moved = {
        line.key for k, line in enumerate(one.lines) if (one.table[:, k] != two.table[:, k]).any()
    }
    assert moved == {"tax"}
    assert not any("depreciation" in line.key for line in one.lines)


def test_interest_is_not_in_the_net_present_value(study):
    rates = appraise(study, {"money.loan.annual_rate": [0.0, 0.09, 0.5]})
    assert np.ptp(rates.net_present_value, axis=0).max() == 0.0
    owner = rates.outcomes["separate"].equity_cash_flow.sum(axis=1)
    assert owner[0] > owner[1] > owner[2]


#: A machine of 10,000 that does nothing, so that all cash is what it costs; worth 40 % at the end.
IDLE = {
    "jobs__plain__orders_per_month": 0, "jobs__laminated__orders_per_month": 0,
    "shop__people__wage": "0 USD/h",
}  # fmt: skip


def leased(at_end: str, **changes: object) -> Ledger:
    """Return the ledger of the idle machine at 290 a month for 36 months, the first in advance."""
    lease = {"rent": 290, "term": 36, "rentals_in_advance": 1, "at_end": at_end}
    offer = {"machine": "frame", "name": "Lease", "dated": "2026-11-20", "lease": lease}
    chosen = [{"machine": "frame", "offer": "one"}]
    study = hand_study(**IDLE | {"alternatives__frame__machines": chosen, "offers": {"one": offer}}
                       | changes)  # fmt: skip
    return appraise(study).outcomes["frame"].path.ledger


def test_a_leased_machine_is_not_paid_for_twice():
    """36 rents of 290 are all that leaves the bank (derivable); with the price too, 20,440."""
    ledger = leased("return")
    assert ledger.equity_cash_flow[0].tolist() == pytest.approx([-290.0] * 36 + [0.0])
    assert ledger.equity_cash_flow.sum() == pytest.approx(-10_440)
    assert not (ledger.line("purchase") + ledger.line("lease")).any()
    assert not (ledger.line("salvage") + ledger.line("lease_returned")).any()


def test_sales_tax_is_paid_and_written_off_with_the_price():
    """8 % of 10,000 less the tax that it saves, by hand; cost basis takes it in (irs-pub-551).

    160 a year of straight line over 5, and the 320 left when the machine goes in year 3, at 25 %.
    """
    taxed = {"money__tax__rate": 0.25, "money__tax__regime": "straight_line_5"}
    chosen = {"alternatives__frame__machines": [{"machine": "frame"}]}
    free, paid = (
        appraise(hand_study(**IDLE | taxed | chosen | {"money__tax__on_purchases": share}))
        .outcomes["frame"] for share in (0, 0.08)
    )  # fmt: skip
    saved = 0.25 * (160 / 1.1 + 160 / 1.1**2 + 480 / 1.1**3)
    change = paid.net_present_value - free.net_present_value
    assert change[0] == pytest.approx(-800 + saved, rel=1e-9)
    assert paid.path.ledger.line("sales_tax")[0, 0] == -800
    assert "sales_tax" not in {line.key for line in free.path.ledger.lines}


def test_sales_tax_falls_on_instalments_with_the_price_and_on_a_lease_with_the_rents():
    """Of 290 a month: 800 on the first day, or 23.20 with every rent (derivable)."""
    share = {"money__tax__on_purchases": 0.08}
    more = leased("ownership", **share).equity_cash_flow - leased("ownership").equity_cash_flow
    assert more[0].tolist() == pytest.approx([-800.0] + [0.0] * 36)
    more = leased("return", **share).equity_cash_flow - leased("return").equity_cash_flow
    assert more[0].tolist() == pytest.approx([-23.2] * 36 + [0.0])


def test_what_a_machine_fetches_at_the_horizon_is_taxed():
    """1,000 more at the end of year 3 leaves 750 of then (derivable); untaxed it would be 1,000."""
    shop = hand_study(
        **IDLE, money__tax__rate=0.25, money__tax__regime="straight_line_5",
        alternatives__frame__machines=[{"machine": "frame"}],
    )  # fmt: skip
    worth = appraise(shop, {"machines.frame.resale_by_year.2": [0.4, 0.5]}).outcomes["frame"]
    assert np.diff(worth.net_present_value) == pytest.approx(750 / 1.1**3, rel=1e-9)


def test_real_flows_are_not_discounted_at_a_nominal_rate():
    """2,106.48 both ways; mixed −546.93 or 5,364.00 (flows copied, results computed)."""
    nominal, year = np.array([-15000, 9000, 8000, 7000.0]), np.arange(4.0)
    real = nominal / 1.1**year
    rate = real_rate(0.2, 0.1)
    for flows, r, right in ((nominal, 0.2, 2106.48), (real, rate, 2106.48),
                            (real, 0.2, -546.93), (nominal, rate, 5364.00)):  # fmt: skip
        assert net_present_value(flows, (1 + r) ** -year) == pytest.approx(right, abs=0.005)


def test_salvage_is_taxed_on_its_gain_and_relieved_on_its_loss():
    """A loss of 25,419.82 saves 8,896.94 at 35 %: 13,520.94 (worked-salvage), not 4,624."""
    assert after_tax_salvage(4624, 30043.82, 0.35) == pytest.approx(13520.94, abs=0.005)
    assert after_tax_salvage(10000, 4000, 0.35) == pytest.approx(10000 - 0.35 * 6000)


def test_working_capital_comes_back(found):
    for outcome in found.outcomes.values():
        tied = outcome.path.ledger.line("working_capital")[0]
        assert tied.min() < 0
        assert tied.sum() == pytest.approx(0.0, abs=1e-6)


@pytest.mark.parametrize("line", ["installation", "training", "ink", "service", "heads", "blades"])
def test_nothing_that_a_machine_costs_is_left_out(found, line):
    assert found.outcomes["separate"].path.ledger.line(line).sum() < 0


def test_downtime_takes_hours(study):
    """A machine that fails more often has fewer hours for the same work."""
    path = "machines.mid_all_in_one.mean_time_between_failures"
    outcome = appraise(study, {path: [50 * 3600.0, 5000 * 3600.0]}).outcomes["all_in_one"]
    printer = next(k for k, place in enumerate(outcome.stations) if place.work == "machine")
    assert outcome.load[0, printer] > outcome.load[1, printer]
    there = outcome.path.output.available[:, printer].sum(axis=1)
    shares = np.array([50 / 66, 5000 / 5016])  # MTBF/(MTBF + MTTR), 16 h to repair
    assert there[0] / there[1] == pytest.approx(shares[0] / shares[1], rel=1e-9)


def test_time_saved_is_no_money_while_it_is_paid(study):
    """A knife twice as fast leaves wages as they are, unless saved time is redeployed."""
    twice = {"levers.cut_speed": [1.0, 2.0]}
    wages = appraise(study, twice).outcomes["separate"].path.ledger.line("wages").sum(axis=1)
    assert wages[0] == wages[1]
    redeployed = appraise(study, {**twice, "shop.people.idle_time_redeployed": 1.0})
    wages = redeployed.outcomes["separate"].path.ledger.line("wages").sum(axis=1)
    assert wages[1] > wages[0]


def test_nothing_is_sold_beyond_capacity(study):
    output = appraise(study, {"levers.demand": 50.0}).outcomes["separate"].path.output
    assert (output.used <= output.capacity * (1 + 1e-9) + 1e-6).all()
    assert output.bought_in.sum() + output.refused.sum() > 0


def test_no_order_is_saved_and_sold(found):
    """Each order is made, bought in or refused: never two of them."""
    for outcome in found.outcomes.values():
        output, ways = outcome.path.output, outcome.path.routes
        jobs = np.arange(output.demand.shape[1])
        made = (ways.job_of == jobs[:, None]) @ output.made
        total = made + output.bought_in + output.refused
        assert total == pytest.approx(output.demand, rel=1e-9, abs=1e-9)


def test_the_old_machines_bring_what_they_are_sold_for(study):
    path = "alternatives.separate.machines.3.sale_proceeds"
    sold = appraise(study, {path: [0.0, 1000.0]}).outcomes["separate"]
    assert sold.path.ledger.line("sold")[:, 0].tolist() == [500.0, 1500.0]
    after_tax = sold.net_present_value[1] - sold.net_present_value[0]
    assert 0 < after_tax < 1000  # owned machines count as written off, so the gain is taxed


def test_payback_is_not_the_rank(found):
    """The staged purchase is paid back before separate machines are, and leaves less money."""
    ranking = verdict(found).ranking
    gains = {key: outcome.gain[0] for key, outcome in found.outcomes.items()}
    assert list(ranking) == sorted(gains, key=gains.__getitem__, reverse=True)
    staged, separate = (found.outcomes[key].payback_period[0] for key in ("staged", "separate"))
    assert staged < separate
    assert ranking.index("separate") < ranking.index("staged")


def test_the_rate_of_return_is_not_the_rank(study):
    """At a higher volume the smaller outlay earns the higher rate and leaves less money."""
    busy = appraise(study, {"levers.demand": 1.6})
    rate = {key: outcome.internal_rate_of_return.rate[0] for key, outcome in busy.outcomes.items()}
    assert rate["all_in_one"] > rate["separate"]
    assert busy.outcomes["all_in_one"].gain[0] < busy.outcomes["separate"].gain[0]
    ranking = verdict(busy).ranking
    assert ranking.index("separate") < ranking.index("all_in_one")


def test_several_rates_of_return_are_not_reported_as_one():
    """9.18 % and 62.25 % (flows openstax-finance 16.3, roots computed): no rate, and a reason."""
    two = internal_rate_of_return([-350, 950, -620])
    assert np.isnan(two.rate)
    assert two.reason == RateReason.SEVERAL_ROOTS


def test_unequal_lives_are_not_compared_by_raw_net_present_value():
    """Trucks of 3 and 6 years (openstax-finance, 16.5): 49,474 < 80,658, yet the short one wins."""
    short, long = 49474.08, 80657.82
    assert short < long
    level = equivalent_annual_value([short, long], 0.10, [3, 6])
    assert level[0] > level[1]
    assert replacement_chain_value(short, 0.10, 3, 6) == pytest.approx(86644.69, abs=0.02)
    assert replacement_chain_value(short, 0.10, 3, 6) > long
