"""The dashboard's server: Voilà, on this computer only by default, with capex's own pages.

It listens where `capex.views.access` says, serves the notebooks of one folder, the pages of the
saved studies (`capex.views.site`) and the shared chart script, and nothing else. Kernels are
started ahead of the first visit and ended when their page is closed, when they are left alone,
and when the server stops.

May import: voila, jupyter, tornado, traitlets, typer, and from capex errors, study,
`views.access`, `views.chart`, `views.kernels`, `views.request` and `views.site`.
"""

from __future__ import annotations

import asyncio
import logging
import os
import signal
import socket
import sys
import threading
import webbrowser
from contextlib import aclosing
from itertools import chain
from pathlib import Path
from typing import Any, ClassVar

import tornado.web
import typer
from jupyter_server.services.kernels.handlers import KernelHandler
from tornado.httpserver import HTTPServer
from tornado.ioloop import IOLoop
from traitlets.config import Config
from voila.app import Voila
from voila.handler import BaseVoilaHandler
from voila.shutdown_kernel_handler import VoilaShutdownKernelHandler
from voila.static_file_handler import AllowListFileHandler, TemplateStaticFileHandler
from voila.tornado.contentshandler import VoilaContentsHandler
from voila.tornado.handler import TornadoVoilaHandler
from voila.tornado.treehandler import TornadoVoilaTreeHandler

from capex.errors import CapexError, InputError, StoreError
from capex.study import data_folder
from capex.study.saved_studies import SavedStudies
from capex.views.access import (
    LARGEST_REQUEST,
    LOOPBACK,
    Access,
    KernelState,
    NoTokenHandler,
    TemplateFiles,
    access,
    every_answer,
    held_port,
    page_policy,
    security_headers,
)
from capex.views.chart import plotly_script
from capex.views.kernels import LONGEST, OF_VISIT, PATIENCE, busy, configure_kernels
from capex.views.request import named_study
from capex.views.site.handlers import site_handlers

__all__ = ["DashboardServer", "notebook_folder", "serve"]

FIRST_PAGE = "decide"
STUDY_VARIABLE = "CAPEX_STUDY"
_KERNEL = r"(\w+-\w+-\w+-\w+-\w+)"
STILL_WAITING = "voila_heartbeat()"  # in what Voilà sends every ten seconds
#: Ends what is hidden until it is there; page.js puts words in the place of what it looks for.
NEVER_THERE = '</div></div><div data-mime-type="application/vnd.jupyter.stderr"></div>'
TEMPLATES = Path(__file__).parent / "template"
HEAD = TEMPLATES / "voila" / "templates" / "capex" / "head.html.j2"


def notebook_folder() -> Path:
    """Folder of the pages: of the source tree, or of the installed package.

    Returns
    -------
    Path
        A folder that holds at least the first page's notebook.

    Raises
    ------
    CapexError
        Neither place holds it: the installation is incomplete.
    """
    package = Path(__file__).parents[1]
    for folder in (package.parent / "notebooks", package / "_notebooks"):
        if (folder / f"{FIRST_PAGE}.ipynb").is_file():
            return folder
    raise CapexError(f"{FIRST_PAGE}.ipynb is missing beside {package}; install capex again")


class _PageHandler(TornadoVoilaHandler):  # type: ignore[misc]
    """A page under its plain name: /decide runs decide.ipynb."""

    left = False

    def on_connection_close(self) -> None:
        """Note that the visitor has gone before the page was there."""
        super().on_connection_close()
        self.left = True

    def set_default_headers(self) -> None:
        """Let the scripts of Voilà and of widgets run, on these pages only."""
        super().set_default_headers()
        self.set_header("Content-Security-Policy", self.settings["page_policy"])

    @tornado.web.authenticated
    async def get(self, path: str | None = None) -> None:
        """Send the page piece by piece; end its kernel where nobody waits for it any more.

        Where a kernel hangs at its start, or has ended before it could say anything, no last piece
        would ever come.
        """
        if not Path(self.settings["notebook_folder"], f"{path}.ipynb").is_file():
            raise tornado.web.HTTPError(404, "There is no page called %s.", path)
        if self.kernel_manager.full:
            raise busy()
        await self._find_study()
        self.notebook_name = f"{path}.ipynb"
        OF_VISIT.set(None)
        try:
            async with asyncio.timeout(LONGEST):
                await self._send_pieces()
        except (RuntimeError, TimeoutError) as error:  # how a kernel that never begins is told of
            self.log.error("%s was given up: %r", path, error)  # noqa: TRY400
            self._send(NEVER_THERE)
        if kernel := OF_VISIT.get():
            self.kernel_manager.expect(kernel, 0.0 if self.left else PATIENCE)

    async def _send_pieces(self) -> None:
        async with aclosing(self.get_generator(path=self.notebook_name)) as pieces:
            async for piece in pieces:
                self._send(piece)
                kernel = OF_VISIT.get()
                if kernel and kernel not in self.kernel_manager and STILL_WAITING in piece:
                    raise RuntimeError("its kernel has ended")

    def _send(self, piece: str) -> None:
        if not self.left:
            self.write(piece)
            self.flush()

    async def _find_study(self) -> None:
        """Say so where the address names a study that is not there; no kernel is started for it."""
        name = self.get_query_argument("study", "", strip=False)
        try:
            if name:
                await asyncio.to_thread(named_study, name, data_folder() / "studies")
        except StoreError as error:
            raise tornado.web.HTTPError(
                503, "%s", str(error), reason="The saved studies cannot be read"
            ) from None
        except InputError as error:
            raise tornado.web.HTTPError(404, "%s", str(error), reason="No such study") from None

    def should_use_rendered_notebook(self, *arguments: Any) -> bool:
        """Take a preheated kernel only if it runs already: waiting for one is slower than a new."""
        wanted = super().should_use_rendered_notebook(*arguments)
        return bool(wanted and self.kernel_manager.take(self.notebook_name))


class _NotFoundHandler(BaseVoilaHandler):  # type: ignore[misc]
    """Everything that is not a page."""

    async def prepare(self) -> None:
        await super().prepare()  # who comes is known to the page that says so
        raise tornado.web.HTTPError(404, "Nothing is served at this address.")


class _ClosedPageHandler(VoilaShutdownKernelHandler):  # type: ignore[misc]
    """Ends the kernel of a page that was closed or reloaded.

    The browser's parting message cannot carry the form token that is asked for elsewhere; without
    this exception every reload would leave a kernel behind. The kernel's identifier is a random
    UUID that only its own page knows, and the origin is still checked.
    """

    def check_xsrf_cookie(self) -> None:
        return None

    @tornado.web.authenticated
    async def post(self, kernel_id: str) -> None:
        """Answer at once."""
        self.kernel_manager.leave(kernel_id)
        self.set_status(204)


class _ScriptHandler(tornado.web.StaticFileHandler):
    """The one chart script, kept by the browser between pages."""

    def set_extra_headers(self, path: str) -> None:
        self.set_header("Cache-Control", "private, max-age=86400")
        self.set_header("X-Content-Type-Options", "nosniff")


class DashboardServer(Voila):  # type: ignore[misc]
    """Voilà with capex's handlers: plain page names, no file listing, one chart script."""

    name = "voila"
    held: socket.socket
    hidden_handlers: ClassVar[tuple[type, ...]] = (
        AllowListFileHandler,
        KernelHandler,
        TemplateStaticFileHandler,
        TornadoVoilaHandler,
        TornadoVoilaTreeHandler,
        VoilaContentsHandler,
        VoilaShutdownKernelHandler,
    )

    def init_handlers(self) -> list[tuple[Any, ...]]:
        """Own handlers first, then Voilà's without its file listing."""
        page = {
            "template_paths": self.template_paths,
            "config": self.config,
            "voila_configuration": self.voila_configuration,
        }
        script = plotly_script()
        kept = [item for item in super().init_handlers() if item[1] not in self.hidden_handlers]
        own = {"voila_configuration": self.voila_configuration}
        return [
            *site_handlers(own),
            (rf"/capex/({script.name})", _ScriptHandler, {"path": str(script.parent)}),
            (rf"/api/kernels/{_KERNEL}", KernelState),
            (rf"/voila/api/shutdown/{_KERNEL}", _ClosedPageHandler),
            (r"/voila/templates/(.*)", TemplateFiles),
            (r"/login|/logout", NoTokenHandler, own),
            *kept,
            (r"/([a-z][a-z0-9_]*)", _PageHandler, page),
            (r"/.*", _NotFoundHandler, own),
        ]

    def listen(self) -> None:
        """Listen: headers on every answer, and no request larger than a study file."""
        self.app.add_transform(every_answer(self.app.settings["headers"]))
        self.app.listen = self._listen
        super().listen()

    def _listen(self, port: int, address: str) -> None:
        HTTPServer(self.app, max_buffer_size=LARGEST_REQUEST).add_socket(self.held)

    async def wind_up(self) -> None:
        """End every kernel, also those that are only just starting, then the server."""
        # What a kernel still sends to a stream that is closed here is nobody's concern.
        logging.getLogger("tornado.general").setLevel(logging.ERROR)
        starting = chain(*self.kernel_manager.ahead.values())
        await asyncio.gather(*starting, return_exceptions=True)
        try:
            await self.kernel_manager.shutdown_all(now=True)
        finally:
            self.ioloop.stop()


def _configuration(folder: Path, port: int, pool_size: int, found: Access) -> Config:
    config = Config()
    pages = sorted(path.stem for path in folder.glob("*.ipynb"))
    config.Voila.ip = found.address
    config.Voila.token = found.token
    config.Voila.port = port
    config.Voila.port_retries = 0
    config.Voila.root_dir = str(folder)
    config.Voila.open_browser = False
    config.Voila.log_level = logging.ERROR
    config.Voila.tornado_settings = {
        "headers": security_headers(found, port, HEAD),
        "page_policy": page_policy(found, port),
        # Refuses requests under foreign host names, which a hostile page could point here; where
        # others may come, such a page lacks the token.
        "allow_remote_access": bool(found.token),
        "local_hostnames": list(found.hosts),
        "notebook_folder": str(folder),
        # Asked for by the refusals of handlers that are not ours; nothing is served from it.
        "static_path": str(TEMPLATES),
        "jinja_template_vars": {"pages": pages},
    }
    config.VoilaConfiguration.resources = {
        "pages": pages,
        "started_with": bool(os.environ.get(STUDY_VARIABLE)),
    }
    config.VoilaConfiguration.template = "capex"
    config.VoilaConfiguration.allow_template_override = "NO"
    config.VoilaConfiguration.allow_theme_override = "NO"
    config.VoilaConfiguration.file_allowlist = []
    # Whatever else is installed for notebook editors stays out of these pages.
    config.VoilaConfiguration.extension_allowlist = [
        "@jupyter-widgets/jupyterlab-manager",
        "@voila-dashboards/widgets-manager8",
        "anywidget",
    ]
    config.VoilaConfiguration.extension_denylist = []
    configure_kernels(config, pool_size, FIRST_PAGE)
    return config


def _open_in_browser(url: str) -> None:
    # Text browsers would take over the terminal, so Linux needs a display.
    if sys.platform.startswith("linux") and not (
        os.environ.get("DISPLAY") or os.environ.get("WAYLAND_DISPLAY")
    ):
        return
    try:
        webbrowser.open_new_tab(url)
    except (webbrowser.Error, OSError):
        typer.echo("No browser could be opened; open the address above yourself.")


def _set_environment() -> None:
    # Each kernel serves one page, which needs no echo of what it has just said itself.
    os.environ.setdefault("JUPYTER_WIDGETS_ECHO", "0")
    known = os.environ.get("JUPYTER_PATH")
    os.environ["JUPYTER_PATH"] = os.pathsep.join([str(TEMPLATES), *([known] if known else [])])


def _check_saved() -> None:
    """Say at the start where the saved studies are damaged, before anybody works on them."""
    try:
        SavedStudies().check()
    except StoreError as error:
        typer.echo(str(error))


def serve(
    study_path: Path | None = None,
    port: int | None = None,
    open_browser: bool = True,
    pool_size: int = 1,
    folder: Path | None = None,
    address: str = LOOPBACK,
) -> None:
    """Serve the dashboard until it is interrupted.

    At 127.0.0.1 it assumes one user on this computer and asks for nothing; see
    `capex.views.access` for any other address.

    Parameters
    ----------
    study_path : Path, optional
        Study shown where a page's address names none, and decided on at once; without it the
        pages show the demo, and the first page comes first.
    port : int, optional
        Port to listen on; without it 8866 or the next free one above.
    open_browser : bool, optional
        Open the page in the browser, where there is one.
    pool_size : int, optional
        Kernels of each page kept ready [count].
    folder : Path, optional
        Folder of the pages; without it the package's own.
    address : str, optional
        IPv4 address to listen at.

    Raises
    ------
    InputError
        The study file does not exist, or the address or port cannot be used.
    """
    found = access(address)
    if study_path is not None:
        if not study_path.is_file():
            raise InputError("study", str(study_path), "must be an existing file")
        os.environ[STUDY_VARIABLE] = str(study_path.resolve())
    pages = (folder or notebook_folder()).resolve()
    held = held_port(port, found.address)
    chosen = held.getsockname()[1]
    url = found.url(chosen, "" if study_path is None else "decide")
    _check_saved()
    _set_environment()
    server = DashboardServer(config=_configuration(pages, chosen, pool_size, found))
    server.held = held
    server.config_file_paths = []
    server.initialize([])

    def stop(_signal: int, _frame: object) -> None:
        server.ioloop.add_callback_from_signal(server.wind_up)

    def announce() -> None:
        for number in (signal.SIGINT, signal.SIGTERM):
            signal.signal(number, stop)
        typer.echo(f"capex is ready at {url}")
        if said := found.warning():
            typer.echo(said)
        typer.echo("Press Ctrl+C to stop it.")
        if open_browser:
            threading.Thread(target=_open_in_browser, args=(url,), daemon=True).start()

    IOLoop.current().add_callback(announce)
    server.start()
    typer.echo("capex has stopped.")
