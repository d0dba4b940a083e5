"""``capex offers``: the figures of the package side by side, in a table and as JSON."""

from __future__ import annotations

import json
import re
from pathlib import Path

import numpy_financial as npf
import pytest
from typer.testing import CliRunner

from capex.__main__ import app, main
from capex.finance.offers import offers_side_by_side
from capex.study import data_folder, read_study

STUDY = str(data_folder() / "studies" / "quenlow.toml")
SMALL = str(Path(__file__).parent / "decision" / "plain_shop.toml")
ALL_IN_ONE = ["all_in_one_cash", "all_in_one_loan", "all_in_one_lease"]


def printed(monkeypatch, *words, width=120, study=STUDY):
    monkeypatch.setenv("COLUMNS", str(width))
    found = CliRunner().invoke(app, ["offers", study, *words])
    assert found.exit_code == 0, found.output
    return found.stdout


def no_constant(name):
    pytest.fail(f"{name} is no JSON")


def row(text, title):
    """Cells of the row with a title."""
    line = next(line for line in text.splitlines() if line.strip().startswith(title))
    return re.split(r"  +", line.strip())[1:]


def test_every_machine_with_offers_shows_the_figures_of_the_package(monkeypatch):
    text = printed(monkeypatch)
    study = read_study(STUDY)
    for name, machine in (("Mid all-in-one", "mid_all_in_one"),
                          ("Mid roll printer", "mid_roll_printer")):  # fmt: skip
        part = text.split(f"Offers for {name}")[1].split("Offers for")[0]
        keys = [key for key, offer in study.offers.items() if offer.machine == machine]
        views = offers_side_by_side(study, keys).views
        costs = [f"${round(float(view.net_present_cost[0])):,}" for view in views]
        assert row(part, "Cost in today's money, after tax") == costs
        first = [f"${round(float(view.equity_needed[0])):,}" for view in views]
        assert row(part, "On the first day") == first
        cheapest = min(views, key=lambda view: float(view.net_present_cost[0]))
        assert f"“{cheapest.name}” is cheapest" in part
    assert "planning estimate" in text


def test_one_machine_alone(monkeypatch):
    text = printed(monkeypatch, "--machine", "mid_roll_printer")
    assert "Offers for Mid roll printer" in text
    assert "Mid all-in-one" not in text


def test_json_is_the_figures_of_the_package_unrounded(monkeypatch):
    text = printed(monkeypatch, "--json", "--machine", "mid_all_in_one")
    data = json.loads(text, parse_constant=no_constant)
    assert data["currency"] == "USD"
    told = data["machines"]["mid_all_in_one"]
    found = offers_side_by_side(read_study(STUDY), ALL_IN_ONE)
    assert (told["months"], told["borrowing_rate"]) == (found.months, found.borrowing_rate[0])
    for view in found.views:
        each = told["offers"][view.key]
        assert each["net_present_cost"] == view.net_present_cost[0]
        rate = None if view.kind == "cash" else view.effective_rate.rate[0]
        assert each["effective_rate"] == rate
        assert (each["lease_against_loan"] is None) == (view.kind != "lease")


def test_against_numpy_financial_the_rate_of_a_loan(monkeypatch):
    """The bank loan without its fee, months of interest alone and balloon: 8.6 % by itself."""
    plain = []
    for entry in ("fee=0", "balloon=0", "interest_only_months=0"):
        plain += ["--set", f"offers.all_in_one_loan.loan.{entry}"]
    text = printed(monkeypatch, "--json", "--machine", "mid_all_in_one", *plain)
    each = json.loads(text)["machines"]["mid_all_in_one"]["offers"]["all_in_one_loan"]
    payment = npf.pmt(0.086 / 12, 60, 18_000.0)
    rate = npf.rate(60, payment, 18_000.0, 0.0)
    assert each["annual_percentage_rate"] == pytest.approx(12 * rate, abs=1e-8)
    assert each["effective_rate"] == pytest.approx((1 + rate) ** 12 - 1, abs=1e-8)


def test_set_replaces_an_entry(monkeypatch):
    text = printed(monkeypatch, "--set", "offers.all_in_one_cash.price=19000")
    assert row(text, "Price")[0] == "$19,000"


@pytest.mark.parametrize("width", [60, 80, 200])
def test_no_figure_is_cut_off(monkeypatch, width):
    text = printed(monkeypatch, "--machine", "mid_all_in_one", width=width)
    assert "…" not in text
    views = offers_side_by_side(read_study(STUDY), ALL_IN_ONE).views
    assert all(f"${round(float(view.net_present_cost[0])):,}" in text for view in views)


def test_a_study_without_offers_says_where_they_are_written(monkeypatch):
    assert "no offers; each is written under offers" in printed(monkeypatch, study=SMALL)


def test_a_machine_without_an_offer_is_refused(monkeypatch, capsys):
    monkeypatch.setattr("sys.argv", ["capex", "offers", STUDY, "--machine", "laminator"])
    with pytest.raises(SystemExit) as stopped:
        main()
    assert stopped.value.code == 2
    said = capsys.readouterr().err
    assert "--machine" in said
    assert "'laminator'" in said
    assert "mid_all_in_one, mid_roll_printer" in said
