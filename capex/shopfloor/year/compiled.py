"""The dispatcher compiled by numba where it is there, and as it stands where it is not.

Compiled code is kept on disk beside the source (or in the user's cache folder), so that only the
first run after an installation compiles. Nothing waits for that: until the compiled dispatcher is
ready, plain Python runs the same source. With ``CAPEX_PLAIN=1`` in the environment it always does.

Imports platformdirs, numba and filelock on demand, and the files of this folder.
"""

from __future__ import annotations

import hashlib
import importlib.util
import os
import subprocess
import sys
import threading
from collections.abc import Callable
from functools import cache
from pathlib import Path
from types import FunctionType
from typing import Any, Final

import numpy as np
from platformdirs import user_cache_path

from capex.shopfloor.year import days, heaps, moments, shop
from capex.shopfloor.year.moments import Lines
from capex.shopfloor.year.plan import Floor, Luck, Orders, Shifts
from capex.shopfloor.year.shop import Lists, Shop, shop_of

__all__ = ["can_compile", "compiled", "is_ready", "plain", "run", "warm"]

#: What the compiler may take [s].
_PATIENCE: Final = 600.0

_ready = threading.Event()
_begun = threading.Event()


def can_compile() -> bool:
    """Return whether numba is there and wanted."""
    wanted = os.environ.get("CAPEX_PLAIN", "") in ("", "0")
    return wanted and importlib.util.find_spec("numba") is not None


def is_ready() -> bool:
    """Return whether the next run is a compiled one."""
    return can_compile() and _ready.is_set()


@cache
def compiled() -> Callable[[Shop], None]:
    """Return the dispatcher compiled, from disk where it has been compiled before."""
    import numba

    # code that a changed file has left behind on disk is told apart by its name
    text = b"".join(Path(str(part.__file__)).read_bytes() for part in (days, heaps, moments, shop))
    mark = hashlib.sha256(text).hexdigest()[:12]
    names: dict[str, Any] = {**vars(heaps), **vars(moments), **vars(days)}
    # nogil: other threads, the page's among them, go on meanwhile
    # _nrt: nothing is allocated, so that no references to arrays need be counted
    options: dict[str, Any] = {"nogil": True, "_nrt": False}
    for part in (*heaps.PARTS, *moments.PARTS, *days.PARTS):
        copy = FunctionType(part.__code__, names, part.__name__)
        copy.__qualname__ = f"{part.__name__}_{mark}"
        # a call hands over every array of the run, so that only the longest is called
        called = part in (moments.moments, days.run)
        names[part.__name__] = numba.njit(
            copy, cache=part is days.run, inline="never" if called else "always", **options
        )
    run: Callable[[Shop, Lines], None] = names["run"]
    return lambda shop: run(shop, heaps.no_lines(shop))


def plain(shop: Shop) -> None:
    """Run the dispatcher as it stands, and put what it recorded into the run's arrays."""
    lists: Any = Lists(shop)
    days.run(lists, moments.no_lines(lists))
    for name in Lists.recorded:
        getattr(shop, name)[:] = getattr(lists, name)


def run(shop: Shop, *, wait: bool = False) -> None:
    """Run a floor the fastest way that is ready; see `warm`.

    Parameters
    ----------
    shop : Shop
        The run; its record is filled.
    wait : bool
        Whether to wait for the compiler where it has not been here yet.
    """
    if is_ready() or (wait and can_compile()):
        compiled()(shop)
        _ready.set()
    else:
        plain(shop)


def warm(*, wait: bool = False) -> None:
    """Get the compiled dispatcher ready in the background.

    The compiler works in a process of its own, since within this one it would hold up everything
    else; what it leaves on disk takes a moment to load.

    Parameters
    ----------
    wait : bool
        Whether to return only when it is ready.
    """
    if not can_compile():
        return
    if wait:
        run(_smallest(), wait=True)
    elif not _begun.is_set():
        _begun.set()
        threading.Thread(target=_compile_beside, name="compiled-dispatcher", daemon=True).start()


def _compile_beside() -> None:
    """Compile in a process of its own, then load the result."""
    from filelock import FileLock

    command = "from capex.shopfloor.year.compiled import warm; warm(wait=True)"
    try:
        # one at a time: whoever comes second finds on disk what the first has compiled
        lock = user_cache_path("capex", ensure_exists=True) / "compiling.lock"
        with FileLock(lock, timeout=_PATIENCE):
            subprocess.run(
                [sys.executable, "-c", command], check=True, capture_output=True, timeout=_PATIENCE
            )
    except (OSError, subprocess.SubprocessError):
        return  # where the compiler cannot work, plain Python goes on
    run(_smallest(), wait=True)


def _smallest() -> Shop:
    """Return a run without orders: its types are those of all."""
    one, no, real = np.zeros(1, dtype=np.int64), np.zeros(1, dtype=bool), np.ones(1)
    floor = Floor(one, real, one, one, one, one - 1, real, real, no, no, no, no, no)
    shifts = Shifts(np.zeros(1), 1.0, 0.0, np.zeros(1), one, 1.0, 0.0, 0.0)
    orders = Orders(np.zeros(0), one[:0], np.zeros(0), one[:0], np.zeros(0))
    never = np.full((1, 1), np.inf)
    return shop_of(floor, shifts, orders, Luck(never, never, never), None)
