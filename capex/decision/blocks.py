"""Scenarios in blocks that fit the processor's cache, a few at once on the machine's cores.

Imports no other part of `capex`.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from typing import Final, TypeVar

__all__ = ["BLOCK", "in_blocks"]

T = TypeVar("T")

#: Scenarios that go through the path together.
BLOCK: Final = 128
#: Blocks at a time, at most: numpy lets go of the interpreter while it computes, Python does not.
_AT_ONCE: Final = 4


def in_blocks(work: Callable[[slice], T], count: int) -> Iterator[T]:
    """Yield what a piece of work gives for each block of scenarios, in their order.

    Nothing is under way while the caller holds a result: whoever waits can stop there.

    Parameters
    ----------
    work : callable
        Given the places of a block; free of side effects, for blocks run beside each other.
    count : int
        Scenarios.

    Yields
    ------
    object
        As `work` returns.

    Examples
    --------
    >>> list(in_blocks(lambda some: (some.start, some.stop), 300))
    [(0, 128), (128, 256), (256, 300)]
    """
    slices = [slice(start, min(start + BLOCK, count)) for start in range(0, count, BLOCK)]
    together = min(len(slices), _cores(), _AT_ONCE)
    if together < 2:
        yield from map(work, slices)
        return
    with ThreadPoolExecutor(together) as cores:
        for start in range(0, len(slices), together):
            yield from list(cores.map(work, slices[start : start + together]))


def _cores() -> int:
    """Return how many cores this process may use."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1
