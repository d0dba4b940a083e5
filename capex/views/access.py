"""Who may reach the dashboard, and what of this computer an address can lead to.

By default only this computer: 127.0.0.1, without a password. At any other address a token is
asked for, made anew each time the server starts and told to whoever started it.

May import: jupyter, tornado, voila, and from capex errors.
"""

from __future__ import annotations

import base64
import errno
import hashlib
import ipaddress
import os
import re
import secrets
import socket
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import tornado.web
from jupyter_server.auth.decorator import allow_unauthenticated
from jupyter_server.services.kernels.handlers import KernelHandler
from tornado.httputil import HTTPHeaders
from voila.handler import BaseVoilaHandler
from voila.static_file_handler import TemplateStaticFileHandler

from capex.errors import InputError

__all__ = [
    "LARGEST_REQUEST",
    "LOOPBACK",
    "Access",
    "KernelState",
    "NoTokenHandler",
    "TemplateFiles",
    "access",
    "every_answer",
    "held_port",
    "page_policy",
    "security_headers",
]

LOOPBACK: Final = "127.0.0.1"
DEFAULT_PORT: Final = 8866
#: A study file of the largest size, in the form that carries it [bytes].
LARGEST_REQUEST: Final = 17_000_000
#: Visitors who may wait until they are answered [count].
_WAITING: Final = 128
_INLINE: Final = re.compile(r"<script>(.*?)</script>", re.DOTALL)


@dataclass(frozen=True)
class Access:
    """Where the server listens and what it asks for.

    Parameters
    ----------
    address : str
        IPv4.
    token : str
        Empty where none is asked for.
    """

    address: str = LOOPBACK
    token: str = ""

    @property
    def hosts(self) -> tuple[str, ...]:
        """Names under which a browser reaches the server."""
        if not self.token:
            return (self.address, "localhost")
        everywhere = ipaddress.IPv4Address(self.address).is_unspecified
        return (socket.gethostname(),) if everywhere else (self.address,)

    def url(self, port: int, page: str = "") -> str:
        """Return the address of a page, with the token where one is asked for."""
        asked = f"?token={self.token}" if self.token else ""
        return f"http://{self.hosts[0]}:{port}/{page}{asked}"

    def warning(self) -> str:
        """Return what whoever starts the server has to know; empty on this computer alone."""
        if not self.token:
            return ""
        return (
            "Others can reach this server. Whoever has the address above can read and change your "
            "studies: keep it to yourself. What goes over the network can be read there: use a "
            "network that you trust. The token holds until capex stops."
        )


def access(address: str = LOOPBACK) -> Access:
    """Return what is asked for at an address; a new token where it is not this computer's own.

    Parameters
    ----------
    address : str
        IPv4; 0.0.0.0 for all addresses of this computer.

    Raises
    ------
    InputError
        No such address.

    Examples
    --------
    >>> access().url(8866)
    'http://127.0.0.1:8866/'
    >>> len(access("192.168.1.20").token)
    43
    """
    try:
        found = ipaddress.IPv4Address(address)
    except ValueError:
        bound = "must be an IPv4 address of this computer, such as 127.0.0.1"
        raise InputError("address", address, bound) from None
    return Access(str(found), "" if found.is_loopback else secrets.token_urlsafe(32))


def held_port(port: int | None, address: str = LOOPBACK) -> socket.socket:
    """Return a socket that listens already, so that nobody else can take its port.

    Parameters
    ----------
    port : int or None
        The wished port; None asks for 8866 or the next one above that nobody uses.
    address : str, optional
        Of this computer.

    Returns
    -------
    socket.socket
        At the wished port, or at the first free one of 50.

    Raises
    ------
    InputError
        The wished port is taken or is no port, all of the 50 are taken, or the address is not
        one of this computer.
    """
    if port is not None and not 0 < port < 65536:
        raise InputError("port", port, "must be from 1 to 65535")
    wanted = [port] if port is not None else range(DEFAULT_PORT, DEFAULT_PORT + 50)
    for candidate in wanted:
        held = socket.socket()
        held.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, os.name == "posix")
        try:
            held.bind((address, candidate))
            held.listen(_WAITING)
        except OSError as error:
            held.close()
            if error.errno == errno.EADDRNOTAVAIL:
                bound = "is not an address of this computer"
                raise InputError("address", address, bound) from None
            continue
        held.setblocking(False)
        return held
    raise InputError("port", port or DEFAULT_PORT, "is used by another program, name another one")


def page_policy(found: Access, port: int) -> str:
    """Return the content security policy of pages with widgets.

    Voilà compiles its templates and the widgets' modules in the page.
    """
    return _policy(found, port, "'self' 'unsafe-inline' 'unsafe-eval' blob:")


def security_headers(found: Access, port: int, template: Path) -> dict[str, str]:
    """Return the headers of every answer, with the policy of pages without widgets.

    Parameters
    ----------
    found : Access
    port : int
    template : path
        Of the head of every page: the one script in it may run, and no other that is not a file
        of ours.
    """
    own = _INLINE.findall(template.read_text(encoding="utf-8"))
    marks = [base64.b64encode(hashlib.sha256(each.encode()).digest()).decode() for each in own]
    scripts = " ".join(["'self'", *(f"'sha256-{mark}'" for mark in marks)])
    return {
        "Content-Security-Policy": _policy(found, port, scripts),
        "X-Content-Type-Options": "nosniff",
        # With "no-referrer" a form of our own would come without its origin, and be refused.
        "Referrer-Policy": "same-origin",
        "Cross-Origin-Opener-Policy": "same-origin",
        "Cross-Origin-Resource-Policy": "same-origin",
    }


def _policy(found: Access, port: int, scripts: str) -> str:
    sockets = " ".join(f"ws://{host}:{port}" for host in found.hosts)
    policy = {
        "default-src": "'self'",
        "script-src": scripts,
        "style-src": "'self' 'unsafe-inline'",
        "img-src": "'self' data: blob:",
        "font-src": "'self' data:",
        "connect-src": f"'self' {sockets}",
        "object-src": "'none'",
        "base-uri": "'self'",
        "form-action": "'self'",
        "frame-ancestors": "'none'",
    }
    return "; ".join(f"{key} {value}" for key, value in policy.items())


def every_answer(headers: dict[str, str]) -> Callable[[Any], tornado.web.OutputTransform]:
    """Return what puts headers on answers that do not have them: files, redirects, refusals."""

    class Headers(tornado.web.OutputTransform):
        def transform_first_chunk(
            self, status_code: int, headers: HTTPHeaders, chunk: bytes, finishing: bool
        ) -> tuple[int, HTTPHeaders, bytes]:
            for name, value in missing.items():
                if name not in headers:
                    headers[name] = value
            return status_code, headers, chunk

    missing = headers
    return Headers


class KernelState(KernelHandler):
    """Says to a page whether its kernel is there; ends or changes none."""

    SUPPORTED_METHODS = ("GET",)

    async def get(self, kernel_id: str) -> None:
        """Answer, and note that the page is there."""
        await super().get(kernel_id)  # type: ignore[misc]
        kernels: Any = self.kernel_manager
        kernels.visit(kernel_id)


class TemplateFiles(TemplateStaticFileHandler):  # type: ignore[misc]
    """Scripts and styles of a template; whatever else is asked for is not there."""

    def parse_url_path(self, url_path: str) -> str:
        """Refuse what is no static file of a template, before it is looked for."""
        if not re.fullmatch(r"\w+/static/[^\\\0]+", url_path) or ".." in url_path.split("/"):
            raise tornado.web.HTTPError(404)
        return str(super().parse_url_path(url_path))


class NoTokenHandler(BaseVoilaHandler):  # type: ignore[misc]
    """Answers whoever comes without the token."""

    @allow_unauthenticated
    async def get(self) -> None:
        """Say what is missing."""
        raise tornado.web.HTTPError(
            403, "Open the whole address that capex printed when it was started, token included.",
            reason="The token is missing",
        )  # fmt: skip
