"""A state over the demo study, its longer work held back until a test asks for it."""

from collections.abc import Callable

import pytest

from capex.study import Study, data_folder, read_study
from capex.views.state import DecisionState


class HeldWork:
    """Stands in for the pause after the last change: keeps the newest work only when told to."""

    def __init__(self) -> None:
        self.asked: list[Callable[[], None]] = []

    def __call__(self, work: Callable[[], None]) -> None:
        self.asked.append(work)

    def run(self) -> None:
        """Run everything that was asked for, the oldest first, as if nothing was cancelled."""
        for work in self.asked:
            work()
        self.asked.clear()


@pytest.fixture(scope="session")
def demo() -> Study:
    return read_study(data_folder() / "studies" / "quenlow.toml")


@pytest.fixture
def held() -> HeldWork:
    return HeldWork()


@pytest.fixture
def state(demo: Study, held: HeldWork) -> DecisionState:
    return DecisionState(demo, later=held)
