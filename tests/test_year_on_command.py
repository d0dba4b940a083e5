"""The command year-on: what the page says, as text and as JSON, and the study it writes."""

import json

import pytest
from typer.testing import CliRunner

from capex.__main__ import app
from capex.decision.year_on import year_on
from capex.errors import InputError
from capex.study import data_folder, read_study

STUDIES = data_folder() / "studies"
AFTER = str(STUDIES / "quenlow_year_on.toml")


def run(*arguments: str) -> str:
    found = CliRunner(env={"COLUMNS": "150"}).invoke(app, ["year-on", *arguments])
    if found.exception is not None:
        raise found.exception
    return found.stdout


def test_the_answer_comes_first_and_the_caution_last():
    told = run(AFTER)
    assert told.startswith(("The choice holds", "Not the same again"))
    for title in ("Plan against actual", "What was re-estimated", "Going over from today"):
        assert title in told
    assert "confirm it with a licensed accountant" in told


def test_json_holds_the_figures_of_the_package():
    told = json.loads(run(AFTER, "--json"))
    found = year_on(read_study(AFTER))
    assert told["holds"] == found.standing.holds
    assert told["inputs"] == found.values
    assert told["ratios"]["demand"]["value"] == found.ratios["demand"].value
    assert told["go_over"][0]["gain"] == float(found.onward.switches[0].gain[1])


def test_the_study_is_written_with_what_was_measured(tmp_path):
    into = tmp_path / "after.toml"
    run(AFTER, "--save", str(into))
    assert read_study(into).levers.demand.source == "measured"


def test_a_study_without_months_is_refused():
    with pytest.raises(InputError, match="at least one month"):
        run(str(STUDIES / "quenlow.toml"))
