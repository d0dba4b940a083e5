"""A file that is there whole or not at all, and that only its owner can read.

It is written beside its place, forced to the disk and renamed: a process that is killed, or a disk
that is full, leaves what was there before.

Imports nothing from the package.
"""

from __future__ import annotations

import contextlib
import errno
import os
import stat
import tempfile
from pathlib import Path

__all__ = ["force_names", "write_whole"]


def write_whole(path: Path, content: bytes) -> None:
    """Write a file whole or not at all.

    Parameters
    ----------
    path : path
        A file that is there is replaced and its permissions stay; a new one can be read and
        written by its owner only.
    content : bytes

    Raises
    ------
    OSError
        It cannot be written, or is a folder or a device; what was there before still is.

    Examples
    --------
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     write_whole(Path(folder) / "own.toml", b"shop_name = 'Ours'")
    ...     [path.name for path in Path(folder).iterdir()]
    ['own.toml']
    """
    path = path.resolve()  # a link stays one, and what it leads to is replaced
    if path.exists() and not path.is_file():
        raise OSError(errno.EINVAL, "is no ordinary file", str(path))
    handle, name = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.", suffix=".part")
    try:
        with os.fdopen(handle, "wb") as stream:
            stream.write(content)
            stream.flush()
            os.fsync(stream.fileno())
        if path.exists():
            Path(name).chmod(stat.S_IMODE(path.stat().st_mode))
        Path(name).replace(path)
    except BaseException:
        Path(name).unlink(missing_ok=True)
        raise
    force_names(path.parent)


def force_names(folder: Path) -> None:
    """Force a folder's own list of names to the disk, where the system can."""
    with contextlib.suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)
