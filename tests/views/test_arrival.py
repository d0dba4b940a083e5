"""What is worked out while the browser loads a page reaches it all the same."""

import asyncio
from collections.abc import Iterator

import ipywidgets as widgets
import pytest

from capex.views import arrival
from capex.views.arrival import Arrival, once_here, told_of
from capex.views.explore.refining import Refining
from capex.views.floor.state import Background


@pytest.fixture(autouse=True)
def as_before(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    monkeypatch.setattr(arrival, "_ours", None)
    yield
    arrival._ours = None


def its_arrival(page: widgets.Box) -> Arrival:
    (found,) = (each for each in page.children if isinstance(each, Arrival))
    return found


def test_law_what_is_told_before_the_page_is_there_waits_in_its_order() -> None:
    async def opens() -> tuple[list[int], list[int]]:
        page, told = widgets.Box(), []
        told_of(page)
        for number in range(3):
            once_here(lambda number=number: told.append(number))
        await asyncio.sleep(0.01)
        before = list(told)
        its_arrival(page)._handle_custom_msg({"kind": "here"}, [])
        await asyncio.sleep(0.01)
        once_here(lambda: told.append(3))
        return before, told

    assert asyncio.run(opens()) == ([], [0, 1, 2, 3])


def test_work_beside_the_page_is_done_at_once_and_told_when_it_is_there() -> None:
    async def opens() -> tuple[list[int], list[int], list[int]]:
        page, done, told = widgets.Box(), [], []
        told_of(page)
        Background(0.0)(lambda: done.append(1) or 1, lambda found: told.append(found()))
        Refining(0.0)(lambda: iter([2, 3]), lambda found: told.append(found()))
        await asyncio.sleep(0.1)
        before = list(told)
        its_arrival(page).come()
        await asyncio.sleep(0.01)
        return done, before, told

    done, before, told = asyncio.run(opens())
    assert (done, before, sorted(told)) == ([1], [], [1, 2, 3])


def test_one_piece_that_fails_keeps_back_no_other() -> None:
    async def opens() -> list[int]:
        page, told = widgets.Box(), []
        asyncio.get_running_loop().set_exception_handler(lambda *_: None)
        told_of(page)
        once_here(lambda: told.append(1 // 0))
        once_here(lambda: told.append(1))
        its_arrival(page).come()
        await asyncio.sleep(0.01)
        return told

    assert asyncio.run(opens()) == [1]


def test_a_page_without_a_browser_counts_as_there_after_a_while() -> None:
    async def opens() -> list[int]:
        told: list[int] = []
        Arrival(0.01).once(lambda: told.append(1))
        assert told == []
        await asyncio.sleep(0.05)
        return told

    assert asyncio.run(opens()) == [1]


def test_where_no_page_was_opened_and_in_a_later_loop_nothing_waits() -> None:
    told: list[str] = []
    once_here(lambda: told.append("no page"))

    async def opens() -> None:
        told_of(widgets.Box())

    async def later() -> None:
        once_here(lambda: told.append("later loop"))

    asyncio.run(opens())
    asyncio.run(later())
    assert told == ["no page", "later loop"]
