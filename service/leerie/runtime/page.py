"""The scrape page: /metrics, /healthz (alive), /readyz (connected, config loaded, deciding). Anything else is 404."""

import socketserver
import threading
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from http import HTTPStatus
from typing import TYPE_CHECKING, Any
from wsgiref.simple_server import WSGIRequestHandler, WSGIServer

from prometheus_client import CollectorRegistry, make_wsgi_app
from structlog.typing import FilteringBoundLogger

from leerie.runtime.pulse import Pulse

if TYPE_CHECKING:
    from _typeshed.wsgi import StartResponse, WSGIApplication, WSGIEnvironment

AT_ONCE = 8
"""Requests answered at the same time; more are turned away."""
PATIENCE_S = 5

Complaint = Callable[[], str | None]
"""None: all is well; else what is not."""


class PageError(Exception):
    """The page cannot be served; the text says where and why."""


class Page:
    """Serves from threads of its own; whoever is slow or many keeps nobody from deciding."""

    def __init__(
        self, address: tuple[str, int], registry: CollectorRegistry, alive: Complaint, ready: Complaint
    ) -> None:
        """Raises PageError."""
        try:
            self._server = _Server(address, _Handler)
        except (OSError, OverflowError) as fault:
            raise PageError(f"{address[0]}:{address[1]}: {fault}") from fault
        self._server.set_app(_app(registry, alive, ready))
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
    address: tuple[str, int] | None, registry: CollectorRegistry, pulse: Pulse, log: FilteringBoundLogger
) -> Iterator[None]:
    """The page, where there is to be one; that it cannot be had is told and stops nothing."""
    try:
        page = None if address is None else Page(address, registry, pulse.ailment, pulse.unready)
    except PageError as fault:
        log.warning("no scrape page", why=str(fault))
        page = None
    if page is not None:
        log.info("scrape page", address="{}:{}".format(*page.address))
    yield
    if page is not None:
        page.close()


def _app(registry: CollectorRegistry, alive: Complaint, ready: Complaint) -> "WSGIApplication":
    metrics = make_wsgi_app(registry)

    def answer(environ: "WSGIEnvironment", start_response: "StartResponse") -> Iterable[bytes]:
        match environ["PATH_INFO"]:
            case "/metrics":
                result: Iterable[bytes] = metrics(environ, start_response)
                return result
            case "/healthz":
                return _say(start_response, alive())
            case "/readyz":
                return _say(start_response, ready())
            case _:
                return _plain(start_response, HTTPStatus.NOT_FOUND, "nothing here; /metrics, /healthz, /readyz are")

    return answer


def _say(start_response: "StartResponse", complaint: str | None) -> list[bytes]:
    if complaint is None:
        return _plain(start_response, HTTPStatus.OK, "well")
    return _plain(start_response, HTTPStatus.SERVICE_UNAVAILABLE, complaint)


def _plain(start_response: "StartResponse", status: HTTPStatus, text: str) -> list[bytes]:
    start_response(f"{status.value} {status.phrase}", [("Content-Type", "text/plain; charset=utf-8")])
    return [text.encode() + b"\n"]


class _Server(socketserver.ThreadingMixIn, WSGIServer):
    daemon_threads = True
    block_on_close = False

    def __init__(self, *args: Any) -> None:
        self._places = threading.BoundedSemaphore(AT_ONCE)
        super().__init__(*args)

    def process_request(self, request: Any, client_address: Any) -> None:
        if self._places.acquire(blocking=False):
            super().process_request(request, client_address)
        else:
            self.shutdown_request(request)

    def process_request_thread(self, request: Any, client_address: Any) -> None:
        try:
            super().process_request_thread(request, client_address)
        finally:
            self._places.release()

    def handle_error(self, request: Any, client_address: Any) -> None:
        """A client that went away is no news."""

    def server_bind(self) -> None:
        # WSGIServer would ask the name service who we are, and wait for it.
        socketserver.TCPServer.server_bind(self)
        host, self.server_port = self.server_address[:2]
        self.server_name = str(host)
        self.setup_environ()


class _Handler(WSGIRequestHandler):
    timeout = PATIENCE_S

    def log_message(self, format: str, *args: Any) -> None:  # noqa: A002 -- the library's own name for it
        """Scrapes are no news."""
