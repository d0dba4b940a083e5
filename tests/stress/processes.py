"""What a server and its kernels take of the computer, read from /proc (Linux)."""

from __future__ import annotations

import os
import signal
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

__all__ = ["Use", "children", "kill", "memory", "use_of"]

_PROC = Path("/proc")


@dataclass(frozen=True)
class Use:
    """What is taken at one moment.

    Parameters
    ----------
    server_mib : float
        Memory of the server, shared pages counted by share [MiB].
    kernels_mib : tuple of float
        Likewise of each kernel.
    files : int
        Open files and sockets of the server.
    left : int
        Files in the folder for temporary files and in the data folder.
    """

    server_mib: float
    kernels_mib: tuple[float, ...]
    files: int
    left: int

    @property
    def kernels(self) -> int:
        """Kernels that run."""
        return len(self.kernels_mib)

    def __str__(self) -> str:
        largest = max(self.kernels_mib, default=0.0)
        return (
            f"{self.kernels} kernels, {sum(self.kernels_mib) + self.server_mib:.0f} MiB in all "
            f"(server {self.server_mib:.0f}, largest kernel {largest:.0f}), "
            f"{self.files} open files, {self.left} files in its folders"
        )


def memory(pid: int, kind: str = "Pss") -> float:
    """Return the memory of a process [MiB]: shared pages by share, or with "Rss" whole."""
    rows = (_PROC / str(pid) / "smaps_rollup").read_text().splitlines()
    return sum(int(row.split()[1]) for row in rows if row.startswith(f"{kind}:")) / 1024


def children(pid: int) -> list[int]:
    """Return the processes that a process has started and that run, the oldest first."""
    found = []
    for status in _PROC.glob("[0-9]*/stat"):
        try:
            rest = status.read_text().rpartition(")")[2].split()
        except OSError:
            continue  # it ended meanwhile
        if int(rest[1]) == pid and rest[0] != "Z":
            found.append(int(status.parent.name))
    return sorted(found)


def kill(server: int, kernel: str) -> None:
    """End a server's kernel as the system does when memory runs out.

    Parameters
    ----------
    server : int
        Its process.
    kernel : str
        The identifier.
    """
    for child in children(server):
        if kernel in (_PROC / str(child) / "cmdline").read_bytes().decode():
            os.kill(child, signal.SIGKILL)


def use_of(pid: int) -> Use:
    """Return what a server takes now; its folders are named by the environment.

    Parameters
    ----------
    pid : int
        The server's process.
    """
    sizes = []
    for child in children(pid):
        with suppress(OSError):  # it ended meanwhile
            sizes.append(memory(child))
    folders = [Path(os.environ["TMPDIR"]), Path(os.environ["CAPEX_DATA"])]
    left = sum(1 for folder in folders for path in folder.rglob("*") if path.is_file())
    files = len(list((_PROC / str(pid) / "fd").iterdir()))
    return Use(memory(pid), tuple(sizes), files, left)
