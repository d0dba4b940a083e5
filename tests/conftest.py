"""Settings of all tests; figures that they measure are printed at the end, under "measured"."""

import pytest
from hypothesis import settings

# The machine is shared: how long one example takes says nothing about the code.
settings.register_profile("shared", deadline=None)
settings.load_profile("shared")


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_make_scheduler(config, log):
    """Keep a file's tests in one process, and all tests with a browser in one: two slow both."""
    from xdist.scheduler import LoadScopeScheduling

    class ByFile(LoadScopeScheduling):
        def _split_scope(self, nodeid):
            file = nodeid.split("::")[0]
            return "browser" if file.startswith("tests/browser/") else file

    return ByFile(config, log)


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
