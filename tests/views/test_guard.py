"""Callbacks never fail silently and never break the page."""

import os
import stat
from pathlib import Path

import pytest

from capex.errors import InputError, NoAnswerError
from capex.study import Study
from capex.views import guard as guard_module
from capex.views.guard import Guard, Trouble, log_path
from capex.views.page_state import PageState


@pytest.fixture(autouse=True)
def own_log(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setattr(
        guard_module.platformdirs, "user_log_path", lambda *_args, **_options: tmp_path / "logs"
    )
    return tmp_path / "logs" / "capex.log"


def test_users_mistake_is_shown_at_its_field_and_not_logged(own_log: Path) -> None:
    seen: list[Trouble] = []
    with Guard(seen.append).watching():
        raise InputError("wage", -1, "must be at least 0 per hour")
    assert seen == [Trouble("wage: -1 must be at least 0 per hour", field="wage")]
    assert not own_log.exists()


def test_error_without_a_field_is_shown_for_the_page() -> None:
    seen: list[Trouble] = []
    with Guard(seen.append).watching():
        raise NoAnswerError("no rate of return: every flow is negative")
    assert seen == [Trouble("no rate of return: every flow is negative")]


def test_own_fault_is_logged_whole_under_the_reference_shown(own_log: Path) -> None:
    seen: list[Trouble] = []

    @Guard(seen.append)
    def broken(_change: object) -> float:
        return 1 / 0

    broken({})
    (trouble,) = seen
    assert trouble.reference is not None
    assert trouble.reference in trouble.message
    assert "division" not in trouble.message
    text = own_log.read_text()
    assert f"[{trouble.reference}]" in text
    assert "ZeroDivisionError" in text
    assert "return 1 / 0" in text


def test_law_only_the_user_s_next_act_hides_what_went_wrong(demo: Study) -> None:
    state, seen = PageState(demo), []
    state.follow(lambda: seen.append(state.trouble), "trouble")

    def fails() -> None:
        raise InputError("wage", -1, "must be at least 0 per hour")

    state.watched(fails)()
    assert state.trouble is not None
    state.watched(lambda: None)()  # other work that goes well
    assert seen == [None, state.trouble]
    state.guarded(lambda: state.watched(fails)())()  # what an answer brings about fails
    assert state.trouble is not None
    state.guarded(lambda: None)()
    assert state.trouble is None


def test_log_moves_to_a_temporary_folder_where_its_own_cannot_be_written(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "logs").write_text("a file in the way")
    monkeypatch.setattr(guard_module.tempfile, "gettempdir", lambda: str(tmp_path))
    guard_module._temporary_folder.cache_clear()
    found = log_path()
    guard_module._temporary_folder.cache_clear()
    assert (found.parent.parent, found.name) == (tmp_path, "capex.log")
    assert stat.S_IMODE(found.parent.stat().st_mode) == 0o700


def test_the_log_is_its_owner_s_alone_also_when_it_begins_a_new_file(own_log: Path) -> None:
    own_log.parent.mkdir()
    own_log.write_text("x" * 999_990)
    own_log.chmod(0o644)
    before = os.umask(0)
    try:
        with Guard(lambda _found: None).watching():
            raise ZeroDivisionError
    finally:
        os.umask(before)
    modes = {path.name: stat.S_IMODE(path.stat().st_mode) for path in own_log.parent.iterdir()}
    assert modes == {"capex.log": 0o600, "capex.log.1": 0o600}
