"""What a server and its kernels take of the computer, read from /proc (Linux)."""

from __future__ import annotations

import os
import re
import signal
from dataclasses import dataclass
from pathlib import Path

__all__ = ["Use", "use_of"]

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
    by_kernel : dict
        Process of each kernel's identifier.
    """

    server_mib: float
    kernels_mib: tuple[float, ...]
    files: int
    left: int
    by_kernel: dict[str, int]

    @property
    def kernels(self) -> int:
        """Kernels that run."""
        return len(self.kernels_mib)

    def kill(self, kernel: str) -> None:
        """End a kernel as the system does when memory runs out."""
        os.kill(self.by_kernel[kernel], signal.SIGKILL)

    def __str__(self) -> str:
        largest = max(self.kernels_mib, default=0.0)
        return (
            f"{self.kernels} kernels, {sum(self.kernels_mib) + self.server_mib:.0f} MiB in all "
            f"(server {self.server_mib:.0f}, largest kernel {largest:.0f}), "
            f"{self.files} open files, {self.left} files in its folders"
        )


def _mib(pid: int) -> float:
    rows = (_PROC / str(pid) / "smaps_rollup").read_text().splitlines()
    return sum(int(row.split()[1]) for row in rows if row.startswith("Pss:")) / 1024


def _children(pid: int) -> list[int]:
    found = []
    for status in _PROC.glob("[0-9]*/stat"):
        try:
            rest = status.read_text().rpartition(")")[2].split()
        except OSError:
            continue  # it ended meanwhile
        if int(rest[1]) == pid and rest[0] != "Z":
            found.append(int(status.parent.name))
    return found


def use_of(pid: int) -> Use:
    """Return what a server takes now; its folders are named by the environment.

    Parameters
    ----------
    pid : int
        The server's process.
    """
    kernels, sizes = {}, []
    for child in _children(pid):
        try:
            said = (_PROC / str(child) / "cmdline").read_bytes().decode()
            sizes.append(_mib(child))
        except OSError:
            continue
        if named := re.search(r"kernel-([0-9a-f-]{36})", said):
            kernels[named[1]] = child
    folders = [Path(os.environ["TMPDIR"]), Path(os.environ["CAPEX_DATA"])]
    left = sum(1 for folder in folders for path in folder.rglob("*") if path.is_file())
    return Use(
        _mib(pid), tuple(sizes), len(list((_PROC / str(pid) / "fd").iterdir())), left, kernels
    )
