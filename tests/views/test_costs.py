"""The page of costs and prices: its figures are the engine's, its gaps have reasons."""

from __future__ import annotations

import pytest

from capex.decision.appraise import appraise
from capex.decision.break_even import break_evens
from capex.decision.lost_today import lost_today
from capex.decision.machine_lives import machine_lives
from capex.decision.make_or_buy import make_or_buy
from capex.decision.ownership import ownership_cost
from capex.decision.price_limit import PriceLimit, PriceReason
from capex.decision.staging import purchase_timing
from capex.decision.verdict import verdict
from capex.decision.walk_away import MachineWalkAway, walk_away_prices
from capex.study import StudyFile, data_folder, read_study
from capex.views.chart import Chart
from capex.views.charts.picture import Look
from capex.views.costs import prices, running, timing
from capex.views.costs.page import CostsPage
from capex.views.wording import Currency

DEMO = data_folder() / "studies" / "quenlow.toml"


@pytest.fixture(scope="module")
def study():
    return read_study(DEMO)


@pytest.fixture(scope="module")
def found(study):
    return appraise(study)


@pytest.fixture(scope="module")
def look(study):
    return Look(study, "metric", Currency(study.currency))


@pytest.fixture(scope="module")
def page():
    shown = CostsPage(DEMO)
    shown.view()
    return shown


def test_the_page_opens_on_the_first_choice_of_the_verdict(page, found):
    """Not on the first of the file: here it is another."""
    first = next(key for key in found.outcomes if key != found.study.baseline)
    assert verdict(found).best != first
    assert page.values["choice"] == verdict(found).best


def charts(page: CostsPage) -> list[Chart]:
    return [page.prices.chart, page.lost, page.owned, page.making, page.timed, page.life.keep,
            page.life.life]  # fmt: skip


def test_law_the_waterfall_ends_where_its_sum_stands(found, look):
    lost = lost_today(found)
    bars = running.lost_picture(lost, look).figure["data"]
    total = bars[-1]
    assert total["name"] == "All together"
    ends = [b + x for bar in bars[:-1] for b, x in zip(bar["base"], bar["x"], strict=True)]
    assert max(ends) == pytest.approx(total["x"][0])
    assert sum(x for bar in bars[:-1] for x in bar["x"]) == pytest.approx(total["x"][0])


def test_law_the_bars_of_owning_are_all_of_its_cost(found, look):
    bars = running.ownership_picture(found, look).figure["data"]
    for k, outcome in enumerate(found.outcomes.values()):
        assert sum(bar["x"][k] for bar in bars) == pytest.approx(
            -float(ownership_cost(outcome).nominal[0])
        )


def test_law_the_lines_of_owning_add_up_to_their_totals_on_screen(look):
    """A lease in one choice, loans in others: costs to their sum, financing to the last line."""
    changes = {"alternatives.all_in_one.machines.0.price": None,
               "alternatives.all_in_one.machines.0.offer": "all_in_one_lease"}  # fmt: skip
    leased = appraise(StudyFile.read(DEMO).changed(changes).study)
    table = running.ownership_picture(leased, look).table
    for column in range(1, len(table.columns)):
        amounts = {
            row[0]: int(row[column].replace("−", "-").replace("$", "").replace(",", ""))
            for row in table.rows
        }
        sums = (amounts.pop("Owning and running"), amounts.pop("As the machines are paid for"))
        del amounts["The same in today's money"]
        apart = [name for name in amounts if "lea" in name or "loan" in name or "lessor" in name
                 or "given back" in name or "rents cover" in name]  # fmt: skip
        lent = sum(amounts[name] for name in apart)
        assert sums[0] == pytest.approx(sum(amounts.values()) - lent, abs=len(amounts) / 2)
        assert sums[1] == pytest.approx(sums[0] + lent, abs=len(amounts) / 2)
    assert {"Rents and fees of leases", "Price paid by the lessor"} <= set(apart)


def test_machines_of_unequal_lives_stand_beside_each_other_in_both_ways(page, study, look):
    lives = machine_lives(study, list(page.life._new), upkeep_growth=0.1)
    table = page.life.lives.value
    for each in lives:
        assert study.machines[each.machine].name in table
        assert look.money(each.annual_cost) in table
    assert "Level cost a year" in table
    assert f"Chain over {lives[0].chain_years} years" in table


@pytest.mark.parametrize(
    ("reason", "says", "never"),
    [
        (PriceReason.FOUND, "cover falls below the lender's minimum", "not worth buying"),
        (PriceReason.NOT_COVERED_FREE, "; cover is below the lender's minimum", "it is cover"),
    ],
)
def test_a_lenders_limit_speaks_of_cover(look, reason, says, never):
    """At that price the machine may be worth buying all the same: only cover ends there."""
    level = PriceLimit(20_000.0, PriceReason.FOUND, 21_000.0, "keep", (0.0, 1e6))
    price = 19_000.0 if reason is PriceReason.FOUND else None
    lender = PriceLimit(price, reason, 21_000.0, None, (0.0, 1e6))
    one = MachineWalkAway("separate", 0, "mid_roll_printer", 21_000.0, level, level, lender, None)
    picture = prices.prices_picture([one], look)
    row = next(row for row in picture.table.rows if "at the lender's minimum cover" in row[0])
    said = row[-1] if price is not None else picture.reading
    assert says in said
    assert never not in said


def test_every_group_of_cost_is_in_one_bar(found):
    drawn = [group for groups, _ in running._BARS.values() for group in groups]
    groups = [group.name for group in ownership_cost(found.baseline).costs]
    assert sorted(drawn) == sorted(groups)


def test_make_or_buy_names_what_costs_more_to_make(found, look):
    each = make_or_buy(found.outcomes["all_in_one"])
    picture = running.make_or_buy_picture(each, "All-in-one", 1, look)
    for item in each:
        said = picture.reading.split(".")[0]
        assert (item.name in said) == (item.difference is not None and item.difference < 0)
    assert len(picture.table.rows) == len(each)


def test_work_without_a_price_to_buy_it_in_has_its_reason(look):
    study = StudyFile.read(DEMO).changed({"jobs.banners.bought_in_price": None}).study
    each = make_or_buy(appraise(study).outcomes["all_in_one"])
    rows = {row[0]: row for row in running.make_or_buy_picture(each, "x", 1, look).table.rows}
    assert rows["Banners"][-1] == "the study has no price to buy it in at"
    assert rows["Banners"][5] == "–"


def test_timing_says_whether_never_or_a_month_leaves_most(study, look):
    found = purchase_timing(study, "staged", months=[12, 36, 60])
    picture = timing.timing_picture(found, 36, look)
    assert [row[0] for row in picture.table.rows] == ["12", "36", "60", "never"]
    never = found.gain_never >= found.gain.max()
    assert ("never buying it leaves most" in picture.reading) == never
    best = max(found.gain_never, float(found.gain.max()))
    assert look.money(best - float(found.gain[1])) in picture.reading
    assert "price is today's in every month" in picture.reading


def test_each_machine_has_its_binding_price_with_the_margin(study, look):
    found = walk_away_prices(study, "separate")
    said = prices.price_words(found, look)
    assert len(said) == len(found) == 2
    for words, one in zip(said, found, strict=True):
        limits = (one.against_baseline, one.against_rival, one.at_lender)
        price = min(limit.price for limit in limits if limit.price is not None)
        assert f"walk away above {look.money(price)}" in words
        assert look.money(abs(price - one.today)) in words


def test_a_limit_without_a_price_has_its_reason(study, look):
    found = walk_away_prices(study, "separate")
    rows = prices.prices_picture(found, look).table.rows
    without = [row for row in rows if row[2] == "–"]
    assert without
    for row in without:
        assert row[3] == "–"
        assert len(row[4]) > 10


def test_break_evens_stand_at_their_distance_in_the_order_given(study, look):
    paths = ("levers.demand", "machines.mid_all_in_one.price", "machines.mid_roll_printer.price")
    each = [found for path in paths
            for found in break_evens(study, path, [("all_in_one", "separate")])]  # fmt: skip
    picture = prices.distances_picture(each, look)
    shown: dict[int, float] = {}
    for bar in picture.figure["data"]:
        shown.update(zip(bar["y"], bar["x"], strict=True))
    expected = [found.distance for found in each if found.distance is not None]
    assert len(expected) > 1
    assert [shown[k] for k in sorted(shown)] == pytest.approx([100 * d for d in expected])
    assert f"{expected[0]:+.1%}".replace("-", "−") in picture.reading


def test_every_chart_has_a_reading_and_its_figures(page):
    assert page.state.trouble is None
    for chart in charts(page):
        assert chart.version > 0, chart.title
        assert len(chart.reading) > 20
        assert chart.table["rows"]
        assert "nan" not in (chart.figure + chart.reading + str(chart.table)).lower()


def test_break_evens_wait_until_they_are_asked_for(page):
    assert page.hangs.chart.version == 0


def test_another_choice_another_price_and_another_machine(page):
    page._changed("choice", "all_in_one")
    assert page.prices.chart.reading.startswith("Mid all-in-one: walk away above")
    assert "New and second-hand: Mid all-in-one" in page.used.table.value
    page._changed("choice", "keep")
    assert "baseline buys nothing" in page.prices.said.value
    assert "buys no new machine" in page.used.said.value
    page._changed("choice", "separate")


def test_a_wrong_age_is_refused_beside_its_field_and_the_result_stays(page):
    before = page.life.life.reading
    page.life._changed("growth", "a lot")
    assert "is not a number" in page.life._fields.messages["growth"]
    assert page.life.life.reading == before
    page.life._changed("growth", "30")
    assert page.life._fields.messages == {}
    assert page.life.life.reading != before
    page.used._changed("age", "-1")
    assert "must be from 0 to 40" in page.used._fields.messages["age"]
    page.used._changed("age", "2")
    assert page.used._fields.messages == {}


def test_a_replacement_does_all_that_the_old_machine_does(page):
    for old in page.life._old:
        page.life._changed("old", old)
        new, machines = page.life.values["new"], page.state.study.machines
        assert not new or machines[old].functions <= machines[new].functions


def test_names_of_the_study_are_escaped(tmp_path):
    nasty = "<img src=x onerror=alert(1)>"
    path = tmp_path / "study.toml"
    StudyFile.read(DEMO).changed({
        "shop_name": nasty, "machines.mid_roll_printer.name": nasty,
        "machines.mid_contour_cutter.name": nasty, "machines.mid_all_in_one.name": nasty,
        "jobs.banners.name": nasty, "alternatives.separate.name": nasty,
    }).write(path)  # fmt: skip
    page = CostsPage(path)
    page.view()
    shown = page.used.table.value + page.used.said.value + page.prices.said.value
    assert "<img" not in shown + "".join(chart.figure for chart in charts(page))
    assert "&lt;img" in page.used.table.value
