"""The workbook against a spreadsheet engine that did not write it, and against the appraisal.

LibreOffice Calc recalculates every file: its profile forces that on load, as cached values would
else be kept (shown by a file with a wrong one). Source: general-purpose library, no published
figures.
"""

import io
import re
import zipfile
from datetime import date
from functools import cache
from pathlib import Path

import numpy as np
import openpyxl
import pytest
from typer.testing import CliRunner

from capex.__main__ import app
from capex.decision.appraise import appraise
from capex.decision.figures import FIGURES
from capex.errors import CapexError
from capex.study import Study, StudyFile, data_folder, read_study
from capex.views.documents.workbook.document import workbook
from capex.views.documents.workbook.quantities import shown_scale
from capex.views.documents.workbook.recalculation import recalculated, spreadsheet_engine

DAY = date(2027, 1, 4)
PLAIN = Path(__file__).parents[1] / "decision" / "plain_shop.toml"
DEMO = data_folder() / "studies" / "quenlow.toml"

#: Functions that Excel 2016 has (all are in ECMA-376, part 1, 18.17.7; from memory).
FUNCTIONS = {
    "ABS", "COUNT", "COUNTIF", "IF", "IFERROR", "INDEX", "INT", "IRR", "ISNUMBER", "MAX", "MIN",
    "PMT", "ROUNDUP", "SUM", "SUMPRODUCT",
}  # fmt: skip

#: Inputs of the plain shop that are changed together, one file each; in the unit of the cell.
CHANGES = {
    "operations": {
        "shop.people.wage": 26.0, "shop.people.on_cost_factor": 1.2,
        "shop.people.idle_time_redeployed": 0.6, "shop.hours.overtime_premium": 1.75,
        "films.film.price": 4.2, "films.overlaminate.price": 5.0, "inks.ink.price": 90.0,
        "jobs.badge.price": 270.0, "jobs.letter.price": 99.0, "levers.price": 0.99,
        "jobs.badge.bought_in_price": 101.0, "jobs.badge.other_cost": 2.5,
        "machines.all_in_one.service": 2600.0, "machines.all_in_one.printing.head_price": 2500.0,
        "machines.all_in_one.cutting.blade_price": 45.0, "shop.premises.insurance": 0.02,
        "shop.premises.electricity": 0.35, "shop.premises.rent": 180.0,
    },
    "purchases": {
        "machines.all_in_one.price": 26000.0, "alternatives.new.machines.0.price": 19500.0,
        "levers.machine_price": 1.1, "alternatives.new.machines.0.training": 900.0,
        "alternatives.new.machines.0.freight_and_installation": 1700.0,
        "machines.all_in_one.resale_by_year.0": 0.5, "machines.all_in_one.resale_by_year.1": 0.3,
        "alternatives.new.machines.2.sale_proceeds": 1000.0, "money.tax.on_purchases": 0.07,
    },
    "loan": {
        "money.loan.share": 0.5, "money.loan.annual_rate": 0.12, "money.loan.term": 12.0,
        "money.loan.fee": 0.01, "levers.loan_rate_shift": 0.01,
        "money.lender.owner_draws": 1500.0, "money.lender.existing_debt_service": 400.0,
    },
    "money": {
        "money.discount_rate": 0.14, "money.tax.rate": 0.4, "money.loan.annual_rate": 0.0,
        "money.escalation.prices": 0.05, "money.escalation.materials": 0.01,
        "money.escalation.wages": 0.02, "money.escalation.overheads": 0.0,
        "money.working_capital": 2.5, "money.opening_cash": -5000.0,
    },
}  # fmt: skip
DEMO_CHANGE = {
    "money.discount_rate": 0.12, "shop.people.wage": 24.0, "films.cast_film.price": 9.0,
    "inks.solvent.price": 150.0, "machines.mid_roll_printer.price": 25000.0,
    "machines.mid_contour_cutter.resale_by_year.5": 0.1, "money.loan.annual_rate": 0.11,
    "money.loan.term": 48.0, "money.tax.rate": 0.3, "levers.price": 1.01,
    "alternatives.separate.machines.0.training": 2000.0,
    "alternatives.separate.machines.3.sale_proceeds": 3000.0,
}  # fmt: skip


def engine_values(folder, files, when="always"):
    """Return workbooks as a spreadsheet engine reads them, with its values, by name."""
    if spreadsheet_engine() is None:
        pytest.skip("soffice is not installed: no spreadsheet engine to compare with")
    found = recalculated(files, folder, when)
    return {name: opened(content, values=True) for name, content in found.items()}


@cache
def opened(content, *, values=False):
    """Return a workbook's formulas, or its values; not to be changed."""
    return openpyxl.load_workbook(io.BytesIO(content), data_only=values)


def named(book, name):
    """Return the cell that bears a name."""
    ((sheet, place),) = book.defined_names[name].destinations
    return book[sheet][place.replace("$", "")]


def with_inputs(content, changes):
    """Return a workbook with other values in cells of its sheet of inputs."""
    book, out = openpyxl.load_workbook(io.BytesIO(content)), io.BytesIO()
    for name, value in changes.items():
        assert named(book, name).parent.title == "Inputs"
        named(book, name).value = value
    book.save(out)
    return out.getvalue()


def headline_figures(study, choice):
    """Return every headline figure of the workbook as the appraisal has it."""
    found = appraise(study)
    outcome = found.outcomes[choice]
    names = (
        "gain", "net_present_value", "equivalent_annual_value", "internal_rate_of_return",
        "payback_period", "discounted_payback_period", "lowest_cash", "least_cover",
        "highest_loan_to_value",
    )  # fmt: skip
    figures = {name: float(FIGURES[name].value(outcome)[0]) for name in names}
    figures["baseline_net_present_value"] = float(found.baseline.net_present_value[0])
    return figures


def assert_same(book, figures):
    """Every headline cell is the appraisal's figure, or a text where that has none."""
    for name, figure in figures.items():
        if f"headline.{name}" not in book.defined_names:
            assert name == "highest_loan_to_value"
            assert np.isnan(figure)
            continue
        cell = named(book, f"headline.{name}").value
        if np.isfinite(figure):
            assert cell == pytest.approx(figure, rel=1e-6, abs=1e-9), name
        else:
            assert isinstance(cell, str), name


def replaced(study, changes):
    """Return a study with the same changes, in canonical units."""
    return study.replaced(
        {
            path: value / shown_scale(study.quantity(path).entry.kind)
            for path, value in changes.items()
        }
    )


def same_plan(one, other):
    """Whether the same orders are made, bought in and refused."""
    pairs = [
        (a.path.output, b.path.output)
        for a, b in zip(
            appraise(one).outcomes.values(), appraise(other).outcomes.values(), strict=True
        )
    ]
    return all(
        np.allclose(getattr(a, part), getattr(b, part), rtol=1e-9, atol=1e-9)
        for a, b in pairs
        for part in ("made", "bought_in", "refused", "overtime")
    )


#: Studies with other rules, by name: file, changes of its text, and the choice.
VARIANTS = {
    "demo": (DEMO, {}, "separate"),
    "staged_and_leased": (DEMO, {"alternatives.staged.machines.0.offer": "all_in_one_lease",
                                 "money.tax.regime": "us_section_179_bonus_macrs_7",
                                 "money.horizon": 40}, "staged"),
    "traded_in": (DEMO, {"alternatives.all_in_one.machines.0.offer": "all_in_one_cash",
                         "alternatives.all_in_one.machines.2.sale_proceeds": 0,
                         "money.horizon": 38}, "all_in_one"),
    "plain": (PLAIN, {}, "new"),
    "baseline": (PLAIN, {}, "keep"),
    "year_end": (PLAIN, {"money.convention": "year_end", "money.tax.losses": "absorbed",
                         "money.lender.owner_draws": 900, "money.tax.on_purchases": 0.06,
                         "money.lender.existing_debt_service": 250}, "new"),
    "no_tax": (PLAIN, {"money.tax.regime": "none", "shop.premises.room_already_paid": True,
                       "shop.premises.reason": "no other use"}, "new"),
    "late": (PLAIN, {"shop.promises.cost_of_late_order": 12,
                     "shop.promises.price_lost_when_late": 0.1,
                     "shop.promises.lead_time": 2}, "new"),
    "worthless": (PLAIN, {"alternatives.new.machines.0.price": 150000}, "new"),
}  # fmt: skip


@pytest.fixture(scope="module")
def plain():
    return read_study(PLAIN)


@pytest.fixture(scope="module")
def demo():
    return read_study(DEMO)


@pytest.fixture(scope="module")
def variants():
    return {
        name: StudyFile.read(path).changed(changes).study if changes else read_study(path)
        for name, (path, changes, _) in VARIANTS.items()
    }


@pytest.fixture(scope="module")
def written(variants, plain, demo):
    """Return all files: of every variant, and with inputs changed in their cells."""
    files = {name: workbook(study, VARIANTS[name][2], DAY) for name, study in variants.items()}
    for name, changes in CHANGES.items():
        files[f"changed_{name}"] = with_inputs(files["plain"], changes)
    files["changed_demo"] = with_inputs(files["demo"], DEMO_CHANGE)
    return files


@pytest.fixture(scope="module")
def engine(written, tmp_path_factory):
    return engine_values(tmp_path_factory.mktemp("engine"), written)


@pytest.mark.parametrize("name", VARIANTS)
def test_against_the_appraisal_every_headline_is_the_same_when_recalculated(engine, variants, name):
    assert_same(engine[name], headline_figures(variants[name], VARIANTS[name][2]))


@pytest.mark.parametrize("name", VARIANTS)
def test_against_a_spreadsheet_engine_every_cached_value_is_what_its_formula_comes_to(
    engine, written, name
):
    formulas, cached = opened(written[name]), opened(written[name], values=True)
    seen = 0
    for sheet in formulas:
        for row in sheet.iter_rows():
            for cell in row:
                if cell.data_type != "f":
                    continue
                ours = cached[sheet.title][cell.coordinate].value
                theirs = engine[name][sheet.title][cell.coordinate].value
                seen += 1
                where = f"{sheet.title} {cell.coordinate} {cell.value}"
                if isinstance(ours, str):
                    assert theirs == ours, where
                else:
                    assert theirs == pytest.approx(ours, rel=1e-8, abs=1e-6), where
    assert seen > 1000


@pytest.mark.parametrize("name", CHANGES)
def test_against_the_appraisal_a_changed_cell_moves_every_headline_as_it_does(engine, plain, name):
    study = replaced(plain, CHANGES[name])
    assert same_plan(plain, study)
    figures = headline_figures(study, "new")
    assert figures != headline_figures(plain, "new")
    assert_same(engine[f"changed_{name}"], figures)


def test_against_the_appraisal_a_dozen_changes_at_once(engine, demo):
    study = replaced(demo, DEMO_CHANGE)
    assert same_plan(demo, study)
    assert_same(engine["changed_demo"], headline_figures(study, "separate"))


def test_a_wrong_cached_value_is_overwritten_and_stays_without_recalculation(tmp_path, written):
    wrong = with_cached_value(written["plain"], "headline.net_present_value", 123.5)
    assert named(opened(wrong, values=True), "headline.net_present_value").value == 123.5
    right = named(opened(written["plain"], values=True), "headline.net_present_value").value
    kept = engine_values(tmp_path / "kept", {"book": wrong}, "never")["book"]
    found = engine_values(tmp_path / "found", {"book": wrong})["book"]
    assert named(kept, "headline.net_present_value").value == 123.5
    assert named(found, "headline.net_present_value").value == pytest.approx(right, rel=1e-9)


def with_cached_value(content, name, value):
    """Return a workbook whose cached value of one cell is another."""
    book = opened(content)
    cell = named(book, name)
    part = f"xl/worksheets/sheet{book.sheetnames.index(cell.parent.title) + 1}.xml"
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(content)) as old, zipfile.ZipFile(out, "w") as new:
        for entry in old.namelist():
            data = old.read(entry)
            if entry == part:
                pattern = rf'(<c r="{cell.coordinate}"[^>]*><f>.*?</f><v>)[^<]*(</v>)'
                text, count = re.subn(pattern, rf"\g<1>{value}\g<2>", data.decode())
                assert count == 1
                data = text.encode()
            new.writestr(entry, data)
    return out.getvalue()


def test_no_cell_is_an_error(engine):
    for name, book in engine.items():
        for sheet in book:
            for row in sheet.iter_rows():
                wrong = [cell.coordinate for cell in row if cell.data_type == "e"]
                assert wrong == [], f"{name} {sheet.title}"


@cache
def formulas_of(content):
    """Return the formulas of a workbook, each once, without the texts in them."""
    every = {
        cell.value
        for sheet in opened(content)
        for row in sheet.iter_rows()
        for cell in row
        if cell.data_type == "f"
    }
    return {re.sub(r'"[^"]*"', "", text) for text in every}


@pytest.mark.parametrize("name", VARIANTS)
def test_functions_are_those_of_excel_2016(written, name):
    bare = formulas_of(written[name])
    used = {found for text in bare for found in re.findall(r"([A-Za-z_.][\w.]*)\(", text)}
    assert used <= FUNCTIONS
    assert max(len(text) for text in bare) < 8192


@pytest.mark.parametrize("name", VARIANTS)
def test_every_yellow_cell_is_read_by_a_formula(written, name):
    read = {
        word for text in formulas_of(written[name]) for word in re.findall(r"[A-Za-z_][\w.]*", text)
    }
    names = opened(written[name]).defined_names
    live = {one for one in names if not one.startswith("headline.")}
    assert len(live) > 30
    assert live - read == set()


@pytest.mark.parametrize("name", VARIANTS)
def test_every_input_stands_once_with_unit_source_and_value(written, variants, name):
    study, book = variants[name], opened(written[name], values=True)
    rows = {}
    for sheet, width in (("Inputs", 7), ("Other inputs", 7)):
        for words, value, unit, source, _, note, path in book[sheet].iter_rows(
            min_row=5, max_col=width, values_only=True
        ):
            if path is not None:
                assert path not in rows
                rows[path] = (sheet, words, value, unit, source, note or "")
    known = dict(study.quantities())
    shown = {path for path in rows if path in known}
    left = {path.split(".")[0] for path in set(known) - shown}
    assert left <= {"uncertainty", "room"}
    for path, (sheet, words, value, _, source, note) in rows.items():
        assert words
        assert source == known[path].source
        scale = shown_scale(known[path].entry.kind)
        assert value == pytest.approx(known[path].likely * scale, rel=1e-12)
        assert ("worked out by capex: change it there" in note) == (sheet == "Other inputs")


def test_same_study_and_day_give_the_same_bytes(plain):
    assert workbook(plain, on=DAY) == workbook(plain, on=DAY)
    assert workbook(plain, on=DAY) != workbook(plain, on=date(2027, 1, 5))


HOSTILE = (
    "=1+1", "+cmd|' /C calc'!A0", "@SUM(1,2)", "-2+3", '#read("/etc/passwd")', "{=1+1}",
    "https://example.invalid/x", "&D&T 12", "12 Ω & <b>'q'</b>", "A1", "[x]:*?/\\",
)  # fmt: skip


@pytest.mark.parametrize("name", HOSTILE)
def test_a_users_text_appears_as_typed(name):
    study = StudyFile.read(PLAIN).changed(
        {"shop_name": name, "jobs.badge.name": name, "alternatives.new.name": name,
         "alternatives.keep.name": f"{name}!", "machines.all_in_one.name": name,
         "films.film.name": name, "inks.ink.name": name}
    ).study  # fmt: skip
    book, usual = (
        opened(workbook(study, "new", DAY)),
        opened(workbook(read_study(PLAIN), "new", DAY)),
    )
    assert book.sheetnames == usual.sheetnames
    for sheet in book:
        own = [
            cell.coordinate for row in sheet.iter_rows() for cell in row if cell.data_type == "f"
        ]
        other = [
            cell.coordinate
            for row in usual[sheet.title].iter_rows()
            for cell in row
            if cell.data_type == "f"
        ]
        assert own == other
        assert [cell for row in sheet.iter_rows() for cell in row if cell.hyperlink] == []
    texts = [cell.value for row in book["Read me"].iter_rows() for cell in row]
    assert (texts.count(name), texts.count(f"{name}!")) == (2, 1)
    assert [row[0].value for row in book["Job mix"].iter_rows(min_row=6, max_row=6)] == [name]
    footer = book["Summary"].oddFooter.left.text
    assert footer.strip() == name.replace("&", "&&")


def test_the_command_writes_the_workbook(tmp_path):
    target = tmp_path / "book.xlsx"
    found = CliRunner().invoke(
        app, ["report", str(PLAIN), "--xlsx", str(target), "--date", "2027-01-04"]
    )
    assert found.exit_code == 0, found.output
    assert target.read_bytes() == workbook(read_study(PLAIN), on=DAY)


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["--xlsx", "nowhere/book.xlsx"], "folder that exists"),
        (["--xlsx", "."], "not a folder"),
        (["--xlsx", "book.xlsx", "--alternative", "other"], "is not one of the study"),
        (["--xlsx", "book.xlsx", "--date", "4.1.2027"], "2027-01-04"),
    ],
)
def test_the_command_refuses_what_it_cannot_write(tmp_path, monkeypatch, words, said):
    monkeypatch.chdir(tmp_path)
    found = CliRunner().invoke(app, ["report", str(PLAIN), *words])
    assert isinstance(found.exception, CapexError)
    assert said in str(found.exception)
    assert list(tmp_path.iterdir()) == []


def test_a_study_is_left_as_it_was(plain):
    before = plain.model_copy(deep=True)
    workbook(plain, on=DAY)
    assert isinstance(plain, Study)
    assert plain == before
