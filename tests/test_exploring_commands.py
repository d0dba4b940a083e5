"""``capex explore`` and ``capex batch``: the figures of the package, in words, JSON and a table."""

from __future__ import annotations

import csv
import json
import re
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner

from capex.__main__ import app, main
from capex.decision.risk.simulation import simulate
from capex.decision.risk.summary import RiskSummary, risk_summary
from capex.study import StudyFile, data_folder, read_study
from capex.views.risk import chance_text

STUDY = data_folder() / "studies" / "quenlow.toml"
DRAWS = 32


@pytest.fixture(scope="module")
def said() -> RiskSummary:
    return risk_summary(simulate(read_study(STUDY), DRAWS, seed=7))


def printed(monkeypatch: pytest.MonkeyPatch, *words: str, width: int = 120, code: int = 0) -> str:
    monkeypatch.setenv("COLUMNS", str(width))
    found = CliRunner().invoke(app, list(words))
    assert found.exit_code == code, found.output
    return found.stdout


def explored(monkeypatch: pytest.MonkeyPatch, *words: str, width: int = 120) -> str:
    asked = ("explore", str(STUDY), "--draws", str(DRAWS), "--seed", "7")
    return printed(monkeypatch, *asked, *words, width=width)


def no_constant(name: str) -> None:
    pytest.fail(f"{name} is no JSON")


def test_json_is_the_summary_of_the_package(
    monkeypatch: pytest.MonkeyPatch, said: RiskSummary
) -> None:
    data: dict[str, Any] = json.loads(explored(monkeypatch, "--json"), parse_constant=no_constant)
    assert (data["draws"], data["seed"], data["currency"]) == (DRAWS, 7, "USD")
    assert data["expected_value_of_perfect_information"] == {
        "value": said.knowing_everything.value, "error": said.knowing_everything.error,
    }  # fmt: skip
    assert [known["input"] for known in data["worth_of_knowing"]] == [k.path for k in said.knowing]
    assert len(data["swings_of_the_lead"]["inputs"]) == len(data["uncertain_inputs"])
    changes = [each["change"] for each in data["swings_of_the_lead"]["inputs"]]
    assert changes == sorted(changes, reverse=True)
    for choice in said.choices:
        told = data["alternatives"][choice.key]
        assert told["chance_to_leave_most"]["value"] == choice.best.value
        assert told["chance_below_baseline"]["error"] == choice.loses.error
        assert list(told["worst_month_end_cash"].values()) == list(choice.worst_cash)
        assert told["gain_over_baseline"]["p95"] == choice.gain[2]
        assert told["regret"]["value"] == choice.regret.value
    keep = data["alternatives"]["keep"]
    assert keep["payback_years"] == {"p5": None, "p50": None, "p95": None}
    assert keep["payback_reason"] == "it is the baseline"
    assert keep["chance_cover_falls_short"] is None
    assert keep["chance_cover_falls_short_reason"] == "nothing is due to a lender"


def test_a_payback_that_never_comes_is_null_with_the_reason(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    price = "machines.mid_all_in_one.price='2000000 USD'"
    data = json.loads(explored(monkeypatch, "--json", "--set", price), parse_constant=no_constant)
    told = data["alternatives"]["all_in_one"]
    assert told["payback_years"]["p95"] is None
    assert told["payback_reason"] == "not within the horizon"
    assert told["chance_not_paid_back"]["value"] == 1.0
    text = explored(monkeypatch, "--set", price)
    assert "not within 7 years" in text


@pytest.mark.parametrize("width", [60, 120])
def test_every_word_and_figure_is_whole(
    monkeypatch: pytest.MonkeyPatch, said: RiskSummary, width: int
) -> None:
    text = explored(monkeypatch, width=width)
    assert max(map(len, text.splitlines())) <= width
    assert "…" not in text
    flat = " ".join(text.split())
    assert f"{DRAWS} draws of {len(said.knowing)} uncertain inputs, seed 7." in flat
    assert "expected value of perfect information" in flat
    assert "planning estimate" in flat
    assert not {"nan", "inf", "None"} & set(re.findall(r"[A-Za-z]+", flat))
    for label in ("Leaves most", "Below baseline", "NPV gain P5", "Mean regret", "Cover below 1.25",
                  "Payback P5", "Not paid back", "Worst cash P5"):  # fmt: skip
        assert re.search(rf"^ {label} ", text, re.MULTILINE)
    for choice in said.choices:
        assert chance_text(choice.best) in flat


def test_the_seed_of_the_study_is_printed_where_none_is_given(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    text = printed(monkeypatch, "explore", str(STUDY), "--draws", "32")
    assert f"seed {read_study(STUDY).uncertainty.seed}." in text


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["explore", str(STUDY), "--draws", "100"], "draws: 100 must be a power of two"),
        (["explore", str(STUDY), "--seed", "-1"], "seed: -1 must be at least 0"),
        (["explore", str(STUDY), "--set", "shop.nothing=1"], "nothing"),
        (["batch", str(STUDY), "--out", "table.csv"], "is not a folder"),
        (["batch", str(STUDY.parent), "--out", "nowhere/table.csv"], "in a folder that exists"),
    ],
)
def test_what_cannot_be_used_is_refused_by_name_and_exit_2(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], tmp_path: Path,
    words: list[str], said: str,
) -> None:  # fmt: skip
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr("sys.argv", ["capex", *words])
    with pytest.raises(SystemExit) as stop:
        main()
    assert stop.value.code == 2
    assert said in " ".join(capsys.readouterr().err.split())
    assert list(tmp_path.iterdir()) == []


def test_batch_writes_one_table_and_says_what_has_no_figures(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path, said: RiskSummary
) -> None:
    shops = tmp_path / "shops"
    shops.mkdir()
    StudyFile.read(STUDY).write(shops / "one.toml")
    (shops / "other.toml").write_text("title = 'not a study'\n", encoding="utf-8")
    out = tmp_path / "table.csv"
    asked = ("batch", str(shops), "--draws", "32", "--seed", "7", "--jobs", "1", "--out", str(out))
    for _ in range(2):
        text = " ".join(printed(monkeypatch, *asked, code=2).split())
        assert "32 draws a study, seed 7." in text
        assert "2 studies: 1 appraised, 1 not appraised" in text
        assert "other.toml: " in text
        with out.open(encoding="utf-8-sig", newline="") as lines:
            rows = list(csv.DictReader(lines))
        assert [row["file"] for row in rows] == ["one.toml"] * 4 + ["other.toml"]
        assert [float(row["gain_p50"]) for row in rows[:4]] == [c.gain[1] for c in said.choices]
        assert "more problems" in rows[4]["reason"]
    (shops / "other.toml").unlink()
    assert "1 studies: 1 appraised" in " ".join(printed(monkeypatch, *asked).split())


def test_batch_ends_with_2_where_a_study_has_no_figures(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """As the command line itself ends, once the table is written."""
    (tmp_path / "bad.toml").write_text("title = 'not a study'\n", encoding="utf-8")
    out = tmp_path / "table.csv"
    words = ["capex", "batch", str(tmp_path), "--draws", "32", "--jobs", "1", "--out", str(out)]
    monkeypatch.setattr("sys.argv", words)
    with pytest.raises(SystemExit) as stop:
        main()
    assert stop.value.code == 2
    assert out.exists()
    assert "1 rows written" in " ".join(capsys.readouterr().out.split())
