"""Work that comes in pieces, each better than the last, in a thread beside the page.

May import: the standard library, and from capex `views.arrival`.
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import suppress
from typing import Final, NoReturn, Protocol, TypeVar

from capex.views.arrival import once_here

__all__ = ["Refine", "Refining"]

T = TypeVar("T")
#: Rest after the last change before the work begins [s].
_REST: Final = 0.15


class Refine(Protocol):
    """Takes work in pieces and what to do with each."""

    def __call__(
        self, work: Callable[[], Iterator[T]], take: Callable[[Callable[[], T]], None]
    ) -> None:
        """Work, and hand over what returns each piece or raises the failure."""

    def drop(self) -> None:
        """Stop the work, and hand nothing over any more."""


class Refining:
    """Runs the newest work in a thread; work that newer work replaced stops at its next piece.

    Pieces are handed over in the page's own loop, once the page is there. Where no loop runs the
    work is done at once.

    Examples
    --------
    >>> with ThreadPoolExecutor(1) as elsewhere:  # where no loop runs
    ...     told = elsewhere.submit(Refining(), lambda: iter([1, 2]), lambda one: print(one()))
    1
    2
    """

    def __init__(self, rest: float = _REST) -> None:
        self._rest = rest
        self._thread: ThreadPoolExecutor | None = None
        self._handle: asyncio.TimerHandle | None = None
        self._newest: object = None

    def drop(self) -> None:
        """Stop the work at its next piece, and hand nothing over any more."""
        self._newest = None
        if self._handle is not None:
            self._handle.cancel()

    def __call__(
        self, work: Callable[[], Iterator[T]], take: Callable[[Callable[[], T]], None]
    ) -> None:
        """Do the work once nothing newer has come for a moment."""
        ticket = self._newest = object()
        if self._handle is not None:
            self._handle.cancel()
        try:
            loop = asyncio.get_running_loop()
        except RuntimeError:
            for piece in _pieces(work):
                take(piece)
            return
        thread = self._thread = self._thread or ThreadPoolExecutor(1)

        def give(piece: Callable[[], T]) -> None:
            if ticket is self._newest:
                take(piece)

        def hand_over(piece: Callable[[], T]) -> None:
            once_here(lambda: give(piece))

        def run() -> None:
            for piece in _pieces(work):
                if ticket is not self._newest:
                    return
                with suppress(RuntimeError):  # the page's loop may have been closed meanwhile
                    loop.call_soon_threadsafe(hand_over, piece)

        self._handle = loop.call_later(self._rest, thread.submit, run)


def _pieces(work: Callable[[], Iterator[T]]) -> Iterator[Callable[[], T]]:
    """Yield what returns each piece; a failure is the last of them."""
    try:
        for piece in work():
            yield lambda piece=piece: piece  # type: ignore[misc]
    except Exception as failure:  # handed over, and shown by whoever takes it
        yield _raising(failure)


def _raising(failure: Exception) -> Callable[[], NoReturn]:
    def fail() -> NoReturn:
        raise failure

    return fail
