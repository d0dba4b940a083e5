"""Documents on paper: figures are the engine's, text stays text, tagged, the same bytes."""

import io
import re
from collections.abc import Iterator
from dataclasses import replace
from datetime import date

import numpy as np
import pikepdf
import pypdf
import pytest

from capex.decision.risk.summary import risk_summary
from capex.errors import CapexError, InputError
from capex.shopfloor.trial.sheet import trial_sheet
from capex.study import Study, StudyFile, data_folder
from capex.views.charts.picture import Look
from capex.views.documents.paper.bank_document import SECTIONS, bank_document
from capex.views.documents.paper.content import Document, Letterhead, Paper, Section, Words
from capex.views.documents.paper.drawing import drawn
from capex.views.documents.paper.findings import LenderFindings, lender_findings
from capex.views.documents.paper.sheets import acceptance_sheet, plan_sheet, trial_paper
from capex.views.documents.paper.shop_sections import assumptions, floor, shop
from capex.views.documents.paper.typesetting import pdf
from capex.views.wording import Currency

DAY = date(2026, 11, 27)
DEMO = data_folder() / "studies" / "quenlow.toml"


@pytest.fixture(scope="module")
def study() -> Study:
    return StudyFile.read(DEMO).study


@pytest.fixture(scope="module")
def found(study: Study) -> LenderFindings:
    return lender_findings(study, "separate", draws=256)


@pytest.fixture(scope="module")
def look(study: Study) -> Look:
    return Look(study, "metric", Currency("USD"))


@pytest.fixture(scope="module")
def made(found: LenderFindings, look: Look) -> bytes:
    return pdf(bank_document(found, look, made_on=DAY))


def text_of(made: bytes, page: int | None = None) -> str:
    pages = pypdf.PdfReader(io.BytesIO(made)).pages
    shown = pages if page is None else [pages[page]]
    return re.sub(r"\s+", " ", " ".join(each.extract_text() for each in shown))


def elements(node: pikepdf.Object) -> Iterator[pikepdf.Dictionary]:
    """Every element of a structure tree."""
    if isinstance(node, pikepdf.Array):
        for each in node:
            yield from elements(each)
    elif isinstance(node, pikepdf.Dictionary):
        if "/S" in node:
            yield node
        if "/K" in node:
            yield from elements(node.K)


def test_law_the_summary_says_what_the_engine_says(found: LenderFindings, made: bytes) -> None:
    page = text_of(made, 0)
    outcome, view = found.outcome, found.stress.each["separate"].view
    ledger = outcome.path.ledger
    amounts = {
        "Machines": -ledger.line("purchase")[0].sum(),
        "Freight and installation": -ledger.line("installation")[0].sum(),
        "Training": -ledger.line("training")[0].sum(),
        "Of it by loan": ledger.line("loan")[0].sum(),
    }
    for name, amount in amounts.items():
        assert f"{name} ${round(amount):,}" in page
    assert f"{view.lowest_year.ratio[0]:.2f}" in page
    assert f"{view.highest_loan_to_value.ratio[0]:.0%}" in page
    short = {each.key: each for each in risk_summary(found.simulation).choices}["separate"]
    share = np.mean(found.simulation.least_cover[:, 1]
                    < found.study.money.lender.minimum_cover.likely)  # fmt: skip
    assert short.cover_falls_short is not None
    assert short.cover_falls_short.value == share


#: Money, shares, ratios.
_FIGURES = r"−?\$\d+(?:,\d{3})*|−?\d+(?:\.\d+)? ?%|\d+\.\d\d(?![\d%])"


def rounded(value: float) -> str:
    """Return money to three figures, as texts show it."""
    sign = "−" if value < 0 else ""
    return f"{sign}${abs(float(f'{value:.3g}')):,.0f}"


def test_law_every_figure_of_the_summary_is_the_engines(found: LenderFindings, made: bytes) -> None:
    """Money, shares and ratios on the page: each is expected, and each that is expected stands."""
    outcome, tested = found.outcome, found.stress
    own, worth = tested.each["separate"], tested.appraisal.outcomes
    line = {one.key: float(outcome.path.ledger.line(one.key)[0].sum())
            for one in outcome.path.ledger.lines}  # fmt: skip
    uses = [-line[key] for key in ("purchase", "installation", "training")]
    sources = [line["sold"], line["loan"]]
    whole = {f"${each:,.0f}" for each in (*uses, *sources, sum(uses), sum(uses) - sum(sources))}
    gains = {key: float(each.gain[0]) for key, each in worth.items()}
    asked, loan = found.study.money.lender, found.study.money.loan
    cash, cover, value = own.view.lowest_cash, own.view.lowest_year, own.view.highest_loan_to_value
    months = own.view.month_end_cash
    texts = whole | {rounded(max(gains.values()) - gains["separate"]), "$0"}
    for k in (0, len(tested.cases) - 1):
        texts |= {rounded(each) for each in (cash[k], months[k, 0], months[k, 1:].min())}
        texts |= {f"{cover.ratio[k]:.2f}", f"{value.ratio[k]:.0%}"}
    texts |= {f"{asked.minimum_cover.likely:.2f}", f"{asked.highest_loan_to_value.likely:.0%}",
              f"{loan.share.likely:.0%}", f"{loan.annual_rate.likely:.2%}",
              "−20%", "−10%"}  # fmt: skip
    assert not (found.simulation.least_cover[:, 1] < asked.minimum_cover.likely).any()
    # none seen: at most 3 in n (the rule of three, hanley-1983)
    texts |= {"0%", f"{300 / found.simulation.draws.count:.1f}%"}
    net, reasons = {key: each.path.ledger for key, each in worth.items()}, set()
    for other in ("all_in_one", "keep"):
        for groups in (("sales", "materials", "bought-in work"), ("people",), ("machines",),
                       ("room",), ("investment",), ("working capital",)):  # fmt: skip
            flow = sum(net["separate"].group(each)[0] - net[other].group(each)[0]
                       for each in groups)  # fmt: skip
            at = np.arange(flow.size) / 12
            amount = float((flow / (1 + found.study.money.discount_rate.likely) ** at).sum())
            reasons.add(rounded(abs(amount)))
    page = text_of(made, 0).split("Worked out with")[0]
    shown = set(re.findall(_FIGURES, page))
    assert shown - texts - reasons == set()
    assert texts - shown == set()


def test_a_choice_that_is_not_first_is_argued_for_itself(made: bytes) -> None:
    page = text_of(made, 0)
    assert "All-in-one comes first" in page
    assert "For Separate machines against All-in-one:" in page
    assert "Against “Keep things as they are”: it earns $" in page


@pytest.mark.parametrize("paper", ["a4", "us-letter"])
@pytest.mark.parametrize("choice", ["separate", "staged"])
def test_the_summary_is_one_page(
    found: LenderFindings, look: Look, choice: str, paper: Paper
) -> None:
    head = Letterhead("Quenlow Graphics", ("1 Quay Street", "Port Example", "555 0100"))
    document = bank_document(replace(found, choice=choice), look, made_on=DAY, letterhead=head,
                             sections=["request"], paper=paper)  # fmt: skip
    made = pdf(document)
    assert "later at least" in text_of(made, 0)
    assert re.search(r"Request for finance: [^.]* The request ", text_of(made, 1))


def test_nobody_signs_a_page_without_words(made: bytes) -> None:
    last = text_of(made, -1)
    assert "For the lender – place, date, signature" in last
    assert "confirm it with a licensed accountant" in last


def test_what_a_machine_that_is_there_costs_to_get_is_no_figure_behind_a_document(
    found: LenderFindings, look: Look
) -> None:
    names = " ".join(row[0] for row in assumptions(found, look).blocks[-1].table.rows)
    assert "Training of Mid roll printer (Separate machines)" in names
    assert "Training of Old roll printer" not in names
    assert "Month of sale of Old roll printer (Separate machines)" in names


def test_law_the_first_years_months_add_up_to_the_ledger(found: LenderFindings, look: Look) -> None:
    document = bank_document(found, look, made_on=DAY, sections=["cash"])
    cash = next(part for part in document.sections if part.key == "cash")
    months, years = (block.table for block in cash.blocks[:2])

    def figures(row: list[str]) -> list[int]:
        return [int(re.sub(r"[^\d-]", "", cell.replace("−", "-"))) for cell in row[1:]]

    rows = {row[0]: figures(row) for row in months.rows}
    parts = [name for name in rows if name not in ("Before financing", "All cash",
                                                   "In the bank at the end")]  # fmt: skip
    total = np.sum([rows[name] for name in parts], axis=0)
    assert rows["All cash"] == total.tolist()
    flow = found.outcome.path.ledger.equity_cash_flow[0]
    assert np.abs(total - flow[:13]).max() <= 0.5 * len(parts)
    yearly = {row[0]: figures(row) for row in years.rows}
    assert abs(sum(yearly["All cash"]) - flow.sum()) <= 0.5 * len(parts) * len(yearly["All cash"])
    end = yearly["In the bank at the end"][-1]
    assert end == found.study.money.opening_cash.likely + sum(yearly["All cash"])


def test_every_section_is_there_and_can_be_left_out(found: LenderFindings, look: Look) -> None:
    whole = [part.key for part in bank_document(found, look, made_on=DAY).sections]
    assert whole == ["summary", *SECTIONS, "cautions"]
    some = bank_document(found, look, made_on=DAY, sections=["stress", "cash"])
    assert [part.key for part in some.sections] == ["summary", "cash", "stress", "cautions"]
    with pytest.raises(InputError, match="must be one of: request, shop"):
        bank_document(found, look, made_on=DAY, sections=["poem"])
    with pytest.raises(InputError, match="'a4' or 'us-letter'"):
        bank_document(found, look, made_on=DAY, paper="a5")  # type: ignore[arg-type]
    with pytest.raises(InputError, match="must be one of: keep, separate"):
        lender_findings(found.study, "nothing", simulation=found.simulation)


def test_law_the_same_day_gives_the_same_bytes(
    found: LenderFindings, look: Look, made: bytes
) -> None:
    assert pdf(bank_document(found, look, made_on=DAY)) == made
    assert pdf(bank_document(found, look, made_on=date(2026, 11, 28))) != made


def test_against_pikepdf_tags_title_language_and_text_alternatives(made: bytes) -> None:
    with pikepdf.open(io.BytesIO(made)) as file:
        root = file.Root
        assert bool(root.MarkInfo.Marked)
        assert str(root.Lang) == "en"
        assert file.open_metadata()["dc:title"] == (
            "Request for finance: Separate machines – Quenlow Graphics"
        )
        assert file.open_metadata()["pdfuaid:part"] == "1"
        kinds = [(str(each.S), each) for each in elements(root.StructTreeRoot.K)]
        pictures = [each for kind, each in kinds if kind == "/Figure"]
        assert len(pictures) == 6
        assert all(len(str(each.Alt)) > 40 for each in pictures)
        assert sum(kind == "/Table" for kind, _ in kinds) > 10
        assert {"/H1", "/H2", "/TH", "/TD"} <= {kind for kind, _ in kinds}
        fonts = [each for each in file.objects if isinstance(each, pikepdf.Dictionary)
                 and each.get("/Type") == "/FontDescriptor"]  # fmt: skip
        assert fonts
        assert all({"/FontFile", "/FontFile2", "/FontFile3"} & set(each.keys()) for each in fonts)


NAMES = [
    '=1+1 +cmd|x @x #read("/etc/passwd") $a$ *b* _c_ `d` [e] <f> \\g // h /* i */ "j" {k}',
    "<img src=x onerror=alert(1)>",
    "Žluťoučký kůň, Ёлка, Ærø, ñandú, €100 £5 ¥7",
    "标牌店",
]


@pytest.mark.parametrize("name", NAMES)
def test_text_is_shown_as_typed(name: str) -> None:
    section = Section("a", name, [Words([name], "list")])
    document = Document(name, Letterhead(name, (name,)), DAY, [section], name, signatures=(name,))
    shown = text_of(pdf(document)).replace(" ", "")
    assert shown.count(name.replace(" ", "")) >= 5


def test_a_study_with_hostile_names_stays_text() -> None:
    text = DEMO.read_text()
    text = text.replace('"Quenlow Graphics"', "'#read(\"/etc/passwd\")'")
    text = text.replace('name = "Separate machines"', 'name = \'=HYPERLINK("x") #eval("1")\'')
    study = StudyFile.parsed(text).study
    found = lender_findings(study, "separate", draws=64)
    said = text_of(pdf(bank_document(found, Look(study, "metric", Currency("USD")), made_on=DAY)))
    assert '#read("/etc/passwd")' in said
    assert '=HYPERLINK("x") #eval("1")' in said
    assert "root:" not in said


def test_a_character_without_a_glyph_is_refused_not_dropped() -> None:
    with pytest.raises(CapexError, match="no installed font shows a character"):
        pdf(Document("\U00013000", Letterhead("x"), DAY, [], "x"))


@pytest.mark.parametrize(("paper", "size"), [("a4", (595.28, 841.89)), ("us-letter", (612, 792))])
def test_published_sizes_of_paper(paper: str, size: tuple[float, float]) -> None:
    """ISO 216: A4 is 210 × 297 mm; ANSI/ASME Y14.1: letter is 8.5 × 11 in; from memory."""
    box = pypdf.PdfReader(io.BytesIO(pdf(Document(
        "x", Letterhead("x"), DAY, [], "x", paper=paper))  # type: ignore[arg-type]
    )).pages[0].mediabox  # fmt: skip
    assert (float(box.width), float(box.height)) == pytest.approx(size, abs=0.01)


def test_charts_are_drawn_without_a_browser() -> None:
    line = {"type": "scatter", "mode": "lines+markers", "name": "a & b", "x": [0, 1], "y": [1, 3],
            "line": {"color": "#112233", "dash": "dash"}}  # fmt: skip
    figure = {"data": [line], "layout": {"xaxis": {"title": {"text": "Month"}},
                                         "yaxis": {"title": {"text": "Cash"}}}}  # fmt: skip
    assert drawn(figure) == drawn(figure)
    assert b"Month" in drawn(figure)
    assert b"#112233" in drawn(figure)
    assert drawn(figure, form="png").startswith(b"\x89PNG")
    with pytest.raises(InputError, match="scatter and bar"):
        drawn({**figure, "data": [{**line, "type": "pie"}]})
    with pytest.raises(InputError, match="must be 'svg' or 'png'"):
        drawn(figure, form="gif")


def named_lines(*names: str) -> dict[str, object]:
    lines = [{"type": "scatter", "mode": "lines", "name": name, "x": [0, 1], "y": [k, 3],
              "line": {"color": "#112233"}} for k, name in enumerate(names)]  # fmt: skip
    return {"data": lines, "layout": {"xaxis": {}, "yaxis": {}}}


def test_a_picture_shows_every_name_or_is_refused() -> None:
    """A box in place of a character is a picture of another name; so is one left out."""
    shown = drawn(named_lines("_own", "标牌店", "Ёлка €"), form="svg").decode()
    assert all(name in shown for name in ("_own", "标牌店", "Ёлка €"))
    assert drawn(named_lines("a", "标牌店"), form="png") != drawn(
        named_lines("a", "标牌站"), form="png"
    )
    with pytest.raises(CapexError, match="no installed font shows a character"):
        drawn(named_lines("a", "\U00013000"), form="png")


@pytest.mark.parametrize(("stated", "seen"), [({"rangemode": "tozero"}, True),
                                              ({"range": [-2.0, 0.0]}, False)])  # fmt: skip
def test_a_rule_above_all_that_is_drawn_stays_on_the_axis(
    stated: dict[str, object], seen: bool
) -> None:
    """A minimum that no year reaches is what a lender looks for; a stated range leaves it out."""
    figure = {
        "data": [{"type": "scatter", "mode": "lines", "name": "cover", "x": [1, 2],
                  "y": [-1.0, -1.1], "line": {"color": "#112233"}}],
        "layout": {
            "xaxis": {}, "yaxis": stated,
            "shapes": [{"type": "line", "xref": "paper", "y0": 1.25, "y1": 1.25,
                        "line": {"dash": "dot", "color": "#8a6d00"}}],
            "annotations": [{"xref": "paper", "x": 1, "y": 1.25, "text": "the minimum"}],
        },
    }  # fmt: skip
    assert (b"the minimum" in drawn(figure)) == seen


def test_figures_of_offers_that_nobody_chose_are_not_behind_a_document(
    found: LenderFindings, look: Look
) -> None:
    """The demo states six offers and buys on none; one that is chosen comes with all its terms."""
    offer = {"alternatives.all_in_one.machines.0.offer": "all_in_one_lease"}
    chosen = StudyFile.read(DEMO).changed(offer).study

    def named(study: Study) -> set[str]:
        grid = assumptions(replace(found, study=study, choice="all_in_one"), look).blocks[-1]
        return {row[0] for row in grid.table.rows}

    terms = named(chosen) - named(found.study)
    assert len(terms) >= 4
    assert all("All-in-one on lease" in one for one in terms)
    assert not any("for cash" in one or "on a bank loan" in one for one in named(chosen))


def test_the_first_year_is_explained_from_the_order_book(found: LenderFindings, look: Look) -> None:
    """172 orders are worth less than the first year sells: growth, and 3 % that come back."""
    said = " ".join(shop(found, look).blocks[0].lines)
    sales = found.outcome.path.ledger.group("sales")[0, :13].sum()
    assert f"counts on sales of {look.money(float(sales))} in the first year" in said
    assert "3.0% more that come back with a new machine (assumed)" in said


def test_rules_for_others_to_answer_are_as_many_as_counted(
    found: LenderFindings, look: Look
) -> None:
    drawing, *_, note = floor(found, look).blocks
    asked = int(re.search(r"(\d+) are for others", drawing.reading).group(1))
    named = note.lines[0].split(": ")[1].rstrip(".").split("; ")
    times = [int(count.group(1)) if (count := re.search(r"\((\d+) times", each)) else 1
             for each in named]  # fmt: skip
    assert sum(times) == asked


def test_sheets_hold_what_is_to_be_measured(study: Study) -> None:
    sheet = trial_sheet(study, ["mid_all_in_one", "mid_contour_cutter"])
    paper = trial_paper(sheet, study, made_on=DAY)
    readings = paper.sections[-1].blocks[0]
    assert len(readings.table.rows) == len(sheet.rows)
    assert "Blades: change and check them with the machine off" in text_of(pdf(paper))
    accepted = text_of(pdf(acceptance_sheet(study, "mid_all_in_one", made_on=DAY)))
    speed = study.machines["mid_all_in_one"].cutting.set_speed
    assert f"Set speed {speed.shown()} {speed.source}" in accepted
    with pytest.raises(InputError, match="must be one of: mid_roll_printer"):
        acceptance_sheet(study, "nothing", made_on=DAY)
    plan = text_of(pdf(plan_sheet(study, "all_in_one", made_on=DAY, system="us_customary")))
    assert "Mid all-in-one" in plan
    assert "✓ passes" in plan


def test_a_study_without_a_room_or_a_loan_has_a_document(found: LenderFindings, look: Look) -> None:
    bare = replace(found, study=found.study.model_copy(update={"room": None}), choice="keep")
    said = text_of(pdf(bank_document(bare, look, made_on=DAY)))
    assert "Nothing is owed for this choice" in said
    assert "What is not known" in said
    assert "To be answered by those who may" not in said
