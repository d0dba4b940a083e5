"""Heaps for the compiled dispatcher: flat arrays without a call, a check or a reference count.

Plain Python uses lists and `heapq`, whose C code is faster. Both give the same answers, as no two
entries of a heap are equal. A heap is an array of `ENTRY`; its last place holds how many there
are, its first one the lowest, which never comes where there is none.

Imports numpy; `Lines` and `NEVER` are those of `capex.shopfloor.year.moments`, given by the
compiler.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

import numpy as np

if TYPE_CHECKING:
    from capex.shopfloor.year.moments import NEVER, Lines
    from capex.shopfloor.year.shop import Shop

__all__ = ["ENTRY", "PARTS"]

ENTRY: Final = np.dtype([("key", np.float64), ("order", np.int64)])
Heap = Any  # a one-dimensional array of `ENTRY`


def no_lines(shop: Shop) -> Lines:
    """Return lines in which nobody stands."""
    # an order stands in one line at a time, a machine or the next arrival beside them
    size = len(shop.size) + len(shop.state) + 2
    running: Any = np.zeros(size, ENTRY)
    waits: Any = np.zeros(size, ENTRY)
    queues: Any = np.zeros((len(shop.work), size), ENTRY)
    running[0].key = waits[0].key = NEVER
    for k in range(len(shop.work)):
        queues[k][0].key = NEVER
    paused = [-1]
    paused.clear()
    return Lines(running, waits, queues, paused)


def heappush(heap: Heap, item: tuple[float, int]) -> None:
    """Put an entry into a heap."""
    key, order = item
    place = heap[-1].order
    heap[-1].order = place + 1
    while place > 0:
        above = (place - 1) >> 1
        higher = heap[above].key
        if higher < key or (higher == key and heap[above].order < order):
            break
        heap[place].key = higher
        heap[place].order = heap[above].order
        place = above
    heap[place].key = key
    heap[place].order = order


def heappop(heap: Heap) -> tuple[float, int]:
    """Take the lowest entry out of a heap."""
    lowest = heap[0].key, heap[0].order
    count = heap[-1].order - 1
    heap[-1].order = count
    key, order = heap[count].key, heap[count].order
    if count == 0:
        key = NEVER
    place, below = 0, 1
    while below < count:
        lower = heap[below].key
        if below + 1 < count:
            beside = heap[below + 1].key
            if beside < lower or (beside == lower and heap[below + 1].order < heap[below].order):
                below += 1
                lower = beside
        if key < lower or (key == lower and order < heap[below].order):
            break
        heap[place].key = lower
        heap[place].order = heap[below].order
        place = below
        below = 2 * place + 1
    heap[place].key = key
    heap[place].order = order
    return lowest


def heapreplace(heap: Heap, item: tuple[float, int]) -> tuple[float, int]:
    """Take the lowest entry out of a heap and put another in."""
    lowest = heappop(heap)
    heappush(heap, item)
    return lowest


#: Every function above, each after those that it calls.
PARTS: Final = (no_lines, heappush, heappop, heapreplace)
