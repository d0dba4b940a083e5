"""Which study an address asks for."""

from pathlib import Path

import pytest

from capex.errors import InputError
from capex.views.request import requested_study


@pytest.fixture
def studies(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.delenv("VOILA_PREHEAT", raising=False)
    monkeypatch.delenv("QUERY_STRING", raising=False)
    monkeypatch.delenv("CAPEX_STUDY", raising=False)
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
