"""Settings of all tests; figures that they measure are printed at the end, under "measured"."""

import pytest
from hypothesis import settings

# The machine is shared: how long one example takes says nothing about the code.
settings.register_profile("shared", deadline=None)
settings.load_profile("shared")


@pytest.fixture
def measured(request):
    """A function that takes one line of figures for the end of the run."""
    return lambda line: request.node.user_properties.append(("measured", line))


def pytest_terminal_summary(terminalreporter):
    reports = [report for kind in terminalreporter.stats.values() for report in kind]
    lines = [
        line
        for report in reports
        if getattr(report, "when", None) == "call"
        for name, line in report.user_properties
        if name == "measured"
    ]
    if lines:
        terminalreporter.section("measured")
    for line in lines:
        terminalreporter.write_line(line)
