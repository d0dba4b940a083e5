"""What the command line does where its output cannot be written, each run a process of its own."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

from capex.study import data_folder

STUDY = str(data_folder() / "studies" / "quenlow.toml")
FULL = Path("/dev/full")
SHEET = ("trial-sheet", STUDY, "--machine", "mid_roll_printer")

pytestmark = pytest.mark.skipif(not FULL.exists(), reason="this system has no full disk to try")


def ended(words, *, unbuffered, **streams):
    """Return how a command ended; Python keeps what is written back unless `unbuffered`."""
    code = "from capex.__main__ import main; main()"
    surroundings = {name: value for name, value in os.environ.items() if name != "PYTHONUNBUFFERED"}
    if unbuffered:
        surroundings["PYTHONUNBUFFERED"] = "1"
    streams = {"stderr": subprocess.PIPE, **streams}
    return subprocess.run(
        [sys.executable, "-c", code, *words],
        env=surroundings, text=True, timeout=120, check=False, **streams,
    )  # fmt: skip


@pytest.mark.parametrize("unbuffered", [True, False])
@pytest.mark.parametrize("words", [("check", STUDY), ("offers", STUDY), SHEET], ids=lambda w: w[0])
def test_a_full_disk_is_said_in_one_sentence(words, unbuffered):
    with FULL.open("w") as full:
        found = ended(words, unbuffered=unbuffered, stdout=full)
    assert found.returncode == 2
    lines = found.stderr.splitlines()
    assert lines[-1] == "cannot write what was asked for: No space left on device"
    assert not [line for line in lines if "Traceback" in line or "Exception ignored" in line]
    if words is not SHEET:  # whose protocol goes to the terminal
        assert len(lines) == 1


@pytest.mark.parametrize("unbuffered", [True, False])
def test_a_full_disk_for_messages_too_ends_in_2(unbuffered):
    with FULL.open("w") as full:
        found = ended(("check", STUDY), unbuffered=unbuffered, stdout=full, stderr=full)
        assert found.returncode == 2
        found = ended(("check", "nowhere.toml"), unbuffered=unbuffered, stdout=full, stderr=full)
        assert found.returncode == 2


@pytest.mark.parametrize("unbuffered", [True, False])
@pytest.mark.parametrize("words", [("check", STUDY), ("offers", STUDY)], ids=lambda w: w[0])
def test_a_closed_pipe_is_quiet(words, unbuffered):
    reading, writing = os.pipe()
    os.close(reading)
    try:
        found = ended(words, unbuffered=unbuffered, stdout=writing)
    finally:
        os.close(writing)
    assert found.stderr == ""
    assert found.returncode == 1


def test_an_output_that_is_closed_is_said():
    found = ended(("check", STUDY), unbuffered=False, preexec_fn=lambda: os.close(1))
    assert found.returncode == 2
    assert found.stderr == "cannot write what was asked for: Bad file descriptor\n"
