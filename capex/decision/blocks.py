"""Scenarios in blocks that fit the processors' caches, one block a processor at a time.

Imports numpy and no other part of `capex`.
"""

from __future__ import annotations

import os
from collections import deque
from collections.abc import Callable, Iterator, Mapping
from concurrent.futures import Future, ThreadPoolExecutor
from typing import Final, TypeVar

import numpy as np
import numpy.typing as npt

__all__ = ["BLOCK", "in_blocks", "of_block"]

FloatArray = npt.NDArray[np.float64]
T = TypeVar("T")

#: Scenarios that go through the path together.
BLOCK: Final = 256


def _processors() -> int:
    """Return how many processors this process may use."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


def in_blocks(work: Callable[[slice], T], count: int) -> Iterator[T]:
    """Yield what a piece of work gives for each block of scenarios; whoever waits can stop there.

    As many blocks are under way as there are processors: numpy lets go of Python's lock for the
    length of an operation, which a block makes long enough for threads.

    Parameters
    ----------
    work : callable
        Given the places of a block; must not change what another block reads.
    count : int
        Scenarios.

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
    threads = min(_processors(), len(blocks))
    if threads <= 1:
        yield from map(work, blocks)
        return
    with ThreadPoolExecutor(threads) as pool:
        ahead: deque[Future[T]] = deque()
        for some in blocks:
            ahead.append(pool.submit(work, some))
            if len(ahead) > threads:
                yield ahead.popleft().result()
        while ahead:
            yield ahead.popleft().result()


def of_block(scenarios: Mapping[str, FloatArray], some: slice) -> dict[str, FloatArray]:
    """Return what a block has of the inputs that differ; one value is that of every scenario."""
    return {path: v if v.size == 1 else v[some] for path, v in scenarios.items()}
