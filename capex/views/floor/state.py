"""What all sections of the shop floor page share: the study, units, currency, and trouble.

May import: traitlets, and from capex study, `views.arrival`, `views.charts.picture` and
`views.page_state`.
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import suppress
from pathlib import Path
from typing import Any, Final, Protocol, TypeVar

import traitlets

from capex.study import Study, StudyFile, data_folder
from capex.views.arrival import once_here
from capex.views.charts.picture import Look
from capex.views.page_state import PageState

__all__ = ["Background", "FloorState", "Later"]

T = TypeVar("T")
#: Rest after the last change before the work begins [s].
_REST: Final = 0.25


class Later(Protocol):
    """Takes work and what to do with its result."""

    def __call__(self, work: Callable[[], T], done: Callable[[Callable[[], T]], None]) -> None:
        """Work, and hand over what returns its result or raises its failure."""


class Background:
    """Runs the newest work in a thread of its own, so that the page answers meanwhile.

    The result is handed over in the page's own loop, once the page is there; that of work which
    newer work has replaced is dropped. Where no loop runs the work is done at once.

    Examples
    --------
    >>> with ThreadPoolExecutor(1) as elsewhere:  # where no loop runs
    ...     told = elsewhere.submit(Background(), lambda: 2 + 2, lambda found: print(found()))
    4
    """

    def __init__(self, rest: float = _REST) -> None:
        self._rest = rest
        self._thread: ThreadPoolExecutor | None = None
        self._handle: asyncio.TimerHandle | None = None
        self._newest: object = None
        self._running: Future[Any] | None = None

    def __call__(self, work: Callable[[], T], done: Callable[[Callable[[], T]], None]) -> None:
        """Do the work once nothing newer has come for a moment."""
        ticket = self._newest = object()
        if self._handle is not None:
            self._handle.cancel()
        if self._running is not None:
            self._running.cancel()  # unless it has begun
        try:
            loop = asyncio.get_running_loop()
        except RuntimeError:
            done(work)
            return
        self._thread = self._thread or ThreadPoolExecutor(1)
        thread = self._thread

        def finished(future: Future[T]) -> None:
            if ticket is self._newest:
                done(future.result)

        def hand_over(future: Future[T]) -> None:
            once_here(lambda: finished(future))

        def tell(future: Future[T]) -> None:
            with suppress(RuntimeError):  # the page's loop may have been closed meanwhile
                loop.call_soon_threadsafe(hand_over, future)

        def begin() -> None:
            self._running = future = thread.submit(work)
            future.add_done_callback(tell)

        self._handle = loop.call_later(self._rest, begin)


class FloorState(PageState):
    """The study of the page and how it is shown.

    Parameters
    ----------
    file : StudyFile
        As read.
    path : Path
        Where it was read from.

    Examples
    --------
    >>> from capex.study import StudyFile, data_folder
    >>> path = data_folder() / "studies" / "quenlow.toml"
    >>> state = FloorState(StudyFile.read(path), path)
    >>> state.units, list(state.currencies), state.is_shipped
    ('metric', ['USD', 'EUR', 'GBP'], True)
    """

    study: traitlets.Instance[Study] = traitlets.Instance(Study)

    def __init__(self, file: StudyFile, path: Path) -> None:
        self.file = file
        self.path = path
        super().__init__(file.study)

    @property
    def look(self) -> Look:
        """How the page wants its charts."""
        return Look(self.study, self.units, self.currency)

    @property
    def is_shipped(self) -> bool:
        """Whether the file is one of the package's own, which nothing writes to."""
        return data_folder().resolve() in self.path.resolve().parents

    def take(self, file: StudyFile) -> None:
        """Go on with a changed study."""
        self.file = file
        self.study = file.study
