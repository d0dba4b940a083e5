"""Heaps for the compiled dispatcher: those of the standard library, without a call and its cost.

Plain Python uses `heapq`, whose C code is faster. Both give the same answers, as no two entries of
a heap are equal.

Imports nothing.
"""

from __future__ import annotations

from typing import Final

__all__ = ["PARTS", "heapify", "heappop", "heappush", "heapreplace"]

Heap = list[tuple[float, int]]


def heappush(heap: Heap, item: tuple[float, int]) -> None:
    """Put an entry into a heap."""
    heap.append(item)
    place = len(heap) - 1
    while place > 0:
        above = (place - 1) >> 1
        if not item < heap[above]:
            break
        heap[place] = heap[above]
        place = above
    heap[place] = item


def heapreplace(heap: Heap, item: tuple[float, int]) -> tuple[float, int]:
    """Take the lowest entry out of a heap and put another in."""
    lowest = heap[0]
    count = len(heap)
    place = 0
    below = 1
    while below < count:
        if below + 1 < count and heap[below + 1] < heap[below]:
            below += 1
        if not heap[below] < item:
            break
        heap[place] = heap[below]
        place = below
        below = 2 * place + 1
    heap[place] = item
    return lowest


def heappop(heap: Heap) -> tuple[float, int]:
    """Take the lowest entry out of a heap."""
    item = heap.pop()
    if len(heap) == 0:
        return item
    return heapreplace(heap, item)


def heapify(heap: Heap) -> None:
    """Put a list into the order of a heap: small ones only, one entry after the other."""
    for last in range(1, len(heap)):
        item = heap[last]
        place = last
        while place > 0 and item < heap[(place - 1) >> 1]:
            heap[place] = heap[(place - 1) >> 1]
            place = (place - 1) >> 1
        heap[place] = item


#: Every function above, each after those that it calls.
PARTS: Final = (heappush, heapreplace, heappop, heapify)
