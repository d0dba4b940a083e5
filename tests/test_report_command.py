"""`capex report`: files are written where they were asked for, bad input is refused."""

import csv

import pypdf
import pytest
from typer.testing import CliRunner

from capex.__main__ import app
from capex.errors import InputError
from capex.study import data_folder

DEMO = str(data_folder() / "studies" / "quenlow.toml")
FAST = ("--draws", "64", "--date", "2026-11-27")


def report(*arguments: str):
    return CliRunner().invoke(app, ["report", DEMO, *FAST, *arguments])


def test_a_folder_holds_documents_tables_and_charts(tmp_path):
    found = report(
        "--folder", str(tmp_path), "--alternative", "separate", "--address", "1 Quay Street"
    )
    assert found.exit_code == 0, found.output
    names = {str(path.relative_to(tmp_path)) for path in tmp_path.rglob("*") if path.is_file()}
    assert {
        "document.pdf",
        "trial_sheet.pdf",
        "acceptance_mid_roll_printer.pdf",
        "acceptance_mid_contour_cutter.pdf",
        "floor_plan.pdf",
        "floor_plan.svg",
        "charts/summary_7_money_in_the_bank.png",
        "tables/cash_1_first_year_by_month.csv",
    } <= names
    assert all(f"Written: {tmp_path / name}" in found.output for name in names)
    assert "1 Quay Street" in pypdf.PdfReader(tmp_path / "document.pdf").pages[0].extract_text()
    with (tmp_path / "tables/stress_1_each_case_alone_then_all_together_meets_what_is.csv").open(
        encoding="utf-8-sig"
    ) as file:
        rows = list(csv.reader(file))
    with (tmp_path / "tables/shop_2_job_types_the_largest_first.csv").open(
        encoding="utf-8-sig"
    ) as file:
        assert "+10.0%" in {row[-1] for row in csv.reader(file)}
    assert rows[0][0] == "Case"
    assert rows[1][0] == "As entered"


def test_sections_are_chosen(tmp_path):
    found = report("--pdf", str(tmp_path / "a.pdf"), "--section", "stress", "--paper", "us-letter")
    assert found.exit_code == 0, found.output
    pages = pypdf.PdfReader(tmp_path / "a.pdf").pages
    text = " ".join(page.extract_text() for page in pages)
    assert "If things go worse" in text
    assert "Every figure behind this" not in text
    assert float(pages[0].mediabox.width) == 612


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        ((), "must name where to write"),
        (("--pdf", "x.pdf", "--paper", "a5"), "must be 'a4' or 'us-letter'"),
        (("--pdf", "x.pdf", "--units", "ells"), "must be 'metric' or 'us_customary'"),
        (("--pdf", "x.pdf", "--section", "poem"), "must be one of: request, shop"),
        (("--pdf", "x.pdf", "--alternative", "none"), "must be one of: keep, separate"),
        (("--pdf", "/nowhere/x.pdf"), "must be in a folder that exists"),
        (("--folder", "/dev/null"), "cannot be written"),
        (("--pdf", "x.pdf", "--date", "soon"), "is not a date"),
    ],
)
def test_bad_input_is_refused(arguments, message):
    error = report(*arguments).exception
    assert isinstance(error, InputError)
    assert message in str(error)
