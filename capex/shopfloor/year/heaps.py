"""Lines for the compiled dispatcher: flat arrays without a call, a check or a reference count.

Plain Python uses lists and `heapq`, whose C code is faster. Both give the same answers, as no two
entries of a heap or an agenda are equal. A heap is an array of `ENTRY`; its last place holds how
many there are, its first one the lowest, which never comes where there is none. An agenda is a
short one, sorted: from place 1, where what never comes stands, down to the lowest, which stands
in the first place too. A stack is an array of orders with their number in its last place.

Imports numpy and the files of this folder.
"""

from __future__ import annotations

from typing import Any, Final

import numpy as np
import numpy.typing as npt

from capex.shopfloor.year.moments import NEVER, Lines
from capex.shopfloor.year.shop import Shop

__all__ = ["ENTRY", "PARTS", "no_lines"]

ENTRY: Final = np.dtype([("key", np.float64), ("order", np.int64)])
Heap = Any  # a one-dimensional array of `ENTRY`
Stack = npt.NDArray[np.int64]


def no_lines(shop: Shop) -> Lines:
    """Return lines in which nobody stands. It is not compiled, as it allocates them."""
    # an order stands in one line at a time; beside them a machine or the next arrival, what never
    # comes and the number of entries
    size = len(shop.size) + len(shop.state) + 4
    ahead: Any = np.zeros((3, size), ENTRY)
    queues: Any = np.zeros((len(shop.work), size), ENTRY)
    for lines in (ahead, queues):
        lines["key"][..., :2] = NEVER
        lines["order"][..., :2] = -1
    paused: Any = np.zeros(size, np.int64)
    return Lines(ahead[0], ahead[1], queues, paused, ahead[2])


def put(agenda: Heap, item: tuple[float, int]) -> None:
    """Put an entry into an agenda."""
    key, order = item
    last = place = agenda[-1].order + 2
    agenda[-1].order = last - 1
    while True:
        later = agenda[place - 1].key
        if key < later or (key == later and order < agenda[place - 1].order) or place == 2:
            break
        agenda[place].key = later
        agenda[place].order = agenda[place - 1].order
        place -= 1
    agenda[place].key = key
    agenda[place].order = order
    agenda[0].key = agenda[last].key
    agenda[0].order = agenda[last].order


def take(agenda: Heap) -> tuple[float, int]:
    """Take the lowest entry out of an agenda."""
    lowest = agenda[0].key, agenda[0].order
    last = agenda[-1].order
    agenda[-1].order = last - 1
    agenda[0].key = agenda[last].key
    agenda[0].order = agenda[last].order
    return lowest


def count(stack: Stack) -> int:
    """Return how many orders stand in a stack."""
    return stack[-1]  # type: ignore[no-any-return]


def append(stack: Stack, order: int) -> None:
    """Put an order on a stack."""
    stack[stack[-1]] = order
    stack[-1] += 1


def take_last(stack: Stack) -> int:
    """Take the last order off a stack."""
    stack[-1] -= 1
    return stack[stack[-1]]  # type: ignore[no-any-return]


def remove(stack: Stack, order: int) -> None:
    """Take an order out of a stack in which it stands."""
    place = 0
    while stack[place] != order:
        place += 1
    stack[-1] -= 1
    while place < stack[-1]:
        stack[place] = stack[place + 1]
        place += 1


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


def heappushpop(heap: Heap, item: tuple[float, int]) -> tuple[float, int]:
    """Put an entry into a heap and take the lowest out."""
    key, order = item
    if key < heap[0].key or (key == heap[0].key and order < heap[0].order):
        return item
    lowest = heappop(heap)
    heappush(heap, item)
    return lowest


def heapreplace(heap: Heap, item: tuple[float, int]) -> tuple[float, int]:
    """Take the lowest entry out of a heap and put another in."""
    lowest = heappop(heap)
    heappush(heap, item)
    return lowest


#: Every function above, each after those that it calls.
PARTS: Final = (
    put, take, count, append, take_last, remove, heappush, heappop, heappushpop, heapreplace,
)  # fmt: skip
