"""Which study an address asks for, and where its changes go."""

from pathlib import Path

import pytest

from capex.errors import InputError
from capex.study import StudyFile, data_folder
from capex.study.saved_studies import SavedStudies
from capex.views.request import page_request, requested_study, where_written, written

TEXT = StudyFile.read(data_folder() / "studies" / "quenlow.toml").text


@pytest.fixture
def studies(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.delenv("VOILA_PREHEAT", raising=False)
    monkeypatch.delenv("QUERY_STRING", raising=False)
    monkeypatch.delenv("CAPEX_STUDY", raising=False)
    monkeypatch.setenv("CAPEX_DATA", str(tmp_path / "mine"))
    for name in ("quenlow", "other"):
        (tmp_path / f"{name}.toml").touch()
    return tmp_path


def test_nothing_asked_is_nothing_given(studies: Path) -> None:
    assert requested_study(studies) is None


def test_address_goes_before_the_server(studies: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("CAPEX_STUDY", str(studies / "other.toml"))
    assert requested_study(studies) == studies / "other.toml"
    monkeypatch.setenv("QUERY_STRING", "study=quenlow")
    assert requested_study(studies) == studies / "quenlow.toml"


@pytest.mark.parametrize("name", ["missing", "../secret", "%2Fetc%2Fpasswd", "quenlow.toml", "a b"])
def test_refuses_anything_but_the_name_of_a_study(
    studies: Path, monkeypatch: pytest.MonkeyPatch, name: str
) -> None:
    (studies.parent / "secret.toml").touch()
    monkeypatch.setenv("QUERY_STRING", f"study={name}")
    with pytest.raises(InputError, match="one of: other, quenlow"):
        requested_study(studies)


@pytest.fixture
def key(studies: Path) -> str:
    """A saved study with two versions."""
    saved = SavedStudies()
    key = saved.add("Our shop", f"# first\n{TEXT}").study
    saved.save(key, f"# second\n{TEXT}")
    return key


@pytest.mark.parametrize(("asked", "version", "mark"), [("", 2, "second"), ("@1", 1, "first")])
def test_a_saved_study_is_given_by_its_key(
    studies: Path, key: str, monkeypatch: pytest.MonkeyPatch, asked: str, version: int, mark: str
) -> None:
    monkeypatch.setenv("QUERY_STRING", f"study={key}{asked}&start=orders&draft=a1")
    found = page_request(studies)
    assert (found.study, found.version, found.draft, found.start) == (key, version, "a1", "orders")
    assert found.path is not None
    assert found.path.read_text() == f"# {mark}\n{TEXT}"


@pytest.mark.parametrize("asked", ["@0", "@3", "@-1", "@two", "@", "@1.toml", "@٢"])
def test_refuses_versions_that_are_not_there(
    studies: Path, key: str, monkeypatch: pytest.MonkeyPatch, asked: str
) -> None:
    monkeypatch.setenv("QUERY_STRING", f"study={key}{asked}")
    with pytest.raises(InputError, match=r"is no saved study|known: 1 to 2"):
        requested_study(studies)


def test_refuses_keys_that_were_never_given(
    studies: Path, key: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("QUERY_STRING", f"study={'0' * 16}")
    with pytest.raises(InputError, match="is not a saved study"):
        requested_study(studies)


def test_changes_of_a_saved_study_are_a_new_version(
    studies: Path, key: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("QUERY_STRING", f"study={key}@1")
    path = requested_study(studies)
    assert path is not None
    assert where_written(path) == "Saves a new version of this study"
    changed = StudyFile.read(path).changed({"shop.people.wage": "31 USD/h"})
    kept = written(changed, path, "Wages")
    said = "Saved as version 3. Beside it stands what was saved meanwhile: version 2."
    assert (kept.said, kept.study) == (said, f"{key}@3")
    assert SavedStudies().text(key) == changed.text
    assert SavedStudies().versions(key)[0].note == "Wages"
    assert path.read_text() == f"# first\n{TEXT}"
    again = written(StudyFile.read(kept.path), kept.path)  # goes on from where it was kept
    assert (again.said, again.study) == ("Saved as version 4.", f"{key}@4")


def test_changes_of_a_file_are_written_to_it(studies: Path) -> None:
    path = studies / "own.toml"
    path.write_text(TEXT)
    changed = StudyFile.read(path).changed({"shop.people.wage": "31 USD/h"})
    kept = written(changed, path)
    assert (kept.said, kept.path, kept.study) == (f"Written to {path}.", path, "")
    assert path.read_text() == changed.text
