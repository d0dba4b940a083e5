"""Scenarios in blocks that fit the processor's cache.

Imports numpy and no other part of `capex`.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from typing import Final, TypeVar

import numpy as np
import numpy.typing as npt

__all__ = ["BLOCK", "in_blocks", "of_block"]

FloatArray = npt.NDArray[np.float64]
T = TypeVar("T")

#: Scenarios that go through the path together.
BLOCK: Final = 128


def in_blocks(work: Callable[[slice], T], count: int) -> Iterator[T]:
    """Yield what a piece of work gives for each block of scenarios; whoever waits can stop there.

    Parameters
    ----------
    work : callable
        Given the places of a block.
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
    for start in range(0, count, BLOCK):
        yield work(slice(start, min(start + BLOCK, count)))


def of_block(scenarios: Mapping[str, FloatArray], some: slice) -> dict[str, FloatArray]:
    """Return what a block has of the inputs that differ; one value is that of every scenario."""
    return {path: v if v.size == 1 else v[some] for path, v in scenarios.items()}
