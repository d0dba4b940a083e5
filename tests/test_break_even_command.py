"""``capex break-even``: the figures of the package, with their units, and errors that say what."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from typer.testing import CliRunner

from capex.__main__ import app, main
from capex.decision.break_even import BreakEvenReason, break_evens
from capex.decision.break_even_table import break_even_table
from capex.study import data_folder, read_study
from capex.units import quantity_text
from capex.views.commands.console import folded_path

STUDY = str(data_folder() / "studies" / "quenlow.toml")
SMALL = str(Path(__file__).parent / "decision" / "plain_shop.toml")
PRICE = "machines.mid_all_in_one.price"


def printed(monkeypatch, *words, width=120, study=STUDY):
    monkeypatch.setenv("COLUMNS", str(width))
    found = CliRunner().invoke(app, ["break-even", study, *words])
    assert found.exit_code == 0, found.output
    return found.output


def test_one_input_shows_the_figure_of_the_package(monkeypatch):
    pair = ["--alternative", "all_in_one", "--against", "separate"]
    text = printed(monkeypatch, PRICE, *pair)
    (found,) = break_evens(read_study(STUDY), PRICE, [("all_in_one", "separate")])
    value = quantity_text(found.value, "money", currency="USD")
    assert re.search(rf"pays below +{value}", text)
    assert "22,500 USD today, looked at from 0 USD to 67,500 USD" in text
    assert "planning estimate" in text


def test_without_a_pair_every_choice_is_compared_with_the_baseline_and_the_best_with_its_rival(
    monkeypatch,
):
    text = printed(monkeypatch, "levers.demand")
    rows = [line for line in text.splitlines() if " against " in line]
    assert len(rows) == 4
    assert sum("Keep things as they are" in row for row in rows) == 3
    assert BreakEvenReason.ALWAYS.words in text


def test_the_range_can_be_asked_for_with_units(monkeypatch):
    text = printed(monkeypatch, "shop.people.wage", "--low", "1 USD/h", "--high", "200 USD/h")
    assert "looked at from 1 USD/h to 200 USD/h (as asked)" in text


def test_changes_come_before_the_answer(monkeypatch):
    text = printed(monkeypatch, PRICE, "--set", f"{PRICE}='30000 USD'")
    assert "30,000 USD today" in text


def test_the_table_shows_the_nearest_first_and_every_path_that_can_be_asked_for(monkeypatch):
    table = break_even_table(read_study(SMALL), "new", "keep")
    even = [each for each in table if each.reason is BreakEvenReason.FOUND]
    assert len(even) > 5
    pair = ["--alternative", "new", "--against", "keep"]
    text = printed(monkeypatch, "--most", "5", *pair, study=SMALL)
    assert len(re.findall(r"[+−][\d.,]+%", text)) == 5
    assert f"moved alone, {len(even)} reach" in " ".join(text.split())
    assert ("more than" if table[0].difference > 0 else "less than") in text
    shown = [text.index(each.path) for each in even[:5]]
    assert shown == sorted(shown)
    assert even[5].path not in text


@pytest.mark.parametrize("width", [60, 80])
def test_a_narrow_terminal_takes_every_path_whole(monkeypatch, width):
    pair = ["--alternative", "new", "--against", "keep"]
    text = printed(monkeypatch, "--most", "5", *pair, width=width, study=SMALL)
    assert max(map(len, text.splitlines())) <= width
    assert "…" not in text
    column = "".join(line[1:].split("  ")[0].strip() for line in text.splitlines())
    table = break_even_table(read_study(SMALL), "new", "keep")
    assert all(each.path in column for each in table[:5])


def test_a_path_goes_on_at_a_dot_or_at_an_underscore_of_a_long_name_and_loses_nothing():
    path = "machines.mid_roll_printer.printing.swath_height"
    assert folded_path(path, 25).split("\n") == [
        "machines.mid_roll_printer", ".printing.swath_height",
    ]  # fmt: skip
    assert folded_path(path, 14).split("\n") == [
        "machines", ".mid_roll_", "printer", ".printing", ".swath_height",
    ]  # fmt: skip
    for width in range(1, 60):
        assert folded_path(path, width).replace("\n", "") == path


@pytest.mark.parametrize(("against", "jumps"), [("separate", True), ("keep", False)])
def test_a_jump_is_explained_under_a_table_that_has_one(monkeypatch, against, jumps):
    path = "machines.mid_all_in_one.printing.print_width" if jumps else PRICE
    text = printed(monkeypatch, path, "--alternative", "all_in_one", "--against", against)
    assert ("(a jump): at this value the lead changes sides" in " ".join(text.split())) == jumps


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["shop.nothing"], "shop.nothing: 'nothing' is not known here"),
        (["shop.people.wage", "--low", "1"], "--low: '1' has no unit"),
        (["shop.people.wage", "--low", "-1 USD/h"], "must be at least 0 USD/h"),
        (["levers.demand", "--against", "nix"], "'nix' is not one of the study"),
        (["levers.demand", "--alternative", "keep", "--against", "keep"], "must be another"),
    ],
)
def test_what_cannot_be_used_is_refused_by_name_and_exit_2(monkeypatch, capsys, words, said):
    monkeypatch.setattr("sys.argv", ["capex", "break-even", STUDY, *words])
    with pytest.raises(SystemExit) as stop:
        main()
    assert stop.value.code == 2
    assert said in capsys.readouterr().err
