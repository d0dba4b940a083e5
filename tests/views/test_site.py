"""What the pages of the saved studies say, before any page shows it."""

import os
import re
import string
from pathlib import Path

import jinja2
import pytest
from hypothesis import given
from hypothesis import strategies as st

import capex
from capex.decision.appraise import appraise
from capex.errors import InputError, Problem, StoreError, StudyError
from capex.study import StudyFile, data_folder
from capex.study.saved_studies import SavedStudies
from capex.study.titled import with_name
from capex.views.site.comparison import NamedStudy, _money_texts, comparison
from capex.views.site.handlers import _done, _imported
from capex.views.site.listing import LIMIT, listing
from capex.views.site.wording import file_name, trouble, when

STUDIES = data_folder() / "studies"
TEMPLATES = Path(capex.__file__).parent / "views" / "template" / "voila" / "templates" / "capex"
FILE = StudyFile.read(STUDIES / "quenlow.toml")


@pytest.fixture
def saved(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> SavedStudies:
    monkeypatch.setenv("CAPEX_DATA", str(tmp_path))
    return SavedStudies()


def compared(one: StudyFile, other: StudyFile):
    return comparison(NamedStudy("a", "A", one.study), NamedStudy("b", "B", other.study))


@given(
    st.floats(-3e6, 3e6, allow_nan=False), st.floats(-3e6, 3e6, allow_nan=False)
)  # fmt: skip
def test_law_rounded_amounts_side_by_side_add_up(here: float, there: float) -> None:
    one, other, difference = (
        float(text.replace("−", "-").replace("$", "").replace(",", ""))
        for text in _money_texts(here, there, "USD", "USD")
    )
    assert difference == pytest.approx(other - one, abs=1e-9)
    assert one == pytest.approx(here, abs=0.005 * abs(here) + 0.5)
    assert difference == pytest.approx(there - here, abs=0.01 * abs(there - here) + 1.0)


def test_a_study_beside_itself_differs_in_nothing() -> None:
    found = compared(FILE, StudyFile.parsed(f"# a comment\n{FILE.text}"))
    assert found.entries == ()
    assert found.one.gains == found.other.gains
    assert {row.difference for row in found.gains} == {"$0"}
    assert found.one.verdict == found.other.verdict


def test_gains_are_those_of_the_appraisal() -> None:
    dearer = FILE.changed({"machines.mid_all_in_one.price": "90000 USD"})
    found = compared(FILE, dearer)
    direct = appraise(dearer.study)
    assert found.other.gains == dict(
        zip(direct.outcomes, direct.net_present_value[0].tolist(), strict=True)
    )
    assert found.other.gains["all_in_one"] < found.one.gains["all_in_one"]
    assert found.other.gains["separate"] == found.one.gains["separate"]


@pytest.mark.parametrize(
    ("changes", "path", "texts"),
    [
        ({"shop.people.wage": "31 USD/h"}, "shop.people.wage", ("(assumed)", "31 USD/h (entered)")),
        ({"shop_name": "Harbour Signs"}, "shop_name", ("Quenlow Graphics", "Harbour Signs")),
        ({"shop.hours.overtime_premium": {"value": 1.5000001, "source": "assumed"}},
         "shop.hours.overtime_premium", ("as typed: 1.5", "as typed: 1.5000001")),
    ],
)  # fmt: skip
def test_entries_show_both_values(
    changes: dict[str, object], path: str, texts: tuple[str, str]
) -> None:
    (row,) = compared(FILE, FILE.changed(changes)).entries
    assert row.path == path
    assert texts[0] in row.one
    assert texts[1] in row.other


def test_a_part_that_only_one_has_is_one_row() -> None:
    lines = FILE.text.splitlines()
    start = lines.index("[machines.mid_all_in_one]")
    copy = [line.replace("mid_all_in_one", "second").replace("Mid all-in-one", "Second")
            for line in lines[start:]]  # fmt: skip
    ends = [i for i, line in enumerate(copy) if line.startswith("[") and "second" not in line]
    more = StudyFile.parsed("\n".join([*lines, *copy[: ends[0]]]))
    for pair, expected in (((FILE, more), ("not there", "there")),
                           ((more, FILE), ("there", "not there"))):  # fmt: skip
        (row,) = compared(*pair).entries
        assert (row.path, row.one, row.other) == ("machines.second", *expected)


def test_money_of_two_currencies_is_not_subtracted() -> None:
    text = FILE.text.replace("EUR", "dollars").replace("USD", "EUR").replace("dollars", "USD")
    euros = StudyFile.parsed(text)
    assert not compared(FILE, euros).same_currency


def test_an_opened_file_is_saved_under_the_name_given_or_the_shop_s_own(
    saved: SavedStudies,
) -> None:
    body = f"\ufeff{FILE.text}".replace("\n", "\r\n").encode()
    _imported("C:/own.toml", body, "")
    _imported("own.toml", body, "  Mine ")
    first, second = saved.studies()
    assert (first.name, second.name) == ("Mine", "Quenlow Graphics")
    assert saved.text(first.key) == FILE.text


def test_a_study_that_is_handed_out_and_comes_back_keeps_its_name(saved: SavedStudies) -> None:
    _imported("own.toml", with_name(FILE.text, "Spring,  with a\nloan").encode(), "")
    (study,) = saved.studies()
    assert study.name == "Spring, with a loan"
    assert saved.text(study.key) == FILE.text


@pytest.mark.parametrize("file", ["orders.csv", "Orders.XLSX"])
def test_an_order_book_opened_as_a_study_is_told_where_it_goes(
    saved: SavedStudies, file: str
) -> None:
    with pytest.raises(StudyError, match="put in under “Start from my order book”"):
        _imported(file, b"Order,Date\n1,2026-01-01\n", "")
    assert saved.studies() == ()


def test_a_part_that_an_entry_names_is_compared_by_its_own_name() -> None:
    path = "alternatives.all_in_one.machines.0.offer"
    (row,) = compared(FILE, FILE.changed({path: "all_in_one_loan"})).entries
    assert (row.path, row.one, row.other) == (path, "–", "All-in-one on a bank loan")


def test_a_factor_on_all_work_is_a_place_in_words() -> None:
    error = StudyError("own.toml", [Problem("levers.price", 0, "must be greater than 0")])
    (problem,) = trouble(error).problems
    assert problem.words == "selling prices, all job types"


@pytest.mark.parametrize(
    ("body", "bound"),
    [
        (b"#" * (LIMIT + 1), "must be at most 16 MB"),
        (b"\xff\xfe", "is not UTF-8 text"),
        (b"x", "cannot be read"),
        (FILE.text.replace('"0.075 m"', '"-1 m"').encode(), "greater than"),
    ],
    ids=["size", "bytes", "TOML", "problems"],
)
def test_refuses_files_that_are_no_study_and_saves_nothing(
    saved: SavedStudies, body: bytes, bound: str
) -> None:
    with pytest.raises(StudyError) as refused:
        _imported("own.toml", body, "Mine")
    assert any(bound in problem.bound for problem in refused.value.problems)
    shown = [(each.path, each.bound) for each in trouble(refused.value).problems]
    assert shown == [(each.path, each.bound) for each in refused.value.problems]
    it = "it" if len(shown) == 1 else "them"
    assert f"Put {it} right" in trouble(refused.value).words
    assert saved.studies() == ()


def test_actions_lead_on_and_lose_nothing(saved: SavedStudies) -> None:
    key = saved.add("Ours", FILE.text).study
    saved.save(key, f"# 2\n{FILE.text}")
    assert _done(key, "restore", "", "1") == f"studies/{key}?done=restored"
    assert saved.text(key, 3) == FILE.text
    assert _done(key, "remove", "", "") == f"?done=removed&removed={key}"
    found = listing(STUDIES)
    assert ([s.key for s in found.removed], found.studies) == ([key], ())
    assert _done(key, "bring_back", "", "") == "?done=back"
    assert [version.number for version in saved.versions(key)] == [3, 2, 1]


@pytest.mark.parametrize("number", ["", "0", "4", "-1", "x", "1.0", "9" * 30])
def test_refuses_to_restore_what_is_no_version(saved: SavedStudies, number: str) -> None:
    key = saved.add("Ours", FILE.text).study
    with pytest.raises(InputError, match="version"):
        _done(key, "restore", "", number)
    assert len(saved.versions(key)) == 1


def test_unsaved_work_of_a_removed_study_is_still_offered(saved: SavedStudies) -> None:
    key = saved.add("Ours", FILE.text).study
    saved.keep("a b&c", "x", key, 1)
    saved.keep("new", "y")
    new, old = listing(STUDIES).drafts
    assert (new.name, new.query) == ("", "draft=new")
    assert (old.name, old.made_from, old.query) == ("Ours", 1, f"study={key}%401&draft=a+b%26c")
    saved.remove(key)
    assert listing(STUDIES).drafts[1].query == "draft=a+b%26c"


def test_unsaved_work_of_one_minute_is_told_apart_in_every_label(saved: SavedStudies) -> None:
    key = saved.add("Ours", FILE.text).study
    saved.save(key, f"# 2\n{FILE.text}")
    saved.keep("one", "x", key, 1)
    saved.keep("other", "y", key, 2)
    saved.keep("never", "z")
    page = rendered("site/studies.html", **vars(listing(STUDIES)))
    for label in ("Unsaved work,", "Go on with it :", "Download it :", "Discard it :"):
        found = re.findall(rf"{label} (today at \d\d:\d\d:\d\d(?:, from version \d)?)", page)
        assert [each[len("today at 00:00:00") :] for each in found] == [
            "", ", from version 2", ", from version 1",
        ]  # fmt: skip


def test_a_damaged_file_is_told_then_listed(saved: SavedStudies) -> None:
    saved.path.write_bytes(b"no database" * 1000)
    told = listing(STUDIES).trouble
    assert told is not None
    assert (told.status, "set aside as" in told.words) == (503, True)
    found = listing(STUDIES)
    assert (found.trouble, len(found.damage)) == (None, 1)
    assert found.damage[0].said[0] == "Nothing of it could be read: saving starts anew."


def rendered(template: str, **names: object) -> str:
    pages = jinja2.Environment(loader=jinja2.FileSystemLoader(TEMPLATES), autoescape=True)
    empty = dict.fromkeys(("include_css", "include_url"), lambda _name: "")
    shown = pages.get_template(template).render(
        base_url="/", pages=["shop"], when=when, limit=LIMIT, cautions=[], **empty, **names
    )
    return re.sub(r"\s+", " ", re.sub("<[^>]*>", " ", shown))


def test_the_first_page_says_above_all_else_what_a_damaged_file_has_cost(
    saved: SavedStudies,
) -> None:
    key = saved.add("Ours", FILE.text).study
    for number in (2, 3):
        saved.save(key, f"# number {number}\n{FILE.text}")
    saved.keep("open page", f"# unsaved\n{FILE.text}", key, 3)
    body = saved.path.read_bytes()
    for words in (b"# number 2", b"# unsaved"):
        body = body.replace(words, words[:-1] + b"x")
    saved.path.write_bytes(body)
    with pytest.raises(StoreError, match="set aside"):
        saved.check()
    found = listing(STUDIES)
    page = rendered("site/studies.html", **vars(found))
    notice, studies = page.index("Damaged files that were set aside"), page.index("Its 2 versions")
    for words in ("2 saved versions could be read", "Could not be read: version 2 of Ours",
                  "unsaved work of 1 page: of Ours, changed from version 3, kept",
                  str(found.damage[0].path)):  # fmt: skip
        assert notice < page.index(words) < studies
    assert "Its 2 versions (1 lost) of Ours" in page
    page = rendered("site/versions.html", study=saved.study(key), versions=saved.versions(key))
    assert "1 of its 3 versions could not be read from a damaged file" in page


def test_a_folder_that_cannot_be_written_is_told(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "file").touch()
    monkeypatch.setenv("CAPEX_DATA", str(tmp_path / "file"))
    told = listing(STUDIES).trouble
    assert told is not None
    assert "cannot be written" in told.words


@given(name=st.text(max_size=200), version=st.none() | st.integers(1, 10**9))
def test_law_file_names_are_plain(name: str, version: int | None) -> None:
    found = file_name(name, version)
    assert set(found) <= set(f"{string.ascii_lowercase}{string.digits}-.")
    assert found.endswith(".toml")
    assert not found.startswith((".", "-"))
    assert len(os.fsencode(found)) < 100
