"""Who may reach the dashboard, and what an address leads to: asked of a running server.

What must not be reachable is the list of Jupyter Server's own routes (its REST API, version 2,
https://jupyter-server.readthedocs.io) and of Voilà's.
"""

import asyncio
import http.client
import json
import os
import re
import stat
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import nbformat
import pytest
from tornado.httpclient import HTTPRequest
from tornado.websocket import websocket_connect

from capex.errors import InputError
from capex.study import data_folder
from capex.study.saved_studies import SavedStudies
from capex.views.access import LARGEST_REQUEST, access, held_port

HEADERS = (
    "Content-Security-Policy", "X-Content-Type-Options", "Referrer-Policy",
    "Cross-Origin-Opener-Policy", "Cross-Origin-Resource-Policy",
)  # fmt: skip
CODE = """
import sys, pathlib, capex.views.server as server
server.serve(open_browser=False, folder=pathlib.Path(sys.argv[1]), address=sys.argv[2], pool_size=0)
"""


@dataclass
class Answer:
    """Status, headers and body of an answer."""

    status: int
    headers: http.client.HTTPMessage
    body: bytes


@dataclass
class Dashboard:
    """A running server."""

    address: str
    port: int
    token: str
    said: list[str]

    def ask(
        self, path: str, method: str = "GET", body: bytes | None = None, **headers: str
    ) -> Answer:
        """Return the answer to a request whose path is sent as it stands."""
        connection = http.client.HTTPConnection(self.address, self.port, timeout=60)
        try:
            connection.putrequest(method, path, skip_host="Host" in headers)
            if body is not None:
                headers["Content-Length"] = str(len(body))
            for name, value in headers.items():
                connection.putheader(name.replace("_", "-"), value)
            connection.endheaders(body)
            found = connection.getresponse()
            return Answer(found.status, found.headers, found.read())
        finally:
            connection.close()


@contextmanager
def dashboard(folder: Path, address: str = "127.0.0.1") -> Iterator[Dashboard]:
    pages = folder / "pages"
    pages.mkdir()
    secret = nbformat.v4.new_code_cell("wage_of_our_shop = 1")
    kernel = {"name": "python3", "display_name": "Python 3", "language": "python"}
    page = nbformat.v4.new_notebook(
        cells=[secret], metadata={"kernelspec": kernel, "title": "capex"}
    )
    nbformat.write(page, pages / "decide.ipynb")
    environment = {**os.environ, "CAPEX_DATA": str(folder / "data"), "PYTHONUNBUFFERED": "1",
                   "PYTHONPATH": str(data_folder().parent)}  # fmt: skip
    process = subprocess.Popen(
        [sys.executable, "-c", CODE, str(pages), address], env=environment, text=True,
        stdout=subprocess.PIPE, stderr=subprocess.STDOUT,
    )  # fmt: skip
    assert process.stdout is not None
    said = []
    try:
        for line in process.stdout:
            said.append(line)
            if found := re.search(r"http://[^:]+:(\d+)/(?:\?token=(\S+))?", line):
                said += iter(process.stdout.readline, "Press Ctrl+C to stop it.\n")
                yield Dashboard(address, int(found[1]), found[2] or "", said)
                break
        else:
            pytest.fail("".join(said))
    finally:
        process.terminate()
        process.wait(timeout=30)
        process.stdout.close()


@pytest.fixture(scope="module")
def server(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Dashboard]:
    with dashboard(tmp_path_factory.mktemp("server")) as found:
        yield found


@pytest.fixture(scope="module")
def page(server: Dashboard) -> Answer:
    """A page with a kernel of its own."""
    return server.ask("/decide")


def kernel_of(page: Answer) -> str:
    found = re.search(rb'"kernelId": *"([^"]+)"', page.body)
    assert found is not None
    return found[1].decode()


@pytest.mark.parametrize("path", [
    "/api", "/api/kernels", "/api/kernels/", "/api/kernelspecs", "/api/sessions", "/api/terminals",
    "/api/contents", "/api/contents/decide.ipynb", "/api/config/notebook", "/api/status", "/api/me",
    "/api/spec.yaml", "/api/nbconvert", "/api/events", "/api/shutdown", "/metrics",
    "/files/decide.ipynb", "/view/decide.ipynb", "/edit/decide.ipynb", "/tree", "/lab", "/doc",
    "/notebooks/decide.ipynb", "/nbconvert/html/decide.ipynb", "/terminals/1", "/kernelspecs/x",
    "/voila/tree", "/voila/render/decide.ipynb", "/voila/files/decide.ipynb",
    "/voila/api/contents", "/decide.ipynb", "/static/../decide.ipynb", "/../../etc/passwd",
    "/%2e%2e/%2e%2e/etc/passwd", "/..%2f..%2fetc%2fpasswd", "//etc/passwd", "/capex/../chart.py",
    "/capex/%2e%2e/chart.py", "/capex/chart.py", "/voila/static/../../app.py",
    "/voila/static/%2e%2e/%2e%2e/app.py", "/voila/static/..%5c..%5capp.py",
    "/voila/templates/capex/index.html.j2", "/voila/templates/capex/static/../conf.json",
    "/voila/templates/capex/static/%2e%2e/conf.json", "/voila/templates/../static/x",
    "/voila/templates/capex", "/voila/labextensions/../../etc/jupyter", "/voila/api/themes/../x",
    "/voila/labextensions/%2e%2e/%2e%2e/%2e%2e/%2e%2e/etc/passwd", "/voila/api/themes/%2e%2e/x",
    "/studies/0123456789abcdef/1.toml", "/studies/../../etc/passwd", "/drafts/text?page=../x",
    "/decide?study=../../../etc/passwd", "/decide?study=%2Fetc%2Fpasswd",
])  # fmt: skip
def test_nothing_of_the_machine_is_reachable(server: Dashboard, path: str) -> None:
    found = server.ask(path)
    assert found.status in {403, 404}, found.body[:300]
    assert b"Traceback" not in found.body
    assert b"root:" not in found.body
    assert b"wage_of_our_shop" not in found.body
    assert all(name in found.headers for name in HEADERS)


def test_an_address_without_a_page_says_so_on_a_page(server: Dashboard) -> None:
    assert b"This page does not exist" in server.ask("/api/contents").body


def test_security_headers_stand_on_every_answer(server: Dashboard, page: Answer) -> None:
    answers = {
        "first page": server.ask("/"),
        "page": page,
        "style": server.ask("/voila/templates/capex/static/page.css"),
        "refused form": server.ask("/studies/import", "POST", b""),
        "led on": server.ask("/studies/import"),
        "refused host": server.ask("/", Host="elsewhere.example"),
        "kernel": server.ask(f"/api/kernels/{kernel_of(page)}"),
    }
    for name, found in answers.items():
        assert [each for each in HEADERS if each not in found.headers] == [], name
        assert found.headers["X-Content-Type-Options"] == "nosniff"
        assert found.headers["Referrer-Policy"] == "same-origin"
        assert "frame-ancestors 'none'" in found.headers["Content-Security-Policy"]
        scripts = re.search(r"script-src ([^;]+)", found.headers["Content-Security-Policy"])
        assert scripts is not None
        assert ("unsafe" in scripts[1]) == (name == "page"), name


def test_a_page_shows_no_source_and_asks_nobody_else(page: Answer) -> None:
    assert page.status == 200
    assert b"wage_of_our_shop" not in page.body
    others = re.findall(rb"(?:src|href|url\()\s*=?\s*[\"']?(?:https?:)?//[^\"')\s]+", page.body)
    assert others == []


def test_a_kernel_can_be_asked_after_and_no_more(server: Dashboard, page: Answer) -> None:
    kernel = kernel_of(page)
    address = f"/api/kernels/{kernel}"
    assert json.loads(server.ask(address).body)["id"] == kernel
    token = re.search(r"_xsrf=([^;]+)", str(server.ask("/").headers))
    assert token is not None
    own = {"Cookie": f"_xsrf={token[1]}", "X_XSRFToken": token[1]}
    for method, path in [
        ("DELETE", address), ("PATCH", address), ("POST", "/api/kernels"), ("POST", address),
        ("POST", f"{address}/restart"), ("POST", f"{address}/interrupt"), ("PUT", "/decide"),
        ("POST", "/api/sessions"), ("POST", "/api/terminals"), ("POST", "/api/shutdown"),
        ("PUT", "/api/contents/x.ipynb"), ("POST", "/decide"), ("DELETE", "/decide"),
    ]:  # fmt: skip
        assert server.ask(path, method, b"{}", **own).status in {403, 404, 405}, (method, path)
    assert server.ask(address).status == 200


def sent_to_kernel(server: Dashboard, kernel: str, kind: str, content: dict[str, object]) -> bool:
    """Return whether a kernel answers to a message over the page's socket within 3 seconds."""

    async def talk() -> bool:
        socket = await websocket_connect(
            HTTPRequest(
                f"ws://127.0.0.1:{server.port}/api/kernels/{kernel}/channels?session_id=s",
                headers={"Origin": f"http://127.0.0.1:{server.port}"},
            )
        )
        header = {"msg_id": f"our {kind}", "msg_type": kind, "session": "s", "username": "",
                  "version": "5.3", "date": "2026-11-27T00:00:00Z"}  # fmt: skip
        message = {"header": header, "parent_header": {}, "metadata": {}, "content": content,
                   "channel": "shell", "buffers": []}  # fmt: skip
        await socket.write_message(json.dumps(message))
        answered = False
        end = time.monotonic() + (20 if kind == "kernel_info_request" else 3)
        while not answered and (left := end - time.monotonic()) > 0:
            try:
                found = await asyncio.wait_for(socket.read_message(), left)
            except TimeoutError:
                break
            text = found if isinstance(found, str) else (found or b"").decode("latin-1")
            answered = f"our {kind}" in text
        socket.close()
        while await socket.read_message() is not None:
            pass
        return answered

    return asyncio.run(talk())


def test_a_page_s_socket_runs_no_code(server: Dashboard, page: Answer) -> None:
    kernel = kernel_of(page)
    assert sent_to_kernel(server, kernel, "kernel_info_request", {})
    assert not sent_to_kernel(server, kernel, "execute_request", {"code": "1", "silent": False})


@pytest.mark.parametrize("origin", ["http://elsewhere.example", "null", "http://127.0.0.1:1"])
def test_sockets_and_forms_of_other_sites_are_refused(
    server: Dashboard, page: Answer, origin: str
) -> None:
    kernel = kernel_of(page)
    own = {"Connection": "Upgrade", "Upgrade": "websocket", "Sec_WebSocket_Version": "13",
           "Sec_WebSocket_Key": "dGhlIHNhbXBsZSBub25jZQ==", "Origin": origin}  # fmt: skip
    assert server.ask(f"/api/kernels/{kernel}/channels", **own).status == 403
    for path in ("/studies/import", f"/voila/api/shutdown/{kernel}"):
        assert server.ask(path, "POST", b"", Origin=origin).status in {403, 404}
    assert server.ask(f"/api/kernels/{kernel}").status == 200


def test_a_request_larger_than_a_study_is_refused(server: Dashboard) -> None:
    connection = http.client.HTTPConnection(server.address, server.port, timeout=60)
    connection.putrequest("POST", "/studies/import")
    connection.putheader("Content-Length", str(LARGEST_REQUEST + 1))
    connection.endheaders()
    assert connection.getresponse().status in {400, 413}
    connection.close()


@pytest.mark.parametrize("query", ["", "?a=1&b=2", "?one=quenlow", "?one=quenlow&other=%00"])
def test_a_comparison_asks_for_two_studies_in_words(server: Dashboard, query: str) -> None:
    found = server.ask(f"/compare{query}")
    assert found.status == 400
    assert b"Two studies are needed to compare" in found.body
    assert b"is no saved study" not in found.body
    assert b'<a href="/">To your studies</a>' in found.body


def test_only_this_computer_is_listened_to_and_no_token_asked_for(server: Dashboard) -> None:
    assert server.token == ""
    own = subprocess.run(["hostname", "-I"], capture_output=True, text=True).stdout.split()
    for address in [each for each in own if "." in each]:
        with pytest.raises(OSError, match="refused"):
            Dashboard(address, server.port, "", []).ask("/")


def test_any_other_address_asks_for_the_token_and_says_so(tmp_path: Path) -> None:
    """And whatever it leaves in the data folder, a damaged store here, is its owner's alone."""
    before = os.umask(0)
    try:
        SavedStudies(tmp_path / "data" / "studies.sqlite").path.write_bytes(b"no database" * 900)
        with dashboard(tmp_path, "0.0.0.0") as open_server:
            assert len(open_server.token) >= 40
            assert "Whoever has the address above can read and change" in "".join(open_server.said)
            assert "was set aside as studies.sqlite.damaged-" in open_server.said[0]
            own = Dashboard("127.0.0.1", open_server.port, open_server.token, [])
            for path in ("/", "/decide", "/compare", "/studies/0123456789abcdef/1.toml"):
                found = own.ask(path)
                assert (found.status, found.headers["Location"][:6]) == (302, "/login")
            assert own.ask("/studies/import", "POST", b"").status == 403
            assert own.ask(f"/?token={'x' * 43}").status == 302
            refused = own.ask("/login?next=%2F")
            assert (refused.status, b"token included" in refused.body) == (403, True)
            assert own.ask(f"/?token={own.token}").status == 200
    finally:
        os.umask(before)
    for path in (tmp_path / "data").rglob("*"):
        assert stat.S_IMODE(path.stat().st_mode) & 0o077 == 0, path


@pytest.mark.parametrize("address", ["", "localhost", "300.1.1.1", "::1", "a b", "127.0.0.1;"])
def test_refuses_addresses_that_are_none(address: str) -> None:
    with pytest.raises(InputError, match="must be an IPv4 address of this computer"):
        access(address)


def test_refuses_an_address_of_another_computer() -> None:
    with pytest.raises(InputError, match="is not an address of this computer"):
        held_port(None, "192.0.2.1")  # for documentation only: RFC 5737


def test_law_a_port_that_is_held_is_nobody_elses() -> None:
    with held_port(None) as one, held_port(None) as other:
        taken = one.getsockname()[1]
        assert taken != other.getsockname()[1]
        with pytest.raises(InputError, match=f"port: {taken} is used by another program"):
            held_port(taken)
