"""What a page does when a callback fails: says so, and keeps the last good result.

A failing widget callback is otherwise silent: neither the page nor the log shows it.

May import: platformdirs, and from capex errors.
"""

from __future__ import annotations

import logging
import os
import secrets
import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from functools import cache, wraps
from io import TextIOWrapper
from logging.handlers import RotatingFileHandler
from pathlib import Path
from typing import ParamSpec

import platformdirs

from capex.errors import CapexError, InputError, StudyError

__all__ = ["Guard", "Trouble", "log_path", "logged"]

P = ParamSpec("P")


@dataclass(frozen=True)
class Trouble:
    """What went wrong, for the page.

    Parameters
    ----------
    message : str
        Plain text for the user; whoever puts it into HTML escapes it.
    field : str or None
        The field to put right, where the user can.
    reference : str or None
        Where the fault is capex's own: the mark under which the log holds its details.
    """

    message: str
    field: str | None = None
    reference: str | None = None


def log_path() -> Path:
    """File that takes the details of capex's own faults.

    Returns
    -------
    Path
        In the platform's folder for logs, or in a new temporary one if that cannot be written.
        Only its owner can read it: figures of the shop may stand in what went wrong.
    """
    folder = platformdirs.user_log_path("capex", appauthor=False)
    path = folder / "capex.log"
    try:
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
        os.close(_for_its_owner(path))
        path.chmod(0o600)
    except OSError:
        return _temporary_folder() / "capex.log"
    return path


def _for_its_owner(path: str | Path) -> int:
    """Open a file to add to it; a new one is its owner's alone."""
    return os.open(path, os.O_CREAT | os.O_APPEND | os.O_WRONLY, 0o600)


@cache
def _temporary_folder() -> Path:
    """Return a folder that no other account can have made, or can look into."""
    return Path(tempfile.mkdtemp(prefix="capex-"))


class _Log(RotatingFileHandler):
    """A log that stays its owner's when it begins a new file."""

    def _open(self) -> TextIOWrapper:
        return os.fdopen(_for_its_owner(self.baseFilename), "a", encoding=self.encoding)


def logged(fault: Exception) -> str:
    """Write the details of a fault of capex's own into the log.

    Parameters
    ----------
    fault : Exception

    Returns
    -------
    str
        The mark under which the log holds them.
    """
    reference = secrets.token_hex(3).upper()
    handler = _Log(log_path(), maxBytes=1_000_000, backupCount=2, encoding="utf-8")
    handler.setFormatter(logging.Formatter("%(asctime)s %(message)s"))
    record = logging.LogRecord(
        "capex", logging.ERROR, __file__, 0, f"[{reference}] {fault}", None,
        (type(fault), fault, fault.__traceback__),
    )  # fmt: skip
    try:
        handler.emit(record)
    finally:
        handler.close()
    return reference


class Guard:
    """Turns failures inside callbacks into a message on the page.

    Parameters
    ----------
    show : callable
        Takes what went wrong.

    Examples
    --------
    >>> seen = []
    >>> guard = Guard(seen.append)
    >>> @guard
    ... def recompute(change):
    ...     raise InputError("wage", -1, "must be at least 0 per hour")
    >>> recompute({})
    >>> seen[-1].field, seen[-1].message
    ('wage', 'wage: -1 must be at least 0 per hour')
    """

    def __init__(self, show: Callable[[Trouble], None]) -> None:
        self._show = show

    def __call__(self, callback: Callable[P, object]) -> Callable[P, None]:
        """Guarded callback: never raises, returns nothing."""

        @wraps(callback)
        def guarded(*args: P.args, **kwargs: P.kwargs) -> None:
            with self.watching():
                callback(*args, **kwargs)

        return guarded

    @contextmanager
    def watching(self) -> Iterator[None]:
        """Guard the statements inside ``with``."""
        try:
            yield
        except CapexError as error:
            field = error.field if isinstance(error, InputError) else None
            said = error.said if isinstance(error, StudyError) else str(error)
            self._show(Trouble(said, field=field))
        except Exception as fault:
            reference = logged(fault)
            self._show(
                Trouble(
                    f"Something went wrong inside capex (reference {reference}). The last good "
                    f"result is still shown. Details are in {log_path()}.",
                    reference=reference,
                )
            )
