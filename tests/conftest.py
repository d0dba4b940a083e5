"""Figures that tests measure are printed at the end of the run, under "measured"."""

import pytest

_MEASURED = pytest.StashKey[list[str]]()


@pytest.fixture
def measured(request):
    """A function that takes one line of figures for the end of the run."""
    lines = request.config.stash.setdefault(_MEASURED, [])
    return lines.append


def pytest_terminal_summary(terminalreporter, config):
    for line in config.stash.get(_MEASURED, []):
        if line is config.stash[_MEASURED][0]:
            terminalreporter.section("measured")
        terminalreporter.write_line(line)
