"""The scrape page: three answers, and nobody who asks keeps the daemon from deciding."""

import http.client
import socket
from collections.abc import Iterator
from contextlib import contextmanager

import pytest
from prometheus_client import CollectorRegistry, Counter
from prometheus_client.parser import text_string_to_metric_families

from leerie.runtime.page import AT_ONCE, Page, PageError

pytestmark = pytest.mark.broker
WITHIN_S = 10


@contextmanager
def serving(alive: str | None = None, ready: str | None = None) -> Iterator[Page]:
    registry = CollectorRegistry()
    Counter("turns_total", "Turns.", registry=registry).inc(3)
    page = Page(("127.0.0.1", 0), registry, lambda: alive, lambda: ready)
    yield page
    page.close().join(WITHIN_S)


def ask(page: Page, path: str, method: str = "GET") -> tuple[int, str]:
    connection = http.client.HTTPConnection(*page.address, timeout=WITHIN_S)
    try:
        connection.request(method, path)
        answer = connection.getresponse()
        return answer.status, answer.read().decode()
    finally:
        connection.close()


def test_metrics_can_be_scraped() -> None:
    with serving() as page:
        status, text = ask(page, "/metrics")
        assert status == 200
        values = {
            sample.name: sample.value for family in text_string_to_metric_families(text) for sample in family.samples
        }
        assert values["turns_total"] == 3


def test_health_and_readiness_say_what_is_wrong() -> None:
    with serving() as page:
        assert ask(page, "/healthz") == (200, "well\n")
        assert ask(page, "/readyz") == (200, "well\n")
    with serving(alive="asleep", ready="not connected") as page:
        assert ask(page, "/healthz") == (503, "asleep\n")
        assert ask(page, "/readyz") == (503, "not connected\n")


@pytest.mark.parametrize("path", ["/", "/metric", "/metrics/", "/healthz/x", "/favicon.ico", "/%00"])
def test_anything_else_is_not_there(path: str) -> None:
    with serving() as page:
        assert ask(page, path)[0] == 404


def test_what_is_not_http_is_no_crash() -> None:
    with serving() as page:
        with socket.create_connection(page.address, WITHIN_S) as client:
            client.sendall(b"\x00\xff" * 1_000 + b"\r\n\r\n")
            client.recv(1_000)
        assert ask(page, "/healthz")[0] == 200


def test_many_slow_clients_are_turned_away_and_the_page_recovers() -> None:
    with serving() as page:
        slow = [socket.create_connection(page.address, WITHIN_S) for _ in range(AT_ONCE)]
        with socket.create_connection(page.address, WITHIN_S) as late:
            assert late.recv(1_000) == b""
        for client in slow:
            client.close()
        # Each place is free again once its thread has seen the close; asking again is the only way to know.
        for _ in range(1_000):
            try:
                assert ask(page, "/healthz")[0] == 200
                break
            except (ConnectionError, http.client.BadStatusLine):
                continue
        else:
            pytest.fail("the page did not recover")


def test_a_port_that_is_taken_is_one_clear_line() -> None:
    with socket.create_server(("127.0.0.1", 0)) as other:
        port = other.getsockname()[1]
        with pytest.raises(PageError, match=f"127.0.0.1:{port}: .*in use"):
            Page(("127.0.0.1", port), CollectorRegistry(), lambda: None, lambda: None)
