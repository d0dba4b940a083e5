"""The command line in terminals of several widths."""

import json
import re

import pytest
from typer.testing import CliRunner

from capex.__main__ import app
from capex.decision.appraise import appraise
from capex.study import data_folder, json_schema, read_study
from capex.views.tables import headline_table

STUDY = data_folder() / "studies" / "quenlow.toml"


@pytest.mark.parametrize("width", [60, 80, 120])
def test_every_word_and_figure_of_the_table_is_whole(
    width: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("COLUMNS", str(width))
    found = CliRunner().invoke(app, ["appraise", str(STUDY)])
    assert found.exit_code == 0
    lines = found.output.splitlines()
    assert max(map(len, lines)) <= width
    assert "…" not in found.output
    headings, rows = headline_table(appraise(read_study(STUDY)))
    figures = [line for line in lines if re.match(r" (NPV gain|Lowest cash|Floor) ", line)]
    for label, *cells in zip(headings, *rows, strict=True):
        if label in {"NPV gain", "Lowest cash", "Floor"}:
            shown = [line for line in figures if line.startswith(f" {label}")]
            assert [re.split(r" {2,}", line.strip())[1:] for line in shown] == [
                cells[start : start + len(cells) // len(shown)]
                for start in range(0, len(cells), len(cells) // len(shown))
            ]
    words = set(found.output.split())
    # names and paybacks are words, which may go on in the next line
    assert all(word in words for row in rows for cell in (row[0], row[3]) for word in cell.split())


def test_the_schema_is_printed_as_json() -> None:
    found = CliRunner().invoke(app, ["schema"])
    assert found.exit_code == 0, found.output
    assert json.loads(found.output) == json_schema()
