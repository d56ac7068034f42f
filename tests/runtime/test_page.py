"""The HTTP port: four answers, and nobody who asks keeps the daemon from deciding."""

import contextlib
import http.client
import io
import select
import socket
import sys
import threading
import time
from collections.abc import Iterable, Iterator
from contextlib import ExitStack, contextmanager, suppress

import pytest
from hypothesis import given
from hypothesis import strategies as st
from prometheus_client import CollectorRegistry, Counter, Gauge
from prometheus_client.parser import text_string_to_metric_families
from prometheus_client.registry import Collector

from leerie.runtime import host_header, log
from leerie.runtime.page import AT_ONCE, GIVE_WAY_S, HEAD_BYTES, PATIENCE_S, Front, Page, PageError
from leerie.runtime.page import serving as page_of_the_daemon
from leerie.runtime.pulse import Pulse

pytestmark = pytest.mark.broker
WITHIN_S = 10


SHORT_S = 0.2
"""Patience for those who are to lose it."""
FRONT = "<!doctype html><title>the house</title>"


def front() -> bytes:
    return FRONT.encode()


@contextmanager
def serving(
    alive: str | None = None,
    ready: str | None = None,
    patience_s: float = PATIENCE_S,
    also: Collector | None = None,
    front: Front = front,
) -> Iterator[Page]:
    registry = CollectorRegistry()
    Counter("turns_total", "Turns.", registry=registry).inc(3)
    if also is not None:
        registry.register(also)
    page = Page(("127.0.0.1", 0), registry, lambda: alive, lambda: ready, front, patience_s)
    try:
        yield page
    finally:
        page.close().join(WITHIN_S)


def ask(page: Page, path: str, method: str = "GET", body: bytes | None = None) -> tuple[int, str]:
    connection = http.client.HTTPConnection(*page.address, timeout=WITHIN_S)
    try:
        connection.request(method, path, body)
        answer = connection.getresponse()
        return answer.status, answer.read().decode()
    finally:
        connection.close()


def send(page: Page, *said: bytes) -> bytes:
    """The whole answer to these bytes; empty where the page hung up on them."""
    with socket.create_connection(page.address, WITHIN_S) as client:
        answer = b""
        try:
            for part in said:
                client.sendall(part)
            while more := client.recv(65_536):
                answer += more
        except ConnectionError:
            pass  # what was not read when it hung up
        return answer


def recovers(page: Page) -> bool:
    """It answers again. Nobody is told when a place is free, so there is nothing but asking."""
    end_s = time.monotonic() + WITHIN_S
    while time.monotonic() < end_s:
        try:
            return ask(page, "/healthz")[0] == 200
        except (ConnectionError, http.client.BadStatusLine):
            continue
    return False


# ---- what there is ---------------------------------------------------------------------------------------------------


def test_metrics_can_be_scraped() -> None:
    with serving() as page:
        status, text = ask(page, "/metrics")
        assert status == 200
        values = {
            sample.name: sample.value for family in text_string_to_metric_families(text) for sample in family.samples
        }
        assert values["turns_total"] == 3


def test_the_house_stands_at_the_root() -> None:
    with serving() as page:
        assert ask(page, "/") == (200, FRONT)


def test_a_browser_is_told_to_load_and_to_run_nothing() -> None:
    """What may be used in spite of it, tests/pages/test_look.py says."""
    with serving() as page:
        head = send(page, b"GET / HTTP/1.0\r\n\r\n").partition(b"\r\n\r\n")[0].decode()
    assert "\r\nContent-Type: text/html; charset=utf-8\r\n" in head
    assert "\r\nContent-Security-Policy: default-src 'none'; " in head
    assert "\r\nX-Content-Type-Options: nosniff\r\n" in head


def test_a_page_that_cannot_be_made_is_one_clear_line() -> None:
    def broken() -> bytes:
        raise ZeroDivisionError

    with serving(front=broken) as page:
        assert ask(page, "/") == (500, "this cannot be made; please report it\n")
        assert ask(page, "/healthz")[0] == 200


def test_health_and_readiness_say_what_is_wrong() -> None:
    with serving() as page:
        assert ask(page, "/healthz") == (200, "well\n")
        assert ask(page, "/readyz") == (200, "well\n")
    with serving(alive="asleep", ready="not connected") as page:
        assert ask(page, "/healthz") == (503, "asleep\n")
        assert ask(page, "/readyz") == (503, "not connected\n")


@pytest.mark.parametrize("path", ["/index.html", "/metric", "/metrics/", "/healthz/x", "/favicon.ico", "/%00"])
def test_anything_else_is_not_there(path: str) -> None:
    with serving() as page:
        assert ask(page, path)[0] == 404


@pytest.mark.parametrize("path", ["/?", "/metrics?x=1", "/healthz?", "/readyz?a=/metrics"])
def test_what_stands_behind_a_question_mark_changes_nothing(path: str) -> None:
    with serving() as page:
        assert ask(page, path)[0] == 200


@pytest.mark.parametrize("path", ["/", "/metrics", "/healthz", "/nothing"])
def test_head_is_get_without_the_body(path: str) -> None:
    with serving() as page:
        head, _, body = send(page, f"GET {path} HTTP/1.0\r\n\r\n".encode()).partition(b"\r\n\r\n")
        only, _, nothing = send(page, f"HEAD {path} HTTP/1.0\r\n\r\n".encode()).partition(b"\r\n\r\n")
    assert f"Content-Length: {len(body)}".encode() in head
    assert body
    assert not nothing
    assert _undated(only) == _undated(head)


def _undated(head: bytes) -> list[bytes]:
    return [line for line in head.split(b"\r\n") if not line.startswith(b"Date: ")]


@pytest.mark.parametrize("method", ["POST", "PUT", "PATCH", "DELETE", "OPTIONS"])
def test_it_is_read_only(method: str) -> None:
    with serving() as page:
        assert ask(page, "/metrics", method, b"x" * 100) == (405, "read only; GET and HEAD are allowed\n")
        assert ask(page, "/metrics")[0] == 200


def test_a_method_that_is_none_is_not_implemented() -> None:
    """RFC 9110, 9.1: 501 for a method that is not recognised, 405 for one that is and is not allowed."""
    with serving() as page:
        assert ask(page, "/metrics", "LIGHT") == (501, "501 Unsupported method ('LIGHT')\n")


def test_it_does_not_say_what_it_is_made_of() -> None:
    with serving() as page:
        assert b"Python" not in send(page, b"GET /healthz HTTP/1.0\r\n\r\n")


def test_openmetrics_for_those_who_want_it() -> None:
    with serving() as page:
        said = send(page, b"GET /metrics HTTP/1.0\r\nAccept: application/openmetrics-text; version=1.0.0\r\n\r\n")
    assert said.endswith(b"# EOF\n")


# ---- who is meant ----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "host",
    [
        *("127.0.0.1", "127.0.0.1:9464", "192.0.2.7", "[::1]:9464", "[2001:db8::7]"),
        *("localhost:9464", "LOCALHOST", "leerie:9464", "pi.local:9464", "light.home.arpa", ""),
    ],
)
def test_it_is_asked_by_an_address_or_by_a_name_of_the_building(host: str) -> None:
    with serving() as page:
        assert b" 200 " in send(page, f"GET / HTTP/1.1\r\nHost: {host}\r\n\r\n".encode())


def test_a_machine_may_be_asked_by_its_own_name(monkeypatch: pytest.MonkeyPatch) -> None:
    assert not host_header.is_ours("lights.workshop.example")
    monkeypatch.setattr(socket, "gethostname", lambda: "Lights.workshop.example")
    assert host_header.is_ours("lights.workshop.example:9464")
    assert not host_header.is_ours("www.lights.workshop.example:9464")


STRANGE = ("rebound.example", "rebound.example:9464", "127.0.0.1.rebound.example", "local.example", "localhost.example")


@pytest.mark.parametrize("host", STRANGE)
@pytest.mark.parametrize("path", ["/", "/metrics", "/healthz", "/readyz"])
def test_a_name_that_a_website_can_have_is_told_nothing(path: str, host: str) -> None:
    """It can let it point to this machine, and would be let read what a browser gets here."""
    with serving(alive="asleep") as page:
        answer = send(page, f"GET {path} HTTP/1.1\r\nHost: {host}\r\n\r\n".encode())
    head, _, body = answer.partition(b"\r\n\r\n")
    assert b" 421 " in head.partition(b"\n")[0]
    assert body.startswith(b"this house goes by no such name; ")
    assert body.count(b"\n") == 1
    assert host.encode() not in answer


def test_of_two_hosts_both_must_be_ours() -> None:
    with serving() as page:
        said = send(page, b"GET / HTTP/1.1\r\nHost: 127.0.0.1\r\nHost: rebound.example\r\n\r\n")
    assert b" 421 " in said.partition(b"\n")[0]


@given(st.text())
def test_whatever_stands_there_is_ours_or_not(host: str) -> None:
    assert host_header.is_ours(host) in (True, False)


# ---- nobody who asks keeps the daemon from deciding ------------------------------------------------------------------


@pytest.mark.parametrize(
    "said",
    [
        b"\x00\xff" * 1_000 + b"\r\n\r\n",
        b"\r\n",
        b"GET\r\n\r\n",
        b"GET /metrics HTTP/9.9\r\n\r\n",
        b"GET /metrics HTTP/1.0\r\nno colon\r\n\r\n",
        b"GET /metrics\r\n",
        b"\x16\x03\x01\x02\x00\x01\x00\x01\xfc\x03\x03",
        b"POST /metrics HTTP/1.1\r\nContent-Length: 99999999999\r\n\r\n",
    ],
)
def test_what_is_no_request_is_no_crash(said: bytes) -> None:
    with serving(patience_s=SHORT_S) as page:
        send(page, said)
        assert ask(page, "/healthz")[0] == 200


@pytest.mark.parametrize(
    ("said", "status"),
    [
        (b"GET /" + b"x" * (HEAD_BYTES - 5), b"431"),
        (b"x" * HEAD_BYTES, b"400"),
        (b"GET / HTTP/1.0\r\nCookie: ".ljust(HEAD_BYTES, b"x"), b"431"),
        (b"GET / HTTP/1.0\r\n" + b"A: b\r\n" * 101, b"431"),
    ],
    ids=["request line", "no request", "header", "headers"],
)
def test_a_head_that_is_too_long_is_refused_as_soon_as_it_is(said: bytes, status: bytes) -> None:
    """Without waiting for its end."""
    with serving() as page:
        assert status in send(page, said).partition(b"\n")[0]


def test_a_head_that_never_ends_is_not_read() -> None:
    with serving() as page:
        for start in (b"GET /", b"GET / HTTP/1.0\r\nCookie: "):
            send(page, start, *(b"x" * 65_536 for _ in range(200)))
        assert ask(page, "/healthz")[0] == 200


@pytest.mark.parametrize("start", [b"", b"GET /metrics HTTP/1.0\r\nCookie: "], ids=["at first", "in a header"])
def test_one_byte_now_and_then_does_not_hold_a_place(start: bytes) -> None:
    """Each byte comes well within the time for all of them."""
    with serving(patience_s=SHORT_S) as page, socket.create_connection(page.address, WITHIN_S) as client:
        client.sendall(start)
        for _ in range(round(WITHIN_S / (SHORT_S / 4))):
            try:
                client.sendall(b"x")
                if select.select([client], [], [], SHORT_S / 4)[0]:
                    client.recv(65_536)
                    break
            except ConnectionError:
                break
        else:
            pytest.fail("it goes on listening")
        assert recovers(page)


def test_silence_does_not_hold_a_place() -> None:
    with serving(patience_s=SHORT_S) as page, socket.create_connection(page.address, WITHIN_S) as client:
        assert client.recv(1) == b""


class Long(Collector):
    """More than the sockets on the way hold."""

    def collect(self) -> Iterable[Gauge]:
        yield from Gauge("long", "x" * 32_000_000, registry=None).collect()


def test_who_never_reads_the_answer_is_cut_off() -> None:
    with serving(patience_s=SHORT_S, also=Long()) as page, ExitStack() as stack:
        for _ in range(AT_ONCE):
            client = stack.enter_context(socket.create_connection(page.address, WITHIN_S))
            client.sendall(b"GET /metrics HTTP/1.0\r\n\r\n")
        assert recovers(page)


def test_many_slow_clients_are_turned_away_and_the_page_recovers() -> None:
    with serving(patience_s=60 * WITHIN_S) as page:
        slow = [socket.create_connection(page.address, WITHIN_S) for _ in range(AT_ONCE)]
        with socket.create_connection(page.address, WITHIN_S) as late:
            assert late.recv(1_000) == b""
        for client in slow:
            client.close()
        assert recovers(page)


def test_hundreds_of_clients_get_no_more_threads_than_there_are_places() -> None:
    before = threading.active_count()
    with serving(patience_s=SHORT_S) as page, ExitStack() as stack:
        for _ in range(300):
            stack.enter_context(socket.create_connection(page.address, WITHIN_S))
            assert threading.active_count() <= before + AT_ONCE + 1
        assert recovers(page)


class Meeting(Collector):
    """Waits a moment for another page to be made at the same time."""

    def __init__(self) -> None:
        self.met = False
        self._two = threading.Barrier(2)

    def collect(self) -> Iterable[Gauge]:
        self.front()
        return ()

    def front(self) -> bytes:
        with suppress(threading.BrokenBarrierError):
            self._two.wait(SHORT_S)
            self.met = True
        return b""


def test_one_page_is_made_at_a_time() -> None:
    meeting = Meeting()
    with serving(also=meeting, front=meeting.front) as page:
        paths = ("/", "/metrics") * (AT_ONCE // 2)
        askers = [threading.Thread(target=ask, args=(page, path)) for path in paths]
        for asker in askers:
            asker.start()
        for asker in askers:
            asker.join(WITHIN_S)
    assert not meeting.met


@pytest.mark.parametrize("address", [("127.0.0.1", 0), None])
def test_a_page_in_the_making_gives_way_to_who_decides(address: tuple[str, int] | None) -> None:
    usual_s = sys.getswitchinterval()
    pulse, logger = Pulse(lambda: True), log.make("json", stream=io.StringIO())
    with page_of_the_daemon(address, CollectorRegistry(), pulse, front, logger):
        assert sys.getswitchinterval() == pytest.approx(usual_s if address is None else GIVE_WAY_S)
    assert sys.getswitchinterval() == usual_s


def test_closing_waits_for_nobody() -> None:
    with serving(patience_s=60 * WITHIN_S) as page, socket.create_connection(page.address, WITHIN_S) as client:
        client.sendall(b"GET")
        closing = page.close()
        with contextlib.suppress(ConnectionResetError):  # what it had not read yet, TCP answers with a reset
            assert client.recv(1) == b""
        closing.join(WITHIN_S)
        assert not closing.is_alive()


def test_it_stands_on_ipv6_too() -> None:
    try:
        socket.create_server(("::1", 0), family=socket.AF_INET6).close()
    except OSError:
        pytest.skip("this machine has no IPv6")
    page = Page(("::1", 0), CollectorRegistry(), lambda: None, lambda: None, front)
    try:
        assert ask(page, "/healthz") == (200, "well\n")
    finally:
        page.close().join(WITHIN_S)


def test_a_port_that_is_taken_is_one_clear_line() -> None:
    with socket.create_server(("127.0.0.1", 0)) as other:
        port = other.getsockname()[1]
        with pytest.raises(PageError, match=f"127.0.0.1:{port}: .*in use"):
            Page(("127.0.0.1", port), CollectorRegistry(), lambda: None, lambda: None, front)
