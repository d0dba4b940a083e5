"""The words of the decision page: every figure is appraise's, every user text is escaped."""

import re
from html import unescape

import pytest

from capex.decision.appraise import appraise
from capex.decision.swings import swings
from capex.errors import InputError, Problem, StudyError
from capex.shopfloor.lead_time import lead_times
from capex.study import Study
from capex.study.actuals import ActualMonth, Actuals
from capex.units import quantity_text
from capex.views.cards import (
    cards_html,
    changes_sentence,
    dial_text,
    months_html,
    problems_html,
    sureness_html,
    verdict_html,
)
from capex.views.charts.picture import Look
from capex.views.inputs import dials
from capex.views.state import DecisionState, decision_result
from capex.views.wording import (
    Currency,
    distinct_figures,
    money_text,
    month_name,
    payback_text,
    sureness_sentence,
)

BAD = '<img src=x onerror="alert(1)">'


@pytest.fixture(scope="module")
def look(demo: Study) -> Look:
    return Look(demo, "metric", Currency("USD"))


def cards(html: str) -> list[str]:
    return [unescape(re.sub(r"<[^>]+>", "|", part)) for part in html.split("<article")[1:]]


@pytest.mark.parametrize("changes", [{}, {"levers.demand": 1.6, "money.horizon": 60.0}])
def test_every_figure_on_a_card_is_appraise_s(
    demo: Study, look: Look, changes: dict[str, float]
) -> None:
    found = cards(cards_html(decision_result(demo, changes), look))
    alone = appraise(demo, changes)
    assert len(found) == len(alone.outcomes)
    gains = [float(outcome.gain[0]) for outcome in alone.outcomes.values()]
    figures = distinct_figures(gains, look.currency)
    for card, (key, outcome) in zip(found, alone.outcomes.items(), strict=True):
        months = int(outcome.horizon[0])
        assert f"|{outcome.name}|" in card
        if key != demo.baseline:
            gain = abs(float(outcome.gain[0]))
            assert f"|{money_text(gain, look.currency, figures)} |" in card
            assert f"|{payback_text(float(outcome.payback_period[0]), months)}|" in card
        assert f"|{money_text(float(outcome.worst_month_end_cash[0]), look.currency)}|" in card
        station = outcome.stations[int(outcome.tightest_station[0])].name
        assert f"|{outcome.load[0].max():.0%}|{station}, " in card
        assert outcome.details is not None
        area = outcome.details.area[0]
        assert f"|{quantity_text(float(area[0]), 'area', digits=3)}|" in card
        d = outcome.details
        times = lead_times(d.study, d.mix, demo.alternatives[key], d.routes, d.output)
        assert f"{float(times.worst[0]):.1f} working days|" in card


def test_cards_are_alike_and_in_the_study_s_order(demo: Study, look: Look) -> None:
    html = cards_html(decision_result(demo, {}), look)
    assert re.findall(r'data-alternative="(\w+)"', html) == list(demo.alternatives)
    terms = [re.findall(r"<dt>(.*?)</dt>", part) for part in html.split("<article")[1:]]
    assert all(card == terms[0] for card in terms)


def test_a_job_too_wide_is_named_with_its_reason(demo: Study, look: Look) -> None:
    wide = demo.jobs["banners"].model_copy(
        update={
            name: demo.jobs["banners"].width.replaced([2.4], name) for name in ("width", "height")
        }
    )
    study = demo.model_copy(update={"jobs": {**demo.jobs, "banners": wide}})
    for card in cards(cards_html(decision_result(study, {}), look)):
        assert "Banners: bought in, the piece or its roll is too wide for the machines" in card


def test_the_baseline_says_that_it_is_one_and_shows_no_gain(demo: Study, look: Look) -> None:
    found = dict(
        zip(demo.alternatives, cards(cards_html(decision_result(demo, {}), look)), strict=True)
    )
    own = found.pop(demo.baseline)
    assert "|Baseline |what the other choices are measured against|" in own
    assert "$0" not in own
    assert not any("Baseline" in card for card in found.values())


def test_one_more_hour_earns_what_the_programme_says_it_is_worth(demo: Study, look: Look) -> None:
    result = decision_result(demo, {"levers.demand": 1.8})
    scarce = 0
    for card, outcome in zip(
        cards(cards_html(result, look)), result.appraisal.outcomes.values(), strict=True
    ):
        assert outcome.details is not None
        for k, station in enumerate(outcome.stations):
            worth = outcome.details.output.worth[0, k, : int(outcome.horizon[0])]
            if worth.max() > 0:
                scarce += 1
                text = money_text(float(worth.max()) * 3600.0, look.currency)
                month = month_name(demo, int(worth.argmax()) + 1)
                assert re.search(rf"at most {re.escape(text)}\W+at {station.name} in {month}", card)
    assert scarce > len(result.appraisal.outcomes)  # one of them is short of two stations
    for card in cards(cards_html(decision_result(demo, {}), look)):
        assert "|earns nothing|no machine and nobody is short of hours in any month|" in card


@pytest.mark.parametrize(
    ("value", "shown"),
    [
        (1.0, "100% of today"),
        (1.1235, "112.35% of today"),
        (0.9999999, "99.99999% of today"),
        (2 / 3, "66.67% of today"),
    ],
)
def test_an_input_is_shown_as_it_is_used(look: Look, value: float, shown: str) -> None:
    assert dial_text(dials(look.study)[0], value, look) == shown


def test_verdict_states_its_convention_beside_the_value(state: DecisionState, look: Look) -> None:
    state.change_all({"money.discount_rate": 0.12, "money.horizon": 60.0})
    changed = changes_sentence(state.dials.values(), state.changes, look)
    text = unescape(re.sub(r"<[^>]+>", " ", verdict_html(state.result, look, changed)))
    assert "over 5 years at 12.0% a year, discounted month by month, in nominal money" in text
    assert "Changed from the study: discount rate 12.0% a year, horizon 5 years." in text


def test_another_currency_names_its_rate_and_source(state: DecisionState) -> None:
    look = Look(state.study, "metric", state.currencies["EUR"])
    text = verdict_html(state.result, look, "")
    assert "€" in text
    assert "Shown in EUR at 0.9 a USD (assumed); worked out in USD." in text


def test_us_customary_units_reach_the_cards(state: DecisionState) -> None:
    look = Look(state.study, "us_customary", state.currency)
    html = cards_html(state.result, look)
    assert "ft²" in html
    assert "m²" not in html


def test_sureness_is_the_swings_sentence_or_says_that_it_is_pending(
    state: DecisionState,
) -> None:
    assert 'aria-busy="true"' in sureness_html(state.study, None, "metric")
    text = sureness_html(state.study, swings(state.study), "metric")
    assert re.search(r"stays first in \d+ of \d+ cases", text)


def test_user_words_are_escaped_everywhere(demo: Study) -> None:
    jobs = {key: job.model_copy(update={"name": BAD}) for key, job in demo.jobs.items()}
    machines = {key: m.model_copy(update={"name": BAD}) for key, m in demo.machines.items()}
    choices = {key: c.model_copy(update={"name": BAD}) for key, c in demo.alternatives.items()}
    study = demo.model_copy(
        update={"shop_name": BAD, "jobs": jobs, "machines": machines, "alternatives": choices}
    )
    result, look = decision_result(study, {}), Look(study, "metric", Currency("USD"))
    html = (
        verdict_html(result, look, BAD)
        + cards_html(result, look)
        + sureness_html(study, swings(study), "metric")
        + problems_html(StudyError(BAD, [Problem(BAD, BAD, BAD)]))
        + problems_html(InputError(BAD, BAD, BAD))
    )
    assert "<img" not in html
    assert html.count("&lt;img") > 20


def test_all_problems_of_a_study_are_listed() -> None:
    problems = [Problem(f"machines.m{n}.price", -n, "must be at least 0") for n in range(1, 4)]
    html = problems_html(StudyError("shop.toml", problems))
    assert "3 problems" in html
    assert all(f"machines.m{n}.price" in html for n in range(1, 4))


def test_choices_that_differ_show_figures_that_differ(demo: Study, look: Look) -> None:
    """All cash of two choices rounds to the same three figures; the cards tell them apart."""
    result = decision_result(demo, {})
    own = {k: float(o.net_present_value[0]) for k, o in result.appraisal.outcomes.items()}
    assert money_text(own["separate"], look.currency) == money_text(
        own["all_in_one"], look.currency
    )
    shown = re.findall(
        r"All cash of this choice\|+([^|]+)\|", "".join(cards(cards_html(result, look)))
    )
    assert len(shown) == len(set(shown)) == len(own)
    assert shown == [money_text(value, look.currency, 4) for value in own.values()]


def test_amounts_that_are_the_same_need_no_more_figures() -> None:
    dollars = Currency("USD")
    assert distinct_figures([166_000.2, 166_000.4, 5.0], dollars) == 3
    assert distinct_figures([166_010.0, 166_020.0], dollars) == 5
    assert distinct_figures([166_010.0, 166_020.0], Currency("EUR", 0.01)) == 3
    assert distinct_figures([], dollars) == 3


def test_months_that_are_kept_are_named_with_the_way_to_them(demo: Study) -> None:
    assert months_html(demo) == ""
    seen = Actuals(choice="keep", months=[{"month": "2027-01", "orders": 9}])
    one = months_html(demo.model_copy(update={"actuals": seen}))
    assert "1 month of figures is kept with this study" in one
    assert "<a href='year_on' data-to='year_on'>A year on</a>" in one
    two = [*seen.months, ActualMonth(month="2027-02", orders=9)]
    more = seen.model_copy(update={"months": two})
    assert "2 months of figures are" in months_html(demo.model_copy(update={"actuals": more}))


def test_what_turns_the_choice_is_said_as_a_sentence_of_its_own(demo: Study) -> None:
    found = swings(demo)
    said = sureness_sentence(demo, found)
    assert re.search(r"\. [^.]+ comes first instead where .+ is [\d.]+.*?, or where .+ is ", said)
