"""Settings of all tests; figures that they measure are printed at the end, under "measured"."""

import pytest
from hypothesis import settings

# The machine is shared: how long one example takes says nothing about the code.
settings.register_profile("shared", deadline=None)
settings.load_profile("shared")

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
