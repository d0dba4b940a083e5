"""The dispatcher compiled by numba where it is there, and as it stands where it is not.

Compiled code is kept on disk beside the source (or in the user's cache folder), so that only the
first run after an installation compiles. Nothing waits for that: until the compiled dispatcher is
ready, plain Python runs the same source. With ``CAPEX_PLAIN=1`` in the environment it always does.

Imports numba on demand, and the files of this folder.
"""

from __future__ import annotations

import hashlib
import importlib.util
import os
import threading
from collections.abc import Callable
from functools import cache
from pathlib import Path
from types import FunctionType
from typing import Any

from capex.shopfloor.year import days, moments, shop
from capex.shopfloor.year.shop import Lists, Shop

__all__ = ["can_compile", "compiled", "plain", "run", "warm"]

_ready = threading.Event()
_begun = threading.Event()


def can_compile() -> bool:
    """Return whether numba is there and wanted."""
    wanted = os.environ.get("CAPEX_PLAIN", "") in ("", "0")
    return wanted and importlib.util.find_spec("numba") is not None


@cache
def compiled() -> Callable[[Shop], None]:
    """Return the dispatcher compiled, from disk where it has been compiled before."""
    import numba

    # code that a changed file has left behind on disk is told apart by its name
    text = b"".join(Path(str(part.__file__)).read_bytes() for part in (days, moments, shop))
    mark = hashlib.sha256(text).hexdigest()[:12]
    names: dict[str, Any] = {**vars(moments), **vars(days)}
    for part in (*moments.PARTS, *days.PARTS):
        copy = FunctionType(part.__code__, names, part.__name__)
        copy.__qualname__ = f"{part.__name__}_{mark}"
        outer = part is days.run
        small = part in (moments.rank, moments.fail)
        names[part.__name__] = numba.njit(copy, cache=outer, forceinline=small)
    run: Callable[[Shop], None] = names["run"]
    return run


def plain(shop: Shop) -> None:
    """Run the dispatcher as it stands, and put what it recorded into the run's arrays."""
    lists: Any = Lists(shop)
    days.run(lists)
    for name in Lists.recorded:
        getattr(shop, name)[:] = getattr(lists, name)


def warm() -> None:
    """Get the compiled dispatcher ready in the background; returns at once."""
    if can_compile() and not _ready.is_set() and not _begun.is_set():
        _begun.set()
        threading.Thread(target=_made_ready, name="compile the dispatcher", daemon=True).start()


def run(shop: Shop, *, wait: bool = False) -> None:
    """Run a floor the fastest way that is ready.

    Parameters
    ----------
    shop : Shop
        The run; its record is filled.
    wait : bool
        Whether to wait for the compiler where it has not been here yet.
    """
    if can_compile() and (wait or _ready.is_set()):
        compiled()(shop)
        _ready.set()
    else:
        plain(shop)
