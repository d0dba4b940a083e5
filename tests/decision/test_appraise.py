"""Laws of the whole path, from study to net present value, and the frozen figures of the demo.

Renew the frozen figures with ``CAPEX_RENEW_GOLDEN=1 python -m pytest tests/decision -k golden``.
"""

import json
import os
from pathlib import Path

import numpy as np
import pytest
from hand_shop import hand_study
from hypothesis import given
from hypothesis import strategies as st
from strategies import Size, laws, seeded_study, studies

from capex.decision.appraise import appraise
from capex.decision.blocks import BLOCK
from capex.errors import CapexError, InputError
from capex.finance.purchases import tax_regime
from capex.shopfloor.content import Contents
from capex.shopfloor.mix import job_mix
from capex.shopfloor.routes import routes
from capex.study import data_folder, read_study
from capex.study.jobs import Artwork

GOLDEN = Path(__file__).parents[1] / "golden" / "demo.json"
SMALL = studies(Size(jobs=3, frames=1, years=2))
FLOWS = ("net_cash_flow", "equity_cash_flow")


def with_money(study, **parts):
    """Return the study with parts of its money replaced."""
    return study.model_copy(update={"money": study.money.model_copy(update=parts)})


def with_tax(study, **parts):
    return with_money(study, tax=study.money.tax.model_copy(update=parts))


def worth(study, scenarios=None) -> np.ndarray:
    """Return the NPV of every alternative, shape (n, alternatives)."""
    found = appraise(study, scenarios).outcomes.values()
    return np.stack([outcome.net_present_value for outcome in found], axis=1)


def scaled(study, powers: dict[str, float]):
    """Return the study with every quantity of a kind multiplied by its factor."""
    return study.replaced(
        {
            path: quantity.si * powers[quantity.entry.kind]
            for path, quantity in study.quantities()
            if powers.get(quantity.entry.kind, 1.0) != 1.0
        }
    )


@laws(20)
@given(SMALL)
def test_law_baseline_minus_itself_is_zero(study):
    outcome = appraise(study).baseline
    assert (outcome.gain == 0).all()
    assert (outcome.incremental_cash_flow == 0).all()


@laws(20)
@given(SMALL, st.integers(1, 60))
def test_law_what_owned_machines_once_cost_changes_nothing(study, thousands):
    """Sunk: the catalogue price of machines that are owned, apart from insuring them today."""
    owned = ("old_printer", "old_cutter", "laminator")
    prices = {f"machines.{name}.price": 1000.0 * thousands for name in owned}
    study = study.replaced({"shop.premises.insurance": 0.0})
    assert worth(study) == pytest.approx(worth(study.replaced(prices)), rel=1e-12)


@laws(20)
@given(SMALL, st.floats(1e3, 1e5))
def test_law_what_every_choice_pays_alike_changes_no_gain(study, amount):
    """A yearly cost of a machine that all alternatives keep, taxed where losses are absorbed."""
    study = with_tax(study, losses="absorbed")
    before, after = (
        appraise(study, {"machines.laminator.service": value}) for value in (0.0, amount)
    )
    for key, outcome in before.outcomes.items():
        scale = np.abs(outcome.net_present_value).max() + amount
        assert after.outcomes[key].gain == pytest.approx(outcome.gain, abs=1e-10 * scale)


@laws(20)
@given(SMALL, st.floats(0, 1), st.floats(0, 0.3), st.integers(1, 120))
def test_law_the_loan_leaves_the_investment_untouched(study, share, rate, term):
    loan = {"money.loan.share": share, "money.loan.annual_rate": rate, "money.loan.term": term}
    before, after = appraise(study), appraise(study, loan)
    for key, outcome in before.outcomes.items():
        assert (after.outcomes[key].net_cash_flow == outcome.net_cash_flow).all()
    without = appraise(with_money(study, loan=None))
    for key, outcome in without.outcomes.items():
        assert (outcome.net_cash_flow == before.outcomes[key].net_cash_flow).all()
        assert (outcome.equity_cash_flow == outcome.net_cash_flow).all()


TIME = {
    "duration": 1, "long_duration": 1, "speed": -1, "feed_speed": -1, "acceleration": -2,
    "area_rate": -1, "wage": -1, "power": -1,
}  # fmt: skip


@laws(20)
@given(SMALL, st.sampled_from([0.5, 0.75]), st.sampled_from([1.0, 8.0]))
def test_law_a_shorter_second_changes_neither_output_nor_money(study, factor, demand):
    """All times and all hours scaled alike: the same orders, the same cash."""
    study = study.replaced({"levers.demand": demand})
    shorter = scaled(study, {kind: factor**power for kind, power in TIME.items()})
    before, after = appraise(study), appraise(shorter)
    for key, outcome in before.outcomes.items():
        mine, theirs = outcome.details.output, after.outcomes[key].details.output
        assert theirs.made == pytest.approx(mine.made, rel=1e-7, abs=1e-7)
        assert theirs.refused == pytest.approx(mine.refused, rel=1e-7, abs=1e-7)
        scale = np.abs(outcome.details.ledger.table).max()
        changed = after.outcomes[key].net_cash_flow
        assert changed == pytest.approx(outcome.net_cash_flow, abs=1e-9 * scale)


MONEY = ("money", "annual_amount", "wage", "area_price", "volume_price", "energy_price", "rent")


@laws(20)
@given(SMALL, st.sampled_from([0.25, 3.0, 120.0]), st.sampled_from([1.0, 8.0]))
def test_law_another_currency_scales_every_value(study, rate, demand):
    study = study.replaced({"levers.demand": demand})
    before = appraise(study)
    after = appraise(scaled(study, dict.fromkeys(MONEY, rate)))
    for key, outcome in before.outcomes.items():
        scale = np.abs(outcome.details.ledger.table).max()
        changed = after.outcomes[key].details.ledger.table / rate
        assert changed == pytest.approx(outcome.details.ledger.table, abs=1e-9 * scale)


@laws(20)
@given(SMALL)
def test_law_a_lever_at_rest_changes_nothing(study):
    levers = {
        "levers.demand": 1.0, "levers.price": 1.0, "levers.print_rate": 1.0,
        "levers.cut_speed": 1.0, "levers.machine_price": 1.0, "levers.growth_shift": 0.0,
    }  # fmt: skip
    assert (worth(study, levers) == worth(study)).all()


@laws(20)
@given(SMALL, st.permutations(("keep", "many", "staged")))
def test_law_the_order_of_alternatives_changes_nothing(study, order):
    other = study.model_copy(update={"alternatives": {k: study.alternatives[k] for k in order}})
    before, after = appraise(study), appraise(other)
    assert list(after.outcomes) == list(order)
    for key, outcome in before.outcomes.items():
        assert (after.outcomes[key].net_cash_flow == outcome.net_cash_flow).all()
        assert (after.outcomes[key].gain == outcome.gain).all()


@laws(20)
@given(SMALL)
def test_law_npv_is_the_sum_of_the_discounted_table(study):
    rate = study.money.discount_rate.likely
    for outcome in appraise(study).outcomes.values():
        ledger = outcome.details.ledger
        total, size = 0.0, 0.0
        for place, entry in enumerate(ledger.lines):
            if entry.group != "financing":
                for month, cash in enumerate(ledger.table[0, place]):
                    total += cash / (1 + rate) ** (month / 12)
                    size += abs(cash)
        assert outcome.net_present_value[0] == pytest.approx(total, abs=1e-12 * size)


@laws(20)
@given(SMALL)
def test_law_absorbed_losses_make_tax_the_rate_of_all_taxable_income(study):
    study = with_tax(study, losses="absorbed")
    for outcome in appraise(study).outcomes.values():
        ledger = outcome.details.ledger
        taxed = sum(
            ledger.table[0, place].sum()
            for place, entry in enumerate(ledger.lines)
            if entry.taxed and entry.group != "financing"
        )
        machines = sum(ledger.line(name).sum() for name in ("purchase", "installation", "sold",
                                                            "salvage"))  # fmt: skip
        if tax_regime(study).method == "none":
            machines = 0.0
        machines += ledger.line("training").sum()
        tax = -study.money.tax.rate.likely * (taxed + machines)
        assert ledger.line("tax").sum() == pytest.approx(tax, rel=1e-9, abs=1e-6)


@laws(20)
@given(SMALL)
def test_law_working_capital_returns_in_full(study):
    for outcome in appraise(study).outcomes.values():
        flow = outcome.details.ledger.line("working_capital")
        assert flow.sum() == pytest.approx(0.0, abs=1e-9 * np.abs(flow).sum() + 1e-9)


@laws(20)
@given(SMALL)
def test_law_loans_are_repaid_by_the_horizon(study):
    for outcome in appraise(study).outcomes.values():
        ledger = outcome.details.ledger
        keys = {entry.key for entry in ledger.lines}
        if "loan" in keys:
            repaid = ledger.line("principal").sum() + ledger.line("loan_settled").sum()
            assert ledger.line("loan").sum() == pytest.approx(-repaid, rel=1e-9, abs=1e-6)


@laws(20)
@given(SMALL, st.floats(1.0, 2.0))
def test_law_dearer_machines_cost_their_rise_in_price(study, factor):
    """Untaxed and uninsured: what is bought costs its rise and brings it back in its resale."""
    study = with_tax(study, regime="none").replaced({"shop.premises.insurance": 0.0})
    before, after = appraise(study), appraise(study, {"levers.machine_price": factor})
    for key, outcome in before.outcomes.items():
        ledger = outcome.details.ledger
        paid = ledger.line("purchase") + ledger.line("salvage")
        rise = (factor - 1.0) * (paid * outcome.discount_factors).sum()
        changed = after.outcomes[key].net_present_value - outcome.net_present_value
        assert changed == pytest.approx(rise, rel=1e-7, abs=1e-5)


@laws(10)
@given(SMALL, st.floats(0.5, 2.0))
def test_law_prices_of_purchases_leave_owned_machines_alone(study, factor):
    before, after = worth(study), worth(study, {"levers.machine_price": factor})
    keep = list(study.alternatives).index("keep")
    assert after[:, keep] == pytest.approx(before[:, keep], rel=1e-12)


def test_refuses_a_machine_sold_before_it_is_there_in_a_scenario():
    study = hand_study(
        alternatives__frame__machines=[
            {"machine": "frame", "month": 6, "sold_in_month": 12},
            {"machine": "laminator", "owned": True},
        ]
    )
    with pytest.raises(CapexError, match=r"machines\.0"):
        appraise(study, {"alternatives.frame.machines.0.month": [6, 18]})


def differences(study, scenarios: dict[str, list[float]], first=None) -> float:
    """Return how far a batch lies from its scenarios run one by one, relative to the cash."""
    batch = appraise(study, scenarios, keep="cash")
    count, worst = batch.scenarios, 0.0
    for i in range(count):
        single = first if i == 0 else None
        if single is None:
            single = appraise(study, {path: [v[i]] for path, v in scenarios.items()}, keep="cash")
        for key, outcome in single.outcomes.items():
            for name in FLOWS:
                alone = getattr(outcome, name)[0]
                together = getattr(batch.outcomes[key], name)[i]
                assert not together[alone.size :].any()
                gap = np.abs(together[: alone.size] - alone).max()
                worst = max(worst, gap / max(np.abs(alone).max(), 1.0))
    return worst


def another_value(quantity) -> float | None:
    """Return a different value that the quantity's bounds allow."""
    value = quantity.likely
    for other in (value * 1.25, value * 0.8, value + 1, value + 0.1, value * 0.5, value - 1):
        other = float(round(other)) if quantity.entry.whole else other
        if other != value and quantity.entry.broken_bound(np.array([other])) is None:
            return other
    return None


def test_law_a_batch_is_its_single_scenarios_for_every_input(measured):
    """Every input of a study in turn: no input may be forgotten when scenarios are counted."""
    study = seeded_study(7, Size(jobs=2, frames=1, years=2, lost_customers=True))
    choices = {key: study.alternatives[key] for key in ("keep", "staged")}
    models = {place.machine for choice in choices.values() for place in choice.machines}
    machines = {key: study.machines[key] for key in models}
    study = study.model_copy(update={"alternatives": choices, "machines": machines})
    # months that are full and labour that counts, so that every input has something to move
    study = study.replaced({"levers.demand": 12.0, "shop.people.idle_time_redeployed": 0.5})
    as_entered = appraise(study, keep="cash")
    wrong, worst, count = {}, 0.0, 0
    for path, quantity in study.quantities():
        other = another_value(quantity)
        if other is None:
            continue
        count += 1
        try:
            gap = differences(study, {path: [quantity.likely, other]}, as_entered)
        except CapexError as error:
            if not refused_alone(study, path, other):
                wrong[path] = f"refused: {error}"
        except Exception as error:  # every input is reported, whatever goes wrong
            wrong[path] = f"{type(error).__name__}: {error}"
        else:
            worst = max(worst, gap)
            if gap > 1e-9:
                wrong[path] = f"differs by {gap:.1e}"
    measured(f"batch of 2 against singles: {count} inputs, worst difference {worst:.1e} of cash")
    assert not wrong, "\n".join(f"{path}: {why}" for path, why in wrong.items())


def test_law_what_an_order_takes_is_known_again_only_where_nothing_it_depends_on_differs():
    """Every input in turn: routes like those of another study are the routes without it."""
    study = seeded_study(7, Size(jobs=2, frames=1, years=2, lost_customers=True))
    before = appraise(study).baseline.details.contents
    tried = [(path, another_value(quantity)) for path, quantity in study.quantities()]
    again = 0
    for path, other in [*tried, ("levers.laminated_share", 0.37)]:
        if other is None:
            continue
        try:
            changed = study.replaced({path: other})
        except CapexError:
            continue
        again += routes_agree(changed, before, path)
    assert again > 10  # else nothing was taken over and nothing was tried


def test_law_another_drawing_under_the_same_name_is_timed_anew():
    study = read_study(data_folder() / "studies" / "quenlow.toml")
    drawn = (
        "<svg xmlns='http://www.w3.org/2000/svg' width='{0}mm' height='{0}mm'>"
        "<rect width='{0}mm' height='{0}mm'/></svg>"
    )
    job = study.jobs["banners"].model_copy(update={"cut": Artwork(name="own")})
    small, large = (
        study.model_copy(update={"jobs": {"banners": job}, "artworks": {"own": drawn.format(size)}})
        for size in (50, 90)
    )
    large = large.model_copy(update={"jobs": small.jobs})
    before = appraise(small).baseline.details.contents
    routes_agree(large, before, "artworks")


def routes_agree(changed, before: Contents, what: str) -> bool:
    """Compare routes with and without the contents of before; return whether they were used."""
    mix = job_mix(changed)
    used = False
    for choice in changed.alternatives.values():
        alone = routes(Contents(changed, mix), choice)
        known = routes(Contents(changed, mix, before), choice)
        for part in ("load", "costs", "makeable"):
            assert (getattr(alone, part) == getattr(known, part)).all(), (what, part)
        used |= known.contents[0] is routes(before, choice).contents[0]
    return used


def refused_alone(study, path, value) -> bool:
    """Return whether a value is refused as a single scenario, too."""
    try:
        appraise(study, {path: value}, keep="cash")
    except CapexError:
        return True
    return False


@laws(15)
@given(SMALL, st.data())
def test_law_a_batch_of_several_inputs_is_its_single_scenarios(study, data):
    inputs = {path: quantity for path, quantity in study.quantities()
              if another_value(quantity) is not None and "sold_in_month" not in path}  # fmt: skip
    paths = data.draw(
        st.lists(st.sampled_from(sorted(inputs)), min_size=1, max_size=5, unique=True)
    )
    scenarios = {}
    for path in paths:
        here, there = inputs[path].likely, another_value(inputs[path])
        picks = data.draw(st.lists(st.booleans(), min_size=3, max_size=3))
        scenarios[path] = [there if pick else here for pick in picks]
    try:
        gap = differences(study, scenarios)
    except InputError:
        return  # values that are refused together are refused alone, too
    assert gap <= 1e-9


def test_law_a_batch_that_swaps_the_order_of_purchases_is_its_single_scenarios():
    study = seeded_study(3, Size(jobs=3, frames=1, years=2))
    months = {
        "alternatives.staged.machines.0.month": [0.0, 12.0, 6.0],
        "alternatives.staged.machines.1.month": [12.0, 0.0, 6.0],
        "alternatives.staged.recovered_demand": [0.3, 0.3, 0.3],
    }
    assert differences(study, months) <= 1e-9


def test_law_a_batch_with_and_without_finishers_is_its_single_scenarios():
    study = seeded_study(3, Size(jobs=3, frames=1, years=2))
    assert differences(study, {"shop.people.finishers": [0.0, 1.0, 0.5]}) <= 1e-9


def test_law_a_batch_in_which_the_wage_decides_is_its_single_scenarios():
    """Overtime is worked at a low wage and not at a high one."""
    study = hand_study(
        shop__people__finishers=0,
        shop__people__idle_time_redeployed=1,
        shop__hours__overtime_per_month="10 h",
        jobs__plain__orders_per_month=2000,
        jobs__plain__price=22,
        jobs__laminated__orders_per_month=0,
    )
    wages = [wage / 3600 for wage in (5.0, 20.0, 40.0, 60.0)]
    batch = appraise(study, {"shop.people.wage": wages})
    overtime = batch.baseline.details.output.overtime
    assert overtime[0].all()
    assert not overtime[2:].any()
    assert differences(study, {"shop.people.wage": wages}) <= 1e-9


def test_law_a_long_batch_is_its_single_scenarios(measured):
    """More scenarios than one block holds, the demand up to where stations choke."""
    study = seeded_study(5, Size(jobs=4, frames=1, years=2))
    demand = np.linspace(0.5, 30.0, 2 * BLOCK + 40)
    batch = appraise(study, {"levers.demand": demand})
    worst = 0.0
    for i in (0, BLOCK - 1, BLOCK, BLOCK + 70, 2 * BLOCK, 2 * BLOCK + 39):
        single = appraise(study, {"levers.demand": demand[i]})
        for key, outcome in single.outcomes.items():
            gap = batch.outcomes[key].net_present_value[i] - outcome.net_present_value[0]
            worst = max(worst, abs(gap / outcome.net_present_value[0]))
    measured(f"batch of {demand.size} against singles: worst difference {worst:.1e} of NPV")
    assert worst <= 1e-9


def headline() -> dict[str, dict[str, float | str]]:
    """Return the demo's headline figures, rounded as a person would quote them."""
    found = appraise(read_study(data_folder() / "studies" / "quenlow.toml"))
    return {
        key: {
            "gain": round(float(outcome.gain[0]), -2),
            "net_present_value": round(float(outcome.net_present_value[0]), -3),
            "worst_month_end_cash": round(float(outcome.worst_month_end_cash[0]), -2),
            "tightest_station": outcome.stations[int(outcome.tightest_station[0])].key,
            "highest_load": round(float(outcome.load.max()), 2),
            "fullest_month": int(outcome.fullest_month[0, int(outcome.tightest_station[0])]),
            "floor": round(float(outcome.details.area.max()), 1),
            "payback": str(round(float(outcome.payback_period[0]), 1)),
        }
        for key, outcome in found.outcomes.items()
    }


def test_golden_demo():
    if os.environ.get("CAPEX_RENEW_GOLDEN"):
        GOLDEN.write_text(json.dumps(headline(), indent=2) + "\n", encoding="utf-8")
    assert headline() == json.loads(GOLDEN.read_text(encoding="utf-8"))


def test_refuses_to_keep_everything_of_more_than_a_block():
    study = read_study(data_folder() / "studies" / "quenlow.toml")
    with pytest.raises(InputError, match=f"at most {BLOCK} scenarios"):
        appraise(study, {"levers.demand": np.ones(BLOCK + 1)}, keep="everything")
    with pytest.raises(InputError, match="at least one value"):
        appraise(study, {"levers.demand": []})
