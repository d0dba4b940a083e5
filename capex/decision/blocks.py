"""Scenarios in blocks that fit the processors' caches, many of them shared out to processors.

Imports numpy and no other part of `capex`.
"""

from __future__ import annotations

import os
import signal
import sys
import threading
from collections import deque
from collections.abc import Callable, Iterable, Iterator, Mapping
from concurrent.futures import Executor, Future, ProcessPoolExecutor, ThreadPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from multiprocessing import active_children, get_context, parent_process
from typing import Any, Final, TypeVar

import numpy as np
import numpy.typing as npt

__all__ = ["BLOCK", "at_once", "in_blocks", "of_block"]

FloatArray = npt.NDArray[np.float64]
S = TypeVar("S")
T = TypeVar("T")

#: Scenarios that go through the path together.
BLOCK: Final = 256
#: Blocks from which on copies of this process are worth their start.
_MANY: Final = 8


def _processors() -> int:
    """Return how many processors this process may use."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


def _may_copy() -> bool:
    """Return whether a copy of this process may be made: none of a process with Python's threads.

    A lock that another thread holds at that moment would stay closed in the copy for good. A
    page's kernel has threads, a command has none; a copy makes no copies of its own. The threads
    of numpy's OpenBLAS end before a copy is made.
    """
    alone = threading.active_count() == 1 and parent_process() is None
    return sys.platform == "linux" and alone


_own_work: Callable[[slice], Any]


def _take_over(work: Callable[[slice], Any]) -> None:
    """Begin a copy: its work came with it; a user's stop is for the process that made it."""
    global _own_work
    _own_work = work
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    threading.Thread(target=_end_with_maker, daemon=True).start()


def _end_with_maker() -> None:
    maker = parent_process()
    if maker is not None:
        maker.join()
        os._exit(1)


def _own_block(some: slice) -> Any:
    return _own_work(some)


def _copies(work: Callable[[slice], Any], processors: int) -> Executor | None:
    """Return copies of this process that do a piece of work, None where none can be made."""
    before = set(active_children())
    try:
        fork = get_context("fork")
        pool = ProcessPoolExecutor(processors, fork, initializer=_take_over, initargs=(work,))
        pool.submit(os.getpid)  # makes all of them
    except (OSError, NotImplementedError):  # too little memory, too many processes
        for copy in set(active_children()) - before:
            copy.terminate()
        return None
    return pool


def _shared(pool: Executor, blocks: list[slice], processors: int) -> Iterator[Any]:
    """Yield what copies give for the blocks, in their order, as many under way as processors."""
    with pool:
        ahead: deque[Future[Any]] = deque()
        for some in blocks:
            ahead.append(pool.submit(_own_block, some))
            if len(ahead) > processors:
                yield ahead.popleft().result()
        while ahead:
            yield ahead.popleft().result()


def in_blocks(work: Callable[[slice], T], count: int, *, copies: bool = True) -> Iterator[T]:
    """Yield what a piece of work gives for each block of scenarios; whoever waits can stop there.

    Many blocks are shared out to copies of this process, one a processor, where it may be copied.
    What a copy that came to its end has not done is done here. Without copies one block follows
    the other: threads would spend a third more to be a tenth earlier, and hold a block each.

    Parameters
    ----------
    work : callable
        Given the places of a block; must not change what another block reads. What it returns or
        raises can be pickled.
    count : int
        Scenarios.
    copies : bool
        False where the work leaves something behind that shall last.

    Yields
    ------
    object
        As `work` returns.

    Examples
    --------
    >>> list(in_blocks(lambda some: (some.start, some.stop), 300))
    [(0, 256), (256, 300)]
    """
    blocks = [slice(start, min(start + BLOCK, count)) for start in range(0, count, BLOCK)]
    processors = min(_processors(), len(blocks))
    shared = copies and processors > 1 and len(blocks) >= _MANY and _may_copy()
    pool = _copies(work, processors) if shared else None
    done = 0
    try:
        for found in _shared(pool, blocks, processors) if pool is not None else ():
            yield found
            done += 1
    except BrokenProcessPool:  # a copy was ended from outside, as where memory runs out
        pass
    yield from map(work, blocks[done:])


def at_once(work: Callable[[S], T], parts: Iterable[S]) -> list[T]:
    """Return what a piece of work gives for each part, a thread a processor.

    Parameters
    ----------
    work : callable
        Spends its time where Python's lock is let go; must not change what another part reads.
    parts : iterable

    Examples
    --------
    >>> at_once(abs, [-2, 1])
    [2, 1]
    """
    with ThreadPoolExecutor(_processors()) as pool:
        return list(pool.map(work, parts))


def of_block(scenarios: Mapping[str, FloatArray], some: slice) -> dict[str, FloatArray]:
    """Return what a block has of the inputs that differ; one value is that of every scenario."""
    return {path: v if v.size == 1 else v[some] for path, v in scenarios.items()}
