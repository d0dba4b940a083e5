"""The page's words on its draws: those of the one summary, also where the draws decide nothing."""

from __future__ import annotations

import dataclasses
from html import unescape
from typing import Any

import numpy as np
import plotly.graph_objects as go
import pytest

from capex.decision.risk.chances import Estimate
from capex.decision.risk.crossover_range import CrossoverRange
from capex.decision.risk.draws import SETS, draw
from capex.decision.risk.importance import importance
from capex.decision.risk.simulation import Simulation, simulate
from capex.decision.risk.summary import RiskSummary, risk_summary
from capex.study import Study, StudyFile, data_folder
from capex.views.charts.picture import Look
from capex.views.explore import drawn_tables, pictures
from capex.views.explore.crossing import crossing_html
from capex.views.explore.page import ExplorePage
from capex.views.explore.words import shares_fact
from capex.views.risk import chance_text, choice_table, knowing_rows, risk_data, risk_sentences
from capex.views.wording import Currency

FILE = StudyFile.read(data_folder() / "studies" / "quenlow.toml")
LOOK = Look(FILE.study, "metric", Currency(FILE.study.currency))
COVER = {"low": 1.0, "likely": 1.25, "high": 4.0, "distribution": "triangular"}


def of_first(count: int, study: Study = FILE.study) -> Study:
    alternatives = dict(list(study.alternatives.items())[:count])
    return study.model_copy(update={"alternatives": alternatives})


def made_up(gains: Any, count: int = 64, inputs: int = 3) -> RiskSummary:
    """Return the summary of gains that come from a call with the ranks of a few inputs."""
    study = of_first(len(gains(np.full((1, inputs), 0.5))[0]))
    uncertain = [path for path, q in study.quantities() if q.low != q.high and not q.entry.whole]
    held = {path: q.likely for path, q in study.quantities()
            if q.low != q.high and path not in uncertain[:inputs]}  # fmt: skip
    draws = draw(study, count, held=held)
    table = np.asarray(gains(draws.ranks), dtype=np.float64)
    paid = np.where(table > 0.0, 2.0, np.inf)
    return risk_summary(Simulation(study, draws, table, paid, table, np.full(table.shape, 1.3)))


def at_cover(found: Simulation, cover: float = 1.6) -> Simulation:
    """Return the simulation with that cover wherever something is due to a lender."""
    covers = np.where(np.isfinite(found.least_cover), cover, np.inf)
    return dataclasses.replace(found, least_cover=covers)


def test_law_page_and_command_agree_where_the_minimum_cover_is_uncertain() -> None:
    found = at_cover(simulate(FILE.changed({"money.lender.minimum_cover": COVER}).study, 64))
    said = risk_summary(found)
    asked = found.draws.scenarios()["money.lender.minimum_cover"]
    page = drawn_tables.cover_table(said, LOOK)
    heads, rows = choice_table(said, LOOK.currency)
    place = heads.index("Cover below what is asked (uncertain)")
    differ = 0
    for k, choice in enumerate(said.choices):
        if choice.cover_falls_short is not None:
            share = np.mean(found.least_cover[:, k] < asked)
            assert choice.cover_falls_short.value == share
            assert page.rows[k][1] == rows[k][place] == chance_text(choice.cover_falls_short)
            differ += share != np.mean(found.least_cover[:, k] < COVER["likely"])
    assert differ
    assert page.columns[1] == "Chance of cover below what the lender asks for (uncertain)"
    data = risk_data(said, [], None)
    assert data["cover_asked"] is None
    assert data["cover_asked_reason"].startswith("uncertain")


def test_a_minimum_that_is_certain_is_named() -> None:
    said = made_up(lambda ranks: np.stack([0.0 * ranks[:, 0], ranks[:, 0] - 0.5], axis=1))
    assert drawn_tables.cover_table(said, LOOK).columns[1] == "Chance of cover below 1.25"
    assert "Cover below 1.25" in choice_table(said, LOOK.currency)[0]
    assert risk_data(said, [], None)["cover_asked"] == 1.25


def test_law_the_page_shows_the_figures_of_the_summary(tmp_path: Any) -> None:
    path = tmp_path / "study.toml"
    FILE.changed({"money.lender.minimum_cover": COVER}).write(path)
    page = ExplorePage(path, draws=[64])
    page.view()
    drawn = page.state.drawn
    page.state.drawn = dataclasses.replace(drawn, simulation=at_cover(drawn.simulation))
    said = risk_summary(page.state.drawn.simulation)
    shorts = [one.cover_falls_short for one in said.choices if one.cover_falls_short is not None]
    assert 0.5 < shorts[0].value < 0.9
    assert all(chance_text(short) in page._cover.value for short in shorts)


def test_everything_worth_something_and_no_input_alone_is_no_contradiction() -> None:
    """Only two inputs together turn the choice, as often this way as that."""

    def gains(ranks: Any) -> Any:
        turn = np.sign(ranks[:, 0] - 0.5) * np.sign(ranks[:, 1] - 0.5)
        return np.stack([0.0 * turn, 900.0 * turn - 300.0], axis=1)

    said = made_up(gains, 1024)
    assert said.knowing_everything.value > 100.0
    assert all(one.worth.value == 0.0 < one.worth.error for one in said.knowing)
    picture = pictures.knowing_picture(said, LOOK)
    go.Figure(picture.figure)
    most = max(one.worth.error for one in said.knowing)
    for words in (picture.reading, " ".join(risk_sentences(said, LOOK.currency))):
        assert "would be worth $3" in words
        assert "Knowing one input alone was not found to change the choice" in words
        assert f"at most ${round(most, -int(np.log10(most)) + 1):,.0f}" in words.replace("−", "-")
        assert "nothing" not in words
    assert all(row[1] == "nothing found" for row in picture.table.rows)
    assert all(row[2].startswith("at most $") for row in picture.table.rows)
    assert not any("$0" in text or "± 0" in text for row in picture.table.rows for text in row)
    assert knowing_rows(said, LOOK.currency, 5) == []


def test_where_one_choice_leads_in_every_draw_nothing_would_change_it() -> None:
    said = made_up(lambda ranks: np.stack([0.0 * ranks[:, 0], 5.0 + ranks[:, 0]], axis=1))
    picture = pictures.knowing_picture(said, LOOK)
    name = said.ranking[0].name
    sentence = f"another choice leaves more than {name}: nothing that could be found out"
    assert sentence in picture.reading
    assert sentence in " ".join(risk_sentences(said, LOOK.currency))
    assert "±" not in picture.reading
    assert all(row[1:] == ["nothing", "–", "–"] for row in picture.table.rows)


def gains_of_twins(ranks: Any) -> Any:
    """Return the gains of a baseline and of two choices that are the same."""
    lead = 100.0 * ranks[:, 0] - 20.0
    return np.stack([0.0 * lead, lead, lead], axis=1)


def test_identical_choices_are_no_matter_of_how_much_risk_one_bears() -> None:
    said = made_up(gains_of_twins)
    _, one, twin = said.choices
    words = drawn_tables.dominance_sentence(said)
    assert f"{twin.name} leaves the same at every chance" in words
    assert f"does not dominate {said.choices[0].name}:" in words
    printed = risk_sentences(said, LOOK.currency)
    assert f"{one.name} and {twin.name} leave the same at every chance" in printed[1]


def test_a_study_of_the_baseline_alone_has_sentences() -> None:
    study = of_first(1)
    found = simulate(study, 32)
    said = risk_summary(found)
    look = Look(study, "metric", Currency(study.currency))
    assert pictures.payback_picture(found, look).reading == (
        "There is only the baseline, which has no payback."
    )
    assert pictures.gains_picture(said, look).reading == "There is only the baseline."
    assert drawn_tables.dominance_sentence(said) == ""
    assert "nothing that could be found out would change it" in (
        pictures.knowing_picture(said, look).reading
    )


def test_a_share_of_knowing_everything_is_off_by_points() -> None:
    said = made_up(lambda ranks: np.stack([0.0 * ranks[:, 0], 900.0 * ranks[:, 0] - 400.0], axis=1))
    rows = knowing_rows(said, LOOK.currency, 5)
    assert rows[0][1].endswith(" points")
    assert rows[0][1] in pictures.knowing_picture(said, LOOK).reading


def crossing(volumes: list[float], **more: Any) -> str:
    known = [volume for volume in volumes if np.isfinite(volume)]
    extremes = (min(known), max(known)) if known else None
    found = CrossoverRange(
        np.array(volumes), Estimate(len(known) / len(volumes), 0.02), extremes,
        more.get("middle"), more.get("ends"), (0.4, 2.5),
    )  # fmt: skip
    return crossing_html(found, ("One <b>", "Other"), 7)


def test_few_draws_that_cross_are_said_to_be_few() -> None:
    far = [np.inf] * 100
    one = crossing([0.85, *far])
    assert "The one draw in which they do does so at 85%." in one
    assert "One &lt;b&gt; and Other" in one
    few = crossing([0.85, 0.9, 1.2, *far])
    assert "In the 3 draws in which they do: at 85% at the least and 120% at the most" in few
    assert "points" not in few.partition("±")[0].partition("orders: ")[2].partition(".")[2]
    some = crossing([0.85, *[1.0] * 28, 1.2, *far], middle=Estimate(1.0, 0.0))
    assert "at 100.0% ± 0.1 points in the middle; at 85% at the least and 120% at the most" in some
    assert "of 30 draws, too few for percentiles nearer the ends" in some
    ends = (Estimate(0.9, 0.02), Estimate(1.1, 0.03))
    many = crossing([1.0] * 60 + far, middle=Estimate(1.0, 0.0), ends=ends)
    assert "nine draws of ten lie between 90% ± 2 points and 110% ± 3 points" in many
    assert "change places" in crossing(far)
    assert "at the least" not in crossing(far)


def test_shares_of_the_variance_carry_seed_and_sample(monkeypatch: pytest.MonkeyPatch) -> None:
    study = FILE.changed({"uncertainty.seed": 77}).study
    inputs = draw(study, 2 * SETS).inputs[1:3]
    asked: dict[str, Any] = {}

    def figures(values: Any) -> Any:
        asked["rows"] = asked.get("rows", 0) + len(values)
        return 1000.0 * (values[:, :1] / values[:, :1].mean())

    found = importance(figures, inputs, 64, seed=study.uncertainty.seed)
    picture = pictures.shares_picture(found, LOOK, ("A", "B"))
    assert "64 rows, seed 77." in picture.reading
    deviation = LOOK.money(float(np.sqrt(found.variance[0])))
    assert f"(standard deviation {deviation})" in picture.reading
    assert all(row[1].endswith("points") for row in picture.table.rows)


def test_the_page_shares_out_the_variance_with_the_seed_of_the_study(tmp_path: Any) -> None:
    path = tmp_path / "study.toml"
    FILE.changed({"uncertainty.seed": 77}).write(path)
    page = ExplorePage(path, draws=[32])
    page.view()
    page.deeper.variance.press()
    assert "128 rows, seed 77." in page.deeper._shares.reading


def test_choices_that_equal_each_other_in_every_draw_say_that_they_share_their_chance() -> None:
    said = made_up(gains_of_twins)
    _, one, twin = said.choices
    rows = [row[0] for row in drawn_tables.sureness_table(said, LOOK).rows]
    shares = "in every draw, and shares its chance"
    assert rows[0] == said.choices[0].name
    assert rows[1] == f"{one.name} (as good as “{twin.name}” {shares})"
    assert rows[2] == f"{twin.name} (as good as “{one.name}” {shares})"
    assert one.best.value == twin.best.value
    fact = unescape(
        shares_fact(
            said.simulation,
            Look(said.simulation.study, "metric", LOOK.currency),
            busy=False,
            waits=False,
        )
    )
    assert fact.count(f"is as good as “{twin.name}” {shares}.") == 1
    apart = made_up(lambda ranks: np.stack([0.0 * ranks[:, 0], ranks[:, 0], ranks[:, 1]], axis=1))
    assert "as good as" not in str(drawn_tables.sureness_table(apart, LOOK).rows)
