"""Files that are there whole or not at all, and that only their owner can read."""

import os
import stat
from pathlib import Path

import pytest

from capex.study import StudyFile, data_folder
from capex.study.whole_file import write_whole


def mode(path: Path) -> int:
    return stat.S_IMODE(path.stat().st_mode)


@pytest.mark.parametrize("mask", [0o000, 0o022, 0o077])
def test_a_new_file_is_its_owner_s_alone_whatever_the_mask(tmp_path: Path, mask: int) -> None:
    before = os.umask(mask)
    try:
        write_whole(tmp_path / "own.toml", b"x")
        StudyFile.read(data_folder() / "studies" / "quenlow.toml").write(tmp_path / "study.toml")
    finally:
        os.umask(before)
    assert [mode(tmp_path / name) for name in ("own.toml", "study.toml")] == [0o600, 0o600]


def test_a_file_that_is_shared_stays_shared_and_a_link_a_link(tmp_path: Path) -> None:
    path, link = tmp_path / "own.toml", tmp_path / "link.toml"
    path.write_bytes(b"before")
    path.chmod(0o640)
    link.symlink_to(path)
    write_whole(link, b"after")
    assert (path.read_bytes(), mode(path), link.is_symlink()) == (b"after", 0o640, True)


def test_devices_and_folders_are_left_alone(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe")
    (tmp_path / "folder").mkdir()
    for name in ("pipe", "folder"):
        with pytest.raises(OSError, match="is no ordinary file"):
            write_whole(tmp_path / name, b"x")
    assert sorted(path.name for path in tmp_path.iterdir()) == ["folder", "pipe"]


def test_a_write_that_fails_leaves_what_was_there(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "own.toml"
    write_whole(path, b"before")

    def full(_handle: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(OSError, match="No space left"):
        write_whole(path, b"after")
    assert path.read_bytes() == b"before"
    assert [path.name for path in tmp_path.iterdir()] == ["own.toml"]
