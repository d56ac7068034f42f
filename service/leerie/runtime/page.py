"""The HTTP port: / (the house now), /metrics, /healthz (alive), /readyz (connected, config loaded, deciding). Anything
else is 404.

It is read only and answers one request a connection. Whoever asks gets so much time, so many bytes and so many places,
and no more; and however many scrape at once, only one page is made at a time, so that the deciding thread has to share
the interpreter with one other and not with all of them.
"""

import contextlib
import io
import socket
import socketserver
import sys
import threading
import time
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from http import HTTPStatus
from http.client import LineTooLong
from http.server import BaseHTTPRequestHandler
from types import MappingProxyType
from typing import Any, NamedTuple

from prometheus_client import CollectorRegistry
from prometheus_client.exposition import choose_encoder

from leerie.pages.look import HEADERS
from leerie.runtime.host_header import is_ours
from leerie.runtime.log import Log
from leerie.runtime.pulse import Pulse

AT_ONCE = 8
"""Requests answered at the same time; more are turned away."""
PATIENCE_S = 5.0
"""Who has not asked and taken the answer by then is cut off, however busy."""
HEAD_BYTES = 8_192
"""Request line and headers together."""
GIVE_WAY_S = 0.0005
"""So soon a page in the making lets the deciding thread go on. At Python's usual 5 ms each of the dozen sends that
follow a message could wait as long.
"""
PLAIN = "text/plain; charset=utf-8"
HTML = "text/html; charset=utf-8"

Complaint = Callable[[], str | None]
"""None: all is well; else what is not."""
Front = Callable[[], bytes]
"""Makes the page at `/`."""


class PageError(Exception):
    """The page cannot be served; the text says where and why."""


class Page:
    """Serves from threads of its own; whoever is slow or many keeps nobody from deciding."""

    def __init__(
        self,
        address: tuple[str, int],
        registry: CollectorRegistry,
        alive: Complaint,
        ready: Complaint,
        front: Front,
        patience_s: float = PATIENCE_S,
    ) -> None:
        """Raises PageError."""
        try:
            self._server = _Server(address, _Answers(registry, alive, ready, front), patience_s)
        except (OSError, OverflowError) as fault:
            raise PageError(f"{_spelled(address)}: {fault}") from fault
        self.address: tuple[str, int] = self._server.server_address[:2]  # type: ignore[assignment] # typeshed allows bytes
        threading.Thread(target=self._server.serve_forever, name="page", daemon=True).start()

    def close(self) -> threading.Thread:
        """Stop serving, in a moment; who wants to wait for it joins the thread."""
        closing = threading.Thread(target=self._shut, name="page closing", daemon=True)
        closing.start()
        return closing

    def _shut(self) -> None:
        self._server.shutdown()
        self._server.server_close()


@contextmanager
def serving(
    address: tuple[str, int] | None, registry: CollectorRegistry, pulse: Pulse, front: Front, log: Log
) -> Iterator[None]:
    """The page, where there is to be one; that it cannot be had is told and stops nothing."""
    try:
        page = None if address is None else Page(address, registry, pulse.ailment, pulse.unready, front)
    except PageError as fault:
        log.tell("no scrape page", why=str(fault))
        page = None
    if page is None:
        yield
        return
    log.tell("scrape page", address=_spelled(page.address))
    usual_s = sys.getswitchinterval()
    sys.setswitchinterval(GIVE_WAY_S)
    try:
        yield
    finally:
        sys.setswitchinterval(usual_s)
        page.close()


def _spelled(address: tuple[str, int]) -> str:
    host, port = address
    return f"[{host}]:{port}" if ":" in host else f"{host}:{port}"


class _Answer(NamedTuple):
    status: HTTPStatus
    kind: str
    body: bytes
    headers: Mapping[str, str] = MappingProxyType({})


MISDIRECTED = _Answer(
    HTTPStatus.MISDIRECTED_REQUEST,
    PLAIN,
    b"this house goes by no such name; ask by its address, as 127.0.0.1, and let a proxy set Host to that\n",
)
"""RFC 9110, 15.5.20."""


class _Answers:
    """What there is to be had."""

    def __init__(self, registry: CollectorRegistry, alive: Complaint, ready: Complaint, front: Front) -> None:
        self._registry = registry
        self._front = front
        self._complaints = {"/healthz": alive, "/readyz": ready}
        self._making = threading.Lock()

    def find(self, path: str, accept: str) -> _Answer:
        """What stands at this path. `accept`: the header, for OpenMetrics."""
        if path == "/":
            with self._making:
                return _Answer(HTTPStatus.OK, HTML, self._front(), HEADERS)
        if path == "/metrics":
            encode, kind = choose_encoder(accept)
            with self._making:
                return _Answer(HTTPStatus.OK, kind, encode(self._registry))
        if path not in self._complaints:
            return _Answer(HTTPStatus.NOT_FOUND, PLAIN, b"nothing here; /, /metrics, /healthz, /readyz are\n")
        complaint = self._complaints[path]()
        status = HTTPStatus.OK if complaint is None else HTTPStatus.SERVICE_UNAVAILABLE
        return _Answer(status, PLAIN, f"{complaint or 'well'}\n".encode())


class _Server(socketserver.ThreadingMixIn, socketserver.TCPServer):
    allow_reuse_address = True
    request_queue_size = 128  # a burst of clients waits here; with the library's 5 the next one tries again after 1 s
    daemon_threads = True
    block_on_close = False

    def __init__(self, address: tuple[str, int], answers: _Answers, patience_s: float) -> None:
        self.address_family = socket.AF_INET6 if ":" in address[0] else socket.AF_INET
        self.answers = answers
        self._patience_s = patience_s
        self._over_s: dict[socket.socket, float] = {}
        """Every request that is being answered, and when it has to be over."""
        super().__init__(address, _Handler)

    def process_request(self, request: Any, client_address: Any) -> None:
        if len(self._over_s) >= AT_ONCE:
            self.shutdown_request(request)
            return
        self._over_s[request] = time.monotonic() + self._patience_s
        super().process_request(request, client_address)

    def service_actions(self) -> None:
        """Cut off whoever's time is over. A timeout at the socket would bound each read and each write alone, and so
        nothing: one byte every few seconds is always in time. `serve_forever` comes by twice a second.
        """
        now_s = time.monotonic()
        for request, over_s in dict(self._over_s).items():
            if now_s >= over_s:
                _cut_off(request)

    def shutdown_request(self, request: Any) -> None:
        super().shutdown_request(request)
        self._over_s.pop(request, None)

    def server_close(self) -> None:
        super().server_close()
        for request in dict(self._over_s):
            _cut_off(request)

    def handle_error(self, request: Any, client_address: Any) -> None:
        """A client that went away is no news."""


def _cut_off(request: socket.socket) -> None:
    with contextlib.suppress(OSError):  # it has just gone by itself
        request.shutdown(socket.SHUT_RDWR)


class _Head(io.BufferedReader):
    """The head of a request, read no further than it may be long."""

    _left = HEAD_BYTES

    def readline(self, size: int | None = -1, /) -> bytes:
        """Raises LineTooLong."""
        if self._left == 0:
            raise LineTooLong("head")
        line = super().readline(self._left if size is None or size < 0 else min(size, self._left))
        self._left -= len(line)
        return line


class _Handler(BaseHTTPRequestHandler):
    server: _Server
    error_message_format = "%(code)d %(message)s\n"
    error_content_type = PLAIN

    def setup(self) -> None:
        super().setup()
        self.rfile = _Head(self.rfile.detach())

    def do_GET(self) -> None:
        """What stands behind a question mark changes nothing."""
        if not all(map(is_ours, self.headers.get_all("Host", ()))):
            self._answer(MISDIRECTED)
            return
        try:
            answer = self.server.answers.find(self.path.partition("?")[0], self.headers.get("Accept", ""))
        except Exception:  # noqa: BLE001 - whatever is wrong in the making of a page, who asks for it gets an answer
            answer = _Answer(HTTPStatus.INTERNAL_SERVER_ERROR, PLAIN, b"this cannot be made; please report it\n")
        self._answer(answer)

    do_HEAD = do_GET  # noqa: N815 -- the library's own name for it

    def do_POST(self) -> None:
        """Nothing here can be changed."""
        words = b"read only; GET and HEAD are allowed\n"
        self._answer(_Answer(HTTPStatus.METHOD_NOT_ALLOWED, PLAIN, words, {"Allow": "GET, HEAD"}))

    do_PUT = do_PATCH = do_DELETE = do_OPTIONS = do_POST  # noqa: N815 -- the library's own names for it

    def _answer(self, answer: _Answer) -> None:
        self.send_response(answer.status)
        always = {"Content-Type": answer.kind, "Content-Length": str(len(answer.body))}
        for name, value in {**always, **answer.headers}.items():
            self.send_header(name, value)
        self.end_headers()
        if self.command != "HEAD":
            self.wfile.write(answer.body)

    def version_string(self) -> str:
        """What it says of itself; which Python that is concerns nobody."""
        return "leerie"

    def log_message(self, format: str, *args: Any) -> None:  # noqa: A002 -- the library's own name for it
        """Scrapes are no news."""
