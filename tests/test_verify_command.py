"""The command that audits a study: 0 where all agrees, 1 where a figure differs, 2 on bad input."""

import json
from pathlib import Path
from subprocess import TimeoutExpired

import pytest
from typer.testing import CliRunner

from capex.__main__ import app
from capex.decision import outcome
from capex.decision.appraise import appraise
from capex.decision.audit.check import skipped
from capex.errors import CapexError
from capex.study import read_study
from capex.views.commands import verifying
from capex.views.documents.workbook import workbook_checks

PLAIN = Path(__file__).parent / "decision" / "plain_shop.toml"


@pytest.fixture
def no_engine(monkeypatch):
    """No spreadsheet engine is installed."""
    monkeypatch.setattr(workbook_checks, "spreadsheet_engine", lambda: None)


def verified(*words):
    return CliRunner().invoke(app, ["verify", str(PLAIN), *words])


def test_a_right_study_is_said_to_agree(no_engine):
    found = verified("--json")
    assert found.exit_code == 0, found.output
    data = json.loads(found.output)
    states = [check["state"] for check in data["checks"]]
    assert data["agrees"]
    assert states.count("agrees") == 24
    assert [check["reason"] for check in data["checks"] if check["state"] == "left out"] == [
        "LibreOffice is not installed"
    ] * 2


def test_a_figure_that_differs_is_shown_and_ends_in_1(no_engine, monkeypatch):
    """The measure is broken in the package itself: a payback a tenth too short."""
    right = outcome.payback_period
    monkeypatch.setattr(outcome, "payback_period", lambda flow, year: 0.9 * right(flow, year))
    found = verified()
    assert found.exit_code == 1
    assert "23 of 24 figures agree with their second derivation, 1 differs; 2 left" in found.output
    row = next(line for line in found.output.splitlines() if "DIFFERS" in line)
    assert "Payback" in row
    assert "1.2e-01" in row


def test_a_study_of_which_nothing_was_compared_does_not_agree(monkeypatch):
    left_out = skipped("new", "Payback", "loop", "years", "no path to it")
    monkeypatch.setattr(verifying, "_checks", lambda study: iter([left_out, left_out]))
    found = verified("--json")
    assert found.exit_code == 1
    assert json.loads(found.output)["agrees"] is False
    found = verified()
    assert found.exit_code == 1
    assert (
        "No figure was compared with a second derivation, so none is known to be right; 2 left out."
    ) in " ".join(found.output.split())
    assert "agree" not in found.output


def test_bad_input_is_an_error_of_the_study():
    found = CliRunner().invoke(app, ["verify", "nowhere.toml"])
    assert isinstance(found.exception, CapexError)
    assert isinstance(verified("--set", "money.horizon=-1").exception, CapexError)


def test_a_cell_of_the_workbook_that_differs_is_found(monkeypatch):
    """Cached values stand for the engine's: that they are alike is tested with the workbook."""
    monkeypatch.setattr(workbook_checks, "spreadsheet_engine", lambda: "here")
    monkeypatch.setattr(workbook_checks, "recalculated", lambda files, folder: files)
    found = appraise(read_study(PLAIN))
    new = found.outcomes["new"]
    new.__dict__["discounted_payback_period"] = new.discounted_payback_period * 1.001
    checks = list(workbook_checks.workbook_checks(found))
    assert len(checks) == 13
    assert [each.figure for each in checks if not each.holds] == ["Payback, discounted"]


@pytest.mark.parametrize("error", [FileNotFoundError("soffice"), TimeoutExpired("soffice", 600)])
def test_an_engine_that_fails_is_said(monkeypatch, error):
    def fails(files, folder):
        raise error

    monkeypatch.setattr(workbook_checks, "spreadsheet_engine", lambda: "here")
    monkeypatch.setattr(workbook_checks, "recalculated", fails)
    checks = list(workbook_checks.workbook_checks(appraise(read_study(PLAIN))))
    assert [each.reason for each in checks] == [
        f"LibreOffice did not recalculate it: {type(error).__name__}"
    ] * 2
