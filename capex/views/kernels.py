"""The dashboard's kernels: which Python they run, how many there may be, and when they end.

May import: jupyter, tornado, traitlets, voila.
"""

from __future__ import annotations

from asyncio import Future
from contextvars import ContextVar
from typing import Any, Final

import tornado.web
from jupyter_client.kernelspec import KernelSpecManager
from jupyter_server.services.kernels.kernelmanager import AsyncMappingKernelManager
from tornado.ioloop import IOLoop
from traitlets.config import Config
from voila.utils import ENV_VARIABLE

__all__ = [
    "KERNEL_LIMIT", "LONGEST", "OF_VISIT", "PATIENCE", "Kernels", "busy", "configure_kernels",
]  # fmt: skip

KERNEL_LIMIT: Final = 24  # about 140 MB each, 330 MB for the shop floor with its compiler
LONGEST: Final = 600.0  # s from a visitor's call to a page's last piece: 2 s, with 20 at once 130 s
PATIENCE: Final = 300.0  # s from a page's last piece to its first word
LAST_WORDS: Final = 2.0  # s from a page's leaving to the end of its kernel

#: The kernel of the visit that is being answered, once there is one.
OF_VISIT: ContextVar[str | None] = ContextVar("OF_VISIT", default=None)


def busy() -> tornado.web.HTTPError:
    """Return the answer to a visitor for whom there is no kernel; the page tries again itself."""
    return tornado.web.HTTPError(
        503,
        f"As many pages are open as this computer can serve well: {KERNEL_LIMIT}. "
        "Close a page that you no longer need, in any tab or on any computer.",
        reason="Busy",
    )


class _OwnPython(KernelSpecManager):
    """Knows one kernel only: the interpreter that runs this server, whatever else is installed."""

    def _kernel_dirs_default(self) -> list[str]:
        return []


class Kernels(AsyncMappingKernelManager):
    """Kernels up to a limit, those that are only just starting counted.

    Those that wait for a next visit are beyond it: their visitors are counted then.
    """

    _starting = 0

    @property
    def full(self) -> bool:
        """Whether a further page would be one too many."""
        of_visits = sum(hasattr(self.get_kernel(each), "begun") for each in self.list_kernel_ids())
        return of_visits + self._starting >= KERNEL_LIMIT

    def take(self, page: str) -> bool:
        """Whether a kernel waits for a page's next visit; its visitor is expected from now on.

        Raises
        ------
        HTTPError
            503: there is no room for another page.
        """
        self._renew()
        waiting: list[Future[dict[str, Any]]] = self.ahead.get(page, [])
        if not waiting or not waiting[0].done():
            return False
        if self.full:
            raise busy()
        self._begun(waiting[0].result()["kernel_id"])
        return True

    @property
    def ahead(self) -> dict[str, list[Future[dict[str, Any]]]]:
        """Starts of kernels for next visits, by page; Voilà has no public way to ask for them."""
        return getattr(self, "_pools", {})

    def _renew(self) -> None:
        """Drop kernels that could not be started ahead, or have ended, and begin others."""
        for page, starts in self.ahead.items():
            kept = [start for start in starts if not start.done() or self._runs(start)]
            if len(kept) < len(starts):
                starts[:] = kept
                self.fill_if_needed(notebook_name=page)  # type: ignore[attr-defined]

    def _runs(self, start: Future[dict[str, Any]]) -> bool:
        return start.exception() is None and start.result()["kernel_id"] in self

    async def start_kernel(self, **settings: Any) -> str:  # type: ignore[override]
        """Start a kernel; one that is not ready in time to have a visitor is ended.

        Raises
        ------
        HTTPError
            503: there is no room for another page.
        """
        ahead = settings.get("env", {}).get(ENV_VARIABLE.VOILA_PREHEAT) == "True"
        if self.full and not ahead:
            raise busy()
        self._starting += not ahead
        try:
            kernel_id = str(await super().start_kernel(**settings))
        except Exception:
            # It stays on jupyter's list, and the server could not end any kernel when it stops.
            failed = [each for each, start in self._pending_kernels.items() if start.done()]
            for each in failed:
                del self._pending_kernels[each]
            if ahead:  # once its start is over: until then no kernel at all could be ended
                IOLoop.current().add_callback(self._renew)
            raise
        finally:
            self._starting -= not ahead
        if not ahead:
            self._begun(kernel_id)
        return kernel_id

    def _begun(self, kernel_id: str) -> None:
        OF_VISIT.set(kernel_id)
        self.get_kernel(kernel_id).begun = True  # type: ignore[attr-defined]
        self.expect(kernel_id, LONGEST + PATIENCE)

    def visit(self, kernel_id: str) -> None:
        """Note that a kernel's page is there: it has asked for its kernel."""
        if kernel_id in self:
            self.get_kernel(kernel_id).visited = True  # type: ignore[attr-defined]

    def expect(self, kernel_id: str, seconds: float) -> None:
        """End a kernel whose page has not asked for it by so many seconds from now.

        A page that is left before its last piece cannot say so itself: its kernel would stay until
        it is culled as idle, and who turns a few pages quickly would find the server busy.
        """
        IOLoop.current().call_later(seconds, self._give_up, kernel_id)

    def leave(self, kernel_id: str) -> None:
        """End a kernel whose page has left; what it said last may still be on its way."""
        if kernel_id in self and not hasattr(self.get_kernel(kernel_id), "left"):
            self.get_kernel(kernel_id).left = True  # type: ignore[attr-defined]
            IOLoop.current().call_later(LAST_WORDS, self._end, kernel_id)

    async def _end(self, kernel_id: str, now: bool = False) -> None:
        self._renew()  # Voilà can end none beside one that failed at its start
        if kernel_id in self:
            await self.shutdown_kernel(kernel_id, now=now)

    async def _give_up(self, kernel_id: str) -> None:
        if kernel_id in self and not hasattr(self.get_kernel(kernel_id), "visited"):
            await self._end(kernel_id, now=True)

    async def shutdown_kernel(self, kernel_id: str, *how: Any, **settings: Any) -> None:  # type: ignore[override]
        """End a kernel, and close what is kept for its page.

        A page that leaves while its kernel ends has its channels kept for a return that never
        comes: eight open files for good.
        """
        try:
            await super().shutdown_kernel(kernel_id, *how, **settings)  # type: ignore[no-untyped-call]
        finally:
            kept = self._kernel_buffers.pop(kernel_id, {"channels": {}})
            for stream in kept["channels"].values():
                if not stream.closed():
                    stream.on_recv(None)
                    stream.close()


def configure_kernels(config: Config, pool_size: int, first_page: str) -> None:
    """Set how kernels are started and ended.

    Parameters
    ----------
    config : Config
        The server's.
    pool_size : int
        Kernels kept ready.
    first_page : str
        The page they are kept ready for.
    """
    config.VoilaConfiguration.preheat_kernel = pool_size > 0
    config.VoilaConfiguration.default_pool_size = pool_size
    config.VoilaConfiguration.kernel_spec_manager_class = _OwnPython
    config.VoilaConfiguration.multi_kernel_manager_class = Kernels
    # Kept ready for the first page only: another kernel in waiting would slow it and hold memory.
    config.VoilaKernelManager.preheat_denylist = [rf".*(?<!\b{first_page})\.ipynb"]
    # The next kernel is started when the page that took the last one has been drawn.
    config.VoilaKernelManager.fill_delay = 4.0
    config.MappingKernelManager.cull_idle_timeout = 1800
    config.MappingKernelManager.cull_interval = 60
    config.MappingKernelManager.cull_connected = False
    # On a crowded computer a kernel takes more than the minute after which it would be given up.
    config.NotebookClient.startup_timeout = 300
    # What a page shows comes after the word that its code has run; on a crowded computer by more
    # than the 4 s after which it would be left out in silence, and the page stay empty for good.
    config.NotebookClient.iopub_timeout = 120
    config.NotebookClient.raise_on_iopub_timeout = True
    # Another account of this computer must not read along between server and kernels.
    config.KernelManager.transport_encryption = "auto"
    # A restarted kernel would be empty behind a page that looks alive; the page says it ended.
    config.KernelRestarter.restart_limit = 0
